//! The equations of Saxton and Rawls (2006), Soil Sci. Soc. Am. J. 70:1569:
//! soil water from sand, clay and organic matter.

use super::particles::check_percent;
use super::{FIELD_CAPACITY_KPA, Particles, PowerLaw, SoilError};

/// Organic matter below which the equations hold, percent by mass (the limit
/// recalled from memory).
pub const MAXIMUM_ORGANIC_MATTER_PERCENT: f64 = 8.0;

/// Clay below which the equations hold, percent by mass (the limit recalled
/// from memory).
pub const MAXIMUM_CLAY_PERCENT: f64 = 60.0;

/// Organic matter of the soils in the paper's Table 3, percent by mass; taken
/// where a soil's own is not known.
pub const TABLE_3_ORGANIC_MATTER: f64 = 2.5;

/// Density of the mineral particles the paper reckons with, g/cm3 (recalled
/// from memory).
pub(super) const PARTICLE_DENSITY: f64 = 2.65;

/// What the equations give for one soil, at its ordinary density and without
/// gravel or salt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SaxtonRawls {
    /// theta_v at 1500 kPa, m3/m3.
    pub wilting_point: f64,
    /// theta_v at 33 kPa, m3/m3.
    pub field_capacity: f64,
    /// Water between saturation and 33 kPa before the density step, m3/m3.
    pub saturation_above_33: f64,
    /// theta_v at saturation, m3/m3.
    pub saturation: f64,
    /// Exponent B of `suction = A theta^-B`.
    pub exponent: f64,
    /// Factor A of `suction = A theta^-B`, kPa.
    pub factor_kpa: f64,
    /// Slope of the logarithmic retention curve, 1/B.
    pub lambda: f64,
    /// Suction at which air enters a saturated soil, kPa; from 0 to below 33
    /// (the equation recalled from memory, not checked).
    pub air_entry_kpa: f64,
    /// Saturated hydraulic conductivity, mm/h.
    pub conductivity_mm_per_h: f64,
    /// Dry bulk density that goes with the saturation, g/cm3.
    pub matric_density: f64,
}

impl SaxtonRawls {
    /// Evaluates the equations.
    ///
    /// # Errors
    /// [`SoilError::Percent`] if organic matter is not between 0 and 100 %,
    /// [`SoilError::BeyondEquations`] if clay or organic matter is beyond what
    /// the paper gives the equations for, [`SoilError::EquationsFail`] where
    /// they give water contents that do not rise from a positive wilting point
    /// over field capacity to saturation (as for pure sand without organic
    /// matter).
    pub fn new(particles: &Particles, organic_matter_percent: f64) -> Result<Self, SoilError> {
        check_percent("organic matter", organic_matter_percent)?;
        for (name, percent, limit) in [
            ("clay", particles.clay(), MAXIMUM_CLAY_PERCENT),
            (
                "organic matter",
                organic_matter_percent,
                MAXIMUM_ORGANIC_MATTER_PERCENT,
            ),
        ] {
            if percent >= limit {
                return Err(SoilError::BeyondEquations {
                    name,
                    percent,
                    limit,
                });
            }
        }
        let (s, c, om) = (
            particles.sand() / 100.0,
            particles.clay() / 100.0,
            organic_matter_percent,
        );

        let first_1500 = -0.024 * s + 0.487 * c + 0.006 * om + 0.005 * s * om - 0.013 * c * om
            + 0.068 * s * c
            + 0.031;
        let wilting_point = first_1500 + (0.14 * first_1500 - 0.02);

        let first_33 = -0.251 * s + 0.195 * c + 0.011 * om + 0.006 * s * om - 0.027 * c * om
            + 0.452 * s * c
            + 0.299;
        let field_capacity = first_33 + (1.283 * first_33 * first_33 - 0.374 * first_33 - 0.015);

        let first_above =
            0.278 * s + 0.034 * c + 0.022 * om - 0.018 * s * om - 0.027 * c * om - 0.584 * s * c
                + 0.078;
        let saturation_above_33 = first_above + (0.636 * first_above - 0.107);

        let saturation = field_capacity + saturation_above_33 - 0.097 * s + 0.043;

        Ok(Self {
            saturation_above_33,
            ..Self::through(
                wilting_point,
                field_capacity,
                saturation,
                air_entry(s, c, saturation_above_33),
            )?
        })
    }

    /// What follows from three water contents, m3/m3, with the density at which
    /// saturation fills the pores.
    ///
    /// # Errors
    /// [`SoilError::EquationsFail`] if the three do not rise.
    pub(super) fn through(
        wilting_point: f64,
        field_capacity: f64,
        saturation: f64,
        air_entry_kpa: f64,
    ) -> Result<Self, SoilError> {
        let ascending = 0.0 < wilting_point
            && wilting_point < field_capacity
            && field_capacity < saturation
            && saturation < 1.0;
        if !ascending {
            return Err(SoilError::EquationsFail {
                wilting_point,
                field_capacity,
                saturation,
            });
        }
        let law = PowerLaw {
            field_capacity,
            wilting_point,
            saturation: Some(saturation),
            air_entry_kpa,
        };
        let exponent = law.exponent();
        let lambda = 1.0 / exponent;
        Ok(Self {
            wilting_point,
            field_capacity,
            saturation_above_33: saturation - field_capacity,
            saturation,
            exponent,
            factor_kpa: law.factor_kpa(),
            lambda,
            air_entry_kpa,
            conductivity_mm_per_h: 1930.0 * (saturation - field_capacity).powf(3.0 - lambda),
            matric_density: PARTICLE_DENSITY * (1.0 - saturation),
        })
    }

    /// The retention curve of these figures.
    pub fn retention(&self) -> PowerLaw {
        PowerLaw {
            field_capacity: self.field_capacity,
            wilting_point: self.wilting_point,
            saturation: Some(self.saturation),
            air_entry_kpa: self.air_entry_kpa,
        }
    }
}

/// Suction at air entry, kPa, from sand and clay as shares and the water between
/// saturation and 33 kPa; recalled from memory, not checked. The equation falls
/// below nothing for some coarse soils, where 0 is taken.
fn air_entry(s: f64, c: f64, above_33: f64) -> f64 {
    let first = -21.67 * s - 27.93 * c - 81.97 * above_33
        + 71.12 * s * above_33
        + 8.29 * c * above_33
        + 14.05 * s * c
        + 27.16;
    let second = first + (0.02 * first * first - 0.113 * first - 0.70);
    second.clamp(0.0, 0.9 * FIELD_CAPACITY_KPA)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::soil::WILTING_POINT_KPA;
    use proptest::prelude::*;

    fn particles(sand: f64, clay: f64) -> Particles {
        Particles::from_sand_and_clay(sand, clay).unwrap()
    }

    #[test]
    fn the_power_law_passes_through_both_water_contents() {
        let loam = SaxtonRawls::new(&particles(40.0, 20.0), 2.5).unwrap();
        let suction = |theta: f64| loam.factor_kpa * theta.powf(-loam.exponent);
        assert!((suction(loam.field_capacity) - FIELD_CAPACITY_KPA).abs() < 1e-9);
        assert!((suction(loam.wilting_point) - WILTING_POINT_KPA).abs() < 1e-6);
    }

    #[test]
    fn soils_the_equations_were_not_made_for_are_refused_with_the_limit() {
        assert_eq!(
            SaxtonRawls::new(&particles(10.0, 65.0), 2.5)
                .unwrap_err()
                .to_string(),
            "clay 65 % is beyond what Saxton and Rawls (2006) give their equations for (below 60 %)"
        );
        assert_eq!(
            SaxtonRawls::new(&particles(40.0, 20.0), 8.0)
                .unwrap_err()
                .to_string(),
            "organic matter 8 % is beyond what Saxton and Rawls (2006) give their equations for (below 8 %)"
        );
        assert!(matches!(
            SaxtonRawls::new(&particles(40.0, 20.0), f64::NAN),
            Err(SoilError::Percent { .. })
        ));
    }

    #[test]
    fn pure_sand_gets_no_negative_wilting_point() {
        assert!(matches!(
            SaxtonRawls::new(&particles(100.0, 0.0), 0.0),
            Err(SoilError::EquationsFail { .. })
        ));
    }

    proptest! {
        #[test]
        fn what_comes_out_always_ascends_and_is_finite(
            sand in 0.0..=100.0_f64, share in 0.0..=1.0_f64, om in 0.0..8.0_f64,
        ) {
            let soil = particles(sand, (100.0 - sand) * share * 0.999);
            if let Ok(water) = SaxtonRawls::new(&soil, om) {
                prop_assert!(0.0 < water.wilting_point);
                prop_assert!(water.wilting_point < water.field_capacity);
                prop_assert!(water.field_capacity < water.saturation);
                prop_assert!(water.exponent.is_finite() && water.exponent > 0.0);
                prop_assert!(water.conductivity_mm_per_h.is_finite());
                prop_assert!(water.factor_kpa.is_finite());
                prop_assert!((0.0..FIELD_CAPACITY_KPA).contains(&water.air_entry_kpa));
            }
        }
    }
}
