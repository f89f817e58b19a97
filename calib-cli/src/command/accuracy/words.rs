//! The sentences of `ovendry accuracy`.

use super::held::{Held, How, Whose};
use calib_core::accuracy::{
    AccuracyStudy, Basis, Bias, ClassStatement, FEWEST_FOR_CLASS, Notice, ProportionalBias,
    ReferenceError, TargetStatement, Verdict,
};

/// A probability below which a difference is told from chance.
const SETTLED: f64 = 0.05;

/// What the words of the table mean, each once.
pub(super) const MEANINGS: [(&str, &str); 9] = [
    (
        "bias",
        "mean of reading minus core; above zero the probe reads too wet",
    ),
    (
        "RMSE",
        "root of the mean squared difference: how far a reading is off, bias and scatter together",
    ),
    (
        "unbiased RMSE",
        "the same once the bias is taken off: scatter alone",
    ),
    ("MAE", "mean size of the difference, whichever way it goes"),
    (
        "R2",
        "squared correlation, 1 at best; it sees neither bias nor a wrong slope, and falls where \
         the cores are much alike",
    ),
    (
        "Nash-Sutcliffe",
        "1 at best; at 0 the mean of the cores would have served as well as the probe",
    ),
    (
        "Lin's concordance",
        "1 at best: how closely readings and cores lie to the line where both are the same",
    ),
    (
        "limits of agreement",
        "95 % of readings lie between them, as differences from the core (Bland and Altman)",
    ),
    (
        "slope",
        "of reading on core, 1 where the error is the same in dry and wet soil; the cores' own \
         error is allowed for",
    ),
];

impl How {
    /// What is judged by it.
    pub(super) fn subject(self) -> &'static str {
        match self {
            How::SavedCalibration => "readings by saved calibrations",
            How::CoreLeftOut => "readings by a probe's own curve",
            How::ProbeLeftOut => "a probe that was never calibrated",
            How::SoilLeftOut => "a soil that was never sampled",
        }
    }

    /// How the readings came about, in a sentence.
    fn story(self) -> &'static str {
        match self {
            How::SavedCalibration => {
                "Readings by the saved calibration, beside cores it was not fitted to."
            }
            How::CoreLeftOut => {
                "No independent cores were given. Each core here is foretold by a curve fitted to \
                 the others of its probe; cores of another season would say more."
            }
            How::ProbeLeftOut => {
                "Each probe is foretold by one curve through the other probes in its soil: what to \
                 expect of a probe out of the box that shares their curve."
            }
            How::SoilLeftOut => {
                "Each soil is foretold by one curve through the other soils: what to expect where \
                 no core was ever taken."
            }
        }
    }
}

impl Held {
    /// The heading of its report.
    pub(super) fn title(&self) -> String {
        match (&self.whose, self.how) {
            (Whose::Probe { probe, soil }, How::CoreLeftOut) => {
                format!("Probe {probe} in {soil}, cores left out by turns")
            }
            (Whose::Probe { probe, soil }, _) => format!("Probe {probe} in {soil}"),
            (Whose::All, How::SavedCalibration) => "All probes together".to_owned(),
            (Whose::All, How::CoreLeftOut) => {
                "All probes together, cores left out by turns".to_owned()
            }
            (Whose::All, How::ProbeLeftOut) => "A probe that was never calibrated".to_owned(),
            (Whose::All, How::SoilLeftOut) => "A soil that was never sampled".to_owned(),
        }
    }

    /// Whose readings are counted.
    fn of(&self) -> &'static str {
        match (&self.whose, self.how) {
            (_, How::ProbeLeftOut) => "of probes that were never calibrated",
            (_, How::SoilLeftOut) => "in soils that were never sampled",
            (Whose::Probe { .. }, _) => "of this probe",
            (Whose::All, _) => "of these probes",
        }
    }

    /// What a person wants to know first.
    pub(super) fn verdict_words(&self, study: &AccuracyStudy) -> Vec<String> {
        let mut said = Vec::new();
        if let Some(class) = &study.class {
            if let Some(target) = &class.target {
                said.push(self.target_words(class, target));
            }
            said.push(class_words(class));
        } else {
            said.push(self.too_few_words(study));
        }
        if let Some(bias) = &study.bias {
            said.push(bias_words(bias));
        }
        if let Some(proportional) = &study.proportional {
            said.push(proportional_words(proportional));
        }
        if let Some(reference) = study.reference_error.as_ref().filter(|found| found.u > 0.0) {
            said.push(reference_words(reference));
        }
        said.push(self.how.story().to_owned());
        said
    }

    fn target_words(&self, class: &ClassStatement, target: &TargetStatement) -> String {
        let (asked, sure) = (percent(class.share), percent(class.confidence));
        let seen = format!(
            "Of {} readings {}, {} are within {} m3/m3 of what the oven says ({} mm of water in \
             100 mm of soil).{}",
            target.of,
            self.of(),
            target.within,
            target.target,
            rounded(100.0 * target.target),
            match self.unread.len() {
                0 => String::new(),
                1 => " One more had no value.".to_owned(),
                more => format!(" {more} more had no value."),
            },
        );
        let share = match class.basis {
            Basis::Normal => target.normal,
            Basis::Counted => target.counted,
        };
        let judged = match target.verdict {
            Verdict::Meets => format!(
                "The target is met{}: with {sure} confidence at least {asked} of readings are.",
                supposed(class)
            ),
            Verdict::DoesNotMeet => format!(
                "The target is missed{}: with {sure} confidence fewer than {asked} of readings \
                 are.",
                supposed(class)
            ),
            Verdict::NotSettled => format!(
                "That does not settle the target of {asked}{}: with {sure} confidence at least {} \
                 of readings are, and no more than {}.",
                supposed(class),
                no_more_than(share.lower),
                percent((1000.0 * share.upper).ceil().min(1000.0) / 1000.0),
            ),
        };
        let counted = match class.basis {
            Basis::Normal => format!(
                " By counting alone at least {} are.",
                no_more_than(target.counted.lower)
            ),
            Basis::Counted => String::new(),
        };
        format!("{seen} {judged}{counted}")
    }

    /// The verdict where none can be told.
    fn too_few_words(&self, study: &AccuracyStudy) -> String {
        let (clusters, what) = (study.clusters, self.clusters());
        if clusters >= FEWEST_FOR_CLASS {
            return "The target is not settled: what was seen gives no verdict.".to_owned();
        }
        let what = if clusters == 1 {
            what.trim_end_matches('s')
        } else {
            what
        };
        format!(
            "The target is not settled: {clusters} {what} are too few to judge, at least \
             {FEWEST_FOR_CLASS} are needed."
        )
    }

    /// What is taken for independent of one another.
    fn clusters(&self) -> &'static str {
        if self.how == How::ProbeLeftOut {
            "probes"
        } else if self.how == How::SoilLeftOut {
            "soils"
        } else if self
            .samples
            .iter()
            .any(|sample| sample.cluster != sample.core)
        {
            "places"
        } else {
            "cores"
        }
    }

    /// What to know before using a figure.
    pub(super) fn notices(&self, study: &AccuracyStudy) -> Vec<String> {
        study
            .notices
            .iter()
            .filter_map(|notice| match notice {
                Notice::Clustered { pairs, clusters } => Some(format!(
                    "The {pairs} readings come from {clusters} {}, which count as so many \
                     independent ones; every interval allows for that.",
                    self.clusters()
                )),
                // The heading names the probe.
                Notice::FewProbes { .. } if self.of() == "of this probe" => None,
                Notice::FewProbes { probes } => Some(format!(
                    "{probes} {} read: nothing here speaks of others of the kind.",
                    if *probes == 1 {
                        "probe was"
                    } else {
                        "probes were"
                    }
                )),
                Notice::NotNormal { .. } => Some(format!(
                    "{} {}",
                    sentence(&notice.to_string()),
                    counted(study)
                )),
                other => Some(sentence(&other.to_string())),
            })
            .collect()
    }

    /// What would make the answer firmer.
    pub(super) fn firmer(&self, study: &AccuracyStudy) -> Vec<String> {
        let mut said = Vec::new();
        let target = study.class.as_ref().and_then(|class| class.target.as_ref());
        let clusters = self.clusters();
        if let Some(target) = target
            && target.verdict == Verdict::NotSettled
        {
            said.push(match target.more_clusters {
                Some(more) => {
                    format!("About {more} more {clusters} like these would settle the target.")
                }
                None => "More cores like these would not settle the target: its edge lies where \
                         the probe is."
                    .to_owned(),
            });
        }
        if let Some(limits) = &study.limits {
            let width = (limits.upper.interval.high - limits.upper.interval.low) / 2.0;
            said.push(format!(
                "The limits of agreement are known to +-{width:.3} m3/m3; four times the \
                 {clusters} would halve that."
            ));
        }
        let out = self
            .unread
            .iter()
            .filter(|unread| unread.extrapolated)
            .count();
        if out > 0 && self.how == How::SavedCalibration {
            said.push(format!(
                "{out} readings lie outside the calibrated counts, where a calibration says \
                 nothing: calibrate with drier and wetter cores."
            ));
        } else if out > 0 {
            said.push(format!(
                "{out} readings lie beyond all that were left to fit, the driest and the wettest \
                 among them: the figures speak of the range between."
            ));
        }
        if self.how == How::CoreLeftOut {
            said.push(
                "Cores taken later, at other places, beside the same probe: give them as AGAINST."
                    .to_owned(),
            );
        }
        said
    }
}

/// What a verdict takes for granted.
fn supposed(class: &ClassStatement) -> &'static str {
    match class.basis {
        Basis::Normal => ", if differences are normally distributed",
        Basis::Counted => "",
    }
}

fn class_words(class: &ClassStatement) -> String {
    let (share, sure) = (percent(class.share), percent(class.confidence));
    let just = format!(
        "{share} of readings are within {:.4} m3/m3, with {sure} confidence",
        class.just_met
    );
    match class.class {
        Some(half) => format!("Accuracy class {half} m3/m3: {just}."),
        None => {
            let widest = class.ladder.last().map_or(0.0, |last| last.target);
            format!("No accuracy class up to {widest} m3/m3: {just}.")
        }
    }
}

fn bias_words(bias: &Bias) -> String {
    let way = if bias.value > 0.0 { "wet" } else { "dry" };
    let expanded = bias.expanded.expanded;
    if bias.settled {
        format!(
            "On average it reads {:.4} m3/m3 too {way} (+-{expanded:.4}): more than chance and \
             the ring's volume explain.",
            bias.value.abs()
        )
    } else {
        format!(
            "No steady error is seen: on average {:+.4} m3/m3 (+-{expanded:.4}), which chance and \
             the ring's volume explain.",
            bias.value
        )
    }
}

fn proportional_words(found: &ProportionalBias) -> String {
    if found.slope.p_value < SETTLED {
        format!(
            "The error changes with the water: {:+.4} m3/m3 at {:.3}, {:+.4} at {:.3}.",
            found.bias_at_driest, found.driest, found.bias_at_wettest, found.wettest
        )
    } else {
        "The error does not change with the water beyond chance.".to_owned()
    }
}

fn reference_words(found: &ReferenceError) -> String {
    if found.rmse.floored {
        return format!(
            "The cores' own error, {:.4} m3/m3, explains all of the RMSE of {:.4}: nothing is \
             left that must be the probe's.",
            found.u, found.rmse.observed
        );
    }
    format!(
        "The cores' own error is {:.4} m3/m3; taken off, the RMSE of {:.4} becomes {:.4}.",
        found.u, found.rmse.observed, found.rmse.value
    )
}

/// What counting alone says of the target.
fn counted(study: &AccuracyStudy) -> String {
    let class = study.class.as_ref();
    let target = class.and_then(|class| class.target.as_ref());
    class
        .zip(target)
        .map_or_else(String::new, |(class, target)| {
            format!(
                "Counted, at least {} of readings are within {} m3/m3, with {} confidence.",
                no_more_than(target.counted.lower),
                target.target,
                percent(class.confidence)
            )
        })
}

/// A lower bound as a percentage, rounded so that it promises no more than it holds.
fn no_more_than(share: f64) -> String {
    percent((1000.0 * share).floor().max(0.0) / 1000.0)
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => format!("{}{}.", first.to_uppercase(), letters.as_str()),
        None => String::new(),
    }
}

/// `90 %`.
pub(super) fn percent(share: f64) -> String {
    format!("{} %", rounded(100.0 * share))
}

/// With at most one digit behind the point.
fn rounded(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}
