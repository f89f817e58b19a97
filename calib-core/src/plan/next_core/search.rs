//! The best place for one, two or three cores, by trying all.

use super::knowledge::Knowledge;
use nalgebra::DMatrix;

/// Which cores, by place in the grid, driest first, and what they leave.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    /// Places in the grid; one may stand there twice.
    pub(super) at: Vec<usize>,
    /// What is made least by them.
    pub(super) cost: f64,
}

/// The `cores` that leave the least mean variance over the places `of`.
pub(super) fn least_mean_variance(knowledge: &Knowledge, cores: usize, of: &[usize]) -> Found {
    let cost = |covariance: &DMatrix<f64>, last: usize| -> f64 {
        let sum: f64 = of
            .iter()
            .map(|place| knowledge.variance_after(covariance, last, *place))
            .sum();
        sum / of.len().max(1) as f64
    };
    let mut best = Found {
        at: Vec::new(),
        cost: f64::INFINITY,
    };
    let mut path = Vec::new();
    descend(
        knowledge,
        &[&knowledge.together],
        cores,
        &mut path,
        &mut |covariances, path, last| {
            let cost = covariances.first().map_or(f64::INFINITY, |c| cost(c, last));
            keep_better(&mut best, cost, path, last);
        },
    );
    best
}

/// The `cores` that raise the determinant of the information most: the mean, by weight,
/// over the curves of its logarithm; `cost` is what it rises by with its sign changed.
pub(super) fn most_information(knowledge: &Knowledge, cores: usize) -> Found {
    let mut best = Found {
        at: Vec::new(),
        cost: f64::INFINITY,
    };
    let start: Vec<&DMatrix<f64>> = knowledge.curves.iter().map(|(_, c)| c).collect();
    let mut path = Vec::new();
    descend(
        knowledge,
        &start,
        cores,
        &mut path,
        &mut |covariances, path, last| {
            // What the cores before the last gave, each on what those before it left.
            let gain: f64 = knowledge
                .curves
                .iter()
                .zip(covariances)
                .map(|((weight, whole), left)| {
                    let before = gained(knowledge, whole, path);
                    weight * (before + knowledge.information(left, last))
                })
                .sum();
            keep_better(&mut best, -gain, path, last);
        },
    );
    best
}

fn gained(knowledge: &Knowledge, covariance: &DMatrix<f64>, path: &[usize]) -> f64 {
    match path {
        [] => 0.0,
        [only] => knowledge.information(covariance, *only),
        [first, rest @ ..] => {
            let left = knowledge.after(covariance, *first);
            knowledge.information(covariance, *first) + gained(knowledge, &left, rest)
        }
    }
}

fn keep_better(best: &mut Found, cost: f64, path: &[usize], last: usize) {
    if cost < best.cost {
        best.cost = cost;
        best.at = path.to_vec();
        best.at.push(last);
    }
}

/// Tries all cores from the last on the path onward; `look` sees the covariances before
/// the last core, the path up to it, and it.
fn descend(
    knowledge: &Knowledge,
    covariances: &[&DMatrix<f64>],
    cores: usize,
    path: &mut Vec<usize>,
    look: &mut impl FnMut(&[&DMatrix<f64>], &[usize], usize),
) {
    let from = path.last().copied().unwrap_or(0);
    for at in from..knowledge.grid {
        if cores <= 1 {
            look(covariances, path, at);
            continue;
        }
        let left: Vec<DMatrix<f64>> = covariances
            .iter()
            .map(|covariance| knowledge.after(covariance, at))
            .collect();
        let left: Vec<&DMatrix<f64>> = left.iter().collect();
        path.push(at);
        descend(knowledge, &left, cores - 1, path, look);
        path.pop();
    }
}
