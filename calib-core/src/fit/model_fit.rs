//! One curve of the family fitted to one set of cores.

use super::columns::{Columns, CurveRegression};
use super::error::FitError;
use super::lack_of_fit::{LackOfFit, by_level, lack_of_fit};
use super::observation::Observation;
use super::parts::{CovariancePart, covariance_parts};
use super::problem::{Points, Regression};
use super::scatter::{ScatterDraw, log_likelihood, scatter_draws, solve_with_scatter, widened};
use super::solver::{Settings, Solution, solve};
use crate::calibration::{Direction, Domain};
use crate::curve::{Curve, CurveKind, StartPoint};
use crate::quantity::{Celsius, Quantity, lowest_and_highest};
use crate::temperature::{TemperatureTerm, count_at_reference};
use serde::{Deserialize, Serialize};

/// Largest condition number of the design, columns scaled to unit length, at
/// which parameters are still called determined. At this figure rounding in the
/// last digit of the data moves a parameter by a part in 1e10; what matters in
/// practice, a parameter lost in noise, shows in its uncertainty long before.
pub const CONDITION_LIMIT: f64 = 1e6;

/// A fitted curve with what the data say about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    /// Cores less parameters.
    pub degrees_of_freedom: f64,
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
    /// without it, m3/m3; `None` where leaving one out leaves too few.
    pub left_out_rmse: Option<f64>,
    /// Lack of fit against the scatter within levels, where levels repeat.
    pub lack_of_fit: Option<LackOfFit>,
    /// Condition number of the design.
    pub condition: f64,
}

/// How far one core lies from the curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// The core.
    pub sample: String,
    /// Its moisture level.
    pub level: String,
    /// Its count, at the reference temperature where there is a term.
    pub count: f64,
    /// Its oven-dry theta_v, m3/m3.
    pub theta_v: f64,
    /// What the curve gives at its count, m3/m3.
    pub fitted: f64,
    /// `theta_v - fitted`, m3/m3.
    pub residual: f64,
    /// The residual in units of its own standard deviation, which allows for
    /// the pull the core has on the curve.
    pub standardised: f64,
    /// Diagonal of the hat matrix: the core's pull on the curve, 0 to 1.
    pub leverage: f64,
    /// `theta_v` less what the curve fitted without this core gives, m3/m3.
    pub left_out_error: Option<f64>,
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
) -> Result<ModelFit, FitError> {
    let model = kind.model();
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
    let (lowest, highest) = lowest_and_highest(observations.iter().map(|o| o.count.value));
    let axis = model.axis(lowest, highest);
    let columns = Columns::of(observations, axis, reference);
    let regression = CurveRegression {
        model,
        warmth: &columns.warmth,
    };
    let start_points: Vec<StartPoint> = columns
        .z
        .iter()
        .zip(&columns.theta)
        .map(|(z, theta)| StartPoint {
            z: *z,
            theta: *theta,
        })
        .collect();
    let mut start = model.start(&start_points)?;
    start.resize(parameters, 0.0);

    let settings = Settings::default();
    let scattered = solve_with_scatter(&regression, &columns.points(), &start, &settings);
    let solution = &scattered.solution;
    if solution.condition > CONDITION_LIMIT || !solution.condition.is_finite() {
        let names = model.parameter_names();
        return Err(FitError::IllConditioned {
            kind,
            parameter: names
                .get(solution.weakest)
                .copied()
                .unwrap_or("temperature coefficient")
                .to_owned(),
            condition: solution.condition,
            limit: CONDITION_LIMIT,
        });
    }
    let Some(covariance) = solution
        .covariance
        .clone()
        .filter(|_| solution.found_minimum())
    else {
        return Err(FitError::NotSettled {
            kind,
            steps: solution.steps,
        });
    };

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

    let left_out = left_out_errors(&regression, &columns, solution, scattered.tau, &settings);
    let residuals = residuals(observations, &at_reference, &curve, solution, &left_out);
    let n = observations.len() as f64;
    let estimated = parameters as f64 + 1.0;
    Ok(ModelFit {
        direction: if curve.value(domain.high) > curve.value(domain.low) {
            Direction::RisesWhenWetter
        } else {
            Direction::FallsWhenWetter
        },
        covariance_parts: covariance_parts(&covariance, solution, observations, scattered.tau)
            .into_iter()
            .map(|part| CovariancePart {
                covariance: in_counts(part.covariance, curve_parameters, axis.unit),
                ..part
            })
            .collect(),
        covariance: in_counts(covariance, curve_parameters, axis.unit),
        core_scatter: scattered.tau,
        scatter_draws: scatter_draws(solution, scattered.tau, n - parameters as f64),
        chi_square: scattered.chi_square_as_stated,
        degrees_of_freedom: n - parameters as f64,
        aicc: (n - estimated - 1.0 > 0.0).then(|| {
            // Hurvich and Tsai (1989), Biometrika 76:297; recalled from memory.
            -2.0 * log_likelihood(solution, scattered.tau)
                + 2.0 * estimated
                + 2.0 * estimated * (estimated + 1.0) / (n - estimated - 1.0)
        }),
        left_out_rmse: left_out
            .iter()
            .map(|e| e.map(|e| e * e))
            .sum::<Option<f64>>()
            .map(|sum| (sum / n).sqrt()),
        lack_of_fit: lack_of_fit(observations, solution),
        condition: solution.condition,
        curve,
        temperature,
        domain,
        residuals,
    })
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

/// The covariance with the last row and column, if they belong to a temperature
/// coefficient, turned from `z` per degree to counts per degree.
fn in_counts(mut covariance: Vec<Vec<f64>>, curve_parameters: usize, unit: f64) -> Vec<Vec<f64>> {
    for (i, row) in covariance.iter_mut().enumerate() {
        for (j, value) in row.iter_mut().enumerate() {
            for index in [i, j] {
                if index >= curve_parameters {
                    *value *= unit;
                }
            }
        }
    }
    covariance
}

/// For each core, its theta_v less what the curve fitted to the others gives.
fn left_out_errors(
    regression: &CurveRegression<'_>,
    columns: &Columns,
    full: &Solution,
    tau: f64,
    settings: &Settings,
) -> Vec<Option<f64>> {
    let n = columns.theta.len();
    if n < full.parameters.len() + 2 {
        return vec![None; n];
    }
    (0..n)
        .map(|i| {
            let others = columns.without(i);
            let model = CurveRegression {
                model: regression.model,
                warmth: &others.warmth,
            };
            let u_theta = widened(&others.u_theta, tau);
            let points = Points {
                u_y: &u_theta,
                ..others.points()
            };
            let solution = solve(&model, &points, &full.parameters, settings);
            let (mut g, mut v) = ([0.0; super::MAX_PARAMETERS], [0.0]);
            let fitted = regression.evaluate(
                i,
                &[columns.z[i]],
                &solution.parameters,
                &mut g[..full.parameters.len()],
                &mut v,
            );
            let error = columns.theta[i] - fitted;
            (solution.found_minimum() && error.is_finite()).then_some(error)
        })
        .collect()
}

fn residuals(
    observations: &[Observation],
    at_reference: &[f64],
    curve: &Curve,
    solution: &Solution,
    left_out: &[Option<f64>],
) -> Vec<Residual> {
    observations
        .iter()
        .enumerate()
        .map(|(i, o)| {
            let theta_v = o.theta_v.value.value();
            let fitted = curve.value(at_reference[i]);
            let leverage = solution.leverages[i].clamp(0.0, 1.0);
            let spread = (solution.variances[i] * (1.0 - leverage)).sqrt();
            Residual {
                sample: o.sample.clone(),
                level: o.level.clone(),
                count: at_reference[i],
                theta_v,
                fitted,
                residual: theta_v - fitted,
                standardised: if spread > 0.0 {
                    solution.residuals[i] / spread
                } else {
                    0.0
                },
                leverage,
                left_out_error: left_out[i],
            }
        })
        .collect()
}
