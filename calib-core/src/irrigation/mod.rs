//! From soil water and calibration to the numbers a controller switches on.

mod application;
pub mod bucket;
mod control;
mod crop;
mod relay;
mod replay;
mod risk;
mod scale;
mod set_points;

pub use application::{Application, RunTime, Supply, apply};
pub use control::{Control, Event, PumpTimes, Rule, RuleError, Step, Stop, SwitchPoints};
pub use crop::{
    Crop, DEPLETION_LIMITS, MAXIMUM_EVAPOTRANSPIRATION, TABLE_EVAPOTRANSPIRATION, crop, crops,
};
pub use relay::{RATED_OPERATIONS, RelayLife, RelayWear, SEASON_DAYS};
pub use replay::{
    Duty, Observed, Replay, ReplayTerms, Replayed, Sees, Side, SideOutcome, TimeRunsBack,
};
pub use risk::{
    ALLOWED_DEPLETION_U, Contributor, Help, MEASURED_FIELD_CAPACITY_U, Origin, Risk, Shortfall,
    risk,
};
pub use set_points::{
    DeadBandGovernor, Demand, DomainEnd, SetPoint, SetPointEvidence, SetPoints, set_points,
};

use crate::calibration::{ConvertError, PropagationError};
use crate::curve::CurveError;
use crate::quantity::QuantityError;
use crate::reference::ReferenceError;

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
    /// A band as wide as the probe resolves would leave the calibrated range.
    #[error(
        "the probe resolves {resolvable:.3} m3/m3 here, and a dead band that wide below the stop point {stop:.3} m3/m3 would put the refill point below the calibrated {low:.3} to {high:.3} m3/m3; the curve is not extended"
    )]
    BandLeavesDomain {
        /// Smallest change the probe resolves, m3/m3.
        resolvable: f64,
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
    /// A root zone without depth.
    #[error("the root depth must be above 0 mm")]
    NoRootZone,
    /// An application efficiency of nothing.
    #[error("the application efficiency must be above 0; at 0 no water reaches the roots")]
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
                "take drier cores at this probe and fit again, or make its readings less noisy"
            }
            IrrigationError::ReachesWiltingPoint {
                governor: DeadBandGovernor::AllowedDepletion,
                ..
            } => "allow less depletion",
            IrrigationError::ReachesWiltingPoint {
                governor: DeadBandGovernor::ProbeResolution,
                ..
            } => {
                "this probe is too noisy to hold this soil's water; average more readings, mend its supply and wiring, or use another probe"
            }
            IrrigationError::NoRootZone => {
                "give the depth of soil the roots draw on, in millimetres"
            }
            IrrigationError::NoEfficiency => {
                "give the share of the water pumped that reaches the root zone, above 0 and up to 1"
            }
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
