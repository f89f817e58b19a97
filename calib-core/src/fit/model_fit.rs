//! One curve of the family fitted to one set of cores.

use super::error::FitError;
use super::fitting::Fitting;
use super::lack_of_fit::{LackOfFit, lack_of_fit};
use super::loss::Loss;
use super::observation::Observation;
use super::parts::CovariancePart;
use super::residual::{Residual, residuals};
use super::scatter::{ScatterDraw, Scattered};
use crate::calibration::{Direction, Domain};
use crate::curve::{Axis, Curve, CurveKind};
use crate::quantity::{Celsius, lowest_and_highest};
use crate::temperature::{TemperatureTerm, count_at_reference};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Largest condition number of the design, columns scaled to unit length, at
/// which parameters are still called determined. At this figure rounding in the
/// last digit of the data moves a parameter by a part in 1e10; what matters in
/// practice, a parameter lost in noise, shows in its uncertainty long before.
pub const CONDITION_LIMIT: f64 = 1e6;

/// A fitted curve with what the data say about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ModelFit {
    /// The curve.
    pub curve: Curve,
    /// The temperature term, if one was fitted.
    pub temperature: Option<TemperatureTerm>,
    /// Covariance of the curve parameters, then of the temperature coefficient.
    pub covariance: Vec<Vec<f64>>,
    /// The covariance by source; the parts add up to it.
    pub covariance_parts: Vec<CovariancePart>,
    /// Scatter of the cores beyond their stated uncertainties, m3/m3.
    pub core_scatter: f64,
    /// What that scatter may really be.
    pub scatter_draws: Vec<ScatterDraw>,
    /// Weighted sum of squares with the uncertainties as stated.
    pub chi_square: f64,
    /// Cores, each by its weight, less parameters, of which smoothed ones count as
    /// far as the cores determine them, and less what choosing the curve took.
    pub degrees_of_freedom: f64,
    /// Standard deviation that smoothing allows the smoothed parameters, where the
    /// curve has any.
    pub smoothing: Option<f64>,
    /// What residuals cost.
    pub loss: Loss,
    /// Lowest and highest calibrated count.
    pub domain: Domain,
    /// Which way counts move.
    pub direction: Direction,
    /// One entry a core, in the order given.
    pub residuals: Vec<Residual>,
    /// Akaike's information criterion, corrected for few cores; `None` where
    /// the cores are too few for the correction.
    pub aicc: Option<f64>,
    /// Root mean square of the errors made at each core by the curve fitted
    /// without it, each core with its weight, m3/m3; `None` where leaving one out
    /// leaves too few.
    pub left_out_rmse: Option<f64>,
    /// Lack of fit against the scatter within levels, where levels repeat.
    pub lack_of_fit: Option<LackOfFit>,
    /// Condition number of the design.
    pub condition: f64,
}

/// Fits one curve to the observations, with a temperature term if `reference`
/// is given (every observation must then have a temperature; one that has none
/// is taken to be at the reference).
///
/// # Errors
/// [`FitError`] when the cores or levels are too few, the search does not settle,
/// the parameters are not determined, or the curve is not monotone or not
/// plausible over the calibrated counts.
pub fn fit_curve(
    observations: &[Observation],
    kind: CurveKind,
    reference: Option<Celsius>,
    loss: Loss,
) -> Result<ModelFit, FitError> {
    let mut fitting = Fitting::of(observations, kind, reference, loss)?;
    fitting.test();
    Ok(fitting.finish(observations, 0.0))
}

/// What a fit says without leaving cores out, and the factor of its loss on the
/// covariance.
pub(super) fn untested(
    observations: &[Observation],
    kind: CurveKind,
    axis: Axis,
    reference: Option<Celsius>,
    scattered: &Scattered,
) -> Result<(ModelFit, f64), FitError> {
    let model = kind.model();
    let solution = &scattered.solution;
    let conditioning = solution.conditioning();
    if conditioning.number > CONDITION_LIMIT || !conditioning.number.is_finite() {
        let names = model.parameter_names();
        return Err(FitError::IllConditioned {
            kind,
            parameter: names
                .get(conditioning.weakest)
                .copied()
                .unwrap_or("temperature coefficient")
                .to_owned(),
            condition: conditioning.number,
            limit: CONDITION_LIMIT,
        });
    }
    let n = observations.len() as f64;
    let parameters = n - scattered.freedom;
    let standardised: Vec<f64> = scattered.standardised().collect();
    let scale = scattered.loss.covariance_scale(&standardised, parameters);
    let settled = solution.covariance().filter(|_| solution.found_minimum());
    let Some((covariance, scale)) = settled.zip(scale) else {
        return Err(FitError::NotSettled {
            kind,
            steps: solution.steps,
        });
    };

    let curve_parameters = kind.parameters();
    let (curve_values, rest) = solution.parameters.split_at(curve_parameters);
    let curve = Curve {
        kind,
        axis,
        parameters: curve_values.to_vec(),
    };
    let temperature = reference
        .zip(rest.first())
        .map(|(reference, z_per_c)| TemperatureTerm {
            reference,
            coefficient: z_per_c * axis.unit,
        });
    let at_reference: Vec<f64> = observations
        .iter()
        .map(|o| count_at_reference(temperature, o.count.value, o.temperature))
        .collect();
    let (low, high) = lowest_and_highest(at_reference.iter().copied());
    let domain = Domain { low, high };
    check_shape(&curve, domain)?;
    let estimated = parameters + 1.0;
    let fit = ModelFit {
        direction: if curve.value(domain.high) > curve.value(domain.low) {
            Direction::RisesWhenWetter
        } else {
            Direction::FallsWhenWetter
        },
        covariance_parts: Vec::new(),
        covariance: in_counts(covariance, scale, curve_parameters, axis.unit),
        core_scatter: scattered.tau,
        scatter_draws: Vec::new(),
        chi_square: scattered.chi_square_as_stated,
        degrees_of_freedom: scattered.freedom_after(0.0),
        smoothing: None,
        loss: scattered.loss,
        aicc: (n - estimated - 1.0 > 0.0).then(|| {
            // Hurvich and Tsai (1989), Biometrika 76:297; recalled from memory.
            -2.0 * scattered.log_likelihood()
                + 2.0 * estimated
                + 2.0 * estimated * (estimated + 1.0) / (n - estimated - 1.0)
        }),
        left_out_rmse: None,
        lack_of_fit: lack_of_fit(observations, solution),
        condition: conditioning.number,
        residuals: residuals(observations, &at_reference, &curve, scattered),
        curve,
        temperature,
        domain,
    };
    Ok((fit, scale))
}

/// A curve must be monotone over its domain and stay near what soil can hold.
fn check_shape(curve: &Curve, domain: Domain) -> Result<(), FitError> {
    curve.check_defined(domain.low, domain.high)?;
    if let Some(turning) = curve.turning_point_within(domain.low, domain.high) {
        return Err(FitError::NotMonotone {
            kind: curve.kind,
            turning,
            low: domain.low,
            high: domain.high,
        });
    }
    for count in [domain.low, domain.high] {
        let theta = curve.value(count);
        if !(-0.1..=1.0).contains(&theta) {
            return Err(FitError::Implausible {
                kind: curve.kind,
                theta,
                count,
            });
        }
    }
    Ok(())
}

/// The covariance times `scale`, with the last row and column, if they belong to a
/// temperature coefficient, turned from `z` per degree to counts per degree.
pub(super) fn in_counts(
    mut covariance: Vec<Vec<f64>>,
    scale: f64,
    curve_parameters: usize,
    unit: f64,
) -> Vec<Vec<f64>> {
    for (i, row) in covariance.iter_mut().enumerate() {
        for (j, value) in row.iter_mut().enumerate() {
            *value *= scale;
            for index in [i, j] {
                if index >= curve_parameters {
                    *value *= unit;
                }
            }
        }
    }
    covariance
}
