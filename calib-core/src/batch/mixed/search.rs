//! The variances of highest restricted likelihood.

use super::super::error::BatchError;
use super::Boundary;
use super::likelihood::Likelihood;
use super::minimise::{Closeness, Counted, Lowest};

/// How much higher -2 log likelihood may be at an edge for the edge to be taken: a
/// variance that cannot be told from zero to the digits we give.
const NO_HIGHER: f64 = 1e-8;

/// Standard deviation of -2 log likelihood in the simplex at which it hands over, for
/// few pairs.
const NEAR_ENOUGH: f64 = 1e-2;

/// Where the likelihood is highest.
pub(super) struct Highest {
    /// Relative factors, as [`Likelihood::scaling`] takes them.
    pub(super) relative: Vec<f64>,
    /// -2 log restricted likelihood.
    pub(super) deviance: f64,
    pub(super) boundaries: Vec<Boundary>,
    /// How often the likelihood was asked.
    pub(super) evaluations: u64,
}

/// An edge: the factors that are zero there.
const EDGES: [(Boundary, &[usize]); 3] = [
    (Boundary::NoGains, &[1, 2]),
    (Boundary::NoOffsets, &[0]),
    (Boundary::OneWayToDiffer, &[2]),
];

pub(super) fn highest(likelihood: &Likelihood, start: &[f64]) -> Result<Highest, BatchError> {
    let deviance = |relative: &[f64]| likelihood.profiled(relative);
    let counted = Counted::new(&deviance);
    // The likelihood of many pairs is so steep that Newton's steps find it from afar.
    let pairs = likelihood.arrow.pairs() as f64;
    let near = counted.simplex(start, NEAR_ENOUGH * (1.0 + pairs / 100.0));
    let mut found = counted.newton(&near, &[], Closeness::LastDigits);
    let mut boundaries = Vec::new();
    let mut held: Vec<usize> = Vec::new();
    for (boundary, zeros) in edges(likelihood) {
        // A probe that has no gain, or no offset, has no correlation at the edge
        // either.
        if zeros.iter().any(|i| held.contains(i)) || (zeros == [2] && held.contains(&0)) {
            continue;
        }
        let mut tried = held.clone();
        tried.extend(&zeros);
        let there = on_edge(&counted, &found, boundary, &zeros, &tried);
        if there.value <= found.value + NO_HIGHER {
            found = there;
            held = tried;
            boundaries.push(boundary);
        }
    }
    if !found.settled || !found.value.is_finite() || found.value >= f64::MAX {
        return Err(BatchError::NotSettled {
            steps: counted.asked.get(),
        });
    }
    Ok(Highest {
        relative: found.at,
        deviance: found.value,
        boundaries,
        evaluations: counted.asked.get(),
    })
}

fn edges(likelihood: &Likelihood) -> Vec<(Boundary, Vec<usize>)> {
    let mut edges: Vec<(Boundary, Vec<usize>)> = EDGES
        .iter()
        .filter(|(_, zeros)| zeros.iter().all(|i| *i < own_factors(likelihood)))
        .map(|(boundary, zeros)| (*boundary, zeros.to_vec()))
        .collect();
    if likelihood.cores {
        edges.push((Boundary::NoCoreEffects, vec![own_factors(likelihood)]));
    }
    edges
}

fn own_factors(likelihood: &Likelihood) -> usize {
    if likelihood.own_columns > 1 { 3 } else { 1 }
}

/// The lowest on an edge near `found`.
fn on_edge<F: Fn(&[f64]) -> f64>(
    counted: &Counted<'_, F>,
    found: &Lowest,
    boundary: Boundary,
    zeros: &[usize],
    held: &[usize],
) -> Lowest {
    let mut start = found.at.clone();
    let mut held = held.to_vec();
    if boundary == Boundary::NoOffsets && start.len() > 2 {
        // All the gain there is, upright; its other factor would do the same.
        start[2] = start[1].hypot(start[2]);
        start[1] = 0.0;
        held.push(1);
    }
    for i in zeros {
        start[*i] = 0.0;
    }
    // Not worth the search where the edge lies far above.
    let near = counted.newton(
        &start,
        &(0..start.len()).collect::<Vec<_>>(),
        Closeness::ForProfile,
    );
    if near.value > found.value + 1.0 {
        return near;
    }
    counted.newton(&start, &held, Closeness::LastDigits)
}
