//! Whole seasons: water, chance and rules together.

use super::root_zone::tests::{theta, zone};
use super::*;
use crate::irrigation::TemperatureBasis;
use crate::irrigation::replay::{Sees, Side};
use crate::irrigation::rule::{PumpTimes, Rule, SwitchPoints};
use crate::quantity::{Fraction, Quantity, SquareMetre};
use proptest::prelude::*;

const REFILL: f64 = 0.155;
const STOP: f64 = 0.195;

fn times() -> PumpTimes {
    PumpTimes {
        minimum_on_s: 120,
        minimum_off_s: 1800,
        maximum_on_s: 7200,
    }
}

fn band() -> Side {
    let points = SwitchPoints::Band {
        refill: theta(REFILL),
        stop: theta(STOP),
    };
    Side {
        rule: Rule::new(points, times()).unwrap(),
        sees: Sees::Calibrated,
    }
}

fn single(times: PumpTimes) -> Side {
    let points = SwitchPoints::Single {
        threshold: theta(REFILL),
    };
    Side {
        rule: Rule::new(points, times).unwrap(),
        sees: Sees::AsRead,
    }
}

/// 5 mm a day, no rain, 15 mm/h of drip on a 400 mm root zone.
fn scenario(days: usize) -> Scenario {
    Scenario {
        zone: zone(),
        pumping: Pumping {
            gross_mm_per_s: 15.0 / 3600.0,
            efficiency: Fraction::new(0.9).unwrap(),
            area: SquareMetre::new(120.0).unwrap(),
        },
        probe: ProbeModel {
            noise: 0.001,
            swing: 0.003,
            basis: TemperatureBasis::Corrected,
            lag: Lag::FirstOrder {
                time_s: PROBE_LAG_S,
            },
            range: (0.05, 0.30),
        },
        days: vec![
            Day {
                evapotranspiration: 5.0,
                rain: 0.0,
            };
            days
        ],
        refill: theta(REFILL),
        stop: theta(STOP),
        step_s: 60,
    }
}

#[test]
fn a_day_of_evapotranspiration_takes_its_depth_between_dawn_and_dusk() {
    let mut dry = scenario(1);
    dry.pumping.gross_mm_per_s = 0.0;
    (dry.refill, dry.stop) = (theta(0.19), theta(0.19));
    let mut course = Vec::new();
    let outcome = dry.season(&band(), 1, |m| course.push(m.theta_v)).unwrap();
    assert!((outcome.evapotranspiration_mm - 5.0).abs() < 1e-12);
    assert_eq!(course.len(), 1440);
    assert_eq!(course[6 * 60], 0.19);
    let noon = 0.19 - 2.5 / 400.0;
    assert!((course[12 * 60] - noon).abs() < 1e-9);
    assert!((course[1439] - course[18 * 60]).abs() < 1e-12);
}

#[test]
fn the_band_waters_seldom_where_one_threshold_chatters() {
    let scenario = scenario(60);
    let [chatter, slowed, banded] = compare(
        &scenario,
        &[single(PumpTimes::NONE), single(times()), band()],
        7,
        4,
        &|_| {},
    )
    .unwrap();
    // Band: 16 mm and what lag adds, at 5 mm a day: about one start in three days.
    assert!((0.2..0.4).contains(&banded.starts_per_day.mean));
    assert!(chatter.starts_per_day.mean > 10.0 * slowed.starts_per_day.mean.min(2.0));
    assert!(banded.starts_per_day.mean < 0.05 * chatter.starts_per_day.mean);
    assert!(banded.hours_below_refill.mean <= chatter.hours_below_refill.mean);
    assert_eq!(banded.stops_at_maximum.highest, 0.0);
    // Five mm a day for sixty days must come from the pump, at 90 %.
    let net = 0.9 * banded.applied_mm.mean;
    assert!((net - 300.0).abs() < 20.0, "{net}");
}

#[test]
fn the_same_seed_gives_the_same_season_and_another_seed_another() {
    let scenario = scenario(10);
    let run = |seed| {
        scenario
            .season(&single(PumpTimes::NONE), seed, |_| {})
            .unwrap()
    };
    assert_eq!(run(3), run(3));
    assert_ne!(run(3), run(4));
    let [compared] = compare(&scenario, &[single(PumpTimes::NONE)], 3, 2, &|_| {}).unwrap();
    assert_eq!(compared.seasons, [run(3), run(4)]);
    let starts = [run(3), run(4)].map(|season| season.duty.starts_per_day());
    let spread = compared.starts_per_day;
    assert!((spread.mean - (starts[0] + starts[1]) / 2.0).abs() < 1e-12);
    let deviation = (starts[0] - starts[1]).abs() / 2.0_f64.sqrt();
    assert!((spread.standard_deviation - deviation).abs() < 1e-12);
}

#[test]
fn beyond_the_calibrated_range_the_band_keeps_off_and_says_how_long() {
    let mut scenario = scenario(3);
    (scenario.refill, scenario.stop) = (theta(0.09), theta(0.09));
    scenario.probe.range = (0.10, 0.30);
    let outcome = scenario.season(&band(), 1, |_| {}).unwrap();
    assert_eq!((outcome.duty.starts, outcome.applied_mm), (0, 0.0));
    assert_eq!(outcome.hours_without_answer, 72.0);
    // Below refill from the first hours of sun on.
    let too_dry = outcome.hours_without_answer_too_dry;
    assert!((64.0..66.0).contains(&too_dry), "{too_dry}");
}

#[test]
fn a_run_cut_at_its_longest_time_ends_within_a_step() {
    let mut scenario = scenario(1);
    scenario.days[0].evapotranspiration = 0.0;
    (scenario.refill, scenario.stop) = (theta(0.10), theta(0.10));
    let short = PumpTimes {
        minimum_on_s: 0,
        minimum_off_s: 3600,
        maximum_on_s: 90,
    };
    let outcome = scenario.season(&single(short), 1, |_| {}).unwrap();
    // Power-up counts as a stop: on each 3600 + 90 s, looked at by the minute.
    assert_eq!(outcome.duty.on_s, 90.0 * outcome.duty.starts as f64);
    assert_eq!(outcome.duty.starts, 23);
}

#[test]
fn seasons_that_cannot_be_are_refused() {
    let refused = |scenario: &Scenario| scenario.season(&band(), 1, |_| {}).unwrap_err();
    assert_eq!(refused(&scenario(0)), ScenarioError::NoDays);
    let mut uneven = scenario(1);
    uneven.step_s = 7000;
    assert!(matches!(
        refused(&uneven),
        ScenarioError::UnevenStep { step_s: 7000 }
    ));
    for broken in [f64::NAN, -1.0] {
        let mut wrong = scenario(1);
        wrong.days[0].rain = broken;
        assert!(matches!(
            refused(&wrong),
            ScenarioError::Figure { what: "rain", .. }
        ));
        let mut wrong = scenario(1);
        wrong.probe.noise = broken;
        assert!(matches!(refused(&wrong), ScenarioError::Figure { .. }));
    }
    assert_eq!(
        compare(&scenario(1), &[band()], 1, 0, &|_| {}),
        Err(ScenarioError::NoSeasons)
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]
    #[test]
    fn water_in_is_water_out_and_what_is_stored(
        seed in any::<u64>(),
        days in prop::collection::vec((0.0..12.0_f64, 0.0..1.0_f64), 1..20),
        heaviest in prop::sample::select(vec![0.0, 10.0, 150.0]),
        efficiency in 0.3..1.0_f64,
        rate in 0.0..200.0_f64,
        step_s in prop::sample::select(vec![20_u32, 60, 300, 900]),
        lag_s in 0..7200_u32,
        delayed in any::<bool>(),
        banded in any::<bool>(),
    ) {
        let mut scenario = scenario(1);
        scenario.days = days
            .iter()
            .map(|(evapotranspiration, share)| Day {
                evapotranspiration: *evapotranspiration,
                rain: heaviest * share,
            })
            .collect();
        scenario.pumping.efficiency = Fraction::new(efficiency).unwrap();
        scenario.pumping.gross_mm_per_s = rate / 3600.0;
        scenario.step_s = step_s;
        scenario.probe.lag = if delayed {
            Lag::Delay { time_s: lag_s }
        } else {
            Lag::FirstOrder { time_s: lag_s }
        };
        let side = if banded { band() } else { single(PumpTimes::NONE) };
        let outcome = scenario.season(&side, seed, |_| {}).unwrap();
        let moved = outcome.applied_mm + outcome.rain_mm + 100.0;
        prop_assert!(outcome.imbalance_mm().abs() < 1e-10 * moved, "{outcome:?}");
        let rain: f64 = scenario.days.iter().map(|day| day.rain).sum();
        prop_assert!((outcome.rain_mm - rain).abs() < 1e-9 * (1.0 + rain));
        prop_assert!(outcome.unmet_mm >= -1e-9);
        prop_assert!(outcome.minimum_theta_v <= outcome.mean_theta_v);
    }
}
