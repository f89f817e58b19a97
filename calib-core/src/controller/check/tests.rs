//! One refusal at a time.

use super::*;
use crate::controller::example;
use jiff::civil::date;

/// What a record says once `change` has been made to the example.
fn refusal(change: impl Fn(&mut ControllerRecord)) -> ControllerError {
    let mut record = example::record();
    change(&mut record);
    ControllerTable::check(record).expect_err("must be refused")
}

#[test]
fn the_example_itself_passes() {
    ControllerTable::check(example::record()).unwrap();
}

#[test]
fn another_version_is_refused_before_anything_else() {
    let mut record = example::record();
    record.version = 1;
    let error = ControllerTable::check_with_crc(record, 0).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the table is of version 1; this reader knows version 2 only"
    );
}

#[test]
fn numbers_that_do_not_give_the_stated_crc_are_refused() {
    let record = example::record();
    let crc = record.crc32();
    assert!(ControllerTable::check_with_crc(record.clone(), crc).is_ok());
    assert!(matches!(
        ControllerTable::check_with_crc(record, crc ^ 1),
        Err(ControllerError::TableCrc { .. })
    ));
}

#[test]
fn names_are_plain_and_short() {
    for name in ["", "a\nb", &"x".repeat(65)] {
        assert!(matches!(
            refusal(|r| r.probe = name.to_owned()),
            ControllerError::Name { what: "probe", .. }
        ));
    }
    assert!(matches!(
        refusal(|r| r.soil.clear()),
        ControllerError::Name { what: "soil", .. }
    ));
}

#[test]
fn converters_of_7_and_17_bits_are_refused() {
    for bits in [0, 7, 17, 255] {
        assert_eq!(
            refusal(|r| r.adc_bits = bits),
            ControllerError::AdcBits { bits }
        );
    }
}

#[test]
fn one_knot_or_256_are_refused() {
    assert_eq!(
        refusal(|r| r.knots.truncate(1)),
        ControllerError::KnotNumber { found: 1 }
    );
    assert_eq!(
        refusal(|r| {
            r.knots = (0..256)
                .map(|i| Knot {
                    count: 300 + i,
                    theta_v: 4000 - i as i16,
                    expanded_uncertainty: 1,
                })
                .collect();
        }),
        ControllerError::KnotNumber { found: 256 }
    );
}

#[test]
fn knots_out_of_order_out_of_range_or_against_the_direction_are_refused() {
    assert!(matches!(
        refusal(|r| r.knots[1].count = 300),
        ControllerError::KnotOrder {
            previous: 300,
            count: 300
        }
    ));
    assert!(matches!(
        refusal(|r| r.knots[0].theta_v = 12_001),
        ControllerError::KnotTheta {
            theta_v: 12_001,
            ..
        }
    ));
    assert!(matches!(
        refusal(|r| r.knots[0].expanded_uncertainty = 10_001),
        ControllerError::KnotUncertainty { found: 10_001, .. }
    ));
    assert!(matches!(
        refusal(|r| r.knots[1].theta_v = 900),
        ControllerError::KnotDirection { from: 900, .. }
    ));
    assert!(matches!(
        refusal(|r| r.knots.iter_mut().for_each(|k| k.theta_v = 2000)),
        ControllerError::KnotDirection { .. }
    ));
}

#[test]
fn a_step_longer_than_16_bits_of_sixteenths_is_refused() {
    assert_eq!(
        refusal(|r| {
            r.knots = vec![
                Knot {
                    count: 0,
                    theta_v: 12_000,
                    expanded_uncertainty: 1,
                },
                Knot {
                    count: 4096,
                    theta_v: 0,
                    expanded_uncertainty: 1,
                },
            ];
        }),
        ControllerError::StepTooLong {
            from_count: 0,
            to_count: 4096
        }
    );
}

#[test]
fn a_domain_the_knots_do_not_enclose_closely_is_refused() {
    for (low, high) in [
        (4799, 11192),
        (4816, 11192),
        (4808, 11201),
        (4808, 11184),
        (9000, 9000),
    ] {
        assert!(matches!(
            refusal(|r| (r.domain_low, r.domain_high) = (low, high)),
            ControllerError::Domain { .. }
        ));
    }
    assert!(matches!(
        refusal(|r| (r.domain_low, r.domain_high) = (i32::MIN, i32::MAX)),
        ControllerError::Domain { .. }
    ));
}

#[test]
fn a_temperature_term_must_be_plausible_and_fit() {
    fn term(change: impl Fn(&mut IntegerTemperature)) -> ControllerError {
        refusal(|r| {
            if let Some(term) = &mut r.temperature {
                change(term);
            }
        })
    }
    assert!(matches!(
        term(|t| t.highest_centi = 8501),
        ControllerError::TemperatureRange { .. }
    ));
    assert!(matches!(
        term(|t| t.lowest_centi = 3000),
        ControllerError::TemperatureRange { .. }
    ));
    for shift in [1, 7, 15, 17, 24, 255] {
        assert_eq!(
            term(|t| t.shift = shift),
            ControllerError::TemperatureDivisor { shift }
        );
    }
    for coefficient in [i32::MAX, i32::MIN, 3_000_000] {
        assert!(matches!(
            term(|t| t.coefficient = coefficient),
            ControllerError::TemperatureCorrection { .. }
        ));
    }
    // 1100 counts at 10 C from the reference, of a converter with 1023.
    assert!(matches!(
        term(|t| (t.coefficient, t.shift) = (18, 0)),
        ControllerError::TemperatureCorrection { .. }
    ));
}

#[test]
fn codes_with_an_answer_are_never_called_a_broken_wire() {
    // 128 sixteenths either way at 10 C from the reference: from 4680 to 11 320
    // sixteenths, codes 293 to 707 can have an answer.
    for (low, high) in [(293, 1013), (10, 707), (0, 1023)] {
        let mut record = example::record();
        (record.live.low, record.live.high) = (low, high);
        ControllerTable::check(record).unwrap();
    }
    for (low, high) in [(294, 1013), (10, 706), (10, 1024), (800, 700)] {
        assert!(matches!(
            refusal(|r| (r.live.low, r.live.high) = (low, high)),
            ControllerError::LiveCodes { .. }
        ));
    }
}

#[test]
fn a_bound_of_nothing_is_refused() {
    assert_eq!(
        refusal(|r| r.max_error = 0),
        ControllerError::MaxError { found: 0 }
    );
}

#[test]
fn set_points_must_be_in_order_inside_and_belong_together() {
    assert!(matches!(
        refusal(|r| r.set_points.refill = 2500),
        ControllerError::SetPointOrder { .. }
    ));
    assert_eq!(
        refusal(|r| (r.set_points.refill_count, r.set_points.stop_count) = (450, 600)).to_string(),
        "refill at 450 counts and stop at 600 counts do not fit the wiring direction: counts fall as the soil gets wetter"
    );
    assert!(matches!(
        refusal(|r| r.set_points.refill_count = 700),
        ControllerError::SetPointOutsideDomain {
            which: "refill",
            ..
        }
    ));
    assert_eq!(
        refusal(|r| r.set_points.stop_count = 460),
        ControllerError::SetPointMismatch {
            which: "stop",
            theta_v: 2500,
            count: 460,
            from_table: 2400,
        }
    );
}

#[test]
fn pump_times_must_be_possible() {
    for (on, off, longest) in [(60, 600, 0), (61, 600, 60), (60, 604_801, 3600)] {
        assert!(matches!(
            refusal(|r| {
                r.timing.minimum_on_s = on;
                r.timing.minimum_off_s = off;
                r.timing.maximum_on_s = longest;
            }),
            ControllerError::Timing { .. }
        ));
    }
}

#[test]
fn a_recheck_before_the_calibration_is_refused() {
    assert!(matches!(
        refusal(|r| r.dates.recheck_by = date(2025, 4, 1)),
        ControllerError::Dates { .. }
    ));
    assert!(matches!(
        refusal(|r| r.dates.calibrated_on = date(1969, 12, 31)),
        ControllerError::Dates { .. }
    ));
}
