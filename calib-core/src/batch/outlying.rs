//! Which probes are not of the same kind as the rest of their batch.

use super::statistics_error::BatchStatisticsError;
use serde::{Deserialize, Serialize};

/// What the cores of one probe say of its deviation from the shared curve. Not
/// shrunk towards the other probes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ProbeEstimate {
    /// Offset, m3/m3.
    pub offset: f64,
    /// Gain: change of the deviation by 1 m3/m3.
    pub gain: f64,
    /// Sampling covariance of (offset, gain): from the probe's own cores.
    pub covariance: [[f64; 2]; 2],
}

/// The same where no gain is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OffsetEstimate {
    /// Offset, m3/m3.
    pub offset: f64,
    /// Its sampling variance.
    pub variance: f64,
}

/// How outlying probes are looked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OutlyingSettings {
    /// Probability that a batch without any outlying probe raises an alarm.
    pub false_alarms: f64,
    /// Batches to simulate for the cut-off; `None` for as many as are worth while.
    pub draws: Option<usize>,
    /// Seed of the simulation.
    pub seed: u64,
    /// Degrees of freedom of the residual scatter that the sampling covariances
    /// were reckoned from; `None` where it is as good as known.
    pub sampling_freedom: Option<f64>,
}

impl Default for OutlyingSettings {
    /// 5 % of batches.
    fn default() -> Self {
        OutlyingSettings {
            false_alarms: 0.05,
            draws: None,
            seed: 1,
            sampling_freedom: None,
        }
    }
}

/// One probe as seen from the middle of its batch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ProbeDistance {
    /// Robust distance, in standard deviations, its own sampling error allowed for.
    pub distance: f64,
    /// Probability that the farthest probe of a sound batch lies this far out or
    /// farther.
    pub p_value: f64,
    /// Whether it lies beyond the cut-off.
    pub outlying: bool,
}

/// Where the cut-off comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CutOffSource {
    /// The same estimator on simulated batches with these sampling covariances.
    Simulated,
    /// The distribution that the distances of a large batch approach.
    Approximated,
}

/// Every probe's distance from the middle of the batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outlying {
    /// In the order given.
    pub probes: Vec<ProbeDistance>,
    /// Distance beyond which a probe is outlying.
    pub cut_off: f64,
    /// Probability of any alarm in a sound batch.
    pub false_alarms: f64,
    /// Robust middle of (offset, gain); the gain is 0 where none is asked for.
    pub centre: [f64; 2],
    /// Robust covariance of the probes' true (offset, gain), sampling error taken
    /// off; zero where sampling error explains all.
    pub spread: [[f64; 2]; 2],
    /// Where the cut-off comes from.
    pub cut_off_source: CutOffSource,
    /// Batches simulated; 0 where none were.
    pub draws: usize,
}

/// Fewest probes among which an outlying one can be told.
pub const FEWEST_PROBES: usize = 5;

/// Outlying probes by offset and gain together.
///
/// # Errors
/// Fewer than [`FEWEST_PROBES`]; figures that are not finite or are no covariance;
/// more than half of the probes alike.
pub fn outlying(
    estimates: &[ProbeEstimate],
    settings: &OutlyingSettings,
) -> Result<Outlying, BatchStatisticsError> {
    let _ = settings;
    Err(BatchStatisticsError::TooFew {
        what: "probes",
        given: estimates.len(),
        needed: FEWEST_PROBES,
    })
}

/// Outlying probes by offset alone.
///
/// # Errors
/// As [`outlying`].
pub fn outlying_offsets(
    estimates: &[OffsetEstimate],
    settings: &OutlyingSettings,
) -> Result<Outlying, BatchStatisticsError> {
    let _ = settings;
    Err(BatchStatisticsError::TooFew {
        what: "probes",
        given: estimates.len(),
        needed: FEWEST_PROBES,
    })
}
