//! The reverse question: what does a count mean, as a threshold or a reading?

use super::IrrigationError;
use super::available::WaterLeft;
use super::dead_band::{DayOfReadings, TemperatureBasis, effect_left_possible};
use super::set_points::SetPointEvidence;
use crate::calibration::Calibration;
use crate::quantity::{Celsius, Estimate, Quantity};
use crate::soil::SoilWater;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

/// Where a water content lies among the set points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// At refill or drier.
    AtOrBelowRefill,
    /// In the dead band.
    InTheBand,
    /// At stop or wetter.
    AtOrAboveStop,
}

/// What one raw count stands for over a day, where nothing corrects it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WarmthSpan {
    /// Swing of soil temperature, C; half of it to either side.
    pub swing_c: f64,
    /// theta_v at one end and at the other, the drier first, m3/m3; `None` where
    /// that leaves the calibrated counts.
    pub theta_v: Option<(f64, f64)>,
    /// What is known of the effect.
    pub basis: TemperatureBasis,
}

/// What a count means in one soil.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Meaning {
    /// The count as read.
    pub count: f64,
    /// The soil temperature it is read at, where the calibration looks at it.
    pub temperature: Option<Celsius>,
    /// The count at the reference temperature.
    pub count_at_reference: f64,
    /// Expanded uncertainty (95 %) of theta_v, m3/m3.
    pub expanded: f64,
    /// What is left in the root zone.
    pub left: WaterLeft,
    /// Where it lies.
    pub place: Place,
    /// Chance that the soil is drier than refill when the probe reads this: the
    /// reading and the soil's figures taken as normal.
    pub below_refill: f64,
    /// What this raw count stands for over a day.
    pub over_a_day: WarmthSpan,
}

/// What `count` means; read at `temperature`, or at the reference temperature of
/// the calibration where none is given.
///
/// # Errors
/// [`IrrigationError::Convert`] if the count lies outside the calibrated ones.
pub fn meaning(
    count: f64,
    temperature: Option<Celsius>,
    calibration: &Calibration,
    water: &SoilWater,
    evidence: &SetPointEvidence,
    day: &DayOfReadings,
) -> Result<Meaning, IrrigationError> {
    let term = calibration.temperature;
    let temperature = term.map(|term| temperature.unwrap_or(term.reference));
    let prediction = calibration.predict(count, temperature)?;
    let count_at_reference = calibration.count_at_reference(count, temperature)?;
    let theta = prediction.theta_v.value();
    let set = &evidence.set_points;
    let reading = Estimate::new(theta, prediction.expanded.standard);
    let target = water.depleted_by(evidence.depletion_at_refill);
    let u = reading.u.hypot(target.u);
    let place = if theta <= set.refill.value() {
        Place::AtOrBelowRefill
    } else if theta < set.stop.value() {
        Place::InTheBand
    } else {
        Place::AtOrAboveStop
    };
    Ok(Meaning {
        count,
        temperature,
        count_at_reference,
        expanded: prediction.expanded.expanded,
        left: WaterLeft::at(reading, water, set.root_depth),
        place,
        below_refill: if u > 0.0 {
            Normal::standard().cdf((target.value - theta) / u)
        } else {
            f64::from(u8::from(theta < target.value))
        },
        over_a_day: over_a_day(count_at_reference, calibration, day),
    })
}

/// What the same raw count means half the day's swing cooler and warmer.
fn over_a_day(count: f64, calibration: &Calibration, day: &DayOfReadings) -> WarmthSpan {
    let swing_c = day.temperature_swing_c.abs();
    let (effect, basis) = match (calibration.temperature, day.counts_per_c) {
        (Some(term), _) => (Some(term.coefficient), TemperatureBasis::Corrected),
        (None, Some(stated)) => (Some(stated), TemperatureBasis::Stated),
        (None, None) => match effect_left_possible(calibration) {
            Some(effect) => (Some(effect), TemperatureBasis::LeftPossible),
            None => (None, TemperatureBasis::Unknown),
        },
    };
    let theta_v = effect.and_then(|effect| {
        let half = 0.5 * (effect * swing_c).abs();
        let ends = [count - half, count + half];
        ends.iter()
            .all(|end| calibration.domain.contains(*end))
            .then(|| ends.map(|end| calibration.curve.value(end)))
            .map(|[a, b]| (a.min(b), a.max(b)))
    });
    WarmthSpan {
        swing_c,
        theta_v,
        basis,
    }
}

#[cfg(test)]
mod tests;
