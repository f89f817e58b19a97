//! The water retention function of van Genuchten (1980), Soil Sci. Soc. Am. J.
//! 44:892 (the form recalled from memory).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Head of water for one kilopascal, cm, with water at 1000 kg/m3 and standard
/// gravity 9.80665 m/s2: 33 kPa are 336.5 cm, 1500 kPa are 15296 cm.
pub const CM_PER_KPA: f64 = 100.0 / 9.80665;

/// Parameters of the function, with `m = 1 - 1/n`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VanGenuchten {
    /// Residual water content, m3/m3.
    pub theta_r: f64,
    /// Saturated water content, m3/m3.
    pub theta_s: f64,
    /// Inverse of a suction near air entry, 1/cm; positive.
    pub alpha_per_cm: f64,
    /// Shape; above 1.
    pub n: f64,
}

impl VanGenuchten {
    /// theta_v in m3/m3 at `suction` kPa (positive as the soil dries):
    /// `theta_r + (theta_s - theta_r) (1 + (alpha h)^n)^-(1 - 1/n)`.
    ///
    /// # Example
    /// ```
    /// use calib_core::soil::VanGenuchten;
    /// let loam = VanGenuchten { theta_r: 0.078, theta_s: 0.43, alpha_per_cm: 0.036, n: 1.56 };
    /// assert_eq!(loam.theta_v(0.0), 0.43);
    /// assert!((loam.theta_v(33.0) - 0.16445).abs() < 1e-5);
    /// ```
    pub fn theta_v(&self, suction: f64) -> f64 {
        let head = suction.max(0.0) * CM_PER_KPA;
        let m = 1.0 - 1.0 / self.n;
        let effective_saturation = (1.0 + (self.alpha_per_cm * head).powf(self.n)).powf(-m);
        self.theta_r + (self.theta_s - self.theta_r) * effective_saturation
    }

    /// Suction in kPa at `theta_v` m3/m3, the inverse of
    /// [`theta_v`](Self::theta_v); `None` above `theta_s` and at or below
    /// `theta_r`, which the function never reaches.
    pub fn suction(&self, theta_v: f64) -> Option<f64> {
        let effective_saturation = (theta_v - self.theta_r) / (self.theta_s - self.theta_r);
        if !(effective_saturation > 0.0 && effective_saturation <= 1.0) {
            return None;
        }
        let m = 1.0 - 1.0 / self.n;
        let head = (effective_saturation.powf(-1.0 / m) - 1.0)
            .max(0.0)
            .powf(1.0 / self.n)
            / self.alpha_per_cm;
        Some(head / CM_PER_KPA)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_soil_only_dries_as_suction_grows(
            theta_r in 0.0..0.12_f64, pores in 0.2..0.5_f64, log_alpha in -2.5..-0.8_f64,
            n in 1.05..3.0_f64, suction in 0.0..1500.0_f64, more in 0.01..100.0_f64,
        ) {
            let soil = VanGenuchten {
                theta_r,
                theta_s: theta_r + pores,
                alpha_per_cm: 10_f64.powf(log_alpha),
                n,
            };
            let (wetter, drier) = (soil.theta_v(suction), soil.theta_v(suction + more));
            prop_assert!(drier <= wetter);
            prop_assert!(wetter <= soil.theta_s && drier >= soil.theta_r);
            // Far below alpha the curve is flat: there the water content must come back.
            if let Some(back) = soil.suction(wetter) {
                prop_assert!((soil.theta_v(back) - wetter).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn at_the_inverse_of_alpha_saturation_is_two_to_minus_m() {
        // (1 + 1)^-m with n = 2: m = 1/2.
        let soil = VanGenuchten {
            theta_r: 0.0,
            theta_s: 1.0,
            alpha_per_cm: 0.02,
            n: 2.0,
        };
        let suction = 50.0 / CM_PER_KPA;
        assert!((soil.theta_v(suction) - 0.5_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn beyond_saturated_and_residual_water_there_is_no_suction() {
        let soil = VanGenuchten {
            theta_r: 0.05,
            theta_s: 0.45,
            alpha_per_cm: 0.02,
            n: 2.0,
        };
        assert_eq!(soil.suction(0.45), Some(0.0));
        for theta in [0.4501, 0.05, 0.0, f64::NAN] {
            assert_eq!(soil.suction(theta), None);
        }
        // Se = 2^-1/2 at alpha h = 1.
        let theta = 0.05 + 0.4 * 0.5_f64.sqrt();
        assert!((soil.suction(theta).unwrap() - 50.0 / CM_PER_KPA).abs() < 1e-9);
    }
}
