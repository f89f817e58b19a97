//! The lowest point of a smooth function of a few numbers.
//!
//! A simplex (Nelder and Mead 1965, Comput. J. 7:308; reference recalled from memory)
//! comes near; Newton's steps, by differences, take it to the last digits. Directions
//! in which the function hardly bends are followed no farther than where it does.

use crate::fit::Corner;
use argmin::core::{CostFunction, Executor, State};
use argmin::solver::neldermead::NelderMead;
use nalgebra::{DMatrix, DVector, SymmetricEigen};
use std::cell::Cell;

/// Steps of differences, as a share of a number.
const STEP: f64 = 1e-3;
/// Size below which a number's steps are those of this size.
const LEAST_SIZE: f64 = 0.1;
/// Least curvature taken, as a share of the largest.
const LEAST_CURVATURE: f64 = 1e-6;
/// How far the value may rise in a step by rounding, as a share of it.
const NOISE: f64 = 1e-11;
/// How far a step that matters is expected to lower the value at least, as a share of
/// it: below, a flat direction is followed by rounding.
const MATTERS: f64 = 1e-13;
/// Most Newton steps.
const MOST_STEPS: usize = 60;
/// Most steps of the simplex for each number.
const SIMPLEX_STEPS: u64 = 40;

/// A lowest point.
#[derive(Debug, Clone)]
pub(super) struct Lowest {
    pub(super) at: Vec<f64>,
    pub(super) value: f64,
    /// Whether the last step was as small as asked for.
    pub(super) settled: bool,
}

/// How closely to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Closeness {
    /// Until a step changes no number by more than 1e-8 of its size, or nothing but
    /// rounding; that step is still taken.
    LastDigits,
    /// Until a step is expected to lower the value by less than 1e-5.
    ForProfile,
}

/// Counts how often a function is asked.
pub(super) struct Counted<'a, F> {
    function: &'a F,
    pub(super) asked: Cell<u64>,
}

impl<'a, F: Fn(&[f64]) -> f64> Counted<'a, F> {
    pub(super) fn new(function: &'a F) -> Self {
        Self {
            function,
            asked: Cell::new(0),
        }
    }

    fn value(&self, at: &[f64]) -> f64 {
        self.asked.set(self.asked.get() + 1);
        let value = (self.function)(at);
        if value.is_finite() { value } else { f64::MAX }
    }

    /// Near the lowest point, by simplex from a start; it hands over where its values
    /// have a standard deviation of `near`.
    pub(super) fn simplex(&self, start: &[f64], near: f64) -> Vec<f64> {
        let corners = (0..=start.len())
            .map(|corner| {
                let mut at = start.to_vec();
                if let Some(i) = corner.checked_sub(1) {
                    at[i] += 0.4 * at[i].abs().max(LEAST_SIZE);
                }
                Corner(at)
            })
            .collect();
        NelderMead::new(corners)
            .with_sd_tolerance(near)
            .ok()
            .and_then(|simplex| {
                Executor::new(Asked(self), simplex)
                    .configure(|state| state.max_iters(SIMPLEX_STEPS * start.len() as u64))
                    .run()
                    .ok()
            })
            .and_then(|result| result.state.get_best_param().map(|corner| corner.0.clone()))
            .unwrap_or_else(|| start.to_vec())
    }

    /// The lowest point near `start`, with the numbers `held` left as they are.
    pub(super) fn newton(&self, start: &[f64], held: &[usize], closeness: Closeness) -> Lowest {
        let free: Vec<usize> = (0..start.len()).filter(|i| !held.contains(i)).collect();
        let mut at = start.to_vec();
        let mut value = self.value(&at);
        let mut settled = free.is_empty();
        for _ in 0..MOST_STEPS {
            if settled {
                break;
            }
            let local = self.local(&at, &free, value, closeness);
            let (mut step, lowers) = local.step();
            let small = match closeness {
                Closeness::LastDigits => {
                    let moves = |(i, s): (&usize, &f64)| s.abs() / at[*i].abs().max(LEAST_SIZE);
                    lowers <= MATTERS * value.abs()
                        || free.iter().zip(&step).all(|m| moves(m) <= 1e-8)
                }
                Closeness::ForProfile => lowers < 1e-5,
            };
            let mut taken = false;
            for _ in 0..40 {
                let mut next = at.clone();
                for (i, s) in free.iter().zip(&step) {
                    next[*i] += s;
                }
                let there = self.value(&next);
                if there <= value + NOISE * value.abs() {
                    (at, value, taken) = (next, there, true);
                    break;
                }
                step.iter_mut().for_each(|s| *s *= 0.5);
            }
            settled = small || (!taken && lowers <= 1e3 * NOISE * value.abs());
            if !taken {
                break;
            }
        }
        Lowest { at, value, settled }
    }

    /// Gradient and curvature at a point, over the numbers free.
    fn local(&self, at: &[f64], free: &[usize], value: f64, closeness: Closeness) -> Local {
        let n = free.len();
        let size = |i: usize| STEP * at[i].abs().max(LEAST_SIZE);
        let moved = |moves: &[(usize, f64)]| {
            let mut there = at.to_vec();
            for (i, by) in moves {
                there[*i] += by;
            }
            self.value(&there)
        };
        let mut gradient = DVector::zeros(n);
        let mut curvature = DMatrix::zeros(n, n);
        let mut ahead = Vec::with_capacity(n);
        for (a, i) in free.iter().enumerate() {
            let h = size(*i);
            let (up, down) = (moved(&[(*i, h)]), moved(&[(*i, -h)]));
            gradient[a] = (up - down) / (2.0 * h);
            if closeness == Closeness::LastDigits {
                let (up2, down2) = (moved(&[(*i, 2.0 * h)]), moved(&[(*i, -2.0 * h)]));
                gradient[a] = (8.0 * (up - down) - (up2 - down2)) / (12.0 * h);
            }
            curvature[(a, a)] = (up - 2.0 * value + down) / (h * h);
            ahead.push((up, down));
        }
        for (a, i) in free.iter().enumerate() {
            for (b, j) in free.iter().enumerate().take(a) {
                let (h, k) = (size(*i), size(*j));
                let both = moved(&[(*i, h), (*j, k)]) + moved(&[(*i, -h), (*j, -k)]);
                let single = ahead[a].0 + ahead[a].1 + ahead[b].0 + ahead[b].1;
                let mixed = (both - single + 2.0 * value) / (2.0 * h * k);
                curvature[(a, b)] = mixed;
                curvature[(b, a)] = mixed;
            }
        }
        Local {
            gradient,
            curvature,
        }
    }

    /// The curvature at a point over the numbers free; `None` where it is not that
    /// of a lowest point.
    pub(super) fn inverse_curvature(&self, at: &[f64], free: &[usize]) -> Option<DMatrix<f64>> {
        let local = self.local(at, free, self.value(at), Closeness::ForProfile);
        let eigen = SymmetricEigen::try_new(local.curvature.clone(), f64::EPSILON, 500)?;
        let largest = eigen.eigenvalues.max();
        if eigen.eigenvalues.min() <= LEAST_CURVATURE * largest || !largest.is_finite() {
            return None;
        }
        local.curvature.try_inverse()
    }
}

/// How a function runs about a point.
struct Local {
    gradient: DVector<f64>,
    curvature: DMatrix<f64>,
}

impl Local {
    /// Newton's step, downhill whatever the curvature, and by how much it is
    /// expected to lower the value.
    fn step(&self) -> (Vec<f64>, f64) {
        let none = || (vec![0.0; self.gradient.len()], 0.0);
        let Some(eigen) = SymmetricEigen::try_new(self.curvature.clone(), f64::EPSILON, 500) else {
            return none();
        };
        let largest = eigen.eigenvalues.amax();
        if !largest.is_finite() || largest <= 0.0 {
            return none();
        }
        let mut along = eigen.eigenvectors.transpose() * &self.gradient;
        let mut lowers = 0.0;
        for (slope, bend) in along.iter_mut().zip(eigen.eigenvalues.iter()) {
            let bend = bend.abs().max(LEAST_CURVATURE * largest);
            lowers += 0.5 * *slope * *slope / bend;
            *slope /= -bend;
        }
        (
            (eigen.eigenvectors * along).iter().copied().collect(),
            lowers,
        )
    }
}

/// The function as argmin asks for it.
struct Asked<'a, 'b, F>(&'b Counted<'a, F>);

impl<F: Fn(&[f64]) -> f64> CostFunction for Asked<'_, '_, F> {
    type Param = Corner;
    type Output = f64;

    fn cost(&self, corner: &Corner) -> Result<f64, argmin::core::Error> {
        Ok(self.0.value(&corner.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bent_valley_is_followed_to_the_last_digits() {
        let valley = |p: &[f64]| 10.0 * (p[1] - p[0] * p[0]).powi(2) + (1.0 - p[0]).powi(2) + 3.0;
        let counted = Counted::new(&valley);
        let near = counted.simplex(&[-1.2, 1.0], 1e-2);
        let found = counted.newton(&near, &[], Closeness::LastDigits);
        assert!(found.settled);
        assert!((found.at[0] - 1.0).abs() < 1e-7 && (found.at[1] - 1.0).abs() < 1e-7);
        assert!(counted.asked.get() > 10);
    }

    #[test]
    fn numbers_held_stay_and_flat_directions_do_no_harm() {
        let trough = |p: &[f64]| (p[0] - 2.0).powi(2) + p[2].powi(2);
        let counted = Counted::new(&trough);
        let found = counted.newton(&[0.3, 5.0, 1.0], &[2], Closeness::LastDigits);
        assert!(found.settled);
        assert!((found.at[0] - 2.0).abs() < 1e-8);
        assert!((found.at[1] - 5.0).abs() < 1e-6 && found.at[2] == 1.0);
        assert!(counted.inverse_curvature(&found.at, &[0, 1]).is_none());
    }
}
