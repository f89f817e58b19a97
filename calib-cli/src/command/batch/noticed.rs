//! What is noticed before and beside the study: slips, swapped media, and figures that
//! do not fit one another.

use super::study::{BatchPair, FarOff, SoilStudy};
use crate::failure::{Complaint, Warning};
use crate::pairs::Pairs;
use calib_core::batch::{BatchError, Design, Member, slips};
use calib_core::pair::Pair;

/// Share of the uncertainty stated for the cores below which what is left of the
/// pairs is too little to be true.
const TOO_LITTLE: f64 = 0.2;
/// The same below which the uncertainty stated does not fit what is seen: by chance
/// alone a few dozen pairs scatter by a fifth less than they should.
const DOES_NOT_FIT: f64 = 0.7;

/// Cores of fewer than so many may scatter that little by chance.
const MANY_CORES: usize = 24;

/// Pairs and cores of a soil far from all others, with their lines.
pub(super) fn far_off(read: &Pairs, soil: &str, members: &[Member], seed: u64) -> Vec<FarOff> {
    let found = slips(members, seed).map_or_else(Vec::new, |slips| slips.found);
    found
        .into_iter()
        .map(|found| FarOff {
            line: line(read, |pair| {
                pair.soil == soil
                    && pair.core() == found.core
                    && found
                        .probe
                        .as_ref()
                        .is_none_or(|probe| *probe == pair.probe)
            }),
            found,
        })
        .collect()
}

/// A complaint about media that run the wrong way, at the first row of the probe.
pub(super) fn of_media(read: &Pairs, soil: &str, error: &BatchError) -> Box<Complaint> {
    let complaint = Complaint::about(&read.file, format!("soil {soil}: {error}"), error.mend());
    let (BatchError::MediaSwapped { probe, .. } | BatchError::AllMediaSwapped { probe, .. }) =
        error
    else {
        return Box::new(complaint);
    };
    // A workbench has its media in another file than its cores.
    let first = line(read, |pair| pair.probe == *probe).filter(|_| read.sources.len() == 1);
    Box::new(match first {
        Some(line) => complaint.at_line(line),
        None => complaint,
    })
}

/// A complaint with the pair that may be behind it.
pub(super) fn with_far_off(mut complaint: Box<Complaint>, far_off: &[FarOff]) -> Box<Complaint> {
    if let Some(first) = far_off.first() {
        complaint.mend = format!(
            "first, {}: {}; then {}",
            first.said(),
            FarOff::LOOK,
            complaint.mend
        );
    }
    complaint
}

fn line(read: &Pairs, is: impl Fn(&Pair) -> bool) -> Option<u64> {
    let place = read.pairs.iter().position(is)?;
    read.lines.get(place).copied().filter(|line| *line > 0)
}

impl FarOff {
    const LOOK: &str = "look for a slip of the count or the mass";

    /// `line 12: core K5 beside probe P02 lies far from all others (...)`.
    pub fn said(&self) -> String {
        let line = self
            .line
            .map_or_else(String::new, |line| format!("line {line}: "));
        let beside = match &self.found.probe {
            Some(probe) => format!("beside probe {probe}"),
            None => "beside all its probes".to_owned(),
        };
        format!(
            "{line}core {} {beside} lies far from all others ({:.0} times the scatter)",
            self.found.core, self.found.times
        )
    }

    fn warning(&self, place: &str) -> Warning {
        Warning {
            place: place.to_owned(),
            what: self.said(),
            why: "one such pair spoils the curve and every figure of the batch; it is not left out"
                .to_owned(),
            advice: if self.found.probe.is_some() {
                format!("{}; mend it or take the row out, and run again", Self::LOOK)
            } else {
                "look for a slip of the core's mass; mend it or take its rows out, and run again"
                    .to_owned()
            },
        }
    }
}

impl SoilStudy {
    /// What should be warned of.
    pub fn warnings(&self) -> Vec<Warning> {
        let place = format!("soil {}", self.soil);
        let differ: Vec<&BatchPair> = self
            .batches
            .iter()
            .filter(|pair| {
                pair.compared
                    .is_some_and(|found| found.mean.difference_p < 0.05)
            })
            .collect();
        let mut warnings: Vec<Warning> =
            self.far_off.iter().map(|far| far.warning(&place)).collect();
        let left = self.as_read.spread.residual_sd.value;
        let seen = left.hypot(self.as_read.spread.core_sd.map_or(0.0, |core| core.value));
        if left < TOO_LITTLE * self.stated_u {
            warnings.push(Warning {
                place: place.clone(),
                what: format!(
                    "pairs scatter by {left:.1e} m3/m3 only, where their cores are stated to be uncertain by {:.1e}",
                    self.stated_u
                ),
                why: "weighed cores never lie so near a curve: theta_v may have been reckoned from the counts, and then nothing here is true".to_owned(),
                advice: "see that theta_v comes from weighing".to_owned(),
            });
        } else if self.cores >= MANY_CORES && seen < DOES_NOT_FIT * self.stated_u {
            warnings.push(Warning {
                place: place.clone(),
                what: format!(
                    "theta_v_u = {:.4} m3/m3 is stated or assumed for the cores, but pairs scatter by {seen:.4} m3/m3 only",
                    self.stated_u
                ),
                why: "an uncertainty larger than the scatter that it is part of does not fit what is seen; U here rests on the scatter".to_owned(),
                advice: "state theta_v_u as weighing and the cores' volume make it; what all cores have in common, as the error of one cutter's volume, belongs in core_volume_relative_u".to_owned(),
            });
        }
        if let Some(first) = differ.first() {
            warnings.push(Warning {
                place: place.clone(),
                what: format!(
                    "batches differ, {} and {} among them, and the spread of all probes holds that difference as if it were between probes",
                    first.a, first.b
                ),
                why: "how far a probe of yet another batch lies off cannot be told from so few batches".to_owned(),
                advice: "calibrate each batch for itself, or read a few probes of every new batch beside cores".to_owned(),
            });
        }
        if self.design == Design::OwnCores && self.decision.own.cores < 4 {
            warnings.push(Warning {
                place,
                what: format!(
                    "the middle probe was read beside {} cores",
                    self.decision.own.cores
                ),
                why: "so few hardly tell an offset from what cores differ by".to_owned(),
                advice: "read each probe beside five cores or more from dry to wet".to_owned(),
            });
        }
        warnings
    }
}
