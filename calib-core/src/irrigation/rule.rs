//! Where a pump switches, and the times it must keep.

use crate::quantity::{Quantity, Vwc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where a rule switches, theta_v.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SwitchPoints {
    /// On at or below one figure, off above it.
    Single {
        /// That figure, m3/m3.
        threshold: Vwc,
    },
    /// On at or below `refill`, off at or above `stop`, as it was in between.
    Band {
        /// Start, m3/m3.
        refill: Vwc,
        /// Stop, m3/m3; above `refill`.
        stop: Vwc,
    },
}

impl SwitchPoints {
    /// What a water content means by these points.
    pub fn judge(self, theta_v: Vwc) -> Moisture {
        match self {
            SwitchPoints::Single { threshold } if theta_v <= threshold => Moisture::TooDry,
            SwitchPoints::Single { .. } => Moisture::Enough,
            SwitchPoints::Band { refill, .. } if theta_v <= refill => Moisture::TooDry,
            SwitchPoints::Band { stop, .. } if theta_v >= stop => Moisture::Enough,
            SwitchPoints::Band { .. } => Moisture::Between,
        }
    }
}

/// What a reading says to a pump.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moisture {
    /// Water is needed.
    TooDry,
    /// Neither.
    Between,
    /// Water enough.
    Enough,
}

/// Times a pump must keep, s.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PumpTimes {
    /// Shortest time on; no longer than `maximum_on_s`.
    pub minimum_on_s: u32,
    /// Shortest time off.
    pub minimum_off_s: u32,
    /// Longest time on; at least 1. `u32::MAX`, 136 years, is none.
    pub maximum_on_s: u32,
}

impl PumpTimes {
    /// No times to keep: the pump follows every reading.
    pub const NONE: Self = Self {
        minimum_on_s: 0,
        minimum_off_s: 0,
        maximum_on_s: u32::MAX,
    };
}

/// Why a rule cannot be followed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RuleError {
    /// A band upside down or without width.
    #[error("refill {refill} m3/m3 must lie below stop {stop} m3/m3")]
    NoBand {
        /// Start, m3/m3.
        refill: f64,
        /// Stop, m3/m3.
        stop: f64,
    },
    /// The pump would have to run longer than it may.
    #[error("the shortest time on, {minimum} s, is longer than the longest, {maximum} s")]
    TimesContradict {
        /// Shortest time on, s.
        minimum: u32,
        /// Longest time on, s.
        maximum: u32,
    },
    /// A longest time on of nothing.
    #[error("the longest time on must be above 0 s; at 0 the pump never runs")]
    NeverOn,
}

/// Where to switch and which times to keep; always one that can be followed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Rule {
    points: SwitchPoints,
    times: PumpTimes,
}

impl Rule {
    /// A rule of these points and times.
    ///
    /// # Errors
    /// [`RuleError`] if refill does not lie below stop, or the times contradict
    /// each other.
    ///
    /// # Example
    /// ```
    /// use calib_core::irrigation::{Control, Event, PumpTimes, Rule, Stop, SwitchPoints};
    /// use calib_core::quantity::{Quantity, Timestamp, Vwc};
    /// let points = SwitchPoints::Band { refill: Vwc::new(0.14)?, stop: Vwc::new(0.17)? };
    /// let times = PumpTimes { minimum_on_s: 60, minimum_off_s: 600, maximum_on_s: 3600 };
    /// let mut control = Control::new(Rule::new(points, times)?, Timestamp(0));
    /// assert_eq!(control.push(Timestamp(300), Vwc::new(0.13).ok()).event, None);
    /// assert_eq!(control.push(Timestamp(600), Vwc::new(0.13).ok()).event, Some(Event::Started));
    /// assert_eq!(control.push(Timestamp(630), None).event, Some(Event::Stopped(Stop::NoAnswer)));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(points: SwitchPoints, times: PumpTimes) -> Result<Self, RuleError> {
        if let SwitchPoints::Band { refill, stop } = points
            && refill >= stop
        {
            return Err(RuleError::NoBand {
                refill: refill.value(),
                stop: stop.value(),
            });
        }
        if times.maximum_on_s == 0 {
            return Err(RuleError::NeverOn);
        }
        if times.minimum_on_s > times.maximum_on_s {
            return Err(RuleError::TimesContradict {
                minimum: times.minimum_on_s,
                maximum: times.maximum_on_s,
            });
        }
        Ok(Self { points, times })
    }

    /// Where it switches.
    pub fn points(&self) -> SwitchPoints {
        self.points
    }

    /// The times it keeps.
    pub fn times(&self) -> PumpTimes {
        self.times
    }
}
