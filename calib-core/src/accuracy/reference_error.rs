//! The reference's own error taken off.

use super::sample::Interval;
use serde::{Deserialize, Serialize};

/// A root mean square with the reference's own part taken off, m3/m3.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Corrected {
    /// As observed.
    pub observed: f64,
    /// With the reference's mean square taken off; zero where nothing is left.
    pub value: f64,
    /// Whether more would have come off than there was, so that it was held at zero.
    pub floored: bool,
    /// Interval of `value`, clusters allowed for; the stated uncertainty is taken as
    /// known.
    pub interval: Interval,
}

/// What of the differences is the reference's own error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ReferenceError {
    /// Root mean square of the references' standard uncertainties, the part that
    /// differs from core to core, m3/m3.
    pub u: f64,
    /// Part of the mean square difference that this makes; may exceed 1.
    pub part_of_mean_square: f64,
    /// The root mean square difference.
    pub rmse: Corrected,
    /// The unbiased one.
    pub unbiased_rmse: Corrected,
}
