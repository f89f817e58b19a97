//! One calibration point: a core paired with the readings beside it.

use crate::quantity::{Celsius, Estimate, Vwc};
use crate::uncertainty::Budget;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A core's reference water content and the count read beside it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Observation {
    /// The core's identifier.
    pub sample: String,
    /// Moisture level it belongs to; cores of one level are near-replicates.
    pub level: String,
    /// Centre of the readings, counts, with the standard uncertainty of that
    /// centre (noise and quantisation).
    pub count: Estimate<f64>,
    /// Soil temperature over the readings, where logged.
    pub temperature: Option<Celsius>,
    /// Reference theta_v of the core. `u` holds only what differs from core to
    /// core (balance, drying); what all cores share (ring volume) is kept apart
    /// in `relative_volume_u`, since no number of cores averages it away.
    pub theta_v: Estimate<Vwc>,
    /// What `theta_v.u` is made of (balance, drying), m3/m3; empty where it is
    /// not itemised.
    pub budget: Budget,
    /// Relative standard uncertainty of the core's volume, shared by all cores
    /// cut with the same ring.
    pub relative_volume_u: f64,
}
