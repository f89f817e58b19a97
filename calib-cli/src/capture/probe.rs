//! One probe as it is followed while its readings come.

use crate::table::heard::{Heard, in_seconds};
use calib_core::quantity::{Celsius, Timestamp};
use calib_core::readings::{Motion, Settled, Settling, SettlingRule};
use std::time::Instant;

/// A probe that is heard.
#[derive(Debug, Clone)]
pub struct Followed {
    settling: Settling,
    rule: SettlingRule,
    /// The last reading.
    pub count: u32,
    /// Its temperature.
    pub temperature: Option<Celsius>,
    /// Readings appended.
    pub readings: u64,
    /// Those that carry a core.
    pub tagged: u64,
    /// As it was when last looked at.
    pub settled: Settled,
    last: (Timestamp, Instant),
    since: Instant,
}

impl Followed {
    /// From its first reading on.
    pub fn new(rule: SettlingRule, first: &Heard) -> Self {
        let time = in_seconds(first.time);
        let mut settling = Settling::new(rule);
        Self {
            settled: settling.look(time),
            settling,
            rule,
            count: first.count,
            temperature: first.soil_temperature,
            readings: 0,
            tagged: 0,
            last: (time, Instant::now()),
            since: Instant::now(),
        }
    }

    /// Takes a reading.
    pub fn take(&mut self, reading: &Heard) {
        let time = in_seconds(reading.time);
        self.settling.take(time, reading.count);
        self.count = reading.count;
        self.temperature = reading.soil_temperature;
        self.last = (time, Instant::now());
    }

    /// Looks at it; whether it does something else than before. The clock is that of its
    /// readings: a logger's may differ from this machine's, and a file may be old.
    pub fn look(&mut self) -> bool {
        let (time, heard) = self.last;
        let now = Timestamp(time.0.saturating_add(heard.elapsed().as_secs() as i64));
        let before = self.settled.motion;
        self.settled = self.settling.look(now);
        let changed = before != self.settled.motion;
        if changed {
            self.since = Instant::now();
        }
        changed
    }

    /// Whether it is at rest.
    pub fn is_steady(&self) -> bool {
        self.settled.motion == Motion::Steady
    }

    /// Whether enough readings carry the core, where they are tagged.
    pub fn has_enough(&self, tagging: bool) -> bool {
        !tagging || self.tagged >= self.rule.fewest as u64
    }

    /// What it does, and what to do about it. `core` is the one readings are tagged with.
    pub fn words(&self, core: Option<&str>) -> String {
        let minutes = |seconds: i64| seconds / 60;
        match (self.settled.motion, core) {
            (Motion::NoSignal, _) => {
                format!(
                    "no reading for {}",
                    duration(self.last.1.elapsed().as_secs())
                )
            }
            (Motion::Saturated, _) => {
                "at the end of the converter's range: look at the wiring".to_owned()
            }
            (Motion::Filling, _) => format!(
                "filling: {} of {} readings, {} of {} min",
                self.settled.readings.min(self.rule.fewest),
                self.rule.fewest,
                minutes(self.settled.span_s.min(self.rule.span_s)),
                minutes(self.rule.span_s)
            ),
            (Motion::Moving, _) => "moving: wait".to_owned(),
            (Motion::Unsure, _) => "too noisy to tell yet: wait".to_owned(),
            (Motion::Steady, None) => "steady: take the core now".to_owned(),
            (Motion::Steady, Some(core)) if self.has_enough(true) => {
                format!("steady: take core {core} now")
            }
            (Motion::Steady, Some(core)) => format!(
                "steady: {} of {} readings carry {core}",
                self.tagged, self.rule.fewest
            ),
        }
    }

    /// How long it has done so.
    pub fn for_how_long(&self) -> String {
        duration(self.since.elapsed().as_secs())
    }
}

/// A length of time for people: `40 s`, `12 min`, `3 h 5 min`.
pub fn duration(seconds: u64) -> String {
    match (seconds / 3600, seconds / 60 % 60) {
        (0, 0) => format!("{seconds} s"),
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}
