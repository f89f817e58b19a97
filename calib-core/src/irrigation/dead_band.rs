//! How wide a dead band must be for the pump to keep still by itself.
//!
//! The pump has just stopped and the soil neither dries nor wets. Over one day
//! the probe is read `n` times. Refill must lie so far from stop that the chance
//! of any of these readings falling to it is at most the probability stated:
//!
//! `band = noise + temperature + drift`, in counts, where
//!
//! * **noise**: the pump stops on the first reading at the stop point, which is
//!   more likely one with noise towards wet: the soil is then drier than the stop
//!   point says, the more so the slower it wets. With independent normal noise of
//!   standard deviation 1 and soil that wets by `r` from reading to reading, the
//!   stop comes at `x` short of it with the chance `w(x)` of first passage, and `b`
//!   solves `sum w(x) [1 - Phi(b - x)^n] = p`. The noise takes `b` standard
//!   deviations of one reading, widened where those were estimated from few
//!   readings, and half a count at either end, for a controller compares whole
//!   counts. `r` is that of a root zone wetted evenly, and 1 at most: a front that
//!   passes the probe faster errs on the safe side.
//! * **temperature**: what the day's swing of soil temperature, from its coolest
//!   to its warmest, leaves in the reading. With a temperature term: what is not
//!   known of its coefficient, times the swing, and the soil thermometer at both
//!   moments, at 95 %. Without one: the largest effect known or left possible,
//!   times the swing.
//! * **drift**: as stated.

use super::DAY_S;
use crate::calibration::{COVERAGE, Calibration};
use crate::uncertainty::coverage_factor;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};
use std::f64::consts::SQRT_2;
use std::fmt;

/// What decided the width of the dead band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DeadBandGovernor {
    /// The allowed depletion of the soil's available water.
    AllowedDepletion,
    /// What the probe can resolve in this soil: noise, temperature and drift.
    ProbeResolution,
}

impl fmt::Display for DeadBandGovernor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            DeadBandGovernor::AllowedDepletion => "the allowed depletion",
            DeadBandGovernor::ProbeResolution => "what the probe resolves",
        })
    }
}

/// How a controller reads the probe, and what moves its readings within a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayOfReadings {
    /// Seconds between two readings, 1 to 86 400.
    pub read_every_s: u32,
    /// Chance, per day, that a reading starts the pump although the soil has not
    /// dried; between [`LEAST_FALSE_START`] and [`MOST_FALSE_START`].
    pub false_start_probability: f64,
    /// Swing of soil temperature over the day at the probe, lowest to highest, C.
    pub temperature_swing_c: f64,
    /// By how much the reading may drift between a stop and the next start, counts.
    pub drift_counts: f64,
    /// Counts by which the reading moves per degree, where that is known of a
    /// probe without a temperature term.
    pub counts_per_c: Option<f64>,
    /// By how much the root zone wets in a second while the pump runs, m3/m3;
    /// `None` for as fast as noise does not matter to the stop.
    pub wetting_per_s: Option<f64>,
}

/// Smallest probability of a false start a day that can be asked for.
pub const LEAST_FALSE_START: f64 = 1e-6;

/// Largest probability of a false start a day that can be asked for.
pub const MOST_FALSE_START: f64 = 0.1;

/// Fastest wetting reckoned with, in standard deviations of noise from reading to
/// reading.
const FASTEST_WETTING: f64 = 1.0;

/// Slowest wetting reckoned with; where it is slower still, hardly more is needed.
const SLOWEST_WETTING: f64 = 0.01;

/// A reading a minute, one false start in a hundred days, 5 C in the root zone
/// (all three our choice) and no drift.
impl Default for DayOfReadings {
    fn default() -> Self {
        Self {
            read_every_s: 60,
            false_start_probability: 0.01,
            temperature_swing_c: 5.0,
            drift_counts: 0.0,
            counts_per_c: None,
            wetting_per_s: None,
        }
    }
}

impl DayOfReadings {
    /// Readings of a day, at least one.
    pub fn readings(&self) -> u32 {
        (DAY_S / self.read_every_s.max(1)).max(1)
    }
}

/// Where the temperature's part of the band comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum TemperatureBasis {
    /// The readings are corrected; what is left of the swing counts.
    Corrected,
    /// They are not; the effect was stated.
    Stated,
    /// They are not; the largest effect the cores leave possible was taken.
    LeftPossible,
    /// They are not, and nothing is known of the effect: it is left out.
    Unknown,
}

/// The narrowest band in which the pump keeps still, and its parts, counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeastBand {
    /// Noise and rounding of the stopping reading and of the day's readings.
    pub noise_counts: f64,
    /// What the day's swing of temperature leaves.
    pub temperature_counts: f64,
    /// Drift as stated.
    pub drift_counts: f64,
    /// Where the temperature's part comes from.
    pub temperature_basis: TemperatureBasis,
    /// Swing of soil temperature taken, C.
    pub temperature_swing_c: f64,
    /// Readings a day.
    pub readings_a_day: u32,
    /// Chance of a false start a day the band is made for.
    pub false_start_probability: f64,
}

impl LeastBand {
    /// Width, counts.
    pub fn counts(&self) -> f64 {
        self.noise_counts + self.temperature_counts + self.drift_counts
    }
}

/// The narrowest band in which a pump that goes by this probe, and stops at
/// `stop_count`, keeps still.
///
/// # Example
/// ```
/// use calib_core::irrigation::noise_margin;
/// // One reading after the stop, one in a hundred: a single normal reading asks for
/// // 2.33, and a stop on noise towards wet for a little more.
/// assert!((2.33..3.5).contains(&noise_margin(1, 0.01, 1.0)));
/// // Readings every minute ask for more, and so does soil that wets slowly.
/// assert!(noise_margin(1440, 0.01, 1.0) > 4.5);
/// assert!(noise_margin(1440, 0.01, 0.1) > noise_margin(1440, 0.01, 1.0) + 0.5);
/// ```
pub fn least_band(calibration: &Calibration, stop_count: f64, day: &DayOfReadings) -> LeastBand {
    let readings = day.readings();
    let noise = &calibration.noise;
    let tails = tails(
        readings,
        day.false_start_probability,
        noise.degrees_of_freedom,
    );
    let of_noise = calibration.curve.slope(stop_count).abs() * noise.standard_deviation;
    let wetting = day.wetting_per_s.map_or(FASTEST_WETTING, |rate| {
        rate * f64::from(day.read_every_s) / of_noise
    });
    let margin = noise_margin(readings, day.false_start_probability, wetting);
    let (temperature_counts, temperature_basis) = temperature_part(calibration, day);
    LeastBand {
        noise_counts: margin * tails * noise.standard_deviation + 1.0,
        temperature_counts,
        drift_counts: day.drift_counts.abs(),
        temperature_basis,
        temperature_swing_c: day.temperature_swing_c,
        readings_a_day: readings,
        false_start_probability: day.false_start_probability,
    }
}

/// The distance between stop and refill, in standard deviations of one reading's
/// noise, at which the chance that any of `readings` independent normal readings
/// falls to refill is `probability`, the pump having stopped in soil that wetted by
/// `wetting` standard deviations from reading to reading (taken as 0.01 to 1; no
/// number as 1).
pub fn noise_margin(readings: u32, probability: f64, wetting: f64) -> f64 {
    let probability = probability.clamp(LEAST_FALSE_START, MOST_FALSE_START);
    let stops = stops(if wetting.is_nan() {
        FASTEST_WETTING
    } else {
        wetting.clamp(SLOWEST_WETTING, FASTEST_WETTING)
    });
    let n = f64::from(readings);
    let chance = |band: f64| -> f64 {
        stops
            .iter()
            .map(|(short, weight)| {
                let falls = Normal::standard().sf(band - short);
                // 1 - (1 - falls)^n without losing a small chance to rounding.
                weight * -(n * (-falls).ln_1p()).exp_m1()
            })
            .sum()
    };
    let (mut low, mut high) = (0.0, 20.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if chance(middle) > probability {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// How far short of the stop point the soil is when the first reading reaches it,
/// and the chance of that: soil that comes from far below by `wetting` a reading,
/// averaged over where between two readings it began.
fn stops(wetting: f64) -> Vec<(f64, f64)> {
    const FAR: f64 = 8.0;
    const PHASES: u32 = 4;
    let mut found = Vec::new();
    for phase in 0..PHASES {
        let mut short = FAR - wetting * f64::from(phase) / f64::from(PHASES);
        let mut running = 1.0;
        while running > 1e-12 && short > -FAR {
            let reaches = Normal::standard().sf(short);
            found.push((short, running * reaches / f64::from(PHASES)));
            running *= 1.0 - reaches;
            short -= wetting;
        }
    }
    found
}

/// By how much wider noise known from few readings makes the margin: Student's t
/// over the normal distribution, at the chance left to one reading.
fn tails(readings: u32, probability: f64, degrees_of_freedom: f64) -> f64 {
    let one = -((-probability).ln_1p() / f64::from(readings)).exp_m1();
    let coverage = 1.0 - 2.0 * one;
    let ratio =
        coverage_factor(coverage, Some(degrees_of_freedom)) / coverage_factor(coverage, None);
    if ratio.is_finite() {
        ratio.max(1.0)
    } else {
        1.0
    }
}

fn temperature_part(calibration: &Calibration, day: &DayOfReadings) -> (f64, TemperatureBasis) {
    let swing = day.temperature_swing_c.abs();
    if let Some(term) = calibration.temperature {
        let u = coefficient_u(&calibration.covariance);
        let thermometer = SQRT_2 * term.coefficient * calibration.temperature_u;
        let k = coverage_factor(COVERAGE, Some(calibration.degrees_of_freedom));
        return (
            k * (u * swing).hypot(thermometer),
            TemperatureBasis::Corrected,
        );
    }
    if let Some(effect) = day.counts_per_c {
        return (effect.abs() * swing, TemperatureBasis::Stated);
    }
    match effect_left_possible(calibration) {
        Some(effect) => (effect * swing, TemperatureBasis::LeftPossible),
        None => (0.0, TemperatureBasis::Unknown),
    }
}

/// The largest effect of temperature, counts per degree, that the cores leave
/// possible for a calibration without a term: that of the likeliest rival curve
/// with one, and its expanded uncertainty.
pub(in crate::irrigation) fn effect_left_possible(calibration: &Calibration) -> Option<f64> {
    let k = coverage_factor(COVERAGE, Some(calibration.degrees_of_freedom));
    calibration
        .rivals
        .iter()
        .filter_map(|rival| Some((rival, rival.temperature?)))
        .max_by(|a, b| a.0.weight.total_cmp(&b.0.weight))
        .map(|(rival, term)| term.coefficient.abs() + k * coefficient_u(&rival.covariance))
}

/// Standard uncertainty of the temperature coefficient, the last of a covariance.
fn coefficient_u(covariance: &[Vec<f64>]) -> f64 {
    let variance = covariance.last().and_then(|row| row.last());
    variance.map_or(0.0, |v| v.max(0.0).sqrt())
}

#[cfg(test)]
mod tests;
