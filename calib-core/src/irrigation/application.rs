//! From a depth of water in the root zone to litres and minutes of the pump.
//!
//! Two losses, kept apart so that neither is counted twice (common practice, from
//! memory):
//!
//! * **application efficiency**: of the water pumped, the share that enters the
//!   soil of the area: the rest leaks, blows away, dries up or runs off;
//! * **distribution uniformity** of the low quarter: the mean depth on the quarter
//!   of the area that gets least, over the mean depth on all of it.
//!
//! `gross = net / (efficiency x uniformity)` gives the driest quarter its depth;
//! the rest gets more, and what it cannot hold drains. An efficiency that has
//! unevenness in it already goes with a uniformity of 1.

use super::IrrigationError;
use super::pulses::{Pulses, pulses};
use crate::quantity::{Fraction, LitrePerMinute, Millimetre, Quantity, SquareMetre};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What brings the water, and the times it must keep to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// Area watered.
    pub area: SquareMetre,
    /// Flow of pump or valve.
    pub flow: LitrePerMinute,
    /// Share of the water pumped that enters the soil of the area; above 0.
    pub application_efficiency: Fraction,
    /// Distribution uniformity of the low quarter; above 0, and 1 where
    /// unevenness is not reckoned with.
    pub distribution_uniformity: Fraction,
    /// How fast the soil takes in water, mm/h, where that is known.
    pub infiltration_mm_per_h: Option<f64>,
    /// Shortest time the pump stays on, s.
    pub minimum_on_s: u32,
    /// Longest time the pump may run at one go, s.
    pub maximum_on_s: u32,
    /// Shortest time the pump stays off, s.
    pub minimum_off_s: u32,
}

impl Supply {
    /// By how much a root zone of `root_depth` wets in a second while the pump
    /// runs, m3/m3, if the water spreads evenly through it; no less than nothing.
    pub fn wetting_per_s(&self, root_depth: Millimetre) -> f64 {
        let millimetres =
            self.flow.value() / 60.0 / self.area.value() * self.application_efficiency.value();
        if root_depth.value() > 0.0 {
            millimetres / root_depth.value()
        } else {
            0.0
        }
    }
}

/// How the run time sits between the pump's limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RunTime {
    /// Between the shortest and the longest time on.
    Fits,
    /// Shorter than the pump must stay on: every start gives more water than
    /// the band holds, and what the soil cannot hold drains.
    ShorterThanMinimum,
    /// Longer than the pump may run at one go.
    LongerThanMaximum {
        /// Runs it takes, the last one possibly shorter.
        runs: u32,
    },
}

/// One irrigation from refill to stop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Application {
    /// Depth of water that must reach the root zone, in the driest quarter of the
    /// area too.
    pub net_depth: Millimetre,
    /// Depth that enters the soil on average: more than the net depth where the
    /// water comes unevenly.
    pub mean_depth: Millimetre,
    /// Depth of water to pump.
    pub gross_depth: Millimetre,
    /// Volume of water to pump, L.
    pub volume_l: f64,
    /// Time the pump runs, s.
    pub run_time_s: f64,
    /// How that sits between the pump's limits.
    pub run_time: RunTime,
    /// How the run is parted, where one run will not do.
    pub pulses: Option<Pulses>,
}

/// What it takes to bring `net_depth` to the root zone: gross depth is net
/// depth over application efficiency and distribution uniformity; 1 mm over 1 m2
/// is 1 L.
///
/// # Errors
/// [`IrrigationError::NoEfficiency`] if no water reaches the roots, or a quarter
/// of the area gets none,
/// [`IrrigationError::Implausible`] if the gross depth is beyond any field's.
///
/// # Example
/// ```
/// use calib_core::irrigation::{RunTime, Supply, apply};
/// use calib_core::quantity::{Fraction, LitrePerMinute, Millimetre, Quantity, SquareMetre};
/// let drip = Supply {
///     area: SquareMetre::new(120.0)?,
///     flow: LitrePerMinute::new(20.0)?,
///     application_efficiency: Fraction::new(0.9)?,
///     distribution_uniformity: Fraction::new(1.0)?,
///     infiltration_mm_per_h: None,
///     minimum_on_s: 60,
///     maximum_on_s: 3600,
///     minimum_off_s: 300,
/// };
/// let water = apply(Millimetre::new(9.0)?, &drip)?;
/// assert!((water.volume_l - 1200.0).abs() < 1e-9);
/// assert!((water.run_time_s - 3600.0).abs() < 1e-9);
/// assert_eq!(water.run_time, RunTime::Fits);
/// # Ok::<(), calib_core::irrigation::IrrigationError>(())
/// ```
pub fn apply(net_depth: Millimetre, supply: &Supply) -> Result<Application, IrrigationError> {
    let efficiency = supply.application_efficiency.value();
    let uniformity = supply.distribution_uniformity.value();
    if efficiency <= 0.0 || uniformity <= 0.0 {
        return Err(IrrigationError::NoEfficiency);
    }
    let mean_depth = Millimetre::new(net_depth.value() / uniformity)?;
    let gross_depth = Millimetre::new(mean_depth.value() / efficiency)?;
    let volume_l = gross_depth.value() * supply.area.value();
    let run_time_s = 60.0 * volume_l / supply.flow.value();
    // A thousandth of a second past the limit is the arithmetic's, not the pump's.
    let run_time = if run_time_s + 1e-3 < f64::from(supply.minimum_on_s) {
        RunTime::ShorterThanMinimum
    } else if run_time_s - 1e-3 > f64::from(supply.maximum_on_s) {
        RunTime::LongerThanMaximum {
            // A float beyond u32 becomes u32::MAX.
            runs: (run_time_s / f64::from(supply.maximum_on_s.max(1))).ceil() as u32,
        }
    } else {
        RunTime::Fits
    };
    Ok(Application {
        net_depth,
        mean_depth,
        gross_depth,
        volume_l,
        run_time_s,
        run_time,
        pulses: pulses(run_time_s, supply),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn supply(efficiency: f64, minimum_on_s: u32, maximum_on_s: u32) -> Supply {
        Supply {
            area: SquareMetre::new(50.0).unwrap(),
            flow: LitrePerMinute::new(10.0).unwrap(),
            application_efficiency: Fraction::new(efficiency).unwrap(),
            distribution_uniformity: Fraction::new(1.0).unwrap(),
            infiltration_mm_per_h: None,
            minimum_on_s,
            maximum_on_s,
            minimum_off_s: 300,
        }
    }

    fn millimetre(depth: f64) -> Millimetre {
        Millimetre::new(depth).unwrap()
    }

    #[test]
    fn depth_area_and_flow_give_litres_and_seconds() {
        // 8 mm / 0.8 = 10 mm; 10 mm x 50 m2 = 500 L; 500 L / 10 L/min = 50 min.
        let water = apply(millimetre(8.0), &supply(0.8, 60, 7200)).unwrap();
        assert_eq!(water.gross_depth.value(), 10.0);
        assert_eq!(water.volume_l, 500.0);
        assert_eq!(water.run_time_s, 3000.0);
        assert_eq!(water.run_time, RunTime::Fits);
    }

    #[test]
    fn a_root_zone_wets_from_refill_to_stop_in_the_run_time() {
        let supply = supply(0.8, 60, 7200);
        let water = apply(millimetre(8.0), &supply).unwrap();
        let rise = supply.wetting_per_s(millimetre(400.0)) * water.run_time_s;
        assert!((rise - 8.0 / 400.0).abs() < 1e-12);
    }

    #[test]
    fn the_limits_themselves_fit() {
        for (minimum, maximum) in [(3000, 7200), (60, 3000)] {
            let water = apply(millimetre(8.0), &supply(0.8, minimum, maximum)).unwrap();
            assert_eq!(water.run_time, RunTime::Fits);
        }
    }

    #[test]
    fn a_run_outside_the_limits_says_which_way() {
        let short = apply(millimetre(8.0), &supply(0.8, 3001, 7200)).unwrap();
        assert_eq!(short.run_time, RunTime::ShorterThanMinimum);
        let long = apply(millimetre(8.0), &supply(0.8, 60, 1400)).unwrap();
        assert_eq!(long.run_time, RunTime::LongerThanMaximum { runs: 3 });
    }

    #[test]
    fn unevenness_is_made_up_for_once_and_the_driest_quarter_gets_its_depth() {
        // 8 mm / 0.8 = 10 mm on average, / 0.8 = 12.5 mm pumped; the driest
        // quarter gets 12.5 x 0.8 x 0.8 = 8 mm.
        let mut uneven = supply(0.8, 60, 7200);
        uneven.distribution_uniformity = Fraction::new(0.8).unwrap();
        let water = apply(millimetre(8.0), &uneven).unwrap();
        assert!((water.mean_depth.value() - 10.0).abs() < 1e-12);
        assert!((water.gross_depth.value() - 12.5).abs() < 1e-12);
        uneven.distribution_uniformity = Fraction::new(0.0).unwrap();
        assert_eq!(
            apply(millimetre(8.0), &uneven),
            Err(IrrigationError::NoEfficiency)
        );
    }

    #[test]
    fn an_efficiency_of_nothing_is_refused() {
        assert_eq!(
            apply(millimetre(8.0), &supply(0.0, 60, 600)),
            Err(IrrigationError::NoEfficiency)
        );
    }

    #[test]
    fn a_depth_no_field_holds_is_refused() {
        assert!(matches!(
            apply(millimetre(9000.0), &supply(0.01, 60, 600)),
            Err(IrrigationError::Implausible(_))
        ));
    }
}
