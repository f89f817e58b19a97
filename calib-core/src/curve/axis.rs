//! From raw counts to the dimensionless count the models work in.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// `z = (count - origin) / unit`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Axis {
    /// Count at which `z` is zero.
    pub origin: f64,
    /// Counts per unit of `z`; positive.
    pub unit: f64,
}

impl Axis {
    /// Origin at the middle of `low..high`, one unit from there to either end,
    /// both rounded to whole counts so that a person can copy them.
    pub fn centred(low: f64, high: f64) -> Self {
        Self {
            origin: ((low + high) / 2.0).round(),
            unit: ((high - low).abs() / 2.0).round().max(1.0),
        }
    }

    /// Origin and unit both at the middle of `low..high`, so that `z = -1` is
    /// count zero.
    pub fn from_zero(low: f64, high: f64) -> Self {
        let middle = ((low + high) / 2.0).round().max(1.0);
        Self {
            origin: middle,
            unit: middle,
        }
    }

    /// The dimensionless count.
    pub fn z(&self, count: f64) -> f64 {
        (count - self.origin) / self.unit
    }

    /// The count at `z`.
    pub fn count(&self, z: f64) -> f64 {
        self.origin + self.unit * z
    }
}
