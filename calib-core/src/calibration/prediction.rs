//! What a calibration says of a new reading, and how sure it is.

use super::{COVERAGE, Calibration, ConvertError, QUANTISATION};
use crate::curve::{Curve, MAX_CURVE_PARAMETERS};
use crate::fit::{bilinear_form, quadratic_form};
use crate::quantity::{Celsius, Quantity, Vwc};
use crate::temperature::{TemperatureTerm, count_at_reference};
use crate::uncertainty::{Budget, Expanded, Source, coverage_factor};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::function::erf::erf;

/// theta_v of one new reading with its uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Prediction {
    /// The count as read.
    pub count: f64,
    /// Volumetric water content.
    pub theta_v: Vwc,
    /// Expanded uncertainty at [`COVERAGE`].
    pub expanded: Expanded,
    /// The contributions behind it, m3/m3.
    pub budget: Budget,
    /// What the line [`Source::CurveParameters`] of `budget` is made of, m3/m3;
    /// empty where the covariance was not taken apart.
    pub parameters_by_source: Budget,
}

impl Calibration {
    /// theta_v of one new reading of this probe in this soil, with budget and
    /// expanded uncertainty. First-order propagation, JCGM 100:2008, 5.1 and
    /// (for the correlated parameters) 5.2, equation (13).
    ///
    /// # Errors
    /// As [`theta_v`](Self::theta_v).
    pub fn predict(
        &self,
        count: f64,
        temperature: Option<Celsius>,
    ) -> Result<Prediction, ConvertError> {
        let theta_v = self.theta_v(count, temperature)?;
        let at_reference = self.count_at_reference(count, temperature)?;
        let slope = self.curve.slope(at_reference);
        let spot = Spot::of(&self.curve, self.temperature, count, temperature);
        let parameter_variance = spot.variance(&self.covariance);
        let mut parameters_by_source = Budget::default();
        for part in &self.covariance_parts {
            let variance = spot.variance(&part.covariance);
            parameters_by_source.add_known(part.source, variance.max(0.0).sqrt());
        }

        let mut budget = Budget::default();
        budget.add_estimated(
            Source::CurveParameters,
            parameter_variance.max(0.0).sqrt(),
            self.degrees_of_freedom,
        );
        budget.add_estimated(
            Source::CoreScatter,
            self.core_scatter,
            self.degrees_of_freedom,
        );
        budget.add_known(
            Source::CurveChoice,
            self.curve_choice_u(count, temperature, theta_v.value(), parameter_variance),
        );
        budget.add_known(Source::CoreVolume, self.relative_volume_u * theta_v.value());
        self.add_reading_lines(&mut budget, slope);
        self.add_instrument_lines(&mut budget, slope, count);
        let expanded = self.expand(&budget);
        Ok(Prediction {
            count,
            theta_v,
            expanded,
            budget,
            parameters_by_source,
        })
    }

    /// How well the curve itself is known at `count` (at the reference
    /// temperature), choice of curve and ring volume left aside: the parameters'
    /// line of a prediction's budget alone, expanded likewise.
    pub fn curve_uncertainty(&self, count: f64) -> Expanded {
        let reference = self.temperature.map(|term| term.reference);
        let variance = Spot::of(&self.curve, self.temperature, count, reference)
            .variance(&self.covariance)
            .max(0.0);
        let mut budget = Budget::default();
        budget.add_estimated(
            Source::CurveParameters,
            variance.sqrt(),
            self.degrees_of_freedom,
        );
        self.expand(&budget)
    }

    /// The budget expanded to [`COVERAGE`] for what the scatter may be.
    fn expand(&self, budget: &Budget) -> Expanded {
        let mut expanded = budget.expand(COVERAGE);
        if !self.scatter_draws.is_empty() && expanded.standard > 0.0 {
            expanded.expanded = self.half_width(budget);
            expanded.coverage_factor = expanded.expanded / expanded.standard;
        }
        expanded
    }

    /// What not knowing the curve adds: were each rival taken with its weight, the
    /// mean square distance from this curve, and what their own parameters and
    /// scatter are less sure of than this one's (Buckland, Burnham and Augustin
    /// 1997, Biometrics 53:603; recalled from memory).
    fn curve_choice_u(
        &self,
        count: f64,
        temperature: Option<Celsius>,
        theta: f64,
        parameter_variance_here: f64,
    ) -> f64 {
        let here = parameter_variance_here + self.core_scatter.powi(2);
        self.rivals
            .iter()
            .filter_map(|rival| {
                let at = count_at_reference(rival.temperature, count, temperature);
                // A curve that ends before here is no rival here.
                let distance = Some(rival.curve.value(at) - theta).filter(|d| d.is_finite())?;
                let there = Spot::of(&rival.curve, rival.temperature, count, temperature)
                    .variance(&rival.covariance)
                    + rival.core_scatter.powi(2);
                Some(rival.weight * (distance.powi(2) + there - here))
            })
            .sum::<f64>()
            .max(0.0)
            .sqrt()
    }

    /// Half width of the interval that covers [`COVERAGE`] when the scatter is
    /// any of its draws: for each, the result is normal with the variance that
    /// draw gives.
    fn half_width(&self, budget: &Budget) -> f64 {
        let square = |of: Source| -> f64 { budget.only(|source| source == of).standard().powi(2) };
        let parameters = square(Source::CurveParameters);
        let scatters = budget
            .lines
            .iter()
            .any(|line| line.source == Source::CoreScatter);
        let rest = budget
            .only(|source| {
                !matches!(
                    source,
                    Source::CurveParameters | Source::CoreScatter | Source::ReadingNoise
                )
            })
            .standard()
            .powi(2);
        // Noise known from few readings has longer tails than the normal
        // distribution; as wide a one, at this coverage, stands for it.
        let tails = coverage_factor(COVERAGE, Some(self.noise.degrees_of_freedom))
            / coverage_factor(COVERAGE, None);
        let rest = rest + square(Source::ReadingNoise) * tails * tails;
        let spreads: Vec<(f64, f64)> = self
            .scatter_draws
            .iter()
            .map(|draw| {
                let scatter = if scatters { draw.scatter } else { 0.0 };
                let variance = rest + parameters * draw.covariance_scale + scatter * scatter;
                (draw.weight, variance.sqrt())
            })
            .collect();
        let covered = |half_width: f64| -> f64 {
            spreads
                .iter()
                .map(|(weight, spread)| {
                    weight * erf(half_width / (spread * std::f64::consts::SQRT_2))
                })
                .sum()
        };
        let widest = spreads.iter().map(|(_, s)| *s).fold(0.0, f64::max);
        let (mut low, mut high) = (0.0, 6.0 * widest);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if covered(middle) < COVERAGE {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }

    /// The smallest change of theta_v between two single readings near
    /// `count` (at the reference temperature) that is not just noise at
    /// [`COVERAGE`]: `k sqrt(2)` times the standard uncertainty from noise,
    /// rounding and temperature sensor. What both readings share (curve
    /// parameters, ring volume, scatter of the cores, which probe of its type it
    /// is, a supply that has moved since calibration) cancels in a difference and
    /// is left out.
    pub fn resolvable_change(&self, count: f64) -> f64 {
        let slope = self.curve.slope(count);
        let mut budget = Budget::default();
        self.add_reading_lines(&mut budget, slope);
        budget.expand(COVERAGE).expanded * std::f64::consts::SQRT_2
    }

    /// What differs between the instrument at calibration and in use: its supply
    /// or reference, which scales the `count`, and, for a shared calibration,
    /// which probe of the type it is. Nothing is added where nothing is stated.
    fn add_instrument_lines(&self, budget: &mut Budget, slope: f64, count: f64) {
        if self.supply_relative_u > 0.0 {
            budget.add_known(
                Source::SupplyReference,
                slope * count * self.supply_relative_u,
            );
        }
        if self.probe_to_probe > 0.0 {
            budget.add_known(Source::ProbeToProbe, slope * self.probe_to_probe);
        }
    }

    /// What a single reading adds where the curve has `slope`: noise, rounding
    /// and, through the temperature term, the soil thermometer.
    fn add_reading_lines(&self, budget: &mut Budget, slope: f64) {
        budget.add_estimated(
            Source::ReadingNoise,
            slope * self.noise.standard_deviation,
            self.noise.degrees_of_freedom,
        );
        budget.add_known(Source::Quantisation, slope * QUANTISATION);
        if let Some(term) = self.temperature {
            budget.add_known(
                Source::TemperatureSensor,
                slope * term.coefficient * self.temperature_u,
            );
        }
    }
}

/// A count and temperature as a curve sees them: d theta_v / d parameter, in the
/// order of the covariance.
pub(super) struct Spot {
    sensitivity: [f64; MAX_CURVE_PARAMETERS + 1],
    used: usize,
}

impl Spot {
    pub(super) fn of(
        curve: &Curve,
        term: Option<TemperatureTerm>,
        count: f64,
        temperature: Option<Celsius>,
    ) -> Self {
        let at_reference = count_at_reference(term, count, temperature);
        let mut sensitivity = [0.0; MAX_CURVE_PARAMETERS + 1];
        let mut used = curve.parameters.len().min(MAX_CURVE_PARAMETERS);
        curve.gradient(at_reference, &mut sensitivity[..used]);
        if let (Some(term), Some(t)) = (term, temperature) {
            sensitivity[used] = -curve.slope(at_reference) * (t.value() - term.reference.value());
            used += 1;
        }
        Self { sensitivity, used }
    }

    /// Variance of theta_v from the parameters, JCGM 100:2008, 5.2, equation (13).
    fn variance(&self, covariance: &[Vec<f64>]) -> f64 {
        quadratic_form(covariance, &self.sensitivity[..self.used])
    }

    /// Covariance of theta_v here and there from the parameters, as
    /// [`variance`](Self::variance) has it of one. A coefficient that one of the two does
    /// not need adds nothing.
    pub(super) fn together(&self, other: &Spot, covariance: &[Vec<f64>]) -> f64 {
        let (here, there) = (&self.sensitivity, &other.sensitivity);
        bilinear_form(covariance, &here[..self.used], &there[..other.used])
    }
}
