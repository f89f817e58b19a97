//! Accuracy class and target.

use serde::{Deserialize, Serialize};

/// Half widths of the accuracy classes, m3/m3. Our own ladder; no standard sets one.
pub const LADDER: [f64; 6] = [0.01, 0.015, 0.02, 0.03, 0.05, 0.1];

/// What the bound of a share rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Differences are normal, with any mean.
    #[default]
    Normal,
    /// Nothing is assumed; readings within the target are counted.
    Counted,
}

/// Whether a target is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// With the confidence asked for, at least the share asked for is within it.
    Meets,
    /// With the confidence asked for, less than that share is.
    DoesNotMeet,
    /// Neither can be said of these cores.
    NotSettled,
}

/// Share of readings within a target.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// Best estimate.
    pub estimate: f64,
    /// Lower bound with the confidence asked for (one-sided).
    pub lower: f64,
    /// Upper bound with the confidence asked for (one-sided).
    pub upper: f64,
}

/// What can be said of one target.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TargetStatement {
    /// Half width, m3/m3: a reading is good if it is within this of the core.
    pub target: f64,
    /// Readings within it.
    pub within: usize,
    /// Of how many.
    pub of: usize,
    /// By counting (Clopper and Pearson 1934; with clusters by the effective number).
    pub counted: Share,
    /// By normal theory.
    pub normal: Share,
    /// The verdict, on the basis asked for.
    pub verdict: Verdict,
    /// Where not settled: how many more places (or cores) would settle it if they were
    /// like these; `None` where settled, or where more than [`MOST_MORE`] are needed.
    pub more_clusters: Option<usize>,
}

/// The accuracy class of the readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClassStatement {
    /// Share of readings that must be within the target.
    pub share: f64,
    /// Confidence of every bound, one-sided.
    pub confidence: f64,
    /// What the verdicts rest on.
    pub basis: Basis,
    /// The user's target, where there is one.
    pub target: Option<TargetStatement>,
    /// Every class of [`LADDER`], narrowest first.
    pub ladder: Vec<TargetStatement>,
    /// The narrowest class met, all wider ones being met too; `None` if not even the
    /// widest is.
    pub class: Option<f64>,
    /// The half width that is just met: [`ClassStatement::share`] of readings are
    /// within it with the confidence asked for, by normal theory, m3/m3.
    pub just_met: f64,
}

/// Most further places that a verdict is looked for with.
pub const MOST_MORE: usize = 10_000;
