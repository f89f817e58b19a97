//! Why the weighings of a core give no water content.

use crate::quantity::QuantityError;
use std::fmt;

/// Which of the two dry weighings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weighing {
    /// After the first drying.
    First,
    /// After the further drying spell.
    Again,
}

impl fmt::Display for Weighing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Weighing::First => "dry mass",
            Weighing::Again => "second dry mass",
        })
    }
}

/// What was given about a core, or how it was weighed: where to look for a
/// fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoreInput {
    /// Mass of the container with the moist soil.
    Wet,
    /// Mass of the container with the dry soil.
    Dry(Weighing),
    /// Ring diameter.
    Diameter,
    /// Ring height.
    Height,
    /// Core volume, as stated or as the ring gives it.
    Volume,
    /// Particle density of the soil.
    ParticleDensity,
    /// Temperature of the water.
    WaterTemperature,
}

impl fmt::Display for CoreInput {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CoreInput::Wet => f.write_str("wet mass"),
            CoreInput::Dry(weighing) => weighing.fmt(f),
            CoreInput::Diameter => f.write_str("ring diameter"),
            CoreInput::Height => f.write_str("ring height"),
            CoreInput::Volume => f.write_str("core volume"),
            CoreInput::ParticleDensity => f.write_str("particle density"),
            CoreInput::WaterTemperature => f.write_str("water temperature"),
        }
    }
}

/// Why a core cannot be reduced. `Display` says what is wrong,
/// [`mend`](GravimetryError::mend) what to do and
/// [`input`](GravimetryError::input) where to look.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum GravimetryError {
    /// A dry mass is not above the tare.
    #[error("{weighing} {dry} g is not above the tare, {tare} g")]
    DryNotAboveTare {
        /// Which dry weighing.
        weighing: Weighing,
        /// The dry mass, g.
        dry: f64,
        /// The tare, g.
        tare: f64,
    },
    /// The wet mass is not above the dry mass.
    #[error("wet mass {wet} g is not above the {weighing}, {dry} g")]
    WetNotAboveDry {
        /// The wet mass, g.
        wet: f64,
        /// Which dry weighing.
        weighing: Weighing,
        /// The dry mass, g.
        dry: f64,
    },
    /// The mass still changed between the two dry weighings. The water content
    /// would be biased, which no uncertainty makes good.
    #[error(
        "the core {} {:.3} g between its two dry weighings; a change of {allowed:.3} g at most counts as dry",
        if *lost >= 0.0 { "lost" } else { "gained" },
        lost.abs()
    )]
    NotConstant {
        /// First less second dry mass, g.
        lost: f64,
        /// Largest change that counts as constant, g.
        allowed: f64,
    },
    /// Dry bulk density is outside what soil can have.
    #[error("dry bulk density {density:.3} g/cm3 lies outside {low} to {high} g/cm3")]
    BulkDensity {
        /// Dry bulk density, g/cm3.
        density: f64,
        /// Lowest value taken as possible, g/cm3.
        low: f64,
        /// Highest value taken as possible, g/cm3.
        high: f64,
    },
    /// Dry bulk density reaches the particle density, leaving no pores.
    #[error(
        "dry bulk density {density:.3} g/cm3 leaves no pores at a particle density of {particle_density} g/cm3"
    )]
    NoPores {
        /// Dry bulk density, g/cm3.
        density: f64,
        /// Particle density, g/cm3.
        particle_density: f64,
    },
    /// More water than pores, beyond the expanded uncertainty.
    #[error(
        "the core holds {saturation:.3} times the water its pores can hold, more than the {:.3} its uncertainty allows",
        1.0 + allowed
    )]
    OverSaturated {
        /// Degree of saturation.
        saturation: f64,
        /// By how much it may exceed 1: its expanded uncertainty at 95 %, at most
        /// 0.25.
        allowed: f64,
    },
    /// A standard uncertainty is negative, not finite, or larger than can be
    /// meant.
    #[error("standard uncertainty {u} of the {input} is not between 0 and {largest}")]
    Uncertainty {
        /// What it is the uncertainty of.
        input: CoreInput,
        /// The standard uncertainty given, in the unit of the input.
        u: f64,
        /// Largest standard uncertainty taken as meant.
        largest: f64,
    },
    /// The water temperature is outside the range of the density formula.
    #[error(
        "water temperature {temperature} C lies outside {lowest} to {highest} C, where the density formula holds"
    )]
    WaterTemperature {
        /// The temperature, C.
        temperature: f64,
        /// Lowest temperature of the formula, C.
        lowest: f64,
        /// Highest temperature of the formula, C.
        highest: f64,
    },
    /// A result is not a plausible value of its quantity.
    #[error(transparent)]
    Implausible(#[from] QuantityError),
}

impl GravimetryError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            GravimetryError::DryNotAboveTare { .. } => {
                "look for swapped masses, or a tare already taken off; every mass includes its container"
            }
            GravimetryError::WetNotAboveDry { .. } => {
                "look for swapped masses, or masses of two different cores; drying takes water away"
            }
            GravimetryError::NotConstant { lost, .. } if *lost >= 0.0 => {
                "dry longer, weigh again, and write the last two dry masses"
            }
            GravimetryError::NotConstant { .. } => {
                "dry again, let it cool in a desiccator or a closed tin, weigh again, and write the last two dry masses"
            }
            GravimetryError::BulkDensity { .. } => {
                "check the ring's size (inner diameter and height, cm), the dry mass and the tare"
            }
            GravimetryError::NoPores { .. } => {
                "check the particle density, the ring's size (inner diameter and height, cm), the dry mass and the tare"
            }
            GravimetryError::OverSaturated { .. } => {
                "check the wet mass and the ring's size; wipe off standing water before weighing; measure the particle density if the soil is unusual"
            }
            GravimetryError::Uncertainty { .. } => {
                "give the standard uncertainty in the same unit as the value"
            }
            GravimetryError::WaterTemperature { .. } => "give the temperature in degrees Celsius",
            GravimetryError::Implausible(_) => "check the masses, the ring size and their units",
        }
    }

    /// The input the fault shows in first, where there is one.
    pub fn input(&self) -> Option<CoreInput> {
        match self {
            GravimetryError::DryNotAboveTare { weighing, .. } => Some(CoreInput::Dry(*weighing)),
            GravimetryError::WetNotAboveDry { .. } | GravimetryError::OverSaturated { .. } => {
                Some(CoreInput::Wet)
            }
            GravimetryError::NotConstant { .. } => Some(CoreInput::Dry(Weighing::Again)),
            GravimetryError::BulkDensity { .. } | GravimetryError::NoPores { .. } => {
                Some(CoreInput::Volume)
            }
            GravimetryError::Uncertainty { input, .. } => Some(*input),
            GravimetryError::WaterTemperature { .. } => Some(CoreInput::WaterTemperature),
            GravimetryError::Implausible(_) => None,
        }
    }
}
