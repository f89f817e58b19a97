//! A fit on its way: searched for, then tested on cores left out, then finished with
//! what only the one taken needs.

use super::columns::Columns;
use super::error::FitError;
use super::lack_of_fit::by_level;
use super::left_out::{leave_each_out, root_mean_square};
use super::loss::Loss;
use super::model_fit::{ModelFit, in_counts, untested};
use super::observation::Observation;
use super::parts::{CovariancePart, covariance_parts};
use super::problem::Regression;
use super::residual::ALL_BUT_ONE;
use super::scatter::{Problem, Scattered, solve_with_scatter};
use super::solver::Settings;
use crate::curve::{Curve, CurveKind};
use crate::quantity::{Celsius, lowest_and_highest};

/// Standard deviations that smoothing may allow a smoothed parameter, smoothest
/// first: for the bends of a spline, ratios of slope from e^0.1 to e^3, and at last
/// any at all.
const SMOOTHINGS: [f64; 7] = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 1e4];

/// Degrees of freedom that choosing among curves takes, as the coverage of the
/// intervals shows (the example `coverage` of the tests; our choice).
pub(super) const SPENT_ON_CHOICE: f64 = 1.0;

/// A fit that has not been tested yet on cores left out.
pub(super) struct Fitting {
    columns: Columns,
    scattered: Scattered,
    /// Factor of the loss on the covariance.
    covariance_scale: f64,
    /// The fit without the test.
    pub(super) fit: ModelFit,
}

impl Fitting {
    /// As [`fit_curve`](super::fit_curve).
    pub(super) fn of(
        observations: &[Observation],
        kind: CurveKind,
        reference: Option<Celsius>,
        loss: Loss,
    ) -> Result<Self, FitError> {
        let model = kind.model();
        enough(observations, kind, reference)?;
        let (lowest, highest) = lowest_and_highest(observations.iter().map(|o| o.count.value));
        let axis = model.axis(lowest, highest);
        let columns = Columns::of(observations, model, axis, reference);
        let mut starts = model.starts(&columns.start_points())?;
        for start in &mut starts {
            start.resize(columns.regression().parameters(), 0.0);
        }
        let smoothing = (model.smoothed() > 0).then(|| best_smoothing(&columns, &starts, loss));
        let columns = match smoothing {
            Some(smoothing) => columns.smoothed(smoothing),
            None => columns,
        };
        let scattered = solve_columns(&columns, &starts, loss, &Settings::default())
            .ok_or(FitError::NotSettled { kind, steps: 0 })?;
        let (fit, covariance_scale) = untested(observations, kind, axis, reference, &scattered)?;
        Ok(Self {
            covariance_scale,
            columns,
            scattered,
            fit: ModelFit { smoothing, ..fit },
        })
    }

    /// Tests it on cores left out.
    pub(super) fn test(&mut self) {
        let fit = &mut self.fit;
        let left_out = leave_each_out(&self.columns, &self.scattered);
        fit.left_out_rmse = root_mean_square(&left_out, &self.scattered.weights);
        let curve_parameters = fit.curve.parameters.len();
        for (residual, without) in fit.residuals.iter_mut().zip(left_out) {
            let Some(mut without) = without else { continue };
            residual.left_out_error = Some(without.error);
            without.parameters.truncate(curve_parameters);
            residual.curve_without = (residual.leverage < ALL_BUT_ONE).then(|| Curve {
                parameters: without.parameters,
                ..fit.curve.clone()
            });
        }
    }

    /// With all that its scatter may be, and its covariance taken apart. `spent`
    /// degrees of freedom went into choosing it.
    pub(super) fn finish(self, observations: &[Observation], spent: f64) -> ModelFit {
        let mut fit = self.fit;
        // Choosing the smoothing is choosing among curves too.
        let spent = spent + fit.smoothing.map_or(0.0, |_| SPENT_ON_CHOICE);
        fit.degrees_of_freedom = self.scattered.freedom_after(spent);
        fit.scatter_draws = self.scattered.draws(spent);
        let curve_parameters = fit.curve.parameters.len();
        fit.covariance_parts = covariance_parts(&self.scattered, observations)
            .into_iter()
            .map(|part| CovariancePart {
                covariance: in_counts(
                    part.covariance,
                    self.covariance_scale,
                    curve_parameters,
                    fit.curve.axis.unit,
                ),
                ..part
            })
            .collect();
        fit
    }
}

/// The curve with this smoothing and no other, for tests.
#[cfg(test)]
pub(super) fn with_smoothing(
    observations: &[Observation],
    kind: CurveKind,
    smoothing: f64,
) -> Result<Curve, FitError> {
    let model = kind.model();
    let (lowest, highest) = lowest_and_highest(observations.iter().map(|o| o.count.value));
    let axis = model.axis(lowest, highest);
    let columns = Columns::of(observations, model, axis, None).smoothed(smoothing);
    let starts = model.starts(&columns.start_points())?;
    let scattered = solve_columns(&columns, &starts, Loss::Squares, &Settings::default())
        .ok_or(FitError::NotSettled { kind, steps: 0 })?;
    Ok(Curve {
        kind,
        axis,
        parameters: scattered.solution.parameters,
    })
}

/// Whether there are cores and levels enough.
fn enough(
    observations: &[Observation],
    kind: CurveKind,
    reference: Option<Celsius>,
) -> Result<(), FitError> {
    let curve_parameters = kind.parameters();
    let parameters = curve_parameters + usize::from(reference.is_some());
    if observations.len() < parameters + 1 {
        return Err(FitError::TooFewCores {
            kind,
            cores: observations.len(),
            parameters,
            needed: parameters + 1,
        });
    }
    let levels = by_level(observations).len();
    if levels < curve_parameters {
        return Err(FitError::TooFewLevels {
            kind,
            levels,
            needed: curve_parameters,
        });
    }
    Ok(())
}

pub(super) fn solve_columns(
    columns: &Columns,
    starts: &[Vec<f64>],
    loss: Loss,
    settings: &Settings,
) -> Option<Scattered> {
    let problem = Problem {
        model: &columns.regression(),
        points: columns.points(),
        cores: columns.cores,
        loss,
    };
    solve_with_scatter(&problem, starts, settings)
}

/// The smoothing under which cores left out are foretold best; the middle one
/// where none can be left out.
fn best_smoothing(columns: &Columns, starts: &[Vec<f64>], loss: Loss) -> f64 {
    let error_with = |smoothing: &f64| {
        let columns = columns.smoothed(*smoothing);
        let scattered = solve_columns(&columns, starts, loss, &Settings::quick())?;
        let error = scattered
            .solution
            .found_minimum()
            .then(|| root_mean_square(&leave_each_out(&columns, &scattered), &scattered.weights));
        Some((*smoothing, error.flatten()?))
    };
    SMOOTHINGS
        .iter()
        .filter_map(error_with)
        .min_by(|(_, a), (_, b)| a.total_cmp(b))
        .map_or(SMOOTHINGS[SMOOTHINGS.len() / 2], |(smoothing, _)| smoothing)
}
