//! Gravel: what stones above 2 mm do to the water of a soil, after Saxton and
//! Rawls (2006), Soil Sci. Soc. Am. J. 70:1569 (the forms recalled from memory,
//! not checked).
//!
//! Tables and equations speak of the fine earth below 2 mm. A probe is calibrated
//! on ring cores weighed and dried with their stones, so its theta_v is a share of
//! the whole soil, stones included. Stones hold no water, so what the fine earth
//! holds counts for `1 - R_v` of the whole.

use super::SoilError;
use super::particles::check_percent;
use super::saxton_rawls::PARTICLE_DENSITY;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Gravel from which on no figures are given, percent by mass. Our choice: with
/// more, stones touch and fine earth only fills gaps.
pub const MOST_GRAVEL_PERCENT: f64 = 80.0;

/// Gravel of a soil, by mass and volume.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Gravel {
    /// Percent of the whole soil's dry mass.
    pub mass_percent: f64,
    /// Percent of the whole soil's volume.
    pub volume_percent: f64,
    /// Dry density of the fine earth between the stones, g/cm3.
    pub fine_earth_g_cm3: f64,
    /// Dry density of the whole, g/cm3.
    pub whole_g_cm3: f64,
    /// Saturated conductivity of the whole as a share of the fine earth's.
    pub conductivity_ratio: f64,
}

impl Gravel {
    /// Gravel of `percent` by mass in fine earth of dry `density` g/cm3: with
    /// `alpha = density / 2.65`, `R_v = alpha R_w / (1 - R_w (1 - alpha))` and
    /// `K_b / K_s = (1 - R_w) / (1 - R_w (1 - 3 alpha / 2))`.
    ///
    /// # Errors
    /// [`SoilError::Percent`] for a share that is none,
    /// [`SoilError::TooMuchGravel`] from [`MOST_GRAVEL_PERCENT`] on.
    pub fn in_fine_earth(percent: f64, density: f64) -> Result<Self, SoilError> {
        check_percent("gravel", percent)?;
        if percent >= MOST_GRAVEL_PERCENT {
            return Err(SoilError::TooMuchGravel { percent });
        }
        let by_mass = percent / 100.0;
        let alpha = density / PARTICLE_DENSITY;
        let whole = 1.0 - by_mass * (1.0 - alpha);
        Ok(Self {
            mass_percent: percent,
            volume_percent: 100.0 * alpha * by_mass / whole,
            fine_earth_g_cm3: density,
            whole_g_cm3: density / whole,
            conductivity_ratio: (1.0 - by_mass) / (1.0 - by_mass * (1.0 - 1.5 * alpha)),
        })
    }

    /// Gravel of `percent` by mass in a soil whose dry density is `density` g/cm3
    /// stones and all, as a ring core has it: its stones take
    /// `R_w density / 2.65` of the volume.
    ///
    /// # Errors
    /// As [`in_fine_earth`](Self::in_fine_earth), and [`SoilError::NoPores`] if
    /// the whole is as dense as its grains.
    pub fn in_whole_soil(percent: f64, density: f64) -> Result<Self, SoilError> {
        check_percent("gravel", percent)?;
        let by_mass = percent / 100.0;
        let fine_earth = density * (1.0 - by_mass) / (1.0 - by_mass * density / PARTICLE_DENSITY);
        if !(fine_earth > 0.0 && fine_earth < PARTICLE_DENSITY) && percent < MOST_GRAVEL_PERCENT {
            return Err(SoilError::NoPores { density });
        }
        Self::in_fine_earth(percent, fine_earth)
    }

    /// Share of the volume that is fine earth, `1 - R_v`.
    pub fn fine_earth_share(&self) -> f64 {
        1.0 - self.volume_percent / 100.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_third_of_gravel_by_mass_comes_out_as_by_hand() {
        // alpha = 1.325 / 2.65 = 0.5, R_w = 0.3: 1 - 0.3 x 0.5 = 0.85,
        // R_v = 0.15 / 0.85, whole = 1.325 / 0.85, K = 0.7 / (1 - 0.3 x 0.25).
        let gravel = Gravel::in_fine_earth(30.0, 1.325).unwrap();
        assert!((gravel.volume_percent - 100.0 * 0.15 / 0.85).abs() < 1e-12);
        assert!((gravel.whole_g_cm3 - 1.325 / 0.85).abs() < 1e-12);
        assert!((gravel.conductivity_ratio - 0.7 / 0.925).abs() < 1e-12);
    }

    #[test]
    fn no_gravel_changes_nothing() {
        let gravel = Gravel::in_fine_earth(0.0, 1.4).unwrap();
        assert_eq!(gravel.fine_earth_share(), 1.0);
        assert_eq!(gravel.whole_g_cm3, 1.4);
        assert_eq!(gravel.conductivity_ratio, 1.0);
    }

    #[test]
    fn shares_that_are_none_and_heaps_of_stones_are_refused() {
        for percent in [-1.0, 101.0, f64::NAN] {
            assert!(matches!(
                Gravel::in_whole_soil(percent, 1.4),
                Err(SoilError::Percent { name: "gravel", .. })
            ));
        }
        assert!(matches!(
            Gravel::in_whole_soil(80.0, 1.4),
            Err(SoilError::TooMuchGravel { .. })
        ));
        assert!(matches!(
            Gravel::in_whole_soil(20.0, 2.7),
            Err(SoilError::NoPores { .. })
        ));
    }

    proptest! {
        #[test]
        fn the_two_densities_lead_to_each_other_and_volumes_add_up(
            percent in 0.0..79.9_f64, density in 0.8..2.0_f64,
        ) {
            let gravel = Gravel::in_fine_earth(percent, density).unwrap();
            let back = Gravel::in_whole_soil(percent, gravel.whole_g_cm3).unwrap();
            prop_assert!((back.fine_earth_g_cm3 - density).abs() < 1e-9);
            // Mass of a unit volume: stones of 2.65 and fine earth between them.
            let stones = gravel.volume_percent / 100.0;
            let mass = 2.65 * stones + density * gravel.fine_earth_share();
            prop_assert!((mass - gravel.whole_g_cm3).abs() < 1e-9);
            prop_assert!((2.65 * stones / mass - percent / 100.0).abs() < 1e-9);
            prop_assert!(gravel.conductivity_ratio <= 1.0 && gravel.conductivity_ratio > 0.0);
        }
    }
}
