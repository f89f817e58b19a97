//! The usual measures of agreement.

use super::sample::Interval;
use serde::{Deserialize, Serialize};

/// Lin's concordance correlation of reading and reference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measures {
    /// Pairs.
    pub pairs: usize,
    /// Independent clusters among them.
    pub clusters: usize,
    /// Mean of reading minus reference.
    pub bias: f64,
    /// Root mean square difference.
    pub rmse: f64,
    /// Root mean square difference once the bias is taken off: the standard
    /// deviation of the differences with divisor n.
    pub unbiased_rmse: f64,
    /// Mean absolute difference.
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
