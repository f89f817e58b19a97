//! The pump as a controller with this table runs it: a reading at a time, in
//! whole numbers and seconds.
//!
//! When it goes on and off is the one table of
//! [`irrigation::BEHAVIOUR`](crate::irrigation::BEHAVIOUR). This adds what only
//! the controller has: faults of the wire and a probe that is stuck. Every fault
//! is a reading without an answer, so the pump stays off or goes off at once.
//!
//! A code is *stuck* when it has been the same for `stuck_after_s` or longer,
//! counted from the first reading that gave it; a clock that is set back begins
//! the count anew. It is looked for after the faults of the wire, which the code
//! alone tells.

use super::record::Timing;
use super::table::{ControllerTable, Fault, Reading};
use crate::irrigation::{Moisture, PumpSwitch, PumpTimes, Step};
use crate::quantity::Timestamp;

/// The state of one pump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pump<'a> {
    table: &'a ControllerTable,
    switch: PumpSwitch,
    now_s: u32,
    /// The latest code and when it was first the same.
    unchanged: Option<(u32, u32)>,
}

/// What a reading led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PumpStep {
    /// theta_v, or the fault that keeps the pump off.
    pub answer: Result<Reading, Fault>,
    /// The switch of the pump.
    pub step: Step,
}

impl PumpStep {
    /// Whether the pump is to be on from now.
    pub fn on(&self) -> bool {
        self.step.on
    }
}

impl Timing {
    /// The times the state machine keeps.
    pub fn pump_times(&self) -> PumpTimes {
        PumpTimes {
            minimum_on_s: self.minimum_on_s,
            minimum_off_s: self.minimum_off_s,
            maximum_on_s: self.maximum_on_s,
        }
    }
}

impl<'a> Pump<'a> {
    /// Powers up at `now_s`: off, and as if just stopped. Seconds count from any
    /// moment, as long as it stays the same one.
    pub fn start(table: &'a ControllerTable, now_s: u32) -> Self {
        Self {
            table,
            switch: PumpSwitch::new(
                table.record().timing.pump_times(),
                Timestamp(i64::from(now_s)),
            ),
            now_s,
            unchanged: None,
        }
    }

    /// Whether the pump is on.
    pub fn is_on(&self) -> bool {
        self.switch.is_on()
    }

    /// Follows one reading.
    pub fn step(&mut self, now_s: u32, code: u32, temperature_centi: Option<i16>) -> PumpStep {
        let answer = match self.table.evaluate(code, temperature_centi) {
            Err(fault) if fault.is_of_the_wire() => {
                self.is_stuck(now_s, code);
                Err(fault)
            }
            _ if self.is_stuck(now_s, code) => Err(Fault::Stuck),
            answer => answer,
        };
        self.now_s = now_s;
        let points = self.table.record().set_points;
        let moisture = answer.ok().map(|reading| {
            if reading.theta_v <= points.refill {
                Moisture::TooDry
            } else if reading.theta_v >= points.stop {
                Moisture::Enough
            } else {
                Moisture::Between
            }
        });
        PumpStep {
            answer,
            step: self.switch.push(Timestamp(i64::from(now_s)), moisture),
        }
    }

    /// Notes the code and says whether it has been the same for too long.
    fn is_stuck(&mut self, now_s: u32, code: u32) -> bool {
        let since = match self.unchanged {
            Some((same, since)) if same == code && now_s >= self.now_s => since,
            _ => now_s,
        };
        self.unchanged = Some((code, since));
        let longest = self.table.record().timing.stuck_after_s;
        longest > 0 && now_s - since >= longest
    }
}

#[cfg(test)]
mod tests {
    use super::super::example::record;
    use super::*;
    use crate::irrigation::{Event, Stop};

    fn table() -> ControllerTable {
        ControllerTable::check(record()).unwrap()
    }

    /// A code that is too dry, between, enough, at 20 C.
    const DRY: u32 = 650;
    const BETWEEN: u32 = 550;
    const WET: u32 = 400;

    #[test]
    fn the_pump_starts_at_refill_and_stops_at_stop() {
        let table = table();
        let mut pump = Pump::start(&table, 1000);
        let mut on = |now, code| pump.step(now, code, Some(2000)).on();
        assert!(!on(1599, DRY));
        assert!(on(1600, DRY));
        assert!(on(1659, WET));
        assert!(on(1660, BETWEEN));
        assert!(!on(1661, WET));
        assert!(!on(2260, DRY));
        assert!(on(2261, DRY));
    }

    #[test]
    fn every_fault_stops_the_pump_at_once_and_keeps_it_off() {
        let table = table();
        let with_fault = [
            (Fault::NoSuchCode, 1024, Some(2000)),
            (Fault::OpenCircuit, 9, Some(2000)),
            (Fault::ShortCircuit, 1014, Some(2000)),
            (Fault::TemperatureMissing, DRY, None),
            (Fault::TemperatureOutsideRange, DRY, Some(8500)),
            (Fault::CountBelowDomain, 290, Some(2000)),
            (Fault::CountAboveDomain, 720, Some(2000)),
        ];
        for (fault, code, temperature) in with_fault {
            let mut pump = Pump::start(&table, 0);
            assert!(pump.step(600, DRY, Some(2000)).on());
            let stopped = pump.step(601, code, temperature);
            assert_eq!(stopped.answer, Err(fault));
            assert_eq!(stopped.step.event, Some(Event::Stopped(Stop::NoAnswer)));
            assert!(!pump.step(100_000, code, temperature).on(), "{fault}");
        }
    }

    #[test]
    fn a_code_that_never_changes_is_stuck_until_it_does() {
        let table = table();
        let mut pump = Pump::start(&table, 0);
        pump.step(0, BETWEEN, Some(2000));
        assert!(pump.step(86_399, BETWEEN, Some(2000)).answer.is_ok());
        let stuck = pump.step(86_400, BETWEEN, Some(2000));
        assert_eq!(stuck.answer, Err(Fault::Stuck));
        assert_eq!(
            pump.step(86_401, BETWEEN, None).answer,
            Err(Fault::Stuck),
            "looked for before the temperature"
        );
        assert!(pump.step(86_402, BETWEEN + 1, Some(2000)).answer.is_ok());
        // A clock set back tells nothing of how long.
        pump.step(100, BETWEEN + 1, Some(2000));
        assert!(pump.step(86_499, BETWEEN + 1, Some(2000)).answer.is_ok());
        assert!(pump.step(86_500, BETWEEN + 1, Some(2000)).answer.is_err());
    }

    #[test]
    fn a_probe_that_is_not_watched_is_never_stuck() {
        let mut record = record();
        record.timing.stuck_after_s = 0;
        let table = ControllerTable::check(record).unwrap();
        let mut pump = Pump::start(&table, 0);
        assert!(pump.step(0, BETWEEN, Some(2000)).answer.is_ok());
        assert!(pump.step(u32::MAX, BETWEEN, Some(2000)).answer.is_ok());
    }
}
