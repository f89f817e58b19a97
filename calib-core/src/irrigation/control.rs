//! When the pump goes on and off: one state machine, pushed a reading at a time.
//!
//! The table of behaviour; a controller, the replay of a log and the simulated
//! season all follow it. The first line that holds decides.
//!
//! | pump | what holds | pump then | why |
//! | --- | --- | --- | --- |
//! | on | the clock was set back | off at once | [`Stop::ClockSetBack`] |
//! | on | it has run for the longest time on | off, at the very end of that time | [`Stop::MaximumOn`] |
//! | on | the reading has no answer | off at once | [`Stop::NoAnswer`] |
//! | on | the reading says enough, and the shortest time on is over | off | [`Stop::Reached`] |
//! | on | anything else | on | |
//! | off | the reading has no answer | off | |
//! | off | the shortest time off is not over | off | |
//! | off | the reading says too dry | on | [`Event::Started`] |
//! | off | anything else | off | |
//!
//! - *No answer* is whatever a calibration refuses: a count outside its domain, a
//!   missing temperature, a fault code of the controller file.
//! - *Too dry* is theta_v at or below refill (or the one threshold). *Enough* is
//!   theta_v at or above stop; with one threshold, above it.
//! - Power-up counts as having just stopped: the shortest time off runs first.
//! - The shortest time off runs after every stop, one for want of an answer too.
//! - After a stop at the longest time on, a band starts again at refill only, not
//!   in between: what stopped it may be a burst line.
//! - A clock that is set back tells nothing of how long the pump has been on or
//!   off: it goes off, and the shortest time off begins anew.

use crate::quantity::{Quantity, Timestamp, Vwc};
use serde::{Deserialize, Serialize};

/// Where a rule switches, theta_v.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
    fn too_dry(self, theta_v: Vwc) -> bool {
        match self {
            SwitchPoints::Single { threshold } => theta_v <= threshold,
            SwitchPoints::Band { refill, .. } => theta_v <= refill,
        }
    }

    fn enough(self, theta_v: Vwc) -> bool {
        match self {
            SwitchPoints::Single { threshold } => theta_v > threshold,
            SwitchPoints::Band { stop, .. } => theta_v >= stop,
        }
    }
}

/// Times a pump must keep, s.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
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

/// Why the pump went off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stop {
    /// The reading said enough.
    Reached,
    /// It had run for the longest time on.
    MaximumOn,
    /// The reading had no answer.
    NoAnswer,
    /// The clock was set back.
    ClockSetBack,
}

/// A switch of the pump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Event {
    /// It went on.
    Started,
    /// It went off.
    Stopped(Stop),
}

/// What a reading led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// When the longest time on ran out since the reading before, if it did: the
    /// pump went off then, not at this reading.
    pub ran_out: Option<Timestamp>,
    /// What happened at this reading.
    pub event: Option<Event>,
    /// Whether the pump is on from now.
    pub on: bool,
}

/// The state machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    rule: Rule,
    on: bool,
    /// When it last switched, or powered up.
    since: Timestamp,
    /// Time of the latest reading, or of power-up.
    now: Timestamp,
}

impl Control {
    /// Powers up at `now`: off, and as if just stopped.
    pub fn new(rule: Rule, now: Timestamp) -> Self {
        Self {
            rule,
            on: false,
            since: now,
            now,
        }
    }

    /// Whether the pump is on.
    pub fn is_on(&self) -> bool {
        self.on
    }

    /// When the pump goes off even if no reading comes; `None` while it is off.
    pub fn deadline(&self) -> Option<Timestamp> {
        let longest = i64::from(self.rule.times.maximum_on_s);
        self.on
            .then(|| Timestamp(self.since.0.saturating_add(longest)))
    }

    /// Follows one reading, `None` where it has no answer, by the table of this
    /// module.
    pub fn push(&mut self, time: Timestamp, theta_v: Option<Vwc>) -> Step {
        let set_back = time < self.now;
        self.now = time;
        let ran_out = self.deadline().filter(|end| !set_back && *end <= time);
        if let Some(end) = ran_out {
            self.switch(false, end);
        }
        let event = if set_back {
            let stopped = self.on.then_some(Event::Stopped(Stop::ClockSetBack));
            self.switch(false, time);
            stopped
        } else if ran_out == Some(time) {
            // It has only just gone off.
            None
        } else {
            self.decide(theta_v)
        };
        match event {
            Some(Event::Started) => self.switch(true, time),
            Some(Event::Stopped(_)) => self.switch(false, time),
            None => {}
        }
        Step {
            ran_out,
            event,
            on: self.on,
        }
    }

    fn decide(&self, theta_v: Option<Vwc>) -> Option<Event> {
        let held = self.now.seconds_since(self.since);
        let (points, times) = (self.rule.points, self.rule.times);
        match (self.on, theta_v) {
            (true, None) => Some(Event::Stopped(Stop::NoAnswer)),
            (true, Some(theta_v)) => (held >= i64::from(times.minimum_on_s)
                && points.enough(theta_v))
            .then_some(Event::Stopped(Stop::Reached)),
            (false, None) => None,
            (false, Some(theta_v)) => (held >= i64::from(times.minimum_off_s)
                && points.too_dry(theta_v))
            .then_some(Event::Started),
        }
    }

    fn switch(&mut self, on: bool, at: Timestamp) {
        self.on = on;
        self.since = at;
    }
}

#[cfg(test)]
mod tests;
