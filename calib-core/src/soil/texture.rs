//! The twelve texture classes of the USDA Soil Survey Manual, from sand
//! (0.05 to 2 mm), silt (0.002 to 0.05 mm) and clay (below 0.002 mm), percent by
//! mass.
//!
//! The rules are those of the texture triangle as the notes beside
//! `reference-data/soil/usda_texture_classes.csv` have them.

use super::SoilError;
use super::particles::{Particles, STEPS};
use crate::reference::plain_name;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A texture class.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(try_from = "String", into = "String")]
pub enum TextureClass {
    /// `silt + 1.5 clay < 15`
    Sand,
    /// `silt + 1.5 clay >= 15` and `silt + 2 clay < 30`
    LoamySand,
    /// `silt + 2 clay >= 30` and either `7 <= clay < 20`, `sand > 52` or
    /// `clay < 7`, `silt < 50`
    SandyLoam,
    /// `7 <= clay < 27`, `28 <= silt < 50`, `sand <= 52`
    Loam,
    /// `silt >= 50`, `12 <= clay < 27` or `50 <= silt < 80`, `clay < 12`
    SiltLoam,
    /// `silt >= 80`, `clay < 12`
    Silt,
    /// `20 <= clay < 35`, `silt < 28`, `sand > 45`
    SandyClayLoam,
    /// `27 <= clay < 40`, `20 < sand <= 45`
    ClayLoam,
    /// `27 <= clay < 40`, `sand <= 20`
    SiltyClayLoam,
    /// `clay >= 35`, `sand > 45`
    SandyClay,
    /// `clay >= 40`, `silt >= 40`
    SiltyClay,
    /// `clay >= 40`, `sand <= 45`, `silt < 40`
    Clay,
}

impl TextureClass {
    /// Every class, from coarse to fine.
    pub const ALL: [TextureClass; 12] = [
        TextureClass::Sand,
        TextureClass::LoamySand,
        TextureClass::SandyLoam,
        TextureClass::Loam,
        TextureClass::SiltLoam,
        TextureClass::Silt,
        TextureClass::SandyClayLoam,
        TextureClass::ClayLoam,
        TextureClass::SiltyClayLoam,
        TextureClass::SandyClay,
        TextureClass::SiltyClay,
        TextureClass::Clay,
    ];

    /// The class's name, e.g. `sandy loam`.
    pub fn name(self) -> &'static str {
        match self {
            TextureClass::Sand => "sand",
            TextureClass::LoamySand => "loamy sand",
            TextureClass::SandyLoam => "sandy loam",
            TextureClass::Loam => "loam",
            TextureClass::SiltLoam => "silt loam",
            TextureClass::Silt => "silt",
            TextureClass::SandyClayLoam => "sandy clay loam",
            TextureClass::ClayLoam => "clay loam",
            TextureClass::SiltyClayLoam => "silty clay loam",
            TextureClass::SandyClay => "sandy clay",
            TextureClass::SiltyClay => "silty clay",
            TextureClass::Clay => "clay",
        }
    }

    /// Whether `particles` meet this class's rule. Each point of the triangle
    /// meets exactly one; no rule relies on the others having failed.
    pub fn holds(self, particles: &Particles) -> bool {
        let Particles { sand, silt, clay } = *particles;
        let percent = |figure: i32| figure * STEPS;
        match self {
            TextureClass::Sand => 2 * silt + 3 * clay < percent(30),
            TextureClass::LoamySand => {
                2 * silt + 3 * clay >= percent(30) && silt + 2 * clay < percent(30)
            }
            TextureClass::SandyLoam => {
                silt + 2 * clay >= percent(30)
                    && ((clay >= percent(7) && clay < percent(20) && sand > percent(52))
                        || (clay < percent(7) && silt < percent(50)))
            }
            TextureClass::Loam => {
                clay >= percent(7)
                    && clay < percent(27)
                    && silt >= percent(28)
                    && silt < percent(50)
                    && sand <= percent(52)
            }
            TextureClass::SiltLoam => {
                (silt >= percent(50) && clay >= percent(12) && clay < percent(27))
                    || (silt >= percent(50) && silt < percent(80) && clay < percent(12))
            }
            TextureClass::Silt => silt >= percent(80) && clay < percent(12),
            TextureClass::SandyClayLoam => {
                clay >= percent(20)
                    && clay < percent(35)
                    && silt < percent(28)
                    && sand > percent(45)
            }
            TextureClass::ClayLoam => {
                clay >= percent(27)
                    && clay < percent(40)
                    && sand > percent(20)
                    && sand <= percent(45)
            }
            TextureClass::SiltyClayLoam => {
                clay >= percent(27) && clay < percent(40) && sand <= percent(20)
            }
            TextureClass::SandyClay => clay >= percent(35) && sand > percent(45),
            TextureClass::SiltyClay => clay >= percent(40) && silt >= percent(40),
            TextureClass::Clay => clay >= percent(40) && sand <= percent(45) && silt < percent(40),
        }
    }
}

impl fmt::Display for TextureClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// Reads a class by name; capitals, hyphens, underscores and extra spaces do
/// not matter. `silt clay loam`, as FAO-56 Table 19 spells it, is the silty
/// clay loam.
impl FromStr for TextureClass {
    type Err = SoilError;

    fn from_str(name: &str) -> Result<Self, SoilError> {
        let plain = plain_name(name);
        if plain == "silt clay loam" {
            return Ok(TextureClass::SiltyClayLoam);
        }
        TextureClass::ALL
            .into_iter()
            .find(|class| class.name() == plain)
            .ok_or_else(|| SoilError::UnknownClass {
                name: name.to_owned(),
            })
    }
}

impl TryFrom<String> for TextureClass {
    type Error = SoilError;
    fn try_from(name: String) -> Result<Self, SoilError> {
        name.parse()
    }
}

impl From<TextureClass> for String {
    fn from(class: TextureClass) -> String {
        class.name().to_owned()
    }
}

/// The twelve names, for messages.
pub(super) fn class_list() -> String {
    TextureClass::ALL.map(TextureClass::name).join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_however_they_are_spaced() {
        for name in ["Sandy Clay Loam", "sandy-clay-loam", " sandy_clay  loam "] {
            assert_eq!(name.parse(), Ok(TextureClass::SandyClayLoam), "{name}");
        }
        for class in TextureClass::ALL {
            assert_eq!(class.name().parse(), Ok(class));
        }
    }

    #[test]
    fn an_unknown_name_is_answered_with_the_twelve() {
        let error = "light soil".parse::<TextureClass>().unwrap_err();
        assert_eq!(
            error.to_string(),
            "\"light soil\" is none of the twelve USDA texture classes: sand, loamy sand, \
             sandy loam, loam, silt loam, silt, sandy clay loam, clay loam, silty clay loam, \
             sandy clay, silty clay, clay"
        );
    }
}
