//! What is odd about a core without making it useless.

use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// Something to know about a core. `Display` says what was found,
/// [`why`](CoreWarning::why) why it matters and
/// [`advice`](CoreWarning::advice) what to do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum CoreWarning {
    /// The core got heavier between the two dry weighings, by more than the
    /// balance's noise but within the constant mass criterion.
    GainedMass {
        /// Second less first dry mass, g.
        gained: f64,
        /// What balance noise explains, at 95 %, g.
        noise: f64,
    },
    /// Slightly more water than pores, within the expanded uncertainty.
    SaturationAboveOne {
        /// Degree of saturation.
        saturation: f64,
        /// Its expanded uncertainty at 95 %.
        expanded: f64,
    },
    /// A dry bulk density mineral soil seldom has.
    UnusualBulkDensity {
        /// Dry bulk density, g/cm3.
        density: f64,
        /// Low end of what is usual, g/cm3.
        low: f64,
        /// High end of what is usual, g/cm3.
        high: f64,
    },
    /// Little soil in the core.
    LittleSoil {
        /// Mass of dry soil, g.
        dry_soil: f64,
        /// The minimum set, g.
        minimum: f64,
    },
}

impl fmt::Display for CoreWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CoreWarning::GainedMass { gained, noise } => write!(
                f,
                "the dry core gained {gained:.3} g on drying again, more than the {noise:.3} g the balance explains"
            ),
            CoreWarning::SaturationAboveOne {
                saturation,
                expanded,
            } => write!(
                f,
                "degree of saturation {saturation:.3} is above 1, within its uncertainty of +- {expanded:.3}"
            ),
            CoreWarning::UnusualBulkDensity { density, low, high } => write!(
                f,
                "dry bulk density {density:.3} g/cm3 is outside the usual {low} to {high} g/cm3 of mineral soil"
            ),
            CoreWarning::LittleSoil { dry_soil, minimum } => write!(
                f,
                "only {dry_soil:.1} g of dry soil, below the {minimum:.1} g a core should hold"
            ),
        }
    }
}

impl CoreWarning {
    /// Why it matters.
    pub fn why(&self) -> &'static str {
        match self {
            CoreWarning::GainedMass { .. } => {
                "soil that takes up water from the air while it cools reads too dry"
            }
            CoreWarning::SaturationAboveOne { .. } => {
                "pores cannot hold more than their own volume, so a mass, the ring size or the particle density is slightly off"
            }
            CoreWarning::UnusualBulkDensity { .. } => {
                "a compressed, loose or part-filled core gives a wrong water content by volume"
            }
            CoreWarning::LittleSoil { .. } => {
                "a small core may not stand for the soil around the probe, and its weighing errors count for more"
            }
        }
    }

    /// What to do.
    pub fn advice(&self) -> &'static str {
        match self {
            CoreWarning::GainedMass { .. } => {
                "let the core cool in a desiccator or a closed tin and weigh it without delay"
            }
            CoreWarning::SaturationAboveOne { .. } => {
                "check the wet mass and the ring size, and measure the particle density if you can"
            }
            CoreWarning::UnusualBulkDensity { .. } => {
                "check that the core filled its ring and was not pressed; if the soil is peaty or stony, nothing is wrong"
            }
            CoreWarning::LittleSoil { .. } => "take a larger core next time",
        }
    }
}
