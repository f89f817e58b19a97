//! What the checks say of one probe, as values: text, JSON and chart are made from it.

use super::calendar::{after, day};
use crate::calibration_file::CalibrationFile;
use crate::failure::Warning;
use calib_core::drift::power::Power;
use calib_core::drift::sequential::Side;
use calib_core::drift::update::{Answer, Interval, Wander};
use calib_core::drift::{LEAST_CHECKS, LeftOut, Settings, Standing, Study};
use serde::Serialize;

/// One probe.
#[derive(Debug, Serialize)]
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
#[derive(Debug, Serialize)]
pub(super) struct CheckRow {
    pub(super) date: String,
    pub(super) core: String,
    /// Water content by the oven, m3/m3.
    pub(super) oven: f64,
    /// Water content by the probe, m3/m3.
    pub(super) probe: f64,
    /// Oven less probe, m3/m3.
    pub(super) difference: f64,
    /// Between these the difference lies in 95 of 100 cases while the calibration holds.
    pub(super) expected_low: f64,
    pub(super) expected_high: f64,
    /// Standard normal while the calibration holds.
    pub(super) score: f64,
    pub(super) sum_wetter: f64,
    pub(super) sum_drier: f64,
    pub(super) alarm: bool,
}

/// One core that says nothing.
#[derive(Debug, Serialize)]
pub(super) struct LeftOutRow {
    pub(super) core: String,
    pub(super) why: String,
    #[serde(skip)]
    mend: &'static str,
}

/// The sequential test.
#[derive(Debug, Serialize)]
pub(super) struct TestReport {
    /// Checks over which the chance of a false alarm holds.
    pub(super) planned_checks: usize,
    pub(super) false_alarm: f64,
    /// Either sum raises the alarm when it reaches this.
    pub(super) limit: f64,
    pub(super) alarm: Option<AlarmReport>,
}

/// An alarm.
#[derive(Debug, Serialize)]
pub(super) struct AlarmReport {
    /// The check that raised it, counted from 1.
    pub(super) check: usize,
    pub(super) date: String,
    pub(super) side: Side,
    /// The change most likely came after this day ...
    pub(super) began_after: String,
    /// ... and before this check, counted from 1, on this day.
    pub(super) began_before_check: usize,
    pub(super) began_before: String,
}

/// Offset and gain, and the answers with them.
#[derive(Debug, Serialize)]
pub(super) struct UpdateReport {
    /// The day they are for.
    pub(super) on: String,
    /// Middle of the range, m3/m3.
    pub(super) middle: f64,
    /// Oven less probe there, m3/m3.
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
#[derive(Debug, Serialize)]
pub(super) struct ScheduleReport {
    pub(super) next_check: String,
    /// Whether the risk asks for it; otherwise a year has gone by then.
    pub(super) asked_by_risk: bool,
    pub(super) check_at_risk: f64,
    /// `null` if not within five years.
    pub(super) recalibrate_by: Option<String>,
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
            side: alarm.side,
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
                difference: check.departure(),
                expected_low: score.low,
                expected_high: score.high,
                score: score.score,
                sum_wetter: sums.up,
                sum_drier: sums.down,
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
                alarm,
            },
            power: study.power.clone(),
            update: UpdateReport {
                on: day(update.at),
                middle: update.middle,
                offset: update.offset,
                gain: update.gain,
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

    /// A warning for each core left out.
    pub(super) fn left_out_warnings(&self) -> impl Iterator<Item = Warning> {
        self.left_out.iter().map(|one| Warning {
            place: format!("core {} beside probe {}", one.core, self.probe),
            what: format!("is left out: {}", one.why),
            why: "it says nothing about whether the calibration still holds".to_owned(),
            advice: one.mend.to_owned(),
        })
    }
}

impl LeftOutRow {
    fn new(left_out: &LeftOut) -> Self {
        Self {
            core: left_out.core.clone(),
            why: left_out.fault.to_string(),
            mend: left_out.fault.mend(),
        }
    }
}
