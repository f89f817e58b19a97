//! What is known of the curve at a grid of places, and what a core would leave of it.

use super::advice::NewCore;
use crate::calibration::{Calibration, ReadAt};
use nalgebra::DMatrix;

/// Covariances between the errors at places; the first ones are the grid, where a core
/// may be dug.
#[derive(Debug, Clone)]
pub(super) struct Knowledge {
    /// theta_v of each place, m3/m3.
    pub(super) theta_v: Vec<f64>,
    /// Count of each place at the reference temperature.
    pub(super) counts: Vec<f64>,
    /// How many places are the grid.
    pub(super) grid: usize,
    /// All curves together, m3/m3 squared.
    pub(super) together: DMatrix<f64>,
    /// Each curve by itself, with its weight.
    pub(super) curves: Vec<(f64, DMatrix<f64>)>,
    /// Variance of a core at each place about the curve, m3/m3 squared.
    pub(super) core: Vec<f64>,
}

impl Knowledge {
    /// Of `calibration` at `grid` places, evenly from its driest water content to its
    /// wettest, and then at `targets` (theta_v, m3/m3), which must lie between.
    pub(super) fn of(
        calibration: &Calibration,
        new_core: &NewCore,
        grid: usize,
        targets: &[f64],
    ) -> Self {
        let domain = calibration.domain;
        let ends = [domain.low, domain.high].map(|count| calibration.curve.value(count));
        let (dry, wet) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
        let last = grid.saturating_sub(1).max(1) as f64;
        let wanted = (0..grid)
            .map(|i| dry + (wet - dry) * i as f64 / last)
            .chain(targets.iter().copied());
        let (mut theta_v, mut counts) = (Vec::new(), Vec::new());
        for theta in wanted {
            let found = calibration.curve.count_at(theta, domain.low, domain.high);
            // Rounding may put an end a hair outside.
            let count = found.unwrap_or(if (theta - ends[0]).abs() < (theta - ends[1]).abs() {
                domain.low
            } else {
                domain.high
            });
            theta_v.push(theta);
            counts.push(count);
        }
        let readings: Vec<ReadAt> = counts
            .iter()
            .map(|count| ReadAt {
                count: *count,
                temperature: calibration.temperature.map(|term| term.reference),
            })
            .collect();
        let errors = calibration.errors_together(&readings);
        let together = errors
            .curves
            .iter()
            .fold(errors.parameters(), |sum, curve| {
                sum + &curve.above * curve.above.transpose() * curve.weight
            });
        let scatter = calibration.core_scatter.powi(2) + errors.more_scatter();
        let core = readings
            .iter()
            .map(|at| {
                scatter
                    + new_core.reference_u.powi(2)
                    + (calibration.slope_at(at) * new_core.count_u).powi(2)
            })
            .collect();
        Self {
            theta_v,
            counts,
            grid,
            together,
            curves: errors
                .curves
                .into_iter()
                .map(|curve| (curve.weight, curve.parameters))
                .collect(),
            core,
        }
    }

    /// What a core at grid place `at` leaves of a covariance.
    pub(super) fn after(&self, covariance: &DMatrix<f64>, at: usize) -> DMatrix<f64> {
        let column = covariance.column(at).clone_owned();
        let whole = covariance[(at, at)] + self.core[at];
        covariance - &column * column.transpose() / whole
    }

    /// What a core at grid place `at` leaves of the variance at place `of`.
    pub(super) fn variance_after(&self, covariance: &DMatrix<f64>, at: usize, of: usize) -> f64 {
        let shared = covariance[(of, at)];
        covariance[(of, of)] - shared * shared / (covariance[(at, at)] + self.core[at])
    }

    /// By how much a core at grid place `at` raises the logarithm of the determinant of
    /// the information on one curve's parameters.
    pub(super) fn information(&self, covariance: &DMatrix<f64>, at: usize) -> f64 {
        (covariance[(at, at)] / self.core[at]).ln_1p()
    }
}
