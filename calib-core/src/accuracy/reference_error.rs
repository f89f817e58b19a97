//! The reference's own error taken off.
//!
//! A core is weighed and dried with errors of its own, so a reading that is perfect
//! still differs from it. With the standard uncertainty `u` of the references known,
//! the mean square difference is that of the probe and the mean of `u^2` together. The
//! latter is taken off; where more would come off than there is, nothing is left and it
//! is said.
//!
//! Only the part of `u` that differs from core to core can be taken off scatter. What
//! all cores share (the ring's volume) moves them all alike: it belongs to the bias
//! ([`Bias::shared_reference_u`](super::Bias::shared_reference_u)) and to the slope.
//!
//! The probe feels other soil than the core took out. Unless the stated `u` has that
//! in it, what is left is of probe, calibration and the soil between the two.

use super::bootstrap::{Bootstrapped, Measure};
use super::error::AccuracyError;
use super::measures::{FEWEST_PAIRS, Measures};
use super::sample::{Interval, Sample, check};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A root mean square with the reference's own part taken off, m3/m3.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Corrected {
    /// As observed.
    pub observed: f64,
    /// With the reference's mean square taken off; zero where nothing is left.
    pub value: f64,
    /// Whether more would have come off than there was, so that it was held at zero.
    pub floored: bool,
    /// Interval of `value` from that of the bootstrap; the stated uncertainty is taken
    /// as known. `None` without a bootstrap.
    pub interval: Option<Interval>,
}

/// What of the differences is the reference's own error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReferenceError {
    /// Root mean square of the references' standard uncertainties, the part that
    /// differs from core to core, m3/m3.
    pub u: f64,
    /// Part of the mean square difference that this makes; may exceed 1.
    pub part_of_mean_square: f64,
    /// The root mean square difference.
    pub rmse: Corrected,
    /// The unbiased one.
    pub unbiased_rmse: Corrected,
}

impl ReferenceError {
    /// Of `samples`, with intervals from their bootstrap if there is one.
    ///
    /// # Errors
    /// [`AccuracyError::TooFewPairs`], [`AccuracyError::NotFinite`].
    pub fn of(
        samples: &[Sample],
        bootstrapped: Option<&Bootstrapped>,
    ) -> Result<Self, AccuracyError> {
        check(samples, FEWEST_PAIRS)?;
        let n = samples.len() as f64;
        let measures = Measures::of(samples)?;
        let whole = mean_square_u(samples);
        let about_mean = own_error_square(samples) / n;
        let interval = |measure| bootstrapped.and_then(|b| b.interval(measure));
        let part_of_mean_square = if whole == 0.0 {
            0.0
        } else {
            whole / measures.rmse.powi(2)
        };
        Ok(Self {
            u: whole.sqrt(),
            part_of_mean_square: part_of_mean_square.min(f64::MAX),
            rmse: Corrected::of(measures.rmse, whole, interval(Measure::Rmse)),
            unbiased_rmse: Corrected::of(
                measures.unbiased_rmse,
                about_mean,
                interval(Measure::UnbiasedRmse),
            ),
        })
    }
}

impl Corrected {
    fn of(observed: f64, square: f64, interval: Option<Interval>) -> Self {
        let without = |value: f64| (value * value - square).max(0.0).sqrt();
        Self {
            observed,
            value: without(observed),
            floored: observed * observed < square,
            interval: interval.map(|it| Interval {
                low: without(it.low),
                high: without(it.high),
                ..it
            }),
        }
    }
}

/// Mean of the references' squared standard uncertainties.
fn mean_square_u(samples: &[Sample]) -> f64 {
    samples
        .iter()
        .map(|sample| sample.reference.u.powi(2))
        .sum::<f64>()
        / samples.len() as f64
}

/// What the references' own errors add on average to their sum of squares about the
/// mean. Pairs of one core share its error, so the mean of all has the variance
/// `sum of (pairs of the core / n)^2 u^2`.
pub(super) fn own_error_square(samples: &[Sample]) -> f64 {
    let n = samples.len() as f64;
    let mut cores: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for sample in samples {
        let core = cores.entry(sample.core.as_str()).or_default();
        core.0 += 1.0;
        core.1 += sample.reference.u.powi(2);
    }
    let of_mean: f64 = cores
        .values()
        .map(|(pairs, squares)| pairs * squares / (n * n))
        .sum();
    n * (mean_square_u(samples) - of_mean)
}
