//! Do cores keep to one side of the curve for long stretches as the soil dries?

use super::model_fit::ModelFit;
use super::residual::{ALL_BUT_ONE, Residual};
use schemars::JsonSchema;
use serde::Serialize;
use statrs::function::factorial::ln_binomial;
use std::collections::BTreeMap;

/// Probability below which a pattern along the drying order is spoken of: a workbench
/// has several probes, and each would show one by chance (our choice).
pub const PATTERN_LEVEL: f64 = 0.01;

/// A residual this small, in its own standard deviations, is rounding and lies on
/// neither side.
const ROUNDING: f64 = 1e-9;

/// The cores in the order the soil dries, by the side of the curve they lie on.
///
/// Levels are in the order of the curve's mean theta_v for them, cores of one level
/// as they were given. Put in order by what the oven found, cores would lie above
/// the curve first and below it later in every level, whatever the curve; by the
/// curve's own theta_v, the other way round, for a probe feels other soil than the
/// ring cuts.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DryingOrder {
    /// Cores wetter than the curve says.
    pub above: u64,
    /// Cores drier than the curve says.
    pub below: u64,
    /// Unbroken stretches of one side.
    pub runs: u64,
    /// Probability of so few runs or fewer, were the sides in random order.
    pub p_value: f64,
    /// Cores of the longest stretch, wettest first.
    pub longest: Vec<String>,
    /// Whether the longest stretch lies above the curve.
    pub longest_above: bool,
}

/// The runs of signs along the drying order; `None` where all cores lie on one
/// side, or all but one, so that no order of theirs would be a surprise.
///
/// The probability is exact, from the number of ways in which so many cores of
/// either side make so many runs (Wald and Wolfowitz 1940, Ann. Math. Stat.
/// 11:147; recalled from memory). Only few runs are tested for: a curve of the
/// wrong bend and a drift make few; nothing in the soil makes many. Residuals of
/// one fit are not quite independent, they rather alternate, which keeps false
/// alarms below the stated level.
pub fn drying_order(fit: &ModelFit) -> Option<DryingOrder> {
    let mut cores: Vec<&Residual> = fit
        .residuals
        .iter()
        .filter(|core| core.standardised.abs() > ROUNDING && core.leverage < ALL_BUT_ONE)
        .collect();
    let mut levels: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for core in &cores {
        let (sum, count) = levels.entry(&core.level).or_default();
        *sum += core.fitted;
        *count += 1.0;
    }
    let wetness = |core: &Residual| levels.get(core.level.as_str()).map_or(0.0, |(s, n)| s / n);
    // Stable: cores of a level stay as they are.
    cores.sort_by(|a, b| wetness(b).total_cmp(&wetness(a)));
    let is_above = |core: &&Residual| core.standardised > 0.0;
    let above = cores.iter().filter(|core| is_above(core)).count() as u64;
    let below = cores.len() as u64 - above;
    if above.min(below) < 2 {
        return None;
    }
    let stretches: Vec<&[&Residual]> = cores.chunk_by(|a, b| is_above(a) == is_above(b)).collect();
    let runs = stretches.len() as u64;
    // The first of equals.
    let longest = stretches.iter().rev().max_by_key(|s| s.len())?;
    Some(DryingOrder {
        above,
        below,
        runs,
        p_value: (2..=runs)
            .map(|r| probability_of(r, above, below))
            .sum::<f64>()
            .min(1.0),
        longest: longest.iter().map(|core| core.sample.clone()).collect(),
        longest_above: longest.first().is_some_and(is_above),
    })
}

/// Probability of exactly `runs` runs among `above` and `below` signs (both at
/// least one) in random order.
fn probability_of(runs: u64, above: u64, below: u64) -> f64 {
    // Ways to cut `n` signs into `k` stretches, over all ways to place them.
    let ways = |n: u64, k: u64| {
        if k == 0 || k > n {
            f64::NEG_INFINITY
        } else {
            ln_binomial(n - 1, k - 1)
        }
    };
    let all = ln_binomial(above + below, above);
    let pair = |a: u64, b: u64| (ways(above, a) + ways(below, b) - all).exp();
    let half = runs / 2;
    if runs.is_multiple_of(2) {
        2.0 * pair(half, half)
    } else {
        pair(half + 1, half) + pair(half, half + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::CurveKind;
    use crate::fit::{Loss, Observation, fit_curve};
    use crate::quantity::{Estimate, Quantity, Vwc};
    use crate::uncertainty::Budget;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn the_distribution_is_that_of_writing_every_order_down() {
        for (above, below) in [(2_u64, 2_u64), (3, 5), (6, 4), (7, 7)] {
            let n = above + below;
            let mut ways = vec![0_u32; n as usize + 2];
            let mut all = 0;
            for order in 0_u32..1 << n {
                if u64::from(order.count_ones()) == above {
                    let changes = (order ^ (order >> 1)) & ((1 << (n - 1)) - 1);
                    ways[changes.count_ones() as usize + 1] += 1;
                    all += 1;
                }
            }
            for (runs, ways) in ways.iter().enumerate().skip(2) {
                let expected = f64::from(*ways) / f64::from(all);
                let found = probability_of(runs as u64, above, below);
                assert!((found - expected).abs() < 1e-12, "{above} {below} {runs}");
            }
        }
    }

    /// Of 1000 beds of 21 cores at 7 levels, how many show a pattern about a
    /// curve of `kind`, when the truth bends by `bend`.
    fn alarms(kind: CurveKind, bend: f64) -> usize {
        (0..1000)
            .filter(|seed| {
                let mut rng = ChaCha8Rng::seed_from_u64(*seed);
                let cores: Vec<Observation> = (0..21)
                    .map(|i| {
                        let level = f64::from(i / 3);
                        let count = 320.0 + 50.0 * level + rng.random_range(-6.0..6.0);
                        let mut error = || -> f64 { StandardNormal.sample(&mut rng) };
                        let z = (count - 470.0) / 150.0;
                        let theta = 0.25 - 0.13 * z + bend * z * z + 0.008 * error();
                        Observation {
                            sample: i.to_string(),
                            level: (i / 3).to_string(),
                            count: Estimate::new(count + 2.0 * error(), 2.0),
                            temperature: None,
                            theta_v: Estimate::new(Vwc::new(theta).unwrap(), 0.002),
                            relative_volume_u: 0.0,
                            budget: Budget::default(),
                        }
                    })
                    .collect();
                let fit = fit_curve(&cores, kind, None, Loss::Squares).unwrap();
                drying_order(&fit).is_some_and(|order| order.p_value < LEVEL)
            })
            .count()
    }

    /// At 5 % of 1000, 50 are allowed; chance adds 6.9 for one standard deviation.
    const LEVEL: f64 = 0.05;

    #[test]
    fn a_true_curve_raises_no_more_alarms_than_its_level() {
        for kind in [CurveKind::StraightLine, CurveKind::Quadratic] {
            let alarms = alarms(kind, 0.0);
            assert!((1..=67).contains(&alarms), "{kind}: {alarms}");
        }
    }

    #[test]
    fn a_line_through_a_bend_is_found_out() {
        let alarms = alarms(CurveKind::StraightLine, 0.03);
        assert!(alarms > 500, "{alarms}");
    }

    fn order_of(signs: &[f64]) -> Option<DryingOrder> {
        let cores: Vec<Observation> = (0..signs.len())
            .map(|i| Observation {
                sample: format!("c{i}"),
                level: i.to_string(),
                count: Estimate::new(300.0 + 20.0 * i as f64, 0.0),
                temperature: None,
                theta_v: Estimate::new(Vwc::new(0.4 - 0.02 * i as f64).unwrap(), 0.001),
                relative_volume_u: 0.0,
                budget: Budget::default(),
            })
            .collect();
        let mut fit = fit_curve(&cores, CurveKind::StraightLine, None, Loss::Squares).unwrap();
        for (core, sign) in fit.residuals.iter_mut().zip(signs) {
            core.standardised = *sign;
        }
        drying_order(&fit)
    }

    #[test]
    fn the_longest_stretch_is_named_wettest_core_first() {
        let order = order_of(&[1.0, -1.0, -0.5, -2.0, 1.0, 0.0, 1.0, -1.0]).unwrap();
        assert_eq!((order.above, order.below, order.runs), (3, 4, 4));
        assert_eq!(order.longest, ["c1", "c2", "c3"]);
        assert!(!order.longest_above);
        assert!(order.p_value > 0.3);
    }

    #[test]
    fn cores_on_one_side_or_on_the_curve_have_no_order_to_speak_of() {
        assert_eq!(order_of(&[1.0, 1.0, 1.0, -1.0, 1.0]), None);
        assert_eq!(order_of(&[0.0; 5]), None);
    }
}
