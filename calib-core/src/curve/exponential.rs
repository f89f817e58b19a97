//! `theta_v = a + b (exp(k z) - 1)/k`: the exponential with offset, the form
//! `A + B exp(k z)` with `B = b/k` and `A = a - B`.
//!
//! Written so that `b` is the slope at the origin, the curve passes smoothly
//! through the straight line at `k = 0` instead of running off to infinite `A`
//! and `B`, and the three parameters stay well determined.

use super::start::linear_start;
use super::{CurveError, CurveKind, CurveModel, StartPoint};
use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentOpt;

/// The exponential with offset.
pub(super) struct Exponential;

/// Largest |k| the start search looks at: the curve then changes its slope
/// e^16-fold over the calibrated counts, more than any probe does.
const STEEPEST: f64 = 8.0;

/// (exp(k z) - 1)/k, with its limit z at k = 0.
fn rise(z: f64, k: f64) -> f64 {
    let kz = k * z;
    if kz.abs() < 1e-4 {
        z * (1.0 + kz * (0.5 + kz * (1.0 / 6.0 + kz / 24.0)))
    } else {
        kz.exp_m1() / k
    }
}

/// Derivative of [`rise`] by k.
fn rise_by_k(z: f64, k: f64) -> f64 {
    let kz = k * z;
    if kz.abs() < 1e-2 {
        z * z
            * (0.5
                + kz * (1.0 / 3.0
                    + kz * (0.125 + kz * (1.0 / 30.0 + kz * (1.0 / 144.0 + kz / 840.0)))))
    } else {
        (z * kz.exp() - rise(z, k)) / k
    }
}

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

    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [None, None]
    }

    /// For a fixed `k` the curve is linear in `a` and `b`, so only `k` is
    /// searched: the best of a coarse grid, then Brent's method around it.
    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        let profile = |k: f64| linear_start(self, points, &[0.0, 0.0, k], 2);
        let mut best = (0.0, profile(0.0)?.1);
        let step = 0.5;
        let mut k = -STEEPEST;
        while k <= STEEPEST {
            let sum_of_squares = profile(k)?.1;
            if sum_of_squares < best.1 {
                best = (k, sum_of_squares);
            }
            k += step;
        }
        let search = Executor::new(
            Profile(profile),
            BrentOpt::new(best.0 - step, best.0 + step).set_tolerance(1e-8, 1e-8),
        )
        .configure(|state| state.max_iters(100))
        .run();
        let k = match search {
            Ok(found) => found.state.best_param.unwrap_or(best.0),
            Err(_) => best.0,
        };
        let (mut start, _) = profile(k)?;
        start.push(k);
        Ok(start)
    }
}

struct Profile<F>(F);

impl<F> CostFunction for Profile<F>
where
    F: Fn(f64) -> Result<(Vec<f64>, f64), CurveError>,
{
    type Param = f64;
    type Output = f64;
    fn cost(&self, k: &f64) -> Result<f64, argmin::core::Error> {
        Ok((self.0)(*k)?.1)
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

    #[test]
    fn both_branches_of_the_small_k_series_agree_where_they_meet() {
        for z in [-1.0, 0.3, 1.0] {
            let k = 1e-2 / f64::abs(z);
            let series = rise_by_k(z, k * 0.999_999);
            let direct = rise_by_k(z, k * 1.000_001);
            assert!((series - direct).abs() < 1e-6, "{z}: {series} vs {direct}");
        }
    }
}
