//! Calibrations and set points that give no controller's table, each with its
//! message.

use calib_core::calibration::Calibration;
use calib_core::controller::{ControllerError, ControllerTable, DEFAULT_MAX_ERROR, OpenCircuit};
use calib_core::irrigation::SetPoints;
use calib_core::quantity::{Quantity, Vwc};
use ovendry_tests::controller::{DATES, Recipe, TIMING, set_points};

/// What is said once `change` has been made to a calibration that works.
fn refusal(change: impl Fn(&mut Calibration, &mut SetPoints)) -> ControllerError {
    let mut calibration = Recipe::default().calibration("north");
    let mut points = set_points(&calibration);
    change(&mut calibration, &mut points);
    ControllerTable::from_calibration(
        &calibration,
        &points,
        TIMING,
        OpenCircuit::ReadsLow,
        DATES,
        DEFAULT_MAX_ERROR,
    )
    .expect_err("must be refused")
}

#[test]
fn a_24_bit_converter_names_the_bits_supported() {
    assert_eq!(
        refusal(|calibration, _| calibration.adc_bits = 24).to_string(),
        "a converter of 24 bits is not supported; 8 to 16 bits are"
    );
}

#[test]
fn a_maximum_error_of_nothing_or_of_everything_cannot_be_asked_for() {
    let calibration = Recipe::default().calibration("north");
    let points = set_points(&calibration);
    for asked in [0.0, 0.1, -1.0, f64::NAN] {
        let result = ControllerTable::from_calibration(
            &calibration,
            &points,
            TIMING,
            OpenCircuit::ReadsLow,
            DATES,
            asked,
        );
        assert!(matches!(result, Err(ControllerError::MaxErrorAsked { .. })));
    }
}

#[test]
fn a_temperature_term_without_temperatures_is_refused() {
    assert_eq!(
        refusal(|calibration, _| calibration.temperature_range = None),
        ControllerError::TemperatureRangeMissing
    );
    assert!(matches!(
        refusal(|calibration, _| calibration.temperature_range = Some((20.0, 20.0))),
        ControllerError::TemperatureRange { .. }
    ));
}

#[test]
fn a_domain_narrower_than_a_count_is_refused() {
    for (low, high) in [(1500.2, 1500.9), (1600.0, 1500.0), (f64::NAN, 1500.0)] {
        assert!(matches!(
            refusal(|calibration, _| {
                calibration.domain.low = low;
                calibration.domain.high = high;
            }),
            ControllerError::DomainNotUsable { .. }
        ));
    }
}

#[test]
fn a_curve_without_a_plausible_value_is_refused() {
    for value in [5.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(
            refusal(|calibration, _| calibration.curve.parameters[0] = value),
            ControllerError::Curve(_)
        ));
    }
}

#[test]
fn a_coefficient_beyond_every_converter_is_refused() {
    for coefficient in [1e9, -1e30, f64::NAN] {
        let error = refusal(|calibration, _| {
            if let Some(term) = &mut calibration.temperature {
                term.coefficient = coefficient;
            }
        });
        assert!(
            matches!(error, ControllerError::TemperatureCorrection { .. }),
            "{error}"
        );
    }
}

#[test]
fn a_calibration_that_knows_nothing_is_refused() {
    assert!(matches!(
        refusal(|calibration, _| calibration.core_scatter = 0.6),
        ControllerError::KnotUncertainty { .. }
    ));
}

#[test]
fn set_points_that_meet_in_one_count_are_refused() {
    assert!(matches!(
        refusal(|calibration, points| {
            points.stop = Vwc::new(points.refill.value() + 0.0001).expect("a water content");
            points.stop_count = calibration.count_at(points.stop).expect("inside the curve");
        }),
        ControllerError::SetPointCounts { .. }
    ));
}

#[test]
fn set_points_that_are_not_on_the_curve_are_refused() {
    assert!(matches!(
        refusal(|_, points| points.stop_count -= 30.0),
        ControllerError::SetPointMismatch { which: "stop", .. }
    ));
}

#[test]
fn a_curve_too_sharp_for_whole_counts_names_the_count() {
    let recipe = Recipe {
        bits: 8,
        bend: 1.0,
        kind: calib_core::curve::CurveKind::Hyperbolic,
        domain: (0.02, 0.9),
        temperature: Some(0.0001),
        ..Recipe::default()
    };
    let calibration = recipe.calibration("north");
    let error = ControllerTable::from_calibration(
        &calibration,
        &set_points(&calibration),
        TIMING,
        OpenCircuit::ReadsLow,
        DATES,
        DEFAULT_MAX_ERROR,
    )
    .expect_err("must be refused");
    assert!(
        matches!(
            error,
            ControllerError::BoundNotReachable { count: 4..=12, .. }
        ),
        "{error}"
    );
}
