//! `theta_v = a + b ((count/origin)^k - 1)/k`: the power curve, the form
//! `A + B count^k` with `B = b/(k origin^k)` and `A = a - b/k`.
//!
//! Written so that `b` is the slope at the origin (per origin's worth of counts)
//! and the curve passes smoothly through every simpler one it contains: the
//! straight line at `k = 1`, the logarithm `a + b ln(count/origin)` at `k = 0`,
//! where `A` and `B` would be infinite, and the hyperbolic curve at `k = -1`.
//! The transformation is that of Box and Cox (1964), J. R. Stat. Soc. B 26:211;
//! reference recalled from memory.
//!
//! `k` is only as well determined as the counts are far apart *in proportion*:
//! between 500 and 550 counts every power looks straight.

use super::bend::{bent_start, rise, rise_by_k, rise_inverse, rise_with_derivatives};
use super::start::check_positive;
use super::{Axis, CurveError, CurveKind, CurveModel, StartPoint};

/// The power curve. On its axis count zero is `z = -1`; there, and below, no
/// power is taken.
pub(super) struct Power;

/// `ln(count/origin)`, for a count above zero.
fn log_ratio(z: f64) -> Option<f64> {
    (z > -1.0).then(|| z.ln_1p())
}

impl CurveModel for Power {
    fn kind(&self) -> CurveKind {
        CurveKind::Power
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b", "k"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b ((count/origin)^k - 1)/k"
    }

    fn axis(&self, low: f64, high: f64) -> Axis {
        Axis::from_zero(low, high)
    }

    fn extent(&self, _p: &[f64]) -> Option<(f64, f64)> {
        Some((-1.0, f64::INFINITY))
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        log_ratio(z).map_or(f64::INFINITY, |w| p[0] + p[1] * rise(w, p[2]))
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        log_ratio(z).map_or(0.0, |w| p[1] * ((p[2] - 1.0) * w).exp())
    }

    fn gradient(&self, z: f64, p: &[f64], out: &mut [f64]) {
        out.fill(0.0);
        if let Some(w) = log_ratio(z) {
            out[0] = 1.0;
            out[1] = rise(w, p[2]);
            out[2] = p[1] * rise_by_k(w, p[2]);
        }
    }

    fn evaluate(&self, z: f64, p: &[f64], out: &mut [f64]) -> (f64, f64) {
        out.fill(0.0);
        let Some(w) = log_ratio(z) else {
            return (f64::INFINITY, 0.0);
        };
        let (rise, rise_by_k, steepness) = rise_with_derivatives(w, p[2]);
        out[0] = 1.0;
        out[1] = rise;
        out[2] = p[1] * rise_by_k;
        (p[0] + p[1] * rise, p[1] * steepness / (1.0 + z))
    }

    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [None, None]
    }

    fn inverse(&self, theta: f64, p: &[f64], _within: (f64, f64)) -> Option<f64> {
        Some(rise_inverse((theta - p[0]) / p[1], p[2]).exp_m1())
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        check_positive(self, points)?;
        bent_start(self, points, |z| z.ln_1p())
    }
}

#[cfg(test)]
mod tests {
    use super::super::hyperbolic::Hyperbolic;
    use super::*;

    #[test]
    fn the_power_curve_contains_the_line_the_logarithm_and_the_hyperbola() {
        for z in [-0.6_f64, -0.1, 0.0, 0.4, 1.5] {
            let at = |k: f64| Power.value(z, &[0.25, -0.3, k]);
            assert!((at(1.0) - (0.25 - 0.3 * z)).abs() < 1e-15);
            assert!((at(0.0) - (0.25 - 0.3 * z.ln_1p())).abs() < 1e-15);
            assert!((at(1e-9) - at(0.0)).abs() < 1e-9);
            // a - b (1/x - 1)
            assert!((at(-1.0) - Hyperbolic.value(z, &[0.25, 0.3])).abs() < 1e-15);
        }
    }

    #[test]
    fn a_count_of_zero_or_below_has_no_power_and_gives_no_nan() {
        let p = [0.25, 0.0, 0.5];
        let mut g = [1.0; 3];
        for z in [-1.0, -1.5] {
            assert_eq!(Power.value(z, &p), f64::INFINITY);
            assert_eq!(Power.slope(z, &p), 0.0);
            Power.gradient(z, &p, &mut g);
            assert_eq!(g, [0.0; 3]);
        }
        let points = [-1.2, -0.5, 0.1, 0.7].map(|z| StartPoint { z, theta: z });
        assert_eq!(
            Power.start(&points),
            Err(CurveError::CountsNotPositive {
                kind: CurveKind::Power
            })
        );
    }
}
