//! Does the curve miss whole moisture levels, or do cores just differ?

use super::observation::Observation;
use super::solution::Solution;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};
use std::collections::BTreeMap;

/// The F test of lack of fit against pure error, cores of one level taken as
/// replicates once the curve's own change between their counts is allowed for
/// (Draper and Smith, Applied Regression Analysis, section on repeat points;
/// recalled from memory).
///
/// Cores of one level are never read at quite the same count, nor at one
/// temperature. So each sum of squares is divided not by a count of levels and
/// cores but by what it would be on average, were the curve right: the trace of
/// its projection of `1 - H`, `H` the hat matrix. A temperature term, which is
/// fitted within levels more than between them, is so taken off the pure error.
/// Where cores of a level do share count and temperature, the traces are the
/// textbook's whole numbers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LackOfFit {
    /// Ratio of the mean squares.
    pub f: f64,
    /// Degrees of freedom of the lack of fit.
    pub lack_freedom: f64,
    /// Degrees of freedom of the pure error.
    pub pure_freedom: f64,
    /// Probability of a ratio this large if the curve were right.
    pub p_value: f64,
}

/// Places of the observations of each moisture level.
pub(super) fn by_level(observations: &[Observation]) -> BTreeMap<&str, Vec<usize>> {
    let mut levels: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (i, o) in observations.iter().enumerate() {
        levels.entry(o.level.as_str()).or_default().push(i);
    }
    levels
}

/// Sum of squares, in units of the variances, below which residuals are
/// rounding and there is nothing to test.
const ROUNDING: f64 = 1e-18;

/// The test for a fit; `None` where levels do not repeat or are too few.
pub(super) fn lack_of_fit(observations: &[Observation], solution: &Solution) -> Option<LackOfFit> {
    let parameters = solution.parameters.len();
    let leverages = solution.leverages();
    let levels = by_level(observations);
    let (mut lack, mut lack_freedom) = (0.0, levels.len() as f64);
    let (mut total, mut total_freedom) = (0.0, 0.0);
    for members in levels.values() {
        let (mut weight, mut residual) = (0.0, 0.0);
        let mut gradient = vec![0.0; parameters];
        for i in members {
            let (r, s) = (solution.residuals.get(*i)?, solution.variances.get(*i)?);
            let at = solution
                .gradients
                .get(i * parameters..(i + 1) * parameters)?;
            weight += 1.0 / s;
            residual += r / s;
            for (sum, g) in gradient.iter_mut().zip(at) {
                *sum += g / s;
            }
            total += r * r / s;
            total_freedom += 1.0 - leverages.get(*i)?;
        }
        lack += residual * residual / weight;
        lack_freedom -= solution.variance_of(&gradient) / weight;
    }
    let pure = total - lack;
    let pure_freedom = total_freedom - lack_freedom;
    // A whole degree, give or take rounding.
    let enough = 1.0 - 1e-6;
    if lack_freedom < enough || pure_freedom < enough || pure <= ROUNDING {
        return None;
    }
    let f = (lack / lack_freedom) / (pure / pure_freedom);
    if !f.is_finite() {
        return None;
    }
    let distribution = FisherSnedecor::new(lack_freedom, pure_freedom).ok()?;
    Some(LackOfFit {
        f,
        lack_freedom,
        pure_freedom,
        p_value: distribution.sf(f),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::CurveKind;
    use crate::fit::{Loss, fit_curve};
    use crate::quantity::{Celsius, Estimate, Quantity, Vwc};
    use crate::uncertainty::Budget;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    fn core(level: usize, count: f64, temperature: f64, theta: f64, u: f64) -> Observation {
        Observation {
            sample: String::new(),
            level: level.to_string(),
            count: Estimate::new(count, 0.0),
            temperature: Celsius::new(temperature).ok(),
            theta_v: Estimate::new(Vwc::new(theta).unwrap(), u),
            budget: Budget::default(),
            relative_volume_u: 0.0,
        }
    }

    #[test]
    fn true_replicates_give_the_ratio_of_the_textbook() {
        // Level means 0.41, 0.29, 0.23, 0.07; each level +-0.01 about its mean.
        let theta = [[0.42, 0.40], [0.30, 0.28], [0.22, 0.24], [0.06, 0.08]];
        let cores: Vec<Observation> = theta
            .iter()
            .enumerate()
            .flat_map(|(i, pair)| pair.map(|t| core(i, 300.0 + 100.0 * i as f64, 20.0, t, 1e-5)))
            .collect();
        let fit = fit_curve(&cores, CurveKind::StraightLine, None, Loss::Squares).unwrap();
        let test = fit.lack_of_fit.unwrap();
        // Line through the means: 0.25 -+ 0.108 per level; means are off it by
        // -0.002, -0.014, 0.034, -0.018: 2 (4 + 196 + 1156 + 324) 1e-6.
        let (lack, pure) = (2.0 * 1680e-6, 8.0 * 1e-4);
        assert!((test.lack_freedom - 2.0).abs() < 1e-6);
        assert!((test.pure_freedom - 4.0).abs() < 1e-6);
        assert!((test.f / ((lack / 2.0) / (pure / 4.0)) - 1.0).abs() < 1e-6);
        // For 2 and m degrees of freedom P = (1 + 2 F / m)^(-m / 2).
        assert!((test.p_value - (1.0 + test.f / 2.0).powi(-2)).abs() < 1e-9);
    }

    /// How many of 400 beds whose truth is a line show a lack of fit at 5 %.
    fn false_alarms(warm: bool, u: fn(usize) -> f64) -> usize {
        let reference = warm.then(|| Celsius::new(18.0).unwrap());
        let mut alarms = 0;
        for seed in 0..400 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut cores = Vec::new();
            for level in 0..4 {
                for place in 0..4 {
                    let error: f64 = StandardNormal.sample(&mut rng);
                    let count = 320.0 + 120.0 * level as f64 + rng.random_range(-5.0..5.0);
                    let temperature = rng.random_range(8.0..28.0);
                    cores.push(core(
                        level,
                        count
                            + if warm {
                                0.5 * (temperature - 18.0)
                            } else {
                                0.0
                            },
                        temperature,
                        0.25 - 0.0009 * (count - 500.0) + u(place) * error,
                        u(place),
                    ));
                }
            }
            let fit = fit_curve(&cores, CurveKind::StraightLine, reference, Loss::Squares).unwrap();
            alarms += usize::from(fit.lack_of_fit.unwrap().p_value < 0.05);
        }
        alarms
    }

    // 20 of 400 are expected, with a standard deviation of 4.4.

    #[test]
    fn a_temperature_term_raises_no_alarms_of_its_own() {
        let alarms = false_alarms(true, |_| 0.01);
        assert!((5..=33).contains(&alarms), "{alarms}");
    }

    #[test]
    fn nor_do_cores_of_unequal_uncertainty() {
        let alarms = false_alarms(false, |place| if place == 0 { 0.001 } else { 0.02 });
        assert!((5..=33).contains(&alarms), "{alarms}");
    }

    #[test]
    fn cores_on_the_curve_itself_are_not_tested_on_their_rounding() {
        let cores: Vec<Observation> = (0..12)
            .map(|i| {
                let count = 300.0 + 30.0 * f64::from(i);
                core(
                    i as usize / 3,
                    count,
                    20.0,
                    0.4 - 0.0007 * count / 1.3,
                    0.002,
                )
            })
            .collect();
        let fit = fit_curve(&cores, CurveKind::StraightLine, None, Loss::Squares).unwrap();
        assert_eq!(fit.lack_of_fit, None);
    }
}
