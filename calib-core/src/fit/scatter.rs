//! The scatter of cores beyond their stated uncertainties.
//!
//! Gravimetry knows what the balance does; it does not know that the soil the
//! probe feels is not exactly the soil in the ring, nor that the curve is not
//! exactly the truth. A variance tau^2, the same for every core, is added to
//! that of the reference values until the residuals are no larger than they
//! should be: `sum r_i^2 / S_i = n - p` (Paule and Mandel 1982, J. Res. NBS
//! 87:377; reference recalled from memory). Where they are no larger to begin
//! with, tau is zero.

use super::problem::{Points, Regression};
use super::solver::{Ending, Settings, Solution, solve};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// A fit together with the scatter it needed.
pub(super) struct Scattered {
    /// The fit with tau^2 included in every variance; no minimum if none was
    /// found on the way to tau.
    pub(super) solution: Solution,
    /// tau, in the unit of y.
    pub(super) tau: f64,
    /// Q at tau = 0.
    pub(super) chi_square_as_stated: f64,
}

/// Output uncertainties with `tau` added in squares.
pub(super) fn widened(u_y: &[f64], tau: f64) -> Vec<f64> {
    u_y.iter().map(|u| u.hypot(tau)).collect()
}

/// Fits with as much common scatter as the residuals ask for.
pub(super) fn solve_with_scatter<R: Regression + ?Sized>(
    model: &R,
    points: &Points<'_>,
    start: &[f64],
    settings: &Settings,
) -> Scattered {
    let mut solution = solve(model, points, start, settings);
    let chi_square_as_stated = solution.chi_square;
    let freedom = points.y.len() as f64 - model.parameters() as f64;
    let mut variance = 0.0;
    if freedom <= 0.0 || !solution.found_minimum() || solution.chi_square <= freedom {
        return Scattered {
            solution,
            tau: 0.0,
            chi_square_as_stated,
        };
    }
    // Newton's method; Q falls and is convex in tau^2, so from the left it
    // climbs to the root without overshooting.
    for _ in 0..60 {
        let excess = solution.chi_square - freedom;
        let fall: f64 = solution
            .residuals
            .iter()
            .zip(&solution.variances)
            .map(|(r, s)| (r / s).powi(2))
            .sum();
        let step = excess / fall;
        if !step.is_finite() || step.abs() <= 1e-10 * variance {
            break;
        }
        variance = f64::max(variance + step, 0.0);
        let u_y = widened(points.u_y, variance.sqrt());
        let wider = Points {
            u_y: &u_y,
            ..*points
        };
        solution = solve(model, &wider, &solution.parameters, settings);
        if !solution.found_minimum() {
            break;
        }
    }
    // Q at tau has to be what was asked for, or tau is not the scatter.
    if solution.found_minimum() && (solution.chi_square - freedom).abs() > 1e-6 * freedom {
        solution.ending = Ending::StepLimit;
    }
    Scattered {
        solution,
        tau: variance.sqrt(),
        chi_square_as_stated,
    }
}

/// The variances behind the residuals without the `tau`^2 they include.
fn stated_variances(solution: &Solution, tau: f64) -> Vec<f64> {
    solution
        .variances
        .iter()
        .map(|s| (s - tau * tau).max(f64::MIN_POSITIVE))
        .collect()
}

/// The largest Gaussian log-likelihood over tau^2 near `tau`^2, for the residuals
/// of `solution`, whose variances include it. Near, because a core all but exact
/// makes a second, spurious peak at no scatter.
pub(super) fn log_likelihood(solution: &Solution, tau: f64) -> f64 {
    let residuals = &solution.residuals;
    let stated = stated_variances(solution, tau);
    let at = |variance: f64| -> f64 {
        residuals
            .iter()
            .zip(&stated)
            .map(|(r, s)| {
                let s = s + variance;
                -0.5 * (r * r / s + (std::f64::consts::TAU * s).ln())
            })
            .sum()
    };
    // Fisher scoring from the moment estimate; the information is positive.
    let mut variance = tau * tau;
    for _ in 0..100 {
        let (mut score, mut information) = (0.0, 0.0);
        for (r, s) in residuals.iter().zip(&stated) {
            let s = s + variance;
            score += 0.5 * (r * r / (s * s) - 1.0 / s);
            information += 0.5 / (s * s);
        }
        let next = f64::max(variance + score / information, 0.0);
        let settled = (next - variance).abs() <= 1e-12 * (variance + stated[0]);
        variance = next;
        if settled || !variance.is_finite() {
            break;
        }
    }
    at(variance).max(at(tau * tau))
}

/// One value the scatter of the cores may really have.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ScatterDraw {
    /// Its probability; the weights of all draws add up to 1.
    pub weight: f64,
    /// The scatter, m3/m3.
    pub scatter: f64,
    /// By how much the covariance of the parameters grows with it.
    pub covariance_scale: f64,
}

/// Draws kept; more change no coverage factor in its second decimal.
const DRAWS: usize = 24;

/// What the residuals say about the scatter, as a distribution.
///
/// A scatter estimated from few cores is itself uncertain, and an estimate of
/// zero least of all means that there is none. Q at the true scatter has a
/// chi-square distribution with `freedom` degrees of freedom; solving `Q(tau^2) =
/// W` for its quantiles W gives the generalised (fiducial) distribution of tau^2
/// (Weerahandi 1993, J. Am. Stat. Assoc. 88:899; Iyer, Wang and Mathew 2004, J.
/// Am. Stat. Assoc. 99:1060; references recalled from memory). Where the stated
/// uncertainties are small this leads to Student's t; where they explain the
/// residuals, to the normal distribution; between the two to neither.
///
/// Quantiles are taken closer together where W is small, for there the tails of
/// the prediction come from.
pub(super) fn scatter_draws(solution: &Solution, tau: f64, freedom: f64) -> Vec<ScatterDraw> {
    let Ok(distribution) = ChiSquared::new(freedom) else {
        return Vec::new();
    };
    let stated = stated_variances(solution, tau);
    let information = |variance: f64| -> f64 { stated.iter().map(|s| 1.0 / (s + variance)).sum() };
    let at_estimate = information(tau * tau);
    let edge = |i: usize| (i as f64 / DRAWS as f64).powi(3);
    (0..DRAWS)
        .map(|i| {
            let weight = edge(i + 1) - edge(i);
            let target = distribution.inverse_cdf(edge(i) + 0.5 * weight);
            let variance = variance_giving(solution, &stated, target);
            ScatterDraw {
                weight,
                scatter: variance.sqrt(),
                covariance_scale: at_estimate / information(variance),
            }
        })
        .collect()
}

/// tau^2 at which Q equals `target`, zero if it is lower already there; the
/// residuals are held as they are. Newton's method from the left, as above.
fn variance_giving(solution: &Solution, stated: &[f64], target: f64) -> f64 {
    let mut variance = 0.0;
    for _ in 0..200 {
        let (mut q, mut fall) = (0.0, 0.0);
        for (r, s) in solution.residuals.iter().zip(stated) {
            let s = s + variance;
            q += r * r / s;
            fall += r * r / (s * s);
        }
        let step = (q - target) / fall;
        if !step.is_finite() || step <= 1e-9 * variance {
            break;
        }
        variance += step;
    }
    variance
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// y = p0 + p1 x, with no value where the line is steeper than `steepest`.
    struct Line {
        steepest: f64,
    }

    impl Regression for Line {
        fn parameters(&self) -> usize {
            2
        }
        fn inputs(&self) -> usize {
            1
        }
        fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
            g.copy_from_slice(&[1.0, x[0]]);
            v[0] = p[1];
            if p[1].abs() > self.steepest {
                f64::NAN
            } else {
                p[0] + p[1] * x[0]
            }
        }
    }

    const X: [f64; 7] = [-1.0, -0.8, -0.3, 0.0, 0.4, 0.6, 1.0];

    proptest! {
        #[test]
        fn scatter_is_what_makes_the_residuals_as_large_as_they_should_be(
            noise in prop::collection::vec(-1.0..1.0_f64, 7),
            u in prop::collection::vec(1e-5..1e-2_f64, 7),
            u_x in 0.0..0.05_f64,
            size in 1e-4..0.1_f64,
        ) {
            let y: Vec<f64> = X
                .iter()
                .zip(&noise)
                .map(|(x, e)| 0.25 - 0.12 * x + size * e)
                .collect();
            let points = Points { y: &y, u_y: &u, x: &X, u_x: &[u_x; 7] };
            let line = Line { steepest: 10.0 };
            let found = solve_with_scatter(&line, &points, &[0.2, -0.1], &Settings::default());
            prop_assert!(found.solution.found_minimum());
            if found.tau > 0.0 {
                prop_assert!(found.chi_square_as_stated > 5.0);
                prop_assert!((found.solution.chi_square - 5.0).abs() < 5e-6);
            } else {
                prop_assert!(found.chi_square_as_stated <= 5.0);
            }
        }
    }

    #[test]
    fn no_minimum_on_the_way_to_the_scatter_is_no_minimum() {
        // The exact point at each end holds the line flat; scatter frees it to
        // turn steeper than it may be.
        let y = [0.2, 0.8, 0.5, 0.2, -0.1, -0.4, 0.2];
        let u_y = [1e-5, 0.01, 0.01, 0.01, 0.01, 0.01, 1e-5];
        let points = Points {
            y: &y,
            u_y: &u_y,
            x: &X,
            u_x: &[0.0; 7],
        };
        let settings = Settings::default();
        let fit = |steepest| {
            solve_with_scatter(&Line { steepest }, &points, &[0.2, 0.0], &settings).solution
        };
        assert!(fit(10.0).found_minimum() && fit(10.0).parameters[1] < -0.1);
        assert!(!fit(0.05).found_minimum());
    }
}
