//! Start values: ordinary least squares in the parameters a model is linear in.

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

/// The refusal of points that do not fix a model's parameters.
pub(super) fn not_determined(model: &dyn CurveModel, points: &[StartPoint]) -> CurveError {
    CurveError::NotDetermined {
        kind: model.kind(),
        given: points.len(),
        distinct: distinct_counts(points).len(),
        needed: model.parameter_names().len(),
    }
}

/// Checks that every number is one, and that there are as many distinct counts as
/// parameters.
pub(super) fn check_points(
    model: &dyn CurveModel,
    points: &[StartPoint],
) -> Result<(), CurveError> {
    if points
        .iter()
        .any(|p| !(p.z.is_finite() && p.theta.is_finite()))
    {
        return Err(CurveError::NoValue { kind: model.kind() });
    }
    if distinct_counts(points).len() < model.parameter_names().len() {
        return Err(not_determined(model, points));
    }
    Ok(())
}

/// Checks that every count is above zero, on an axis where zero is `z = -1`.
pub(super) fn check_positive(
    model: &dyn CurveModel,
    points: &[StartPoint],
) -> Result<(), CurveError> {
    if points.iter().any(|p| p.z <= -1.0) {
        return Err(CurveError::CountsNotPositive { kind: model.kind() });
    }
    Ok(())
}

/// Ordinary least squares on the columns of the model's gradient, which do not
/// depend on the parameters where the model is linear in them. `frozen` gives
/// the parameters to evaluate the gradient at and `columns` how many of the
/// leading ones to solve for. Returns those and the sum of squares.
pub(super) fn linear_start(
    model: &dyn CurveModel,
    points: &[StartPoint],
    frozen: &[f64],
    columns: usize,
) -> Result<(Vec<f64>, f64), CurveError> {
    check_points(model, points)?;
    let mut row = vec![0.0; frozen.len()];
    let design = |z: f64, out: &mut [f64]| {
        model.gradient(z, frozen, &mut row);
        out.copy_from_slice(&row[..columns]);
    };
    least_squares(points, columns, design).ok_or_else(|| not_determined(model, points))
}

/// Ordinary least squares of theta on the `columns` that `design` writes for
/// each finite `z`: the coefficients and the sum of squares; `None` where a
/// column overflows.
pub(super) fn least_squares(
    points: &[StartPoint],
    columns: usize,
    mut design: impl FnMut(f64, &mut [f64]),
) -> Option<(Vec<f64>, f64)> {
    let mut matrix = DMatrix::zeros(points.len(), columns);
    let mut row = vec![0.0; columns];
    for (i, point) in points.iter().enumerate() {
        design(point.z, &mut row);
        for (j, value) in row.iter().enumerate() {
            matrix[(i, j)] = *value;
        }
    }
    // The decomposition below must not see a number that is none: it would
    // panic or never end.
    if matrix.iter().any(|v: &f64| !v.is_finite()) {
        return None;
    }
    let target = DVector::from_iterator(points.len(), points.iter().map(|p| p.theta));
    let solution = matrix.clone().svd(true, true).solve(&target, 1e-12).ok()?;
    let sum_of_squares = (&matrix * &solution - &target).norm_squared();
    sum_of_squares
        .is_finite()
        .then(|| (solution.iter().copied().collect(), sum_of_squares))
}

/// A least-squares line and what it leaves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    /// theta_v where the coordinate is zero.
    pub(super) intercept: f64,
    /// Rise per unit of the coordinate.
    pub(super) slope: f64,
    /// Sum of squared residuals.
    pub(super) sum_of_squares: f64,
}

/// The least-squares line of theta on `along(z)`; `None` where all points lie
/// at one place.
pub(super) fn line_along(points: &[StartPoint], along: impl Fn(f64) -> f64) -> Option<Line> {
    let n = points.len() as f64;
    let (mean_x, mean_theta) = points.iter().fold((0.0, 0.0), |(x, theta), p| {
        (x + along(p.z) / n, theta + p.theta / n)
    });
    let (xx, xy) = points.iter().fold((0.0, 0.0), |(xx, xy), p| {
        let x = along(p.z) - mean_x;
        (xx + x * x, xy + x * (p.theta - mean_theta))
    });
    let slope = xy / xx;
    let sum_of_squares = points
        .iter()
        .map(|p| (p.theta - mean_theta - slope * (along(p.z) - mean_x)).powi(2))
        .sum::<f64>();
    sum_of_squares.is_finite().then_some(Line {
        intercept: mean_theta - slope * mean_x,
        slope,
        sum_of_squares,
    })
}

/// The distinct `z` among the points, ascending.
pub(super) fn distinct_counts(points: &[StartPoint]) -> Vec<f64> {
    let mut z: Vec<f64> = points.iter().map(|p| p.z).collect();
    z.sort_by(f64::total_cmp);
    z.dedup();
    z
}
