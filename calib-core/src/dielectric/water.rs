//! Permittivity of water.

use super::DielectricError;
use crate::quantity::{Celsius, Permittivity, Quantity};

/// Lowest temperature of the formula's range, C.
const LOWEST: f64 = 0.0;
/// Highest temperature of the formula's range that a [`Celsius`] reaches, C.
const HIGHEST: f64 = 85.0;

/// Static relative permittivity of water from 0 C (the formula goes on to 100 C):
/// `87.740 - 0.40008 t + 9.398e-4 t^2 - 1.410e-6 t^3`.
///
/// Malmberg, C. G. and Maryott, A. A. (1956), Dielectric constant of water from
/// 0 to 100 C, J. Res. NBS 56:1; coefficients from memory, not checked
/// (reference-data/soil/NOTES.md).
///
/// # Errors
/// [`DielectricError::WaterTemperature`] below 0 C.
///
/// # Example
/// ```
/// use calib_core::dielectric::water_permittivity;
/// use calib_core::quantity::{Celsius, Quantity};
///
/// let water = water_permittivity(Celsius::new(20.0)?)?;
/// assert!((water.value() - 80.103).abs() < 1e-3);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn water_permittivity(temperature: Celsius) -> Result<Permittivity, DielectricError> {
    let t = temperature.value();
    if !(LOWEST..=HIGHEST).contains(&t) {
        return Err(DielectricError::WaterTemperature {
            celsius: t,
            low: LOWEST,
            high: HIGHEST,
        });
    }
    let permittivity = 87.740 + t * (-0.400_08 + t * (9.398e-4 - t * 1.410e-6));
    Ok(Permittivity::new(permittivity)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ice_is_not_water() {
        let error = water_permittivity(Celsius::new(-3.0).unwrap()).unwrap_err();
        assert_eq!(
            error.to_string(),
            "water at -3 C lies outside 0 to 85 C, the range of the formula"
        );
    }
}
