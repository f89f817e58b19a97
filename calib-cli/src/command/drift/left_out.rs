//! Cores and probes that nothing is said of: one notice for each reason, with a count and
//! the first few names.

use super::report::{LeftOutRow, ProbeReport};
use crate::failure::{Complaint, Warning};
use calib_core::calibration::ConvertError;
use calib_core::drift::CheckFault;
use std::path::Path;

/// Names written out in one sentence.
const NAMED: usize = 3;

/// Cores left out for one reason, each with its probe; never empty.
struct Group<'a> {
    cores: Vec<(&'a str, &'a LeftOutRow)>,
}

/// `a`, `a, b`, `a, b, c and 4 more`.
pub(super) fn named<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let names: Vec<&str> = names.into_iter().collect();
    let (shown, rest) = names.split_at(names.len().min(NAMED));
    match rest.len() {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// The cores of all probes that are left out, by what mends them, in the order met.
fn groups(probes: &[ProbeReport]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for probe in probes {
        for row in &probe.left_out {
            let known = groups
                .iter_mut()
                .find(|group| group.fault().mend() == row.fault.mend());
            match known {
                Some(group) => group.cores.push((&probe.probe, row)),
                None => groups.push(Group {
                    cores: vec![(&probe.probe, row)],
                }),
            }
        }
    }
    groups
}

impl Group<'_> {
    fn fault(&self) -> &CheckFault {
        &self.cores[0].1.fault
    }

    /// `core A beside probe p`, `93 cores (A, B, C and 90 more)`.
    fn subject(&self) -> String {
        match &self.cores[..] {
            [(probe, core)] => format!("core {} beside probe {probe}", core.core),
            many => format!(
                "{} cores ({})",
                many.len(),
                named(many.iter().map(|(_, core)| core.core.as_str()))
            ),
        }
    }

    fn what(&self) -> String {
        let (_, first) = self.cores[0];
        if self.cores.len() == 1 {
            return format!("is left out: {}", first.why);
        }
        let such_as = format!("of core {}: {}", first.core, first.why);
        let why = match self.fault() {
            CheckFault::NoTime => "it is not known when they were taken".to_owned(),
            CheckFault::BeforeCalibration => {
                "they were taken before the calibration was made".to_owned()
            }
            CheckFault::NoNumber => {
                "their count, water content or uncertainty is no usable number".to_owned()
            }
            CheckFault::Convert(ConvertError::OutsideDomain { .. }) => {
                format!("their counts lie outside the calibrated range ({such_as})")
            }
            CheckFault::Convert(_) => {
                format!("their counts give no water content ({such_as})")
            }
        };
        format!("are left out: {why}")
    }
}

/// A warning for each reason.
pub(super) fn warnings(probes: &[ProbeReport]) -> Vec<Warning> {
    groups(probes)
        .iter()
        .map(|group| Warning {
            place: group.subject(),
            what: group.what(),
            why: "nothing is learnt there of whether the calibration still holds".to_owned(),
            advice: group.fault().mend().to_owned(),
        })
        .collect()
}

/// Where no check of any probe counts: a complaint for each reason.
pub(super) fn no_check_counts(probes: &[ProbeReport], file: &Path) -> Option<Vec<Complaint>> {
    if !probes.iter().all(|probe| probe.checks.is_empty()) {
        return None;
    }
    let complaints: Vec<Complaint> = groups(probes)
        .iter()
        .map(|group| {
            Complaint::about(
                file,
                format!("no check counts: {} {}", group.subject(), group.what()),
                group.fault().mend(),
            )
        })
        .collect();
    (!complaints.is_empty()).then_some(complaints)
}

/// Probes without a core among the checks.
pub(super) fn unchecked(probes: &[&str], file: &Path) -> Option<Warning> {
    let (place, verb, advice) = match probes {
        [] => return None,
        [one] => (
            format!("probe {one}"),
            "has",
            "dig a core beside it, dry and weigh it, and write it there",
        ),
        many => (
            format!("{} probes ({})", many.len(), named(many.iter().copied())),
            "have",
            "dig a core beside each, dry and weigh it, and write it there; --probe asks for one probe alone",
        ),
    };
    Some(Warning {
        place,
        what: format!("{verb} no core in {}", file.display()),
        why: "nothing is said of calibrations without a check".to_owned(),
        advice: advice.to_owned(),
    })
}
