//! Searches that do not hang on one start.
//!
//! The solver goes downhill from where it is put: to the minimum of the valley it
//! starts in, or, from a start where the model hardly answers to its parameters,
//! nowhere. Several starts are searched from where a model offers several; where a
//! search ends at no minimum a simplex (Nelder and Mead 1965, Comput. J. 7:308;
//! reference recalled from memory), which needs no derivatives, goes on from there
//! and hands over to the solver again.

use super::problem::{Points, Regression};
use super::solution::Solution;
use super::solver::{Settings, solve};
use argmin::core::{CostFunction, Executor, State};
use argmin::solver::neldermead::NelderMead;
use argmin_math::{ArgminAdd, ArgminMul, ArgminSub};

/// Steps of the simplex for each parameter, each round.
const STEPS_EACH: u64 = 400;

/// Rounds of simplex and solver.
const ROUNDS: usize = 5;

/// How far the corners of the first simplex lie from the start, as a share of each
/// parameter.
const REACH: f64 = 0.25;

/// The same where a parameter is zero, in its own unit.
const REACH_AT_ZERO: f64 = 0.1;

/// The lowest minimum that [`solve`] ends at from any of `starts`. Where it ends at
/// none, the search goes on by simplex from where the best ended and from where it
/// began, until the solver ends at a minimum or no longer gets lower. `None` without
/// starts. The `steps` of the solution are those of its own last search alone.
pub fn solve_from<R: Regression + ?Sized>(
    model: &R,
    points: &Points<'_>,
    starts: &[Vec<f64>],
    settings: &Settings,
) -> Option<Solution> {
    let (mut found, start) = starts
        .iter()
        .map(|start| (solve(model, points, start, settings), start))
        .reduce(|a, b| if is_better(&b.0, &a.0) { b } else { a })?;
    for _ in 0..ROUNDS {
        if found.found_minimum() {
            break;
        }
        let again = [&found.parameters, start]
            .into_iter()
            .filter_map(|from| simplex(model, points, from))
            .map(|from| solve(model, points, &from, settings))
            .reduce(|a, b| if is_better(&b, &a) { b } else { a });
        match again {
            Some(again) if is_better(&again, &found) => found = again,
            _ => break,
        }
    }
    Some(found)
}

/// A minimum before none, then the lower one.
fn is_better(a: &Solution, b: &Solution) -> bool {
    let rank = |s: &Solution| (!s.found_minimum(), s.chi_square);
    rank(a) < rank(b)
}

/// Where a simplex put up at `from` comes to; `None` where Q has no value there.
fn simplex<R: Regression + ?Sized>(
    model: &R,
    points: &Points<'_>,
    from: &[f64],
) -> Option<Vec<f64>> {
    let profile = Profile { model, points };
    profile.q(from).is_finite().then_some(())?;
    let corners = (0..from.len()).map(|k| {
        let mut corner = from.to_vec();
        corner[k] += if corner[k] == 0.0 {
            REACH_AT_ZERO
        } else {
            REACH * corner[k]
        };
        corner
    });
    let corners: Vec<Corner> = std::iter::once(from.to_vec())
        .chain(corners)
        .map(Corner)
        .collect();
    let steps = STEPS_EACH * from.len() as u64;
    Executor::new(profile, NelderMead::new(corners))
        .configure(|state| state.max_iters(steps))
        .run()
        .ok()?
        .state
        .get_best_param()
        .map(|corner| corner.0.clone())
}

/// A corner of the simplex, with the arithmetic argmin asks for.
#[derive(Clone)]
pub(crate) struct Corner(pub(crate) Vec<f64>);

impl Corner {
    fn with(&self, other: &Self, combine: impl Fn(f64, f64) -> f64) -> Self {
        let pairs = self.0.iter().zip(&other.0);
        Self(pairs.map(|(a, b)| combine(*a, *b)).collect())
    }
}

impl ArgminAdd<Corner, Corner> for Corner {
    fn add(&self, other: &Corner) -> Corner {
        self.with(other, |a, b| a + b)
    }
}

impl ArgminSub<Corner, Corner> for Corner {
    fn sub(&self, other: &Corner) -> Corner {
        self.with(other, |a, b| a - b)
    }
}

impl ArgminMul<f64, Corner> for Corner {
    fn mul(&self, factor: &f64) -> Corner {
        Corner(self.0.iter().map(|a| a * factor).collect())
    }
}

/// Q with the inputs at their best, over the parameters.
struct Profile<'a, R: ?Sized> {
    model: &'a R,
    points: &'a Points<'a>,
}

impl<R: Regression + ?Sized> Profile<'_, R> {
    /// Infinite where Q has no value.
    fn q(&self, p: &[f64]) -> f64 {
        let stay = Settings {
            max_steps: 0,
            ..Settings::quick()
        };
        solve(self.model, self.points, p, &stay).chi_square
    }
}

impl<R: Regression + ?Sized> CostFunction for Profile<'_, R> {
    type Param = Corner;
    type Output = f64;

    fn cost(&self, p: &Corner) -> Result<f64, argmin::core::Error> {
        Ok(self.q(&p.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Ending;

    /// y = (p^2 - 1)^2 + p/2 against zero: a minimum near -1, a higher one near 1.
    struct TwoValleys;

    impl Regression for TwoValleys {
        fn parameters(&self) -> usize {
            1
        }
        fn inputs(&self) -> usize {
            0
        }
        fn evaluate(&self, _: usize, _: &[f64], p: &[f64], g: &mut [f64], _: &mut [f64]) -> f64 {
            let p = p[0];
            g[0] = 4.0 * p * (p * p - 1.0) + 0.5;
            (p * p - 1.0).powi(2) + 0.5 * p + 2.0
        }
    }

    const ONE: Points<'_> = Points {
        y: &[0.0],
        u_y: &[1.0],
        x: &[],
        u_x: &[],
    };

    #[test]
    fn of_several_starts_the_lowest_minimum_is_kept_whatever_their_order() {
        let settings = Settings::default();
        let alone = solve(&TwoValleys, &ONE, &[0.9], &settings);
        assert!(alone.parameters[0] > 0.5, "{:?}", alone.parameters);
        for starts in [[vec![0.9], vec![-0.9]], [vec![-0.9], vec![0.9]]] {
            let found = solve_from(&TwoValleys, &ONE, &starts, &settings).unwrap();
            assert!(found.parameters[0] < -0.5, "{:?}", found.parameters);
            assert!(found.chi_square < alone.chi_square);
        }
        assert!(solve_from(&TwoValleys, &ONE, &[], &settings).is_none());
    }

    /// y = exp(-p x).
    struct Decay;

    impl Regression for Decay {
        fn parameters(&self) -> usize {
            1
        }
        fn inputs(&self) -> usize {
            1
        }
        fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
            let y = (-p[0] * x[0]).exp();
            g[0] = -x[0] * y;
            v[0] = -p[0] * y;
            y
        }
    }

    #[test]
    fn a_search_that_runs_out_of_steps_is_taken_up_by_simplex() {
        let x = [1.0, 2.0, 3.0, 4.0];
        let y = x.map(|x: f64| (-0.4 * x).exp());
        let points = Points {
            y: &y,
            u_y: &[0.01; 4],
            x: &x,
            u_x: &[0.0; 4],
        };
        let settings = Settings {
            max_steps: 3,
            ..Settings::default()
        };
        let start = vec![25.0];
        let alone = solve(&Decay, &points, &start, &settings);
        assert!(!alone.found_minimum(), "{alone:?}");
        let found = solve_from(&Decay, &points, &[start], &settings).unwrap();
        assert!(found.found_minimum());
        assert!((found.parameters[0] - 0.4).abs() < 1e-9);
    }

    #[test]
    fn where_there_is_no_value_there_is_no_minimum_and_no_panic() {
        let hole = Points {
            y: &[f64::NAN],
            ..ONE
        };
        let found = solve_from(&TwoValleys, &hole, &[vec![0.9]], &Settings::default()).unwrap();
        assert_eq!(found.ending, Ending::StartNotFinite);
    }
}
