//! `theta_v = a + b (origin/count - 1)`: the hyperbolic curve, the form
//! `A + B/count` with `A = a - b` and `B = b origin`.

use super::start::{check_positive, linear_start};
use super::{Axis, CurveError, CurveKind, CurveModel, StartPoint};

/// The hyperbolic curve. On its axis count zero is `z = -1`, where it has a
/// pole; counts at or below zero are refused.
pub(super) struct Hyperbolic;

/// `origin/count`, for a count above zero.
fn reciprocal(z: f64) -> Option<f64> {
    (z > -1.0).then(|| 1.0 / (1.0 + z))
}

impl CurveModel for Hyperbolic {
    fn kind(&self) -> CurveKind {
        CurveKind::Hyperbolic
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b (origin/count - 1)"
    }

    fn axis(&self, low: f64, high: f64) -> Axis {
        Axis::from_zero(low, high)
    }

    fn extent(&self, _p: &[f64]) -> Option<(f64, f64)> {
        Some((-1.0, f64::INFINITY))
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        reciprocal(z).map_or(f64::INFINITY, |r| p[0] - p[1] * z * r)
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        reciprocal(z).map_or(0.0, |r| -p[1] * r * r)
    }

    fn gradient(&self, z: f64, _p: &[f64], out: &mut [f64]) {
        out.fill(0.0);
        if let Some(r) = reciprocal(z) {
            out[0] = 1.0;
            out[1] = -z * r;
        }
    }

    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [None, None]
    }

    fn inverse(&self, theta: f64, p: &[f64], _within: (f64, f64)) -> Option<f64> {
        let y = (theta - p[0]) / p[1];
        Some(-y / (1.0 + y))
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        check_positive(self, points)?;
        Ok(linear_start(self, points, &[0.0; 2], 2)?.0)
    }
}
