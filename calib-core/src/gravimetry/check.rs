//! What the masses and results of a core are judged by.

use super::error::{CoreInput, GravimetryError, Weighing};
use super::propagation::Carried;
use super::{CoreMasses, CoreWarning, Method};
use crate::calibration::COVERAGE;
use crate::quantity::{Gram, Quantity};
use crate::uncertainty::coverage_factor;
use std::f64::consts::SQRT_2;

/// Dry bulk density no soil or growing medium lies below, g/cm3: common practice.
pub(crate) const LEAST_BULK_DENSITY: f64 = 0.2;
/// Dry bulk density no soil lies above, g/cm3: common practice.
pub(crate) const GREATEST_BULK_DENSITY: f64 = 2.2;
/// Usual dry bulk density of mineral soil, g/cm3: common practice.
pub(crate) const USUAL_BULK_DENSITY: (f64, f64) = (0.8, 1.9);
/// Most by which the degree of saturation may exceed 1, however uncertain it
/// is: beyond this, first-order propagation through a small porosity says
/// nothing. Our choice.
const MOST_ABOVE_SATURATION: f64 = 0.25;
/// Slack for the difference of two decimal masses in binary arithmetic, g.
const ROUND_OFF: f64 = 1e-9;

/// The dry mass that counts: the last.
pub(super) fn final_dry(core: &CoreMasses) -> Gram {
    core.dry_again.unwrap_or(core.dry)
}

impl CoreMasses {
    /// Checks that the masses can be those of one core: wet above dry above
    /// tare, for each dry weighing. [`reduce`](super::reduce()) does so too.
    ///
    /// # Errors
    /// [`GravimetryError::DryNotAboveTare`] or
    /// [`GravimetryError::WetNotAboveDry`], the first that is found.
    pub fn check_order(&self) -> Result<(), GravimetryError> {
        let weighings = [
            (Weighing::First, Some(self.dry)),
            (Weighing::Again, self.dry_again),
        ];
        for (weighing, dry) in weighings {
            let Some(dry) = dry else { continue };
            if dry <= self.tare {
                return Err(GravimetryError::DryNotAboveTare {
                    weighing,
                    dry: dry.value(),
                    tare: self.tare.value(),
                });
            }
            if self.wet <= dry {
                return Err(GravimetryError::WetNotAboveDry {
                    wet: self.wet.value(),
                    weighing,
                    dry: dry.value(),
                });
            }
        }
        Ok(())
    }
}

/// Judges constant mass and gives the standard uncertainty of the water left in
/// the dry soil, g.
pub(super) fn drying(
    core: &CoreMasses,
    method: &Method,
    warnings: &mut Vec<CoreWarning>,
) -> Result<f64, GravimetryError> {
    let dry_soil = final_dry(core).value() - core.tare.value();
    let at_most = match core.dry_again {
        None => method.allowance_if_weighed_once.value() * dry_soil,
        Some(again) => {
            let lost = core.dry.value() - again.value();
            let noise = coverage_factor(COVERAGE, None) * SQRT_2 * method.weighing_u();
            let allowed = f64::max(method.constant_mass.value() * dry_soil, noise);
            if lost.abs() > allowed + ROUND_OFF {
                return Err(GravimetryError::NotConstant { lost, allowed });
            }
            if -lost > noise + ROUND_OFF {
                warnings.push(CoreWarning::GainedMass {
                    gained: -lost,
                    noise,
                });
            }
            lost.abs()
        }
    };
    Ok(at_most / 3.0_f64.sqrt())
}

/// Refuses a standard uncertainty that is not between nothing and `largest`.
pub(super) fn uncertainty(input: CoreInput, u: f64, largest: f64) -> Result<(), GravimetryError> {
    if (0.0..=largest).contains(&u) {
        Ok(())
    } else {
        Err(GravimetryError::Uncertainty { input, u, largest })
    }
}

pub(super) fn bulk_density(
    density: f64,
    particle_density: f64,
    warnings: &mut Vec<CoreWarning>,
) -> Result<(), GravimetryError> {
    if !(LEAST_BULK_DENSITY..=GREATEST_BULK_DENSITY).contains(&density) {
        return Err(GravimetryError::BulkDensity {
            density,
            low: LEAST_BULK_DENSITY,
            high: GREATEST_BULK_DENSITY,
        });
    }
    if density >= particle_density {
        return Err(GravimetryError::NoPores {
            density,
            particle_density,
        });
    }
    let (low, high) = USUAL_BULK_DENSITY;
    if !(low..=high).contains(&density) {
        warnings.push(CoreWarning::UnusualBulkDensity { density, low, high });
    }
    Ok(())
}

pub(super) fn saturation(
    saturation: Carried,
    warnings: &mut Vec<CoreWarning>,
) -> Result<(), GravimetryError> {
    let expanded = coverage_factor(COVERAGE, None) * saturation.u();
    let allowed = expanded.min(MOST_ABOVE_SATURATION);
    let saturation = saturation.value;
    if saturation > 1.0 + allowed {
        return Err(GravimetryError::OverSaturated {
            saturation,
            allowed,
        });
    }
    if saturation > 1.0 {
        warnings.push(CoreWarning::SaturationAboveOne {
            saturation,
            expanded,
        });
    }
    Ok(())
}

/// Warns of little soil.
pub(super) fn amount(dry_soil: f64, method: &Method, warnings: &mut Vec<CoreWarning>) {
    let minimum = method.minimum_dry_soil.value();
    if dry_soil < minimum {
        warnings.push(CoreWarning::LittleSoil { dry_soil, minimum });
    }
}

#[cfg(test)]
mod tests {
    use super::super::propagation::Input;
    use super::*;

    fn core(tare: f64, wet: f64, dry: f64, dry_again: Option<f64>) -> CoreMasses {
        let gram = |mass| Gram::new(mass).unwrap();
        CoreMasses {
            tare: gram(tare),
            wet: gram(wet),
            dry: gram(dry),
            dry_again: dry_again.map(gram),
        }
    }

    fn method() -> Method {
        Method::new(0.01, 0.0).unwrap()
    }

    #[test]
    fn masses_out_of_order_are_named() {
        assert_eq!(
            core(40.0, 200.0, 38.0, None)
                .check_order()
                .unwrap_err()
                .to_string(),
            "dry mass 38 g is not above the tare, 40 g"
        );
        assert_eq!(
            core(40.0, 180.0, 188.0, None)
                .check_order()
                .unwrap_err()
                .to_string(),
            "wet mass 180 g is not above the dry mass, 188 g"
        );
        assert_eq!(
            core(40.0, 200.0, 180.0, Some(40.0))
                .check_order()
                .unwrap_err()
                .to_string(),
            "second dry mass 40 g is not above the tare, 40 g"
        );
        assert!(core(40.0, 200.0, 180.0, Some(179.9)).check_order().is_ok());
    }

    #[test]
    fn a_core_still_losing_mass_is_not_dry() {
        let mut warnings = Vec::new();
        let error = drying(
            &core(40.0, 200.0, 180.0, Some(179.5)),
            &method(),
            &mut warnings,
        )
        .unwrap_err();
        assert_eq!(
            error.to_string(),
            "the core lost 0.500 g between its two dry weighings; a change of 0.140 g at most counts as dry"
        );
        assert!(error.mend().starts_with("dry longer"));
    }

    #[test]
    fn the_constant_mass_limit_itself_is_allowed() {
        let mut warnings = Vec::new();
        let u = drying(
            &core(50.0, 200.0, 150.1, Some(150.0)),
            &method(),
            &mut warnings,
        )
        .unwrap();
        assert!((u - 0.1 / 3.0_f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_gain_is_odd_beyond_the_balance_and_refused_beyond_the_criterion() {
        let judged = |again| {
            let mut warnings = Vec::new();
            drying(
                &core(40.0, 200.0, 180.0, Some(again)),
                &method(),
                &mut warnings,
            )
            .map(|_| warnings)
        };
        assert_eq!(judged(180.01).unwrap(), []);
        assert!(matches!(
            judged(180.05).unwrap()[..],
            [CoreWarning::GainedMass { .. }]
        ));
        let error = judged(180.5).unwrap_err();
        assert!(error.to_string().contains("gained 0.500 g"), "{error}");
    }

    #[test]
    fn a_coarse_balance_is_not_asked_for_more_than_it_shows() {
        let coarse = Method::new(0.1, 0.0).unwrap();
        let mut warnings = Vec::new();
        // 0.1 % of 50 g is less than one step of the balance
        assert!(drying(&core(40.0, 100.0, 90.1, Some(90.0)), &coarse, &mut warnings).is_ok());
    }

    #[test]
    fn bulk_density_is_odd_before_it_is_impossible() {
        let judged = |density| {
            let mut warnings = Vec::new();
            bulk_density(density, 2.65, &mut warnings).map(|()| warnings.len())
        };
        assert_eq!(judged(1.4), Ok(0));
        assert_eq!(judged(0.5), Ok(1));
        assert_eq!(judged(2.0), Ok(1));
        assert!(matches!(
            judged(2.3),
            Err(GravimetryError::BulkDensity { .. })
        ));
        assert!(matches!(
            judged(0.15),
            Err(GravimetryError::BulkDensity { .. })
        ));
        assert!(matches!(
            bulk_density(2.0, 1.9, &mut Vec::new()),
            Err(GravimetryError::NoPores { .. })
        ));
    }

    #[test]
    fn saturation_may_exceed_one_only_within_its_uncertainty() {
        let judged = |value, u| {
            let mut warnings = Vec::new();
            saturation(Carried::input(Input::Height, value, u), &mut warnings)
                .map(|()| warnings.len())
        };
        assert_eq!(judged(0.99, 0.02), Ok(0));
        assert_eq!(judged(1.03, 0.02), Ok(1));
        assert!(judged(1.05, 0.02).is_err());
        assert!(judged(1.3, 5.0).is_err(), "no uncertainty excuses this");
    }

    #[test]
    fn a_thimble_of_soil_is_noticed() {
        let mut warnings = Vec::new();
        amount(12.0, &method(), &mut warnings);
        assert_eq!(
            warnings[0].to_string(),
            "only 12.0 g of dry soil, below the 20.0 g a core should hold"
        );
    }
}
