//! The physical route: from the count to the permittivity the probe feels, and
//! from permittivity to water content.
//!
//! ```text
//! counts in air, a liquid, water          bulk density, or soil's own cores
//!          |  ReferenceMedia                       |  WaterFromPermittivity
//! count ---+--> apparent permittivity -------------+--> theta_v
//! ```
//!
//! It needs no oven for the first step and a general formula may do for the
//! second, so it says something about a soil nobody has dug yet; what it gives is
//! as good as the formula is for that soil, which only oven-dry cores tell.
//!
//! The published formulas here were recalled from memory and not checked against
//! the publications (`reference-data/soil/NOTES.md`).

mod comparison;
mod error;
mod malicki;
mod media;
mod mixture;
mod root_line;
mod topp;
mod water;

pub use comparison::{CoreReading, Route, RouteErrors, SOLID_PERMITTIVITY, compare_routes};
pub use error::DielectricError;
pub use malicki::Malicki;
pub use media::{AIR_PERMITTIVITY, Medium, ReferenceMedia};
pub use mixture::RefractiveMixture;
pub use root_line::{FittedRootLine, RootLine};
pub use topp::{Topp, topp_permittivity};
pub use water::water_permittivity;

use crate::quantity::{Estimate, Permittivity, Quantity, Vwc};

/// A relation between apparent permittivity and volumetric water content.
pub trait WaterFromPermittivity {
    /// theta_v at a permittivity.
    ///
    /// # Errors
    /// [`DielectricError::Quantity`] if no soil holds that much, and what the
    /// relation itself refuses.
    fn theta_v(&self, permittivity: Permittivity) -> Result<Vwc, DielectricError>;

    /// The permittivity at which [`theta_v`](Self::theta_v) gives `theta_v`: its
    /// exact inverse.
    ///
    /// # Errors
    /// [`DielectricError::Quantity`] if no material has such a permittivity, and
    /// what the relation itself refuses.
    fn permittivity(&self, theta_v: Vwc) -> Result<Permittivity, DielectricError>;

    /// d theta_v / d permittivity, m3/m3.
    fn slope(&self, permittivity: Permittivity) -> f64;

    /// theta_v with the standard uncertainty that comes from that of the
    /// permittivity, to first order (JCGM 100:2008, 5.1). How far the relation
    /// is off in the soil at hand is not in it.
    ///
    /// # Errors
    /// As [`theta_v`](Self::theta_v).
    fn estimate(
        &self,
        permittivity: Estimate<Permittivity>,
    ) -> Result<Estimate<Vwc>, DielectricError> {
        Ok(Estimate::new(
            self.theta_v(permittivity.value)?,
            self.slope(permittivity.value).abs() * permittivity.u,
        ))
    }
}

/// Square root of a permittivity: the refractive index of a material without
/// losses.
fn root(permittivity: Permittivity) -> f64 {
    permittivity.value().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Density;

    fn relations() -> Vec<(&'static str, Box<dyn WaterFromPermittivity>)> {
        let density = Density::new(1.4).unwrap();
        vec![
            ("Topp", Box::new(Topp)),
            ("Malicki", Box::new(Malicki::new(density))),
            (
                "mixture",
                Box::new(
                    RefractiveMixture::new(
                        density,
                        Density::new(2.65).unwrap(),
                        Permittivity::new(4.0).unwrap(),
                        Permittivity::new(80.1).unwrap(),
                    )
                    .unwrap(),
                ),
            ),
            ("line", Box::new(RootLine::new(-0.17, 0.115).unwrap())),
        ]
    }

    #[test]
    fn every_relation_and_its_inverse_undo_each_other() {
        for (name, relation) in relations() {
            for value in [2.5, 4.0, 9.5, 17.0, 26.0] {
                let permittivity = Permittivity::new(value).unwrap();
                let theta_v = relation.theta_v(permittivity).unwrap();
                let back = relation.permittivity(theta_v).unwrap();
                assert!(
                    (back.value() - value).abs() < 1e-11 * value,
                    "{name} at {value}: {back:?}"
                );
            }
        }
    }

    #[test]
    fn every_slope_is_that_of_the_relation() {
        let h = 1e-5;
        for (name, relation) in relations() {
            for value in [2.5, 9.5, 26.0] {
                let at = |value: f64| {
                    let permittivity = Permittivity::new(value).unwrap();
                    relation.theta_v(permittivity).unwrap().value()
                };
                let difference = (at(value + h) - at(value - h)) / (2.0 * h);
                let slope = relation.slope(Permittivity::new(value).unwrap());
                assert!((slope - difference).abs() < 1e-9, "{name} at {value}");
            }
        }
    }

    #[test]
    fn uncertainty_of_the_permittivity_becomes_that_of_the_water_content() {
        let line = RootLine::new(-0.17, 0.115).unwrap();
        let permittivity = Estimate::new(Permittivity::new(16.0).unwrap(), 0.4);
        let theta_v = line.estimate(permittivity).unwrap();
        // d theta_v / d eps = 0.115 / (2 * 4)
        assert!((theta_v.value.value() - 0.29).abs() < 1e-12);
        assert!((theta_v.u - 0.4 * 0.115 / 8.0).abs() < 1e-12);
    }
}
