//! Each core foretold by the fit to the others.

use super::columns::Columns;
use super::problem::Regression;
use super::scatter::{Scattered, Widened};
use super::solver::{Settings, solve};

/// The fit to all cores but one.
pub(super) struct LeftOut {
    /// theta_v of that core less what the fit gives for it, m3/m3.
    pub(super) error: f64,
    /// Parameters, those of the curve first.
    pub(super) parameters: Vec<f64>,
}

/// For each core, the fit to the others, with scatter and weights as they were.
pub(super) fn leave_each_out(columns: &Columns, scattered: &Scattered) -> Vec<Option<LeftOut>> {
    let n = columns.cores;
    let start = &scattered.solution.parameters;
    if n < start.len() + 2 {
        return (0..n).map(|_| None).collect();
    }
    let regression = columns.regression();
    (0..n)
        .map(|i| {
            let others = columns.without(i);
            let mut weights = scattered.weights.clone();
            weights.remove(i);
            let points = others.points();
            let widened = Widened::of(&points, scattered.tau, &weights);
            let solution = solve(
                &others.regression(),
                &widened.points(&points),
                start,
                &Settings::quick(),
            );
            let (mut g, mut v) = ([0.0; super::MAX_PARAMETERS], [0.0]);
            let fitted = regression.evaluate(
                i,
                &[columns.z[i]],
                &solution.parameters,
                &mut g[..start.len()],
                &mut v,
            );
            let error = columns.theta[i] - fitted;
            (solution.found_minimum() && error.is_finite()).then_some(LeftOut {
                error,
                parameters: solution.parameters,
            })
        })
        .collect()
}

/// The root of the weighted mean square; `None` if one error is missing.
pub(super) fn root_mean_square(left_out: &[Option<LeftOut>], weights: &[f64]) -> Option<f64> {
    let mut sum = 0.0;
    for (without, weight) in left_out.iter().zip(weights) {
        sum += weight * without.as_ref()?.error.powi(2);
    }
    Some((sum / weights.iter().sum::<f64>()).sqrt())
}
