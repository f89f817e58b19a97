//! What counts mean, on a calibration made by hand.

use super::super::example::{line, soil};
use super::super::{Demand, set_points};
use super::*;
use crate::quantity::{Fraction, Millimetre};
use crate::temperature::TemperatureTerm;

fn of(
    count: f64,
    calibration: &Calibration,
    temperature: Option<f64>,
) -> Result<Meaning, IrrigationError> {
    let demand = Demand {
        allowed_depletion: Fraction::new(0.4).unwrap(),
        root_depth: Millimetre::new(300.0).unwrap(),
    };
    let water = soil(0.3, 0.1);
    let day = DayOfReadings::default();
    let evidence = set_points(&water, &demand, calibration, &day).unwrap();
    let temperature = temperature.map(|t| Celsius::new(t).unwrap());
    meaning(count, temperature, calibration, &water, &evidence, &day)
}

#[test]
fn a_count_is_told_in_water_and_against_the_set_points() {
    // 550 counts are 0.20 m3/m3, half way down; refill is 0.22.
    let found = of(550.0, &line(1.0), None).unwrap();
    assert!((found.left.share.value - 0.5).abs() < 1e-9);
    assert!((found.left.above_wilting_mm.value - 30.0).abs() < 1e-9);
    assert!((found.left.depletion_mm.value - 30.0).abs() < 1e-9);
    assert_eq!(found.place, Place::AtOrBelowRefill);
    assert!(found.below_refill > 0.7 && found.below_refill < 0.9);
    assert_eq!(of(500.0, &line(1.0), None).unwrap().place, Place::InTheBand);
    assert_eq!(
        of(440.0, &line(1.0), None).unwrap().place,
        Place::AtOrAboveStop
    );
}

#[test]
fn at_the_refill_count_the_chance_is_even() {
    let found = of(530.0, &line(1.0), None).unwrap();
    assert!(
        (found.below_refill - 0.5).abs() < 1e-6,
        "{}",
        found.below_refill
    );
}

#[test]
fn a_raw_count_means_more_than_one_water_content_over_a_day() {
    let mut warm = line(1.0);
    warm.temperature = Some(TemperatureTerm {
        reference: Celsius::new(20.0).unwrap(),
        coefficient: 2.0,
    });
    // Read at 25 C: 10 counts less at 20 C; 2.5 C to either side are 5 counts.
    let found = of(510.0, &warm, Some(25.0)).unwrap();
    assert_eq!(found.count_at_reference, 500.0);
    let (low, high) = found.over_a_day.theta_v.unwrap();
    assert!((low - 0.245).abs() < 1e-9 && (high - 0.255).abs() < 1e-9);
    let unknown = of(510.0, &line(1.0), None).unwrap().over_a_day;
    assert_eq!(
        (unknown.theta_v, unknown.basis),
        (None, TemperatureBasis::Unknown)
    );
}

#[test]
fn a_count_that_was_not_calibrated_means_nothing() {
    assert!(matches!(
        of(720.0, &line(1.0), None),
        Err(IrrigationError::Convert(_))
    ));
}
