//! Readings that repeat more than the converter's own noise explains.

use super::summary::WindowSummary;
use super::{Flag, Reading, WindowRule};

/// Fewest steps outside a run that tell how noisy the converter is.
const FEWEST_STEPS: usize = 10;
/// A step this large, counts, is noise and not the edge between two codes.
const NOISY_STEP: u32 = 2;
/// Share of such steps, as one in this many, that makes a window noisy.
const ONE_IN: usize = 4;
/// Fewest readings a window must have to be compared with another.
const FEWEST_READINGS: usize = 3;

/// The longest run of identical counts, where the rest of the window makes it
/// implausible. `readings` are in order of time.
///
/// A quiet converter repeats itself for hours, and how often depends on where
/// between two codes the signal lies, so length alone proves nothing. A run is
/// stuck if it is at least [`WindowRule::stuck_run`] long and a quarter of the
/// steps outside it are of two counts or more. Noise of that size (a standard
/// deviation of about 0.9 counts) repeats the same count at most every third
/// time, and twenty in a row once in a thousand million. A window that holds one
/// count only has no rest to judge by; see [`stuck_since`].
pub(super) fn stuck_run(readings: &[Reading], rule: &WindowRule) -> Option<Flag> {
    let longest = readings
        .chunk_by(|a, b| a.count == b.count)
        .max_by_key(|run| run.len())?;
    let (run, count) = (longest.len(), longest.first()?.count);
    let steps = readings.len() - run;
    let noisy = readings
        .iter()
        .zip(readings.iter().skip(1))
        .filter(|(a, b)| a.count.abs_diff(b.count) >= NOISY_STEP)
        .count();
    let stuck = run >= rule.stuck_run && steps >= FEWEST_STEPS && noisy * ONE_IN >= steps;
    stuck.then_some(Flag::StuckRun {
        count,
        run,
        of: readings.len(),
    })
}

/// Compares two windows of one probe whose cores belong to different moisture
/// levels: if every reading of both is the same single count, the probe did not
/// see the water change.
///
/// Windows of one level may well agree on a quiet converter; do not compare
/// those.
pub fn stuck_since(previous: &WindowSummary, this: &WindowSummary) -> Option<Flag> {
    let all_at_one = |window: &WindowSummary| {
        (window.lowest == window.highest && window.used >= FEWEST_READINGS).then_some(window.lowest)
    };
    let count = all_at_one(this)?;
    (all_at_one(previous)? == count).then_some(Flag::StuckThroughout {
        count,
        readings: this.used,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Timestamp;
    use crate::readings::summarise;

    fn readings(counts: impl IntoIterator<Item = u32>) -> Vec<Reading> {
        counts
            .into_iter()
            .zip(0..)
            .map(|(count, minute)| Reading {
                time: Timestamp(60 * minute),
                count,
                soil_temperature: None,
                supply_mv: None,
            })
            .collect()
    }

    fn rule() -> WindowRule {
        WindowRule::for_converter(10)
    }

    #[test]
    fn a_frozen_tail_behind_noise_is_stuck() {
        let noisy = (0..30).map(|i| 500 + (i * 7) % 5);
        let counts = noisy.chain(std::iter::repeat_n(503, 30));
        assert!(matches!(
            stuck_run(&readings(counts), &rule()),
            Some(Flag::StuckRun {
                count: 503,
                run: 30 | 31,
                of: 60
            })
        ));
    }

    #[test]
    fn a_quiet_converter_over_twelve_readings_is_not() {
        assert_eq!(stuck_run(&readings([512; 12]), &rule()), None);
    }

    #[test]
    fn a_quiet_converter_over_hours_is_not() {
        assert_eq!(stuck_run(&readings([512; 500]), &rule()), None);
        // one step, and one that flickers now and then
        let step = (0..200).map(|i| if i < 3 { 511 } else { 512 });
        assert_eq!(stuck_run(&readings(step), &rule()), None);
        let flicker = (0..200).map(|i| if i % 17 == 3 && i < 100 { 511 } else { 512 });
        assert_eq!(stuck_run(&readings(flicker), &rule()), None);
    }

    #[test]
    fn two_levels_with_one_and_the_same_count_are_stuck() {
        let window = |counts: Vec<u32>| summarise(&readings(counts), &rule()).unwrap();
        let (same, other) = (window(vec![512; 12]), window(vec![513; 12]));
        let noisy = window((0..12).map(|i| 511 + i % 3).collect());
        assert_eq!(
            stuck_since(&same, &same.clone()),
            Some(Flag::StuckThroughout {
                count: 512,
                readings: 12
            })
        );
        assert_eq!(stuck_since(&same, &other), None);
        assert_eq!(stuck_since(&noisy, &noisy.clone()), None);
        assert_eq!(stuck_since(&window(vec![512]), &same), None);
    }
}
