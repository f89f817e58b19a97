//! The log, taken row by row through every rule.

use super::Subject;
use crate::failure::{Failure, Warning};
use crate::table::each_log_row;
use calib_core::irrigation::{Observed, Replay, ReplayTerms, Replayed};
use std::path::Path;

/// Rows of a probe further apart than this leave a gap that is not counted, s: two
/// hours. Our choice.
pub(super) const LONGEST_GAP_S: u32 = 7200;

/// What the log comes to for each subject; `None` where it has no row of its probe.
/// Holds one row of each probe at a time, however long the log.
pub(super) fn replay(
    path: &Path,
    folder: &Path,
    subjects: &[Subject<'_>],
    warnings: &mut Vec<Warning>,
) -> Result<Vec<Option<Replayed>>, Failure> {
    let mut replays: Vec<Replay> = subjects
        .iter()
        .map(|subject| {
            let terms = ReplayTerms {
                refill: subject.set_points.refill,
                field_capacity: subject.water.field_capacity.value,
                longest_gap_s: LONGEST_GAP_S,
            };
            Replay::new(&subject.sides, terms)
        })
        .collect();
    let mut backwards = 0_u64;
    let read = each_log_row(folder, Some(path), |row| {
        for (subject, replay) in subjects.iter().zip(&mut replays) {
            if subject.calibration.probe != row.probe {
                continue;
            }
            let observed = Observed {
                pump_on: row.pump_on,
                rain_mm: row.rain_mm,
                ..Observed::of(
                    subject.calibration,
                    row.time,
                    f64::from(row.count),
                    row.temperature,
                )
            };
            backwards += u64::from(replay.push(observed).is_err());
        }
    })?;
    if backwards > 0 {
        // The reader refuses such a log; this would be a fault of ours.
        return Err(Failure::Internal(format!(
            "{backwards} rows of {} run back in time",
            path.display()
        )));
    }
    warnings.extend(read.warnings);
    for (subject, replay) in subjects.iter().zip(&replays) {
        if replay.so_far().rows == 0 {
            warnings.push(Warning {
                place: path.display().to_string(),
                what: format!("has no row of probe {}", subject.calibration.probe),
                why: "it is replayed on simulated seasons alone".to_owned(),
                advice: "nothing, if it was not logged; otherwise look at probe_id".to_owned(),
            });
        }
    }
    Ok(replays
        .into_iter()
        .map(|replay| Some(replay.so_far().clone()).filter(|sums| sums.rows > 0))
        .collect())
}
