//! What a calibration says of a new reading, and how sure it is.

use super::{COVERAGE, Calibration, ConvertError, QUANTISATION};
use crate::curve::{Curve, MAX_CURVE_PARAMETERS};
use crate::fit::quadratic_form;
use crate::quantity::{Celsius, Quantity, Vwc};
use crate::temperature::{TemperatureTerm, count_at_reference};
use crate::uncertainty::{Budget, Expanded, Source};
use serde::{Deserialize, Serialize};
use statrs::function::erf::erf;

/// theta_v of one new reading with its uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// The count as read.
    pub count: f64,
    /// Volumetric water content.
    pub theta_v: Vwc,
    /// Expanded uncertainty at [`COVERAGE`].
    pub expanded: Expanded,
    /// The contributions behind it, m3/m3.
    pub budget: Budget,
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
        let parameter_variance = parameter_variance(
            &self.curve,
            self.temperature,
            &self.covariance,
            count,
            temperature,
        );

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
        let mut expanded = budget.expand(COVERAGE);
        if !self.scatter_draws.is_empty() && expanded.standard > 0.0 {
            expanded.expanded = self.half_width(&budget);
            expanded.coverage_factor = expanded.expanded / expanded.standard;
        }
        Ok(Prediction {
            count,
            theta_v,
            expanded,
            budget,
        })
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
            .map(|rival| {
                let at = count_at_reference(rival.temperature, count, temperature);
                let there = parameter_variance(
                    &rival.curve,
                    rival.temperature,
                    &rival.covariance,
                    count,
                    temperature,
                ) + rival.core_scatter.powi(2);
                rival.weight * ((rival.curve.value(at) - theta).powi(2) + there - here)
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
        let rest = budget
            .only(|source| !matches!(source, Source::CurveParameters | Source::CoreScatter))
            .standard()
            .powi(2);
        let spreads: Vec<(f64, f64)> = self
            .scatter_draws
            .iter()
            .map(|draw| {
                let variance =
                    rest + parameters * draw.covariance_scale + draw.scatter * draw.scatter;
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
    /// parameters, ring volume, scatter of the cores) cancels in a difference
    /// and is left out.
    pub fn resolvable_change(&self, count: f64) -> f64 {
        let slope = self.curve.slope(count);
        let mut budget = Budget::default();
        self.add_reading_lines(&mut budget, slope);
        budget.expand(COVERAGE).expanded * std::f64::consts::SQRT_2
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

/// Variance of theta_v from the parameters of a curve and its temperature term,
/// JCGM 100:2008, 5.2, equation (13).
fn parameter_variance(
    curve: &Curve,
    term: Option<TemperatureTerm>,
    covariance: &[Vec<f64>],
    count: f64,
    temperature: Option<Celsius>,
) -> f64 {
    let at_reference = count_at_reference(term, count, temperature);
    let mut sensitivity = [0.0; MAX_CURVE_PARAMETERS + 1];
    let mut used = curve.parameters.len();
    curve.gradient(at_reference, &mut sensitivity[..used]);
    if let (Some(term), Some(t)) = (term, temperature) {
        sensitivity[used] = -curve.slope(at_reference) * (t.value() - term.reference.value());
        used += 1;
    }
    quadratic_form(covariance, &sensitivity[..used])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::{Direction, Domain, ReadingNoise};
    use crate::curve::{Axis, CurveKind};
    use crate::fit::ScatterDraw;
    use nalgebra::{Matrix4, Vector4};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// Half of the width that holds `COVERAGE` of the distribution JCGM 101:2008
    /// propagates: every input drawn from its own distribution, the model
    /// evaluated, the shortest symmetric interval about the estimate taken.
    fn by_monte_carlo(calibration: &Calibration, count: f64, celsius: f64) -> f64 {
        let mut rng = ChaCha8Rng::seed_from_u64(20_080_101);
        let rows: Vec<f64> = calibration.covariance.iter().flatten().copied().collect();
        let root = Matrix4::from_row_slice(&rows)
            .cholesky()
            .expect("a covariance")
            .l();
        let term = calibration.temperature.expect("a temperature term");
        let centre = calibration
            .theta_v(count, Celsius::new(celsius).ok())
            .expect("inside the domain")
            .value();
        let mut off: Vec<f64> = (0..400_000)
            .map(|_| {
                let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
                let z = Vector4::new(normal(), normal(), normal(), normal());
                let noise = normal() * calibration.noise.standard_deviation;
                let warmth = normal() * calibration.temperature_u;
                let place = normal();
                let ring = 1.0 + normal() * calibration.relative_volume_u;
                let rounding: f64 = rng.random_range(-0.5..0.5);
                let mut chance: f64 = rng.random();
                let mut draw = calibration.scatter_draws[0];
                for candidate in &calibration.scatter_draws {
                    draw = *candidate;
                    chance -= candidate.weight;
                    if chance <= 0.0 {
                        break;
                    }
                }
                let step = root * z * draw.covariance_scale.sqrt();
                let curve = Curve {
                    parameters: calibration
                        .curve
                        .parameters
                        .iter()
                        .zip(step.iter())
                        .map(|(p, s)| p + s)
                        .collect(),
                    ..calibration.curve.clone()
                };
                let kappa = term.coefficient + step[3];
                let at =
                    count + noise + rounding - kappa * (celsius + warmth - term.reference.value());
                (curve.value(at) * ring + place * draw.scatter - centre).abs()
            })
            .collect();
        off.sort_by(f64::total_cmp);
        off[(COVERAGE * off.len() as f64) as usize]
    }

    #[test]
    fn propagated_distributions_give_the_same_interval() {
        let draw = |weight, scatter, covariance_scale| ScatterDraw {
            weight,
            scatter,
            covariance_scale,
        };
        let calibration = Calibration {
            probe: "p".into(),
            soil: "s".into(),
            adc_bits: 10,
            curve: Curve {
                kind: CurveKind::Exponential,
                axis: Axis {
                    origin: 500.0,
                    unit: 180.0,
                },
                parameters: vec![0.16, -0.12, -1.1],
            },
            temperature: Some(TemperatureTerm {
                reference: Celsius::new(19.0).expect("a temperature"),
                coefficient: 0.8,
            }),
            domain: Domain {
                low: 330.0,
                high: 690.0,
            },
            temperature_range: Some((8.0, 29.0)),
            covariance: vec![
                vec![4.0e-6, -1.0e-6, 4.0e-5, 0.0],
                vec![-1.0e-6, 9.0e-6, -1.0e-4, 0.0],
                vec![4.0e-5, -1.0e-4, 3.0e-3, 0.0],
                vec![0.0, 0.0, 0.0, 0.012],
            ],
            core_scatter: 0.006,
            scatter_draws: vec![
                draw(0.1, 0.012, 3.0),
                draw(0.3, 0.008, 1.6),
                draw(0.4, 0.005, 0.8),
                draw(0.2, 0.002, 0.4),
            ],
            rivals: Vec::new(),
            degrees_of_freedom: 12.0,
            relative_volume_u: 0.008,
            noise: ReadingNoise {
                standard_deviation: 1.6,
                degrees_of_freedom: 200.0,
            },
            temperature_u: 0.4,
            direction: Direction::FallsWhenWetter,
            cores: 16,
        };
        for (count, celsius) in [(380.0, 12.0), (500.0, 19.0), (650.0, 27.0)] {
            let first_order = calibration
                .predict(count, Celsius::new(celsius).ok())
                .expect("inside the domain")
                .expanded
                .expanded;
            let propagated = by_monte_carlo(&calibration, count, celsius);
            // The curve is bent, so first order differs a little; the draws
            // themselves are good to about 0.3 %.
            assert!(
                (first_order / propagated - 1.0).abs() < 0.02,
                "{count} counts at {celsius} C: {first_order} by JCGM 100, {propagated} by JCGM 101"
            );
        }
    }
}
