//! Set points on calibrations made by hand.

use super::super::example::{calibration, line, soil};
use super::*;
use crate::calibration::{Direction, Domain};
use crate::curve::{Curve, CurveKind};
use crate::temperature::TemperatureTerm;
use proptest::prelude::*;

/// The same line with counts that rise as the soil gets wetter.
fn rising_line(noise: f64) -> Calibration {
    let mut rising = line(noise);
    rising.curve.parameters[1] = 0.2;
    rising.direction = Direction::RisesWhenWetter;
    rising
}

/// Read once a minute, one false start in a hundred days, no drift.
fn set_points(
    water: &SoilWater,
    demand: &Demand,
    calibration: &Calibration,
) -> Result<SetPointEvidence, IrrigationError> {
    super::set_points(water, demand, calibration, &DayOfReadings::default())
}

fn demand(depletion: f64) -> Demand {
    Demand {
        allowed_depletion: Fraction::new(depletion).unwrap(),
        root_depth: Millimetre::new(300.0).unwrap(),
    }
}

#[test]
fn refill_lies_the_allowed_depletion_below_field_capacity() {
    // FC - 0.4 (FC - WP) = 0.3005 - 0.4 x 0.2 = 0.2205; stop is the first
    // whole count not above 0.3005: 450, 0.300; refill 530, 0.220.
    let found = set_points(&soil(0.3005, 0.1005), &demand(0.4), &line(1.0)).unwrap();
    let set = &found.set_points;
    assert_eq!((set.stop_count, set.refill_count), (450.0, 530.0));
    assert!((set.stop.value() - 0.300).abs() < 1e-12);
    assert!((set.refill.value() - 0.220).abs() < 1e-12);
    assert!((set.net_depth.value() - 24.0).abs() < 1e-9);
    assert_eq!(set.governor, DeadBandGovernor::AllowedDepletion);
    assert!((found.depletion_band - 0.08).abs() < 1e-12);
}

#[test]
fn a_probe_whose_counts_rise_gets_the_mirror_image() {
    let found = set_points(&soil(0.3005, 0.1005), &demand(0.4), &rising_line(1.0)).unwrap();
    assert_eq!(found.set_points.stop_count, 550.0);
    assert_eq!(found.set_points.refill_count, 470.0);
}

#[test]
fn a_noisy_probe_widens_the_band_and_says_so() {
    let noisy = line(20.0);
    let found = set_points(&soil(0.3005, 0.1005), &demand(0.2), &noisy).unwrap();
    let set = &found.set_points;
    assert_eq!(set.governor, DeadBandGovernor::ProbeResolution);
    assert!((found.depletion_band - 0.04).abs() < 1e-12);
    // k sqrt(2) x 20.002 counts, k = 2.00 at 60 degrees of freedom: 56.6 counts.
    assert!((set.resolvable - 0.0566).abs() < 1e-4, "{}", set.resolvable);
    // A reading a minute asks for more than two readings do.
    let least = found.least_band.counts();
    assert_eq!(set.refill_count - set.stop_count, least.ceil());
    assert!(least > 100.0 && found.depletion_at_refill > 0.5, "{least}");
}

#[test]
fn a_probe_that_cannot_resolve_the_available_water_is_refused() {
    let error = set_points(&soil(0.3005, 0.2405), &demand(0.3), &line(30.0)).unwrap_err();
    assert!(matches!(
        error,
        IrrigationError::ReachesWiltingPoint {
            governor: DeadBandGovernor::ProbeResolution,
            ..
        }
    ));
    assert_eq!(
        error.to_string(),
        "the refill point 0.121 m3/m3 would reach the wilting point 0.240 m3/m3, set there by what the probe resolves"
    );
}

#[test]
fn full_depletion_reaches_the_wilting_point_and_is_refused() {
    let error = set_points(&soil(0.3005, 0.1005), &demand(1.0), &line(1.0)).unwrap_err();
    assert!(matches!(
        error,
        IrrigationError::ReachesWiltingPoint {
            governor: DeadBandGovernor::AllowedDepletion,
            ..
        }
    ));
    assert_eq!(error.mend(), "allow less depletion");
}

#[test]
fn a_set_point_beyond_the_cores_names_itself_the_range_and_the_mend() {
    let wet = set_points(&soil(0.47, 0.2), &demand(0.4), &line(1.0)).unwrap_err();
    assert_eq!(
        wet.to_string(),
        "the stop point 0.470 m3/m3 lies beyond the wet end of the calibrated 0.050 to 0.450 m3/m3; the curve is not extended"
    );
    assert!(wet.mend().starts_with("take wetter cores"));
    let dry = set_points(&soil(0.10, 0.02), &demand(0.8), &line(1.0)).unwrap_err();
    assert_eq!(
        dry.to_string(),
        "the refill point 0.036 m3/m3 lies beyond the dry end of the calibrated 0.050 to 0.450 m3/m3; the curve is not extended"
    );
    assert!(dry.mend().starts_with("take drier cores"));
}

#[test]
fn a_band_the_probe_needs_but_the_cores_do_not_cover_is_refused() {
    let error = set_points(&soil(0.10, 0.02), &demand(0.3), &line(25.0)).unwrap_err();
    assert!(
        matches!(error, IrrigationError::BandLeavesDomain { .. }),
        "{error}"
    );
    assert!(error.mend().starts_with("take drier cores"));
}

#[test]
fn a_whole_count_that_rounding_pushes_out_of_the_domain_is_refused() {
    let mut narrow = line(1.0);
    narrow.domain.high = 529.6;
    // Refill at 0.2205 - 0.0005 = 0.2200 is count 530, beyond 529.6.
    let error = set_points(&soil(0.3005, 0.1005), &demand(0.4), &narrow).unwrap_err();
    assert!(
        matches!(
            error,
            IrrigationError::OutsideDomain {
                set_point: SetPoint::Refill,
                end: DomainEnd::Dry,
                ..
            }
        ),
        "{error}"
    );
}

#[test]
fn no_depletion_at_all_leaves_what_the_probe_resolves() {
    let found = set_points(&soil(0.30, 0.10), &demand(0.0), &line(1.0)).unwrap();
    assert_eq!(found.set_points.governor, DeadBandGovernor::ProbeResolution);
    assert!(found.set_points.dead_band() >= found.set_points.resolvable);
}

#[test]
fn a_root_zone_without_depth_is_refused() {
    let rootless = Demand {
        root_depth: Millimetre::new(0.0).unwrap(),
        ..demand(0.4)
    };
    assert_eq!(
        set_points(&soil(0.3, 0.1), &rootless, &line(1.0)),
        Err(IrrigationError::NoRootZone)
    );
}

#[test]
fn both_budgets_hold_the_calibration_and_the_soil() {
    let found = set_points(&soil(0.30, 0.10), &demand(0.4), &line(1.0)).unwrap();
    for (budget, count, depletion) in [
        (&found.refill_budget, found.set_points.refill_count, 0.4),
        (&found.stop_budget, found.set_points.stop_count, 0.0),
    ] {
        let from_soil = budget.only(|source| source == Source::SoilWater).standard();
        let from_probe = budget.only(|source| source != Source::SoilWater).standard();
        let (capacity, wilting): (f64, f64) = ((1.0 - depletion) * 0.03, depletion * 0.02);
        let by_hand = (capacity * capacity + wilting * wilting + capacity * wilting).sqrt();
        // The set point is a whole count, up to two counts off the depletion.
        assert!((from_soil - by_hand).abs() < 3e-4, "{from_soil} {by_hand}");
        let predicted = line(1.0).predict(count, None).unwrap().expanded.standard;
        assert!((from_probe - predicted).abs() < 1e-12);
    }
}

#[test]
fn counts_hold_at_the_reference_temperature() {
    let mut warm = line(1.0);
    warm.temperature = Some(TemperatureTerm {
        reference: Celsius::new(20.0).unwrap(),
        coefficient: 0.5,
    });
    let found = set_points(&soil(0.3005, 0.1005), &demand(0.4), &warm).unwrap();
    assert_eq!(found.reference_temperature, Celsius::new(20.0).ok());
    assert_eq!(found.set_points.refill_count, 530.0);
    let sensor = |budget: &Budget| {
        budget
            .only(|source| source == Source::TemperatureSensor)
            .standard()
    };
    assert!(sensor(&found.refill_budget) > 0.0);
}

/// A monotone curve between two whole or broken counts, of any kind that is
/// monotone by construction, in either direction.
fn any_calibration() -> impl Strategy<Value = Calibration> {
    (
        prop::sample::select(vec![
            CurveKind::StraightLine,
            CurveKind::Hyperbolic,
            CurveKind::Quadratic,
            CurveKind::Exponential,
        ]),
        100.0..400.0_f64,
        30.0..3000.0_f64,
        0.02..0.15_f64,
        0.25..0.6_f64,
        -0.9..0.9_f64,
        any::<bool>(),
        0.0..40.0_f64,
    )
        .prop_map(|(kind, low, span, dry, wet, bend, falls, noise)| {
            let domain = Domain {
                low,
                high: low + span,
            };
            let axis = kind.model().axis(domain.low, domain.high);
            let (z_low, z_high) = (axis.z(domain.low), axis.z(domain.high));
            // A shape rising from z_low to z_high, then scaled to dry..wet.
            let shape = match kind {
                CurveKind::Hyperbolic => vec![0.0, -1.0],
                CurveKind::Quadratic => vec![0.0, 1.0, 0.45 * bend],
                CurveKind::Exponential => vec![0.0, 1.0, bend],
                _ => vec![0.0, 1.0],
            };
            let model = kind.model();
            let (from, to) = (model.value(z_low, &shape), model.value(z_high, &shape));
            let (at_low, at_high) = if falls { (wet, dry) } else { (dry, wet) };
            let scale = (at_high - at_low) / (to - from);
            let mut parameters = shape;
            parameters[0] = at_low - scale * from;
            parameters[1] *= scale;
            if kind == CurveKind::Quadratic {
                parameters[2] *= scale;
            }
            calibration(
                Curve {
                    kind,
                    axis,
                    parameters,
                },
                domain,
                noise,
            )
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]
    #[test]
    fn set_points_that_are_given_can_be_trusted(
        calibration in any_calibration(),
        wilting_point in 0.03..0.25_f64,
        available in 0.02..0.3_f64,
        depletion in 0.0..=1.0_f64,
    ) {
        let water = soil(wilting_point + available, wilting_point);
        let Ok(found) = set_points(&water, &demand(depletion), &calibration) else {
            return Ok(());
        };
        let set = &found.set_points;
        prop_assert!(set.refill < set.stop);
        prop_assert!(set.stop.value() <= water.field_capacity.value.value());
        prop_assert!(set.refill.value() > wilting_point);
        prop_assert!(set.dead_band() >= calibration.resolvable_change(set.refill_count));
        prop_assert!(set.dead_band() >= found.depletion_band - HAIR);
        prop_assert_eq!(set.refill_count.fract(), 0.0);
        prop_assert_eq!(set.stop_count.fract(), 0.0);
        for count in [set.refill_count, set.stop_count] {
            prop_assert!(calibration.domain.contains(count));
        }
        match calibration.direction {
            Direction::FallsWhenWetter => prop_assert!(set.refill_count > set.stop_count),
            Direction::RisesWhenWetter => prop_assert!(set.refill_count < set.stop_count),
        }
        prop_assert_eq!(calibration.curve.value(set.refill_count), set.refill.value());
        prop_assert_eq!(calibration.curve.value(set.stop_count), set.stop.value());
        // Refill is lowered no further than it must be.
        let wetter = if set.refill_count > set.stop_count { -1.0 } else { 1.0 };
        let before = set.refill_count + wetter;
        let band_before = set.stop.value() - calibration.curve.value(before);
        prop_assert!(
            band_before < calibration.resolvable_change(before)
                || (before - set.stop_count).abs() < found.least_band.counts()
                || band_before < found.depletion_band + HAIR
        );
        for budget in [&found.refill_budget, &found.stop_budget] {
            prop_assert!(budget.standard().is_finite() && budget.standard() > 0.0);
        }
    }

    #[test]
    fn most_sound_soils_do_get_set_points(
        calibration in any_calibration(), share in 0.3..0.6_f64,
    ) {
        // A soil in the middle of the calibrated range and a quiet, fine probe.
        let mut calibration = calibration;
        calibration.noise.standard_deviation = 0.1;
        prop_assume!(calibration.domain.high - calibration.domain.low > 200.0);
        let scale = Scale::of(&calibration);
        let (dry, wet) = scale.range;
        let water = soil(wet - 0.1 * (wet - dry), dry + 0.1 * (wet - dry));
        prop_assert!(set_points(&water, &demand(share), &calibration).is_ok());
    }
}
