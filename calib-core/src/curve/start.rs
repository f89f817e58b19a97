//! Start values for models that are linear in their parameters.

use super::{CurveError, CurveModel};
use nalgebra::{DMatrix, DVector};

/// One calibration point on a model's axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StartPoint {
    /// Dimensionless count.
    pub z: f64,
    /// Reference theta_v, m3/m3.
    pub theta: f64,
}

/// Ordinary least squares on the columns of the model's gradient, which do not
/// depend on the parameters where the model is linear in them. `frozen` gives
/// the parameters to evaluate the gradient at and `columns` how many of the
/// leading ones to solve for.
pub(super) fn linear_start(
    model: &dyn CurveModel,
    points: &[StartPoint],
    frozen: &[f64],
    columns: usize,
) -> Result<(Vec<f64>, f64), CurveError> {
    let not_determined = || CurveError::NotDetermined {
        kind: model.kind(),
        given: points.len(),
        distinct: distinct_counts(points),
        needed: model.parameter_names().len(),
    };
    if distinct_counts(points) < model.parameter_names().len() {
        return Err(not_determined());
    }
    let mut design = DMatrix::zeros(points.len(), columns);
    let mut row = vec![0.0; frozen.len()];
    for (i, point) in points.iter().enumerate() {
        model.gradient(point.z, frozen, &mut row);
        for (j, value) in row.iter().take(columns).enumerate() {
            design[(i, j)] = *value;
        }
    }
    // The decomposition below must not see a number that is none: it would
    // panic or never end.
    let finite = design.iter().all(|v: &f64| v.is_finite())
        && points.iter().all(|point| point.theta.is_finite());
    if !finite {
        return Err(CurveError::NoValue { kind: model.kind() });
    }
    let target = DVector::from_iterator(points.len(), points.iter().map(|p| p.theta));
    let solution = design
        .clone()
        .svd(true, true)
        .solve(&target, 1e-12)
        .map_err(|_| not_determined())?;
    let sum_of_squares = (&design * &solution - &target).norm_squared();
    if solution.iter().any(|v| !v.is_finite()) {
        return Err(not_determined());
    }
    Ok((solution.iter().copied().collect(), sum_of_squares))
}

fn distinct_counts(points: &[StartPoint]) -> usize {
    let mut z: Vec<f64> = points.iter().map(|p| p.z).collect();
    z.sort_by(f64::total_cmp);
    z.dedup();
    z.len()
}
