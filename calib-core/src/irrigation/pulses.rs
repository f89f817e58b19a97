//! A run that is too long at one go, or wets the ground faster than it drinks:
//! pulses with time to soak in between.

use super::Supply;
use crate::quantity::Quantity;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Water that may stand on the ground after a pulse, mm: what a level, crumbly
/// surface holds without running off (our choice).
pub const STANDING_WATER_MM: f64 = 2.0;

/// Why one run is parted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PulseReason {
    /// Water comes faster than the soil takes it in.
    Infiltration,
    /// The pump may not run that long at one go.
    MaximumOn,
}

/// A run parted into equal pulses.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pulses {
    /// How many; two or more.
    pub number: u32,
    /// Time on of each, s.
    pub on_s: f64,
    /// Time off between two, s.
    pub soak_s: f64,
    /// From the first start to the last stop, s.
    pub whole_s: f64,
    /// Water that stands on the ground at the end of a pulse, mm.
    pub standing_mm: f64,
    /// Why.
    pub reason: PulseReason,
    /// Whether each lies between the shortest and the longest time on; no whole
    /// number of pulses may do.
    pub keeps_times: bool,
}

/// Depth a supply spreads over its area in an hour, mm/h; 1 L on 1 m2 is 1 mm.
/// Under drip lines less ground is wetted, and faster than this.
pub fn application_rate(supply: &Supply) -> f64 {
    60.0 * supply.flow.value() / supply.area.value()
}

/// The longest pulse a soil takes, and its rest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SoilPulse {
    /// Depth spread in an hour, mm/h.
    pub rate: f64,
    /// Depth the soil takes in an hour, mm/h; less.
    pub infiltration: f64,
    /// Time on, s.
    pub on_s: f64,
    /// Time to soak in, s.
    pub soak_s: f64,
    /// Water that stands on the ground at the end, mm: more than
    /// [`STANDING_WATER_MM`] where the shortest time on asks for it.
    pub standing_mm: f64,
}

/// The longest pulse where water comes faster than the soil takes it in; `None`
/// where it does not, or nothing is known of the soil.
///
/// It ends when [`STANDING_WATER_MM`] stand on the ground, but not before the
/// shortest time on; it has soaked in once `rate / infiltration - 1` times as long
/// has passed.
pub fn soil_pulse(supply: &Supply) -> Option<SoilPulse> {
    let rate = application_rate(supply);
    let infiltration = supply.infiltration_mm_per_h.filter(|limit| rate > *limit)?;
    let excess = (rate - infiltration) / 3600.0;
    let on_s = (STANDING_WATER_MM / excess).max(f64::from(supply.minimum_on_s));
    Some(SoilPulse {
        rate,
        infiltration,
        on_s,
        soak_s: on_s * (rate / infiltration - 1.0),
        standing_mm: excess * on_s,
    })
}

/// The pulses that `run_time_s` seconds of pumping take; `None` where one run
/// does. None is longer than [`soil_pulse`] or the longest time on, and the pump
/// rests no less than its shortest time off.
pub fn pulses(run_time_s: f64, supply: &Supply) -> Option<Pulses> {
    let longest = f64::from(supply.maximum_on_s.max(1));
    let shortest = f64::from(supply.minimum_on_s);
    let soil = soil_pulse(supply);
    let (most, reason) = match soil {
        Some(soil) if soil.on_s < longest => (soil.on_s, PulseReason::Infiltration),
        _ => (longest, PulseReason::MaximumOn),
    };
    // A thousandth of a second past the limit is the arithmetic's, not the pump's.
    if run_time_s - 1e-3 <= most {
        return None;
    }
    // A float beyond u32 becomes u32::MAX.
    let number = ((run_time_s - 1e-3) / most).ceil() as u32;
    let fewest = if shortest > 0.0 {
        (run_time_s / shortest).floor().max(1.0) as u32
    } else {
        u32::MAX
    };
    let number = number.min(fewest).max(2);
    let on_s = run_time_s / f64::from(number);
    let of_soil = |each: fn(&SoilPulse) -> f64| soil.map_or(0.0, |soil| on_s * each(&soil));
    let soak_s = of_soil(|soil| soil.soak_s / soil.on_s).max(f64::from(supply.minimum_off_s));
    Some(Pulses {
        number,
        on_s,
        soak_s,
        whole_s: run_time_s + f64::from(number - 1) * soak_s,
        standing_mm: of_soil(|soil| soil.standing_mm / soil.on_s),
        reason,
        keeps_times: on_s + 1e-3 >= shortest && on_s - 1e-3 <= longest,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Fraction, LitrePerMinute, Quantity, SquareMetre};
    use proptest::prelude::*;

    /// 60 L/min on 120 m2: 30 mm/h.
    fn supply(infiltration: Option<f64>, on: (u32, u32), minimum_off_s: u32) -> Supply {
        Supply {
            area: SquareMetre::new(120.0).unwrap(),
            flow: LitrePerMinute::new(60.0).unwrap(),
            application_efficiency: Fraction::new(0.9).unwrap(),
            distribution_uniformity: Fraction::new(1.0).unwrap(),
            infiltration_mm_per_h: infiltration,
            minimum_on_s: on.0,
            maximum_on_s: on.1,
            minimum_off_s,
        }
    }

    #[test]
    fn a_soil_that_drinks_as_fast_as_water_comes_needs_no_pulses() {
        assert_eq!(pulses(3600.0, &supply(None, (60, 7200), 300)), None);
        assert_eq!(pulses(3600.0, &supply(Some(30.0), (60, 7200), 300)), None);
    }

    #[test]
    fn a_pulse_ends_with_two_millimetres_standing_and_soaks_in() {
        // 30 - 10 = 20 mm/h stand: 2 mm after 360 s. An hour is ten pulses; each
        // takes 360 s x (30/10 - 1) = 720 s to soak in.
        let found = pulses(3600.0, &supply(Some(10.0), (60, 7200), 300)).unwrap();
        assert_eq!(
            (found.number, found.reason),
            (10, PulseReason::Infiltration)
        );
        assert!((found.on_s - 360.0).abs() < 1e-9 && (found.soak_s - 720.0).abs() < 1e-9);
        assert!((found.standing_mm - 2.0).abs() < 1e-9);
        assert!((found.whole_s - (3600.0 + 9.0 * 720.0)).abs() < 1e-9);
    }

    #[test]
    fn the_pumps_own_times_go_before() {
        let rested = pulses(3600.0, &supply(Some(10.0), (60, 7200), 1800)).unwrap();
        assert_eq!(rested.soak_s, 1800.0);
        let long = pulses(3600.0, &supply(Some(10.0), (900, 7200), 300)).unwrap();
        assert_eq!(long.number, 4);
        assert!(long.standing_mm > STANDING_WATER_MM);
        let short = pulses(3600.0, &supply(Some(10.0), (60, 120), 300)).unwrap();
        assert_eq!((short.number, short.reason), (30, PulseReason::MaximumOn));
        assert_eq!(short.soak_s, 300.0);
    }

    #[test]
    fn a_run_longer_than_the_pump_may_is_parted_too() {
        let found = pulses(3000.0, &supply(None, (60, 1400), 600)).unwrap();
        assert_eq!((found.number, found.reason), (3, PulseReason::MaximumOn));
        assert_eq!(
            (found.on_s, found.soak_s, found.standing_mm),
            (1000.0, 600.0, 0.0)
        );
    }

    proptest! {
        #[test]
        fn pulses_add_up_to_the_run_and_keep_the_pumps_times(
            run in 1.0..50_000.0_f64, infiltration in prop::option::of(0.5..60.0_f64),
            shortest in 0_u32..2000, longer in 0_u32..8000, off in 0_u32..4000,
        ) {
            let supply = supply(infiltration, (shortest, shortest + longer), off);
            let Some(found) = pulses(run, &supply) else { return Ok(()); };
            prop_assert!(found.number >= 2);
            prop_assert!((found.on_s * f64::from(found.number) - run).abs() < 1e-6);
            prop_assert!(found.soak_s >= f64::from(off));
            // What stands has soaked in before the next pulse.
            if let Some(limit) = infiltration {
                prop_assert!(found.standing_mm <= limit * found.soak_s / 3600.0 + 1e-9);
            }
            if run >= 2.0 * f64::from(shortest) {
                prop_assert!(found.on_s >= f64::from(shortest) - 1e-6);
            }
            let within = (f64::from(shortest)..=f64::from((shortest + longer).max(1)))
                .contains(&found.on_s);
            prop_assert!(found.keeps_times || !within);
            prop_assert!(within || !found.keeps_times || (found.on_s - run / f64::from(found.number)).abs() < 2e-3);
        }
    }
}
