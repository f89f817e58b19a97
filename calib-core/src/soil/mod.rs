//! Soil: texture class, and the water a soil holds against drainage and roots.
//!
//! Field capacity, wilting point and saturation come from published sources side
//! by side; their disagreement is the uncertainty. What was measured on the user's
//! own soil comes before any of them.
//!
//! A water content is always a share of the *whole* soil's volume, stones
//! included, as the ring cores have it that a probe is calibrated on. What sources
//! say of the fine earth is brought to the whole where gravel is stated.

mod density;
pub mod drainage;
mod evidence;
mod gravel;
mod outline;
mod particles;
mod retention;
mod saxton_rawls;
mod silt_bound;
mod spread;
mod tables;
mod texture;
mod van_genuchten;
mod water;

pub use density::{DENSITY_FACTOR_LIMITS, DensityAdjustment, porosity, porosity_between_grains};
pub use evidence::{Basis, Note, SoilDescription, SoilEvidence, Texture, evidence};
pub use gravel::{Gravel, MOST_GRAVEL_PERCENT};
pub use particles::{BorderShift, Particles, SUM_TOLERANCE, Separate};
pub use retention::{PowerLaw, Retention, SuctionEstimate};
pub use saxton_rawls::{
    MAXIMUM_CLAY_PERCENT, MAXIMUM_ORGANIC_MATTER_PERCENT, SaxtonRawls, TABLE_3_ORGANIC_MATTER,
};
pub use silt_bound::{
    COARSEST_SILT_UPPER_UM, ISO_SILT_UPPER_UM, SiltConversion, USDA_SILT_UPPER_UM,
};
pub use spread::LEAST_SPREAD;
pub use tables::{IndicativeRange, SourceWater, class_sources, indicative_range};
pub use texture::TextureClass;
pub use van_genuchten::{CM_PER_KPA, VanGenuchten};
pub use water::SoilWater;

use crate::quantity::QuantityError;
use crate::reference::ReferenceError;

/// Suction at field capacity, kPa, as the class tables and the equations take
/// it. Common practice; in coarse soils 10 kPa is used as well.
pub const FIELD_CAPACITY_KPA: f64 = 33.0;

/// Suction at the permanent wilting point, kPa. Common practice.
pub const WILTING_POINT_KPA: f64 = 1500.0;

/// Why a soil could not be classed or its water not be estimated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SoilError {
    /// A share by mass is not between 0 and 100 percent.
    #[error("{name} {percent} % lies outside 0 to 100 %")]
    Percent {
        /// Which share.
        name: &'static str,
        /// The figure given, percent by mass.
        percent: f64,
    },
    /// Sand, silt and clay do not add up.
    #[error(
        "sand {sand} %, silt {silt} % and clay {clay} % add up to {sum:.1} %, further from 100 % than the {SUM_TOLERANCE} that rounding explains"
    )]
    SumNotHundred {
        /// Sand, percent by mass.
        sand: f64,
        /// Silt, percent by mass.
        silt: f64,
        /// Clay, percent by mass.
        clay: f64,
        /// Their sum.
        sum: f64,
    },
    /// Sand and clay together exceed the whole.
    #[error("sand {sand} % and clay {clay} % add up to more than 100 %")]
    NoRoomForSilt {
        /// Sand, percent by mass.
        sand: f64,
        /// Clay, percent by mass.
        clay: f64,
    },
    /// A name that is none of the twelve classes.
    #[error(
        "\"{name}\" is none of the twelve USDA texture classes: {}",
        texture::class_list()
    )]
    UnknownClass {
        /// The name given.
        name: String,
    },
    /// The equations were not made for such a soil.
    #[error(
        "{name} {percent} % is beyond what Saxton and Rawls (2006) give their equations for (below {limit} %)"
    )]
    BeyondEquations {
        /// Which share.
        name: &'static str,
        /// The figure given, percent by mass.
        percent: f64,
        /// The limit, percent by mass.
        limit: f64,
    },
    /// The equations give no physical answer for such a soil.
    #[error(
        "the equations of Saxton and Rawls (2006) give wilting point {wilting_point:.3}, field capacity {field_capacity:.3} and saturation {saturation:.3} m3/m3 here, which no soil has"
    )]
    EquationsFail {
        /// m3/m3.
        wilting_point: f64,
        /// m3/m3.
        field_capacity: f64,
        /// m3/m3.
        saturation: f64,
    },
    /// A density the equations are not adjusted to.
    #[error(
        "a dry density of {:.2} g/cm3 in the fine earth is {:.2} times the {:.2} g/cm3 that goes with its texture; Saxton and Rawls (2006) adjust from {} to {} times (from memory)",
        _0.fine_earth_g_cm3, _0.factor, _0.normal_g_cm3, DENSITY_FACTOR_LIMITS.0, DENSITY_FACTOR_LIMITS.1
    )]
    BeyondDensity(DensityAdjustment),
    /// More gravel than there are figures for.
    #[error(
        "gravel {percent} % by mass: from {MOST_GRAVEL_PERCENT} % on the stones touch, and no source speaks of such a soil"
    )]
    TooMuchGravel {
        /// Percent by mass.
        percent: f64,
    },
    /// A soil as dense as its grains.
    #[error("a dry bulk density of {density} g/cm3 leaves no pores between grains of 2.65 g/cm3")]
    NoPores {
        /// g/cm3.
        density: f64,
    },
    /// Sand and silt parted where no conversion is made from.
    #[error(
        "sand and silt parted at {um} micrometres are not converted: the bound must be one of {USDA_SILT_UPPER_UM} to {COARSEST_SILT_UPPER_UM}"
    )]
    SiltBound {
        /// Micrometres.
        um: f64,
    },
    /// Neither a texture nor a measured value to go by.
    #[error("nothing is known of the soil's {missing}: neither a texture nor a measured value")]
    NothingKnown {
        /// `field capacity` or `wilting point`.
        missing: &'static str,
    },
    /// A measured value at or below zero, where no soil's water content is.
    #[error("the measured {name} {value} m3/m3 is not above zero")]
    NotAboveZero {
        /// `field capacity` or `wilting point`.
        name: &'static str,
        /// m3/m3.
        value: f64,
    },
    /// The wilting point is not below field capacity.
    #[error(
        "wilting point {wilting_point:.3} m3/m3 is not below field capacity {field_capacity:.3} m3/m3"
    )]
    NoAvailableWater {
        /// m3/m3.
        wilting_point: f64,
        /// m3/m3.
        field_capacity: f64,
    },
    /// A result that is no plausible quantity.
    #[error(transparent)]
    Implausible(#[from] QuantityError),
    /// A table compiled into the program is damaged.
    #[error(transparent)]
    Reference(#[from] ReferenceError),
}

impl SoilError {
    /// What a person can do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            SoilError::Percent { .. } => "write percent by mass, between 0 and 100",
            SoilError::SumNotHundred { .. } => {
                "correct them to add up to 100, all three by mass of the soil below 2 mm"
            }
            SoilError::NoRoomForSilt { .. } => {
                "correct them; silt is what they leave of 100, by mass of the soil below 2 mm"
            }
            SoilError::UnknownClass { .. } => {
                "write one of these names, or give sand and clay percentages"
            }
            SoilError::BeyondEquations { .. } | SoilError::EquationsFail { .. } => {
                "give the texture class alone, or measured field capacity and wilting point"
            }
            SoilError::BeyondDensity(_) | SoilError::NoPores { .. } => {
                "weigh a ring core again: dry mass over the ring's volume, in g/cm3"
            }
            SoilError::TooMuchGravel { .. } => {
                "give gravel as the share of the dry soil's mass above 2 mm, or measured field capacity and wilting point"
            }
            SoilError::SiltBound { .. } => {
                "ask the laboratory where it parts silt from sand: 50 micrometres (USDA) or 63 (ISO)"
            }
            SoilError::NothingKnown { .. } => {
                "give a texture (a class, or sand and clay percentages) or the measured value"
            }
            SoilError::NotAboveZero { .. } => {
                "write the share of the soil's volume that is water: 0.28 for 28 %"
            }
            SoilError::NoAvailableWater { .. } => {
                "check the measured values against each other and against the texture"
            }
            SoilError::Implausible(_) => "check the soil's figures for slipped digits",
            SoilError::Reference(_) => "reinstall the program",
        }
    }
}
