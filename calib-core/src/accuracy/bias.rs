//! The mean difference and its test.

use super::clustered::mean;
use super::error::AccuracyError;
use super::sample::{Interval, Sample, check, cluster_numbers};
use crate::uncertainty::{Budget, Expanded, Source};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The mean difference, and whether it could be chance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Bias {
    /// Mean of reading minus reference, m3/m3.
    pub value: f64,
    /// Its standard error, clusters allowed for, m3/m3.
    pub standard_error: f64,
    /// Degrees of freedom of the standard error.
    pub degrees_of_freedom: f64,
    /// Interval of the mean difference, from scatter alone.
    pub interval: Interval,
    /// Probability of so large a mean difference were there none.
    pub p_value: f64,
    /// Standard uncertainty that all references share (the ring's volume) carried to
    /// the bias: mean of relative volume uncertainty times theta_v, m3/m3. No number
    /// of cores averages it away. A calibration made with the same ring shares it too;
    /// then it cancels here, and is still in every reading.
    pub shared_reference_u: f64,
    /// Both together, expanded to the confidence of `interval`.
    pub expanded: Expanded,
    /// Whether the bias is larger than `expanded`: seen beyond chance and beyond what
    /// the references share.
    pub settled: bool,
}

/// Fewest clusters that a test of the mean difference is made with: with fewer, its
/// degrees of freedom are too few to see anything (our choice).
pub const FEWEST_FOR_BIAS: usize = 4;

impl Bias {
    /// The mean difference of `samples`, each pair counting alike.
    ///
    /// # Errors
    /// [`AccuracyError::TooFewClusters`] below [`FEWEST_FOR_BIAS`] or where one cluster
    /// has nearly all pairs, [`AccuracyError::NoScatter`], [`AccuracyError::NotFinite`].
    pub fn of(samples: &[Sample], confidence: f64) -> Result<Self, AccuracyError> {
        check(samples, FEWEST_FOR_BIAS)?;
        let (cluster, clusters) = cluster_numbers(samples);
        if clusters < FEWEST_FOR_BIAS {
            return Err(AccuracyError::TooFewClusters {
                clusters,
                needed: FEWEST_FOR_BIAS,
                purpose: "a test of the mean difference".into(),
            });
        }
        let differences: Vec<f64> = samples.iter().map(Sample::difference).collect();
        let found = mean(&differences, &cluster, clusters).ok_or(AccuracyError::NoScatter)?;
        let shared_reference_u = samples
            .iter()
            .map(|sample| sample.relative_volume_u * sample.reference_value())
            .sum::<f64>()
            .abs()
            / samples.len() as f64;
        let mut budget = Budget::default();
        budget.add_estimated(
            Source::CoreScatter,
            found.standard_error,
            found.degrees_of_freedom,
        );
        budget.add_known(Source::CoreVolume, shared_reference_u);
        let expanded = budget.expand(confidence);
        Ok(Self {
            value: found.value,
            standard_error: found.standard_error,
            degrees_of_freedom: found.degrees_of_freedom,
            interval: found.interval(confidence),
            p_value: found.p_value(0.0),
            shared_reference_u,
            expanded,
            settled: found.value.abs() > expanded.expanded,
        })
    }
}
