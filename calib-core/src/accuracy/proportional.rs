//! Proportional bias: does the difference grow or shrink with the water content?
//!
//! The slope of reading on reference is pulled towards zero by the reference's own
//! error. With the variance of that error known, the slope is divided by the
//! reliability `1 - u^2 / s_x^2` (Fuller 1987, Measurement Error Models, section 1.2,
//! the estimator by moments with known error variance; recalled from memory). Its
//! standard error is that of the regression, clusters allowed for (`clustered.rs`), and
//! a term for the reliability itself, whose `s_x^2` is a sample's: Fuller's `2 slope^2
//! u^4 / (n sigma^4)`, with the fourth moment seen in place of a normal one's. What all references share (the ring's volume) stretches
//! them all alike and stays in the slope: `shared_reference_u` says how much.
//!
//! Regressing the difference on the mean of both, as is often done, answers another
//! question: its slope is `(s_y^2 - s_x^2) / (2 s_m^2)` and so says which of the two
//! varies more, be it by gain or by noise alone (Bland and Altman 1995, Lancet
//! 346:1085, recalled from memory). Regressing it on the reference has the pull of the
//! reference's error. Both artefacts are told beside the figure.

use super::clustered::{Coefficient, slope};
use super::error::AccuracyError;
use super::reference_error::own_error_square;
use super::sample::{Interval, Sample, check, cluster_numbers};
use crate::quantity::lowest_and_highest;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A straight line of one quantity on another, clusters allowed for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Slope {
    /// Change of the one per unit of the other.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Degrees of freedom of the standard error.
    pub degrees_of_freedom: f64,
    /// Interval of the slope.
    pub interval: Interval,
    /// Probability of a slope so far from what no proportional bias would give.
    pub p_value: f64,
}

/// Whether the difference grows or shrinks with the water content.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProportionalBias {
    /// Slope of the true reading on the true water content: 1 where there is no
    /// proportional bias. The pull towards zero by the reference's error is taken off.
    pub slope: Slope,
    /// Slope before that pull was taken off.
    pub slope_as_observed: f64,
    /// Share of the references' variance that is water and not their own error.
    pub reliability: f64,
    /// Standard uncertainty of the slope from what all references share (the ring's
    /// volume); no number of cores averages it away.
    pub shared_reference_u: f64,
    /// Bias that the line foretells at the driest core, m3/m3.
    pub bias_at_driest: f64,
    /// Lowest reference, m3/m3.
    pub driest: f64,
    /// Bias that the line foretells at the wettest core, m3/m3.
    pub bias_at_wettest: f64,
    /// Highest reference, m3/m3.
    pub wettest: f64,
    /// Slope of the difference on the mean of reading and reference, as often drawn
    /// beside limits of agreement; zero where there is none *and* both scatter
    /// alike. Where the reading scatters more than the reference it rises of itself.
    pub difference_on_mean: Option<Slope>,
    /// What `difference_on_mean` would be on average from scatter alone, were there no
    /// proportional bias.
    pub difference_on_mean_from_scatter: Option<f64>,
}

/// Fewest clusters that a slope is told of (our choice).
pub const FEWEST_FOR_SLOPE: usize = 6;

/// Least reliability at which the pull is taken off: below, the references differ
/// hardly more than by their own error (our choice).
pub const LEAST_RELIABILITY: f64 = 0.5;

impl ProportionalBias {
    /// Of `samples`.
    ///
    /// # Errors
    /// [`AccuracyError::TooFewClusters`] below [`FEWEST_FOR_SLOPE`] or where one cluster
    /// decides the slope alone, [`AccuracyError::ConstantReference`],
    /// [`AccuracyError::ReferenceAllError`] below [`LEAST_RELIABILITY`],
    /// [`AccuracyError::NotFinite`].
    pub fn of(samples: &[Sample], confidence: f64) -> Result<Self, AccuracyError> {
        check(samples, FEWEST_FOR_SLOPE)?;
        let (cluster, clusters) = cluster_numbers(samples);
        let few = AccuracyError::TooFewClusters {
            clusters,
            needed: FEWEST_FOR_SLOPE,
            purpose: "the slope of reading on reference".into(),
        };
        if clusters < FEWEST_FOR_SLOPE {
            return Err(few);
        }
        let n = samples.len() as f64;
        let x: Vec<f64> = samples.iter().map(Sample::reference_value).collect();
        let y: Vec<f64> = samples.iter().map(|sample| sample.reading).collect();
        let (mean_x, mean_y) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
        let (driest, wettest) = lowest_and_highest(x.iter().copied());
        let square = about_mean(&x);
        if wettest <= driest || square <= 0.0 {
            return Err(AccuracyError::ConstantReference);
        }
        let own = own_error_square(samples);
        let reliability = 1.0 - own / square;
        if reliability < LEAST_RELIABILITY {
            return Err(AccuracyError::ReferenceAllError {
                spread: (square / (n - 1.0)).sqrt(),
                u: (own / (n - 1.0)).sqrt(),
            });
        }
        let observed = match slope(&x, &y, &cluster, clusters) {
            Some(found) => found,
            None if about_mean(&differences(samples)) <= 0.0 => {
                return Err(AccuracyError::NoScatter);
            }
            None => return Err(few),
        };
        let freed = observed.scaled(1.0 / reliability);
        // Relative variance of the references' mean square, from their fourth moment.
        let fourth: f64 = x.iter().map(|x| (x - mean_x).powi(4)).sum();
        let relative = (fourth / square.powi(2) - 1.0 / n).max(0.0);
        let by_chance = relative * (freed.value * own / (square - own)).powi(2);
        let freed = Coefficient {
            standard_error: (freed.standard_error.powi(2) + by_chance).sqrt(),
            ..freed
        };
        let bias_at = |theta: f64| mean_y - mean_x + (freed.value - 1.0) * (theta - mean_x);
        let shared = samples
            .iter()
            .map(|sample| sample.relative_volume_u.powi(2))
            .sum::<f64>()
            / n;
        let d = differences(samples);
        let middle: Vec<f64> = x.iter().zip(&y).map(|(x, y)| 0.5 * (x + y)).collect();
        let middle_square = about_mean(&middle);
        let scatter = 0.5 * (about_mean(&d) - 2.0 * own) / middle_square;
        Ok(Self {
            slope: Slope::of(freed, 1.0, confidence),
            slope_as_observed: observed.value,
            reliability,
            shared_reference_u: freed.value.abs() * shared.sqrt(),
            bias_at_driest: bias_at(driest),
            driest,
            bias_at_wettest: bias_at(wettest),
            wettest,
            difference_on_mean: slope(&middle, &d, &cluster, clusters)
                .map(|found| Slope::of(found, 0.0, confidence)),
            difference_on_mean_from_scatter: (middle_square > 0.0).then_some(scatter),
        })
    }
}

impl Slope {
    fn of(found: Coefficient, hypothesis: f64, confidence: f64) -> Self {
        Self {
            value: found.value,
            standard_error: found.standard_error,
            degrees_of_freedom: found.degrees_of_freedom,
            interval: found.interval(confidence),
            p_value: found.p_value(hypothesis),
        }
    }
}

fn differences(samples: &[Sample]) -> Vec<f64> {
    samples.iter().map(Sample::difference).collect()
}

/// Sum of squares about the mean.
fn about_mean(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let square: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    // Rounding of equal values is no scatter.
    if square > values.len() as f64 * (1e-14 * mean).powi(2) {
        square
    } else {
        0.0
    }
}
