//! May these probes share a curve?

use super::error::BatchError;
use super::pool::Pool;
use serde::Serialize;

/// Probability below which probes are said to differ.
pub const LEVEL: f64 = 0.05;

/// How much of a curve each probe has to itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sharing {
    /// One curve for all.
    OneCurve,
    /// One shape, shifted in theta_v for each probe.
    OwnOffset,
    /// One shape, shifted and stretched for each probe.
    OwnOffsetAndGain,
    /// Each probe a curve of its own, of the shared kind.
    OwnCurve,
}

/// What one way of sharing leaves unexplained.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stage {
    /// The way.
    pub sharing: Sharing,
    /// Effects the data determine: shared, of the probes, of shared cores.
    pub effects: usize,
    /// Pairs less effects.
    pub freedom: f64,
    /// Weighted sum of squares left, (m3/m3)^2.
    pub sum_of_squares: f64,
    /// Standard deviation left, of a pair of weight 1, m3/m3.
    pub residual_sd: f64,
}

/// Does a probe need more to itself? The extra sum of squares against what is left.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SharingTest {
    /// What is held to be enough.
    pub enough: Sharing,
    /// What is tried against it.
    pub against: Sharing,
    /// Ratio of the mean squares.
    pub f: f64,
    /// Degrees of freedom of the extra effects.
    pub extra_freedom: f64,
    /// Degrees of freedom of what is left.
    pub freedom: f64,
    /// Probability of a ratio this large were `enough` enough.
    pub p_value: f64,
    /// Twice the logarithm of the likelihood ratio. It rises with F and nothing
    /// else, so `p_value` is its probability too, exact where chi-square's is not.
    pub likelihood_ratio: f64,
    /// How far probes lie apart by the extra effects, chance taken off: standard
    /// deviation over the pairs, m3/m3; zero where chance explains it all.
    pub spread: f64,
    /// Whether `p_value` is below [`LEVEL`].
    pub needed: bool,
}

/// Whether probes may share a curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OneCurve {
    /// Whether counts were brought onto one scale by two media first.
    pub normalised: bool,
    /// Probes.
    pub probes: usize,
    /// Pairs.
    pub pairs: usize,
    /// From one curve for all to one each, as far as the pairs determine them.
    pub stages: Vec<Stage>,
    /// One curve against an offset; offset against offset and gain; one curve
    /// against one each; offset against one curve each: as far as there are stages.
    pub tests: Vec<SharingTest>,
    /// The least that is enough: where no test against [`Sharing::OneCurve`] says
    /// otherwise, one curve; else the first stage that nothing says is too little.
    pub enough: Sharing,
}

impl OneCurve {
    /// The test of `enough` against `against`, where there is one.
    pub fn test(&self, enough: Sharing, against: Sharing) -> Option<&SharingTest> {
        self.tests
            .iter()
            .find(|test| test.enough == enough && test.against == against)
    }
}

/// Tests whether the probes of a pool may share its curve.
///
/// # Errors
/// [`BatchError::NoFreedom`] where not even offsets can be judged,
/// [`BatchError::NoScatter`], [`BatchError::TooInterlaced`].
pub fn one_curve(pool: &Pool) -> Result<OneCurve, BatchError> {
    Err(BatchError::NoFreedom {
        pairs: pool.deviations.len(),
        effects: 0,
    })
}
