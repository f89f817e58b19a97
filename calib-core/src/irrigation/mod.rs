//! From soil water and calibration to the numbers a controller switches on.

use crate::quantity::{Fraction, Millimetre, Vwc};
use serde::{Deserialize, Serialize};

/// What decided the width of the dead band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DeadBandGovernor {
    /// The allowed depletion of the soil's available water.
    AllowedDepletion,
    /// What the probe can resolve in this soil.
    ProbeResolution,
}

/// Refill and stop with what they mean in water and time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetPoints {
    /// Start irrigating when theta_v falls to this.
    pub refill: Vwc,
    /// Stop when theta_v reaches this.
    pub stop: Vwc,
    /// `refill` as a raw count at the reference temperature.
    pub refill_count: f64,
    /// `stop` as a raw count at the reference temperature.
    pub stop_count: f64,
    /// Smallest change of theta_v the probe resolves at the refill point, m3/m3.
    pub resolvable: f64,
    /// What decided the width of the dead band.
    pub governor: DeadBandGovernor,
    /// Allowed depletion, share of available water.
    pub allowed_depletion: Fraction,
    /// Root depth the depth of water is reckoned over.
    pub root_depth: Millimetre,
    /// Depth of water from refill to stop over the root depth.
    pub net_depth: Millimetre,
}
