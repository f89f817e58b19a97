//! The scatter of cores beyond their stated uncertainties.
//!
//! Gravimetry knows what the balance does; it does not know that the soil the
//! probe feels is not exactly the soil in the ring, nor that the curve is not
//! exactly the truth. A variance tau^2, the same for every core, is added to
//! that of the reference values until the residuals are no larger than they
//! should be: `sum r_i^2 / S_i = n - p` (Paule and Mandel 1982, J. Res. NBS
//! 87:377; reference recalled from memory). Where they are no larger to begin
//! with, tau is zero. With a robust [`Loss`] the squares are cut off at its limit,
//! and `n - p` is multiplied by what the cut leaves of a normal residual's.

use super::loss::Loss;
use super::problem::{Points, Regression};
use super::restart::solve_from;
use super::solution::{Ending, Solution};
use super::solver::{Settings, solve};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// What is to be fitted: points of which the first `cores` are cores, whose
/// scatter is sought, and the rest pulls of smoothing, which stay as they are.
pub(super) struct Problem<'a, R> {
    pub(super) model: &'a R,
    pub(super) points: Points<'a>,
    pub(super) cores: usize,
    pub(super) loss: Loss,
}

/// A fit together with the scatter it needed.
pub(super) struct Scattered {
    /// The fit with tau^2 included in every core's variance, and that divided by
    /// the core's weight; no minimum if none was found on the way to tau.
    pub(super) solution: Solution,
    /// tau, in the unit of y.
    pub(super) tau: f64,
    /// Sum of squares over the cores at tau = 0 and full weight.
    pub(super) chi_square_as_stated: f64,
    /// The weight of each core, above 0 to 1; all 1 for least squares.
    pub(super) weights: Vec<f64>,
    /// Cores less parameters, of which smoothed ones count as far as the cores
    /// determine them.
    pub(super) freedom: f64,
    /// What residuals cost.
    pub(super) loss: Loss,
}

/// The uncertainties of points with scatter added, in squares, and weights taken
/// off.
pub(super) struct Widened {
    u_y: Vec<f64>,
    u_x: Vec<f64>,
}

impl Widened {
    /// Of the first `weights.len()` of `points`.
    pub(super) fn of(points: &Points<'_>, tau: f64, weights: &[f64]) -> Self {
        let mut widened = Self {
            u_y: points.u_y.to_vec(),
            u_x: points.u_x.to_vec(),
        };
        let inputs = points.x.len() / points.y.len().max(1);
        for (i, weight) in weights.iter().enumerate() {
            let root = weight.sqrt();
            widened.u_y[i] = widened.u_y[i].hypot(tau) / root;
            for u in &mut widened.u_x[i * inputs..(i + 1) * inputs] {
                *u /= root;
            }
        }
        widened
    }

    /// The points with these uncertainties.
    pub(super) fn points<'a>(&'a self, points: &Points<'a>) -> Points<'a> {
        Points {
            u_y: &self.u_y,
            u_x: &self.u_x,
            ..*points
        }
    }
}

/// A core's residual with the effective variance stated for it, scatter left out.
#[derive(Clone, Copy)]
struct Miss {
    residual: f64,
    stated: f64,
}

impl<R: Regression> Problem<'_, R> {
    fn solve(&self, tau: f64, weights: &[f64], start: &[f64], settings: &Settings) -> Solution {
        let widened = Widened::of(&self.points, tau, weights);
        solve(self.model, &widened.points(&self.points), start, settings)
    }

    /// The lowest minimum from any of `starts`; `None` without starts.
    fn solve_from(
        &self,
        tau: f64,
        weights: &[f64],
        starts: &[Vec<f64>],
        settings: &Settings,
    ) -> Option<Solution> {
        let widened = Widened::of(&self.points, tau, weights);
        solve_from(self.model, &widened.points(&self.points), starts, settings)
    }

    /// Cores less parameters, as far as those are determined by the cores.
    fn freedom(&self, solution: &Solution) -> f64 {
        let determined = if self.points.y.len() == self.cores {
            solution.parameters.len() as f64
        } else {
            solution.leverages().iter().take(self.cores).sum()
        };
        self.cores as f64 - determined
    }
}

/// Fits with as much common scatter as the residuals ask for, from the best of
/// `starts`; `None` without starts.
///
/// Which start is the best depends on how the scatter evens the cores' weights out,
/// so where there are several they are tried again once it is known.
pub(super) fn solve_with_scatter<R: Regression>(
    problem: &Problem<'_, R>,
    starts: &[Vec<f64>],
    settings: &Settings,
) -> Option<Scattered> {
    let quick = Settings::quick();
    let weights = vec![1.0; problem.cores];
    let solution = problem.solve_from(0.0, &weights, starts, &quick)?;
    let mut found = Scattered::at(problem, solution, 0.0, weights);
    found.chi_square_as_stated = found.chi_square();
    found.settle(problem, &quick);
    for _ in 0..ROUNDS {
        if starts.len() < 2 || !found.solution.found_minimum() {
            break;
        }
        let (tau, weights) = (found.tau, found.weights.clone());
        let other = problem.solve_from(tau, &weights, starts, &quick)?;
        if other.chi_square >= found.solution.chi_square * (1.0 - LOWER) {
            break;
        }
        let mut other = Scattered::at(problem, other, tau, weights);
        other.chi_square_as_stated = found.chi_square_as_stated;
        other.settle(problem, &quick);
        if !other.solution.found_minimum() || other.log_likelihood() <= found.log_likelihood() {
            break;
        }
        found = other;
    }
    if found.solution.found_minimum() {
        let from = found.solution.parameters.clone();
        found.solution = problem.solve(found.tau, &found.weights, &from, settings);
    }
    Some(found)
}

/// Times that all starts are tried again.
const ROUNDS: usize = 4;

/// Share of Q by which another minimum must lie lower to be one.
const LOWER: f64 = 1e-6;

impl Scattered {
    fn at<R: Regression>(
        problem: &Problem<'_, R>,
        solution: Solution,
        tau: f64,
        weights: Vec<f64>,
    ) -> Self {
        Self {
            freedom: problem.freedom(&solution),
            tau,
            chi_square_as_stated: 0.0,
            weights,
            loss: problem.loss,
            solution,
        }
    }

    /// Finds scatter and weights for the minimum the solution is near to.
    fn settle<R: Regression>(&mut self, problem: &Problem<'_, R>, settings: &Settings) {
        if self.freedom <= 0.0 || !self.solution.found_minimum() {
            return;
        }
        match problem.loss {
            Loss::Squares => self.widen(problem, settings),
            Loss::Huber => self.reweigh(problem, Loss::Huber, settings),
            Loss::Tukey => {
                // The cost of this one has many minima: start in that of the other.
                self.reweigh(problem, Loss::Huber, settings);
                self.reweigh(problem, Loss::Tukey, settings);
            }
        }
    }

    /// Degrees of freedom of what the fit is unsure of: a core of less than full
    /// weight counts for that much less.
    fn effective_freedom(&self) -> f64 {
        let lost: f64 = self.weights.iter().map(|w| 1.0 - w).sum();
        (self.freedom - lost).max(1.0)
    }

    /// The same after `spent` of them went into choosing this fit among others:
    /// having been chosen, its residuals are smaller by about as many. Two are left
    /// where there are two, for Student's t of less would make more of the choice
    /// than it is.
    pub(super) fn freedom_after(&self, spent: f64) -> f64 {
        let freedom = self.effective_freedom();
        f64::max(freedom - spent, freedom.min(2.0))
    }

    /// Residuals of the cores, with the variances stated for them.
    fn misses(&self) -> impl Iterator<Item = Miss> {
        let solution = &self.solution;
        let scatter = self.tau * self.tau;
        solution
            .residuals
            .iter()
            .zip(&solution.variances)
            .zip(&self.weights)
            .map(move |((residual, variance), weight)| Miss {
                residual: *residual,
                stated: (variance * weight - scatter).max(f64::MIN_POSITIVE),
            })
    }

    /// Residuals of the cores in units of their standard deviations.
    pub(super) fn standardised(&self) -> impl Iterator<Item = f64> {
        let scatter = self.tau * self.tau;
        self.misses()
            .map(move |miss| miss.residual / (miss.stated + scatter).sqrt())
    }

    /// Sum of the cores' squares.
    fn chi_square(&self) -> f64 {
        self.standardised().map(|r| r * r).sum()
    }

    /// Least squares with scatter. Newton's method; Q falls and is convex in
    /// tau^2, so from the left it climbs to the root without overshooting, and from
    /// the right its first step leads to the left.
    fn widen<R: Regression>(&mut self, problem: &Problem<'_, R>, settings: &Settings) {
        let mut variance = self.tau * self.tau;
        for _ in 0..60 {
            if variance == 0.0 && self.chi_square() <= self.freedom {
                return;
            }
            let fall: f64 = self
                .misses()
                .map(|miss| (miss.residual / (miss.stated + variance)).powi(2))
                .sum();
            let step = (self.chi_square() - self.freedom) / fall;
            if !step.is_finite() || step.abs() <= 1e-9 * variance {
                break;
            }
            variance = f64::max(variance + step, 0.0);
            self.tau = variance.sqrt();
            let from = &self.solution.parameters;
            self.solution = problem.solve(self.tau, &self.weights, from, settings);
            if !self.solution.found_minimum() {
                return;
            }
            self.freedom = problem.freedom(&self.solution);
        }
        // Q at tau has to be what was asked for, or tau is not the scatter.
        if (self.chi_square() - self.freedom).abs() > 1e-6 * self.freedom {
            self.solution.ending = Ending::StepLimit;
        }
    }

    /// Scatter (with Huber's loss; Tukey's takes over what that has found) and
    /// weights by turns with fits, until they stand still.
    fn reweigh<R: Regression>(
        &mut self,
        problem: &Problem<'_, R>,
        loss: Loss,
        settings: &Settings,
    ) {
        for _ in 0..300 {
            let mut variance = self.tau * self.tau;
            if loss != Loss::Tukey {
                let misses: Vec<Miss> = self.misses().collect();
                variance = variance_giving(&misses, self.freedom, loss);
            }
            let weights: Vec<f64> = self
                .misses()
                .map(|miss| loss.weight(miss.residual / (miss.stated + variance).sqrt()))
                .collect();
            let moved = weights
                .iter()
                .zip(&self.weights)
                .map(|(new, old)| (new - old).abs())
                .fold(0.0, f64::max);
            let widened = (variance.sqrt() - self.tau).abs();
            self.tau = variance.sqrt();
            self.weights = weights;
            let from = &self.solution.parameters;
            self.solution = problem.solve(self.tau, &self.weights, from, settings);
            if !self.solution.found_minimum() {
                return;
            }
            self.freedom = problem.freedom(&self.solution);
            if moved <= 1e-7 && widened <= 1e-7 * self.tau {
                return;
            }
        }
        self.solution.ending = Ending::StepLimit;
    }

    /// The largest log-likelihood over tau^2 near the tau^2 found. Near, because a
    /// core all but exact makes a second, spurious peak at no scatter. With a
    /// robust loss, the likelihood of the distribution whose cost that is, at tau.
    pub(super) fn log_likelihood(&self) -> f64 {
        let misses: Vec<Miss> = self.misses().collect();
        let at = |variance: f64| -> f64 {
            misses
                .iter()
                .map(|miss| {
                    let s = miss.stated + variance;
                    -self.loss.cost(miss.residual / s.sqrt())
                        - 0.5 * (std::f64::consts::TAU * s).ln()
                })
                .sum()
        };
        let found = self.tau * self.tau;
        if self.loss != Loss::Squares {
            return at(found);
        }
        // Fisher scoring from the moment estimate; the information is positive.
        let mut variance = found;
        let least = misses.first().map_or(0.0, |miss| miss.stated);
        for _ in 0..100 {
            let (mut score, mut information) = (0.0, 0.0);
            for miss in &misses {
                let s = miss.stated + variance;
                score += 0.5 * (miss.residual * miss.residual / (s * s) - 1.0 / s);
                information += 0.5 / (s * s);
            }
            let next = f64::max(variance + score / information, 0.0);
            let settled = (next - variance).abs() <= 1e-12 * (variance + least);
            variance = next;
            if settled || !variance.is_finite() {
                break;
            }
        }
        at(variance).max(at(found))
    }

    /// What the residuals say about the scatter, as a distribution.
    ///
    /// A scatter estimated from few cores is itself uncertain, and an estimate of
    /// zero least of all means that there is none. Q at the true scatter has a
    /// chi-square distribution with the degrees of freedom of the fit, less what
    /// choosing it `spent`; solving
    /// `Q(tau^2) = W` for its quantiles W gives the generalised (fiducial)
    /// distribution of tau^2 (Weerahandi 1993, J. Am. Stat. Assoc. 88:899; Iyer,
    /// Wang and Mathew 2004, J. Am. Stat. Assoc. 99:1060; references recalled from
    /// memory). Where the stated uncertainties are small this leads to Student's t;
    /// where they explain the residuals, to the normal distribution; between the
    /// two to neither.
    ///
    /// Quantiles are taken closer together where W is small, for there the tails
    /// of the prediction come from.
    pub(super) fn draws(&self, spent: f64) -> Vec<ScatterDraw> {
        let freedom = self.freedom_after(spent);
        let per_weight = self.freedom / self.effective_freedom();
        let Ok(distribution) = ChiSquared::new(freedom) else {
            return Vec::new();
        };
        let misses: Vec<Miss> = self.misses().collect();
        let information =
            |variance: f64| -> f64 { misses.iter().map(|m| 1.0 / (m.stated + variance)).sum() };
        let at_estimate = information(self.tau * self.tau);
        let edge = |i: usize| (i as f64 / DRAWS as f64).powi(3);
        (0..DRAWS)
            .map(|i| {
                let weight = edge(i + 1) - edge(i);
                let target = distribution.inverse_cdf(edge(i) + 0.5 * weight);
                let variance = variance_giving(&misses, target * per_weight, self.loss);
                ScatterDraw {
                    weight,
                    scatter: variance.sqrt(),
                    covariance_scale: at_estimate / information(variance),
                }
            })
            .collect()
    }
}

/// One value the scatter of the cores may really have.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
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

/// tau^2 at which the cores' squares, cut off as `loss` has it, add up to
/// `freedom` as they should, zero if they are less already there; the residuals
/// are held as they are.
fn variance_giving(misses: &[Miss], freedom: f64, loss: Loss) -> f64 {
    let (limit, share) = loss.square_for_scale();
    let target = freedom * share;
    let squares = || misses.iter().map(|miss| miss.residual * miss.residual);
    let at = |variance: f64| -> f64 {
        misses
            .iter()
            .map(|miss| (miss.residual * miss.residual / (miss.stated + variance)).min(limit))
            .sum()
    };
    if at(0.0) <= target {
        return 0.0;
    }
    if limit.is_finite() {
        // Cut off, the sum is not convex: halve between none and too much.
        let (mut low, mut high) = (0.0, squares().sum::<f64>() / target);
        while high - low > 1e-12 * high {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                break;
            }
            if at(middle) > target {
                low = middle;
            } else {
                high = middle;
            }
        }
        return high;
    }
    // Newton's method from the left, as above.
    let mut variance = 0.0;
    for _ in 0..200 {
        let (mut q, mut fall) = (0.0, 0.0);
        for miss in misses {
            let s = miss.stated + variance;
            let part = miss.residual * miss.residual / s;
            q += part;
            fall += part / s;
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
            let problem = Problem { model: &line, points, cores: 7, loss: Loss::Squares };
            let found = solve_with_scatter(&problem, &[vec![0.2, -0.1]], &Settings::default()).unwrap();
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
            let problem = Problem {
                model: &Line { steepest },
                points,
                cores: 7,
                loss: Loss::Squares,
            };
            solve_with_scatter(&problem, &[vec![0.2, 0.0]], &settings)
                .unwrap()
                .solution
        };
        assert!(fit(10.0).found_minimum() && fit(10.0).parameters[1] < -0.1);
        assert!(!fit(0.05).found_minimum());
    }
}
