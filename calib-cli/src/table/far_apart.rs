//! Readings that name a core which was taken at quite another time.

use super::names::{READINGS, SAMPLE_ID, TAKEN_AT};
use super::{how_long, rfc_3339};
use crate::failure::Warning;
use crate::findings::{Findings, runs_of};
use crate::workbench::{LoggedReading, Sample};
use calib_core::quantity::Timestamp;
use std::collections::HashMap;
use std::path::Path;

/// How far from its core a reading may lie before it is remarkable, s: a day leaves room
/// for a long wait beside the probe and for a slip of time zone. Our own choice.
const DAY_S: i64 = 86_400;

/// Warns of each core that readings name which lie more than a day from its `taken_at`.
/// `file` is that of the readings.
pub(super) fn warn(
    samples: &[Sample],
    readings: &[LoggedReading],
    file: &Path,
    findings: &mut Findings,
) {
    let taken: HashMap<&str, Timestamp> = samples
        .iter()
        .filter_map(|core| Some((core.id.as_str(), core.taken_at?)))
        .collect();
    let mut far_from: HashMap<&str, Vec<&LoggedReading>> = HashMap::new();
    for logged in readings {
        if let Some((core, taken_at)) = logged
            .sample
            .as_deref()
            .and_then(|core| taken.get_key_value(core))
            && distance(logged, *taken_at) > DAY_S
        {
            far_from.entry(core).or_default().push(logged);
        }
    }
    for core in samples {
        let (Some(taken_at), Some(far)) = (core.taken_at, far_from.get(core.id.as_str())) else {
            continue;
        };
        let nearest = far.iter().min_by_key(|logged| distance(logged, taken_at));
        if let (Some(first), Some(nearest)) = (far.first(), nearest) {
            let side = if nearest.reading.time < taken_at {
                "before"
            } else {
                "after"
            };
            let (noun, lie, lines_word) = match far.as_slice() {
                [_] => ("reading", "lies", "line"),
                _ => ("readings", "lie", "lines"),
            };
            let lines: Vec<u64> = far.iter().map(|logged| logged.line).collect();
            findings.warn(Warning {
                place: format!("{}:{}", file.display(), first.line),
                what: format!(
                    "{} {noun} with {SAMPLE_ID} {} {lie} {} or more {side} its {TAKEN_AT} {} \
                     ({lines_word} {})",
                    far.len(),
                    core.id,
                    how_long(distance(nearest, taken_at)),
                    rfc_3339(taken_at),
                    runs_of(&lines)
                ),
                why: "soil wets and dries within a day, so that such a reading is not of the \
                      water that was weighed"
                    .to_owned(),
                advice: format!(
                    "look for a wrong {SAMPLE_ID} in {READINGS}, or a wrong date in {TAKEN_AT}"
                ),
            });
        }
    }
}

fn distance(logged: &LoggedReading, taken_at: Timestamp) -> i64 {
    logged.reading.time.seconds_since(taken_at).saturating_abs()
}
