//! Limits of agreement.

use super::sample::Interval;
use serde::{Deserialize, Serialize};

/// One limit of agreement with its intervals, m3/m3.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Mean difference less or plus 1.96 standard deviations.
    pub value: f64,
    /// Interval by the noncentral t: exact where pairs are independent and normal.
    pub interval: Interval,
    /// Interval as published in 1986, with the standard error `sqrt(3 s^2 / n)` and
    /// Student's t. Only where every pair is a cluster of its own.
    pub interval_1986: Option<Interval>,
}

/// Bland and Altman's limits of agreement: between which 95 % of differences lie,
/// were they normal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Pairs.
    pub pairs: usize,
    /// Clusters.
    pub clusters: usize,
    /// Mean difference, m3/m3.
    pub mean: f64,
    /// Standard deviation of a difference, m3/m3: divisor n - 1 where pairs are
    /// independent, else from both components of variance.
    pub standard_deviation: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Standard deviation from cluster to cluster, m3/m3, where clusters have several
    /// pairs; zero where none was seen.
    pub between_clusters: Option<f64>,
    /// Standard deviation within a cluster, m3/m3, where clusters have several pairs.
    pub within_clusters: Option<f64>,
    /// Lower limit.
    pub lower: Limit,
    /// Upper limit.
    pub upper: Limit,
}
