//! Field capacity and the lower end of the crop's water as a log shows them: each
//! soaking that was left alone is followed as it drains, and what each comes to is
//! put together.
//!
//! theta_v here is what a calibrated probe reads, so the calibration's uncertainty
//! is in all events alike and is added once, by the caller who knows it
//! ([`LogFieldCapacity::with_calibration`]).

mod dry_down;
mod hours;
mod redistribution;
mod wetting;

#[cfg(test)]
mod tests;

pub use dry_down::LowerBound;
pub use hours::{Hours, LoggedWater, Wetting};
pub use redistribution::{CUSTOMARY_HOURS, Drained, FIELD_CAPACITY_HOURS};
pub use wetting::EndedBy;

use crate::quantity::{Estimate, Timestamp};
use schemars::JsonSchema;
use serde::Serialize;

/// Why a soaking says nothing of field capacity.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum EventFault {
    /// It was not left alone for two days.
    #[error("only {hours} h were left alone, {}", ended(*by))]
    CutShort {
        /// Hours that were.
        hours: usize,
        /// What ended them.
        by: EndedBy,
    },
    /// The soil was not wetted above field capacity: it hardly drained.
    #[error("it drained by {fell:.3} m3/m3 only: not wetted above field capacity")]
    NotAboveFieldCapacity {
        /// Fall by drainage, m3/m3.
        fell: f64,
    },
    /// Crop and sun took more than drained.
    #[error("crop and sun took {taken:.3} m3/m3 while {drained:.3} drained, which hides it")]
    Evaporation {
        /// Fall by drainage, m3/m3.
        drained: f64,
        /// Fall by evapotranspiration in the same time, m3/m3.
        taken: f64,
    },
    /// The hours scatter too widely.
    #[error("the readings scatter so widely that it is sure to +- {u:.3} m3/m3 only")]
    Unsure {
        /// Standard uncertainty, m3/m3.
        u: f64,
    },
    /// No curve of this kind describes the hours.
    #[error("the readings do not fall as a draining soil does")]
    NoCurve,
}

fn ended(by: EndedBy) -> &'static str {
    match by {
        EndedBy::Nothing => "and two days are needed",
        EndedBy::Rain => "then it rained",
        EndedBy::Irrigation => "then the pump ran",
        EndedBy::Rise => "then theta_v rose again",
        EndedBy::Gap => "then the log has a gap",
        EndedBy::LogEnd => "then the log ends",
    }
}

impl EventFault {
    /// What to do for the next to count.
    pub fn mend(&self) -> &'static str {
        match self {
            EventFault::CutShort {
                by: EndedBy::Gap | EndedBy::LogEnd,
                ..
            } => "let the logger run for four days after a soaking",
            EventFault::CutShort { .. } => {
                "soak the bed, cover it against rain, and leave the pump off for four days"
            }
            EventFault::NotAboveFieldCapacity { .. } => {
                "soak the bed until water stands for a moment"
            }
            EventFault::Evaporation { .. } => {
                "cover the soaked bed with a sheet, best before it is planted"
            }
            EventFault::Unsure { .. } | EventFault::NoCurve => {
                "look at plugs and cable, and log at least every ten minutes"
            }
        }
    }
}

/// One soaking and what it came to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct DrainageEvent {
    /// When the wetting ended.
    #[serde(skip)]
    pub time: Timestamp,
    /// Highest theta_v, m3/m3.
    pub wettest: f64,
    /// Hours it was left alone, as far as they were followed.
    pub hours: usize,
    /// Field capacity, or why there is none.
    #[serde(flatten)]
    pub outcome: Outcome,
}

/// Field capacity from one event, or why there is none.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// It drained as it should.
    Drained(Drained),
    /// It says nothing of field capacity.
    Refused(EventFault),
}

/// Field capacity from every event that shows it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct LogFieldCapacity {
    /// theta_v two days after a wetting, had nothing been taken, m3/m3: the mean of
    /// the events, weighted by their uncertainties.
    pub theta_v: f64,
    /// Events behind it.
    pub events: usize,
    /// Standard uncertainty of the mean, m3/m3: of the events' own, widened by the
    /// Birge ratio where they differ by more than that (Birge 1932, Phys. Rev.
    /// 40:207; recalled from memory).
    pub u_events: f64,
    /// Standard uncertainty of what is meant by field capacity, m3/m3: it might as
    /// well be read after one day or after three; a rectangular distribution between.
    pub u_definition: f64,
    /// Standard uncertainty of the calibration there, m3/m3; zero until it is added.
    pub u_calibration: f64,
    /// Drainage that still goes on at field capacity, per day, m3/m3.
    pub drains_per_day: f64,
}

impl LogFieldCapacity {
    /// With the calibration's standard uncertainty, m3/m3, which all events share.
    pub fn with_calibration(self, u: f64) -> Self {
        Self {
            u_calibration: u,
            ..self
        }
    }

    /// Value and combined standard uncertainty, m3/m3.
    pub fn estimate(&self) -> Estimate<f64> {
        self.with_u_of(&[self.u_events, self.u_definition, self.u_calibration])
    }

    /// The same for use with readings of the same probe, whose calibration is off by
    /// as much then as it was here: without the calibration's part, which whoever
    /// compares a reading with field capacity counts already.
    pub fn for_the_same_probe(&self) -> Estimate<f64> {
        self.with_u_of(&[self.u_events, self.u_definition])
    }

    fn with_u_of(&self, parts: &[f64]) -> Estimate<f64> {
        Estimate::new(
            self.theta_v,
            parts.iter().map(|u| u * u).sum::<f64>().sqrt(),
        )
    }
}

/// What a log says of the water a soil holds.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LogWater {
    /// Every soaking, in order of time.
    pub events: Vec<DrainageEvent>,
    /// Field capacity, where at least one event shows it.
    pub field_capacity: Option<LogFieldCapacity>,
    /// The driest day, where one has readings enough.
    pub lower_bound: Option<LowerBound>,
    /// Whether the log says when it rained.
    pub says_rain: bool,
    /// Whether the log says when the pump ran.
    pub says_pump: bool,
}

/// Reads field capacity and the lower bound off a finished log.
///
/// # Example
/// ```
/// use calib_core::quantity::Timestamp;
/// use calib_core::soil::drainage::{Hours, LoggedWater, from_log};
/// let mut hours = Hours::default();
/// for hour in 0..120_i32 {
///     let theta = if hour < 12 { 0.2 } else { 0.3 * (f64::from(hour - 10) / 48.0).powf(-0.06) };
///     hours.push(LoggedWater {
///         time: Timestamp(3600 * i64::from(hour)),
///         theta_v: Some(theta),
///         pump_on: Some(false),
///         rain_mm: Some(0.0),
///     });
/// }
/// let found = from_log(&hours.finish());
/// let capacity = found.field_capacity.unwrap();
/// assert!((capacity.theta_v - 0.3).abs() < 0.002);
/// assert_eq!(capacity.events, 1);
/// ```
pub fn from_log(log: &Hours) -> LogWater {
    let events: Vec<DrainageEvent> = wetting::soakings(log)
        .iter()
        .map(|soaking| DrainageEvent {
            time: log.time(soaking.peak),
            wettest: soaking.wettest,
            hours: soaking.hours,
            outcome: match redistribution::follow(log, soaking) {
                Ok(drained) => Outcome::Drained(drained),
                Err(fault) => Outcome::Refused(fault),
            },
        })
        .collect();
    let drained: Vec<Drained> = events
        .iter()
        .filter_map(|event| match event.outcome {
            Outcome::Drained(drained) => Some(drained),
            Outcome::Refused(_) => None,
        })
        .collect();
    LogWater {
        field_capacity: combine(&drained),
        events,
        lower_bound: dry_down::lower_bound(log),
        says_rain: log.says_rain(),
        says_pump: log.says_pump(),
    }
}

/// Least standard uncertainty of one event, m3/m3: hours that fall smoothly do not
/// make one soaking speak for all. Our choice.
const LEAST_EVENT_U: f64 = 0.001;

fn combine(drained: &[Drained]) -> Option<LogFieldCapacity> {
    let weight = |event: &Drained| event.u.max(LEAST_EVENT_U).powi(-2);
    let weights: f64 = drained.iter().map(weight).sum();
    if drained.is_empty() {
        return None;
    }
    let mean = |of: &dyn Fn(&Drained) -> f64| {
        drained
            .iter()
            .map(|event| weight(event) * of(event))
            .sum::<f64>()
            / weights
    };
    let theta_v = mean(&|event| event.field_capacity);
    let others = drained.len().saturating_sub(1).max(1) as f64;
    let birge_squared = drained
        .iter()
        .map(|event| weight(event) * (event.field_capacity - theta_v).powi(2))
        .sum::<f64>()
        / others;
    let (earliest, latest) = CUSTOMARY_HOURS;
    let half_width = mean(&|event| event.fall(earliest, latest)) / 2.0;
    Some(LogFieldCapacity {
        theta_v,
        events: drained.len(),
        u_events: (birge_squared.max(1.0) / weights).sqrt(),
        u_definition: half_width / 3.0_f64.sqrt(),
        u_calibration: 0.0,
        drains_per_day: mean(&|event| {
            event.exponent * event.field_capacity * 24.0 / FIELD_CAPACITY_HOURS
        }),
    })
}
