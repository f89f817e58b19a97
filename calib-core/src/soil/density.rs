//! Bulk density: what packing does to the water of a soil, after Saxton and
//! Rawls (2006), Soil Sci. Soc. Am. J. 70:1569 (the forms recalled from memory,
//! not checked).
//!
//! The equations speak of a soil packed as soils of its texture usually are, at
//! the normal density `rho_N = 2.65 (1 - theta_S)`. One of another density,
//! `rho = DF rho_N`, holds at saturation `theta_S,DF = 1 - rho / 2.65` and at
//! 33 kPa `theta_33,DF = theta_33 - 0.2 (theta_S - theta_S,DF)`; its wilting
//! point stays.

use super::saxton_rawls::PARTICLE_DENSITY;
use super::{SaxtonRawls, SoilError};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Least and largest ratio of a soil's density to its normal one for which the
/// adjustment is made (recalled from memory, not checked).
pub const DENSITY_FACTOR_LIMITS: (f64, f64) = (0.9, 1.3);

/// Share of the pores lost at saturation that is lost at 33 kPa as well
/// (recalled from memory, not checked).
const LOST_AT_33: f64 = 0.2;

/// A soil's density beside the one its texture usually has.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DensityAdjustment {
    /// Dry density of the fine earth, g/cm3.
    pub fine_earth_g_cm3: f64,
    /// Density that goes with the texture, g/cm3.
    pub normal_g_cm3: f64,
    /// Their ratio DF.
    pub factor: f64,
}

/// Share of the volume that is pores, between grains of 2.65 g/cm3, at `density`
/// g/cm3; saturation, where no air stays behind.
pub fn porosity(density: f64) -> f64 {
    porosity_between_grains(density, PARTICLE_DENSITY)
}

/// Share of the volume that is pores at a dry bulk density of `density`, between
/// grains of `particle_density`, both g/cm3: `1 - rho_b / rho_s`, by definition.
pub fn porosity_between_grains(density: f64, particle_density: f64) -> f64 {
    1.0 - density / particle_density
}

impl SaxtonRawls {
    /// The same soil packed to `density` g/cm3 of dry fine earth in place of its
    /// normal density.
    ///
    /// # Errors
    /// [`SoilError::BeyondDensity`] if the ratio of the two lies outside
    /// [`DENSITY_FACTOR_LIMITS`], [`SoilError::EquationsFail`] if the water
    /// contents no longer rise from wilting point to saturation.
    ///
    /// # Example
    /// ```
    /// use calib_core::soil::{Particles, SaxtonRawls};
    /// let loose = SaxtonRawls::new(&Particles::from_sand_and_clay(40.0, 20.0)?, 2.5)?;
    /// let (packed, by) = loose.at_density(1.1 * loose.matric_density)?;
    /// assert!((by.factor - 1.1).abs() < 1e-12);
    /// assert!(packed.saturation < loose.saturation);
    /// assert_eq!(packed.wilting_point, loose.wilting_point);
    /// assert!(loose.at_density(2.2).is_err());
    /// # Ok::<(), calib_core::soil::SoilError>(())
    /// ```
    pub fn at_density(&self, density: f64) -> Result<(Self, DensityAdjustment), SoilError> {
        let adjustment = DensityAdjustment {
            fine_earth_g_cm3: density,
            normal_g_cm3: self.matric_density,
            factor: density / self.matric_density,
        };
        let (least, most) = DENSITY_FACTOR_LIMITS;
        // A hair's breadth lets a factor of 0.9 itself in.
        if !(least - 1e-9..=most + 1e-9).contains(&adjustment.factor) {
            return Err(SoilError::BeyondDensity(adjustment));
        }
        let saturation = porosity(density);
        let field_capacity = self.field_capacity - LOST_AT_33 * (self.saturation - saturation);
        let packed = Self {
            saturation_above_33: saturation - field_capacity,
            matric_density: density,
            ..Self::through(
                self.wilting_point,
                field_capacity,
                saturation,
                self.air_entry_kpa,
            )?
        };
        Ok((packed, adjustment))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::soil::Particles;
    use proptest::prelude::*;

    fn loam() -> SaxtonRawls {
        SaxtonRawls::new(&Particles::from_sand_and_clay(40.0, 20.0).unwrap(), 2.5).unwrap()
    }

    #[test]
    fn at_its_normal_density_a_soil_stays_as_it_is() {
        let (same, by) = loam().at_density(loam().matric_density).unwrap();
        assert_eq!(by.factor, 1.0);
        for (a, b) in [
            (same.field_capacity, loam().field_capacity),
            (same.saturation, loam().saturation),
            (same.exponent, loam().exponent),
            (same.conductivity_mm_per_h, loam().conductivity_mm_per_h),
        ] {
            assert!((a - b).abs() < 1e-12 * b.max(1.0), "{a} {b}");
        }
    }

    #[test]
    fn a_packed_loam_loses_water_as_by_hand() {
        // theta_33 0.27961, theta_S 0.459478, rho_N 1.432383; at 1.575622 (DF 1.1)
        // theta_S = 1 - 1.575622 / 2.65 = 0.405426,
        // theta_33 = 0.27961 - 0.2 (0.459478 - 0.405426) = 0.268800,
        // lambda = (ln 0.2688 - ln 0.137024) / (ln 1500 - ln 33) = 0.176544,
        // K_S = 1930 (0.405426 - 0.268800)^(3 - lambda) = 6.99 mm/h.
        let (packed, _) = loam().at_density(1.1 * loam().matric_density).unwrap();
        assert!((packed.saturation - 0.405426).abs() < 2e-6);
        assert!((packed.field_capacity - 0.268800).abs() < 2e-6);
        assert!((packed.lambda - 0.176544).abs() < 2e-5, "{}", packed.lambda);
        assert!((packed.conductivity_mm_per_h - 6.99).abs() < 0.01);
    }

    #[test]
    fn outside_its_limits_the_adjustment_is_refused_with_both_densities() {
        for factor in [0.89, 1.31, f64::NAN] {
            assert!(matches!(
                loam().at_density(factor * loam().matric_density),
                Err(SoilError::BeyondDensity(_))
            ));
        }
        assert_eq!(
            loam().at_density(1.9).unwrap_err().to_string(),
            "a dry density of 1.90 g/cm3 in the fine earth is 1.33 times the 1.43 g/cm3 that goes with its texture; Saxton and Rawls (2006) adjust from 0.9 to 1.3 times (from memory)"
        );
    }

    proptest! {
        #[test]
        fn the_denser_the_less_water_and_all_still_ascends(
            sand in 0.0..=95.0_f64, share in 0.0..0.6_f64, om in 0.5..7.9_f64,
            factor in 0.9..=1.3_f64,
        ) {
            let particles = Particles::from_sand_and_clay(sand, (100.0 - sand) * share).unwrap();
            let Ok(normal) = SaxtonRawls::new(&particles, om) else { return Ok(()) };
            let Ok((packed, _)) = normal.at_density(factor * normal.matric_density) else {
                return Ok(());
            };
            prop_assert_eq!(packed.saturation < normal.saturation, factor > 1.0);
            prop_assert_eq!(packed.field_capacity < normal.field_capacity, factor > 1.0);
            prop_assert!(packed.wilting_point < packed.field_capacity);
            prop_assert!(packed.field_capacity < packed.saturation);
        }
    }
}
