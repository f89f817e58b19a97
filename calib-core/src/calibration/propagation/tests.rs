use super::*;
use crate::calibration::{Direction, Domain, ReadingNoise};
use crate::curve::{Axis, Curve, CurveKind};
use crate::fit::Rival;
use crate::temperature::TemperatureTerm;
use crate::uncertainty::Source;
use proptest::prelude::*;

/// Small against every interval here.
const FINE: f64 = 1e-4;

fn celsius(value: f64) -> Option<Celsius> {
    Celsius::new(value).ok()
}

/// A bent curve with a temperature term and a scatter known badly.
fn bent() -> Calibration {
    let draw = |weight, scatter, covariance_scale| ScatterDraw {
        weight,
        scatter,
        covariance_scale,
    };
    Calibration {
        probe: "p".into(),
        soil: "s".into(),
        adc_bits: 10,
        curve: Curve {
            kind: CurveKind::Exponential,
            axis: Axis {
                origin: 500.0,
                unit: 180.0,
            },
            parameters: vec![0.16, -0.12, -1.1],
        },
        temperature: Some(TemperatureTerm {
            reference: Celsius::new(19.0).expect("a temperature"),
            coefficient: 0.8,
        }),
        domain: Domain {
            low: 330.0,
            high: 690.0,
        },
        temperature_range: Some((8.0, 29.0)),
        covariance: vec![
            vec![4.0e-6, -1.0e-6, 4.0e-5, 0.0],
            vec![-1.0e-6, 9.0e-6, -1.0e-4, 0.0],
            vec![4.0e-5, -1.0e-4, 3.0e-3, 0.0],
            vec![0.0, 0.0, 0.0, 0.012],
        ],
        covariance_parts: Vec::new(),
        core_scatter: 0.006,
        scatter_draws: vec![
            draw(0.1, 0.012, 3.0),
            draw(0.3, 0.008, 1.6),
            draw(0.4, 0.005, 0.8),
            draw(0.2, 0.002, 0.4),
        ],
        rivals: Vec::new(),
        degrees_of_freedom: 12.0,
        relative_volume_u: 0.008,
        noise: ReadingNoise {
            standard_deviation: 1.6,
            degrees_of_freedom: 200.0,
        },
        temperature_u: 0.4,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction: Direction::FallsWhenWetter,
        cores: 16,
    }
}

/// A straight line on which every source matters about alike.
fn line() -> Calibration {
    let mut line = bent();
    line.curve.kind = CurveKind::StraightLine;
    line.curve.parameters = vec![0.2, -0.15];
    line.covariance = vec![
        vec![4.0e-6, 1.0e-6, 0.0],
        vec![1.0e-6, 9.0e-6, 0.0],
        vec![0.0, 0.0, 0.012],
    ];
    line.relative_volume_u = 0.01;
    line.temperature_u = 2.0;
    line.supply_relative_u = 0.004;
    line.probe_to_probe = 3.0;
    line
}

fn rival(weight: f64, above: f64) -> Rival {
    let mut curve = line().curve;
    curve.parameters[0] += above;
    Rival {
        weight,
        curve,
        temperature: line().temperature,
        covariance: line().covariance,
        core_scatter: line().core_scatter,
    }
}

/// Half widths, first order and drawn to `tolerance`.
fn both(calibration: &Calibration, count: f64, at: f64, tolerance: f64) -> (f64, f64) {
    let first_order = calibration.predict(count, celsius(at)).unwrap();
    let settings = MonteCarlo::to_tolerance(tolerance);
    let drawn = calibration
        .propagate(count, celsius(at), &settings)
        .unwrap();
    assert!(drawn.settled, "{drawn:?}");
    (
        first_order.expanded.expanded,
        0.5 * (drawn.high - drawn.low),
    )
}

#[test]
fn propagated_distributions_give_the_same_interval() {
    let calibration = bent();
    for (count, at) in [(380.0, 12.0), (500.0, 19.0), (650.0, 27.0)] {
        let (first_order, drawn) = both(&calibration, count, at, FINE);
        // The curve is bent, so first order differs a little.
        assert!(
            (first_order / drawn - 1.0).abs() < 0.02,
            "{count} counts at {at} C: {first_order} by JCGM 100, {drawn} by JCGM 101"
        );
    }
}

#[test]
fn one_source_alone_is_drawn_as_large_as_first_order_has_it() {
    let mut still = line();
    still.covariance = vec![vec![0.0; 3]; 3];
    still.core_scatter = 0.0;
    still.scatter_draws.clear();
    still.degrees_of_freedom = f64::INFINITY;
    still.noise.standard_deviation = 0.0;
    still.relative_volume_u = 0.0;
    still.temperature_u = 0.0;
    still.supply_relative_u = 0.0;
    still.probe_to_probe = 0.0;
    let with = |change: fn(&mut Calibration)| {
        let mut calibration = still.clone();
        change(&mut calibration);
        calibration
    };
    let cases: [(Source, Calibration); 9] = [
        (Source::Quantisation, still.clone()),
        (
            Source::CurveParameters,
            with(|c| c.covariance = line().covariance),
        ),
        (Source::CoreScatter, with(|c| c.core_scatter = 0.006)),
        (
            Source::CurveChoice,
            with(|c| {
                c.rivals = vec![Rival {
                    covariance: vec![vec![0.0; 3]; 3],
                    core_scatter: 0.0,
                    ..rival(0.3, 0.02)
                }];
            }),
        ),
        (Source::CoreVolume, with(|c| c.relative_volume_u = 0.03)),
        (
            Source::ReadingNoise,
            with(|c| c.noise.standard_deviation = 7.0),
        ),
        (Source::TemperatureSensor, with(|c| c.temperature_u = 8.0)),
        (
            Source::SupplyReference,
            with(|c| c.supply_relative_u = 0.02),
        ),
        (Source::ProbeToProbe, with(|c| c.probe_to_probe = 9.0)),
    ];
    let settings = MonteCarlo::to_tolerance(2e-5);
    for (source, calibration) in cases {
        let predicted = calibration.predict(450.0, celsius(25.0)).unwrap();
        let budget = &predicted.budget;
        let drawn = calibration
            .propagate(450.0, celsius(25.0), &settings)
            .unwrap();
        let alone = budget.only(|s| s == source).standard();
        let rest = budget
            .only(|s| s != source && s != Source::Quantisation)
            .standard();
        assert!(alone > 1e-4 && rest == 0.0, "{source}: {budget:?}");
        // A rival lies to one side, so what first order gives as a mean square
        // distance is a shift and a spread to the draws.
        let off = f64::hypot(drawn.standard, drawn.estimate - predicted.theta_v.value());
        assert!(
            (off / predicted.expanded.standard - 1.0).abs() < 0.01,
            "{source}: {off} {}",
            predicted.expanded.standard
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// First order is exact for sums; here only products of small errors are
    /// left out.
    #[test]
    fn first_order_and_draws_agree_on_a_straight_line_with_all_sources(
        intercept in 0.15..0.3_f64,
        slope in prop::sample::select(vec![-0.18, -0.1, 0.1, 0.18]),
        (u_intercept, u_slope) in (0.0..0.004_f64, 0.0..0.004_f64),
        correlation in -0.95..0.95_f64,
        scatter in 0.0..0.008_f64,
        noise in 0.0..4.0_f64,
        supply in 0.0..0.005_f64,
        probes in 0.0..6.0_f64,
        count in 400.0..620.0_f64,
        at in 10.0..28.0_f64,
    ) {
        let mut calibration = line();
        calibration.curve.parameters = vec![intercept, slope];
        let covariance = correlation * u_intercept * u_slope;
        calibration.covariance = vec![
            vec![u_intercept * u_intercept, covariance, 0.0],
            vec![covariance, u_slope * u_slope, 0.0],
            vec![0.0, 0.0, 0.004],
        ];
        for draw in &mut calibration.scatter_draws {
            draw.scatter *= scatter / 0.006;
        }
        calibration.core_scatter = scatter;
        calibration.noise.standard_deviation = noise;
        calibration.supply_relative_u = supply;
        calibration.probe_to_probe = probes;
        let predicted = calibration.predict(count, celsius(at)).unwrap();
        let (y, expanded) = (predicted.theta_v.value(), predicted.expanded.expanded);
        let settings = MonteCarlo::to_tolerance(FINE);
        let drawn = calibration.propagate(count, celsius(at), &settings).unwrap();
        let verdict = drawn.validate(y, expanded, 5e-4);
        prop_assert!(verdict.valid, "{verdict:?} of {expanded}");
    }
}

#[test]
fn a_rival_to_one_side_moves_the_drawn_interval_there() {
    let mut calibration = line();
    calibration.rivals = vec![rival(0.4, 0.03)];
    let predicted = calibration.predict(500.0, celsius(19.0)).unwrap();
    let drawn = calibration
        .propagate(500.0, celsius(19.0), &MonteCarlo::to_tolerance(FINE))
        .unwrap();
    let shift = drawn.estimate - predicted.theta_v.value();
    assert!((shift - 0.4 * 0.03).abs() < 2e-4, "{shift}");
    let verdict = drawn.validate(predicted.theta_v.value(), predicted.expanded.expanded, 5e-4);
    assert!(!verdict.valid);
}

#[test]
fn without_scatter_draws_the_interval_is_that_of_student() {
    let mut calibration = line();
    calibration.scatter_draws.clear();
    calibration.core_scatter = 0.02;
    calibration.degrees_of_freedom = 6.0;
    // Few degrees of freedom have long tails, and those settle slowly.
    let (first_order, drawn) = both(&calibration, 500.0, 19.0, 4e-4);
    assert!(
        (first_order / drawn - 1.0).abs() < 0.02,
        "{first_order} {drawn}"
    );
}

#[test]
fn the_same_seed_gives_the_same_draws_on_any_number_of_threads() {
    let calibration = bent();
    let on = |threads: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap()
            .install(|| {
                calibration
                    .propagate(500.0, celsius(19.0), &MonteCarlo::to_tolerance(FINE))
                    .unwrap()
            })
    };
    let alone = on(1);
    assert_eq!(alone, on(2));
    assert_eq!(alone, on(5));
}

#[test]
fn a_covariance_that_is_none_is_an_error() {
    let fault = |covariance: Vec<Vec<f64>>| {
        let mut calibration = line();
        calibration.covariance = covariance;
        let settings = MonteCarlo::to_tolerance(FINE);
        match calibration.propagate(500.0, celsius(19.0), &settings) {
            Err(PropagationError::NotACovariance { fault }) => fault,
            other => panic!("{other:?}"),
        }
    };
    let of = |variance: f64, covariance: f64| {
        vec![
            vec![variance, covariance, 0.0],
            vec![covariance, 1e-6, 0.0],
            vec![0.0, 0.0, 0.01],
        ]
    };
    assert_eq!(fault(of(1e-6, 2e-6)), "it is not positive semi-definite");
    assert_eq!(fault(of(-1e-6, 0.0)), "a variance is negative");
    assert_eq!(fault(of(f64::NAN, 0.0)), "it holds what is no number");
    assert_eq!(
        fault(of(0.0, 1e-9)),
        "a parameter without variance has a covariance"
    );
    assert_eq!(
        fault(vec![vec![1e-6; 3]; 2]),
        "it has too few rows or columns"
    );
    let mut lopsided = of(1e-6, 5e-7);
    lopsided[0][1] = 0.0;
    assert_eq!(fault(lopsided), "it is not symmetric");
}

#[test]
fn a_reading_without_an_answer_is_refused_as_by_first_order() {
    let settings = MonteCarlo::to_tolerance(FINE);
    let refused = line().propagate(900.0, celsius(19.0), &settings);
    assert!(matches!(
        refused,
        Err(PropagationError::Convert(
            ConvertError::OutsideDomain { .. }
        ))
    ));
    assert_eq!(
        line().propagate(500.0, None, &settings),
        Err(ConvertError::TemperatureMissing.into())
    );
}

#[test]
fn a_curve_that_ends_among_the_draws_is_an_error_and_no_number() {
    let mut calibration = bent();
    calibration.temperature = None;
    calibration.curve.kind = CurveKind::Power;
    calibration.curve.axis = Axis {
        origin: 500.0,
        unit: 500.0,
    };
    calibration.curve.parameters = vec![0.2, -0.15, 0.5];
    calibration.domain = Domain {
        low: 1.0,
        high: 690.0,
    };
    calibration.noise.standard_deviation = 4.0;
    let settings = MonteCarlo::to_tolerance(FINE);
    assert!(matches!(
        calibration.propagate(2.0, None, &settings),
        Err(PropagationError::Draws(MonteCarloError::NoValue { .. }))
    ));
}
