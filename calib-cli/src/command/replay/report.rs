//! The answer of `ovendry replay`, the same for people and machines.

mod figure;
mod log;
mod season;

pub(in crate::command) use season::SeasonReport;

use super::log::LONGEST_GAP_S;
use super::{Subject, Threshold};
use crate::caution;
use crate::failure::{Verdict, Warning};
use calib_core::irrigation::{Replayed, SetPoints};
use calib_core::quantity::Quantity;
use calib_core::soil::SoilWater;
pub(in crate::command) use figure::{round, years};
use log::LogReport;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;
use std::path::PathBuf;

/// Seconds of a day, to divide sums of time by.
const DAY_S: f64 = calib_core::irrigation::DAY_S as f64;

/// A rule by its name, for people and in JSON.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::command) enum RuleName {
    PumpAsRecorded,
    OneThreshold,
    WithPumpTimes,
    RefillAndStop,
}

impl RuleName {
    pub fn words(self) -> &'static str {
        match self {
            Self::PumpAsRecorded => "pump as recorded",
            Self::OneThreshold => "one threshold",
            Self::WithPumpTimes => "with pump times",
            Self::RefillAndStop => "refill and stop",
        }
    }
}

/// The rules compared, in the order of a subject's sides.
const RULES: [RuleName; 3] = [
    RuleName::OneThreshold,
    RuleName::WithPumpTimes,
    RuleName::RefillAndStop,
];

/// Share of the water between refill and stop that a lagging probe may add before it
/// is worth a warning. Our choice.
const LARGE_OVERSHOOT: f64 = 0.1;

/// What a log cannot tell.
pub(in crate::command) const OPEN_LOOP: &str = "What each rule would have asked for on these readings, not what would have happened: water it asked for never came, so it asks again and again. Compare rules by the simulated seasons.";
/// What a simulated season cannot tell.
const BUCKET: &str = "The simulated bed is one bucket of evenly moist soil, with drainage, lag, day and noise as assumed: it tells rules apart, not how wet this bed will be on a given day.";

/// What is said of a site with beds.
const BEDS: &str = "The beds of site.toml are not simulated: each probe is taken alone, as if it ran the pump by itself.";

/// What limits the answer as a whole.
pub(super) struct Limits {
    /// There is a log.
    pub(super) log: bool,
    /// site.toml has beds.
    pub(super) beds: bool,
}

/// Everything the command has to say.
#[derive(Serialize, JsonSchema)]
pub(in crate::command) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    pub probes: Vec<ProbeReport>,
    /// What the figures cannot tell.
    pub caveats: Vec<&'static str>,
    #[serde(skip)]
    beds: bool,
    written: Vec<String>,
    pub warnings: Vec<Warning>,
    cautions: Vec<&'static str>,
}

impl Answer {
    pub(super) fn new(probes: Vec<ProbeReport>, limits: Limits, warnings: Vec<Warning>) -> Self {
        let caveats = [(limits.log, OPEN_LOOP), (true, BUCKET), (limits.beds, BEDS)];
        let caveats = caveats.into_iter().filter(|(holds, _)| *holds);
        Self {
            format: "ovendry replay",
            version: 1,
            verdict: Verdict::Good,
            probes,
            caveats: caveats.map(|(_, caveat)| caveat).collect(),
            beds: limits.beds,
            written: Vec::new(),
            warnings,
            cautions: [caution::PUMP, &[caution::LOCAL_RULES]].concat(),
        }
    }

    /// These files are now there.
    pub(super) fn note_written(&mut self, paths: &[PathBuf]) {
        let shown = paths.iter().map(|path| path.display().to_string());
        self.written.extend(shown);
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for probe in &self.probes {
            writeln!(f, "{probe}")?;
        }
        writeln!(f, "{BUCKET}")?;
        if self.beds {
            writeln!(f, "{BEDS}")?;
        }
        for path in &self.written {
            writeln!(f, "wrote {path}")?;
        }
        writeln!(f)
    }
}

/// One probe.
#[derive(Serialize, JsonSchema)]
pub(in crate::command) struct ProbeReport {
    pub probe: String,
    soil: String,
    /// The simulated seasons in a sentence.
    pub verdict: String,
    /// What in the log speaks against the verdict, in a few sentences.
    pub doubt: Option<String>,
    /// What refill and stop do to the water bill, in a sentence.
    pub water: String,
    /// How many of the starts refill and stop save in the simulated seasons,
    /// percent; `None` where one threshold never starts the pump.
    starts_cut_percent: Option<f64>,
    set_points: SetPoints,
    pub threshold: Threshold,
    soil_water: SoilWater,
    pub season: SeasonReport,
    log: Option<LogReport>,
}

impl ProbeReport {
    pub(super) fn new(subject: &Subject<'_>, log: Option<Replayed>, season: SeasonReport) -> Self {
        let stated = subject.threshold.stated;
        let recorded = log.as_ref().and_then(|log| log.recorded);
        Self {
            probe: subject.calibration.probe.clone(),
            soil: subject.calibration.soil.clone(),
            verdict: season.verdict(),
            doubt: recorded
                .filter(|_| stated)
                .and_then(|recorded| season.doubt(&recorded)),
            water: season.water(),
            starts_cut_percent: season.starts_cut_percent(),
            set_points: subject.set_points.clone(),
            threshold: subject.threshold.clone(),
            soil_water: subject.water,
            log: log.map(|replayed| LogReport::new(&replayed, &season)),
            season,
        }
    }

    /// What to think of before relying on the figures.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        let mut warnings = Vec::new();
        let mut warn = |what: String, why: &str, advice: &str| {
            warnings.push(Warning {
                place: self.probe.clone(),
                what,
                why: why.to_owned(),
                advice: advice.to_owned(),
            });
        };
        let band = self.season.band();
        let (late, held) = (
            self.season.overshoot_mm(),
            self.set_points.net_depth.value(),
        );
        if band.hours_without_answer_too_dry.mean >= 1.0 {
            warn(
                format!(
                    "in a simulated season under refill and stop the bed is below refill and the calibration has no answer for {} hours",
                    round(band.hours_without_answer_too_dry.mean)
                ),
                "the pump stays off meanwhile, however dry the bed is",
                "take drier cores, at best below the wilting point, and fit again",
            );
        }
        // A longest time that cuts an irrigation short, or one that ends it.
        let cut = self.season.longest_run_mm < 0.9 * held && band.stops_at_maximum.mean >= 1.0;
        let timed = !cut && self.season.longest_run_mm < held + 0.5 * late;
        if cut {
            warn(
                format!(
                    "in a simulated season the pump is stopped {} times at its longest time on",
                    round(band.stops_at_maximum.mean)
                ),
                "an irrigation cut short does not reach stop, and the next starts at refill again",
                "raise maximum_on_s if a burst line may run that long, raise the flow, or water a smaller area",
            );
        }
        if !cut && !timed && late > LARGE_OVERSHOOT * held {
            warn(
                format!(
                    "while the probe lags, the pump brings some {late:.1} mm more, where the roots hold {held:.1} mm between refill and stop"
                ),
                "what comes after the bed is full drains and carries nutrients along",
                "measure the lag and write it as probe_lag_s; if it is so long, let the time stop the pump: maximum_on_s = the run time `ovendry setpoints` gives",
            );
        }
        if let Some(log) = &self.log {
            let (counted, gaps) = (log.counted_s, log.gap_s);
            if gaps > 0.1 * (counted + gaps) {
                warn(
                    format!(
                        "{} of the log's {} days lie in gaps longer than {} h",
                        round(gaps / DAY_S),
                        round((counted + gaps) / DAY_S),
                        LONGEST_GAP_S / 3600
                    ),
                    "nothing is known of the pump and the soil in a gap, so it is not counted",
                    "log at least once an hour",
                );
            }
            if log.unanswered_s > 0.05 * counted {
                warn(
                    format!(
                        "the calibration has no answer for {} of the log's {} days",
                        round(log.unanswered_s / DAY_S),
                        round(counted / DAY_S)
                    ),
                    "by refill and stop the pump is off there, however dry the bed is",
                    "look at these counts: a broken wire, a missing soil temperature, or soil wetter or drier than any core",
                );
            }
        }
        warnings
    }
}

impl fmt::Display for ProbeReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (set, threshold) = (&self.set_points, &self.threshold);
        writeln!(f, "Probe {} in soil {}", self.probe, self.soil)?;
        writeln!(f, "{}\n{}", self.verdict, self.water)?;
        if let Some(doubt) = &self.doubt {
            writeln!(f, "{doubt}")?;
        }
        writeln!(f)?;
        writeln!(
            f,
            "One threshold: {} counts ({:.3} m3/m3), {}; the count as read, on and off at once.",
            threshold.count,
            threshold.theta_v.value(),
            threshold.from
        )?;
        writeln!(
            f,
            "Refill {} and stop {} counts ({:.3} and {:.3} m3/m3), with the calibration and the pump's times.",
            set.refill_count,
            set.stop_count,
            set.refill.value(),
            set.stop.value()
        )?;
        writeln!(f)?;
        write!(f, "{}", self.season)?;
        if let Some(log) = &self.log {
            writeln!(f)?;
            write!(f, "{log}")?;
        }
        Ok(())
    }
}
