//! What the controller's pump may never do, whatever is read and whenever: start or
//! run while a fault is active, switch faster than its shortest times, or run past
//! its longest.
//!
//! The observer here knows nothing of the state machine. It keeps every reading and
//! every switch, and judges by the definitions of `CONTROLLER-FILE.md`.

use calib_core::controller::{ControllerRecord, ControllerTable, Fault, Pump};
use calib_core::irrigation::{Event, Stop};
use ovendry_tests::controller::worked_example;
use proptest::prelude::*;

/// A reading: seconds since the one before, code, temperature.
type Read = (i64, u32, Option<i16>);

fn reads() -> impl Strategy<Value = Vec<Read>> {
    let later = prop_oneof![
        8 => 0..120_i64,
        4 => 120..4000_i64,
        1 => 4000..200_000_i64,
        // The clock is set back.
        1 => -5000..0_i64,
    ];
    let code = prop_oneof![
        // Dry, between, wet, and each close to where it is decided.
        6 => 525..700_u32,
        2 => 443..533_u32,
        6 => 311..450_u32,
        // The same over and over, so that a probe gets stuck.
        4 => Just(640_u32),
        // The wire, and no code at all.
        1 => 0..11_u32,
        1 => 1012..1030_u32,
        // Beyond the calibrated counts.
        1 => 700..1013_u32,
    ];
    let temperature = prop_oneof![
        20 => Just(Some(2000_i16)),
        4 => (1150..=2780_i16).prop_map(Some),
        1 => Just(None),
        1 => prop_oneof![Just(1149_i16), Just(2781), Just(8500), Just(-12_700)].prop_map(Some),
    ];
    prop::collection::vec((later, code, temperature), 1..200)
}

fn records() -> impl Strategy<Value = ControllerRecord> {
    (
        0..300_u32,
        0..2000_u32,
        1..5000_u32,
        prop_oneof![Just(0_u32), 1..6000_u32],
    )
        .prop_map(
            |(minimum_on_s, minimum_off_s, maximum_on_s, stuck_after_s)| {
                let mut record = worked_example();
                record.timing.minimum_on_s = minimum_on_s.min(maximum_on_s);
                record.timing.minimum_off_s = minimum_off_s;
                record.timing.maximum_on_s = maximum_on_s;
                record.timing.stuck_after_s = stuck_after_s;
                record
            },
        )
}

/// Whether the last reading is of a code that has been the same for too long.
fn is_stuck(past: &[(u32, u32)], longest: u32) -> bool {
    let Some(&(now, code)) = past.last() else {
        return false;
    };
    let mut since = now;
    for pair in past.windows(2).rev() {
        let ((before, earlier), (after, _)) = (pair[0], pair[1]);
        if earlier != code || after < before {
            break;
        }
        since = before;
    }
    longest > 0 && now - since >= longest
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_pump_never_does_what_it_must_not(record in records(), reads in reads()) {
        let table = ControllerTable::check(record.clone()).unwrap();
        let timing = record.timing;
        let mut now = 10_000_u32;
        let mut pump = Pump::start(&table, now);
        let mut past: Vec<(u32, u32)> = Vec::new();
        // When it was last known to go off, or powered up; and on, if it is.
        let mut off_since = now;
        let mut on_since: Option<u32> = None;
        for (later, code, temperature) in reads {
            let before = now;
            now = u32::try_from((i64::from(now) + later).max(0)).unwrap();
            past.push((now, code));
            let set_back = now < before;
            let step = pump.step(now, code, temperature);

            // A fault, by the definitions: the pump is off, and did not start.
            let stateless = table.evaluate(code, temperature);
            let of_wire = matches!(
                stateless,
                Err(Fault::NoSuchCode | Fault::OpenCircuit | Fault::ShortCircuit)
            );
            let faulty = stateless.is_err() || is_stuck(&past, timing.stuck_after_s);
            prop_assert_eq!(step.answer.is_err(), faulty);
            if faulty && !of_wire && is_stuck(&past, timing.stuck_after_s) {
                prop_assert_eq!(step.answer, Err(Fault::Stuck));
            } else {
                prop_assert_eq!(step.answer, stateless);
            }
            if faulty || set_back {
                prop_assert!(!step.on(), "on at {now} with {:?}", step.answer);
            }

            // The first reading at or after the end of its longest time stops it.
            let ran_out = on_since.is_some_and(|since| {
                !set_back && now - since >= timing.maximum_on_s
            });
            if ran_out {
                prop_assert!(!step.on(), "runs past its longest time");
            }
            match step.step.event {
                Some(Event::Started) => {
                    prop_assert!(on_since.is_none());
                    prop_assert!(now - off_since >= timing.minimum_off_s, "rested too short");
                    let theta_v = step.answer.unwrap().theta_v;
                    prop_assert!(theta_v <= record.set_points.refill);
                    on_since = Some(now);
                }
                Some(Event::Stopped(why)) => {
                    let since = on_since.take().expect("only a pump that is on stops");
                    match why {
                        Stop::Reached => {
                            prop_assert!(now - since >= timing.minimum_on_s, "ran too short");
                            let theta_v = step.answer.unwrap().theta_v;
                            prop_assert!(theta_v >= record.set_points.stop);
                        }
                        Stop::NoAnswer => prop_assert!(faulty),
                        Stop::ClockSetBack => prop_assert!(set_back),
                        Stop::MaximumOn => prop_assert!(ran_out),
                    }
                    off_since = now;
                }
                None if set_back => off_since = now,
                None => {}
            }
            prop_assert_eq!(step.on(), on_since.is_some());
            // The relay does what the answer says, and nothing else moves it.
            if step.on() {
                prop_assert!(now - on_since.unwrap() < timing.maximum_on_s);
            }
            // And it does start when nothing speaks against it.
            let dry = step.answer.is_ok_and(|reading| reading.theta_v <= record.set_points.refill);
            if dry && !set_back && !step.on() {
                prop_assert!(now - off_since < timing.minimum_off_s || ran_out);
            }
        }
    }
}
