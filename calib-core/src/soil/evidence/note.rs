//! What recommended values rest on, and what else a reader should know.

use crate::soil::SoilError;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a recommended value rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Measured on this soil.
    Measured,
    /// The equations of Saxton and Rawls (2006).
    Equations,
    /// The median of the class tables.
    Median,
    /// The room the measured bulk density leaves between grains.
    BulkDensity,
}

impl fmt::Display for Basis {
    /// The reason, as a clause behind "is".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Basis::Measured => "the value measured on this soil, which comes before any source",
            Basis::Equations => {
                "what the equations give, since they know this soil's own sand and clay and the class tables only its class"
            }
            Basis::Median => "the median of the class tables, so that no single table pulls it",
            Basis::BulkDensity => {
                "all the room the measured bulk density leaves between grains of 2.65 g/cm3; its uncertainty stands for some 0.05 g/cm3 from core to core"
            }
        })
    }
}

/// What a reader of the recommended values should know.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// Organic matter was not given; the equations took that of Table 3.
    OrganicMatterAssumed {
        /// Percent by mass.
        percent: f64,
    },
    /// Organic matter is known, but without sand and clay it says nothing to the
    /// class tables.
    OrganicMatterUnused {
        /// Percent by mass.
        percent: f64,
    },
    /// Sand and clay are known, but the equations do not hold here.
    EquationsNotUsed {
        /// Why not.
        because: SoilError,
    },
    /// A bulk density was given that the equations are not adjusted to; they took
    /// the normal one.
    DensityNotUsed {
        /// Why not.
        because: SoilError,
    },
    /// A bulk density was given and no equations were used; only saturation draws
    /// on it.
    DensityForSaturationOnly {
        /// g/cm3.
        g_cm3: f64,
    },
    /// Gravel was given without a bulk density; the fine earth between the stones
    /// was taken to have the density that goes with its texture.
    GravelDensityAssumed {
        /// g/cm3.
        g_cm3: f64,
    },
    /// A measured value came without uncertainty; that of the sources stands in,
    /// or [`LEAST_SPREAD`](crate::soil::LEAST_SPREAD) where there are none.
    MeasuredWithoutUncertainty {
        /// `field capacity` or `wilting point`.
        name: &'static str,
        /// The standard uncertainty taken, m3/m3.
        taken: f64,
    },
    /// Saturation would lie no higher than field capacity, and is left out.
    SaturationBelowFieldCapacity {
        /// m3/m3.
        saturation: f64,
        /// m3/m3.
        field_capacity: f64,
        /// Where that saturation comes from.
        basis: Basis,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Note::OrganicMatterAssumed { percent } => write!(
                f,
                "organic matter is not known; the equations took {percent} %, that of the soils in Saxton and Rawls (2006), Table 3"
            ),
            Note::OrganicMatterUnused { percent } => write!(
                f,
                "the {percent} % of organic matter had no say: the class tables do not ask for it; with sand and clay percentages the equations would"
            ),
            Note::EquationsNotUsed { because } => write!(
                f,
                "the equations were not used, and their Table 3 stands in: {because}"
            ),
            Note::DensityNotUsed { because } => write!(
                f,
                "the equations took the normal density: {because}; check the density"
            ),
            Note::DensityForSaturationOnly { g_cm3 } => write!(
                f,
                "only saturation draws on the bulk density {g_cm3} g/cm3, here: the class tables do not ask for it; the equations do, where sand and clay are known and the density is within their reach"
            ),
            Note::GravelDensityAssumed { g_cm3 } => write!(
                f,
                "the bulk density is not known; between the stones the fine earth was taken to have {g_cm3:.2} g/cm3, which goes with its texture"
            ),
            Note::MeasuredWithoutUncertainty { name, taken } => write!(
                f,
                "the measured {name} came without an uncertainty; {taken:.3} m3/m3 was taken, as from the published sources"
            ),
            Note::SaturationBelowFieldCapacity {
                saturation,
                field_capacity,
                basis,
            } => write!(
                f,
                "saturation is left out: {} {saturation:.3} m3/m3, which is not above the field capacity {field_capacity:.3}; check {}",
                if *basis == Basis::BulkDensity {
                    "the bulk density leaves room for"
                } else {
                    "the sources have"
                },
                if *basis == Basis::BulkDensity {
                    "the bulk density"
                } else {
                    "the measured field capacity"
                }
            ),
        }
    }
}
