//! The bend that the exponential and the power curve share: `(exp(k w) - 1)/k`
//! with `w` the count, or the logarithm of it.
//!
//! The transformation of Box and Cox (1964), J. R. Stat. Soc. B 26:211
//! (reference recalled from memory), is this with `w` a logarithm. It has slope
//! 1 at `w = 0` whatever `k`, and passes smoothly through `w` at `k = 0`.

use super::start::{Line, check_points, line_along, not_determined};
use super::{CurveError, CurveModel, StartPoint};
use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentOpt;

/// Largest `|k w|` the start search looks at: the curve then changes its slope
/// e^16-fold over the calibrated counts, more than any probe does.
const STEEPEST: f64 = 8.0;

/// Steps of the search from nothing to the steepest.
const STEPS: i32 = 16;

/// `(exp(k w) - 1)/k`, with its limit `w` at `k = 0`.
pub(super) fn rise(w: f64, k: f64) -> f64 {
    let kw = k * w;
    if kw.abs() < 1e-4 {
        w * (1.0 + kw * (0.5 + kw * (1.0 / 6.0 + kw / 24.0)))
    } else {
        kw.exp_m1() / k
    }
}

/// Derivative of [`rise`] by `k`.
pub(super) fn rise_by_k(w: f64, k: f64) -> f64 {
    rise_with_derivatives(w, k).1
}

/// [`rise`] with its derivatives by `k` and by `w`.
pub(super) fn rise_with_derivatives(w: f64, k: f64) -> (f64, f64, f64) {
    let kw = k * w;
    let rise = rise(w, k);
    let by_w = kw.exp();
    let by_k = if kw.abs() < 1e-2 {
        w * w
            * (0.5
                + kw * (1.0 / 3.0
                    + kw * (0.125 + kw * (1.0 / 30.0 + kw * (1.0 / 144.0 + kw / 840.0)))))
    } else {
        (w * by_w - rise) / k
    };
    (rise, by_k, by_w)
}

/// The `w` at which [`rise`] is `y`; NaN where it is nowhere.
pub(super) fn rise_inverse(y: f64, k: f64) -> f64 {
    let ky = k * y;
    if ky.abs() < 1e-8 {
        y * (1.0 - 0.5 * ky)
    } else {
        ky.ln_1p() / k
    }
}

/// Start values of `a + b rise(w(z), k)`. For a fixed `k` the curve is linear
/// in `a` and `b`, so only `k` is searched: the best of a coarse grid, then
/// Brent's method around it.
pub(super) fn bent_start(
    model: &dyn CurveModel,
    points: &[StartPoint],
    w: impl Fn(f64) -> f64,
) -> Result<Vec<f64>, CurveError> {
    check_points(model, points)?;
    let reach = points.iter().map(|p| w(p.z).abs()).fold(0.0, f64::max);
    let profile = |k: f64| -> Result<Line, CurveError> {
        line_along(points, |z| rise(w(z), k)).ok_or_else(|| not_determined(model, points))
    };
    let step = STEEPEST / reach / f64::from(STEPS);
    let mut best = (0.0, profile(0.0)?.sum_of_squares);
    for i in -STEPS..=STEPS {
        let k = step * f64::from(i);
        let sum_of_squares = profile(k)?.sum_of_squares;
        if sum_of_squares < best.1 {
            best = (k, sum_of_squares);
        }
    }
    let k = Executor::new(
        Profile(&profile),
        BrentOpt::new(best.0 - step, best.0 + step).set_tolerance(1e-8, 1e-8),
    )
    .configure(|state| state.max_iters(100))
    .run()
    .ok()
    .and_then(|found| found.state.best_param)
    .unwrap_or(best.0);
    let line = profile(k)?;
    Ok(vec![line.intercept, line.slope, k])
}

struct Profile<F>(F);

impl<F> CostFunction for Profile<F>
where
    F: Fn(f64) -> Result<Line, CurveError>,
{
    type Param = f64;
    type Output = f64;
    fn cost(&self, k: &f64) -> Result<f64, argmin::core::Error> {
        Ok((self.0)(*k)?.sum_of_squares)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bend_passes_through_the_line_without_a_jump() {
        for k in [-1e-4, -1e-9, 1e-12, 1e-6, 2e-4] {
            assert!((rise(0.7, k) - 0.7).abs() < 1e-4, "{k}");
            assert!((rise_inverse(rise(0.7, k), k) - 0.7).abs() < 1e-15, "{k}");
        }
    }

    #[test]
    fn both_branches_of_the_small_k_series_agree_where_they_meet() {
        for w in [-1.0, 0.3, 1.0] {
            let k = 1e-2 / f64::abs(w);
            let series = rise_by_k(w, k * 0.999_999);
            let direct = rise_by_k(w, k * 1.000_001);
            assert!((series - direct).abs() < 1e-6, "{w}: {series} vs {direct}");
        }
    }
}
