//! Oven-dry cores: masses in, water content with uncertainty out.
//!
//! [`reduce()`] turns the weighings of one core into gravimetric water content,
//! dry bulk density, volumetric water content, porosity, void ratio and degree
//! of saturation, each with a standard uncertainty. The method is a [`Method`]:
//! the balance, the particle density, the water temperature and the criteria a
//! weighing is judged by.

mod check;
mod error;
mod method;
mod propagation;
mod reduce;
mod siblings;
mod warning;
mod water;

pub(crate) use check::{GREATEST_BULK_DENSITY, LEAST_BULK_DENSITY, USUAL_BULK_DENSITY};

pub use error::{CoreInput, GravimetryError, Weighing};
pub use method::{CONSTANT_MASS, HOURS_BETWEEN_WEIGHINGS, Method, USUAL_PARTICLE_DENSITY};
pub use reduce::{ReducedCore, reduce};
pub use siblings::{LARGEST_SPREAD, too_far_apart};
pub use warning::CoreWarning;
pub use water::water_density;

use crate::quantity::{Centimetre, CubicCentimetre, Estimate, Gram};

/// The masses of one core.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoreMasses {
    /// Empty container (with ring, if the ring goes into the oven).
    pub tare: Gram,
    /// Container with the moist soil.
    pub wet: Gram,
    /// Container with the soil after the first drying.
    pub dry: Gram,
    /// Container with the soil after a further drying spell, if weighed again.
    pub dry_again: Option<Gram>,
}

/// The volume the core was cut to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CoreVolume {
    /// A cylindrical ring.
    Ring {
        /// Inner diameter.
        diameter: Estimate<Centimetre>,
        /// Height.
        height: Estimate<Centimetre>,
    },
    /// A volume known as one figure.
    Stated(Estimate<CubicCentimetre>),
}
