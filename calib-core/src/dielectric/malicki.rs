//! A line in the root of permittivity whose place depends on bulk density.

use super::{DielectricError, WaterFromPermittivity, root};
use crate::quantity::{Density, Permittivity, Quantity, Vwc};

/// `theta_v = (sqrt(e) - 0.819 - 0.168 rho - 0.159 rho^2)/(7.17 + 1.18 rho)` with
/// the dry bulk density rho in g/cm3.
///
/// Malicki, M. A. et al. (1996), as named in reference-data/soil/NOTES.md; form
/// and coefficients from memory, not checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Malicki {
    offset: f64,
    divisor: f64,
}

impl Malicki {
    /// The relation for a soil of this dry bulk density.
    pub fn new(bulk_density: Density) -> Self {
        let rho = bulk_density.value();
        Self {
            offset: 0.819 + rho * (0.168 + rho * 0.159),
            divisor: 7.17 + 1.18 * rho,
        }
    }
}

impl WaterFromPermittivity for Malicki {
    fn theta_v(&self, permittivity: Permittivity) -> Result<Vwc, DielectricError> {
        Ok(Vwc::new((root(permittivity) - self.offset) / self.divisor)?)
    }

    fn permittivity(&self, theta_v: Vwc) -> Result<Permittivity, DielectricError> {
        square_of(self.offset + self.divisor * theta_v.value(), theta_v)
    }

    fn slope(&self, permittivity: Permittivity) -> f64 {
        0.5 / (self.divisor * root(permittivity))
    }
}

/// The permittivity with this root, which must not be negative.
pub(super) fn square_of(root: f64, theta_v: Vwc) -> Result<Permittivity, DielectricError> {
    if root < 0.0 {
        return Err(DielectricError::NoPermittivity {
            theta: theta_v.value(),
        });
    }
    Ok(Permittivity::new(root * root)?)
}
