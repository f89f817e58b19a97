//! Refill and stop: where a controller starts and ends an irrigation.
//!
//! Stop is field capacity. Refill lies the allowed depletion of the available
//! water below it. The dead band between them must be something the probe can
//! see: never narrower than [`least_band`], in which noise, temperature and drift
//! of a day start the pump at most as often as stated, nor than the smallest
//! change between two single readings that is not just noise
//! ([`Calibration::resolvable_change`] at the refill count). Where the soil's band
//! is narrower, refill is lowered until the band is as wide as that, as long as
//! refill stays above the wilting point.
//!
//! A controller compares whole counts, so both set points are whole counts (at
//! the reference temperature of the calibration), each taken on the dry side:
//! stop never lies above field capacity, and the band never shrinks by rounding.
//! The water contents given are those of the curve at these counts.

use super::IrrigationError;
use super::dead_band::{DayOfReadings, DeadBandGovernor, LeastBand, least_band};
use super::scale::Scale;
use crate::calibration::Calibration;
use crate::quantity::{Celsius, Fraction, Millimetre, Quantity, Vwc};
use crate::soil::SoilWater;
use crate::uncertainty::{Budget, Source};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A water content no one can tell from nothing, m3/m3: keeps the last binary
/// digit of a sum from costing a whole count.
const HAIR: f64 = 1e-9;

/// One of the two set points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SetPoint {
    /// Where an irrigation starts.
    Refill,
    /// Where it stops.
    Stop,
}

impl fmt::Display for SetPoint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            SetPoint::Refill => "refill",
            SetPoint::Stop => "stop",
        })
    }
}

/// An end of the calibrated range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DomainEnd {
    /// The driest calibrated water content.
    Dry,
    /// The wettest calibrated water content.
    Wet,
}

impl fmt::Display for DomainEnd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            DomainEnd::Dry => "dry",
            DomainEnd::Wet => "wet",
        })
    }
}

/// What the crop asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Share of the available water that may be used up before refill.
    pub allowed_depletion: Fraction,
    /// Depth of soil the roots draw on; above 0.
    pub root_depth: Millimetre,
}

/// Refill and stop with what they mean in water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetPoints {
    /// Start irrigating when theta_v falls to this.
    pub refill: Vwc,
    /// Stop when theta_v reaches this.
    pub stop: Vwc,
    /// `refill` as a raw count at the reference temperature; a whole count.
    pub refill_count: f64,
    /// `stop` as a raw count at the reference temperature; a whole count.
    pub stop_count: f64,
    /// Smallest change of theta_v between two single readings that is not just
    /// noise, at the refill point, m3/m3.
    pub resolvable: f64,
    /// What decided the width of the dead band.
    pub governor: DeadBandGovernor,
    /// Allowed depletion, share of available water.
    pub allowed_depletion: Fraction,
    /// Root depth the depth of water is reckoned over.
    pub root_depth: Millimetre,
    /// Depth of water from refill to stop over the root depth.
    pub net_depth: Millimetre,
}

impl SetPoints {
    /// Width of the dead band, m3/m3; positive.
    pub fn dead_band(&self) -> f64 {
        self.stop.value() - self.refill.value()
    }
}

/// Set points with how sure they are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetPointEvidence {
    /// The set points.
    pub set_points: SetPoints,
    /// Width the allowed depletion asks for, m3/m3.
    pub depletion_band: f64,
    /// Width it takes for the pump to keep still, with its parts.
    pub least_band: LeastBand,
    /// Share of the available water used up at the refill point as set; more
    /// than the allowed depletion where the probe's resolution governs, and a
    /// trace more from whole counts.
    pub depletion_at_refill: f64,
    /// How far the soil's true water content, when the controller starts the
    /// pump, may be from the refill point the soil should have: what the
    /// calibration adds at that count, and field capacity and wilting point.
    pub refill_budget: Budget,
    /// The same when the controller stops it.
    pub stop_budget: Budget,
    /// Temperature the counts hold at; `None` where counts are not corrected.
    pub reference_temperature: Option<Celsius>,
}

/// The set points for a soil, a crop and a calibrated probe read as `day` says.
///
/// # Errors
/// [`IrrigationError::OutsideDomain`] and [`IrrigationError::BandLeavesDomain`]
/// if a set point lies where the probe was not calibrated,
/// [`IrrigationError::ReachesWiltingPoint`] if refill would not stay above the
/// wilting point, [`IrrigationError::NoRootZone`] for a root depth of 0.
pub fn set_points(
    water: &SoilWater,
    demand: &Demand,
    calibration: &Calibration,
    day: &DayOfReadings,
) -> Result<SetPointEvidence, IrrigationError> {
    if demand.root_depth.value() <= 0.0 {
        return Err(IrrigationError::NoRootZone);
    }
    let scale = Scale::of(calibration);
    let available = water.available().value;
    let capacity = water.field_capacity.value.value();
    let wilting_point = water.wilting_point.value.value();

    let stop_count = scale.whole_count(SetPoint::Stop, capacity)?;
    let stop = scale.theta(stop_count);
    let depletion_band = demand.allowed_depletion.value() * available;
    let asked_count = scale.whole_count(SetPoint::Refill, stop - depletion_band + HAIR)?;
    let least_band = least_band(calibration, stop_count, day);
    let refill_count = scale.resolved_count(stop_count, asked_count, least_band.counts())?;
    let governor = if refill_count == asked_count {
        DeadBandGovernor::AllowedDepletion
    } else {
        DeadBandGovernor::ProbeResolution
    };
    let refill = scale.theta(refill_count);
    if refill <= wilting_point {
        return Err(IrrigationError::ReachesWiltingPoint {
            refill,
            wilting_point,
            governor,
        });
    }

    let reference_temperature = calibration.temperature.map(|term| term.reference);
    let budget_at = |count: f64, theta: f64| -> Result<Budget, IrrigationError> {
        let mut budget = calibration.predict(count, reference_temperature)?.budget;
        let depletion = (capacity - theta) / available;
        // Taken as known: tables that disagree are no sample with degrees of
        // freedom. Taken as independent of the calibration, which never saw
        // these tables.
        budget.add_known(Source::SoilWater, water.depleted_by(depletion).u);
        Ok(budget)
    };
    Ok(SetPointEvidence {
        depletion_band,
        least_band,
        depletion_at_refill: (capacity - refill) / available,
        refill_budget: budget_at(refill_count, refill)?,
        stop_budget: budget_at(stop_count, stop)?,
        reference_temperature,
        set_points: SetPoints {
            refill: Vwc::new(refill)?,
            stop: Vwc::new(stop)?,
            refill_count,
            stop_count,
            resolvable: calibration.resolvable_change(refill_count),
            governor,
            allowed_depletion: demand.allowed_depletion,
            root_depth: demand.root_depth,
            net_depth: Millimetre::new((stop - refill) * demand.root_depth.value())?,
        },
    })
}

#[cfg(test)]
mod tests;
