//! Sand and silt parted at another grain than 0.05 mm.
//!
//! The classes, equations and tables of this program part silt from sand at
//! 0.05 mm, as the USDA does; a laboratory that works by ISO 14688-1 or ISO 11277
//! parts them at 0.063 mm (numbers recalled from memory). What lies between is
//! found on the cumulative particle-size curve, taken as a straight line over the
//! logarithm of grain size from clay (0.002 mm) to the laboratory's bound: one of
//! the procedures compared by Nemes et al. (1999), Geoderma 90:187 (recalled from
//! memory, not checked).

use super::{Particles, SoilError, TextureClass};
use crate::soil::saxton_rawls::SaxtonRawls;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the USDA parts silt from sand, micrometres.
pub const USDA_SILT_UPPER_UM: f64 = 50.0;

/// Where ISO parts silt from sand, micrometres (recalled from memory).
pub const ISO_SILT_UPPER_UM: f64 = 63.0;

/// The coarsest bound that is converted, micrometres: the opening of a sieve some
/// laboratories part at. Further away a straight line is too long a reach.
pub const COARSEST_SILT_UPPER_UM: f64 = 75.0;

const CLAY_UPPER_UM: f64 = 2.0;
const SAND_UPPER_UM: f64 = 2000.0;

/// Steps in which the range of what may have been converted is looked through.
const LOOKS: u32 = 50;

/// What became of sand and silt parted at another grain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SiltConversion {
    /// The bound they were given for, micrometres.
    pub from_um: f64,
    /// Silt as given, percent by mass.
    pub silt_given: f64,
    /// Sand as given, percent by mass.
    pub sand_given: f64,
    /// Percent points taken from silt and called sand.
    pub moved: f64,
    /// Least that may really lie between the two bounds, percent points: nothing.
    pub least: f64,
    /// Most of it: twice what the straight line says, or what the mean slope of
    /// the sand side gives where that is more; never more than all silt. Our
    /// choice. That the curve never falls would allow all silt.
    pub most: f64,
    /// Standard uncertainty of `moved`, percent points: `least` to `most` equally
    /// likely (JCGM 100:2008, 4.3.8).
    pub u: f64,
    /// Classes other than the one found that the soil has with something from
    /// `least` to `most` moved.
    pub other_classes: Vec<TextureClass>,
}

impl Particles {
    /// Particles parted at 0.05 mm from ones parted at `silt_upper_um`
    /// micrometres, with what was done; nothing where that is the USDA's bound.
    ///
    /// # Errors
    /// [`SoilError::SiltBound`] if the bound is not one of
    /// [`USDA_SILT_UPPER_UM`] to [`COARSEST_SILT_UPPER_UM`].
    ///
    /// # Example
    /// ```
    /// use calib_core::soil::Particles;
    /// // 40 % silt from 0.002 to 0.063 mm: 40 ln(63/50) / ln(63/2) = 2.7 points.
    /// let (usda, how) = Particles::new(45.0, 40.0, 15.0)?.parted_at(63.0)?;
    /// assert!((usda.sand() - 47.679).abs() < 0.001);
    /// assert!((how.unwrap().moved - 2.679).abs() < 0.001);
    /// assert_eq!(usda.parted_at(50.0)?, (usda, None));
    /// # Ok::<(), calib_core::soil::SoilError>(())
    /// ```
    pub fn parted_at(
        self,
        silt_upper_um: f64,
    ) -> Result<(Particles, Option<SiltConversion>), SoilError> {
        if !(USDA_SILT_UPPER_UM..=COARSEST_SILT_UPPER_UM).contains(&silt_upper_um) {
            return Err(SoilError::SiltBound { um: silt_upper_um });
        }
        if silt_upper_um == USDA_SILT_UPPER_UM {
            return Ok((self, None));
        }
        let reach = (silt_upper_um / USDA_SILT_UPPER_UM).ln();
        let by_silt = self.silt() * reach / (silt_upper_um / CLAY_UPPER_UM).ln();
        let by_sand = self.sand() * reach / (SAND_UPPER_UM / silt_upper_um).ln();
        let least = 0.0;
        let most = (2.0 * by_silt).max(by_sand).min(self.silt());
        let found = self.with_sand_from_silt(by_silt);
        let mut other_classes = Vec::new();
        for look in 0..=LOOKS {
            let moved = least + (most - least) * f64::from(look) / f64::from(LOOKS);
            let class = self.with_sand_from_silt(moved).class();
            if class != found.class() && !other_classes.contains(&class) {
                other_classes.push(class);
            }
        }
        let conversion = SiltConversion {
            from_um: silt_upper_um,
            silt_given: self.silt(),
            sand_given: self.sand(),
            moved: found.sand() - self.sand(),
            least,
            most,
            u: (most - least) / 12.0_f64.sqrt(),
            other_classes,
        };
        Ok((found, Some(conversion)))
    }
}

impl SiltConversion {
    /// Standard uncertainties that not knowing the share converted gives field
    /// capacity, wilting point and saturation of the equations, m3/m3: half of
    /// what they change by from `u` less to `u` more, in this order; 0 where the
    /// equations do not hold.
    pub(super) fn water_u(&self, found: &Particles, organic_matter_percent: f64) -> [f64; 3] {
        let at = |points: f64| {
            let shifted = found.with_sand_from_silt(points);
            SaxtonRawls::new(&shifted, organic_matter_percent)
                .map(|water| [water.field_capacity, water.wilting_point, water.saturation])
        };
        match (at(-self.u), at(self.u)) {
            (Ok(less), Ok(more)) => [0, 1, 2].map(|i| (more[i] - less[i]).abs() / 2.0),
            _ => [0.0; 3],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn given(sand: f64, clay: f64) -> Particles {
        Particles::from_sand_and_clay(sand, clay).unwrap()
    }

    #[test]
    fn a_curve_straight_over_the_logarithm_is_converted_exactly() {
        // 10 % clay and 80 % more from 2 to 2000 um, straight over the logarithm:
        // what lies above is sand. At 63 um and at 50 um the same curve.
        let below = |um: f64| 10.0 + 90.0 * (um / 2.0_f64).ln() / 1000.0_f64.ln();
        let iso = given(100.0 - below(63.0), 10.0);
        let (usda, how) = iso.parted_at(63.0).unwrap();
        assert!((usda.sand() - (100.0 - below(50.0))).abs() < 0.002);
        assert_eq!(usda.clay(), 10.0);
        let how = how.unwrap();
        assert!((how.moved - (below(63.0) - below(50.0))).abs() < 0.002);
        assert_eq!(how.sand_given, iso.sand());
    }

    #[test]
    fn a_loam_near_the_border_of_sandy_loam_says_that_the_class_may_change() {
        let (usda, how) = given(50.0, 12.0).parted_at(63.0).unwrap();
        assert_eq!(usda.class(), TextureClass::SandyLoam);
        assert_eq!(how.unwrap().other_classes, [TextureClass::Loam]);
        let (_, how) = given(25.0, 20.0).parted_at(63.0).unwrap();
        assert!(how.unwrap().other_classes.contains(&TextureClass::Loam));
        let (_, how) = given(5.0, 10.0).parted_at(63.0).unwrap();
        assert!(!how.unwrap().other_classes.is_empty());
        let (_, how) = given(92.0, 3.0).parted_at(63.0).unwrap();
        assert!(how.unwrap().other_classes.is_empty());
    }

    #[test]
    fn bounds_too_far_off_are_refused() {
        for um in [0.0, 20.0, 49.9, 75.1, 0.063, f64::NAN] {
            assert!(matches!(
                given(40.0, 20.0).parted_at(um),
                Err(SoilError::SiltBound { .. })
            ));
        }
    }

    proptest! {
        #[test]
        fn what_is_moved_lies_between_its_limits(
            sand in 0.0..=100.0_f64, share in 0.0..=1.0_f64, um in 50.5..=75.0_f64,
        ) {
            let iso = given(sand, (100.0 - sand) * share);
            let (usda, how) = iso.parted_at(um).unwrap();
            let how = how.unwrap();
            // Shares are held to a thousandth of a percent point.
            prop_assert!(how.moved >= how.least && how.moved <= how.most + 0.001);
            prop_assert!(how.most <= iso.silt() + 1e-9);
            prop_assert_eq!(usda.clay(), iso.clay());
            prop_assert!((usda.sand() + usda.silt() - iso.sand() - iso.silt()).abs() < 1e-9);
            let [fc, wp, sat] = how.water_u(&usda, 2.5);
            prop_assert!(fc.is_finite() && wp.is_finite() && sat.is_finite());
        }
    }
}
