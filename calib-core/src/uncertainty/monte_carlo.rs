//! Propagation of distributions by Monte Carlo: JCGM 101:2008.
//!
//! Draws come in blocks of [`BLOCK`]. Blocks are added until the estimate, its
//! standard uncertainty and both ends of the interval are known to a stated
//! numerical tolerance (the adaptive procedure, 7.9.4). Clause numbers of JCGM
//! 101 are recalled from memory.
//!
//! Every block has a random stream of its own, chosen by seed and number, and
//! blocks are looked at in their order: the answer depends on the seed alone,
//! never on how many threads shared the work.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Draws a block: `max(J, 10^4)` with `J >= 100 / (1 - p)`, which for 95 % is
/// 10^4. JCGM 101:2008, 7.9.4 b).
pub const BLOCK: usize = 10_000;

/// Blocks drawn between two looks at the tolerance. The standard looks after
/// each; four at a time keep threads busy, and four are the fewest on which a
/// standard deviation over blocks says something.
const BLOCKS_A_LOOK: usize = 4;

/// The generator that a model draws from.
pub type Draws = ChaCha8Rng;

/// Which of the intervals that hold the coverage is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum IntervalKind {
    /// As many draws below it as above: JCGM 101:2008, 5.3.3 and 7.7.
    ProbabilisticallySymmetric,
    /// The narrowest that holds the coverage: JCGM 101:2008, 5.3.4 and 7.7. Where
    /// the density is symmetric, shifting it changes its width only to second
    /// order, so draws fix its width well and its place badly.
    Shortest,
}

/// How a model is to be drawn from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonteCarlo {
    /// Chooses the random streams.
    pub seed: u64,
    /// Numerical tolerance, in the unit of the result: drawing ends when twice
    /// the standard deviation of the mean over blocks is below it, for each of
    /// estimate, standard uncertainty and both ends.
    pub tolerance: f64,
    /// Coverage probability of the interval, between 0 and 1.
    pub coverage: f64,
    /// Which interval.
    pub interval: IntervalKind,
    /// Most blocks drawn, settled or not; taken as a multiple of four.
    pub most_blocks: usize,
}

impl MonteCarlo {
    /// Draws settled to `tolerance`, for the probabilistically symmetric 95 %
    /// interval, with a million draws at most.
    pub fn to_tolerance(tolerance: f64) -> Self {
        Self {
            seed: 101,
            tolerance,
            coverage: 0.95,
            interval: IntervalKind::ProbabilisticallySymmetric,
            most_blocks: 100,
        }
    }
}

/// What the draws of a model come to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Propagated {
    /// Mean of the draws: the estimate.
    pub estimate: f64,
    /// Standard deviation of the draws: the standard uncertainty.
    pub standard: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Coverage probability of the interval.
    pub coverage: f64,
    /// Which interval.
    pub interval: IntervalKind,
    /// Number of draws.
    pub draws: usize,
    /// Twice the largest standard deviation of the mean over blocks among
    /// estimate, standard uncertainty and both ends: how well they are known.
    pub numerical: f64,
    /// The tolerance asked for.
    pub tolerance: f64,
    /// Whether it was reached before the most blocks were drawn.
    pub settled: bool,
    /// The seed.
    pub seed: u64,
}

/// Whether a first-order result stands up to the draws.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Validation {
    /// How far the lower ends lie apart: `|y - U - y_low|`.
    pub low: f64,
    /// How far the upper ends lie apart: `|y + U - y_high|`.
    pub high: f64,
    /// The tolerance both are held to.
    pub tolerance: f64,
    /// Whether neither is above it.
    pub valid: bool,
}

/// Why a model could not be drawn from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MonteCarloError {
    /// The model has no value at some draws.
    #[error("{missing} of {draws} draws have no value")]
    NoValue {
        /// Draws without a value.
        missing: usize,
        /// Draws made.
        draws: usize,
    },
    /// A coverage that leaves no draw inside or none outside.
    #[error("a coverage of {coverage} is not between 0.001 and 0.999")]
    Coverage {
        /// The coverage asked for.
        coverage: f64,
    },
}

impl Propagated {
    /// Holds the interval `y - U` to `y + U` of first-order propagation against
    /// the draws: JCGM 101:2008, 8.1.
    pub fn validate(&self, y: f64, expanded: f64, tolerance: f64) -> Validation {
        let low = (y - expanded - self.low).abs();
        let high = (y + expanded - self.high).abs();
        Validation {
            low,
            high,
            tolerance,
            valid: low <= tolerance && high <= tolerance,
        }
    }
}

/// What is followed from block to block, and told of all draws in the end.
#[derive(Debug, Clone, Copy)]
struct Summary {
    estimate: f64,
    standard: f64,
    low: f64,
    high: f64,
}

impl Summary {
    /// Of draws, which are put in another order.
    fn of(values: &mut [f64], settings: &MonteCarlo) -> Self {
        let n = values.len() as f64;
        let estimate = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - estimate).powi(2)).sum();
        let (low, high) = ends(values, settings.coverage, settings.interval);
        Self {
            estimate,
            standard: (squares / (n - 1.0)).sqrt(),
            low,
            high,
        }
    }

    fn figures(&self) -> [f64; 4] {
        [self.estimate, self.standard, self.low, self.high]
    }
}

/// Draws `model` until its summary is known to the tolerance.
///
/// # Errors
/// [`MonteCarloError::NoValue`] if any draw is not finite,
/// [`MonteCarloError::Coverage`] if the coverage is no probability that blocks of
/// [`BLOCK`] draws can show.
///
/// # Example
/// ```
/// use calib_core::uncertainty::{MonteCarlo, propagate};
/// use rand_distr::{Distribution, StandardNormal};
///
/// let normal = propagate(&MonteCarlo::to_tolerance(0.02), |draws| StandardNormal.sample(draws))?;
/// assert!(normal.settled);
/// assert!((normal.high - 1.96).abs() < 0.02);
/// # Ok::<(), calib_core::uncertainty::MonteCarloError>(())
/// ```
pub fn propagate(
    settings: &MonteCarlo,
    model: impl Fn(&mut Draws) -> f64 + Sync,
) -> Result<Propagated, MonteCarloError> {
    let each = |draws: &mut Draws, out: &mut [f64]| out.fill(model(draws));
    propagate_together(settings, 1, each)
        .pop()
        .unwrap_or(Err(MonteCarloError::NoValue {
            missing: 0,
            draws: 0,
        }))
}

/// Draws a model of so many `outputs` until the summary of each is known to the
/// tolerance: all inputs are drawn once a draw and shared by the outputs, which
/// `model` writes. An output without a value at some draws is an error of its own
/// and keeps no other from its answer.
///
/// The same numbers serve every output, so what chance does to one it does to its
/// neighbours too: they can be told apart more finely than from draws of their own.
///
/// # Errors
/// As [`propagate`], output by output.
pub fn propagate_together(
    settings: &MonteCarlo,
    outputs: usize,
    model: impl Fn(&mut Draws, &mut [f64]) + Sync,
) -> Vec<Result<Propagated, MonteCarloError>> {
    let coverage = settings.coverage;
    if !(0.001..=0.999).contains(&coverage) {
        return vec![Err(MonteCarloError::Coverage { coverage }); outputs];
    }
    let looks = settings.most_blocks.div_ceil(BLOCKS_A_LOOK).max(1);
    let mut drawn = vec![Drawn::default(); outputs];
    for look in 0..looks {
        let first = look * BLOCKS_A_LOOK;
        let blocks: Vec<Vec<(Vec<f64>, Summary)>> = (first..first + BLOCKS_A_LOOK)
            .into_par_iter()
            .map(|number| block(settings, number, outputs, &model))
            .collect();
        for block in blocks {
            for (output, (values, summary)) in drawn.iter_mut().zip(block) {
                output.take(values, summary);
            }
        }
        let open = |output: &Drawn| output.missing == 0 && output.numerical() >= settings.tolerance;
        if !drawn.iter().any(open) {
            break;
        }
    }
    drawn
        .into_par_iter()
        .map(|output| output.told(settings))
        .collect()
}

/// The draws of one output so far.
#[derive(Clone, Default)]
struct Drawn {
    values: Vec<f64>,
    missing: usize,
    blocks: Vec<Summary>,
}

impl Drawn {
    fn take(&mut self, values: Vec<f64>, summary: Summary) {
        self.missing += values.iter().filter(|value| !value.is_finite()).count();
        self.values.extend(values);
        self.blocks.push(summary);
    }

    fn numerical(&self) -> f64 {
        numerical_uncertainty(&self.blocks)
    }

    fn told(mut self, settings: &MonteCarlo) -> Result<Propagated, MonteCarloError> {
        let (missing, draws) = (self.missing, self.values.len());
        if missing > 0 {
            return Err(MonteCarloError::NoValue { missing, draws });
        }
        let numerical = self.numerical();
        let all = Summary::of(&mut self.values, settings);
        Ok(Propagated {
            estimate: all.estimate,
            standard: all.standard,
            low: all.low,
            high: all.high,
            coverage: settings.coverage,
            interval: settings.interval,
            draws,
            numerical,
            tolerance: settings.tolerance,
            settled: numerical < settings.tolerance,
            seed: settings.seed,
        })
    }
}

/// One block of every output, with its summary.
fn block(
    settings: &MonteCarlo,
    number: usize,
    outputs: usize,
    model: &(impl Fn(&mut Draws, &mut [f64]) + Sync),
) -> Vec<(Vec<f64>, Summary)> {
    let mut draws = ChaCha8Rng::seed_from_u64(settings.seed);
    draws.set_stream(number as u64);
    let mut values = vec![Vec::with_capacity(BLOCK); outputs];
    let mut out = vec![0.0; outputs];
    for _ in 0..BLOCK {
        model(&mut draws, &mut out);
        for (values, value) in values.iter_mut().zip(&out) {
            values.push(*value);
        }
    }
    values
        .into_iter()
        .map(|mut values| {
            let summary = Summary::of(&mut values, settings);
            (values, summary)
        })
        .collect()
}

/// Twice the standard deviation of the mean over blocks, of whichever figure is
/// known worst: JCGM 101:2008, 7.9.4 g) to i).
fn numerical_uncertainty(blocks: &[Summary]) -> f64 {
    let h = blocks.len() as f64;
    (0..4)
        .map(|figure| {
            let values = || blocks.iter().map(|block| block.figures()[figure]);
            let mean = values().sum::<f64>() / h;
            let squares: f64 = values().map(|v| (v - mean).powi(2)).sum();
            2.0 * (squares / (h * (h - 1.0))).sqrt()
        })
        .fold(0.0, f64::max)
}

/// The ends of the interval that holds `coverage` of the values: JCGM 101:2008,
/// 7.7. The values are put in another order.
fn ends(values: &mut [f64], coverage: f64, kind: IntervalKind) -> (f64, f64) {
    let inside = (coverage * values.len() as f64).round() as usize;
    let outside = values.len().saturating_sub(inside);
    match kind {
        IntervalKind::ProbabilisticallySymmetric => {
            let below = outside.div_ceil(2).saturating_sub(1);
            let mut at = |place| *values.select_nth_unstable_by(place, f64::total_cmp).1;
            (at(below), at(below + inside))
        }
        IntervalKind::Shortest => {
            values.sort_unstable_by(f64::total_cmp);
            values
                .iter()
                .zip(values.iter().skip(inside))
                .map(|(low, high)| (*low, *high))
                .min_by(|a, b| f64::total_cmp(&(a.1 - a.0), &(b.1 - b.0)))
                .unwrap_or((f64::NEG_INFINITY, f64::INFINITY))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::RngExt;
    use rand_distr::{Distribution, StandardNormal};

    fn normal(draws: &mut Draws) -> f64 {
        StandardNormal.sample(draws)
    }

    fn rectangular(draws: &mut Draws) -> f64 {
        draws.random_range(-(3.0_f64.sqrt())..3.0_f64.sqrt())
    }

    /// Four rectangular inputs, one of them ten times as wide as the others.
    fn one_wide_rectangle(interval: IntervalKind) -> Propagated {
        let settings = MonteCarlo {
            interval,
            ..MonteCarlo::to_tolerance(0.1)
        };
        let three = |draws: &mut Draws| (0..3).map(|_| rectangular(draws)).sum::<f64>();
        propagate(&settings, |draws| 10.0 * rectangular(draws) + three(draws)).unwrap()
    }

    /// JCGM 101:2008, 9.2, the additive model of four inputs, each with
    /// expectation 0 and standard deviation 1: u = 2.0 and the shortest 95 %
    /// interval +-3.92 where all are normal (9.2.2), +-3.88 where all are
    /// rectangular (9.2.3); with one rectangle ten times as wide as the others,
    /// u = 10.1 and +-17.0 (9.2.4). Values recalled from memory.
    #[test]
    fn the_additive_model_of_the_guide_gives_its_intervals() {
        let settings = MonteCarlo {
            interval: IntervalKind::Shortest,
            most_blocks: 400,
            ..MonteCarlo::to_tolerance(0.02)
        };
        let sum = |of: fn(&mut Draws) -> f64| {
            propagate(&settings, |draws| (0..4).map(|_| of(draws)).sum()).unwrap()
        };
        for (found, expected) in [(sum(normal), 3.92), (sum(rectangular), 3.88)] {
            assert!(found.settled && found.draws > BLOCK);
            assert!((found.standard - 2.0).abs() < 0.01, "{found:?}");
            // The width is known far better than where it lies.
            let half_width = 0.5 * (found.high - found.low);
            assert!((half_width - expected).abs() < 0.01, "{found:?}");
            assert!((found.high - expected).abs() < 0.1, "{found:?}");
        }
        let wide = one_wide_rectangle(IntervalKind::Shortest);
        assert!((wide.standard - 10.1).abs() < 0.1, "{wide:?}");
        assert!((wide.high - 17.0).abs() < 0.15, "{wide:?}");
    }

    #[test]
    fn first_order_stands_for_normal_inputs_and_falls_for_rectangular_ones() {
        // JCGM 101:2008, 9.2.2 to 9.2.4, tolerances as there; recalled from
        // memory: U = 3.92, and 19.8 where one rectangle rules.
        let settings = MonteCarlo {
            most_blocks: 400,
            ..MonteCarlo::to_tolerance(0.01)
        };
        let four = propagate(&settings, |draws| (0..4).map(|_| normal(draws)).sum()).unwrap();
        assert!(four.validate(0.0, 3.92, 0.05).valid);
        let wide = one_wide_rectangle(IntervalKind::ProbabilisticallySymmetric);
        let verdict = wide.validate(0.0, 19.8, 0.5);
        assert!(!verdict.valid && verdict.low > 2.0 && verdict.high > 2.0);
    }

    #[test]
    fn the_shortest_interval_leans_to_where_the_draws_crowd() {
        // An exponential distribution: shortest 0 to -ln 0.05, symmetric
        // -ln 0.975 to -ln 0.025.
        let drawn = |interval| {
            let settings = MonteCarlo {
                interval,
                ..MonteCarlo::to_tolerance(0.02)
            };
            propagate(&settings, |draws| -(1.0 - draws.random::<f64>()).ln())
        };
        let shortest = drawn(IntervalKind::Shortest).unwrap();
        assert!(shortest.low < 0.01 && (shortest.high - 2.996).abs() < 0.05);
        let symmetric = drawn(IntervalKind::ProbabilisticallySymmetric).unwrap();
        assert!((symmetric.low - 0.0253).abs() < 0.005);
        assert!((symmetric.high - 3.689).abs() < 0.05);
    }

    #[test]
    fn the_answer_does_not_depend_on_the_number_of_threads() {
        let on = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| propagate(&MonteCarlo::to_tolerance(0.01), normal).unwrap())
        };
        let alone = on(1);
        assert_eq!(alone, on(2));
        assert_eq!(alone, on(7));
        let other_seed = MonteCarlo {
            seed: 102,
            ..MonteCarlo::to_tolerance(0.01)
        };
        assert_ne!(alone, propagate(&other_seed, normal).unwrap());
    }

    #[test]
    fn a_finer_tolerance_takes_more_draws_and_comes_nearer() {
        let coarse = propagate(&MonteCarlo::to_tolerance(0.05), normal).unwrap();
        let fine = propagate(&MonteCarlo::to_tolerance(0.01), normal).unwrap();
        assert!(coarse.draws < fine.draws);
        assert!(fine.numerical < 0.01 && fine.settled);
        assert!((fine.high - 1.960).abs() < 0.01 && (fine.low + 1.960).abs() < 0.01);
    }

    #[test]
    fn draws_that_do_not_settle_say_so() {
        let settings = MonteCarlo {
            most_blocks: 6,
            ..MonteCarlo::to_tolerance(1e-9)
        };
        let found = propagate(&settings, normal).unwrap();
        assert!(!found.settled);
        assert_eq!(found.draws, 8 * BLOCK);
    }

    #[test]
    fn a_model_without_a_value_is_an_error_and_no_number() {
        let settings = MonteCarlo::to_tolerance(0.1);
        let error = propagate(&settings, |draws| normal(draws).sqrt()).unwrap_err();
        assert!(matches!(
            error,
            MonteCarloError::NoValue { missing, draws: 40_000 } if missing > 19_000
        ));
        for coverage in [0.0, 1.0, f64::NAN] {
            let settings = MonteCarlo {
                coverage,
                ..settings
            };
            assert!(matches!(
                propagate(&settings, normal),
                Err(MonteCarloError::Coverage { .. })
            ));
        }
    }

    #[test]
    fn outputs_drawn_together_are_those_drawn_alone_and_one_without_a_value_spoils_no_other() {
        let settings = MonteCarlo::to_tolerance(0.02);
        let together = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| {
                propagate_together(&settings, 3, |draws, out| {
                    let drawn = normal(draws);
                    out.copy_from_slice(&[drawn, drawn.sqrt(), 1.0 + drawn]);
                })
            })
        };
        let found = together(1);
        assert_eq!(found, together(2));
        assert_eq!(found, together(5));
        assert_eq!(found[0], propagate(&settings, normal));
        assert!(matches!(found[1], Err(MonteCarloError::NoValue { .. })));
        let (first, third) = (found[0].as_ref().unwrap(), found[2].as_ref().unwrap());
        assert!((third.high - first.high - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_constant_is_known_exactly() {
        let found = propagate(&MonteCarlo::to_tolerance(1e-6), |_| 0.25).unwrap();
        assert_eq!((found.low, found.high, found.standard), (0.25, 0.25, 0.0));
        assert!(found.settled && found.validate(0.25, 0.0, 0.0).valid);
    }
}
