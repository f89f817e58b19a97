//! How long water needs to spread through the soil, and what air-dry soil holds.

use super::wet_up::WettingMethod;
use crate::quantity::{Gravimetric, Quantity, QuantityError};
use crate::soil::TextureClass;
use schemars::JsonSchema;
use serde::Serialize;

/// How fine a soil is, as far as the bench cares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Grain {
    /// Sand, loamy sand and sandy loam.
    Coarse,
    /// Loam, silt loam, silt and sandy clay loam.
    Medium,
    /// Everything with more clay.
    Fine,
}

impl From<TextureClass> for Grain {
    fn from(class: TextureClass) -> Self {
        match class {
            TextureClass::Sand | TextureClass::LoamySand | TextureClass::SandyLoam => Grain::Coarse,
            TextureClass::Loam
            | TextureClass::SiltLoam
            | TextureClass::Silt
            | TextureClass::SandyClayLoam => Grain::Medium,
            TextureClass::ClayLoam
            | TextureClass::SiltyClayLoam
            | TextureClass::SandyClay
            | TextureClass::SiltyClay
            | TextureClass::Clay => Grain::Fine,
        }
    }
}

impl Grain {
    /// Water that such a soil keeps when it is dry to the air, mass of water per mass
    /// of dry soil: 1, 2.5 and 5 %. Round figures from memory, not checked; the air's
    /// humidity and organic matter move them by half and more.
    ///
    /// # Errors
    /// Never for these figures; [`QuantityError`] is the type's own.
    pub fn air_dry_water(self) -> Result<Gravimetric, QuantityError> {
        Gravimetric::new(match self {
            Grain::Coarse => 0.01,
            Grain::Medium => 0.025,
            Grain::Fine => 0.05,
        })
    }
}

/// Hours the closed container stands before it is read. A soil of unknown texture
/// waits as a fine one does.
///
/// After mixing 12, 24 and 48 h from coarse to fine: common practice, and not below
/// the standing times of ASTM D698 for soil mixed with water (3 h for sands with
/// fines, 16 h for silts and clays), recalled from memory, not checked. After pouring
/// twice that, for water has to find its way through the whole depth: our choice. Where
/// nothing is added, overnight, for the temperature. Longer does no harm; the probe
/// has the last word: its counts must have stopped moving.
pub fn wait_h(grain: Option<Grain>, method: WettingMethod) -> u32 {
    const STANDING: u32 = 12;
    let mixed = match grain {
        Some(Grain::Coarse) => 12,
        Some(Grain::Medium) => 24,
        Some(Grain::Fine) | None => 48,
    };
    match method {
        WettingMethod::AsItIs => STANDING,
        WettingMethod::Mix => mixed,
        WettingMethod::MixThenPour | WettingMethod::Pour => 2 * mixed,
    }
}
