//! The mean difference and its test.

use super::sample::Interval;
use crate::uncertainty::Expanded;
use serde::{Deserialize, Serialize};

/// The mean difference, and whether it could be chance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    /// Both together, expanded to 95 %.
    pub expanded: Expanded,
    /// Whether the bias is larger than `expanded`: seen beyond chance and beyond what
    /// the references share.
    pub settled: bool,
}
