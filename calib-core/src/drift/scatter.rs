//! What the scatter of the cores may be, finely enough to be learnt from.
//!
//! A calibration keeps its scatter as two dozen draws, quantiles of its distribution. Each
//! check says more about the scatter, so the draws are joined to a whole distribution here:
//! between them by straight lines in the logarithm of the variance against the normal
//! quantile of their place, in which a chi-square distribution is all but straight (Wilson
//! and Hilferty 1931, Proc. Natl. Acad. Sci. 17:684; recalled from memory).

use super::error::DriftError;
use crate::calibration::Calibration;
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// One value the scatter may have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ScatterNode {
    /// Natural logarithm of its weight; the weights of all nodes add up to 1.
    pub ln_weight: f64,
    /// Variance of the cores about the curve, m3/m3 squared.
    pub variance: f64,
    /// By how much the covariance of the parameters grows with it.
    pub covariance_scale: f64,
}

/// How far out nodes reach, in standard deviations of the normal distribution.
const REACH: f64 = 4.5;
/// Fewest degrees of freedom drawn with.
const FEWEST_DEGREES_OF_FREEDOM: f64 = 1.0;
/// Smallest probability looked at from either side.
const SMALLEST: f64 = 1e-9;

/// A quantile function given at some places.
struct Quantiles {
    /// Normal quantile of the probability, variance, growth of the covariance; ascending in
    /// the first.
    known: Vec<(f64, f64, f64)>,
}

impl Quantiles {
    /// The straight line through the two known places that lie around `q`, or at the end
    /// that is nearest.
    fn at(&self, q: f64, of: impl Fn(&(f64, f64, f64)) -> f64) -> f64 {
        let after = self.known.partition_point(|(place, ..)| *place < q);
        let last = self.known.len().saturating_sub(1);
        let right = after.clamp(1.min(last), last);
        let left = right.saturating_sub(1);
        let (Some(a), Some(b)) = (self.known.get(left), self.known.get(right)) else {
            return 0.0;
        };
        let share = if b.0 > a.0 {
            (q - a.0) / (b.0 - a.0)
        } else {
            0.0
        };
        let (from, to) = (of(a), of(b));
        if from > 0.0 && to > 0.0 {
            (from.ln() + share * (to.ln() - from.ln())).exp()
        } else {
            from + share.clamp(0.0, 1.0) * (to - from)
        }
    }
}

/// `count` values (odd, so that the middle is among them) that the scatter may have, with
/// their weights; one if the calibration knows its scatter.
///
/// # Errors
/// [`DriftError::Calibration`] if its draws are no distribution.
pub(super) fn scatter_nodes(
    calibration: &Calibration,
    count: usize,
) -> Result<Vec<ScatterNode>, DriftError> {
    let fault = |fault| DriftError::Calibration { fault };
    let normal = Normal::standard();
    let probit = |p: f64| normal.inverse_cdf(p.clamp(SMALLEST, 1.0 - SMALLEST));
    let mut known: Vec<(f64, f64, f64)> = Vec::new();
    if calibration.scatter_draws.is_empty() {
        // On the fit's degrees of freedom alone, as a prediction by draws has it.
        let freedom = calibration
            .degrees_of_freedom
            .max(FEWEST_DEGREES_OF_FREEDOM);
        let square =
            ChiSquared::new(freedom).map_err(|_| fault("its degrees of freedom are no number"))?;
        for i in 0..count {
            let q = place(i, count);
            let scale = freedom / square.inverse_cdf(normal.cdf(q)).max(f64::MIN_POSITIVE);
            known.push((q, calibration.core_scatter.powi(2) * scale, scale));
        }
    } else {
        let mut sum = 0.0;
        for draw in &calibration.scatter_draws {
            let middle = sum + 0.5 * draw.weight;
            sum += draw.weight;
            known.push((probit(middle), draw.scatter.powi(2), draw.covariance_scale));
        }
    }
    let usable = |value: f64| value.is_finite() && value >= 0.0;
    if !known
        .iter()
        .all(|(q, variance, scale)| q.is_finite() && usable(*variance) && usable(*scale))
    {
        return Err(fault("its scatter is no distribution"));
    }
    let first = known.first().copied();
    if let Some((_, variance, covariance_scale)) =
        first.filter(|first| known.iter().all(|one| (one.1, one.2) == (first.1, first.2)))
    {
        return Ok(vec![ScatterNode {
            ln_weight: 0.0,
            variance,
            covariance_scale,
        }]);
    }
    let quantiles = Quantiles { known };
    let mut nodes: Vec<ScatterNode> = (0..count)
        .map(|i| place(i, count))
        .map(|q| ScatterNode {
            ln_weight: -0.5 * q * q,
            variance: quantiles.at(q, |one| one.1),
            covariance_scale: quantiles.at(q, |one| one.2),
        })
        .collect();
    let total: f64 = nodes.iter().map(|node| node.ln_weight.exp()).sum();
    for node in &mut nodes {
        node.ln_weight -= total.ln();
    }
    Ok(nodes)
}

/// The normal quantile of node `i` of `count`.
fn place(i: usize, count: usize) -> f64 {
    let steps = count.saturating_sub(1).max(1) as f64;
    REACH * (2.0 * i as f64 / steps - 1.0)
}
