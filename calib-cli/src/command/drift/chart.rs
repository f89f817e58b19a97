//! The control chart of one probe.

use super::calendar::{self, Midnight};
use super::report::{ProbeReport, turned};
use super::words;
use crate::failure::Failure;
use crate::output::OutputSet;
use crate::plot::{self, ControlChart, ControlOffset, ControlPoint, ControlRecord};
use calib_core::drift::{Check, Study};
use calib_core::quantity::Timestamp;
use std::path::Path;

/// Draws the chart of one probe, to be written into `folder`.
pub(super) fn draw(
    report: &ProbeReport,
    calibrated_at: Midnight,
    study: &Study,
    folder: &Path,
) -> Result<OutputSet, Failure> {
    let from = calibrated_at.unwrap_or(study.update.at);
    let since = |time: Timestamp| calendar::days(from, time);
    let chart = ControlChart::new(ControlRecord {
        probe: report.probe.clone(),
        soil: report.soil.clone(),
        says: words::in_short(report),
        points: study
            .checks
            .iter()
            .zip(&study.scores)
            .map(|(check, score)| ControlPoint {
                day: since(check.taken_at),
                probe_less_oven: -Check::departure(check),
                bar: 0.5 * (score.high - score.low),
            })
            .collect(),
        alarm: study.run.alarm.map(|alarm| alarm.check),
        offsets: study
            .update
            .course
            .iter()
            .map(|(time, offset)| (time, turned(*offset)))
            .map(|(time, offset)| ControlOffset {
                day: since(*time),
                value: offset.value,
                ends: (offset.low, offset.high),
            })
            .collect(),
        allow: report.allow,
        dates: calendar::months(from, study.update.at),
    });
    let mut outputs = OutputSet::default();
    let name = format!("{}.drift", report.probe);
    outputs.add(folder.join(format!("{name}.svg")), plot::svg(&chart)?);
    outputs.add(folder.join(format!("{name}.png")), plot::png(&chart)?);
    Ok(outputs)
}
