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
use super::solver::{Settings, Solution, solve};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// A fit together with the scatter it needed.
pub(super) struct Scattered {
    /// The fit with tau^2 included in every variance.
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
        let next = solve(model, &wider, &solution.parameters, settings);
        if !next.found_minimum() {
            break;
        }
        solution = next;
    }
    Scattered {
        solution,
        tau: variance.sqrt(),
        chi_square_as_stated,
    }
}

/// The largest Gaussian log-likelihood over tau^2 for the residuals of
/// `solution`, whose variances include `tau`^2.
pub(super) fn log_likelihood(solution: &Solution, tau: f64) -> f64 {
    let residuals = &solution.residuals;
    let stated: Vec<f64> = solution
        .variances
        .iter()
        .map(|s| (s - tau * tau).max(f64::MIN_POSITIVE))
        .collect();
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
    let stated: Vec<f64> = solution
        .variances
        .iter()
        .map(|s| (s - tau * tau).max(f64::MIN_POSITIVE))
        .collect();
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
