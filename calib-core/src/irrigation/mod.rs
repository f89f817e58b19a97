//! From soil water and calibration to the numbers a controller switches on.

mod application;
mod available;
pub mod bucket;
mod control;
mod crop;
mod dead_band;
#[cfg(test)]
mod example;
mod meaning;
mod pulses;
mod relay;
mod replay;
mod risk;
mod root_zone;
mod rule;
mod scale;
mod set_points;
mod stage;

pub use application::{Application, RunTime, Supply, apply};
pub use available::{AvailableWater, WaterLeft, available_water};
pub use control::{BEHAVIOUR, Behaviour, Control, Event, Holds, PumpSwitch, Step, Stop};
pub use crop::{
    Crop, DEPLETION_LIMITS, MAXIMUM_EVAPOTRANSPIRATION, TABLE_EVAPOTRANSPIRATION, crop, crops,
};
pub use dead_band::{
    DayOfReadings, DeadBandGovernor, LEAST_FALSE_START, LeastBand, MOST_FALSE_START,
    TemperatureBasis, least_band, noise_margin,
};
pub use meaning::{Meaning, Place, WarmthSpan, meaning};
pub use pulses::{
    PulseReason, Pulses, STANDING_WATER_MM, SoilPulse, application_rate, pulses, soil_pulse,
};
pub use relay::{RATED_OPERATIONS, RelayLife, RelayWear, SEASON_DAYS};
pub use replay::{
    Duty, Observed, Replay, ReplayTerms, Replayed, Sees, Side, SideOutcome, TimeRunsBack,
};
pub use risk::{
    ALLOWED_DEPLETION_U, Contributor, Help, MEASURED_SOIL_WATER_U, Origin, Risk, Shortfall, risk,
};
pub use root_zone::{
    Layer, LayerPoint, ProbeBelowRoots, RootZone, RootZonePoint, Weighting, root_zone, weights,
};
pub use rule::{Moisture, PumpTimes, Rule, RuleError, SwitchPoints};
pub use set_points::{Demand, DomainEnd, SetPoint, SetPointEvidence, SetPoints, set_points};
pub use stage::{Stage, days_of, deepest_stage};

use crate::calibration::{ConvertError, PropagationError};
use crate::curve::CurveError;
use crate::quantity::QuantityError;
use crate::reference::ReferenceError;

/// Seconds of a day.
pub const DAY_S: u32 = 86_400;

/// Why there are no set points.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum IrrigationError {
    /// No row of FAO-56 Table 22 has this name.
    #[error("\"{name}\" is not a crop of FAO-56 Table 22 as carried here: {known}")]
    UnknownCrop {
        /// The name given.
        name: String,
        /// The names there are.
        known: String,
    },
    /// A crop's water use that no field has.
    #[error(
        "crop evapotranspiration {value} mm/day lies outside 0 to {MAXIMUM_EVAPOTRANSPIRATION} mm/day"
    )]
    Evapotranspiration {
        /// The figure given, mm/day.
        value: f64,
    },
    /// A set point lies where the probe was not calibrated.
    #[error(
        "the {set_point} point {theta:.3} m3/m3 lies beyond the {end} end of the calibrated {low:.3} to {high:.3} m3/m3; the curve is not extended"
    )]
    OutsideDomain {
        /// Which set point.
        set_point: SetPoint,
        /// Its water content, m3/m3.
        theta: f64,
        /// Beyond which end.
        end: DomainEnd,
        /// Driest calibrated water content, m3/m3.
        low: f64,
        /// Wettest calibrated water content, m3/m3.
        high: f64,
    },
    /// A band as wide as the probe needs would leave the calibrated range.
    #[error(
        "it takes a dead band of {least:.0} counts for this probe to leave the pump still, and that far below the stop point {stop:.3} m3/m3 the refill point would lie below the calibrated {low:.3} to {high:.3} m3/m3; the curve is not extended"
    )]
    BandLeavesDomain {
        /// Width the probe needs, counts.
        least: f64,
        /// The stop point, m3/m3.
        stop: f64,
        /// Driest calibrated water content, m3/m3.
        low: f64,
        /// Wettest calibrated water content, m3/m3.
        high: f64,
    },
    /// The refill point would be no higher than the wilting point.
    #[error(
        "the refill point {refill:.3} m3/m3 would reach the wilting point {wilting_point:.3} m3/m3, set there by {governor}"
    )]
    ReachesWiltingPoint {
        /// The refill point, m3/m3.
        refill: f64,
        /// The wilting point, m3/m3.
        wilting_point: f64,
        /// What put the refill point there.
        governor: DeadBandGovernor,
    },
    /// A soil whose wilting point is not below its field capacity.
    #[error(
        "wilting point {wilting_point:.3} m3/m3 is not below field capacity {field_capacity:.3} m3/m3"
    )]
    NoAvailableWater {
        /// m3/m3.
        field_capacity: f64,
        /// m3/m3.
        wilting_point: f64,
    },
    /// No probe among the roots to speak for them.
    #[error(
        "no probe lies within the {root_depth} mm of roots: the least deep, {probe}, lies {depth} mm deep"
    )]
    BelowRoots {
        /// The least deep probe.
        probe: String,
        /// Its depth, mm.
        depth: f64,
        /// Root depth, mm.
        root_depth: f64,
    },
    /// Two probes of one bed at the same depth.
    #[error("probes {one} and {other} both lie {depth} mm deep")]
    SameDepth {
        /// The one.
        one: String,
        /// The other.
        other: String,
        /// Their depth, mm.
        depth: f64,
    },
    /// A set point of a root zone lies where one of its probes has no answer.
    #[error("probe {probe}: {error}")]
    AtProbe {
        /// The probe.
        probe: String,
        /// Why.
        error: Box<IrrigationError>,
    },
    /// A root zone without a probe.
    #[error("no probe stands in the root zone")]
    NoProbe,
    /// A root zone without depth.
    #[error("the root depth must be above 0 mm")]
    NoRootZone,
    /// An application efficiency of nothing.
    #[error(
        "application efficiency and distribution uniformity must be above 0; at 0 no water reaches the roots"
    )]
    NoEfficiency,
    /// The calibration's curve has no inverse.
    #[error(transparent)]
    Curve(CurveError),
    /// The calibration cannot say how sure it is of a set point.
    #[error(transparent)]
    Convert(#[from] ConvertError),
    /// The calibration cannot be drawn from.
    #[error(transparent)]
    Propagation(#[from] PropagationError),
    /// A standard uncertainty that is none.
    #[error("the allowed depletion's standard uncertainty {u} is not between 0 and 1")]
    DepletionUncertainty {
        /// The figure given.
        u: f64,
    },
    /// A result that is no plausible quantity.
    #[error(transparent)]
    Implausible(#[from] QuantityError),
    /// A table compiled into the program is damaged.
    #[error(transparent)]
    Reference(#[from] ReferenceError),
}

impl IrrigationError {
    /// The same error, said of one probe among several.
    fn at_probe(self, probe: &str) -> Self {
        IrrigationError::AtProbe {
            probe: probe.to_owned(),
            error: Box::new(self),
        }
    }

    /// What a person can do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            IrrigationError::UnknownCrop { .. } => {
                "choose one of these names, or state allowed_depletion and root_depth_mm yourself"
            }
            IrrigationError::Evapotranspiration { .. } => {
                "give the crop's water use in millimetres a day; 5 is the figure the table is made for"
            }
            IrrigationError::OutsideDomain {
                end: DomainEnd::Dry,
                ..
            } => "take drier cores at this probe and fit again, or allow less depletion",
            IrrigationError::OutsideDomain {
                end: DomainEnd::Wet,
                ..
            } => {
                "take wetter cores at this probe and fit again, or check the soil's field capacity"
            }
            IrrigationError::BandLeavesDomain { .. } => {
                "take drier cores at this probe and fit again, make its readings less noisy (average several), or let more false starts pass"
            }
            IrrigationError::ReachesWiltingPoint {
                governor: DeadBandGovernor::AllowedDepletion,
                ..
            } => "allow less depletion",
            IrrigationError::ReachesWiltingPoint {
                governor: DeadBandGovernor::ProbeResolution,
                ..
            } => {
                "noise, temperature and drift of this probe hide this soil's water; average more readings, correct for soil temperature, mend its supply and wiring, or use another probe"
            }
            IrrigationError::NoAvailableWater { .. } => {
                "check field capacity and wilting point against each other"
            }
            IrrigationError::BelowRoots { .. } => {
                "name a probe among the roots in the bed, or state the depth the roots have reached (root_depth_mm)"
            }
            IrrigationError::SameDepth { .. } => {
                "one probe a depth steers: take the other out of the bed's probes, and it only watches; or mend their depth_mm if they lie at different depths"
            }
            IrrigationError::AtProbe { error, .. } => error.mend(),
            IrrigationError::NoProbe => "name the probes of the bed, each with its depth_mm",
            IrrigationError::NoRootZone => {
                "give the depth of soil the roots draw on, in millimetres"
            }
            IrrigationError::NoEfficiency => "give each as a share above 0 and up to 1",
            IrrigationError::Curve(_) | IrrigationError::Convert(_) => {
                "fit again; this calibration does not lead from water content back to one count"
            }
            IrrigationError::Propagation(error) => error.mend(),
            IrrigationError::DepletionUncertainty { .. } => {
                "give it as a share of the available water: 0.05 for 5 %"
            }
            IrrigationError::Implausible(_) => {
                "check area, flow, root depth and efficiency for slipped digits"
            }
            IrrigationError::Reference(_) => "reinstall the program",
        }
    }
}
