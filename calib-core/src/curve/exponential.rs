//! `theta_v = a + b (exp(k z) - 1)/k`: the exponential with offset, the form
//! `A + B exp(k z)` with `B = b/k` and `A = a - B`.
//!
//! Written so that `b` is the slope at the origin, the curve passes smoothly
//! through the straight line at `k = 0` instead of running off to infinite `A`
//! and `B`, and the three parameters stay well determined.

use super::bend::{bent_start, rise, rise_by_k, rise_inverse, rise_with_derivatives};
use super::{CurveError, CurveKind, CurveModel, StartPoint};

/// The exponential with offset.
pub(super) struct Exponential;

impl CurveModel for Exponential {
    fn kind(&self) -> CurveKind {
        CurveKind::Exponential
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b", "k"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b (exp(k z) - 1)/k"
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        p[0] + p[1] * rise(z, p[2])
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        p[1] * (p[2] * z).exp()
    }

    fn gradient(&self, z: f64, p: &[f64], out: &mut [f64]) {
        out[0] = 1.0;
        out[1] = rise(z, p[2]);
        out[2] = p[1] * rise_by_k(z, p[2]);
    }

    fn evaluate(&self, z: f64, p: &[f64], out: &mut [f64]) -> (f64, f64) {
        let (rise, rise_by_k, steepness) = rise_with_derivatives(z, p[2]);
        out[0] = 1.0;
        out[1] = rise;
        out[2] = p[1] * rise_by_k;
        (p[0] + p[1] * rise, p[1] * steepness)
    }

    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [None, None]
    }

    fn inverse(&self, theta: f64, p: &[f64], _within: (f64, f64)) -> Option<f64> {
        Some(rise_inverse((theta - p[0]) / p[1], p[2]))
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        bent_start(self, points, |z| z)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_exponential_passes_through_the_line_without_a_jump() {
        let line = Exponential.value(0.7, &[0.2, 0.1, 0.0]);
        assert!((line - 0.27).abs() < 1e-15);
        for k in [-1e-4, -1e-9, 1e-12, 1e-6, 2e-4] {
            let near = Exponential.value(0.7, &[0.2, 0.1, k]);
            assert!((near - line).abs() < 1e-4 * 0.1, "{k}: {near}");
        }
    }
}
