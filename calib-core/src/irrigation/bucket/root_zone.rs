//! The water balance of a root zone taken as one bucket.

use super::ScenarioError;
use crate::quantity::{Fraction, Millimetre, Quantity, Vwc};
use schemars::JsonSchema;
use serde::Serialize;

/// Time constant by which water above field capacity drains away, s: one day, so
/// that 86 % of it is gone two days after a soaking, which is when field capacity is
/// commonly read. Our choice; sands are faster, clays slower.
pub const DRAINAGE_TIME_S: f64 = 86_400.0;

/// A root zone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct RootZone {
    /// Its depth; above 0.
    #[serde(rename = "depth_mm")]
    pub depth: Millimetre,
    /// Water content above which water runs off, m3/m3.
    pub saturation: Vwc,
    /// Water content above which water drains, m3/m3; not above saturation.
    pub field_capacity: Vwc,
    /// Water content at which roots get nothing more, m3/m3; below field capacity.
    pub wilting_point: Vwc,
    /// Share of the available water that may be used up before the crop is held
    /// back.
    pub allowed_depletion: Fraction,
    /// Time constant of drainage, s; above 0.
    pub drainage_time_s: f64,
}

impl RootZone {
    /// Checks order and sizes.
    ///
    /// # Errors
    /// [`ScenarioError::Order`] or [`ScenarioError::Figure`].
    pub(super) fn check(&self) -> Result<(), ScenarioError> {
        if !(self.wilting_point < self.field_capacity && self.field_capacity <= self.saturation) {
            return Err(ScenarioError::Order {
                wilting_point: self.wilting_point.value(),
                field_capacity: self.field_capacity.value(),
                saturation: self.saturation.value(),
            });
        }
        for (what, value) in [
            ("root depth", self.depth.value()),
            ("drainage time", self.drainage_time_s),
        ] {
            if !(value.is_finite() && value > 0.0) {
                return Err(ScenarioError::Figure { what, value });
            }
        }
        Ok(())
    }

    /// Water in the zone at `theta_v`, mm.
    fn storage(&self, theta_v: f64) -> f64 {
        theta_v * self.depth.value()
    }
}

/// Share of its demand a crop can take up with `theta_v` m3/m3 around its roots, 0
/// to 1: FAO-56 equation 84, `Ks = (TAW - Dr) / ((1 - p) TAW)` beyond the allowed
/// depletion p, 1 before it (equation recalled from memory).
pub fn stress(zone: &RootZone, theta_v: f64) -> f64 {
    let total = zone.field_capacity.value() - zone.wilting_point.value();
    let left = theta_v - zone.wilting_point.value();
    let free = (1.0 - zone.allowed_depletion.value()) * total;
    if left >= free {
        1.0
    } else {
        // Beyond the allowed depletion `free` is above `left`; at the wilting point
        // and below there is nothing to take.
        (left / free).max(0.0)
    }
}

/// Where the water of one step went, mm.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, JsonSchema)]
pub struct Flows {
    /// Taken up by the crop or evaporated.
    pub evapotranspiration: f64,
    /// Drained below the roots.
    pub drainage: f64,
    /// Ran off the surface.
    pub runoff: f64,
}

/// The water in a root zone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Water {
    zone: RootZone,
    storage: f64,
    /// Share of the excess over field capacity that drains in a step.
    drains: f64,
}

impl Water {
    /// A zone at `theta_v`, to be followed in steps of `step_s` seconds.
    ///
    /// # Errors
    /// [`ScenarioError::Order`] or [`ScenarioError::Figure`] for a zone that cannot
    /// be.
    pub fn new(zone: RootZone, theta_v: Vwc, step_s: f64) -> Result<Self, ScenarioError> {
        zone.check()?;
        if !(step_s.is_finite() && step_s > 0.0) {
            return Err(ScenarioError::Figure {
                what: "step",
                value: step_s,
            });
        }
        Ok(Self {
            zone,
            storage: zone.storage(theta_v.value()),
            drains: 1.0 - (-step_s / zone.drainage_time_s).exp(),
        })
    }

    /// Water content now, m3/m3.
    pub fn theta_v(&self) -> f64 {
        self.storage / self.zone.depth.value()
    }

    /// Water now, mm.
    pub fn storage(&self) -> f64 {
        self.storage
    }

    /// One step: `arriving` mm come in, the crop asks for `demand` mm.
    ///
    /// What does not fit below saturation runs off. The crop takes up its demand
    /// times [`stress`]. Of the excess over field capacity the share
    /// `1 - exp(-step / drainage time)` drains, which is exact for a step without
    /// other flows. Stress and excess are those at the middle of the step.
    pub fn step(&mut self, arriving: f64, demand: f64) -> Flows {
        let full = self.zone.storage(self.zone.saturation.value());
        let runoff = (self.storage + arriving - full).max(0.0);
        let kept = arriving - runoff;
        let taken = demand * stress(&self.zone, self.theta_v());
        let middle = (self.storage + 0.5 * (kept - taken)) / self.zone.depth.value();
        let evapotranspiration = demand * stress(&self.zone, middle);

        let net = kept - evapotranspiration;
        let wet = self.storage + net;
        let capacity = self.zone.storage(self.zone.field_capacity.value());
        let excess = (wet - 0.5 * net - capacity).max(0.0);
        let drainage = (excess * self.drains).min((wet - capacity).max(0.0));
        self.storage = wet - drainage;
        Flows {
            evapotranspiration,
            drainage,
            runoff,
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::prelude::*;

    pub fn theta(value: f64) -> Vwc {
        Vwc::new(value).unwrap()
    }

    pub fn zone() -> RootZone {
        RootZone {
            depth: Millimetre::new(400.0).unwrap(),
            saturation: theta(0.42),
            field_capacity: theta(0.20),
            wilting_point: theta(0.08),
            allowed_depletion: Fraction::new(0.4).unwrap(),
            drainage_time_s: DRAINAGE_TIME_S,
        }
    }

    #[test]
    fn a_crop_is_held_back_beyond_the_allowed_depletion_only() {
        // TAW 0.12; RAW 0.048: full down to 0.152, half of it half way to 0.08.
        assert!((stress(&zone(), 0.152) - 1.0).abs() < 1e-12);
        assert_eq!(stress(&zone(), 0.30), 1.0);
        assert!((stress(&zone(), 0.116) - 0.5).abs() < 1e-12);
        assert_eq!(stress(&zone(), 0.08), 0.0);
        assert_eq!(stress(&zone(), 0.05), 0.0);
        let all = RootZone {
            allowed_depletion: Fraction::new(1.0).unwrap(),
            ..zone()
        };
        assert_eq!((stress(&all, 0.08), stress(&all, 0.079)), (1.0, 0.0));
    }

    #[test]
    fn two_days_after_a_soaking_86_percent_of_the_excess_has_drained() {
        let mut water = Water::new(zone(), theta(0.30), 60.0).unwrap();
        let drained: f64 = (0..2 * 1440).map(|_| water.step(0.0, 0.0).drainage).sum();
        // 40 mm of excess; 1 - exp(-2) = 0.8647.
        assert!(
            (drained - 40.0 * (1.0 - (-2.0_f64).exp())).abs() < 1e-9,
            "{drained}"
        );
    }

    #[test]
    fn nothing_drains_at_or_below_field_capacity() {
        let mut water = Water::new(zone(), theta(0.19), 60.0).unwrap();
        assert_eq!(water.step(4.0, 0.0).drainage, 0.0);
        assert!(water.step(0.1, 0.0).drainage > 0.0);
    }

    #[test]
    fn a_full_zone_sheds_the_rest() {
        let mut water = Water::new(zone(), theta(0.40), 60.0).unwrap();
        let flows = water.step(20.0, 0.0);
        assert!((flows.runoff - 12.0).abs() < 1e-9);
    }

    #[test]
    fn zones_that_cannot_be_are_refused() {
        let dry = RootZone {
            wilting_point: theta(0.21),
            ..zone()
        };
        assert!(matches!(
            Water::new(dry, theta(0.1), 60.0),
            Err(ScenarioError::Order { .. })
        ));
        let undrained = RootZone {
            drainage_time_s: 0.0,
            ..zone()
        };
        assert!(matches!(
            Water::new(undrained, theta(0.1), 60.0),
            Err(ScenarioError::Figure { .. })
        ));
    }

    proptest! {
        #[test]
        fn no_water_is_made_or_lost(
            start in 0.05..0.42_f64,
            steps in prop::collection::vec((0.0..30.0_f64, 0.0..2.0_f64), 1..300),
            step_s in 1.0..86_400.0_f64,
        ) {
            let mut water = Water::new(zone(), theta(start), step_s).unwrap();
            let before = water.storage();
            let (mut came, mut went) = (0.0, 0.0);
            for (arriving, demand) in steps {
                let flows = water.step(arriving, demand);
                came += arriving;
                went += flows.evapotranspiration + flows.drainage + flows.runoff;
                for flow in [flows.evapotranspiration, flows.drainage, flows.runoff] {
                    prop_assert!(flow >= 0.0);
                }
                prop_assert!(flows.evapotranspiration <= demand);
                prop_assert!(water.theta_v() <= 0.42 + 1e-12);
            }
            prop_assert!((came - went - (water.storage() - before)).abs() < 1e-9 * (1.0 + came));
        }
    }
}
