//! One window of readings, screened and summarised.

use super::drift::{Drift, drift, residuals};
use super::screen;
use super::stuck::stuck_run;
use super::{Flag, Reading, WindowRule};
use crate::calibration::{QUANTISATION, ReadingNoise};
use crate::quantity::{Celsius, Estimate, Timestamp};
use schemars::JsonSchema;
use serde::Serialize;
use std::f64::consts::FRAC_PI_2;

/// What a window of readings says.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WindowSummary {
    /// The median count, with the standard uncertainty of that centre.
    pub count: Estimate<f64>,
    /// Robust standard deviation of the readings about the centre, counts.
    pub spread: f64,
    /// Noise of a single reading, for pooling over windows.
    pub noise: ReadingNoise,
    /// Mean soil temperature of the readings used, where any was logged.
    pub temperature: Option<Celsius>,
    /// Readings used.
    pub used: usize,
    /// Readings left out: at an end of the converter's range, or spikes.
    pub left_out: usize,
    /// Lowest count used.
    pub lowest: u32,
    /// Highest count used.
    pub highest: u32,
    /// Time of the first reading, used or not.
    pub first: Timestamp,
    /// Time of the last reading, used or not.
    pub last: Timestamp,
    /// What looks wrong.
    pub flags: Vec<Flag>,
}

/// Why a window gives no count. `Display` says what is wrong,
/// [`mend`](ReadingError::mend) what to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReadingError {
    /// There are no readings.
    #[error("the window holds no readings")]
    NoReadings,
    /// More than half of the readings are at an end of the converter's range.
    #[error(
        "{} of {of} readings say {}, where the converter's range ends",
        at_zero + at_full_scale,
        rails(*at_zero, *at_full_scale, *full_scale)
    )]
    MostAtRail {
        /// How many read 0.
        at_zero: usize,
        /// How many read full scale or more.
        at_full_scale: usize,
        /// Readings in the window.
        of: usize,
        /// Largest code of the converter.
        full_scale: u32,
    },
}

/// `0`, `1023` or `0 or 1023`, as were read.
fn rails(at_zero: usize, at_full_scale: usize, full_scale: u32) -> String {
    match (at_zero, at_full_scale) {
        (_, 0) => "0".to_owned(),
        (0, _) => full_scale.to_string(),
        _ => format!("0 or {full_scale}"),
    }
}

impl ReadingError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            ReadingError::NoReadings => "log readings while the core is taken",
            ReadingError::MostAtRail { .. } => {
                "check the probe's wiring and supply, and the converter's reference voltage and number of bits; log again, or remove these readings"
            }
        }
    }
}

/// Screens and summarises the readings that belong to one core, in any order.
///
/// Readings at 0 or full scale are left out, then those further from the median
/// than [`WindowRule::spike`] allows. Of the rest:
///
/// * The centre is the median. Its standard uncertainty combines the noise,
///   `pi/2 s^2/n` (large-sample variance of the median of normal readings),
///   the rounding to whole counts, 1/12 (JCGM 100:2008, F.2.2.1), which the
///   median of a quiet converter does not average away, and for a window still
///   drifting the drift, taken as a rectangle as wide as the whole change.
/// * The noise of a single reading is their standard deviation, about the trend
///   where there is one, less the rounding that is in it, 1/12 of their variance:
///   who foretells a reading adds the rounding once. Where a quiet converter
///   scatters less than that, its noise is none. Readings are taken as
///   independent.
///
/// # Errors
/// [`ReadingError`] for an empty window, or one mostly at an end of the range.
///
/// # Example
/// ```
/// use calib_core::quantity::Timestamp;
/// use calib_core::readings::{Flag, Reading, WindowRule, summarise};
///
/// let readings: Vec<Reading> = [512, 511, 513, 512, 900, 512, 511, 512]
///     .into_iter()
///     .zip((0..).step_by(10))
///     .map(|(count, seconds)| Reading {
///         time: Timestamp(seconds),
///         count,
///         soil_temperature: None,
///         supply_mv: None,
///     })
///     .collect();
/// let window = summarise(&readings, &WindowRule::for_converter(10))?;
/// assert_eq!(window.count.value, 512.0);
/// assert!(matches!(window.flags[0], Flag::Spike { left_out: 1, .. }));
/// # Ok::<(), calib_core::readings::ReadingError>(())
/// ```
pub fn summarise(readings: &[Reading], rule: &WindowRule) -> Result<WindowSummary, ReadingError> {
    let mut flags = Vec::new();
    let mut readings = readings.to_vec();
    // By count where times tie, so that the order given never matters.
    readings.sort_by_key(|reading| (reading.time, reading.count));
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else {
        return Err(ReadingError::NoReadings);
    };
    let (first, last, of) = (first.time, last.time, readings.len());
    flags.extend(screen::gap(&readings, rule));

    let mut kept = screen::without_rails(readings, rule, &mut flags)?;
    flags.extend(stuck_run(&kept, rule));
    let (centre, spread) = screen::without_spikes(&mut kept, rule, &mut flags);

    let drift = drift(&points(&kept, first));
    let noise = noise(&kept, first, drift);
    let rounding = QUANTISATION * QUANTISATION;
    let moved = drift.map_or(0.0, |drift| drift.total);
    let variance = FRAC_PI_2 * noise.standard_deviation.powi(2) / kept.len() as f64
        + rounding
        + moved * moved / 12.0;
    flags.extend(drift.map(|drift| Flag::StillDrifting {
        total: drift.total,
        seconds: last.seconds_since(first),
        noise: drift.noise,
    }));
    flags.extend((kept.len() < rule.fewest).then_some(Flag::TooFew {
        used: kept.len(),
        fewest: rule.fewest,
    }));
    let temperature = screen::temperature(&kept, &mut flags);
    flags.extend(screen::supply_shift(&kept, rule));

    Ok(WindowSummary {
        count: Estimate::new(centre, variance.sqrt()),
        spread,
        noise,
        temperature,
        used: kept.len(),
        left_out: of - kept.len(),
        lowest: kept.iter().map(|r| r.count).min().unwrap_or_default(),
        highest: kept.iter().map(|r| r.count).max().unwrap_or_default(),
        first,
        last,
        flags,
    })
}

/// Seconds since `start`, and counts.
fn points(readings: &[Reading], start: Timestamp) -> Vec<(f64, f64)> {
    readings
        .iter()
        .map(|r| (r.time.seconds_since(start) as f64, f64::from(r.count)))
        .collect()
}

fn noise(readings: &[Reading], start: Timestamp, drift: Option<Drift>) -> ReadingNoise {
    let (per_second, used_up) = drift.map_or((0.0, 1), |drift| (drift.per_second, 2));
    let residuals = residuals(&points(readings, start), per_second);
    let mean = residuals.iter().sum::<f64>() / residuals.len() as f64;
    let squares: f64 = residuals.iter().map(|r| (r - mean).powi(2)).sum();
    let degrees_of_freedom = residuals.len().saturating_sub(used_up) as f64;
    let variance = if degrees_of_freedom > 0.0 {
        squares / degrees_of_freedom
    } else {
        0.0
    };
    ReadingNoise {
        standard_deviation: f64::max(variance - QUANTISATION * QUANTISATION, 0.0).sqrt(),
        degrees_of_freedom,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Quantity;
    use proptest::prelude::*;

    fn reading(seconds: i64, count: u32) -> Reading {
        Reading {
            time: Timestamp(seconds),
            count,
            soil_temperature: Celsius::new(18.0).ok(),
            supply_mv: Some(3300.0),
        }
    }

    fn each_minute(counts: impl IntoIterator<Item = u32>) -> Vec<Reading> {
        let minutes = (0..).step_by(60);
        minutes.zip(counts).map(|(t, c)| reading(t, c)).collect()
    }

    fn rule() -> WindowRule {
        WindowRule::for_converter(12)
    }

    fn summary(readings: &[Reading]) -> WindowSummary {
        summarise(readings, &rule()).unwrap()
    }

    #[test]
    fn a_good_window_has_no_flags() {
        let window = summary(&each_minute([1001, 999, 1000, 1002, 998, 1000, 1001, 999]));
        assert_eq!(window.flags, []);
        assert_eq!(window.count.value, 1000.0);
        assert_eq!((window.used, window.left_out), (8, 0));
        let s = (12.0_f64 / 7.0 - 1.0 / 12.0).sqrt();
        assert!((window.noise.standard_deviation - s).abs() < 1e-12);
        assert_eq!(window.noise.degrees_of_freedom, 7.0);
        let u = (FRAC_PI_2 * s * s / 8.0 + 1.0 / 12.0).sqrt();
        assert!((window.count.u - u).abs() < 1e-12);
        assert_eq!(window.temperature.unwrap().value(), 18.0);
    }

    #[test]
    fn a_quiet_converter_is_not_without_uncertainty() {
        let window = summary(&each_minute([1000; 12]));
        assert_eq!(window.flags, []);
        assert!(window.count.u >= QUANTISATION);
        assert_eq!(window.noise.standard_deviation, 0.0);
    }

    #[test]
    fn no_readings_and_rail_readings_are_refused() {
        assert_eq!(
            summarise(&[], &rule()).unwrap_err(),
            ReadingError::NoReadings
        );
        let error = summarise(&each_minute([4095, 4095, 0, 1000, 1001]), &rule()).unwrap_err();
        assert_eq!(
            error.to_string(),
            "3 of 5 readings say 0 or 4095, where the converter's range ends"
        );
    }

    #[test]
    fn a_few_rail_readings_are_left_out_and_told() {
        let window = summary(&each_minute([
            0, 1001, 999, 1000, 1002, 4095, 998, 1000, 1001, 999,
        ]));
        assert_eq!((window.used, window.left_out), (8, 2));
        assert_eq!(
            window.flags,
            [Flag::AtRail {
                at_zero: 1,
                at_full_scale: 1,
                of: 10
            }]
        );
        assert_eq!((window.lowest, window.highest), (998, 1002));
    }

    #[test]
    fn a_spike_is_left_out_and_told() {
        let window = summary(&each_minute([
            1001, 999, 1000, 1600, 1002, 998, 1000, 1001, 999,
        ]));
        assert_eq!(window.left_out, 1);
        assert!(matches!(
            window.flags[..],
            [Flag::Spike { left_out: 1, of: 9, furthest, .. }] if furthest == 600.0
        ));
    }

    #[test]
    fn a_pause_in_the_log_is_told() {
        let mut readings = each_minute([1001, 999, 1000, 1002, 998, 1000, 1001, 999]);
        readings.push(reading(7 * 60 + 3600, 1000));
        assert_eq!(
            summary(&readings).flags,
            [Flag::Gap {
                seconds: 3600,
                usual: 60.0
            }]
        );
    }

    #[test]
    fn a_window_still_moving_is_told_and_less_certain() {
        let moving = each_minute((0..12).map(|i| 1000 + 5 * i + i % 2));
        let window = summary(&moving);
        let [Flag::StillDrifting { total, seconds, .. }] = window.flags[..] else {
            panic!("{:?}", window.flags);
        };
        assert!((total - 55.0).abs() < 2.0);
        assert_eq!(seconds, 660);
        assert!(window.count.u > total / 12.0_f64.sqrt());
        assert!(
            window.noise.standard_deviation < 1.0,
            "the trend is no noise"
        );
        assert_eq!(window.noise.degrees_of_freedom, 10.0);
    }

    #[test]
    fn missing_temperatures_and_a_moving_supply_are_told() {
        let mut readings = each_minute([1001, 999, 1000, 1002, 998]);
        readings[1].soil_temperature = None;
        readings[4].supply_mv = Some(3200.0);
        assert_eq!(
            summary(&readings).flags,
            [
                Flag::TemperatureMissing { missing: 1, of: 5 },
                Flag::SupplyShift {
                    lowest: 3200.0,
                    highest: 3300.0,
                    allowed: 66.0
                }
            ]
        );
    }

    #[test]
    fn a_single_reading_knows_no_noise() {
        let window = summary(&each_minute([1000]));
        assert_eq!(window.noise.degrees_of_freedom, 0.0);
        assert_eq!(window.flags, [Flag::TooFew { used: 1, fewest: 5 }]);
        assert!(window.count.u.is_finite());
    }

    #[test]
    fn a_rule_that_calls_everything_a_spike_still_leaves_half() {
        let rule = WindowRule {
            spike: f64::NAN,
            ..rule()
        };
        let window = summarise(&each_minute([1000, 1002, 1000, 1002]), &rule).unwrap();
        assert!(window.used >= 2 && window.count.u.is_finite());
    }

    proptest! {
        #[test]
        fn any_readings_give_finite_numbers_or_an_error(
            log in prop::collection::vec((any::<i64>(), any::<u32>()), 0..40),
        ) {
            let readings: Vec<Reading> = log.iter().map(|(t, c)| reading(*t, *c)).collect();
            if let Ok(window) = summarise(&readings, &WindowRule::for_converter(32)) {
                prop_assert!(window.count.value.is_finite());
                prop_assert!(window.count.u.is_finite() && window.count.u >= QUANTISATION);
                prop_assert!(window.noise.standard_deviation.is_finite());
                prop_assert_eq!(window.used + window.left_out, readings.len());
            }
        }

        #[test]
        fn the_order_given_never_matters(
            shuffled in prop::collection::vec((0..3600_i64, 990..1010_u32), 1..40).prop_shuffle(),
        ) {
            let mut sorted = shuffled.clone();
            sorted.sort();
            let of = |log: &[(i64, u32)]| {
                summary(&log.iter().map(|(t, c)| reading(*t, *c)).collect::<Vec<_>>())
            };
            prop_assert_eq!(of(&shuffled), of(&sorted));
        }

        #[test]
        fn a_shift_of_every_count_shifts_the_centre_and_nothing_else(
            counts in prop::collection::vec(990..1010_u32, 1..40),
            shift in 0..2000_u32,
        ) {
            let here = summary(&each_minute(counts.iter().copied()));
            let there = summary(&each_minute(counts.iter().map(|c| c + shift)));
            prop_assert_eq!(there.count.value, here.count.value + f64::from(shift));
            prop_assert!((there.count.u - here.count.u).abs() < 1e-9);
            prop_assert_eq!(there.used, here.used);
        }

        #[test]
        fn spikes_do_not_move_the_centre_by_more_than_the_noise(
            counts in prop::collection::vec(995..=1005_u32, 12..60),
            spikes in prop::collection::vec((any::<prop::sample::Index>(), 1..4095_u32), 1..3),
        ) {
            let clean = summary(&each_minute(counts.iter().copied()));
            let mut wild = counts.clone();
            for (place, count) in &spikes {
                wild[place.index(counts.len())] = *count;
            }
            let spiked = summary(&each_minute(wild));
            let moved = (spiked.count.value - clean.count.value).abs();
            let noise = clean
                .spread
                .max(clean.noise.standard_deviation.hypot(QUANTISATION));
            prop_assert!(moved <= noise, "moved {moved}, noise {noise}");
        }
    }
}
