//! How the cores were weighed and what they are judged by.

use crate::quantity::{Celsius, Density, Estimate, Fraction, Gram, Quantity, QuantityError};

/// Largest change between two dry weighings 4 h apart, as a share of the dry soil,
/// that counts as constant mass: ISO 11465, from memory, not checked.
pub const CONSTANT_MASS: f64 = 0.001;

/// Time between the two dry weighings, h: ISO 11465, from memory, not checked.
pub const HOURS_BETWEEN_WEIGHINGS: u32 = 4;

/// Particle density taken where none was measured, g/cm3: common practice for
/// mineral soil.
pub const USUAL_PARTICLE_DENSITY: f64 = 2.65;

/// Balance, densities and criteria for [`reduce`](super::reduce()).
///
/// [`Method::new`] fills in everything but the balance with the defaults named
/// on each field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Method {
    /// Smallest step the balance shows, g.
    pub resolution: Gram,
    /// Standard deviation of repeated weighings of one thing, g.
    pub repeatability: Gram,
    /// Particle density of the soil. Default [`USUAL_PARTICLE_DENSITY`] with a
    /// standard uncertainty of 0.05 g/cm3, our choice.
    pub particle_density: Estimate<Density>,
    /// Temperature at which the soil's water has its volume. Default 20 C with
    /// a standard uncertainty of 5 C, our choice.
    pub water_temperature: Estimate<Celsius>,
    /// Largest change between two dry weighings, as a share of the dry soil,
    /// that still counts as constant mass. Default [`CONSTANT_MASS`].
    pub constant_mass: Fraction,
    /// Water that may be left in a core weighed dry only once, as a share of
    /// its dry soil. Default the same 0.1 %: the criterion is taken as only
    /// just met. Zero takes a single dry weighing as fully dry.
    pub allowance_if_weighed_once: Fraction,
    /// Smallest mass of dry soil a core should hold. Default 20 g, recalled
    /// from memory, not checked.
    pub minimum_dry_soil: Gram,
}

impl Method {
    /// A method with the defaults, for a balance that shows steps of
    /// `resolution` grams and repeats itself with a standard deviation of
    /// `repeatability` grams.
    ///
    /// # Errors
    /// [`QuantityError`] if either is not a plausible mass.
    pub fn new(resolution: f64, repeatability: f64) -> Result<Self, QuantityError> {
        let criterion = Fraction::new(CONSTANT_MASS)?;
        Ok(Self {
            resolution: Gram::new(resolution)?,
            repeatability: Gram::new(repeatability)?,
            particle_density: Estimate::new(Density::new(USUAL_PARTICLE_DENSITY)?, 0.05),
            water_temperature: Estimate::new(Celsius::new(20.0)?, 5.0),
            constant_mass: criterion,
            allowance_if_weighed_once: criterion,
            minimum_dry_soil: Gram::new(20.0)?,
        })
    }

    /// Standard uncertainty of one mass, g.
    ///
    /// Each mass is the difference of two rounded displays, the zero set before
    /// and the reading after. Each rounding is uniform over one step, variance
    /// `resolution^2 / 12` (JCGM 100:2008, 4.3.7 and F.2.2.1), and the
    /// repeatability adds in squares:
    /// `u^2 = 2 resolution^2 / 12 + repeatability^2`. Two roundings of 0.01 g
    /// give 0.004082 g. A scale error of the balance is common to all masses,
    /// nearly cancels in the water content, and is left out.
    pub fn weighing_u(&self) -> f64 {
        const ROUNDINGS: f64 = 2.0;
        let rounding = self.resolution.value().powi(2) / 12.0;
        (ROUNDINGS * rounding + self.repeatability.value().powi(2)).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_roundings_of_a_hundredth_gram_give_four_milligrams() {
        let method = Method::new(0.01, 0.0).unwrap();
        assert!((method.weighing_u() - 0.004_082).abs() < 5e-7);
    }

    #[test]
    fn repeatability_adds_in_squares() {
        let method = Method::new(0.0, 0.02).unwrap();
        assert!((method.weighing_u() - 0.02).abs() < 1e-15);
    }

    #[test]
    fn a_balance_with_a_negative_step_is_refused() {
        assert!(Method::new(-0.01, 0.0).is_err());
    }
}
