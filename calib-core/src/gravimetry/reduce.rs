//! From the weighings of one core to its water content.

use super::check;
use super::error::{CoreInput, GravimetryError};
use super::propagation::{Carried, Input};
use super::water::carried_density;
use super::{CoreMasses, CoreVolume, CoreWarning, Method};
use crate::quantity::{
    CubicCentimetre, Density, Estimate, Fraction, Gram, Gravimetric, Quantity, QuantityError, Vwc,
};
use crate::uncertainty::{Budget, Source};
use schemars::JsonSchema;
use serde::Serialize;
use std::f64::consts::FRAC_PI_4;

/// What one core says, each value with its standard uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReducedCore {
    /// Mass of dry soil, g.
    pub dry_soil: Estimate<Gram>,
    /// Volume of the core, cm3.
    pub volume: Estimate<CubicCentimetre>,
    /// Gravimetric water content w, g/g.
    pub w: Estimate<Gravimetric>,
    /// Dry bulk density, g/cm3.
    pub bulk_density: Estimate<Density>,
    /// Volumetric water content, m3/m3.
    pub theta_v: Estimate<Vwc>,
    /// Porosity: share of the volume that is pores.
    pub porosity: Estimate<Fraction>,
    /// Void ratio: volume of pores per volume of solids.
    pub void_ratio: Estimate<f64>,
    /// Degree of saturation: share of the pores that is water. Slightly above 1
    /// only within its uncertainty.
    pub saturation: Estimate<f64>,
    /// What makes up the uncertainty of `theta_v`, m3/m3.
    pub budget: Budget,
    /// The part of `theta_v.u` that differs from core to core: balance and
    /// incomplete drying, m3/m3.
    pub theta_u_independent: f64,
    /// The rest of it, relative to `theta_v`: it scales the water content of
    /// all cores cut with the same ring alike. Ring or stated volume, and the
    /// density of water, which enters the same way.
    pub relative_volume_u: f64,
    /// What is odd about the core.
    pub warnings: Vec<CoreWarning>,
}

impl ReducedCore {
    /// What makes up `theta_u_independent`: balance and incomplete drying, m3/m3.
    pub fn independent_budget(&self) -> Budget {
        independent(&self.budget)
    }
}

/// The lines of a core's budget that differ from core to core.
fn independent(budget: &Budget) -> Budget {
    budget.only(|source| matches!(source, Source::Balance | Source::IncompleteDrying))
}

/// Reduces one core.
///
/// With the dry mass `m_dry` (the second where there are two):
///
/// * `w = (m_wet - m_dry) / (m_dry - m_tare)`
/// * `rho_b = (m_dry - m_tare) / V`, with `V = pi/4 D^2 H` for a ring
/// * `theta_v = (m_wet - m_dry) / (rho_w V)`
/// * `n = 1 - rho_b / rho_s`, `e = n / (1 - n)`, `S = theta_v / n`
///
/// (common practice; reference-data/soil/gravimetric.md). Uncertainties are
/// first order, JCGM 100:2008, 5.1.2, on the masses, dimensions, densities and
/// the water left in the dry soil, all taken as independent. Results that share
/// an input are correlated through it, and that is carried along: the dry mass
/// in both parts of `w`, the volume in both parts of `S`.
///
/// Water left in the dry soil: with two dry weighings, soil that lost `d` in
/// the further spell is taken to hold anything between nothing and another `d`;
/// the root mean square of that rectangle about its dry end is `d / sqrt(3)`.
/// One-sided, and not corrected for, since the loss slows down. With one
/// weighing, `d` is [`Method::allowance_if_weighed_once`] of the dry soil.
///
/// Constant mass is judged by [`Method::constant_mass`], or by what the balance
/// can tell apart (95 %, two weighings) where that is coarser.
///
/// # Errors
/// [`GravimetryError`] where the masses are out of order, the core was not dry,
/// the bulk density is impossible, or the water exceeds the pores by more than
/// the expanded uncertainty at 95 %.
///
/// # Example
/// ```
/// use calib_core::gravimetry::{CoreMasses, CoreVolume, GravimetryError, Method, reduce};
/// use calib_core::quantity::{Centimetre, Estimate, Gram, Quantity};
///
/// let mut masses = CoreMasses {
///     tare: Gram::new(38.42)?,
///     wet: Gram::new(214.87)?,
///     dry: Gram::new(188.15)?,
///     dry_again: None,
/// };
/// let ring = CoreVolume::Ring {
///     diameter: Estimate::new(Centimetre::new(5.0)?, 0.01),
///     height: Estimate::new(Centimetre::new(5.0)?, 0.02),
/// };
/// let method = Method::new(0.01, 0.0)?;
/// let core = reduce(&masses, &ring, &method)?;
/// assert!((core.theta_v.value.value() - 0.2727).abs() < 5e-5);
///
/// // Half a gram lost in a further drying spell: it was not dry.
/// masses.dry_again = Some(Gram::new(187.65)?);
/// assert!(matches!(
///     reduce(&masses, &ring, &method),
///     Err(GravimetryError::NotConstant { .. })
/// ));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn reduce(
    core: &CoreMasses,
    volume: &CoreVolume,
    method: &Method,
) -> Result<ReducedCore, GravimetryError> {
    let mut warnings = Vec::new();
    core.check_order()?;
    let water_left_u = check::drying(core, method, &mut warnings)?;

    let weighing_u = method.weighing_u();
    let tare = Carried::input(Input::Tare, core.tare.value(), weighing_u);
    let wet = Carried::input(Input::Wet, core.wet.value(), weighing_u);
    let dry = Carried::input(Input::Dry, check::final_dry(core).value(), weighing_u)
        - Carried::input(Input::WaterLeft, 0.0, water_left_u);
    let volume = carried_volume(volume)?;
    let particle_density = carry(
        Input::ParticleDensity,
        CoreInput::ParticleDensity,
        method.particle_density,
    )?;
    let water_density = carried_density(method.water_temperature)?;

    let dry_soil = dry - tare;
    let water = wet - dry;
    let w = water / dry_soil;
    let bulk_density = dry_soil / volume;
    check::bulk_density(bulk_density.value, particle_density.value, &mut warnings)?;
    let per_volume = Carried::exact(1.0) / (water_density * volume);
    let theta_v = water * per_volume;
    let solids = bulk_density / particle_density;
    let porosity = Carried::exact(1.0) - solids;
    let void_ratio = porosity / solids;
    let saturation = theta_v / porosity;
    check::saturation(saturation, &mut warnings)?;
    check::amount(dry_soil.value, method, &mut warnings);

    let budget = theta_v.budget();
    Ok(ReducedCore {
        dry_soil: estimate(dry_soil)?,
        volume: estimate(volume)?,
        w: estimate(w)?,
        bulk_density: estimate(bulk_density)?,
        theta_v: estimate(theta_v)?,
        porosity: estimate(porosity)?,
        void_ratio: Estimate::new(void_ratio.value, void_ratio.u()),
        saturation: Estimate::new(saturation.value, saturation.u()),
        theta_u_independent: independent(&budget).standard(),
        relative_volume_u: per_volume.u() / per_volume.value,
        budget,
        warnings,
    })
}

fn estimate<Q: Quantity>(carried: Carried) -> Result<Estimate<Q>, QuantityError> {
    Ok(Estimate::new(Q::new(carried.value)?, carried.u()))
}

/// A positive estimate as an input, if its uncertainty can be meant: not above
/// the value itself.
fn carry<Q: Quantity>(
    input: Input,
    name: CoreInput,
    estimate: Estimate<Q>,
) -> Result<Carried, GravimetryError> {
    let value = estimate.value.value();
    check::uncertainty(name, estimate.u, value)?;
    Ok(Carried::input(input, value, estimate.u))
}

fn carried_volume(volume: &CoreVolume) -> Result<Carried, GravimetryError> {
    match *volume {
        CoreVolume::Ring { diameter, height } => {
            let diameter = carry(Input::Diameter, CoreInput::Diameter, diameter)?;
            let height = carry(Input::Height, CoreInput::Height, height)?;
            Ok(diameter * diameter * height * FRAC_PI_4)
        }
        CoreVolume::Stated(volume) => carry(Input::StatedVolume, CoreInput::Volume, volume),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Celsius, Centimetre};
    use proptest::prelude::*;

    fn gram(value: f64) -> Gram {
        Gram::new(value).unwrap()
    }

    fn masses() -> CoreMasses {
        CoreMasses {
            tare: gram(50.0),
            wet: gram(220.0),
            dry: gram(190.0),
            dry_again: Some(gram(189.95)),
        }
    }

    fn ring() -> CoreVolume {
        CoreVolume::Ring {
            diameter: Estimate::new(Centimetre::new(5.0).unwrap(), 0.01),
            height: Estimate::new(Centimetre::new(5.0).unwrap(), 0.02),
        }
    }

    fn method() -> Method {
        Method::new(0.01, 0.005).unwrap()
    }

    #[test]
    fn every_uncertainty_matches_the_hand_written_derivatives() {
        let core = reduce(&masses(), &ring(), &method()).unwrap();
        let (water, soil, volume) = (30.05, 139.95, std::f64::consts::PI / 4.0 * 125.0);
        let weighing = method().weighing_u();
        let left = 0.05 / 3.0_f64.sqrt();
        let dry = weighing.hypot(left);
        let volume_relative = f64::hypot(2.0 * 0.01 / 5.0, 0.02 / 5.0);

        // w = (wet - dry)/(dry - tare): d/d dry = -(wet - tare)/soil^2
        let w_u = (weighing / soil)
            .hypot(dry * (water + soil) / soil.powi(2))
            .hypot(weighing * water / soil.powi(2));
        assert!((core.w.u - w_u).abs() < 1e-12);

        let density = soil / volume;
        let density_relative = (dry / soil).hypot(weighing / soil).hypot(volume_relative);
        assert!((core.bulk_density.u - density * density_relative).abs() < 1e-12);

        let solids = density / 2.65;
        let porosity_u = solids * density_relative.hypot(0.05 / 2.65);
        assert!((core.porosity.u - porosity_u).abs() < 1e-12);

        // e = rho_s / rho_b - 1
        assert!((core.void_ratio.u - porosity_u / solids.powi(2)).abs() < 1e-12);
    }

    #[test]
    fn the_two_parts_of_the_uncertainty_make_the_whole() {
        let core = reduce(&masses(), &ring(), &method()).unwrap();
        let shared = core.relative_volume_u * core.theta_v.value.value();
        let whole = core.theta_u_independent.hypot(shared);
        assert!((whole - core.theta_v.u).abs() < 1e-15);
        assert!((core.budget.standard() - core.theta_v.u).abs() < 1e-15);
    }

    #[test]
    fn what_is_not_in_theta_v_is_not_in_its_budget() {
        let core = reduce(&masses(), &ring(), &method()).unwrap();
        let sources: Vec<Source> = core.budget.lines.iter().map(|line| line.source).collect();
        assert_eq!(
            sources,
            [
                Source::Balance,
                Source::IncompleteDrying,
                Source::RingDiameter,
                Source::RingHeight,
                Source::WaterDensity
            ]
        );
    }

    #[test]
    fn a_stated_volume_gives_the_same_as_the_ring_it_came_from() {
        let from_ring = reduce(&masses(), &ring(), &method()).unwrap();
        let stated = CoreVolume::Stated(from_ring.volume);
        let from_volume = reduce(&masses(), &stated, &method()).unwrap();
        assert!((from_ring.theta_v.u - from_volume.theta_v.u).abs() < 1e-15);
        assert!((from_ring.saturation.u - from_volume.saturation.u).abs() < 1e-12);
    }

    #[test]
    fn a_core_weighed_dry_once_may_hold_what_the_criterion_allows() {
        let once = CoreMasses {
            dry_again: None,
            ..masses()
        };
        let core = reduce(&once, &ring(), &method()).unwrap();
        let line = core
            .budget
            .only(|source| source == Source::IncompleteDrying)
            .standard();
        let expected = 0.001 * 140.0
            / 3.0_f64.sqrt()
            / (core.volume.value.value()
                * super::super::water_density(Celsius::new(20.0).unwrap())
                    .unwrap()
                    .value());
        assert!((line - expected).abs() < 1e-12);

        let trusting = Method {
            allowance_if_weighed_once: Fraction::new(0.0).unwrap(),
            ..method()
        };
        let core = reduce(&once, &ring(), &trusting).unwrap();
        assert!(
            core.budget
                .lines
                .iter()
                .all(|line| line.source != Source::IncompleteDrying)
        );
    }

    #[test]
    fn an_uncertainty_that_cannot_be_meant_is_refused() {
        for u in [-0.01, f64::NAN, f64::INFINITY, 6.0] {
            let ring = CoreVolume::Ring {
                diameter: Estimate::new(Centimetre::new(5.0).unwrap(), u),
                height: Estimate::new(Centimetre::new(5.0).unwrap(), 0.02),
            };
            assert!(matches!(
                reduce(&masses(), &ring, &method()),
                Err(GravimetryError::Uncertainty {
                    input: CoreInput::Diameter,
                    ..
                })
            ));
        }
    }

    proptest! {
        #[test]
        fn any_core_gives_finite_numbers_or_an_error(
            tare in 0.0..100.0_f64,
            dry in 0.0..500.0_f64,
            again in 0.0..500.0_f64,
            wet in 0.0..600.0_f64,
            volume in 1.0..300.0_f64,
            volume_u in 0.0..100.0_f64,
            particle_density in 0.1..6.0_f64,
        ) {
            let core = CoreMasses {
                tare: gram(tare),
                wet: gram(wet),
                dry: gram(dry),
                dry_again: (again < 250.0).then(|| gram(again)),
            };
            let volume = CoreVolume::Stated(Estimate::new(
                CubicCentimetre::new(volume).unwrap(),
                volume_u,
            ));
            let method = Method {
                particle_density: Estimate::new(Density::new(particle_density).unwrap(), 0.05),
                ..method()
            };
            if let Ok(core) = reduce(&core, &volume, &method) {
                for u in [
                    core.w.u,
                    core.theta_v.u,
                    core.porosity.u,
                    core.void_ratio.value,
                    core.void_ratio.u,
                    core.saturation.value,
                    core.saturation.u,
                    core.relative_volume_u,
                ] {
                    prop_assert!(u.is_finite() && u >= 0.0);
                }
                prop_assert!(core.saturation.value <= 1.25);
            }
        }
    }
}
