//! The controller's integers against the fitted curve, for made-up calibrations
//! of every kind, and against exact arithmetic for arbitrary tables.

use calib_cli::controller::{FORMATS, load, render};
use calib_core::calibration::{Calibration, Direction};
use calib_core::controller::{
    ControllerError, ControllerRecord, ControllerTable, Fault, IntegerSetPoints,
    IntegerTemperature, Knot, LiveCodes, OpenCircuit, SIXTEENTHS, TEMPERATURE_SHIFTS, THETA_SCALE,
    VERSION,
};
use calib_core::curve::CurveKind;
use calib_core::quantity::{Celsius, Quantity};
use ovendry_tests::controller::{DATES, Recipe, TIMING, table};
use proptest::prelude::*;

fn recipes() -> impl Strategy<Value = Recipe> {
    (
        8_u8..=16,
        prop::sample::select(CurveKind::ALL.to_vec()),
        -1.0..1.0,
        prop::bool::ANY,
        (0.1..0.4, 0.6..0.95),
        (-0.01..0.12, 0.3..0.6),
        prop::option::of(-0.01..0.01),
        12.0..27.0,
    )
        .prop_map(
            |(bits, kind, bend, rises, domain, theta, temperature, reference)| Recipe {
                bits,
                kind,
                bend,
                direction: if rises {
                    Direction::RisesWhenWetter
                } else {
                    Direction::FallsWhenWetter
                },
                domain,
                theta,
                temperature,
                reference,
            },
        )
        .prop_filter("the curve must be monotone", Recipe::is_monotone)
}

/// The table of a calibration. A curve with a kink between two whole counts may
/// honestly be refused: no table at whole counts follows it.
fn tabled(calibration: &Calibration) -> Result<ControllerTable, TestCaseError> {
    match table(calibration) {
        Ok(table) => Ok(table),
        Err(ControllerError::BoundNotReachable { .. }) => {
            Err(TestCaseError::reject("too sharp for whole counts"))
        }
        Err(error) => Err(TestCaseError::fail(error.to_string())),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_table_stays_within_its_stated_bound_at_every_code(
        recipe in recipes(),
        temperatures in prop::collection::vec(1124_i16..=2804, 3),
    ) {
        let calibration = recipe.calibration("p");
        let table = tabled(&calibration)?;
        let bound = f64::from(table.record().max_error);
        for centi in temperatures.into_iter().chain([1124, 2804]) {
            let celsius = Celsius::new(f64::from(centi) / 100.0).unwrap();
            for code in 0..=calibration.largest_code() {
                let curve = calibration.theta_v(f64::from(code), Some(celsius));
                match (table.evaluate(code, Some(centi)), curve) {
                    (Ok(reading), Ok(curve)) => {
                        let error = (f64::from(reading.theta_v) - THETA_SCALE * curve.value()).abs();
                        prop_assert!(error <= bound + 1e-6, "{error} of {bound} at {code}, {centi}");
                    }
                    (Ok(_), Err(error)) => prop_assert!(false, "only the table answers {code}, {centi}: {error}"),
                    (Err(fault), Ok(_)) => {
                        let at = calibration.count_at_reference(f64::from(code), Some(celsius)).unwrap();
                        let inside = (at - calibration.domain.low).min(calibration.domain.high - at);
                        prop_assert!(inside <= 1.0, "{fault} {inside} counts inside, at {code}, {centi}");
                    }
                    (Err(_), Err(_)) => {}
                }
            }
        }
    }

    #[test]
    fn the_stated_bound_is_no_wider_than_it_must_be(recipe in recipes()) {
        let calibration = recipe.calibration("p");
        let table = tabled(&calibration)?;
        // 5 asked for, half a unit of rounding, rounded up, and with a
        // temperature term the error of its rounding: at the steepest place a
        // sixteenth of a count and what the coefficient's rounding adds.
        let steepest = (0..=1000)
            .map(|i| {
                let share = f64::from(i) / 1000.0;
                let domain = calibration.domain;
                calibration.curve.slope(domain.low + share * (domain.high - domain.low)).abs()
            })
            .fold(0.0, f64::max) * THETA_SCALE;
        let extra = calibration.temperature.map_or(0.0, |_| steepest / 16.0);
        let most = (5.5 + extra).ceil() + 1.0;
        prop_assert!(f64::from(table.record().max_error) <= most, "{} of {most}", table.record().max_error);
    }

    #[test]
    fn comparing_with_its_own_curve_finds_it_the_same_and_with_a_shifted_one_not(recipe in recipes()) {
        let calibration = recipe.calibration("p");
        let table = tabled(&calibration)?;
        let bound = table.record().max_error;
        let same = table.compare(&calibration);
        prop_assert!(same.within(bound), "{same:?}");
        let mut shifted = calibration;
        shifted.curve.parameters[0] += 0.01;
        let other = table.compare(&shifted);
        prop_assert!(!other.within(bound));
        let difference = other.largest.unwrap().difference();
        let slack = f64::from(bound) / THETA_SCALE;
        prop_assert!(difference < 0.0 && (difference + 0.01).abs() <= slack + 1e-9, "{difference}");
    }

    #[test]
    fn every_format_gives_the_same_table_back_from_the_same_bytes(recipe in recipes()) {
        let table = tabled(&recipe.calibration("p"))?;
        for format in FORMATS {
            let text = render(format, &table);
            prop_assert_eq!(&text, &render(format, &table));
            prop_assert_eq!(&load(format, text.as_bytes()).unwrap(), &table, "{}", format.name());
        }
    }
}

/// Any record at all, mostly near the limits of what 32 bits hold.
fn records() -> impl Strategy<Value = ControllerRecord> {
    let knots = prop::collection::btree_map(0_u16..=4095, -2000_i16..=12_000, 2..8);
    let term = prop::option::of((
        -4000_i16..=8500,
        -4000_i16..=8500,
        -4000_i16..=8500,
        prop_oneof![-2_000_000..=2_000_000, any::<i32>()],
        prop::sample::select(TEMPERATURE_SHIFTS.to_vec()),
    ));
    (
        8_u8..=16,
        (knots, 0_u16..=u16::MAX - 4095),
        term,
        prop::bool::ANY,
        0..16_i32,
        0..16_i32,
    )
        .prop_map(|(adc_bits, (knots, first), term, rises, below, above)| {
            let mut thetas: Vec<i16> = knots.values().copied().collect();
            thetas.sort_unstable();
            if !rises {
                thetas.reverse();
            }
            let knots: Vec<Knot> = knots
                .keys()
                .zip(thetas)
                .map(|(count, theta_v)| Knot {
                    count: first + *count,
                    theta_v,
                    expanded_uncertainty: 100,
                })
                .collect();
            let (first, last) = (knots[0], knots[knots.len() - 1]);
            // The end knots themselves are set points that belong to the table.
            let (dry, wet) = if rises { (first, last) } else { (last, first) };
            ControllerRecord {
                version: VERSION,
                probe: "p".into(),
                soil: "s".into(),
                dates: DATES,
                adc_bits,
                direction: if rises {
                    Direction::RisesWhenWetter
                } else {
                    Direction::FallsWhenWetter
                },
                live: LiveCodes {
                    low: 0,
                    high: ((1_u32 << adc_bits) - 1) as u16,
                    open_circuit: OpenCircuit::ReadsLow,
                },
                domain_low: SIXTEENTHS * i32::from(first.count)
                    + below * i32::from(first != dry && first != wet),
                domain_high: SIXTEENTHS * i32::from(last.count)
                    - above * i32::from(last != dry && last != wet),
                temperature: term.map(|(reference, one, other, coefficient, shift)| {
                    IntegerTemperature {
                        reference_centi: reference,
                        lowest_centi: one.min(other),
                        highest_centi: one.max(other),
                        coefficient,
                        shift,
                    }
                }),
                max_error: 5,
                knots,
                set_points: IntegerSetPoints {
                    refill: dry.theta_v,
                    stop: wet.theta_v,
                    refill_count: dry.count,
                    stop_count: wet.count,
                },
                timing: TIMING,
            }
        })
}

/// The definition in exact 64-bit arithmetic, written apart from the table's.
fn exactly(record: &ControllerRecord, code: u32, centi: i16) -> Result<i64, Fault> {
    let nearest = |numerator: i64, denominator: i64| {
        let sign = numerator.signum();
        sign * ((2 * numerator.abs() + denominator) / (2 * denominator))
    };
    if i64::from(code) >= 1 << record.adc_bits {
        return Err(Fault::NoSuchCode);
    }
    if code < u32::from(record.live.low) {
        return Err(Fault::OpenCircuit);
    }
    if code > u32::from(record.live.high) {
        return Err(Fault::ShortCircuit);
    }
    let mut at = 16 * i64::from(code);
    if let Some(term) = &record.temperature {
        if centi < term.lowest_centi || centi > term.highest_centi {
            return Err(Fault::TemperatureOutsideRange);
        }
        let difference = i64::from(centi) - i64::from(term.reference_centi);
        at -= nearest(
            i64::from(term.coefficient) * difference,
            i64::from(term.divisor()),
        );
    }
    if at < i64::from(record.domain_low) {
        return Err(Fault::CountBelowDomain);
    }
    if at > i64::from(record.domain_high) {
        return Err(Fault::CountAboveDomain);
    }
    let upper = (1..record.knots.len())
        .find(|i| at <= 16 * i64::from(record.knots[*i].count))
        .unwrap();
    let (from, to) = (record.knots[upper - 1], record.knots[upper]);
    let along = at - 16 * i64::from(from.count);
    let rise = i64::from(to.theta_v) - i64::from(from.theta_v);
    let width = 16 * (i64::from(to.count) - i64::from(from.count));
    Ok(i64::from(from.theta_v) + nearest(rise * along, width))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, max_global_rejects: 400_000, ..ProptestConfig::default() })]

    // Tests are built with overflow checks, so a product beyond 32 bits panics.
    #[test]
    fn no_table_that_passes_the_checks_overflows_or_differs_from_exact_arithmetic(
        record in records(),
        codes in prop::collection::vec(0_u32..=65_535, 40),
        temperatures in prop::collection::vec(any::<i16>(), 4),
    ) {
        let Ok(table) = ControllerTable::check(record.clone()) else {
            return Err(TestCaseError::reject("not a valid table"));
        };
        let ends = record.temperature.map_or(vec![], |term| vec![term.lowest_centi, term.highest_centi]);
        let knots = record.knots.iter().map(|knot| u32::from(knot.count));
        for code in codes.into_iter().chain(knots).chain([0, u32::from(table.full_scale()), 65_536, u32::MAX]) {
            for centi in temperatures.iter().chain(&ends) {
                let found = table.evaluate(code, Some(*centi)).map(|reading| i64::from(reading.theta_v));
                prop_assert_eq!(found, exactly(&record, code, *centi));
            }
        }
    }
}
