//! The result of a fit, as everything after it uses it: a curve with its
//! covariance, temperature term, domain and the noise of a single reading.

mod prediction;
mod propagation;
mod together;

pub use prediction::Prediction;
pub(crate) use propagation::NewReading;
pub use propagation::PropagationError;
pub(crate) use together::ReadAt;

use crate::curve::{Curve, CurveError};
use crate::fit::{Choice, CovariancePart, Observation, Rival, ScatterDraw};
use crate::quantity::{Celsius, Estimate, Quantity, QuantityError, Vwc, lowest_and_highest};
use crate::temperature::TemperatureTerm;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Coverage probability of every interval the program states.
pub const COVERAGE: f64 = 0.95;

/// Standard uncertainty of a count from rounding to whole counts: a uniform
/// distribution one count wide, JCGM 100:2008, 4.3.7.
pub const QUANTISATION: f64 = 0.288_675_134_594_812_9;

/// Which way the raw count moves as soil gets wetter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// More water, higher count.
    RisesWhenWetter,
    /// More water, lower count.
    FallsWhenWetter,
}

impl fmt::Display for Direction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Direction::RisesWhenWetter => "counts rise as the soil gets wetter",
            Direction::FallsWhenWetter => "counts fall as the soil gets wetter",
        })
    }
}

/// Lowest and highest calibrated count, at the reference temperature where
/// there is a temperature term.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Domain {
    /// Lowest calibrated count.
    pub low: f64,
    /// Highest calibrated count.
    pub high: f64,
}

impl Domain {
    /// Whether `count` (at the reference temperature) was calibrated.
    pub fn contains(&self, count: f64) -> bool {
        count >= self.low && count <= self.high
    }

    /// The count halfway.
    pub fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }
}

/// Noise of single readings around their window's centre, pooled over windows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingNoise {
    /// Standard deviation of one reading, counts, beyond its rounding to a whole
    /// count.
    pub standard_deviation: f64,
    /// Degrees of freedom behind it.
    pub degrees_of_freedom: f64,
}

/// A calibration of one probe in one soil.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Calibration {
    /// The probe's identifier.
    pub probe: String,
    /// The soil's name.
    pub soil: String,
    /// Bits of the analogue-to-digital converter.
    pub adc_bits: u8,
    /// theta_v against the count (at the reference temperature).
    pub curve: Curve,
    /// The temperature term, where the data could carry one.
    pub temperature: Option<TemperatureTerm>,
    /// Lowest and highest calibrated count.
    pub domain: Domain,
    /// Lowest and highest soil temperature among the calibration points, C;
    /// `None` where no temperatures were logged.
    pub temperature_range: Option<(f64, f64)>,
    /// Covariance of the curve parameters in the curve's order, then of the
    /// temperature coefficient if there is a term; rows of a square matrix.
    pub covariance: Vec<Vec<f64>>,
    /// The covariance by source; the parts add up to it. Empty where it was not
    /// taken apart.
    #[serde(default)]
    pub covariance_parts: Vec<CovariancePart>,
    /// Standard deviation of theta_v by which cores scatter about the curve
    /// beyond their stated uncertainties, m3/m3.
    pub core_scatter: f64,
    /// What that scatter may really be, given how few cores it was seen on.
    pub scatter_draws: Vec<ScatterDraw>,
    /// Curves the data do not rule out beside this one.
    pub rivals: Vec<Rival>,
    /// Residual degrees of freedom of the fit.
    pub degrees_of_freedom: f64,
    /// Relative standard uncertainty of the ring volume, shared by all cores.
    pub relative_volume_u: f64,
    /// Noise of a single reading.
    pub noise: ReadingNoise,
    /// Standard uncertainty of the soil temperature sensor, C.
    pub temperature_u: f64,
    /// Relative standard uncertainty of the count from the supply or the
    /// converter's reference, between calibration and use; zero where the
    /// converter measures against what feeds the probe.
    #[serde(default)]
    pub supply_relative_u: f64,
    /// Standard deviation, counts, of the difference of two probes of the type that share
    /// this calibration; zero where it serves the probe it was made with.
    #[serde(default)]
    pub probe_to_probe: f64,
    /// Which way the count moves.
    pub direction: Direction,
    /// Number of cores behind the fit.
    pub cores: usize,
}

/// Why a count has no water content.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ConvertError {
    /// The count lies outside the calibrated domain.
    #[error(
        "count {count:.1} lies outside the calibrated {low:.1} to {high:.1}; the curve is not extended"
    )]
    OutsideDomain {
        /// Count at the reference temperature.
        count: f64,
        /// Lowest calibrated count.
        low: f64,
        /// Highest calibrated count.
        high: f64,
    },
    /// The calibration needs a soil temperature and none was given.
    #[error("this calibration corrects for soil temperature, and the reading has none")]
    TemperatureMissing,
    /// The curve gave an implausible water content.
    #[error(transparent)]
    Implausible(#[from] QuantityError),
}

/// What a fit does not know about the probe it is for.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    /// The probe's identifier.
    pub probe: String,
    /// The soil's name.
    pub soil: String,
    /// Bits of the analogue-to-digital converter.
    pub adc_bits: u8,
    /// Noise of a single reading.
    pub noise: ReadingNoise,
    /// Standard uncertainty of the soil temperature sensor, C.
    pub temperature_u: f64,
    /// Relative standard uncertainty of the supply or the converter's reference,
    /// between calibration and use.
    pub supply_relative_u: f64,
    /// Standard deviation of the difference of two probes of the type, counts, where
    /// others are to share the calibration.
    pub probe_to_probe: f64,
}

impl Calibration {
    /// Puts the curve chosen and the probe it is for together. `observations` are
    /// those the choice was made from.
    pub fn new(instrument: Instrument, choice: &Choice, observations: &[Observation]) -> Self {
        let fit = &choice.fit;
        let cores = observations.len();
        let temperatures: Option<Vec<f64>> = observations
            .iter()
            .map(|o| o.temperature.map(Quantity::value))
            .collect();
        let volume_square: f64 = observations
            .iter()
            .map(|o| o.relative_volume_u.powi(2))
            .sum();
        Self {
            probe: instrument.probe,
            soil: instrument.soil,
            adc_bits: instrument.adc_bits,
            curve: fit.curve.clone(),
            temperature: fit.temperature,
            domain: fit.domain,
            temperature_range: temperatures
                .filter(|all| !all.is_empty())
                .map(|all| lowest_and_highest(all.into_iter())),
            covariance: fit.covariance.clone(),
            covariance_parts: fit.covariance_parts.clone(),
            core_scatter: fit.core_scatter,
            scatter_draws: fit.scatter_draws.clone(),
            rivals: choice.rivals.clone(),
            degrees_of_freedom: fit.degrees_of_freedom,
            relative_volume_u: (volume_square / cores.max(1) as f64).sqrt(),
            noise: instrument.noise,
            temperature_u: instrument.temperature_u,
            supply_relative_u: instrument.supply_relative_u,
            probe_to_probe: instrument.probe_to_probe,
            direction: fit.direction,
            cores,
        }
    }

    /// The largest code the converter can give.
    pub fn largest_code(&self) -> u32 {
        (1_u32 << u32::from(self.adc_bits.min(31))) - 1
    }

    /// The count brought to the reference temperature. Without a temperature
    /// term this is `count`, and `temperature` is not looked at.
    ///
    /// # Errors
    /// [`ConvertError::TemperatureMissing`] if there is a term but no temperature.
    pub fn count_at_reference(
        &self,
        count: f64,
        temperature: Option<Celsius>,
    ) -> Result<f64, ConvertError> {
        match (self.temperature, temperature) {
            (None, _) => Ok(count),
            (Some(term), Some(t)) => Ok(term.count_at_reference(count, t)),
            (Some(_), None) => Err(ConvertError::TemperatureMissing),
        }
    }

    /// theta_v of a reading.
    ///
    /// # Errors
    /// [`ConvertError::OutsideDomain`] outside the calibrated counts,
    /// [`ConvertError::TemperatureMissing`] where a needed temperature is missing.
    pub fn theta_v(&self, count: f64, temperature: Option<Celsius>) -> Result<Vwc, ConvertError> {
        let at_reference = self.count_at_reference(count, temperature)?;
        if !self.domain.contains(at_reference) {
            return Err(ConvertError::OutsideDomain {
                count: at_reference,
                low: self.domain.low,
                high: self.domain.high,
            });
        }
        Ok(Vwc::new(self.curve.value(at_reference))?)
    }

    /// The lowest theta_v the calibrated counts reach, m3/m3, and the count (at
    /// the reference temperature) where they do.
    pub fn driest(&self) -> (f64, f64) {
        let count = match self.direction {
            Direction::RisesWhenWetter => self.domain.low,
            Direction::FallsWhenWetter => self.domain.high,
        };
        (self.curve.value(count), count)
    }

    /// The count (at the reference temperature) at which the curve breaks from one
    /// piece into another, with its standard uncertainty; `None` for a curve of
    /// one piece. The uncertainty is that of the fit's covariance, which is too
    /// small where cores are few or the slopes hardly differ.
    pub fn break_count(&self) -> Option<Estimate<f64>> {
        let place = self.curve.kind.model().break_parameter()?;
        let z = self.curve.parameters.get(place)?;
        let variance = self.covariance.get(place)?.get(place)?;
        Some(Estimate::new(
            self.curve.axis.count(*z),
            self.curve.axis.unit * variance.max(0.0).sqrt(),
        ))
    }

    /// The count (at the reference temperature) at which the curve gives
    /// `theta_v`.
    ///
    /// # Errors
    /// [`CurveError::NotReached`] if the calibrated domain does not get there.
    pub fn count_at(&self, theta_v: Vwc) -> Result<f64, CurveError> {
        self.curve
            .count_at(theta_v.value(), self.domain.low, self.domain.high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::{Axis, CurveKind};
    use crate::uncertainty::Source;

    fn line() -> Calibration {
        Calibration {
            probe: "p".into(),
            soil: "s".into(),
            adc_bits: 10,
            curve: Curve {
                kind: CurveKind::StraightLine,
                axis: Axis {
                    origin: 500.0,
                    unit: 200.0,
                },
                parameters: vec![0.25, -0.15],
            },
            temperature: Some(TemperatureTerm {
                reference: Celsius::new(20.0).unwrap(),
                coefficient: 0.5,
            }),
            domain: Domain {
                low: 300.0,
                high: 700.0,
            },
            temperature_range: Some((10.0, 30.0)),
            covariance: vec![
                vec![4e-6, 0.0, 0.0],
                vec![0.0, 9e-6, 0.0],
                vec![0.0, 0.0, 0.01],
            ],
            covariance_parts: Vec::new(),
            core_scatter: 0.004,
            scatter_draws: Vec::new(),
            rivals: Vec::new(),
            degrees_of_freedom: 18.0,
            relative_volume_u: 0.01,
            noise: ReadingNoise {
                standard_deviation: 1.0,
                degrees_of_freedom: 200.0,
            },
            temperature_u: 0.5,
            supply_relative_u: 0.0,
            probe_to_probe: 0.0,
            direction: Direction::FallsWhenWetter,
            cores: 21,
        }
    }

    #[test]
    fn a_prediction_adds_every_source_in_squares() {
        let prediction = line()
            .predict(560.0, Some(Celsius::new(30.0).unwrap()))
            .unwrap();
        // count at reference 555, z = 0.275, theta = 0.25 - 0.15 * 0.275
        let theta = 0.25 - 0.15 * 0.275;
        assert!((prediction.theta_v.value() - theta).abs() < 1e-12);
        let slope: f64 = -0.15 / 200.0;
        let parameters = 4e-6 + 0.275 * 0.275 * 9e-6 + (slope * 10.0).powi(2) * 0.01;
        let sum = parameters
            + 0.004_f64.powi(2)
            + (0.01 * theta).powi(2)
            + slope.powi(2) * (1.0 + 1.0 / 12.0 + (0.5_f64 * 0.5).powi(2));
        assert!((prediction.expanded.standard - sum.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn a_break_is_told_in_counts_and_only_where_there_is_one() {
        let mut broken = line();
        assert_eq!(broken.break_count(), None);
        broken.curve.kind = CurveKind::TwoSegment;
        broken.curve.parameters = vec![0.25, -0.15, -0.05, 0.25];
        broken.covariance = vec![vec![0.0; 4]; 4];
        broken.covariance[3][3] = 4e-4;
        let at = broken.break_count().unwrap();
        assert!((at.value - 550.0).abs() < 1e-9 && (at.u - 4.0).abs() < 1e-9);
        // The curve does break there.
        let c = &broken.curve;
        assert!((c.slope(at.value - 0.1) / c.slope(at.value + 0.1) - 3.0).abs() < 1e-9);
    }

    #[test]
    fn supply_and_other_probes_add_their_lines_where_they_are_stated() {
        let line_of = |calibration: &Calibration, of: Source| {
            let prediction = calibration
                .predict(560.0, Some(Celsius::new(30.0).unwrap()))
                .unwrap();
            let found = prediction.budget.only(|source| source == of);
            (found.lines.len(), found.standard())
        };
        let mut stated = line();
        for source in [Source::SupplyReference, Source::ProbeToProbe] {
            assert_eq!(line_of(&stated, source), (0, 0.0));
        }
        stated.supply_relative_u = 0.002;
        stated.probe_to_probe = 6.0;
        // |slope| = 0.15/200 m3/m3 a count; 560 counts as read.
        let slope = 0.15 / 200.0;
        let (_, supply) = line_of(&stated, Source::SupplyReference);
        assert!((supply - slope * 560.0 * 0.002).abs() < 1e-15);
        let (_, probes) = line_of(&stated, Source::ProbeToProbe);
        assert!((probes - slope * 6.0).abs() < 1e-15);
        // Two readings of one probe share both.
        assert_eq!(
            stated.resolvable_change(500.0),
            line().resolvable_change(500.0)
        );
    }

    #[test]
    fn a_calibration_saved_before_these_keys_still_reads() {
        let mut saved = serde_json::to_value(line()).unwrap();
        let keys = saved.as_object_mut().unwrap();
        for key in ["covariance_parts", "supply_relative_u", "probe_to_probe"] {
            assert!(keys.remove(key).is_some());
        }
        let read: Calibration = serde_json::from_value(saved).unwrap();
        assert_eq!(read, line());
    }

    #[test]
    fn a_reading_without_its_temperature_is_refused() {
        assert_eq!(
            line().predict(500.0, None),
            Err(ConvertError::TemperatureMissing)
        );
    }

    #[test]
    fn the_curve_is_not_extended_past_its_domain() {
        let error = line()
            .theta_v(720.0, Some(Celsius::new(20.0).unwrap()))
            .unwrap_err();
        assert_eq!(
            error.to_string(),
            "count 720.0 lies outside the calibrated 300.0 to 700.0; the curve is not extended"
        );
    }

    #[test]
    fn what_two_readings_share_does_not_widen_what_they_resolve() {
        let calibration = line();
        let mut vaguer = calibration.clone();
        vaguer.core_scatter = 0.1;
        vaguer.relative_volume_u = 0.3;
        assert_eq!(
            calibration.resolvable_change(500.0),
            vaguer.resolvable_change(500.0)
        );
    }
}
