//! The posterior of the departure at chosen counts and times, for every scatter of the
//! cores and every rate of wandering: the linear filter of [`update`](super::update).

use super::check::Check;
use super::error::DriftError;
use super::innovations::{check_errors, factor, readings};
use super::mixture::{Mixture, Part};
use super::scatter::scatter_nodes;
use super::update::WanderAssumed;
use crate::calibration::{Calibration, ReadAt};
use crate::quantity::Timestamp;
use nalgebra::{DMatrix, DVector};

/// Values of the scatter averaged over.
const NODES: usize = 25;
/// Share of the posterior below which a pair of scatter and rate is left aside.
const NEGLIGIBLE: f64 = 1e-9;
/// Seconds of a year of 365.25 days.
const YEAR_S: f64 = 31_557_600.0;

/// Years from `from` to `to`; none below zero.
fn years(from: Timestamp, to: Timestamp) -> f64 {
    (to.seconds_since(from) as f64 / YEAR_S).max(0.0)
}

/// The posterior given one scatter and one rate.
pub(super) struct Component {
    pub ln_weight: f64,
    pub rate: f64,
    /// Variance of one core about the curve, m3/m3 squared.
    pub scatter: f64,
    pub mean: DVector<f64>,
    pub covariance: DMatrix<f64>,
}

/// Counts and times at which the departure is asked for.
pub(super) struct Targets {
    pub at: Vec<ReadAt>,
    /// Years since the calibration.
    years: Vec<f64>,
    /// Share of the range above the middle, -1 to 1 at its ends.
    pub gain_at: Vec<f64>,
}

/// What is updated and from what.
#[derive(Clone, Copy)]
pub(super) struct Subject<'a> {
    pub calibration: &'a Calibration,
    pub calibrated_at: Timestamp,
    pub checks: &'a [Check],
    pub other_ring: bool,
    pub wander: &'a WanderAssumed,
}

impl Subject<'_> {
    /// Water content at the driest and the wettest calibrated count.
    pub(super) fn ends(&self) -> (f64, f64) {
        let domain = self.calibration.domain;
        let curve = &self.calibration.curve;
        let (a, b) = (curve.value(domain.low), curve.value(domain.high));
        (a.min(b), a.max(b))
    }

    pub(super) fn middle(&self) -> f64 {
        let (low, high) = self.ends();
        0.5 * (low + high)
    }

    /// Share of half the range by which `theta` lies above its middle.
    fn gain_at(&self, theta: f64) -> f64 {
        let (low, high) = self.ends();
        (theta - self.middle()) / (0.5 * (high - low)).max(f64::MIN_POSITIVE)
    }

    pub(super) fn targets(&self, places: &[(f64, Timestamp)]) -> Targets {
        let temperature = self.calibration.temperature.map(|term| term.reference);
        let at: Vec<ReadAt> = places
            .iter()
            .map(|(count, _)| ReadAt {
                count: *count,
                temperature,
            })
            .collect();
        let gain_at = at
            .iter()
            .map(|at| self.gain_at(self.calibration.curve.value(at.count)))
            .collect();
        let years = places
            .iter()
            .map(|(_, at)| years(self.calibrated_at, *at))
            .collect();
        Targets { at, years, gain_at }
    }

    /// What the checks, and drift since, let `check` be if it is none of them: its
    /// departure. The error of a reading it shares with one of them counts as its own.
    pub(super) fn foretells(&self, check: &Check) -> Result<Mixture, DriftError> {
        let only = std::slice::from_ref(check);
        let targets = Targets {
            at: readings(only),
            years: vec![years(self.calibrated_at, check.taken_at)],
            gain_at: vec![self.gain_at(check.calibrated)],
        };
        let own = check_errors(self.calibration, only, self.other_ring)[(0, 0)];
        let parts = self.components(&targets)?.into_iter().map(|one| Part {
            weight: one.ln_weight.exp(),
            mean: one.mean[0],
            sd: (one.covariance[(0, 0)] + one.scatter + own)
                .max(f64::MIN_POSITIVE)
                .sqrt(),
        });
        Ok(Mixture(parts.collect()))
    }

    /// The posterior at `targets`, for every scatter and rate.
    pub(super) fn components(&self, targets: &Targets) -> Result<Vec<Component>, DriftError> {
        let checks = self.checks.len();
        let all = checks + targets.at.len();
        let mut everywhere = readings(self.checks);
        everywhere.extend(&targets.at);
        let together = self.calibration.errors_together(&everywhere);
        let (by_parameters, known) = (together.parameters(), together.known());
        let more_scatter = together.more_scatter();
        let errors = check_errors(self.calibration, self.checks, self.other_ring);
        let mut places: Vec<(f64, f64)> = self
            .checks
            .iter()
            .map(|check| {
                (
                    years(self.calibrated_at, check.taken_at),
                    self.gain_at(check.calibrated),
                )
            })
            .collect();
        let targeted = targets.years.iter().zip(&targets.gain_at);
        places.extend(targeted.map(|(years, gain)| (*years, *gain)));
        let ends = self.wander.at_the_ends.powi(2);
        // Of one unit of the rate squared.
        let wandering = DMatrix::from_fn(all, all, |i, j| {
            let ((here, x), (there, y)) = (places[i], places[j]);
            here.min(there) * (1.0 + ends * x * y)
        });
        let departures = DVector::from_iterator(checks, self.checks.iter().map(Check::departure));
        let mut components = Vec::new();
        for node in scatter_nodes(self.calibration, NODES)? {
            let steady = &known + &by_parameters * node.covariance_scale;
            for (rate, weight) in &self.wander.rates {
                let whole = &steady + &wandering * rate.powi(2);
                let mut seen = whole.view((0, 0), (checks, checks)) + &errors;
                for i in 0..checks {
                    seen[(i, i)] += node.variance + more_scatter;
                }
                let lower = factor(seen)?;
                let shared = whole
                    .view((0, checks), (checks, targets.at.len()))
                    .into_owned();
                let solve = |right: &DMatrix<f64>| lower.solve_lower_triangular(right);
                let (Some(explained), Some(whitened)) =
                    (solve(&shared), lower.solve_lower_triangular(&departures))
                else {
                    return Err(DriftError::Calibration {
                        fault: "the errors foretold have no covariance",
                    });
                };
                let own = whole.view((checks, checks), (targets.at.len(), targets.at.len()));
                components.push(Component {
                    ln_weight: node.ln_weight + weight.ln()
                        - 0.5 * whitened.norm_squared()
                        - lower.diagonal().iter().map(|l| l.ln()).sum::<f64>(),
                    rate: *rate,
                    scatter: node.variance + more_scatter,
                    mean: explained.transpose() * whitened,
                    covariance: own - explained.transpose() * explained,
                });
            }
        }
        Ok(kept(components))
    }
}

/// With weights that add up to 1 (as logarithms), the negligible left aside.
fn kept(mut components: Vec<Component>) -> Vec<Component> {
    let most = components
        .iter()
        .map(|one| one.ln_weight)
        .fold(f64::NEG_INFINITY, f64::max);
    components.retain(|one| one.ln_weight - most > NEGLIGIBLE.ln());
    let total: f64 = components
        .iter()
        .map(|one| (one.ln_weight - most).exp())
        .sum();
    for one in &mut components {
        one.ln_weight -= most + total.ln();
    }
    components
}

/// The distribution of `weights . departure`.
pub(super) fn functional(components: &[Component], weights: &DVector<f64>) -> Mixture {
    Mixture(
        components
            .iter()
            .map(|one| Part {
                weight: one.ln_weight.exp(),
                mean: weights.dot(&one.mean),
                sd: weights
                    .dot(&(&one.covariance * weights))
                    .max(f64::MIN_POSITIVE)
                    .sqrt(),
            })
            .collect(),
    )
}
