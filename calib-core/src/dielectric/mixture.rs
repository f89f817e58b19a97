//! A mixing model: solid, air and water in their shares of the volume.

use super::malicki::square_of;
use super::{DielectricError, WaterFromPermittivity, root};
use crate::quantity::{Density, Permittivity, Quantity, Vwc};

/// `sqrt(e) = (1 - n) sqrt(e_s) + (n - theta_v) + theta_v sqrt(e_w)`, porosity
/// `n = 1 - rho/rho_s`: refractive indices add up in their shares of the volume,
/// air's being 1.
///
/// Roth, K. et al. (1990), as named in reference-data/soil/NOTES.md; form from
/// memory, not checked. The permittivity of the solid, about 4 to 5 for mineral
/// grains (common practice), is the user's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RefractiveMixture {
    porosity: f64,
    dry_root: f64,
    water_root: f64,
}

impl RefractiveMixture {
    /// The relation for a soil of this dry bulk density, with the density and
    /// permittivity of its particles and the permittivity of water at its
    /// temperature ([`water_permittivity`](super::water_permittivity)).
    ///
    /// # Errors
    /// [`DielectricError::NoPores`] unless the bulk density is below that of the
    /// particles, [`DielectricError::WaterLikeAir`] unless water's permittivity
    /// is above 1.
    pub fn new(
        bulk_density: Density,
        particle_density: Density,
        solid: Permittivity,
        water: Permittivity,
    ) -> Result<Self, DielectricError> {
        let (bulk, particle) = (bulk_density.value(), particle_density.value());
        let porosity = 1.0 - bulk / particle;
        if porosity <= 0.0 {
            return Err(DielectricError::NoPores { bulk, particle });
        }
        if water.value() <= 1.0 {
            return Err(DielectricError::WaterLikeAir {
                permittivity: water.value(),
            });
        }
        Ok(Self {
            porosity,
            dry_root: (1.0 - porosity) * root(solid) + porosity,
            water_root: root(water),
        })
    }

    /// Share of the volume that is pores, m3/m3.
    pub fn porosity(&self) -> f64 {
        self.porosity
    }

    fn checked(&self, theta: f64) -> Result<f64, DielectricError> {
        if theta > self.porosity {
            return Err(DielectricError::AbovePorosity {
                theta,
                porosity: self.porosity,
            });
        }
        Ok(theta)
    }
}

impl WaterFromPermittivity for RefractiveMixture {
    /// # Errors
    /// [`DielectricError::AbovePorosity`] for more water than the pores hold.
    fn theta_v(&self, permittivity: Permittivity) -> Result<Vwc, DielectricError> {
        let theta = (root(permittivity) - self.dry_root) / (self.water_root - 1.0);
        Ok(Vwc::new(self.checked(theta)?)?)
    }

    /// # Errors
    /// [`DielectricError::AbovePorosity`] for more water than the pores hold.
    fn permittivity(&self, theta_v: Vwc) -> Result<Permittivity, DielectricError> {
        let theta = self.checked(theta_v.value())?;
        square_of(self.dry_root + theta * (self.water_root - 1.0), theta_v)
    }

    fn slope(&self, permittivity: Permittivity) -> f64 {
        0.5 / ((self.water_root - 1.0) * root(permittivity))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mixture(bulk: f64, water: f64) -> Result<RefractiveMixture, DielectricError> {
        RefractiveMixture::new(
            Density::new(bulk).unwrap(),
            Density::new(2.65).unwrap(),
            Permittivity::new(4.0).unwrap(),
            Permittivity::new(water).unwrap(),
        )
    }

    #[test]
    fn dry_soil_has_the_permittivity_of_grains_and_air() {
        let soil = mixture(1.325, 80.0).unwrap();
        assert!((soil.porosity() - 0.5).abs() < 1e-12);
        let dry = soil.permittivity(Vwc::new(0.0).unwrap()).unwrap();
        assert!((dry.value() - 2.25).abs() < 1e-12);
    }

    #[test]
    fn soil_without_pores_and_water_like_air_are_refused() {
        assert!(matches!(
            mixture(2.7, 80.0),
            Err(DielectricError::NoPores { .. })
        ));
        assert!(matches!(
            mixture(1.4, 1.0),
            Err(DielectricError::WaterLikeAir { .. })
        ));
    }

    #[test]
    fn more_water_than_pores_is_refused_both_ways() {
        let soil = mixture(1.4, 80.0).unwrap();
        assert!(matches!(
            soil.permittivity(Vwc::new(0.48).unwrap()),
            Err(DielectricError::AbovePorosity { .. })
        ));
        let error = soil.theta_v(Permittivity::new(40.0).unwrap()).unwrap_err();
        assert!(
            error
                .to_string()
                .contains("more than the pores hold, 0.4717")
        );
    }
}
