//! `theta_v = a + b z + c z^2`: the quadratic.

use super::start::linear_start;
use super::{CurveError, CurveKind, CurveModel, StartPoint};

/// The quadratic polynomial in the dimensionless count.
pub(super) struct Quadratic;

impl CurveModel for Quadratic {
    fn kind(&self) -> CurveKind {
        CurveKind::Quadratic
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b", "c"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b z + c z^2"
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        p[0] + z * (p[1] + z * p[2])
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        p[1] + 2.0 * p[2] * z
    }

    fn gradient(&self, z: f64, _p: &[f64], out: &mut [f64]) {
        out[0] = 1.0;
        out[1] = z;
        out[2] = z * z;
    }

    fn turning_points(&self, p: &[f64]) -> [Option<f64>; 2] {
        let z = -p[1] / (2.0 * p[2]);
        [z.is_finite().then_some(z), None]
    }

    /// The root of `c z^2 + b z = theta - a` that lies between the ends, by the
    /// form of the quadratic formula that does not cancel.
    fn inverse(&self, theta: f64, p: &[f64], within: (f64, f64)) -> Option<f64> {
        let (b, c, y) = (p[1], p[2], theta - p[0]);
        let q = -0.5 * (b + b.signum() * (b * b + 4.0 * c * y).sqrt());
        let middle = 0.5 * (within.0 + within.1);
        [q / c, -y / q]
            .into_iter()
            .filter(|z| z.is_finite())
            .min_by(|one, other| (one - middle).abs().total_cmp(&(other - middle).abs()))
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        Ok(linear_start(self, points, &[0.0; 3], 3)?.0)
    }
}
