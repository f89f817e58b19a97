//! Probes in the order of how far they lie from the shared curve, and how sure that
//! order is.

use super::outlying::ProbeEstimate;
use super::statistics_error::BatchStatisticsError;
use serde::{Deserialize, Serialize};

/// Mean of `z` and of its square over the range that matters, `z` being theta_v
/// less the value at which offsets are stated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RangeMoments {
    /// Mean of `z`, m3/m3.
    pub mean: f64,
    /// Mean of its square.
    pub mean_square: f64,
}

impl RangeMoments {
    /// Every value between `low` and `high` alike.
    pub fn even(low: f64, high: f64) -> RangeMoments {
        RangeMoments {
            mean: low.midpoint(high),
            mean_square: (low * low + low * high + high * high) / 3.0,
        }
    }
}

/// What the batch as a whole is like: where each probe's true (offset, gain) comes
/// from, before its own cores are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Population {
    /// Mean of (offset, gain).
    pub centre: [f64; 2],
    /// Their covariance between probes.
    pub spread: [[f64; 2]; 2],
}

/// How the order is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RankingSettings {
    /// Draws; `None` for as many as are worth while.
    pub draws: Option<usize>,
    /// Seed.
    pub seed: u64,
}

impl Default for RankingSettings {
    fn default() -> Self {
        RankingSettings {
            draws: None,
            seed: 1,
        }
    }
}

/// The place of one probe.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Placed {
    /// Root mean square deviation from the shared curve over the range, sampling
    /// error allowed for, m3/m3: the median of the draws.
    pub deviation: f64,
    /// Lower end of its 95 % interval.
    pub deviation_low: f64,
    /// Upper end of its 95 % interval.
    pub deviation_high: f64,
    /// Place by `deviation`, 1 for the probe nearest to the shared curve.
    pub rank: usize,
    /// Lower end of the 95 % interval of its rank.
    pub rank_low: usize,
    /// Upper end of the 95 % interval of its rank.
    pub rank_high: usize,
}

/// Every probe's place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ranking {
    /// In the order given.
    pub probes: Vec<Placed>,
    /// Share of draws in which every rank at once lies in its interval. Each
    /// interval holds its own probe 95 times in a hundred; all together hold less
    /// often, and this is how often.
    pub all_held: f64,
    /// Draws.
    pub draws: usize,
}

/// The order of the probes.
///
/// # Errors
/// Fewer than two probes; figures that are not finite or are no covariance.
pub fn ranking(
    estimates: &[ProbeEstimate],
    range: &RangeMoments,
    population: Option<&Population>,
    settings: &RankingSettings,
) -> Result<Ranking, BatchStatisticsError> {
    let _ = (range, population, settings);
    Err(BatchStatisticsError::TooFew {
        what: "probes",
        given: estimates.len(),
        needed: 2,
    })
}
