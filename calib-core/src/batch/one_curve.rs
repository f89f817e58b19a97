//! May these probes share a curve?

use super::arrow::{Arrow, Scaling};
use super::columns::Columns;
use super::error::BatchError;
use super::pool::Pool;
use schemars::JsonSchema;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Probability below which probes are said to differ.
pub const LEVEL: f64 = 0.05;

/// How much of a curve each probe has to itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OneCurve {
    /// Whether counts were brought onto one scale by two media first.
    pub normalised: bool,
    /// Probes.
    pub probes: usize,
    /// Pairs.
    pub pairs: usize,
    /// From one curve for all to one each. Where the shared curve is a straight line
    /// the last two are the same.
    pub stages: Vec<Stage>,
    /// One curve against an offset; offset against offset and gain; one curve, offset,
    /// and offset and gain against one curve each: as far as the pairs determine them.
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
/// The extra sum of squares that a probe's own columns explain is set against what
/// they leave, both divided by the columns that the data determine (Draper and Smith,
/// Applied Regression Analysis, "extra sum of squares" principle; recalled from
/// memory). Where cores are shared, what is peculiar to each is taken off first, so
/// that an error of its theta_v does not pass for one of the probes.
///
/// `enough` asks two questions at each step (a little more of the same kind, and
/// everything) and so halves [`LEVEL`] for each: where one curve is enough it says
/// otherwise at most five times in a hundred.
///
/// # Errors
/// [`BatchError::NoFreedom`] where not even offsets can be judged,
/// [`BatchError::NoScatter`], [`BatchError::TooInterlaced`].
pub fn one_curve(pool: &Pool) -> Result<OneCurve, BatchError> {
    let columns = Columns::of(pool);
    let stages: Vec<Stage> = STAGES
        .into_iter()
        .map(|sharing| stage(&columns, sharing))
        .collect::<Result<_, _>>()?;
    let pairs = pool.deviations.len();
    let weight: f64 = pool.deviations.iter().map(|d| d.weight).sum();
    let tests = tests(&stages, pairs, weight, pool.largest_deviation(), &PAIRED)?;
    Ok(OneCurve {
        normalised: pool.normalised,
        probes: pool.probes.len(),
        pairs,
        enough: enough(&stages, &tests),
        stages,
        tests,
    })
}

/// From the fewest columns to the most.
const STAGES: [Sharing; 4] = [
    Sharing::OneCurve,
    Sharing::OwnOffset,
    Sharing::OwnOffsetAndGain,
    Sharing::OwnCurve,
];

/// Which is tested against which.
const PAIRED: [(Sharing, Sharing); 5] = [
    (Sharing::OneCurve, Sharing::OwnOffset),
    (Sharing::OwnOffset, Sharing::OwnOffsetAndGain),
    (Sharing::OneCurve, Sharing::OwnCurve),
    (Sharing::OwnOffset, Sharing::OwnCurve),
    (Sharing::OwnOffsetAndGain, Sharing::OwnCurve),
];

/// Residual as a share of the largest deviation below which it is rounding.
pub(super) const ROUNDING: f64 = 1e-12;

pub(super) fn stage(columns: &Columns, sharing: Sharing) -> Result<Stage, BatchError> {
    let own = columns.for_tests(sharing);
    let arrow = Arrow::of(&columns.rows(&own))?;
    let reduced = arrow.reduce(Scaling::Fixed);
    let effects = reduced.rank + reduced.rank_shared;
    let freedom = arrow.pairs().saturating_sub(effects) as f64;
    Ok(Stage {
        sharing,
        effects,
        freedom,
        sum_of_squares: reduced.sum_of_squares,
        residual_sd: if freedom > 0.0 {
            (reduced.sum_of_squares / freedom).sqrt()
        } else {
            0.0
        },
    })
}

/// The tests that the stages allow. `weight` is that of all pairs together, `largest`
/// the largest deviation.
pub(super) fn tests(
    stages: &[Stage],
    pairs: usize,
    weight: f64,
    largest: f64,
    paired: &[(Sharing, Sharing)],
) -> Result<Vec<SharingTest>, BatchError> {
    let find = |sharing| stages.iter().find(|stage| stage.sharing == sharing);
    let mut tests = Vec::new();
    for (enough, against) in paired {
        let Some((small, large)) = find(*enough).zip(find(*against)) else {
            continue;
        };
        let extra_freedom = small.freedom - large.freedom;
        if large.freedom < 1.0 || extra_freedom < 1.0 {
            continue;
        }
        if large.residual_sd <= ROUNDING * largest {
            return Err(BatchError::NoScatter {
                residual: large.residual_sd,
            });
        }
        let extra = (small.sum_of_squares - large.sum_of_squares).max(0.0);
        let variance = large.sum_of_squares / large.freedom;
        let f = extra / extra_freedom / variance;
        let p_value = FisherSnedecor::new(extra_freedom, large.freedom)
            .map_or(1.0, |distribution| distribution.sf(f));
        tests.push(SharingTest {
            enough: *enough,
            against: *against,
            f,
            extra_freedom,
            freedom: large.freedom,
            p_value,
            likelihood_ratio: pairs as f64 * (f * extra_freedom / large.freedom).ln_1p(),
            spread: ((extra - extra_freedom * variance) / weight)
                .max(0.0)
                .sqrt(),
            needed: p_value < LEVEL,
        });
    }
    if tests.is_empty() {
        let most = stages.iter().map(|stage| stage.effects).max();
        return Err(BatchError::NoFreedom {
            pairs,
            effects: most.unwrap_or(0),
        });
    }
    Ok(tests)
}

/// The first stage that no test says is too little, each at half of [`LEVEL`] where
/// there are two.
fn enough(stages: &[Stage], tests: &[SharingTest]) -> Sharing {
    let is_enough = |stage: &&Stage| {
        let mut mine: Vec<&SharingTest> = tests
            .iter()
            .filter(|test| test.enough == stage.sharing)
            .collect();
        // Where an offset and a gain make a curve of its own, the two are one test.
        mine.dedup_by_key(|test| test.extra_freedom);
        mine.iter()
            .all(|test| test.p_value >= LEVEL / mine.len() as f64)
    };
    stages
        .iter()
        .find(is_enough)
        .map_or(Sharing::OwnCurve, |stage| stage.sharing)
}

impl Pool {
    pub(super) fn largest_deviation(&self) -> f64 {
        self.deviations
            .iter()
            .fold(0.0, |largest, d| largest.max(d.deviation.abs()))
    }
}
