//! What a simulation takes for true.

use super::ForetellError;
use crate::calibration::{Calibration, Direction, Domain};
use crate::curve::{Axis, Curve, CurveKind};
use crate::fit::ScatterDraw;
use crate::quantity::{Celsius, Quantity};
use crate::temperature::TemperatureTerm;
use schemars::JsonSchema;
use serde::Serialize;

/// Where the truth comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "from", rename_all = "kebab-case")]
pub enum Basis {
    /// A calibration of the probe in its soil.
    Calibration {
        /// Cores behind it.
        cores: usize,
    },
    /// Nothing is known of the probe: figures of our own choice.
    Assumed,
}

/// The curve taken for true. Beyond `domain` it goes on straight with the slope it has at
/// the end, so that a plan may reach further than the calibration it is simulated from.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TrueCurve {
    /// The curve.
    pub curve: Curve,
    /// Counts between which it holds.
    pub domain: Domain,
}

impl TrueCurve {
    /// theta_v at a count at the reference temperature, m3/m3.
    pub fn theta_v(&self, count: f64) -> f64 {
        let within = count.clamp(self.domain.low, self.domain.high);
        self.curve.value(within) + self.slope(count) * (count - within)
    }

    /// d theta_v / d count there, m3/m3 a count.
    pub fn slope(&self, count: f64) -> f64 {
        self.curve
            .slope(count.clamp(self.domain.low, self.domain.high))
    }

    /// The count at the reference temperature where the soil holds `theta_v`, m3/m3.
    pub fn count(&self, theta_v: f64) -> f64 {
        let Domain { low, high } = self.domain;
        if let Ok(count) = self.curve.count_at(theta_v, low, high) {
            return count;
        }
        let (at_low, at_high) = (self.curve.value(low), self.curve.value(high));
        let rises = at_high > at_low;
        let end = if (theta_v > at_high) == rises {
            high
        } else {
            low
        };
        let past = theta_v - self.curve.value(end);
        end + past / self.curve.slope(end)
    }
}

/// Everything about probe, soil and work that a simulated calibration does not know and
/// is measured against.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Truth {
    /// Where it comes from.
    pub basis: Basis,
    /// Bits of the converter.
    pub adc_bits: u8,
    /// theta_v against the count at the reference temperature.
    pub curve: TrueCurve,
    /// What soil temperature does to the count.
    pub temperature: Option<TemperatureTerm>,
    /// Soil temperatures lie between these, C, at random from core to core and reading
    /// to reading, whatever the wetness.
    pub soil_temperature_c: (f64, f64),
    /// Standard deviation by which the core differs from the soil the probe feels, m3/m3.
    pub core_scatter: f64,
    /// Standard deviation by which the soil beside the probe misses the level planned,
    /// m3/m3.
    pub level_spread: f64,
    /// Standard uncertainty of a core's theta_v from weighing and drying, m3/m3.
    pub reference_u: f64,
    /// Relative standard uncertainty of the ring's volume, one error for all cores.
    pub relative_volume_u: f64,
    /// Standard deviation of one reading before it is rounded, counts.
    pub noise_counts: f64,
    /// Readings logged beside each core.
    pub readings_per_core: usize,
    /// Standard uncertainty of the soil thermometer, C.
    pub temperature_u: f64,
    /// Relative standard uncertainty of the supply between calibration and use.
    pub supply_relative_u: f64,
    /// Standard deviation of the difference of two probes that share the calibration,
    /// counts.
    pub probe_to_probe_counts: f64,
}

/// Assumed scatter of cores of one wetness, m3/m3. Our own choice, towards the middle of
/// the 0.004 to 0.020 of the coverage study.
const CORE_SCATTER: f64 = 0.010;
/// Assumed standard deviation of the soil's wetness about the level planned, m3/m3. Our
/// own choice: what mixing leaves uneven in a container.
const LEVEL_SPREAD: f64 = 0.005;
/// Assumed standard uncertainty of weighing and drying, m3/m3. Our own choice: what a
/// balance of 0.01 g and drying to constant mass give a core of some 100 cm3, rounded up.
const REFERENCE_U: f64 = 0.0015;
/// Assumed relative standard uncertainty of the ring's volume. Our own choice: callipers
/// on a ring of 5 cm.
const RELATIVE_VOLUME_U: f64 = 0.006;
/// Assumed noise of one reading, as a share of the converter's range. Our own choice.
const NOISE_OF_RANGE: f64 = 0.0015;
/// Assumed readings beside a core: what the README advises.
const READINGS_PER_CORE: usize = 12;
/// Assumed effect of soil temperature, as a share of the converter's range per C. Our own
/// choice.
const PER_CELSIUS_OF_RANGE: f64 = 0.0006;
/// Assumed span of soil temperatures, C. Our own choice: from a cool morning to a warm
/// afternoon.
const SOIL_TEMPERATURE_C: (f64, f64) = (12.0, 24.0);
/// Assumed standard uncertainty of a soil thermometer, C. Our own choice.
const TEMPERATURE_U: f64 = 0.5;

impl Truth {
    /// Figures of our own choice for a probe nothing is known of: its counts fall (or
    /// rise) with theta_v along a curve that is steep in dry soil, over most of the
    /// converter's range.
    pub fn assumed(adc_bits: u8, direction: Direction) -> Self {
        let range = f64::from(largest_code(adc_bits));
        let axis = Axis {
            origin: 0.5 * range,
            unit: 0.5 * range,
        };
        let (kind, parameters, domain) = match direction {
            // theta_v = 0.1857 range/count - 0.19: 0.00 m3/m3 at 98 % of the range, 0.60
            // at 24 %.
            Direction::FallsWhenWetter => {
                (CurveKind::Hyperbolic, vec![0.1814, 0.3714], (0.235, 0.977))
            }
            // theta_v = 0.08 (exp(2.6 count/range) - 1): 0.00 at 0 %, 0.64 at 85 %.
            Direction::RisesWhenWetter => (
                CurveKind::Exponential,
                vec![0.213_544, 0.381_607, 1.3],
                (0.0, 0.85),
            ),
        };
        let middle = 0.5 * (SOIL_TEMPERATURE_C.0 + SOIL_TEMPERATURE_C.1);
        Self {
            basis: Basis::Assumed,
            adc_bits,
            curve: TrueCurve {
                curve: Curve {
                    kind,
                    axis,
                    parameters,
                },
                domain: Domain {
                    low: domain.0 * range,
                    high: domain.1 * range,
                },
            },
            temperature: Celsius::new(middle).ok().map(|reference| TemperatureTerm {
                reference,
                coefficient: PER_CELSIUS_OF_RANGE * range,
            }),
            soil_temperature_c: SOIL_TEMPERATURE_C,
            core_scatter: CORE_SCATTER,
            level_spread: LEVEL_SPREAD,
            reference_u: REFERENCE_U,
            relative_volume_u: RELATIVE_VOLUME_U,
            noise_counts: NOISE_OF_RANGE * range,
            readings_per_core: READINGS_PER_CORE,
            temperature_u: TEMPERATURE_U,
            supply_relative_u: 0.0,
            probe_to_probe_counts: 0.0,
        }
    }

    /// What a calibration found, taken for true: its curve, temperature term and noise,
    /// and the middle of what it says the scatter of the cores may be. What it does not
    /// hold is assumed as in [`assumed`](Self::assumed), except weighing where
    /// `reference_u` (m3/m3) states it.
    pub fn of_calibration(calibration: &Calibration, reference_u: Option<f64>) -> Self {
        let assumed = Self::assumed(calibration.adc_bits, calibration.direction);
        Self {
            basis: Basis::Calibration {
                cores: calibration.cores,
            },
            adc_bits: calibration.adc_bits,
            curve: TrueCurve {
                curve: calibration.curve.clone(),
                domain: calibration.domain,
            },
            temperature: calibration.temperature,
            soil_temperature_c: calibration
                .temperature_range
                .unwrap_or(assumed.soil_temperature_c),
            core_scatter: middle_scatter(&calibration.scatter_draws)
                .unwrap_or(calibration.core_scatter),
            reference_u: reference_u.unwrap_or(assumed.reference_u),
            relative_volume_u: calibration.relative_volume_u,
            noise_counts: calibration.noise.standard_deviation,
            temperature_u: calibration.temperature_u,
            supply_relative_u: calibration.supply_relative_u,
            probe_to_probe_counts: calibration.probe_to_probe,
            ..assumed
        }
    }

    /// Largest code of the converter.
    pub fn largest_code(&self) -> u32 {
        largest_code(self.adc_bits)
    }

    /// The count at the reference temperature where the soil holds `theta_v`, m3/m3.
    ///
    /// # Errors
    /// [`ForetellError::NoSuchWater`] outside 0 to 1 m3/m3,
    /// [`ForetellError::BeyondConverter`] where the converter's range has no such count.
    pub fn count_of(&self, theta_v: f64) -> Result<f64, ForetellError> {
        if !(0.0..=1.0).contains(&theta_v) {
            return Err(ForetellError::NoSuchWater { theta_v });
        }
        let count = self.curve.count(theta_v);
        let largest_code = self.largest_code();
        if count > 0.0 && count < f64::from(largest_code) {
            Ok(count)
        } else {
            Err(ForetellError::BeyondConverter {
                theta_v,
                count,
                largest_code,
            })
        }
    }

    /// Whether every figure is one.
    pub(super) fn check(&self) -> Result<(), ForetellError> {
        let range = f64::from(self.largest_code());
        for (name, value, most) in [
            ("the scatter of the cores", self.core_scatter, 0.2),
            ("the spread about a level", self.level_spread, 0.2),
            ("the uncertainty of weighing", self.reference_u, 0.2),
            (
                "the relative uncertainty of the volume",
                self.relative_volume_u,
                0.2,
            ),
            ("the noise of a reading", self.noise_counts, 0.1 * range),
            (
                "the uncertainty of the thermometer",
                self.temperature_u,
                20.0,
            ),
            (
                "the relative uncertainty of the supply",
                self.supply_relative_u,
                0.2,
            ),
            (
                "the difference between probes",
                self.probe_to_probe_counts,
                0.2 * range,
            ),
        ] {
            if !(0.0..=most).contains(&value) {
                return Err(ForetellError::Figure { name, value, most });
            }
        }
        Ok(())
    }

    /// What is taken for true and was not measured, in sentences.
    pub fn assumptions(&self) -> Vec<String> {
        let Domain { low, high } = self.curve.domain;
        let (at_low, at_high) = (self.curve.theta_v(low), self.curve.theta_v(high));
        let (cool, warm) = self.soil_temperature_c;
        let first = match self.basis {
            Basis::Calibration { cores } => format!(
                "The probe answers as its calibration on {cores} cores found (a {}, {at_low:.2} to {at_high:.2} m3/m3 from {low:.0} to {high:.0} counts), and beyond that straight on.",
                self.curve.curve.kind
            ),
            Basis::Assumed => format!(
                "Nothing is known of this probe, so one is made up: {} bits, counts from {low:.0} to {high:.0} for {at_low:.2} to {at_high:.2} m3/m3 along a {}.",
                self.adc_bits, self.curve.curve.kind
            ),
        };
        let temperature = match self.temperature {
            Some(term) => format!(
                "Soil temperature is anything from {cool:.0} to {warm:.0} C at every level and moves the count by {:.2} a degree; the thermometer is sure to {:.1} C (standard uncertainty).",
                term.coefficient, self.temperature_u
            ),
            None => "Soil temperature does nothing to the count.".to_owned(),
        };
        let scatter = match self.basis {
            Basis::Calibration { .. } => "as the cores so far have it",
            Basis::Assumed => "our own choice; this figure decides more than any other",
        };
        vec![
            first,
            format!(
                "Core and probe differ by {:.3} m3/m3 from place to place (standard deviation; {scatter}), the soil misses its level by {:.3} m3/m3.",
                self.core_scatter, self.level_spread
            ),
            format!(
                "Weighing and drying are sure to {:.4} m3/m3, the ring's volume to {:.1} % for all cores alike (standard uncertainties).",
                self.reference_u,
                100.0 * self.relative_volume_u
            ),
            format!(
                "One reading scatters by {:.1} counts before it is rounded; {} are logged beside each core.",
                self.noise_counts, self.readings_per_core
            ),
            temperature,
            "No core is mixed up, no mass mistyped, the soil does not settle or crack, and the probe does not age."
                .to_owned(),
        ]
    }
}

fn largest_code(adc_bits: u8) -> u32 {
    (1_u32 << u32::from(adc_bits.clamp(1, 31))) - 1
}

/// The middle of what the scatter may be, by the weights of its draws; `None` without
/// draws.
fn middle_scatter(draws: &[ScatterDraw]) -> Option<f64> {
    let mut by_size: Vec<(f64, f64)> = draws.iter().map(|d| (d.scatter, d.weight)).collect();
    by_size.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * by_size.iter().map(|(_, weight)| weight).sum::<f64>();
    let mut so_far = 0.0;
    by_size.into_iter().find_map(|(scatter, weight)| {
        so_far += weight;
        (so_far >= half).then_some(scatter)
    })
}
