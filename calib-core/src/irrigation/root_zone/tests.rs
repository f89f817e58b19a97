//! Weights and set points of root zones made by hand.

use super::super::example::{line, soil};
use super::*;
use crate::quantity::Fraction;
use proptest::prelude::*;

fn depth(mm: f64) -> Millimetre {
    Millimetre::new(mm).unwrap()
}

fn demand(depletion: f64) -> Demand {
    Demand {
        allowed_depletion: Fraction::new(depletion).unwrap(),
        root_depth: depth(400.0),
    }
}

fn layer<'a>(mm: f64, calibration: &'a Calibration, water: SoilWater) -> Layer<'a> {
    Layer {
        depth: depth(mm),
        calibration,
        water,
        day: DayOfReadings::default(),
    }
}

fn named(name: &str, noise: f64) -> Calibration {
    Calibration {
        probe: name.into(),
        ..line(noise)
    }
}

#[test]
fn each_probe_weighs_the_slice_nearest_to_it() {
    // Borders at 150 and 275 mm of 400: 150, 125 and 125 mm, in any order.
    let found = weights(
        &[
            ("c", depth(350.0)),
            ("a", depth(100.0)),
            ("b", depth(200.0)),
        ],
        depth(400.0),
        Weighting::Slices,
    )
    .unwrap();
    for (weight, by_hand) in found.iter().zip([125.0, 150.0, 125.0]) {
        assert!((weight - by_hand / 400.0).abs() < 1e-12);
    }
    // By uptake, quarters of 100 mm: 40 and half of 30 % down to 150 mm; the other
    // half and three quarters of 20 % down to 275 mm; the rest below.
    let uptake = weights(
        &[
            ("c", depth(350.0)),
            ("a", depth(100.0)),
            ("b", depth(200.0)),
        ],
        depth(400.0),
        Weighting::RootUptake,
    )
    .unwrap();
    for (weight, by_hand) in uptake.iter().zip([0.05 + 0.10, 0.40 + 0.15, 0.15 + 0.15]) {
        assert!((weight - by_hand).abs() < 1e-12, "{uptake:?}");
    }
}

#[test]
fn a_probe_below_the_roots_does_not_count() {
    let (near, deep) = (depth(100.0), depth(450.0));
    let found = weights(
        &[("deep", deep), ("near", near)],
        depth(400.0),
        Weighting::Slices,
    );
    assert_eq!(found.unwrap(), [0.0, 1.0]);
    // Nor does it matter what it was calibrated for.
    let (a, mut wet_only) = (named("a", 1.0), named("b", 1.0));
    wet_only.domain.high = 500.0;
    let water = soil(0.3, 0.1);
    let alone = [layer(100.0, &a, water)];
    let both = [layer(450.0, &wet_only, soil(0.4, 0.3)), alone[0]];
    let by_hand = root_zone(&alone, &demand(0.4), Weighting::Slices).unwrap();
    let mut found = root_zone(&both, &demand(0.4), Weighting::Slices).unwrap();
    let below = std::mem::take(&mut found.below_roots);
    assert_eq!(found, by_hand);
    assert_eq!((below.len(), below[0].probe.as_str()), (1, "b"));
}

#[test]
fn a_bed_with_all_probes_below_the_roots_or_two_at_one_depth_is_refused() {
    let below = weights(&[("deep", depth(450.0))], depth(400.0), Weighting::Slices);
    assert_eq!(
        below.unwrap_err().to_string(),
        "no probe lies within the 400 mm of roots: the least deep, deep, lies 450 mm deep"
    );
    let twice = [("a", depth(200.0)), ("b", depth(200.0))];
    let error = weights(&twice, depth(400.0), Weighting::Slices).unwrap_err();
    assert_eq!(error.to_string(), "probes a and b both lie 200 mm deep");
    let none = weights(&[], depth(400.0), Weighting::Slices);
    assert_eq!(none, Err(IrrigationError::NoProbe));
}

#[test]
fn layers_of_two_soils_make_one_root_zone() {
    let (upper, lower) = (named("upper", 1.0), named("lower", 1.0));
    // 0 to 200 and 200 to 400 mm. FC 0.25, WP 0.10; refill 0.25 - 0.4 x 0.15.
    let layers = [
        layer(300.0, &lower, soil(0.3, 0.1)),
        layer(100.0, &upper, soil(0.2, 0.1)),
    ];
    let found = root_zone(&layers, &demand(0.4), Weighting::Slices).unwrap();
    assert!((found.water.field_capacity.value.value() - 0.25).abs() < 1e-12);
    assert_eq!(found.layers[0].probe, "upper");
    // Upper 0.2 to 0.16, lower 0.3 to 0.22, to whole counts on the dry side.
    assert_eq!(
        (found.layers[0].stop_count, found.layers[0].refill_count),
        (550.0, 590.0)
    );
    assert_eq!(
        (found.layers[1].stop_count, found.layers[1].refill_count),
        (450.0, 530.0)
    );
    assert!((found.stop.left.theta_v.value - 0.25).abs() < 1e-9);
    assert!((found.refill.left.theta_v.value - 0.19).abs() < 1e-9);
    assert!((found.net_depth.value() - 24.0).abs() < 1e-6);
    assert_eq!(found.governor, DeadBandGovernor::AllowedDepletion);
}

#[test]
fn what_probes_err_alone_shrinks_and_what_they_share_does_not() {
    let (a, b) = (named("a", 1.0), named("b", 1.0));
    let water = soil(0.3, 0.1);
    let layers = [layer(100.0, &a, water), layer(300.0, &b, water)];
    let found = root_zone(&layers, &demand(0.4), Weighting::Slices).unwrap();
    // The same soil twice is that soil.
    assert!((found.water.field_capacity.u - water.field_capacity.u).abs() < 1e-12);
    assert!((found.water.correlation - water.correlation).abs() < 1e-12);
    let budget = a.predict(450.0, None).unwrap().budget;
    let own = budget.only(|s| s != Source::CoreVolume).standard();
    let ring = budget.only(|s| s == Source::CoreVolume).standard();
    let by_hand = (own / 2.0_f64.sqrt()).hypot(ring);
    assert!((found.stop.left.theta_v.u - by_hand).abs() < 1e-12);
    assert!((found.stop.combined_u - by_hand.hypot(0.03)).abs() < 1e-9);
}

#[test]
fn noisy_probes_widen_the_band_of_their_root_zone_too() {
    let (a, b) = (named("a", 15.0), named("b", 15.0));
    let water = soil(0.3, 0.1);
    let layers = [layer(100.0, &a, water), layer(300.0, &b, water)];
    let found = root_zone(&layers, &demand(0.2), Weighting::Slices).unwrap();
    assert_eq!(found.governor, DeadBandGovernor::ProbeResolution);
    let band = found.stop.left.theta_v.value - found.refill.left.theta_v.value;
    assert!(band >= found.least_band, "{band} {}", found.least_band);
    assert!(
        band < found.least_band + 0.004,
        "{band} {}",
        found.least_band
    );
    // Two probes' noise is less than one's.
    let alone = least_band(&a, 450.0, &DayOfReadings::default()).counts() * 0.001;
    assert!(found.least_band < 0.8 * alone);
}

#[test]
fn a_set_point_one_probe_was_not_calibrated_for_names_the_probe() {
    let a = named("a", 1.0);
    let mut wet_only = named("b", 1.0);
    wet_only.domain.high = 500.0;
    let water = soil(0.3, 0.1);
    let layers = [layer(100.0, &a, water), layer(300.0, &wet_only, water)];
    let error = root_zone(&layers, &demand(0.4), Weighting::Slices).unwrap_err();
    assert!(
        error
            .to_string()
            .starts_with("probe b: the refill point 0.220 m3/m3 lies beyond the dry end"),
        "{error}"
    );
    assert!(error.mend().starts_with("take drier cores"));
}

proptest! {
    #[test]
    fn weights_add_up_to_one(
        depths in prop::collection::btree_set(1_u32..1000, 1..6), roots in 1000_u32..2000,
        uptake in any::<bool>(),
    ) {
        let weighting = if uptake { Weighting::RootUptake } else { Weighting::Slices };
        let probes: Vec<(&str, Millimetre)> =
            depths.iter().map(|mm| ("p", depth(f64::from(*mm)))).collect();
        let found = weights(&probes, depth(f64::from(roots)), weighting).unwrap();
        prop_assert!((found.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        prop_assert!(found.iter().all(|w| *w > 0.0));
    }
}
