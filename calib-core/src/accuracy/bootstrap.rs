//! Intervals of the measures by drawing clusters anew.

use super::sample::Interval;
use serde::{Deserialize, Serialize};

/// A measure that the bootstrap gives an interval for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// Mean difference.
    Bias,
    /// Root mean square difference.
    Rmse,
    /// Root mean square difference less the bias.
    UnbiasedRmse,
    /// Mean absolute difference.
    MeanAbsoluteError,
    /// Squared correlation.
    RSquared,
    /// Nash-Sutcliffe efficiency.
    NashSutcliffe,
    /// Lin's concordance.
    Concordance,
}

/// One measure with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MeasureInterval {
    /// Which.
    pub measure: Measure,
    /// Its value.
    pub value: f64,
    /// Interval by the studentised bootstrap.
    pub interval: Interval,
    /// Replicates in which it had no value (all references alike).
    pub without_value: usize,
}

/// Intervals by drawing clusters anew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bootstrapped {
    /// Clusters drawn, with replacement, as many as there are.
    pub clusters: usize,
    /// How often.
    pub replicates: usize,
    /// The seed.
    pub seed: u64,
    /// One entry for each measure that has a value.
    pub measures: Vec<MeasureInterval>,
}

/// How to draw.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Bootstrap {
    /// How often.
    pub replicates: usize,
    /// Chooses the random streams.
    pub seed: u64,
    /// Confidence of the intervals.
    pub confidence: f64,
}
