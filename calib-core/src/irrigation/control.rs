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
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn theta(value: f64) -> Vwc {
        Vwc::new(value).unwrap()
    }

    const TIMES: PumpTimes = PumpTimes {
        minimum_on_s: 60,
        minimum_off_s: 300,
        maximum_on_s: 1800,
    };

    fn band(times: PumpTimes) -> Rule {
        let points = SwitchPoints::Band {
            refill: theta(0.14),
            stop: theta(0.17),
        };
        Rule::new(points, times).unwrap()
    }

    fn single(times: PumpTimes) -> Rule {
        let points = SwitchPoints::Single {
            threshold: theta(0.14),
        };
        Rule::new(points, times).unwrap()
    }

    /// On or off after each reading, from power-up at 0 s.
    fn follow(rule: Rule, readings: &[(i64, Option<f64>)]) -> Vec<(Option<Event>, bool)> {
        let mut control = Control::new(rule, Timestamp(0));
        readings
            .iter()
            .map(|(time, value)| {
                let step = control.push(Timestamp(*time), value.map(theta));
                (step.event, step.on)
            })
            .collect()
    }

    const STARTED: (Option<Event>, bool) = (Some(Event::Started), true);
    const ON: (Option<Event>, bool) = (None, true);
    const OFF: (Option<Event>, bool) = (None, false);

    fn stopped(why: Stop) -> (Option<Event>, bool) {
        (Some(Event::Stopped(why)), false)
    }

    #[test]
    fn a_band_starts_at_refill_and_stops_at_stop() {
        let readings = [
            (299, Some(0.10)),
            (300, Some(0.1401)),
            (310, Some(0.14)),
            (400, Some(0.1699)),
            (500, Some(0.17)),
            (900, Some(0.1401)),
        ];
        let expected = [OFF, OFF, STARTED, ON, stopped(Stop::Reached), OFF];
        assert_eq!(follow(band(TIMES), &readings), expected);
    }

    #[test]
    fn a_single_threshold_without_times_follows_every_reading() {
        let readings = [
            (0, Some(0.1401)),
            (1, Some(0.14)),
            (2, Some(0.1401)),
            (3, Some(0.1399)),
        ];
        let expected = [OFF, STARTED, stopped(Stop::Reached), STARTED];
        assert_eq!(follow(single(PumpTimes::NONE), &readings), expected);
    }

    #[test]
    fn the_shortest_times_hold_a_switch_back() {
        let readings = [
            (300, Some(0.10)),
            (359, Some(0.20)),
            (360, Some(0.20)),
            (659, Some(0.10)),
            (660, Some(0.10)),
        ];
        let expected = [STARTED, ON, stopped(Stop::Reached), OFF, STARTED];
        assert_eq!(follow(single(TIMES), &readings), expected);
    }

    #[test]
    fn a_reading_without_answer_stops_the_pump_within_the_shortest_time_on() {
        let readings = [
            (300, Some(0.10)),
            (301, None),
            (302, Some(0.10)),
            (601, Some(0.10)),
        ];
        let expected = [STARTED, stopped(Stop::NoAnswer), OFF, STARTED];
        assert_eq!(follow(band(TIMES), &readings), expected);
    }

    #[test]
    fn the_longest_time_ends_between_readings_and_the_shortest_off_runs_from_there() {
        let mut control = Control::new(band(TIMES), Timestamp(0));
        assert!(control.push(Timestamp(300), Some(theta(0.10))).on);
        assert_eq!(control.deadline(), Some(Timestamp(2100)));
        // 299 s after the end at 2100 s: still off.
        let step = control.push(Timestamp(2399), Some(theta(0.10)));
        assert_eq!(step.ran_out, Some(Timestamp(2100)));
        assert_eq!((step.event, step.on), OFF);
        let step = control.push(Timestamp(2400), Some(theta(0.10)));
        assert_eq!((step.event, step.on), STARTED);
    }

    #[test]
    fn after_the_longest_time_a_band_waits_for_refill_again() {
        let readings = [
            (300, Some(0.10)),
            (2100, Some(0.15)),
            (9000, Some(0.15)),
            (9001, Some(0.14)),
        ];
        let expected = [STARTED, OFF, OFF, STARTED];
        assert_eq!(follow(band(TIMES), &readings), expected);
    }

    #[test]
    fn a_pump_that_may_restart_at_once_still_goes_off_at_its_longest_time() {
        let times = PumpTimes {
            minimum_on_s: 0,
            minimum_off_s: 0,
            maximum_on_s: 100,
        };
        let readings = [(0, Some(0.10)), (100, Some(0.10)), (101, Some(0.10))];
        assert_eq!(follow(band(times), &readings), [STARTED, OFF, STARTED]);
    }

    #[test]
    fn a_clock_set_back_stops_the_pump_and_starts_its_rest_anew() {
        let readings = [
            (5000, Some(0.10)),
            (4000, Some(0.10)),
            (4299, Some(0.10)),
            (4300, Some(0.10)),
        ];
        let expected = [STARTED, stopped(Stop::ClockSetBack), OFF, STARTED];
        assert_eq!(follow(band(TIMES), &readings), expected);
    }

    #[test]
    fn rules_that_cannot_be_followed_are_refused() {
        let upside_down = SwitchPoints::Band {
            refill: theta(0.17),
            stop: theta(0.17),
        };
        assert_eq!(
            Rule::new(upside_down, TIMES).unwrap_err().to_string(),
            "refill 0.17 m3/m3 must lie below stop 0.17 m3/m3"
        );
        let long = PumpTimes {
            minimum_on_s: 1801,
            ..TIMES
        };
        let never = PumpTimes {
            minimum_on_s: 0,
            maximum_on_s: 0,
            ..TIMES
        };
        let points = band(TIMES).points();
        assert_eq!(
            Rule::new(points, long),
            Err(RuleError::TimesContradict {
                minimum: 1801,
                maximum: 1800
            })
        );
        assert_eq!(Rule::new(points, never), Err(RuleError::NeverOn));
    }

    /// Steps of time, mostly forwards, and readings around the set points, one in
    /// eight without an answer.
    fn any_readings() -> impl Strategy<Value = Vec<(i64, Option<f64>)>> {
        let answer = prop_oneof![7 => (0.11..0.20_f64).prop_map(Some), 1 => Just(None)];
        prop::collection::vec((1..900_i64, answer), 1..400).prop_map(|steps| {
            let mut time = 0;
            steps
                .into_iter()
                .map(|(step, value)| {
                    time += step;
                    (time, value)
                })
                .collect()
        })
    }

    fn any_times() -> impl Strategy<Value = PumpTimes> {
        (0..600_u32, 0..2000_u32, 1..3000_u32).prop_map(|(on, off, longer)| PumpTimes {
            minimum_on_s: on,
            minimum_off_s: off,
            maximum_on_s: on + longer,
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(1000))]
        #[test]
        fn no_rule_breaks_its_promises(
            readings in any_readings(), times in any_times(), banded in any::<bool>(),
        ) {
            let rule = if banded { band(times) } else { single(times) };
            let mut control = Control::new(rule, Timestamp(0));
            let (mut on, mut since) = (false, 0_i64);
            for (time, value) in readings {
                let step = control.push(Timestamp(time), value.map(theta));
                if let Some(end) = step.ran_out {
                    prop_assert!(on && end.0 == since + i64::from(times.maximum_on_s));
                    (on, since) = (false, end.0);
                }
                match step.event {
                    Some(Event::Started) => {
                        prop_assert!(!on && time - since >= i64::from(times.minimum_off_s));
                        prop_assert!(value.unwrap() <= 0.14, "never above refill");
                        (on, since) = (true, time);
                    }
                    Some(Event::Stopped(why)) => {
                        prop_assert!(on);
                        if value.is_none() {
                            prop_assert_eq!(why, Stop::NoAnswer);
                        } else {
                            prop_assert_eq!(why, Stop::Reached);
                            prop_assert!(time - since >= i64::from(times.minimum_on_s));
                            let least = if banded { 0.17 } else { 0.14 };
                            prop_assert!(value.unwrap() >= least);
                        }
                        (on, since) = (false, time);
                    }
                    None => {}
                }
                prop_assert_eq!(step.on, on);
                prop_assert_eq!(control.is_on(), on);
                prop_assert!(!(on && value.is_none()), "never on without an answer");
                prop_assert!(!on || time - since < i64::from(times.maximum_on_s));
            }
        }
    }
}
