//! When the pump goes on and off: one state machine, pushed a reading at a time.
//!
//! [`BEHAVIOUR`] is the table of behaviour; a controller, the replay of a log and
//! the simulated season all follow it. The first line that holds decides.
//!
//! - *No answer* is whatever a calibration refuses: a count outside its domain, a
//!   missing temperature, any fault of the controller's table.
//! - *Too dry* is theta_v at or below refill (or the one threshold). *Enough* is
//!   theta_v at or above stop; with one threshold, above it.
//! - Power-up counts as having just stopped: the shortest time off runs first.
//! - The shortest time off runs after every stop, one for want of an answer too.
//! - The pump that has run for its longest time goes off at the first reading at or
//!   after the end of that time, and rests from that reading on, however late it
//!   comes: only a reading moves the relay.
//! - After a stop at the longest time on, a band starts again at refill only, not
//!   in between: what stopped it may be a burst line.
//! - A clock that is set back tells nothing of how long the pump has been on or
//!   off: it goes off, and the shortest time off begins anew.

use super::rule::{Moisture, PumpTimes, Rule};
use crate::quantity::{Timestamp, Vwc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What may hold when a reading comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// The clock shows an earlier time than at the reading before.
    ClockSetBack,
    /// The pump has run for its longest time.
    LongestRunOver,
    /// The reading has no answer.
    NoAnswer,
    /// The reading says enough, and the shortest time on is over.
    EnoughAndRanLongEnough,
    /// The reading says too dry, and the shortest time off is over.
    TooDryAndRestedLongEnough,
    /// Whatever else.
    AnythingElse,
}

/// A line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Behaviour {
    /// Whether the pump is on when the reading comes.
    pub on: bool,
    /// What holds.
    pub holds: Holds,
    /// What happens; `None` leaves the pump as it is.
    pub event: Option<Event>,
}

const fn line(on: bool, holds: Holds, event: Option<Event>) -> Behaviour {
    Behaviour { on, holds, event }
}

/// The whole behaviour of the pump: of the lines for a pump that is on, or off,
/// the first that holds decides.
pub const BEHAVIOUR: [Behaviour; 9] = [
    line(
        true,
        Holds::ClockSetBack,
        Some(Event::Stopped(Stop::ClockSetBack)),
    ),
    line(
        true,
        Holds::LongestRunOver,
        Some(Event::Stopped(Stop::MaximumOn)),
    ),
    line(true, Holds::NoAnswer, Some(Event::Stopped(Stop::NoAnswer))),
    line(
        true,
        Holds::EnoughAndRanLongEnough,
        Some(Event::Stopped(Stop::Reached)),
    ),
    line(true, Holds::AnythingElse, None),
    line(false, Holds::ClockSetBack, None),
    line(false, Holds::NoAnswer, None),
    line(
        false,
        Holds::TooDryAndRestedLongEnough,
        Some(Event::Started),
    ),
    line(false, Holds::AnythingElse, None),
];

impl fmt::Display for Holds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Holds::ClockSetBack => "the clock was set back",
            Holds::LongestRunOver => "it has run for the longest time on",
            Holds::NoAnswer => "the reading is a fault",
            Holds::EnoughAndRanLongEnough => {
                "theta_v is at or above stop, and the shortest time on is over"
            }
            Holds::TooDryAndRestedLongEnough => {
                "theta_v is at or below refill, and the shortest time off is over"
            }
            Holds::AnythingElse => "anything else",
        })
    }
}

impl fmt::Display for Behaviour {
    /// As a row of the documented table.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let then = match (self.on, self.event) {
            (_, Some(Event::Started)) => "on",
            (_, Some(Event::Stopped(_))) => "off at once",
            (true, None) => "on",
            (false, None) if self.holds == Holds::ClockSetBack => {
                "off; the shortest time off begins anew"
            }
            (false, None) => "off",
        };
        let pump = if self.on { "on" } else { "off" };
        write!(f, "| {pump} | {} | {then} |", self.holds)
    }
}

/// Why the pump went off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
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
    /// What happened at this reading.
    pub event: Option<Event>,
    /// Whether the pump is on from now.
    pub on: bool,
}

/// The state machine by itself, for readings that are judged already.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PumpSwitch {
    times: PumpTimes,
    on: bool,
    /// When it last switched, or powered up.
    since: Timestamp,
    /// Time of the latest reading, or of power-up.
    now: Timestamp,
}

impl PumpSwitch {
    /// Powers up at `now`: off, and as if just stopped.
    pub fn new(times: PumpTimes, now: Timestamp) -> Self {
        Self {
            times,
            on: false,
            since: now,
            now,
        }
    }

    /// Whether the pump is on.
    pub fn is_on(&self) -> bool {
        self.on
    }

    /// When the longest time on ends, and a watchdog should have the pump off even if
    /// no reading comes; `None` while it is off.
    pub fn deadline(&self) -> Option<Timestamp> {
        let longest = i64::from(self.times.maximum_on_s);
        self.on
            .then(|| Timestamp(self.since.0.saturating_add(longest)))
    }

    /// Follows one reading, `None` where it has no answer, by [`BEHAVIOUR`].
    pub fn push(&mut self, time: Timestamp, moisture: Option<Moisture>) -> Step {
        let set_back = time < self.now;
        self.now = time;
        let event = self.decide(set_back, moisture);
        match event {
            Some(Event::Started) => self.switch(true, time),
            Some(Event::Stopped(_)) => self.switch(false, time),
            None if set_back => self.switch(false, time),
            None => {}
        }
        Step { event, on: self.on }
    }

    /// The event of the first line that holds.
    fn decide(&self, set_back: bool, moisture: Option<Moisture>) -> Option<Event> {
        let held = self.now.seconds_since(self.since);
        let over = |seconds: u32| held >= i64::from(seconds);
        let holds = |what: Holds| match what {
            Holds::ClockSetBack => set_back,
            Holds::LongestRunOver => self.deadline().is_some_and(|end| end <= self.now),
            Holds::NoAnswer => moisture.is_none(),
            Holds::EnoughAndRanLongEnough => {
                moisture == Some(Moisture::Enough) && over(self.times.minimum_on_s)
            }
            Holds::TooDryAndRestedLongEnough => {
                moisture == Some(Moisture::TooDry) && over(self.times.minimum_off_s)
            }
            Holds::AnythingElse => true,
        };
        BEHAVIOUR
            .iter()
            .find(|line| line.on == self.on && holds(line.holds))
            .and_then(|line| line.event)
    }

    fn switch(&mut self, on: bool, at: Timestamp) {
        self.on = on;
        self.since = at;
    }
}

/// The state machine for theta_v, with the points of a [`Rule`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    rule: Rule,
    switch: PumpSwitch,
}

impl Control {
    /// Powers up at `now`: off, and as if just stopped.
    pub fn new(rule: Rule, now: Timestamp) -> Self {
        Self {
            rule,
            switch: PumpSwitch::new(rule.times(), now),
        }
    }

    /// Whether the pump is on.
    pub fn is_on(&self) -> bool {
        self.switch.is_on()
    }

    /// When the longest time on ends, and a watchdog should have the pump off even if
    /// no reading comes; `None` while it is off.
    pub fn deadline(&self) -> Option<Timestamp> {
        self.switch.deadline()
    }

    /// Follows one reading, `None` where it has no answer, by [`BEHAVIOUR`].
    pub fn push(&mut self, time: Timestamp, theta_v: Option<Vwc>) -> Step {
        let points = self.rule.points();
        self.switch
            .push(time, theta_v.map(|theta_v| points.judge(theta_v)))
    }
}

#[cfg(test)]
mod tests;
