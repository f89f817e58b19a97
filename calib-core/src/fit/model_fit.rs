//! One curve of the family fitted to one set of cores.

use super::columns::Columns;
use super::error::FitError;
use super::lack_of_fit::{LackOfFit, by_level, lack_of_fit};
use super::loss::Loss;
use super::observation::Observation;
use super::parts::{CovariancePart, covariance_parts};
use super::problem::Regression;
use super::scatter::{Problem, ScatterDraw, Scattered, Widened, solve_with_scatter};
use super::solver::{Settings, solve};
use crate::calibration::{Direction, Domain};
use crate::curve::{Curve, CurveKind};
use crate::quantity::{Celsius, Quantity, lowest_and_highest};
use crate::temperature::{TemperatureTerm, count_at_reference};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Largest condition number of the design, columns scaled to unit length, at
/// which parameters are still called determined. At this figure rounding in the
/// last digit of the data moves a parameter by a part in 1e10; what matters in
/// practice, a parameter lost in noise, shows in its uncertainty long before.
pub const CONDITION_LIMIT: f64 = 1e6;

/// Leverage from which a core alone fixes something of the curve: the other cores
/// leave it open, whatever a search among them ends at.
pub(super) const ALL_BUT_ONE: f64 = 1.0 - 1e-9;

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
    /// The same in units of the standard deviation that the other cores show, where
    /// their scatter is estimated: a core far out would else hide in the scatter
    /// that it makes (Cook and Weisberg 1982, Residuals and Influence in Regression,
    /// section 2.2; recalled from memory).
    pub studentised: f64,
    /// Probability that the farthest of so many cores would lie as far out as this,
    /// did all belong to the curve; Bonferroni's bound, at most 1.
    pub chance: f64,
    /// Diagonal of the hat matrix: the core's pull on the curve, 0 to 1.
    pub leverage: f64,
    /// The share of its pull that a robust loss leaves the core, above 0 to 1.
    pub weight: f64,
    /// `theta_v` less what the curve fitted without this core gives, m3/m3.
    pub left_out_error: Option<f64>,
    /// The curve fitted without this core, on the axis of the whole fit; `None`
    /// where the other cores fix none, or are too few to try.
    #[serde(skip)]
    pub curve_without: Option<Curve>,
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

/// Standard deviations that smoothing may allow a smoothed parameter, smoothest
/// first: for the bends of a spline, ratios of slope from e^0.1 to e^3, and at last
/// any at all.
const SMOOTHINGS: [f64; 7] = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 1e4];

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
    /// As [`fit_curve`].
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
        let not_settled = FitError::NotSettled { kind, steps: 0 };
        let (columns, scattered, smoothing) = if model.smoothed() == 0 {
            let scattered = solve_columns(&columns, &starts, loss, &Settings::default());
            (columns, scattered, None)
        } else {
            let smoothing = best_smoothing(&columns, &starts, loss);
            let columns = columns.smoothed(smoothing);
            let scattered = solve_columns(&columns, &starts, loss, &Settings::default());
            (columns, scattered, Some(smoothing))
        };
        let scattered = scattered.ok_or(not_settled)?;
        let (fit, covariance_scale) = untested(observations, kind, reference, &scattered)?;
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
        let spent = spent + f64::from(u8::from(fit.smoothing.is_some()));
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

/// What a fit says without leaving cores out, and the factor of its loss on the
/// covariance.
fn untested(
    observations: &[Observation],
    kind: CurveKind,
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

    let (lowest, highest) = lowest_and_highest(observations.iter().map(|o| o.count.value));
    let axis = model.axis(lowest, highest);
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
fn in_counts(
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

/// The fit to all cores but one.
struct LeftOut {
    /// theta_v of that core less what the fit gives for it, m3/m3.
    error: f64,
    /// Parameters, those of the curve first.
    parameters: Vec<f64>,
}

/// For each core, the fit to the others, with scatter and weights as they were.
fn leave_each_out(columns: &Columns, scattered: &Scattered) -> Vec<Option<LeftOut>> {
    let n = columns.cores;
    let start = &scattered.solution.parameters;
    if n < start.len() + 2 {
        return (0..n).map(|_| None).collect();
    }
    let regression = columns.regression();
    (0..n)
        .map(|i| {
            let others = columns.without(i);
            let mut weights = scattered.weights.clone();
            weights.remove(i);
            let points = others.points();
            let widened = Widened::of(&points, scattered.tau, &weights);
            let solution = solve(
                &others.regression(),
                &widened.points(&points),
                start,
                &Settings::quick(),
            );
            let (mut g, mut v) = ([0.0; super::MAX_PARAMETERS], [0.0]);
            let fitted = regression.evaluate(
                i,
                &[columns.z[i]],
                &solution.parameters,
                &mut g[..start.len()],
                &mut v,
            );
            let error = columns.theta[i] - fitted;
            (solution.found_minimum() && error.is_finite()).then_some(LeftOut {
                error,
                parameters: solution.parameters,
            })
        })
        .collect()
}

/// The root of the weighted mean square; `None` if one error is missing.
fn root_mean_square(left_out: &[Option<LeftOut>], weights: &[f64]) -> Option<f64> {
    let mut sum = 0.0;
    for (without, weight) in left_out.iter().zip(weights) {
        sum += weight * without.as_ref()?.error.powi(2);
    }
    Some((sum / weights.iter().sum::<f64>()).sqrt())
}

fn residuals(
    observations: &[Observation],
    at_reference: &[f64],
    curve: &Curve,
    scattered: &Scattered,
) -> Vec<Residual> {
    let leverages = scattered.solution.leverages();
    observations
        .iter()
        .zip(at_reference)
        .zip(scattered.standardised())
        .enumerate()
        .map(|(i, ((o, count), standardised))| {
            let theta_v = o.theta_v.value.value();
            let fitted = curve.value(*count);
            let leverage = leverages[i].clamp(0.0, 1.0);
            let standardised = if leverage < 1.0 {
                standardised / (1.0 - leverage).sqrt()
            } else {
                0.0
            };
            let (studentised, chance) = studentised(standardised, scattered);
            Residual {
                sample: o.sample.clone(),
                level: o.level.clone(),
                count: *count,
                theta_v,
                fitted,
                residual: theta_v - fitted,
                standardised,
                studentised,
                chance,
                leverage,
                weight: scattered.weights[i],
                left_out_error: None,
                curve_without: None,
            }
        })
        .collect()
}

/// Most standard deviations told of a core: beyond, the others lie on the curve.
const FARTHEST: f64 = 1e3;

/// A standardised residual in units of what the other cores scatter, and how likely
/// the farthest of as many cores is to lie so far out by chance.
fn studentised(standardised: f64, scattered: &Scattered) -> (f64, f64) {
    let (t, freedom) = (standardised, scattered.freedom);
    let cores = scattered.weights.len() as f64;
    let estimated = scattered.tau > 0.0 && scattered.loss == Loss::Squares;
    if !estimated {
        let beyond = 2.0 * Normal::standard().sf(t.abs());
        return (t, (cores * beyond).min(1.0));
    }
    let Ok(student) = StudentsT::new(0.0, 1.0, freedom - 1.0) else {
        return (t, 1.0);
    };
    let rest = freedom - t * t;
    let without = if rest > 0.0 {
        (t * ((freedom - 1.0) / rest).sqrt()).clamp(-FARTHEST, FARTHEST)
    } else {
        FARTHEST.copysign(t)
    };
    (without, (cores * 2.0 * student.sf(without.abs())).min(1.0))
}
