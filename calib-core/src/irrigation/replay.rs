//! What a rule would have answered to a log: row by row, in constant memory.
//!
//! The readings are those of the log, so a rule is judged by its switching alone:
//! had it run the pump, the soil would have answered with other readings. For what
//! a rule does to the soil there is the simulated season (`bucket`).
//!
//! A reading, and what the log says of the pump, hold until the next row. Between
//! two rows further apart than [`ReplayTerms::longest_gap_s`] nothing is known:
//! that time is not counted, and every rule powers up anew behind it. A rule that
//! has the pump on from the first row there, or from the first of the log, may have
//! started it long before: that is no start. Where rows are minutes apart, starts in
//! between go unseen, those of the log and those of the rules: both counts are at
//! least so many.

use super::DAY_S;
use super::control::{Control, Event, Stop};
use super::rule::Rule;
use crate::calibration::Calibration;
use crate::quantity::{Celsius, Quantity, Timestamp, Vwc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Which reading a rule compares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Sees {
    /// The raw count as it stands: no temperature correction, and no fault where
    /// the probe was not calibrated. Given as the theta_v of the curve, held at
    /// the ends of the calibrated range, which compares just as the counts do.
    AsRead,
    /// theta_v by the calibration, or no answer.
    Calibrated,
}

/// A rule, and what it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Side {
    /// The rule.
    pub rule: Rule,
    /// The reading it compares.
    pub sees: Sees,
}

/// One row of a log, of one probe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    /// When.
    pub time: Timestamp,
    /// What [`Sees::Calibrated`] is shown.
    pub calibrated: Option<Vwc>,
    /// What [`Sees::AsRead`] is shown.
    pub as_read: Option<Vwc>,
    /// Whether the pump was really on, if logged.
    pub pump_on: Option<bool>,
    /// Rain since the row before, mm, if logged.
    pub rain_mm: Option<f64>,
}

impl Observed {
    /// A row as `calibration` understands it; `count` as the converter gave it.
    /// Nothing is known yet of pump and rain.
    pub fn of(
        calibration: &Calibration,
        time: Timestamp,
        count: f64,
        temperature: Option<Celsius>,
    ) -> Self {
        let held = count
            .max(calibration.domain.low)
            .min(calibration.domain.high);
        Self {
            time,
            calibrated: calibration.theta_v(count, temperature).ok(),
            as_read: Vwc::new(calibration.curve.value(held)).ok(),
            pump_on: None,
            rain_mm: None,
        }
    }
}

/// What is counted against what.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReplayTerms {
    /// Below this is too dry, m3/m3.
    pub refill: Vwc,
    /// Above this water drains, m3/m3.
    pub field_capacity: Vwc,
    /// Rows further apart than this, s, leave a gap that is not counted.
    pub longest_gap_s: u32,
}

/// A row that is not later than the one before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the row is {seconds} s earlier than the one before it")]
pub struct TimeRunsBack {
    /// By how much, s.
    pub seconds: i64,
}

/// Starts and time on within the time they are known for.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Duty {
    /// Times the pump went on.
    pub starts: u64,
    /// Time it was on, s.
    pub on_s: f64,
    /// Time it is known for, s.
    pub known_s: f64,
}

impl Duty {
    /// Starts a day; 0 where nothing is known.
    pub fn starts_per_day(&self) -> f64 {
        self.per_day(self.starts as f64)
    }

    /// Hours on in a day; 0 where nothing is known.
    pub fn hours_per_day(&self) -> f64 {
        self.per_day(self.on_s / 3600.0)
    }

    fn per_day(&self, total: f64) -> f64 {
        if self.known_s > 0.0 {
            total * f64::from(DAY_S) / self.known_s
        } else {
            0.0
        }
    }
}

/// What one rule would have done.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct SideOutcome {
    /// Starts and time on.
    pub duty: Duty,
    /// Stops because a reading had no answer.
    pub stops_without_answer: u64,
    /// Stops at the longest time on.
    pub stops_at_maximum: u64,
}

/// What a log comes to.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Replayed {
    /// Rows.
    pub rows: u64,
    /// Time of the first and last row; `None` without rows.
    pub span: Option<(Timestamp, Timestamp)>,
    /// Time counted, s.
    pub counted_s: f64,
    /// Gaps, not counted.
    pub gaps: u64,
    /// Time in gaps, s.
    pub gap_s: f64,
    /// Time counted in which the calibration has no answer, s.
    pub unanswered_s: f64,
    /// Time below refill, s.
    pub below_refill_s: f64,
    /// Time above field capacity, s.
    pub above_field_capacity_s: f64,
    /// Rain logged, mm; `None` if no row says.
    pub rain_mm: Option<f64>,
    /// What the pump really did; `None` if no row says.
    pub recorded: Option<Duty>,
    /// Each rule, in the order given.
    pub sides: Vec<SideOutcome>,
}

/// Takes a log row by row. Holds one row and a few sums, however long the log.
#[derive(Debug, Clone)]
pub struct Replay {
    terms: ReplayTerms,
    sides: Vec<(Side, Control)>,
    last: Option<Observed>,
    /// Whether the rules powered up with the row being taken.
    powering_up: bool,
    sums: Replayed,
}

impl Replay {
    /// Nothing taken yet.
    pub fn new(sides: &[Side], terms: ReplayTerms) -> Self {
        Self {
            terms,
            sides: sides
                .iter()
                .map(|side| (*side, Control::new(side.rule, Timestamp(i64::MIN))))
                .collect(),
            last: None,
            powering_up: false,
            sums: Replayed {
                sides: vec![SideOutcome::default(); sides.len()],
                ..Replayed::default()
            },
        }
    }

    /// Takes the next row.
    ///
    /// # Errors
    /// [`TimeRunsBack`] if it is earlier than the row before; it is then left out.
    pub fn push(&mut self, row: Observed) -> Result<(), TimeRunsBack> {
        let before = self.last;
        self.powering_up = false;
        if let Some(last) = before {
            let seconds = row.time.seconds_since(last.time);
            if seconds < 0 {
                return Err(TimeRunsBack { seconds: -seconds });
            }
            if seconds > i64::from(self.terms.longest_gap_s) {
                self.sums.gaps += 1;
                self.sums.gap_s += seconds as f64;
                self.power_up(row.time);
            } else {
                self.count(&last, &row, seconds);
            }
        } else {
            self.power_up(row.time);
        }
        self.sums.rows += 1;
        let first = self.sums.span.map_or(row.time, |(first, _)| first);
        self.sums.span = Some((first, row.time));
        if let Some(rain) = row.rain_mm {
            *self.sums.rain_mm.get_or_insert(0.0) += rain;
        }
        self.switch(&row);
        self.last = Some(row);
        Ok(())
    }

    /// What the rows so far come to.
    pub fn so_far(&self) -> &Replayed {
        &self.sums
    }

    fn power_up(&mut self, now: Timestamp) {
        self.powering_up = true;
        for (side, control) in &mut self.sides {
            *control = Control::new(side.rule, now);
        }
    }

    /// Counts the time from one row to the next, in which the first one holds.
    fn count(&mut self, from: &Observed, to: &Observed, seconds: i64) {
        let sums = &mut self.sums;
        let time = seconds as f64;
        sums.counted_s += time;
        match from.calibrated {
            None => sums.unanswered_s += time,
            Some(theta_v) if theta_v < self.terms.refill => sums.below_refill_s += time,
            Some(theta_v) if theta_v > self.terms.field_capacity => {
                sums.above_field_capacity_s += time;
            }
            Some(_) => {}
        }
        if let Some(on) = from.pump_on {
            let recorded = sums.recorded.get_or_insert_default();
            recorded.known_s += time;
            if on {
                recorded.on_s += time;
            } else if to.pump_on == Some(true) {
                recorded.starts += 1;
            }
        }
        for ((_, control), outcome) in self.sides.iter().zip(&mut sums.sides) {
            outcome.duty.known_s += time;
            if control.is_on() {
                let end = control.deadline().map_or(to.time, |end| end.min(to.time));
                outcome.duty.on_s += end.seconds_since(from.time) as f64;
            }
        }
    }

    fn switch(&mut self, row: &Observed) {
        for ((side, control), outcome) in self.sides.iter_mut().zip(&mut self.sums.sides) {
            let reading = match side.sees {
                Sees::AsRead => row.as_read,
                Sees::Calibrated => row.calibrated,
            };
            let step = control.push(row.time, reading);
            match step.event {
                Some(Event::Started) => outcome.duty.starts += u64::from(!self.powering_up),
                Some(Event::Stopped(Stop::MaximumOn)) => outcome.stops_at_maximum += 1,
                Some(Event::Stopped(Stop::NoAnswer)) => outcome.stops_without_answer += 1,
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::irrigation::rule::{PumpTimes, SwitchPoints};

    fn theta(value: f64) -> Vwc {
        Vwc::new(value).unwrap()
    }

    fn sides(times: PumpTimes) -> Vec<Side> {
        let single = SwitchPoints::Single {
            threshold: theta(0.14),
        };
        let band = SwitchPoints::Band {
            refill: theta(0.14),
            stop: theta(0.17),
        };
        vec![
            Side {
                rule: Rule::new(single, PumpTimes::NONE).unwrap(),
                sees: Sees::AsRead,
            },
            Side {
                rule: Rule::new(band, times).unwrap(),
                sees: Sees::Calibrated,
            },
        ]
    }

    const TERMS: (f64, f64, u32) = (0.14, 0.18, 3600);

    fn terms() -> ReplayTerms {
        ReplayTerms {
            refill: theta(TERMS.0),
            field_capacity: theta(TERMS.1),
            longest_gap_s: TERMS.2,
        }
    }

    fn row(time: i64, value: Option<f64>, pump_on: Option<bool>) -> Observed {
        Observed {
            time: Timestamp(time),
            calibrated: value.map(theta),
            as_read: Some(theta(value.unwrap_or(0.05))),
            pump_on,
            rain_mm: None,
        }
    }

    fn replayed(rows: &[Observed], times: PumpTimes) -> Replayed {
        let mut replay = Replay::new(&sides(times), terms());
        for row in rows {
            replay.push(*row).unwrap();
        }
        replay.so_far().clone()
    }

    const TIMES: PumpTimes = PumpTimes {
        minimum_on_s: 60,
        minimum_off_s: 600,
        maximum_on_s: 1500,
    };

    /// Ten rows counted by hand, 600 s apart but for the gap of 7200 s.
    #[test]
    fn a_log_counted_by_hand() {
        let off = Some(false);
        let on = Some(true);
        let rows = [
            row(0, Some(0.15), off),     // single off; band off
            row(600, Some(0.13), on),    // single on;  band on; recorded start
            row(1200, Some(0.15), off),  // single off; band on
            row(1800, Some(0.14), on),   // single on;  band on; recorded start
            row(2400, None, on),         // single on (0.05); band off at 2100
            row(3000, Some(0.19), off),  // single off; band off
            row(3600, Some(0.13), None), // single on;  band on
            row(4200, None, on),         // single on;  band off, no answer
            row(11400, Some(0.13), on),  // gap: single on again, band powers up
            row(12000, Some(0.13), off), // band on
        ];
        let sums = replayed(&rows, TIMES);
        assert_eq!((sums.rows, sums.gaps), (10, 1));
        assert_eq!((sums.gap_s, sums.counted_s), (7200.0, 4800.0));
        // Rows at 600, 3600 and 11400 s are below refill; 0.14 itself is not.
        assert_eq!(sums.below_refill_s, 1800.0);
        assert_eq!(sums.above_field_capacity_s, 600.0);
        assert_eq!(sums.unanswered_s, 600.0);
        // Known: all counted time but the row at 3600 s. On at 600, 1800, 2400, 11400.
        let recorded = sums.recorded.unwrap();
        assert_eq!((recorded.starts, recorded.known_s), (2, 4200.0));
        assert_eq!(recorded.on_s, 2400.0);
        let [single, band] = sums.sides[..] else {
            panic!("two sides");
        };
        // At 600, 1800 and 3600 s; behind the gap it is on from the first row, which
        // is no start.
        assert_eq!(single.duty.starts, 3);
        // On from 600, 1800, 2400, 3600 and 11400 s, 600 s each.
        assert_eq!(single.duty.on_s, 3000.0);
        assert_eq!(band.duty.starts, 3);
        // 600 to 2100 s and 3600 to 4200 s; started last with the last row.
        assert_eq!(band.duty.on_s, 2100.0);
        assert_eq!((band.stops_at_maximum, band.stops_without_answer), (1, 1));
        assert_eq!(band.duty.known_s, 4800.0);
        assert!((band.duty.starts_per_day() - 54.0).abs() < 1e-12);
        assert!((band.duty.hours_per_day() - 24.0 * 2100.0 / 4800.0).abs() < 1e-12);
    }

    #[test]
    fn a_row_that_runs_back_is_refused_and_left_out() {
        let mut replay = Replay::new(&sides(TIMES), terms());
        replay.push(row(600, Some(0.15), None)).unwrap();
        assert_eq!(
            replay.push(row(0, Some(0.15), None)),
            Err(TimeRunsBack { seconds: 600 })
        );
        assert_eq!(replay.so_far().rows, 1);
    }

    #[test]
    fn nothing_is_made_of_an_empty_log_or_of_one_row() {
        let none = replayed(&[], TIMES);
        assert_eq!((none.span, none.recorded, none.rain_mm), (None, None, None));
        let one = replayed(&[row(0, Some(0.10), Some(true))], TIMES);
        assert_eq!(one.counted_s, 0.0);
        assert_eq!(one.sides[1].duty.starts_per_day(), 0.0);
    }

    #[test]
    fn rain_adds_up_where_it_is_logged() {
        let mut rows = [row(0, Some(0.15), None); 3];
        rows[1].rain_mm = Some(2.5);
        rows[2].rain_mm = Some(0.5);
        assert_eq!(replayed(&rows, TIMES).rain_mm, Some(3.0));
    }

    /// A replay of a hundred thousand rows holds no more than one of ten: the type
    /// owns nothing that grows with rows.
    #[test]
    fn sums_do_not_grow_with_the_log() {
        let mut replay = Replay::new(&sides(TIMES), terms());
        let sizes = |replay: &Replay| (replay.sides.capacity(), replay.sums.sides.capacity());
        let at_first = sizes(&replay);
        for i in 0..100_000 {
            let value = 0.12 + 0.06 * f64::from(i % 7) / 7.0;
            replay
                .push(row(i64::from(i) * 60, Some(value), None))
                .unwrap();
        }
        assert_eq!(sizes(&replay), at_first);
    }
}
