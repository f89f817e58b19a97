//! `theta_v = a + b z`: the straight line.

use super::start::linear_start;
use super::{CurveError, CurveKind, CurveModel, StartPoint};

/// The straight line; `a` is theta_v at the origin, `b` its rise per unit of z.
pub(super) struct StraightLine;

impl CurveModel for StraightLine {
    fn kind(&self) -> CurveKind {
        CurveKind::StraightLine
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b z"
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        p[0] + p[1] * z
    }

    fn slope(&self, _z: f64, p: &[f64]) -> f64 {
        p[1]
    }

    fn gradient(&self, z: f64, _p: &[f64], out: &mut [f64]) {
        out[0] = 1.0;
        out[1] = z;
    }

    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [None, None]
    }

    fn inverse(&self, theta: f64, p: &[f64], _within: (f64, f64)) -> Option<f64> {
        Some((theta - p[0]) / p[1])
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        Ok(linear_start(self, points, &[0.0; 2], 2)?.0)
    }
}
