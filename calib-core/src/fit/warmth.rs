//! Whether the data can carry a temperature term, and why not.

use super::model_fit::ModelFit;
use super::observation::Observation;
use crate::calibration::COVERAGE;
use crate::quantity::{Celsius, Quantity, lowest_and_highest};
use crate::uncertainty::coverage_factor;
use nalgebra::{DMatrix, DVector};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Smallest span of soil temperature among the cores, C, from which a
/// coefficient is attempted: below it the sensor's own half degree or so is a
/// large share of what there is to see (our choice).
pub const LEAST_SPAN: f64 = 4.0;

/// Largest variance inflation factor at which temperature and moisture still
/// count as varied independently. 10 is the customary figure (common practice).
pub const LARGEST_INFLATION: f64 = 10.0;

/// By how much the corrected AIC must fall for a term to be carried: 2, the
/// customary figure for one more parameter earning its place (common practice).
pub const LEAST_GAIN: f64 = 2.0;

/// The decision on the temperature term, with the numbers behind it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "decision", rename_all = "kebab-case")]
pub enum TemperatureDecision {
    /// A term is carried.
    Carried {
        /// Reference temperature.
        reference: Celsius,
        /// Counts per degree.
        coefficient: f64,
        /// Its expanded uncertainty (95 %), counts per degree.
        coefficient_expanded: f64,
        /// Span of temperature among the cores, C.
        span: f64,
        /// Variance inflation factor of temperature against the curve's terms.
        inflation: f64,
    },
    /// Some cores have no soil temperature.
    Missing {
        /// How many.
        cores: usize,
    },
    /// The cores were all read at nearly one temperature.
    SpanTooSmall {
        /// Span among the cores, C.
        span: f64,
    },
    /// Temperature moved along with moisture, so their effects cannot be told
    /// apart.
    Confounded {
        /// Variance inflation factor.
        inflation: f64,
        /// Counts per degree as fitted nevertheless, with its expanded
        /// uncertainty (95 %), where a fit was possible.
        coefficient: Option<(f64, f64)>,
    },
    /// No curve can be fitted with one more parameter.
    TooFewCores {
        /// Cores given.
        cores: usize,
    },
    /// The data show no effect worth a parameter.
    NoEffectSeen {
        /// Counts per degree, as fitted.
        coefficient: f64,
        /// Its expanded uncertainty (95 %).
        coefficient_expanded: f64,
    },
}

impl TemperatureDecision {
    /// The largest effect the data leave possible, counts per degree without its
    /// sign: the coefficient itself where it is carried, with its expanded
    /// uncertainty added where it is not; `None` where nothing is known.
    pub fn largest_effect(&self) -> Option<f64> {
        match self {
            TemperatureDecision::Carried { coefficient, .. } => Some(coefficient.abs()),
            TemperatureDecision::NoEffectSeen {
                coefficient,
                coefficient_expanded,
            }
            | TemperatureDecision::Confounded {
                coefficient: Some((coefficient, coefficient_expanded)),
                ..
            } => Some(coefficient.abs() + coefficient_expanded),
            _ => None,
        }
    }

    /// Whether a term is carried.
    pub fn is_carried(&self) -> bool {
        matches!(self, TemperatureDecision::Carried { .. })
    }
}

impl fmt::Display for TemperatureDecision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TemperatureDecision::Carried {
                reference,
                coefficient,
                coefficient_expanded,
                span,
                ..
            } => write!(
                f,
                "corrected for soil temperature: the count rises {coefficient:.2} +- {coefficient_expanded:.2} counts per C (95 %), seen over {span:.0} C; the curve holds at {} C",
                reference.value()
            ),
            TemperatureDecision::Missing { cores } => write!(
                f,
                "not corrected for soil temperature, for {cores} of the cores have none logged; how far off a reading in warmer or cooler soil is, nobody knows"
            ),
            TemperatureDecision::SpanTooSmall { span } => write!(
                f,
                "not corrected for soil temperature, for the cores span only {span:.1} C and it takes {LEAST_SPAN:.0} C or more to see an effect; in warmer or cooler soil than theirs the +- below does not hold"
            ),
            TemperatureDecision::Confounded { inflation, .. } => write!(
                f,
                "not corrected for soil temperature, for it moved along with moisture (variance inflation {inflation:.0}, limit {LARGEST_INFLATION:.0}), so their effects cannot be told apart; read some wet cores cool and some dry cores warm"
            ),
            TemperatureDecision::TooFewCores { cores } => write!(
                f,
                "not corrected for soil temperature, for {cores} cores are too few for one more parameter"
            ),
            TemperatureDecision::NoEffectSeen {
                coefficient,
                coefficient_expanded,
            } => write!(
                f,
                "not corrected for soil temperature, for the effect seen, {coefficient:.2} +- {coefficient_expanded:.2} counts per C (95 %), does not stand out from noise; an effect as large as that may still be there and is not in the +- below"
            ),
        }
    }
}

/// What the temperatures alone allow, before any fit: a reference temperature
/// and the span, or the reason there can be no term.
pub(super) fn attempt(observations: &[Observation]) -> Result<(Celsius, f64), TemperatureDecision> {
    let temperatures: Vec<f64> = observations
        .iter()
        .filter_map(|o| o.temperature.map(Quantity::value))
        .collect();
    let missing = observations.len() - temperatures.len();
    if missing > 0 || temperatures.is_empty() {
        return Err(TemperatureDecision::Missing { cores: missing });
    }
    let (low, high) = lowest_and_highest(temperatures.iter().copied());
    let span = high - low;
    if span < LEAST_SPAN {
        return Err(TemperatureDecision::SpanTooSmall { span });
    }
    let mean = temperatures.iter().sum::<f64>() / temperatures.len() as f64;
    match Celsius::new(mean.round()) {
        Ok(reference) => Ok((reference, span)),
        Err(_) => Err(TemperatureDecision::Missing { cores: missing }),
    }
}

/// Variance inflation factor of temperature against the terms of the fitted
/// curve: 1 / (1 - R^2) of regressing temperature on the curve's gradient.
pub(super) fn inflation(observations: &[Observation], fit: &ModelFit) -> f64 {
    let n = observations.len();
    let terms = fit.curve.parameters.len();
    let mut design = DMatrix::zeros(n, terms);
    let mut row = vec![0.0; terms];
    for (i, residual) in fit.residuals.iter().enumerate() {
        fit.curve.gradient(residual.count, &mut row);
        for (j, value) in row.iter().enumerate() {
            design[(i, j)] = *value;
        }
    }
    let warmth = DVector::from_iterator(
        n,
        observations
            .iter()
            .map(|o| o.temperature.map_or(0.0, Quantity::value)),
    );
    let mean = warmth.mean();
    let total: f64 = warmth.iter().map(|t| (t - mean).powi(2)).sum();
    if design.iter().any(|v: &f64| !v.is_finite()) {
        return f64::INFINITY;
    }
    let unexplained = design
        .clone()
        .svd(true, true)
        .solve(&warmth, 1e-12)
        .map_or(0.0, |solution| {
            (&design * solution - &warmth).norm_squared()
        });
    if unexplained > 0.0 {
        (total / unexplained).max(1.0)
    } else {
        f64::INFINITY
    }
}

/// The fitted coefficient and its expanded uncertainty, counts per degree.
pub(super) fn coefficient(fit: &ModelFit) -> Option<(f64, f64)> {
    let term = fit.temperature?;
    let variance = *fit.covariance.last()?.last()?;
    let k = coverage_factor(COVERAGE, Some(fit.degrees_of_freedom));
    Some((term.coefficient, k * variance.max(0.0).sqrt()))
}
