//! A figure with the range it may lie in.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A figure and its 95 % confidence interval, in the unit of the figure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WithInterval {
    /// The estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end; `None` where the data set no upper bound.
    pub high: Option<f64>,
}
