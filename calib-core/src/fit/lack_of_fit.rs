//! Does the curve miss whole moisture levels, or do cores just differ?

use super::observation::Observation;
use super::solver::{Solution, quadratic_form};
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
    let covariance = solution.covariance.as_ref()?;
    let levels = by_level(observations);
    let (mut lack, mut lack_freedom) = (0.0, levels.len() as f64);
    let (mut total, mut total_freedom) = (0.0, 0.0);
    for members in levels.values() {
        let (mut weight, mut residual) = (0.0, 0.0);
        let mut gradient = vec![0.0; solution.parameters.len()];
        for i in members {
            let (r, s) = (solution.residuals.get(*i)?, solution.variances.get(*i)?);
            weight += 1.0 / s;
            residual += r / s;
            for (sum, g) in gradient.iter_mut().zip(solution.gradients.get(*i)?) {
                *sum += g / s;
            }
            total += r * r / s;
            total_freedom += 1.0 - solution.leverages.get(*i)?;
        }
        lack += residual * residual / weight;
        lack_freedom -= quadratic_form(covariance, &gradient) / weight;
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
