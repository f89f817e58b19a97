//! `theta_v = a + b (origin/count - 1)`: the hyperbolic curve, the form
//! `A + B/count` with `A = a - b` and `B = b origin`.

use super::start::linear_start;
use super::{Axis, CurveError, CurveKind, CurveModel, StartPoint};

/// The hyperbolic curve. On its axis count zero is `z = -1`, where it has a
/// pole; counts at or below zero give an infinite or sign-flipped value, and
/// the fit refuses a domain that reaches them.
pub(super) struct Hyperbolic;

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

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        p[0] - p[1] * z / (1.0 + z)
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        -p[1] / ((1.0 + z) * (1.0 + z))
    }

    fn gradient(&self, z: f64, _p: &[f64], out: &mut [f64]) {
        out[0] = 1.0;
        out[1] = -z / (1.0 + z);
    }

    /// The slope never changes sign on either side of the pole; the pole itself
    /// is reported as a turn, since no inverse reaches across it.
    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [Some(-1.0), None]
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        Ok(linear_start(self, points, &[0.0; 2], 2)?.0)
    }
}
