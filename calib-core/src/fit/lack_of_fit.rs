//! Does the curve miss whole moisture levels, or do cores just differ?

use super::observation::Observation;
use super::solver::Solution;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};
use std::collections::BTreeMap;

/// The F test of lack of fit against pure error, cores of one level taken as
/// replicates once the curve's own change between their counts is allowed for
/// (Draper and Smith, Applied Regression Analysis, section on repeat points;
/// recalled from memory).
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

/// The test for a fit; `None` where levels do not repeat or are too few.
pub(super) fn lack_of_fit(
    observations: &[Observation],
    solution: &Solution,
    parameters: usize,
) -> Option<LackOfFit> {
    let levels = by_level(observations);
    let scaled: Vec<f64> = solution
        .residuals
        .iter()
        .zip(&solution.variances)
        .map(|(r, s)| r / s.sqrt())
        .collect();
    let (mut lack, mut pure) = (0.0, 0.0);
    for members in levels.values() {
        let mean = members.iter().map(|i| scaled[*i]).sum::<f64>() / members.len() as f64;
        lack += members.len() as f64 * mean * mean;
        pure += members
            .iter()
            .map(|i| (scaled[*i] - mean).powi(2))
            .sum::<f64>();
    }
    let lack_freedom = levels.len() as f64 - parameters as f64;
    let pure_freedom = observations.len() as f64 - levels.len() as f64;
    if lack_freedom < 1.0 || pure_freedom < 1.0 || pure <= 0.0 {
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
