//! The usual measures of agreement.
//!
//! All are of reading against reference and divide by n: bias, root mean square and
//! mean absolute difference are what their names say; the unbiased root mean square
//! difference is `sqrt(RMSE^2 - bias^2)`, as in the validation of soil moisture
//! products; R2 is the squared correlation of Pearson, not a share of variance
//! explained by the line through the origin at 45 degrees (that is Nash and
//! Sutcliffe's efficiency, 1970, Journal of Hydrology 10:282); concordance is that of
//! Lin (1989, Biometrics 45:255). Sources recalled from memory.

use super::error::AccuracyError;
use super::sample::{Interval, Sample, check, cluster_numbers};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Lin's concordance correlation of reading and reference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Concordance {
    /// The coefficient, with moments divided by n as Lin (1989) has them.
    pub value: f64,
    /// What moments divided by n - 1 would give, as some programs have it.
    pub value_n_minus_1: f64,
    /// Precision: the correlation (Pearson).
    pub precision: f64,
    /// Accuracy: `value / precision`, 1 where the best line is the one through the
    /// origin at 45 degrees; `None` where the correlation is zero.
    pub accuracy: Option<f64>,
    /// Interval by Fisher's z with the variance of Lin (1989, corrected 2000), both
    /// normal. Only where every pair is a cluster of its own and there are four or
    /// more; otherwise the bootstrap has one.
    pub interval: Option<Interval>,
}

/// The usual measures of agreement, each with divisor n. m3/m3 where they have a unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Measures {
    /// Pairs.
    pub pairs: usize,
    /// Independent clusters among them.
    pub clusters: usize,
    /// Mean of reading minus reference, m3/m3.
    pub bias: f64,
    /// Root mean square difference.
    pub rmse: f64,
    /// Root mean square difference once the bias is taken off: the standard
    /// deviation of the differences with divisor n.
    pub unbiased_rmse: f64,
    /// Mean absolute difference, m3/m3.
    pub mean_absolute_error: f64,
    /// Squared correlation of reading and reference. It does not see bias or a wrong
    /// slope. `None` where either is constant.
    pub r_squared: Option<f64>,
    /// Nash and Sutcliffe (1970): 1 less the sum of squared differences over the sum
    /// of squares of the reference about its mean; below zero where the mean of the
    /// references would serve better. `None` where the reference is constant.
    pub nash_sutcliffe: Option<f64>,
    /// Lin's concordance. `None` where either is constant.
    pub concordance: Option<Concordance>,
}

/// Fewest pairs that measures are told of.
pub const FEWEST_PAIRS: usize = 3;

impl Measures {
    /// The measures of `samples`.
    ///
    /// # Errors
    /// [`AccuracyError::TooFewPairs`] below [`FEWEST_PAIRS`],
    /// [`AccuracyError::NotFinite`].
    pub fn of(samples: &[Sample]) -> Result<Self, AccuracyError> {
        check(samples, FEWEST_PAIRS)?;
        let (_, clusters) = cluster_numbers(samples);
        let pairs = samples
            .iter()
            .map(|sample| (sample.reference_value(), sample.reading));
        let moments = Moments::of(pairs.map(|pair| (pair, 1.0)));
        let concordance = Concordance::of(&moments, clusters == samples.len());
        Ok(Self {
            pairs: samples.len(),
            clusters,
            bias: moments.bias,
            rmse: moments.mean_square.sqrt(),
            unbiased_rmse: moments.difference_variance.sqrt(),
            mean_absolute_error: moments.mean_absolute,
            r_squared: moments.correlation().map(|r| r * r),
            nash_sutcliffe: moments.nash_sutcliffe(),
            concordance,
        })
    }
}

impl Concordance {
    /// `None` where either is constant; `independent`: whether pairs are.
    fn of(moments: &Moments, independent: bool) -> Option<Self> {
        let value = moments.concordance()?;
        let precision = moments.correlation()?;
        let n = moments.weight;
        Some(Self {
            value,
            value_n_minus_1: moments.concordance_with(n / (n - 1.0)),
            precision,
            accuracy: (precision != 0.0).then(|| value / precision),
            interval: if independent && n >= 4.0 {
                lin_interval(moments, value, precision)
            } else {
                None
            },
        })
    }
}

/// Lin's concordance of two rows of numbers in any one unit, each pair independent of
/// the others. `None` with fewer than [`FEWEST_PAIRS`], rows of different length, or
/// either constant or no number.
pub fn concordance_of(x: &[f64], y: &[f64]) -> Option<Concordance> {
    let finite = x.iter().chain(y).all(|value| value.is_finite());
    if !finite || x.len() != y.len() || x.len() < FEWEST_PAIRS {
        return None;
    }
    let pairs = x.iter().copied().zip(y.iter().copied());
    Concordance::of(&Moments::of(pairs.map(|pair| (pair, 1.0))), true)
}

/// Moments of reference `x` and reading `y`, each divided by the sum of weights.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moments {
    pub(super) weight: f64,
    pub(super) mean_x: f64,
    pub(super) mean_y: f64,
    pub(super) variance_x: f64,
    pub(super) variance_y: f64,
    pub(super) covariance: f64,
    pub(super) bias: f64,
    pub(super) mean_square: f64,
    pub(super) difference_variance: f64,
    pub(super) mean_absolute: f64,
}

impl Moments {
    /// Of pairs (x, y) with their weights.
    pub(super) fn of(pairs: impl Iterator<Item = ((f64, f64), f64)> + Clone) -> Self {
        let (mut weight, mut sum_x, mut sum_y) = (0.0, 0.0, 0.0);
        for ((x, y), w) in pairs.clone() {
            weight += w;
            sum_x += w * x;
            sum_y += w * y;
        }
        let (mean_x, mean_y) = (sum_x / weight, sum_y / weight);
        let bias = mean_y - mean_x;
        let (mut xx, mut yy, mut xy, mut dd, mut square, mut absolute) =
            (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for ((x, y), w) in pairs {
            let (from_x, from_y, d) = (x - mean_x, y - mean_y, y - x);
            xx += w * from_x * from_x;
            yy += w * from_y * from_y;
            xy += w * from_x * from_y;
            dd += w * (d - bias) * (d - bias);
            square += w * d * d;
            absolute += w * d.abs();
        }
        // Rounding of equal values is no variance.
        let real = |variance: f64, mean: f64| {
            if variance > (1e-14 * mean).powi(2) {
                variance
            } else {
                0.0
            }
        };
        Self {
            weight,
            mean_x,
            mean_y,
            variance_x: real(xx / weight, mean_x),
            variance_y: real(yy / weight, mean_y),
            covariance: xy / weight,
            bias,
            mean_square: square / weight,
            difference_variance: dd / weight,
            mean_absolute: absolute / weight,
        }
    }

    fn both_vary(&self) -> bool {
        self.variance_x > 0.0 && self.variance_y > 0.0
    }

    /// Pearson's; `None` where either is constant.
    pub(super) fn correlation(&self) -> Option<f64> {
        self.both_vary().then(|| {
            (self.covariance / (self.variance_x * self.variance_y).sqrt()).clamp(-1.0, 1.0)
        })
    }

    /// `None` where the reference is constant.
    pub(super) fn nash_sutcliffe(&self) -> Option<f64> {
        (self.variance_x > 0.0).then(|| 1.0 - self.mean_square / self.variance_x)
    }

    /// Lin's, with divisor n; `None` where either is constant.
    pub(super) fn concordance(&self) -> Option<f64> {
        self.both_vary().then(|| self.concordance_with(1.0))
    }

    /// With second moments multiplied by `factor`.
    fn concordance_with(&self, factor: f64) -> f64 {
        let spread = (self.variance_x + self.variance_y) * factor;
        2.0 * self.covariance * factor / (spread + self.bias * self.bias)
    }
}

/// Lin's variance of Fisher's z of the concordance, with the correction he published in
/// 2000 (Biometrics 56:324), and the interval it gives at 95 %. Recalled from memory; a
/// test compares it with the delta method on the moments of a normal sample.
fn lin_interval(moments: &Moments, concordance: f64, r: f64) -> Option<Interval> {
    let variance = lin_variance(moments, concordance, r)?;
    let half = 1.959_963_984_540_054 * variance.sqrt();
    let z = concordance.atanh();
    Some(Interval {
        low: (z - half).tanh(),
        high: (z + half).tanh(),
        confidence: 0.95,
    })
}

/// Variance of Fisher's z.
fn lin_variance(moments: &Moments, c: f64, r: f64) -> Option<f64> {
    if r == 0.0 || c == 0.0 || c.abs() >= 1.0 || r.abs() >= 1.0 {
        return None;
    }
    let shift = moments.bias.powi(2) / (moments.variance_x * moments.variance_y).sqrt();
    let rest = 1.0 - c * c;
    let variance = ((1.0 - r * r) * c * c / (rest * r * r)
        + 2.0 * c.powi(3) * (1.0 - c) * shift / (r * rest * rest)
        - 0.5 * c.powi(4) * shift * shift / (r * r * rest * rest))
        / (moments.weight - 2.0);
    (variance > 0.0 && variance.is_finite()).then_some(variance)
}
