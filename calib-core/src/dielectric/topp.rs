//! The general relation for mineral soils.

use super::{DielectricError, WaterFromPermittivity};
use crate::quantity::{Permittivity, Quantity, Vwc};

/// Coefficients of theta_v in rising powers of permittivity.
const C: [f64; 4] = [-5.3e-2, 2.92e-2, -5.5e-4, 4.3e-6];

/// `theta_v = -5.3e-2 + 2.92e-2 e - 5.5e-4 e^2 + 4.3e-6 e^3`: one relation for
/// all mineral soils, whatever their texture and density.
///
/// Topp, G. C., Davis, J. L. and Annan, A. P. (1980), Electromagnetic
/// determination of soil water content, Water Resour. Res. 16:574; coefficients
/// from memory, not checked (reference-data/soil/NOTES.md). Organic and very
/// clayey soils are known to depart from it (common practice); it rises at every
/// permittivity and has no range of its own here.
///
/// # Example
/// ```
/// use calib_core::dielectric::{Topp, WaterFromPermittivity};
/// use calib_core::quantity::{Permittivity, Quantity};
///
/// let theta_v = Topp.theta_v(Permittivity::new(20.0)?)?;
/// assert!((theta_v.value() - 0.3454).abs() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Topp;

impl WaterFromPermittivity for Topp {
    fn theta_v(&self, permittivity: Permittivity) -> Result<Vwc, DielectricError> {
        let e = permittivity.value();
        Ok(Vwc::new(C[0] + e * (C[1] + e * (C[2] + e * C[3])))?)
    }

    /// The one real root of the cubic: with `e = x + m`, where `m` is the
    /// inflection, `x^3 + p x + q = 0` has `p > 0` and the root
    /// `x = -2 sqrt(p/3) sinh(arsinh((3 q/(2 p)) sqrt(3/p))/3)`.
    fn permittivity(&self, theta_v: Vwc) -> Result<Permittivity, DielectricError> {
        let [c0, c1, c2] = [(C[0] - theta_v.value()) / C[3], C[1] / C[3], C[2] / C[3]];
        let inflection = -c2 / 3.0;
        let p = c1 - 3.0 * inflection * inflection;
        let q = c0 + inflection * (c1 + inflection * (c2 + inflection));
        let third = (p / 3.0).sqrt();
        let x = -2.0 * third * ((q / (2.0 * third.powi(3))).asinh() / 3.0).sinh();
        Ok(Permittivity::new(inflection + x)?)
    }

    fn slope(&self, permittivity: Permittivity) -> f64 {
        let e = permittivity.value();
        C[1] + e * (2.0 * C[2] + 3.0 * C[3] * e)
    }
}

/// The paper's own fit the other way, `e = 3.03 + 9.3 theta_v + 146 theta_v^2 -
/// 76.7 theta_v^3`. It is a separate fit, not the inverse of [`Topp`]: between
/// 0.05 and 0.4 m3/m3 the two differ by up to 0.7 in permittivity.
///
/// Topp et al. (1980), as for [`Topp`]; from memory, not checked.
///
/// # Errors
/// [`DielectricError::Quantity`] if the result is no permittivity.
pub fn topp_permittivity(theta_v: Vwc) -> Result<Permittivity, DielectricError> {
    let t = theta_v.value();
    Ok(Permittivity::new(
        3.03 + t * (9.3 + t * (146.0 - t * 76.7)),
    )?)
}
