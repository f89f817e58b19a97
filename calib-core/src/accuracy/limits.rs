//! Limits of agreement: Bland and Altman (1986, Lancet 327:307), with several pairs a
//! cluster as in 1999 (Statistical Methods in Medical Research 8:135) and 2007; the
//! later two recalled from memory.
//!
//! A limit is a quantile of the differences, were they normal. With `n` independent
//! ones, `sqrt(n) (mean - quantile) / s` has the noncentral t distribution, so that its
//! interval is exact (as for a tolerance bound; Carkeet 2015, Optometry and Vision
//! Science 92:e71, recalled from memory). Where clusters have several pairs, the
//! effective number of pairs and Satterthwaite's degrees of freedom take the place of
//! `n` and `n - 1`; `tests/tests/accuracy_false_alarms.rs` says how often the interval
//! then holds the limit.

use super::clustered::t_quantile;
use super::error::AccuracyError;
use super::sample::{Interval, Sample, check, cluster_numbers};
use super::spread::Spread;
use crate::uncertainty::NoncentralT;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One limit of agreement with its intervals, m3/m3.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Limit {
    /// Mean difference less or plus 1.96 standard deviations, m3/m3.
    pub value: f64,
    /// Interval by the noncentral t: exact where pairs are independent and normal.
    pub interval: Interval,
    /// Interval as published in 1986, with the standard error `sqrt(3 s^2 / n)` and
    /// Student's t. Only where every pair is a cluster of its own.
    pub interval_1986: Option<Interval>,
}

/// Bland and Altman's limits of agreement: between which 95 % of differences lie,
/// were they normal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
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

/// Standard deviations from the mean to a limit: 95 % of a normal distribution, as
/// published.
pub const LIMIT_FACTOR: f64 = 1.96;

/// Fewest clusters that limits are told of (our choice).
pub const FEWEST_FOR_LIMITS: usize = 4;

impl Limits {
    /// Of `differences`, with the cluster of each.
    ///
    /// # Errors
    /// [`AccuracyError::TooFewClusters`] below [`FEWEST_FOR_LIMITS`],
    /// [`AccuracyError::NoScatter`], [`AccuracyError::NotFinite`].
    pub fn of(samples: &[Sample], confidence: f64) -> Result<Self, AccuracyError> {
        check(samples, FEWEST_FOR_LIMITS)?;
        let (cluster, clusters) = cluster_numbers(samples);
        let differences: Vec<f64> = samples.iter().map(Sample::difference).collect();
        Self::of_differences(&differences, &cluster, clusters, confidence)
    }

    /// Of differences in any unit; `cluster` numbers them from 0 to `clusters`.
    ///
    /// # Errors
    /// As [`Limits::of`].
    pub fn of_differences(
        differences: &[f64],
        cluster: &[usize],
        clusters: usize,
        confidence: f64,
    ) -> Result<Self, AccuracyError> {
        let few = |clusters| AccuracyError::TooFewClusters {
            clusters,
            needed: FEWEST_FOR_LIMITS,
            purpose: "limits of agreement".into(),
        };
        let numbered = cluster.len() == differences.len() && cluster.iter().all(|g| *g < clusters);
        let seen: std::collections::BTreeSet<usize> = cluster.iter().copied().collect();
        if clusters < FEWEST_FOR_LIMITS || !numbered || seen.len() < clusters {
            return Err(few(seen.len().min(clusters)));
        }
        let spread = Spread::of(differences, cluster, clusters).ok_or(AccuracyError::NoScatter)?;
        let limit = |side: f64| -> Result<Limit, AccuracyError> {
            let (low, high) =
                quantile_interval(&spread, side * LIMIT_FACTOR, confidence).ok_or(few(clusters))?;
            let value = spread.mean + side * LIMIT_FACTOR * spread.standard_deviation;
            let interval = Interval {
                low,
                high,
                confidence,
            };
            let interval_1986 = spread.parts.is_none().then(|| {
                let half = t_quantile(0.5 + 0.5 * confidence, spread.degrees_of_freedom)
                    * standard_error_1986(spread.standard_deviation, spread.pairs);
                Interval {
                    low: value - half,
                    high: value + half,
                    confidence,
                }
            });
            Ok(Limit {
                value,
                interval,
                interval_1986,
            })
        };
        Ok(Self {
            pairs: spread.pairs,
            clusters,
            mean: spread.mean,
            standard_deviation: spread.standard_deviation,
            degrees_of_freedom: spread.degrees_of_freedom,
            between_clusters: spread.parts.map(|parts| parts.components().0),
            within_clusters: spread.parts.map(|parts| parts.components().1),
            lower: limit(-1.0)?,
            upper: limit(1.0)?,
        })
    }
}

/// Standard error of a limit as published in 1986: `sqrt(3 s^2 / n)`, with 3 for
/// `1 + 1.96^2 / 2`, about 2.92.
pub fn standard_error_1986(standard_deviation: f64, pairs: usize) -> f64 {
    (3.0 * standard_deviation.powi(2) / pairs as f64).sqrt()
}

/// Interval of `mean + factor sigma`.
fn quantile_interval(spread: &Spread, factor: f64, confidence: f64) -> Option<(f64, f64)> {
    let root = spread.effective.sqrt();
    let t = NoncentralT::new(spread.degrees_of_freedom, factor * root)?;
    let tail = 0.5 * (1.0 - confidence);
    let at = |p: f64| Some(spread.mean + t.quantile(p)? * spread.standard_deviation / root);
    Some((at(tail)?, at(1.0 - tail)?))
}
