//! Water the roots can reach: in all, before the crop is held back, and what is
//! left of it at some wetness.

use super::IrrigationError;
use crate::quantity::{Estimate, Fraction, Millimetre, Quantity, Vwc};
use crate::soil::SoilWater;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Total and readily available water of a root zone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AvailableWater {
    /// Between field capacity and wilting point over the root depth.
    pub total: Millimetre,
    /// What may be used up before the crop is held back.
    pub readily: Millimetre,
}

/// Water a root zone holds for a crop: `TAW = 1000 (FC - WP) Zr`, `RAW = p TAW`,
/// with the root depth Zr in m (here in mm, so without the 1000). Allen et al.
/// (1998), FAO Irrigation and Drainage Paper 56, equations 82 and 83 (form and
/// numbers recalled from memory).
///
/// # Errors
/// [`IrrigationError::NoAvailableWater`] if the wilting point is not below field
/// capacity, [`IrrigationError::Implausible`] for a depth no field holds.
///
/// # Example
/// ```
/// use calib_core::irrigation::available_water;
/// use calib_core::quantity::{Fraction, Millimetre, Quantity, Vwc};
/// let water = available_water(
///     Vwc::new(0.32)?, Vwc::new(0.15)?, Millimetre::new(400.0)?, Fraction::new(0.3)?,
/// )?;
/// assert!((water.total.value() - 68.0).abs() < 1e-9);
/// assert!((water.readily.value() - 20.4).abs() < 1e-9);
/// # Ok::<(), calib_core::irrigation::IrrigationError>(())
/// ```
pub fn available_water(
    field_capacity: Vwc,
    wilting_point: Vwc,
    root_depth: Millimetre,
    depletion: Fraction,
) -> Result<AvailableWater, IrrigationError> {
    let held = field_capacity.value() - wilting_point.value();
    if held <= 0.0 {
        return Err(IrrigationError::NoAvailableWater {
            field_capacity: field_capacity.value(),
            wilting_point: wilting_point.value(),
        });
    }
    let total = Millimetre::new(held * root_depth.value())?;
    Ok(AvailableWater {
        total,
        readily: Millimetre::new(depletion.value() * total.value())?,
    })
}

/// What is left in the root zone at some water content.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WaterLeft {
    /// theta_v, m3/m3.
    pub theta_v: Estimate<f64>,
    /// Share of the available water left: 1 at field capacity, 0 at the wilting
    /// point; beyond both it is above 1 or below 0.
    pub share: Estimate<f64>,
    /// Water above the wilting point over the root depth, mm; below zero under it.
    pub above_wilting_mm: Estimate<f64>,
    /// Water used up since field capacity over the root depth, mm; below zero
    /// above it.
    pub depletion_mm: Estimate<f64>,
}

impl WaterLeft {
    /// What is left at `theta_v` (m3/m3) in `root_depth` of a soil.
    ///
    /// First order, JCGM 100:2008, 5.2.2: theta_v is taken as independent of the
    /// soil's figures; the root depth as known.
    pub fn at(theta_v: Estimate<f64>, water: &SoilWater, root_depth: Millimetre) -> Self {
        let available = water.available().value;
        let wilting_point = water.wilting_point.value.value();
        let share = (theta_v.value - wilting_point) / available;
        // d share / d FC = -share / available, d share / d WP = (share - 1) / available.
        let of_soil = water.depleted_by(1.0 - share).u / available;
        let depth = root_depth.value();
        let in_depth =
            |value: f64, soil_u: f64| Estimate::new(depth * value, depth * theta_v.u.hypot(soil_u));
        Self {
            theta_v,
            share: Estimate::new(share, (theta_v.u / available).hypot(of_soil)),
            above_wilting_mm: in_depth(theta_v.value - wilting_point, water.wilting_point.u),
            depletion_mm: in_depth(
                water.field_capacity.value.value() - theta_v.value,
                water.field_capacity.u,
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn soil() -> SoilWater {
        SoilWater {
            field_capacity: Estimate::new(Vwc::new(0.30).unwrap(), 0.03),
            wilting_point: Estimate::new(Vwc::new(0.10).unwrap(), 0.02),
            correlation: 0.5,
        }
    }

    fn left(theta: f64, u: f64) -> WaterLeft {
        WaterLeft::at(
            Estimate::new(theta, u),
            &soil(),
            Millimetre::new(400.0).unwrap(),
        )
    }

    #[test]
    fn from_field_capacity_to_the_wilting_point_all_is_used_up() {
        let (full, empty) = (left(0.30, 0.0), left(0.10, 0.0));
        assert!((full.share.value - 1.0).abs() < 1e-12 && full.depletion_mm.value.abs() < 1e-9);
        assert!(empty.share.value.abs() < 1e-12 && empty.above_wilting_mm.value.abs() < 1e-9);
        assert!((full.above_wilting_mm.value - 80.0).abs() < 1e-9);
        // At field capacity only its own error counts: 0.03 of 0.2.
        assert!((full.share.u - 0.15).abs() < 1e-12);
        assert!((empty.share.u - 0.10).abs() < 1e-12);
    }

    #[test]
    fn the_share_is_as_unsure_as_small_steps_of_each_input_say() {
        let water = soil();
        let share =
            |theta: f64, capacity: f64, wilting: f64| (theta - wilting) / (capacity - wilting);
        let h = 1e-6;
        let by = |a: f64, b: f64| (a - b) / (2.0 * h);
        let theta = by(share(0.22 + h, 0.3, 0.1), share(0.22 - h, 0.3, 0.1)) * 0.01;
        let capacity = by(share(0.22, 0.3 + h, 0.1), share(0.22, 0.3 - h, 0.1)) * 0.03;
        let wilting = by(share(0.22, 0.3, 0.1 + h), share(0.22, 0.3, 0.1 - h)) * 0.02;
        let by_hand = (theta * theta
            + capacity * capacity
            + wilting * wilting
            + 2.0 * water.correlation * capacity * wilting)
            .sqrt();
        assert!((left(0.22, 0.01).share.u - by_hand).abs() < 1e-8);
    }

    #[test]
    fn a_soil_that_holds_nothing_is_refused() {
        let theta = |v| Vwc::new(v).unwrap();
        let depth = Millimetre::new(400.0).unwrap();
        let share = Fraction::new(0.3).unwrap();
        assert!(matches!(
            available_water(theta(0.1), theta(0.1), depth, share),
            Err(IrrigationError::NoAvailableWater { .. })
        ));
    }
}
