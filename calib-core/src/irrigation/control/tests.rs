//! The table of behaviour, line by line, and what no rule may ever do.

use super::*;
use crate::irrigation::rule::{RuleError, SwitchPoints};
use crate::quantity::Quantity;
use proptest::prelude::*;

fn theta(value: f64) -> Vwc {
    Vwc::new(value).unwrap()
}

const TIMES: PumpTimes = PumpTimes {
    minimum_on_s: 60,
    minimum_off_s: 300,
    maximum_on_s: 1800,
};

fn band(times: PumpTimes) -> Rule {
    let points = SwitchPoints::Band {
        refill: theta(0.14),
        stop: theta(0.17),
    };
    Rule::new(points, times).unwrap()
}

fn single(times: PumpTimes) -> Rule {
    let points = SwitchPoints::Single {
        threshold: theta(0.14),
    };
    Rule::new(points, times).unwrap()
}

/// On or off after each reading, from power-up at 0 s.
fn follow(rule: Rule, readings: &[(i64, Option<f64>)]) -> Vec<(Option<Event>, bool)> {
    let mut control = Control::new(rule, Timestamp(0));
    readings
        .iter()
        .map(|(time, value)| {
            let step = control.push(Timestamp(*time), value.map(theta));
            (step.event, step.on)
        })
        .collect()
}

const STARTED: (Option<Event>, bool) = (Some(Event::Started), true);
const ON: (Option<Event>, bool) = (None, true);
const OFF: (Option<Event>, bool) = (None, false);

fn stopped(why: Stop) -> (Option<Event>, bool) {
    (Some(Event::Stopped(why)), false)
}

#[test]
fn a_band_starts_at_refill_and_stops_at_stop() {
    let readings = [
        (299, Some(0.10)),
        (300, Some(0.1401)),
        (310, Some(0.14)),
        (400, Some(0.1699)),
        (500, Some(0.17)),
        (900, Some(0.1401)),
    ];
    let expected = [OFF, OFF, STARTED, ON, stopped(Stop::Reached), OFF];
    assert_eq!(follow(band(TIMES), &readings), expected);
}

#[test]
fn a_single_threshold_without_times_follows_every_reading() {
    let readings = [
        (0, Some(0.1401)),
        (1, Some(0.14)),
        (2, Some(0.1401)),
        (3, Some(0.1399)),
    ];
    let expected = [OFF, STARTED, stopped(Stop::Reached), STARTED];
    assert_eq!(follow(single(PumpTimes::NONE), &readings), expected);
}

#[test]
fn the_shortest_times_hold_a_switch_back() {
    let readings = [
        (300, Some(0.10)),
        (359, Some(0.20)),
        (360, Some(0.20)),
        (659, Some(0.10)),
        (660, Some(0.10)),
    ];
    let expected = [STARTED, ON, stopped(Stop::Reached), OFF, STARTED];
    assert_eq!(follow(single(TIMES), &readings), expected);
}

#[test]
fn a_reading_without_answer_stops_the_pump_within_the_shortest_time_on() {
    let readings = [
        (300, Some(0.10)),
        (301, None),
        (302, Some(0.10)),
        (601, Some(0.10)),
    ];
    let expected = [STARTED, stopped(Stop::NoAnswer), OFF, STARTED];
    assert_eq!(follow(band(TIMES), &readings), expected);
}

#[test]
fn a_pump_whose_longest_time_ended_rests_from_the_reading_that_stopped_it() {
    let mut control = Control::new(band(TIMES), Timestamp(0));
    assert!(control.push(Timestamp(300), Some(theta(0.10))).on);
    assert_eq!(control.deadline(), Some(Timestamp(2100)));
    // However long after the end at 2100 s, it goes off first, and then rests.
    let mut at = |time| {
        let step = control.push(Timestamp(time), Some(theta(0.10)));
        (step.event, step.on)
    };
    assert_eq!(at(9000), stopped(Stop::MaximumOn));
    assert_eq!(at(9299), OFF);
    assert_eq!(at(9300), STARTED);
}

#[test]
fn after_the_longest_time_a_band_waits_for_refill_again() {
    let readings = [
        (300, Some(0.10)),
        (2100, Some(0.15)),
        (9000, Some(0.15)),
        (9001, Some(0.14)),
    ];
    let expected = [STARTED, stopped(Stop::MaximumOn), OFF, STARTED];
    assert_eq!(follow(band(TIMES), &readings), expected);
}

#[test]
fn a_pump_that_may_restart_at_once_still_goes_off_at_its_longest_time() {
    let times = PumpTimes {
        minimum_on_s: 0,
        minimum_off_s: 0,
        maximum_on_s: 100,
    };
    let readings = [(0, Some(0.10)), (100, Some(0.10)), (101, Some(0.10))];
    let expected = [STARTED, stopped(Stop::MaximumOn), STARTED];
    assert_eq!(follow(band(times), &readings), expected);
}

#[test]
fn a_clock_set_back_stops_the_pump_and_starts_its_rest_anew() {
    let readings = [
        (5000, Some(0.10)),
        (4000, Some(0.10)),
        (4299, Some(0.10)),
        (4300, Some(0.10)),
    ];
    let expected = [STARTED, stopped(Stop::ClockSetBack), OFF, STARTED];
    assert_eq!(follow(band(TIMES), &readings), expected);
}

#[test]
fn rules_that_cannot_be_followed_are_refused() {
    let upside_down = SwitchPoints::Band {
        refill: theta(0.17),
        stop: theta(0.17),
    };
    assert_eq!(
        Rule::new(upside_down, TIMES).unwrap_err().to_string(),
        "refill 0.17 m3/m3 must lie below stop 0.17 m3/m3"
    );
    let long = PumpTimes {
        minimum_on_s: 1801,
        ..TIMES
    };
    let never = PumpTimes {
        minimum_on_s: 0,
        maximum_on_s: 0,
        ..TIMES
    };
    let points = band(TIMES).points();
    assert_eq!(
        Rule::new(points, long),
        Err(RuleError::TimesContradict {
            minimum: 1801,
            maximum: 1800
        })
    );
    assert_eq!(Rule::new(points, never), Err(RuleError::NeverOn));
}

/// Steps of time, mostly forwards, and readings around the set points, one in
/// eight without an answer.
fn any_readings() -> impl Strategy<Value = Vec<(i64, Option<f64>)>> {
    let answer = prop_oneof![7 => (0.11..0.20_f64).prop_map(Some), 1 => Just(None)];
    prop::collection::vec((1..900_i64, answer), 1..400).prop_map(|steps| {
        let mut time = 0;
        steps
            .into_iter()
            .map(|(step, value)| {
                time += step;
                (time, value)
            })
            .collect()
    })
}

fn any_times() -> impl Strategy<Value = PumpTimes> {
    (0..600_u32, 0..2000_u32, 1..3000_u32).prop_map(|(on, off, longer)| PumpTimes {
        minimum_on_s: on,
        minimum_off_s: off,
        maximum_on_s: on + longer,
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]
    #[test]
    fn no_rule_breaks_its_promises(
        readings in any_readings(), times in any_times(), banded in any::<bool>(),
    ) {
        let rule = if banded { band(times) } else { single(times) };
        let mut control = Control::new(rule, Timestamp(0));
        let (mut on, mut since) = (false, 0_i64);
        for (time, value) in readings {
            let step = control.push(Timestamp(time), value.map(theta));
            match step.event {
                Some(Event::Started) => {
                    prop_assert!(!on && time - since >= i64::from(times.minimum_off_s));
                    prop_assert!(value.unwrap() <= 0.14, "never above refill");
                    (on, since) = (true, time);
                }
                Some(Event::Stopped(why)) => {
                    prop_assert!(on);
                    if why == Stop::MaximumOn {
                        prop_assert!(time - since >= i64::from(times.maximum_on_s));
                    } else if value.is_none() {
                        prop_assert_eq!(why, Stop::NoAnswer);
                    } else {
                        prop_assert_eq!(why, Stop::Reached);
                        prop_assert!(time - since >= i64::from(times.minimum_on_s));
                        let least = if banded { 0.17 } else { 0.14 };
                        prop_assert!(value.unwrap() >= least);
                    }
                    (on, since) = (false, time);
                }
                None => {}
            }
            prop_assert_eq!(step.on, on);
            prop_assert_eq!(control.is_on(), on);
            prop_assert!(!(on && value.is_none()), "never on without an answer");
            prop_assert!(!on || time - since < i64::from(times.maximum_on_s));
        }
    }
}
