//! Readings that name a core they cannot belong to, and cores without readings.
//! Often the second follows from the first; then it is told once.

use super::fault;
use super::log::Log;
use crate::findings::Findings;
use crate::table::nearest;
use crate::workbench::{LoggedReading, Probe, Sample, Workbench};
use calib_core::quantity::Timestamp;
use std::collections::HashMap;

/// A core no reading belongs to.
pub struct Lonely<'a> {
    /// The core.
    pub sample: &'a Sample,
    /// The probes it may pair with.
    pub probes: Vec<&'a Probe>,
}

/// The readings of one probe that name one core.
pub struct Tagged<'a> {
    /// The probe.
    pub probe: &'a str,
    /// The core they name.
    pub sample: &'a str,
    /// The first of them in the log.
    pub first: &'a LoggedReading,
    /// How many they are.
    pub count: usize,
    places: &'a [usize],
}

impl Lonely<'_> {
    /// Whether it may pair with this probe.
    pub fn may_pair_with(&self, probe: &str) -> bool {
        self.probes.iter().any(|known| known.id == probe)
    }
}

/// Complains of readings that name a core they cannot belong to, and of the
/// `lonely` cores that leaves unexplained.
pub fn complain(
    workbench: &Workbench,
    log: &Log<'_>,
    lonely: &[Lonely<'_>],
    findings: &mut Findings,
) {
    let mut lonely: Vec<&Lonely<'_>> = lonely.iter().collect();
    let samples: HashMap<&str, &Sample> = workbench
        .samples
        .iter()
        .map(|sample| (sample.id.as_str(), sample))
        .collect();
    for tagged in in_order_of_the_log(log) {
        if let Some(sample) = samples.get(tagged.sample) {
            if let Some(complaint) = fault::misplaced(workbench, &tagged, sample) {
                findings.complain(complaint);
                lonely.retain(|core| core.sample.id != sample.id);
            }
        } else {
            let meant = meant(workbench, log, &tagged, &lonely);
            let core = meant.map(|place| lonely.remove(place).sample);
            findings.complain(fault::names_no_core(workbench, &tagged, core));
        }
    }
    match lonely.first() {
        Some(first) if nothing_to_pair_by(workbench) => {
            findings.complain(fault::nothing_to_pair_by(workbench, first.sample));
        }
        _ => {
            for core in &lonely {
                findings.complain(fault::no_readings(workbench, log, core));
            }
        }
    }
}

fn in_order_of_the_log<'a>(log: &'a Log<'a>) -> Vec<Tagged<'a>> {
    let mut all: Vec<Tagged<'_>> = log
        .tags()
        .filter_map(|(probe, sample, places)| {
            Some(Tagged {
                probe,
                sample,
                first: log.at(places).next()?,
                count: places.len(),
                places,
            })
        })
        .collect();
    all.sort_by_key(|tagged| tagged.first.line);
    all
}

/// The lonely core that readings naming an unknown one were probably meant for:
/// the only one they fit by probe and time, or of several the one with the most
/// similar id.
fn meant(
    workbench: &Workbench,
    log: &Log<'_>,
    tagged: &Tagged<'_>,
    lonely: &[&Lonely<'_>],
) -> Option<usize> {
    let close = |taken_at: Timestamp| {
        let seconds = workbench.site.window_seconds;
        log.at(tagged.places)
            .any(|logged| taken_at.seconds_since(logged.reading.time).abs() <= seconds)
    };
    let fitting = || {
        lonely.iter().enumerate().filter(|(_, core)| {
            core.may_pair_with(tagged.probe) && core.sample.taken_at.is_none_or(close)
        })
    };
    let mut places = fitting();
    if let (Some((only, _)), None) = (places.next(), places.next()) {
        return Some(only);
    }
    let ids = fitting().map(|(_, core)| core.sample.id.as_str());
    let id = nearest(tagged.sample, ids)?;
    lonely.iter().position(|core| core.sample.id == id)
}

/// Whether no core says when it was taken and no reading which core it belongs
/// to.
fn nothing_to_pair_by(workbench: &Workbench) -> bool {
    workbench.samples.iter().all(|core| core.taken_at.is_none())
        && workbench.readings.iter().all(|row| row.sample.is_none())
}
