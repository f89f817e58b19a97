//! Proportional bias.

use super::sample::Interval;
use serde::{Deserialize, Serialize};

/// A straight line of one quantity on another, clusters allowed for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ProportionalBias {
    /// Slope of the true reading on the true water content: 1 where there is no
    /// proportional bias. The pull towards zero by the reference's error is taken off.
    pub slope: Slope,
    /// Slope before that pull was taken off.
    pub slope_as_observed: f64,
    /// Share of the references' variance that is water and not their own error.
    pub reliability: f64,
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
