//! Repeatability and reproducibility anywhere between dry and wet, from the spread of
//! the probes, where [`precision`](super::precision::precision) needs levels that
//! repeat.

use super::mixed::Mixed;
use super::precision::LIMIT_FACTOR;
use schemars::JsonSchema;
use serde::Serialize;

/// The terms of ISO 5725-2 at one theta_v, m3/m3, a probe taking the place of the
/// standard's laboratory and a core of the same wetness that of the test result.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PrecisionAt {
    /// The place, m3/m3.
    pub theta_v: f64,
    /// `s_r`: one probe, other cores.
    pub repeatability_sd: f64,
    /// `s_L`: between probes.
    pub between_sd: f64,
    /// 95 % interval of `s_L`, where the likelihood sets one.
    pub between_interval: Option<(f64, f64)>,
    /// `s_R`: other probes, other cores.
    pub reproducibility_sd: f64,
    /// `r`: exceeded by two readings of one probe once in twenty times.
    pub repeatability_limit: f64,
    /// `R`: exceeded by readings of two probes once in twenty times.
    pub reproducibility_limit: f64,
}

/// The terms at `theta_v`.
pub fn precision_at(mixed: &Mixed, theta_v: f64) -> PrecisionAt {
    let core = mixed.core_sd.map_or(0.0, |core| core.value);
    let repeatability_sd = core.hypot(mixed.residual_sd.value);
    let between_sd = mixed.between_sd(theta_v);
    let reproducibility_sd = repeatability_sd.hypot(between_sd);
    PrecisionAt {
        theta_v,
        repeatability_sd,
        between_sd,
        between_interval: mixed.between_interval(theta_v),
        reproducibility_sd,
        repeatability_limit: LIMIT_FACTOR * repeatability_sd,
        reproducibility_limit: LIMIT_FACTOR * reproducibility_sd,
    }
}
