//! The risk against closed forms where one thing alone is unknown, and its ways
//! where several are.

use super::*;
use crate::calibration::ReadingNoise;
use crate::irrigation::example;
use proptest::prelude::*;
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Field capacity 0.30, wilting point 0.10: with 40 % allowed the limit is 0.22.
const CAPACITY: f64 = 0.30;
const WILTING: f64 = 0.10;
const ALLOWED: f64 = 0.4;
const LIMIT: f64 = 0.22;

/// Three standard errors of a probability near one half from 200 000 draws, and a
/// little for the readings' places in the band.
const CHANCE: f64 = 0.004;

/// 0.45 m3/m3 at 300 counts to 0.05 m3/m3 at 700, cores scattered by `scatter`.
/// All else is known but the rounding of a reading, 0.0003 m3/m3.
fn line(scatter: f64) -> Calibration {
    Calibration {
        covariance: vec![vec![0.0; 2]; 2],
        core_scatter: scatter,
        degrees_of_freedom: 1e6,
        relative_volume_u: 0.0,
        noise: ReadingNoise {
            standard_deviation: 0.0,
            degrees_of_freedom: 1e6,
        },
        temperature_u: 0.0,
        ..example::line(0.0)
    }
}

fn soil(capacity_u: f64, wilting_u: f64, correlation: f64) -> SoilWater {
    let estimate = |value: f64, u: f64| Estimate::new(Vwc::new(value).unwrap(), u);
    SoilWater {
        field_capacity: estimate(CAPACITY, capacity_u),
        wilting_point: estimate(WILTING, wilting_u),
        correlation,
    }
}

fn found(scatter: f64, water: &SoilWater, u: f64, refill: f64) -> Risk {
    let vwc = |theta: f64| Vwc::new(theta).unwrap();
    let allowed = Fraction::new(ALLOWED).unwrap();
    let band = (vwc(refill), vwc(CAPACITY));
    risk(&line(scatter), water, allowed, u, band, 1).unwrap()
}

fn phi(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Mean of Phi(-x / u) for x from `from` to `to`.
fn mean_below(from: f64, to: f64, u: f64) -> f64 {
    let integral = |z: f64| z * phi(-z) - Normal::standard().pdf(z);
    u / (to - from) * (integral(to / u) - integral(from / u))
}

#[test]
fn with_one_thing_unknown_the_probability_is_that_of_the_normal_distribution() {
    let water = soil(0.03, 0.02, 0.5);
    let cases = [
        (
            Origin::SoilWater,
            0.0,
            water,
            0.0,
            water.depleted_by(ALLOWED).u,
        ),
        (Origin::Calibration, 0.02, soil(0.0, 0.0, 0.0), 0.0, 0.02),
        (Origin::Crop, 0.0, soil(0.0, 0.0, 0.0), 0.08, 0.08 * 0.2),
    ];
    for (origin, scatter, water, allowed_u, u) in cases {
        for above in [0.0, 0.01, 0.03] {
            let got = found(scatter, &water, allowed_u, LIMIT + above);
            let expected = phi(-above / u);
            assert!(
                (got.now.at_refill - expected).abs() < CHANCE,
                "{origin}, {above} above\nexpected {expected}\n     got {}",
                got.now.at_refill
            );
            let expected = mean_below(above, CAPACITY - LIMIT, u);
            assert!(
                (got.now.in_band - expected).abs() < CHANCE,
                "{origin}, {above} above, band\nexpected {expected}\n     got {}",
                got.now.in_band
            );
            let first = &got.contributors[0];
            assert_eq!(first.origin, origin);
            assert!(first.variance_share > 0.999);
            assert!((first.u / u - 1.0).abs() < 0.01, "{origin}: {}", first.u);
        }
    }
}

#[test]
fn at_the_refill_point_it_should_have_the_soil_is_as_likely_below_as_above() {
    let got = found(0.015, &soil(0.03, 0.02, 0.7), ALLOWED_DEPLETION_U, LIMIT);
    // The product of p and FC - WP bends the limit a little.
    assert!((got.now.at_refill - 0.5).abs() < 0.01, "{got:?}");
    for one in &got.contributors {
        assert!((one.if_known.at_refill - 0.5).abs() < 0.01, "{one:?}");
        assert!(one.if_known.in_band < got.now.in_band);
    }
}

#[test]
fn with_the_calibration_alone_unknown_the_depletion_is_the_normal_quantile() {
    let got = found(0.02, &soil(0.0, 0.0, 0.0), 0.0, LIMIT);
    let quantile = Normal::standard().inverse_cdf(NOT_EXCEEDED);
    let expected = ALLOWED + quantile * 0.02 / (CAPACITY - WILTING);
    assert!((got.now.depletion - expected).abs() < 0.002, "{got:?}");
    let known = got.contributors[0].if_known;
    assert!((known.depletion - ALLOWED).abs() < 1e-9, "{known:?}");
}

#[test]
fn shares_of_the_variance_are_those_of_first_order() {
    let water = soil(0.02, 0.015, -0.3);
    let got = found(0.012, &water, 0.05, LIMIT);
    let squares = [
        (Origin::Calibration, 0.012_f64.powi(2)),
        (Origin::SoilWater, water.depleted_by(ALLOWED).u.powi(2)),
        (Origin::Crop, (0.05_f64 * 0.2).powi(2)),
    ];
    let whole: f64 = squares.iter().map(|(_, square)| square).sum();
    for (origin, square) in squares {
        let one = got
            .contributors
            .iter()
            .find(|c| c.origin == origin)
            .unwrap();
        assert!(
            (one.variance_share - square / whole).abs() < 0.01,
            "{one:?}"
        );
    }
    let shares: Vec<f64> = got.contributors.iter().map(|c| c.variance_share).collect();
    assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    assert!(shares.is_sorted_by(|a, b| a >= b));
}

#[test]
fn a_measured_field_capacity_is_drawn_as_if_it_had_been_known_so_from_the_start() {
    let got = found(0.01, &soil(0.05, 0.02, 0.6), 0.05, LIMIT);
    let measured = found(0.01, &soil(MEASURED_SOIL_WATER_U, 0.02, 0.0), 0.05, LIMIT);
    let promised = got.with_field_capacity_measured.unwrap();
    assert!((promised.in_band - measured.now.in_band).abs() < CHANCE);
    assert!((promised.depletion - measured.now.depletion).abs() < 0.01);
    assert_eq!(measured.with_field_capacity_measured, None);
    assert_eq!(got.with_wilting_point_measured, None);
    assert_eq!(got.helps_most(), Some((Help::FieldCapacity, promised)));
}

#[test]
fn with_field_capacity_known_a_doubtful_wilting_point_is_what_to_measure() {
    let got = found(0.005, &soil(0.01, 0.06, 0.0), 0.02, LIMIT);
    let (help, left) = got.helps_most().unwrap();
    assert_eq!(help, Help::WiltingPoint);
    let measured = found(0.005, &soil(0.01, MEASURED_SOIL_WATER_U, 0.0), 0.02, LIMIT);
    assert!((left.in_band - measured.now.in_band).abs() < CHANCE);
}

#[test]
fn what_helps_most_is_what_lowers_it_most_and_nothing_where_nothing_does() {
    // A poor probe in a well-known soil.
    let got = found(0.04, &soil(0.01, 0.01, 0.0), 0.02, LIMIT);
    let (help, left) = got.helps_most().unwrap();
    assert_eq!(help, Help::Calibration);
    assert!(left.in_band < 0.5 * got.now.in_band);
    // Refill far below what the crop allows: the soil is too dry, known or not.
    let low = found(0.005, &soil(0.005, 0.005, 0.0), 0.01, 0.13);
    assert!(low.now.at_refill > 0.999);
    let (_, left) = low.helps_most().unwrap_or((Help::Calibration, low.now));
    assert!((left.in_band - low.now.in_band).abs() < 0.01);
}

#[test]
fn the_same_seed_gives_the_same_answer_and_chance_is_as_small_as_stated() {
    let water = soil(0.03, 0.02, 0.5);
    let of = |seed| {
        risk(
            &line(0.01),
            &water,
            Fraction::new(ALLOWED).unwrap(),
            0.05,
            (Vwc::new(LIMIT).unwrap(), Vwc::new(CAPACITY).unwrap()),
            seed,
        )
        .unwrap()
    };
    assert_eq!(of(7), of(7));
    let answers: Vec<Risk> = (1..=6).map(of).collect();
    assert!(answers[0].numerical < 0.005, "{}", answers[0].numerical);
    for pair in answers.windows(2) {
        let apart = (pair[0].now.in_band - pair[1].now.in_band).abs();
        assert!(apart > 0.0 && apart < 2.0 * pair[0].numerical, "{apart}");
    }
}

#[test]
fn tables_that_leave_the_available_water_in_doubt_still_give_figures() {
    let got = found(0.02, &soil(0.12, 0.10, -0.9), 0.3, LIMIT);
    assert!(
        got.now.depletion.is_finite() && got.now.at_refill < 1.0,
        "{got:?}"
    );
}

#[test]
fn a_refill_below_the_crops_limit_and_figures_that_may_stand_upside_down_are_told_of() {
    // 0.2 between the two, known to 0.1: Phi(-2) = 0.0228. To 0.2: Phi(-1) = 0.1587.
    let sound = found(0.006, &soil(0.06, 0.08, 0.0), 0.05, LIMIT);
    assert!((sound.upside_down - 0.022_750).abs() < 1e-5, "{sound:?}");
    assert!(!sound.is_rough() && !sound.refill_is_too_dry());
    assert!((sound.depletion_at_refill - ALLOWED).abs() < 1e-9);
    let rough = found(0.006, &soil(0.12, 0.16, 0.0), 0.05, 0.20);
    assert!((rough.upside_down - 0.158_655).abs() < 1e-5);
    assert!(rough.is_rough() && rough.refill_is_too_dry());
}

#[test]
fn what_cannot_be_reckoned_is_refused() {
    let vwc = |theta: f64| Vwc::new(theta).unwrap();
    let of = |calibration: &Calibration, u: f64, refill: f64| {
        let allowed = Fraction::new(ALLOWED).unwrap();
        let band = (vwc(refill), vwc(CAPACITY));
        risk(calibration, &soil(0.03, 0.02, 0.5), allowed, u, band, 1)
    };
    for u in [-0.1, 1.1, f64::NAN] {
        assert!(matches!(
            of(&line(0.01), u, LIMIT),
            Err(IrrigationError::DepletionUncertainty { .. })
        ));
    }
    assert!(matches!(
        of(&line(0.01), 0.05, 0.02),
        Err(IrrigationError::Curve(_))
    ));
    let mut damaged = line(0.01);
    damaged.covariance = vec![vec![-1.0, 0.0], vec![0.0, 0.0]];
    assert!(matches!(
        of(&damaged, 0.05, LIMIT),
        Err(IrrigationError::Propagation(_))
    ));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    /// Above the limit, the less is known the likelier the soil lies below it.
    #[test]
    fn the_less_is_known_the_greater_the_risk(
        scatter in 0.004..0.02_f64, capacity_u in 0.005..0.03_f64,
        wilting_u in 0.005..0.02_f64, allowed_u in 0.01..0.08_f64,
        above in 0.005..0.04_f64, which in 0..3_usize,
    ) {
        let of = |factor: [f64; 3]| {
            let water = soil(factor[1] * capacity_u, factor[1] * wilting_u, 0.3);
            found(factor[0] * scatter, &water, factor[2] * allowed_u, LIMIT + above)
        };
        let mut worse = [1.0; 3];
        worse[which] = 2.0;
        let (now, then) = (of([1.0; 3]), of(worse));
        let hair = now.numerical;
        prop_assert!(then.now.at_refill > now.now.at_refill - hair);
        prop_assert!(then.now.in_band > now.now.in_band - hair);
        prop_assert!(then.now.at_refill < 0.5 + hair);
        let origin = Origin::ALL[which];
        let share = |risk: &Risk| {
            risk.contributors.iter().find(|c| c.origin == origin).unwrap().variance_share
        };
        prop_assert!(share(&then) > share(&now));
    }
}
