//! What the checks say of one probe, as values: text, JSON and chart are made from it.

use super::calendar::{after, day};
use crate::calibration_file::CalibrationFile;
use calib_core::drift::power::Power;
use calib_core::drift::sequential::Side;
use calib_core::drift::update::{Answer, Interval, Wander};
use calib_core::drift::{
    Check, CheckFault, LEAST_CHECKS, LeftOut, OneOff, Settings, Standing, Study,
};
use schemars::JsonSchema;
use serde::Serialize;

/// One probe.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct ProbeReport {
    pub(super) probe: String,
    pub(super) soil: String,
    pub(super) calibrated_on: String,
    pub(super) standing: Standing,
    /// Largest error allowed, m3/m3.
    pub(super) allow: f64,
    pub(super) checks: Vec<CheckRow>,
    pub(super) left_out: Vec<LeftOutRow>,
    pub(super) test: TestReport,
    pub(super) power: Vec<Power>,
    pub(super) update: UpdateReport,
    pub(super) schedule: ScheduleReport,
}

/// One check.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct CheckRow {
    pub(super) date: String,
    pub(super) core: String,
    /// Water content by the oven, m3/m3.
    pub(super) oven: f64,
    /// Water content by the probe, m3/m3.
    pub(super) probe: f64,
    /// Probe less oven, m3/m3: above zero the probe reads too wet.
    pub(super) probe_less_oven: f64,
    /// Lower end of the interval, m3/m3, in which the difference lies in 95 of 100
    /// cases while the calibration holds.
    pub(super) expected_low: f64,
    /// Upper end of it, m3/m3.
    pub(super) expected_high: f64,
    /// Where the difference lies there, as a standard normal value.
    pub(super) score: f64,
    /// The sum of scores above zero; no unit.
    pub(super) sum_too_wet: f64,
    /// The sum of scores below zero; no unit.
    pub(super) sum_too_dry: f64,
    /// The sum that looks for a probe that changes too little from dry to wet; no unit.
    pub(super) sum_changes_too_little: f64,
    /// The sum that looks for one that changes too much; no unit.
    pub(super) sum_changes_too_much: f64,
    pub(super) alarm: bool,
}

/// One core that says nothing.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct LeftOutRow {
    pub(super) core: String,
    pub(super) why: String,
    #[serde(skip)]
    pub(super) fault: CheckFault,
}

/// The sequential test.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct TestReport {
    /// Checks over which the chance of a false alarm holds.
    pub(super) planned_checks: usize,
    /// Probability of a false alarm over them.
    pub(super) false_alarm: f64,
    /// Either sum raises the alarm when it reaches this.
    pub(super) limit: f64,
    /// Either sum that looks for a change of gain does when it reaches this.
    pub(super) gain_limit: f64,
    pub(super) alarm: Option<AlarmReport>,
    /// The one check the alarm hangs on; where later checks agree, power, update and
    /// schedule are reckoned without it.
    pub(super) one_check_off: Option<OneCheckOff>,
}

/// An alarm.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct AlarmReport {
    /// The check that raised it, counted from 1.
    pub(super) check: usize,
    pub(super) date: String,
    pub(super) side: Reads,
    /// The change most likely came after this day ...
    pub(super) began_after: String,
    /// ... and before this check, counted from 1, on this day.
    pub(super) began_before_check: usize,
    pub(super) began_before: String,
}

/// How the probe reads where the calibration has gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Reads {
    TooWet,
    TooDry,
    /// Too wet in dry soil and too dry in wet soil.
    ChangesTooLittle,
    /// The other way round.
    ChangesTooMuch,
}

/// A check that is off alone.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct OneCheckOff {
    /// Counted from 1.
    pub(super) check: usize,
    pub(super) core: String,
    /// Probe less oven, less what all other checks lead one to expect, m3/m3.
    pub(super) off: f64,
    /// The same in standard deviations; no unit.
    pub(super) score: f64,
    /// Whether later checks agree with the calibration; otherwise it is the last.
    pub(super) later_agree: bool,
}

/// Offset and gain, and the answers with them.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct UpdateReport {
    /// The day they are for.
    pub(super) on: String,
    /// Middle of the range, m3/m3.
    pub(super) middle: f64,
    /// Probe less oven there, m3/m3: above zero the probe reads too wet.
    pub(super) offset: Interval,
    /// By how much that grows per m3/m3 above the middle.
    pub(super) gain: Interval,
    pub(super) wander: Wander,
    /// Chance of an error beyond what is allowed anywhere in the range.
    pub(super) beyond_anywhere: f64,
    pub(super) range: Vec<Answer>,
    pub(super) places: Vec<Answer>,
}

/// When to look again.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct ScheduleReport {
    pub(super) next_check: String,
    /// Whether the risk asks for it; otherwise a year has gone by then.
    pub(super) asked_by_risk: bool,
    /// Probability of an error beyond what is allowed at which a check is asked for.
    pub(super) check_at_risk: f64,
    /// `null` if not within five years.
    pub(super) recalibrate_by: Option<String>,
    /// Probability of it at which a calibration anew is asked for.
    pub(super) recalibrate_at_risk: f64,
}

impl ProbeReport {
    pub(super) fn new(file: &CalibrationFile, study: &Study, settings: &Settings) -> Self {
        let dates: Vec<String> = study
            .checks
            .iter()
            .map(|check| day(check.taken_at))
            .collect();
        let date_of = |check: usize| dates.get(check).cloned().unwrap_or_default();
        let alarm = study.run.alarm.map(|alarm| AlarmReport {
            check: alarm.check + 1,
            date: date_of(alarm.check),
            side: Reads::from(alarm.side),
            began_after: match alarm.began {
                0 => file.calibrated_on.clone(),
                began => date_of(began - 1),
            },
            began_before_check: alarm.began + 1,
            began_before: date_of(alarm.began),
        });
        let rows = study
            .checks
            .iter()
            .zip(&dates)
            .zip(&study.scores)
            .zip(&study.run.sums)
            .enumerate()
            .map(|(i, (((check, date), score), sums))| CheckRow {
                date: date.clone(),
                core: check.core.clone(),
                oven: check.reference,
                probe: check.calibrated,
                probe_less_oven: -check.departure(),
                expected_low: -score.high,
                expected_high: -score.low,
                score: -score.score,
                sum_too_wet: sums.down,
                sum_too_dry: sums.up,
                sum_changes_too_little: sums.narrower,
                sum_changes_too_much: sums.wider,
                alarm: study.run.alarm.is_some_and(|alarm| alarm.check == i),
            });
        let (update, schedule) = (&study.update, &study.schedule);
        Self {
            probe: file.calibration.probe.clone(),
            soil: file.calibration.soil.clone(),
            calibrated_on: file.calibrated_on.clone(),
            standing: study.standing,
            allow: settings.allow,
            checks: rows.collect(),
            left_out: study.left_out.iter().map(LeftOutRow::new).collect(),
            test: TestReport {
                planned_checks: study.run.plan.checks,
                false_alarm: study.run.plan.false_alarm,
                limit: study.run.plan.limit,
                gain_limit: study.run.plan.gain_limit,
                alarm,
                one_check_off: study
                    .one_off
                    .map(|one| OneCheckOff::new(&one, &study.checks)),
            },
            power: study.power.clone(),
            update: UpdateReport {
                on: day(update.at),
                middle: update.middle,
                offset: turned(update.offset),
                gain: turned(update.gain),
                wander: update.wander,
                beyond_anywhere: update.beyond_anywhere,
                range: update.range.clone(),
                places: update.places.clone(),
            },
            schedule: ScheduleReport {
                next_check: day(after(schedule.from, schedule.next_check_days)),
                asked_by_risk: schedule.asked_by_risk,
                check_at_risk: settings.check_at_risk,
                recalibrate_by: schedule
                    .recalibrate_days
                    .map(|days| day(after(schedule.from, days))),
                recalibrate_at_risk: settings.recalibrate_at_risk,
            },
        }
    }

    /// Whether the calibration may be used on.
    pub(super) fn is_fit(&self) -> bool {
        self.standing.is_fit()
    }

    /// Checks more until something can be said.
    pub(super) fn missing_checks(&self) -> usize {
        LEAST_CHECKS.saturating_sub(self.checks.len())
    }
}

/// The core reckons oven less probe; a person is shown probe less oven.
pub(super) fn turned(interval: Interval) -> Interval {
    Interval {
        value: -interval.value,
        low: -interval.high,
        high: -interval.low,
        ..interval
    }
}

impl From<Side> for Reads {
    fn from(side: Side) -> Self {
        match side {
            Side::Wetter => Reads::TooDry,
            Side::Drier => Reads::TooWet,
            Side::Narrower => Reads::ChangesTooLittle,
            Side::Wider => Reads::ChangesTooMuch,
        }
    }
}

impl OneCheckOff {
    fn new(one: &OneOff, checks: &[Check]) -> Self {
        Self {
            check: one.check + 1,
            core: checks
                .get(one.check)
                .map_or_else(String::new, |check| check.core.clone()),
            off: -one.off,
            score: -one.score,
            later_agree: one.later_agree,
        }
    }
}

impl LeftOutRow {
    fn new(left_out: &LeftOut) -> Self {
        Self {
            core: left_out.core.clone(),
            why: left_out.fault.to_string(),
            fault: left_out.fault.clone(),
        }
    }
}
