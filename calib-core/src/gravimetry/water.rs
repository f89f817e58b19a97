//! Density of water.

use super::check;
use super::error::{CoreInput, GravimetryError};
use super::propagation::{Carried, Input};
use crate::quantity::{Celsius, Density, Estimate, Quantity};

/// Lowest temperature of the formula's range, C.
const LOWEST: f64 = 0.0;
/// Highest temperature of the formula's range, C.
const HIGHEST: f64 = 40.0;

/// Density of water free of air at 101 325 Pa, g/cm3, for 0 to 40 C.
///
/// Tanaka, M. et al. (2001), Recommended table for the density of water between
/// 0 C and 40 C based on recent experimental reports, Metrologia 38:301-309:
/// `rho = a5 (1 - (t + a1)^2 (t + a2) / (a3 (t + a4)))`. The values it is
/// checked at were compared with a second, public copy of the formula, not with
/// the paper (reference-data/soil/NOTES.md).
///
/// # Errors
/// [`GravimetryError::WaterTemperature`] outside 0 to 40 C.
///
/// # Example
/// ```
/// use calib_core::gravimetry::water_density;
/// use calib_core::quantity::{Celsius, Quantity};
///
/// let density = water_density(Celsius::new(20.0)?)?;
/// assert!((density.value() - 0.998_207).abs() < 1e-6);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn water_density(temperature: Celsius) -> Result<Density, GravimetryError> {
    let t = in_range(temperature)?;
    Ok(Density::new(formula(Carried::exact(t)).value)?)
}

/// The same, carrying the uncertainty of the temperature.
pub(super) fn carried_density(temperature: Estimate<Celsius>) -> Result<Carried, GravimetryError> {
    let t = in_range(temperature.value)?;
    check::uncertainty(CoreInput::WaterTemperature, temperature.u, HIGHEST)?;
    Ok(formula(Carried::input(
        Input::WaterTemperature,
        t,
        temperature.u,
    )))
}

fn in_range(temperature: Celsius) -> Result<f64, GravimetryError> {
    let t = temperature.value();
    if (LOWEST..=HIGHEST).contains(&t) {
        Ok(t)
    } else {
        Err(GravimetryError::WaterTemperature {
            temperature: t,
            lowest: LOWEST,
            highest: HIGHEST,
        })
    }
}

/// In g/cm3; a5 of the paper is 999.974 950 kg/m3.
fn formula(t: Carried) -> Carried {
    const A1: f64 = -3.983_035;
    const A2: f64 = 301.797;
    const A3: f64 = 522_528.9;
    const A4: f64 = 69.348_81;
    const A5: f64 = 0.999_974_950;
    let shortfall = (t + A1) * (t + A1) * (t + A2) / ((t + A4) * A3);
    (shortfall * -1.0 + 1.0) * A5
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outside_the_formulas_range_there_is_no_density() {
        let error = water_density(Celsius::new(41.0).unwrap()).unwrap_err();
        assert_eq!(
            error.to_string(),
            "water temperature 41 C lies outside 0 to 40 C, where the density formula holds"
        );
        assert!(water_density(Celsius::new(40.0).unwrap()).is_ok());
    }

    #[test]
    fn the_carried_uncertainty_is_the_slope_times_that_of_the_temperature() {
        let at = |t: f64| water_density(Celsius::new(t).unwrap()).unwrap().value();
        let slope = (at(20.01) - at(19.99)) / 0.02;
        let carried = carried_density(Estimate::new(Celsius::new(20.0).unwrap(), 5.0)).unwrap();
        assert!((carried.u() - 5.0 * slope.abs()).abs() < 1e-9);
    }

    #[test]
    fn water_is_densest_near_four_degrees() {
        let at = |t: f64| water_density(Celsius::new(t).unwrap()).unwrap().value();
        assert!(at(3.98) > at(3.5) && at(3.98) > at(4.5));
    }
}
