use super::*;
use crate::calibration::Direction;
use crate::fit::Request;
use std::sync::atomic::{AtomicUsize, Ordering};

fn levels(number: usize) -> Vec<f64> {
    (0..number)
        .map(|i| 0.06 + 0.34 * i as f64 / (number - 1) as f64)
        .collect()
}

fn plan(number: usize, cores_per_level: usize) -> Sampling {
    Sampling {
        levels: levels(number),
        cores_per_level,
    }
}

fn settings(runs: usize) -> Settings {
    Settings {
        runs,
        seed: 7,
        request: Request::default(),
    }
}

fn falling() -> Truth {
    Truth::assumed(10, Direction::FallsWhenWetter)
}

fn quiet(_: usize) {}

/// A straight truth whose only error is the scatter of the cores, so that textbook
/// least squares says what the uncertainty must come to.
fn straight_and_quiet(scatter: f64) -> Truth {
    let mut truth = falling();
    truth.curve = TrueCurve {
        curve: crate::curve::Curve {
            kind: crate::curve::CurveKind::StraightLine,
            axis: crate::curve::Axis {
                origin: 500.0,
                unit: 200.0,
            },
            parameters: vec![0.23, -0.2],
        },
        domain: crate::calibration::Domain {
            low: 300.0,
            high: 700.0,
        },
    };
    Truth {
        temperature: None,
        soil_temperature_c: (18.0, 18.0),
        core_scatter: scatter,
        level_spread: 0.0,
        reference_u: 1e-5,
        relative_volume_u: 0.0,
        noise_counts: 0.0,
        ..truth
    }
}

#[test]
fn a_straight_line_comes_out_as_least_squares_have_it() {
    let truth = straight_and_quiet(0.01);
    let plan = plan(6, 2);
    let straight = Settings {
        request: Some(crate::curve::CurveKind::StraightLine).into(),
        ..settings(600)
    };
    let foretold = foretell(&truth, &plan, &plan.places(), &straight, &quiet).unwrap();
    let n = plan.cores() as f64;
    let mean = 0.23;
    let spread: f64 = plan.levels.iter().map(|l| 2.0 * (l - mean).powi(2)).sum();
    let t = crate::uncertainty::coverage_factor(0.95, Some(n - 2.0));
    for place in &foretold.places {
        let leverage = 1.0 / n + (place.theta_v - mean).powi(2) / spread;
        // The middle of s over sigma with ten degrees of freedom: sqrt(9.342/10), the
        // median of chi-square from a table (recalled from memory).
        let middle = 0.01 * (9.342_f64 / 10.0).sqrt();
        let expected = t * middle * (1.0 + leverage).sqrt();
        let found = place.expanded.unwrap();
        // Rounding to whole counts (0.001 m3/m3 each) and the level of the simulation.
        assert!(
            (found.median - expected).abs() < 3.0 * found.standard_error + 0.01 * expected,
            "{:?} {expected}",
            found
        );
        let curve_error = place.curve_error.unwrap();
        let expected = 0.01 * leverage.sqrt();
        // 600 squared normal errors fix their root mean square to 2.9 %; three of those.
        assert!(
            (curve_error / expected - 1.0).abs() < 0.09,
            "{curve_error} {expected}"
        );
    }
}

#[test]
fn a_new_reading_is_off_by_scatter_and_curve_together() {
    let truth = straight_and_quiet(0.01);
    let plan = plan(6, 2);
    let foretold = foretell(&truth, &plan, &plan.places(), &settings(400), &quiet).unwrap();
    for place in &foretold.places {
        let expected = 0.01_f64.hypot(place.curve_error.unwrap());
        let (error, u) = (place.error.unwrap(), place.error_standard_error.unwrap());
        // Rounding adds 0.0003 m3/m3 in squares.
        assert!((error - expected).abs() < 3.5 * u, "{error} {u} {expected}");
    }
}

#[test]
fn stated_intervals_hold_what_they_say_where_cores_are_many() {
    for truth in [falling(), Truth::assumed(12, Direction::RisesWhenWetter)] {
        let plan = plan(7, 3);
        let foretold = foretell(&truth, &plan, &plan.places(), &settings(400), &quiet).unwrap();
        assert_eq!(foretold.refused.share, 0.0);
        for place in &foretold.places {
            let held = place.held.unwrap();
            let off = (held.share - 0.95).abs();
            assert!(off < 3.5 * held.standard_error + 0.01, "{place:?}");
            // Never below what is left when everything is known, and with 21 cores not
            // half as much again.
            let ratio = place.expanded.unwrap().median / place.floor;
            assert!((1.0..1.5).contains(&ratio), "{place:?}");
        }
    }
}

#[test]
fn the_answer_is_the_same_on_one_thread_and_on_many() {
    let plan = plan(5, 2);
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| foretell(&falling(), &plan, &plan.places(), &settings(60), &quiet))
            .unwrap()
    };
    let one = run(1);
    assert_eq!(one, run(4));
    let other = Settings {
        seed: 8,
        ..settings(60)
    };
    assert_ne!(
        one,
        foretell(&falling(), &plan, &plan.places(), &other, &quiet).unwrap()
    );
}

#[test]
fn every_simulated_calibration_is_told_to_progress() {
    let done = AtomicUsize::new(0);
    let alternatives = Alternatives {
        other_levels: vec![4],
        most_cores_per_level: 2,
        ..Alternatives::around(&plan(5, 2))
    };
    let places = plan(5, 2).places();
    let count = |steps: usize| {
        done.fetch_add(steps, Ordering::Relaxed);
    };
    curve_of_cores(&falling(), &alternatives, &places, &settings(25), &count).unwrap();
    assert_eq!(done.into_inner(), 25 * alternatives.plans().len());
}

#[test]
fn more_cores_make_surer_and_the_last_pay_least() {
    let plan = plan(7, 3);
    let alternatives = Alternatives {
        other_levels: vec![],
        ..Alternatives::around(&plan)
    };
    let found = curve_of_cores(
        &falling(),
        &alternatives,
        &plan.places(),
        &settings(400),
        &quiet,
    )
    .unwrap();
    let middle = &found[1];
    assert_eq!(middle.place, PlaceName::Middle);
    let medians: Vec<f64> = middle
        .points
        .iter()
        .map(|p| p.expanded.unwrap().median)
        .collect();
    assert_eq!(medians.len(), MOST_CORES_PER_LEVEL);
    assert!(
        medians.windows(2).all(|pair| pair[1] < pair[0]),
        "{medians:?}"
    );
    assert!(medians.iter().all(|u| *u > middle.floor));
    assert!(middle.steps[0].pays && !middle.steps.last().unwrap().pays);
    let enough = middle.enough.unwrap();
    assert!((2..=4).contains(&enough), "{enough}");
    let planned: Vec<usize> = middle
        .points
        .iter()
        .filter(|p| p.planned)
        .map(|p| p.cores)
        .collect();
    assert_eq!(planned, [21]);
}

#[test]
fn a_plan_of_too_few_cores_says_that_the_fit_refuses() {
    let plan = plan(2, 1);
    let foretold = foretell(&falling(), &plan, &plan.places(), &settings(30), &quiet).unwrap();
    assert_eq!(foretold.refused.share, 1.0);
    assert!(foretold.refused_for.unwrap().contains("too few"));
    assert!(
        foretold
            .places
            .iter()
            .all(|p| p.expanded.is_none() && p.held.is_none())
    );
}

#[test]
fn a_place_beyond_the_levels_has_no_answer() {
    let plan = plan(6, 3);
    let beyond = Place {
        name: PlaceName::Refill,
        theta_v: 0.45,
        soil_water_u: 0.0,
    };
    let foretold = foretell(&falling(), &plan, &[beyond], &settings(50), &quiet).unwrap();
    assert_eq!(foretold.places[0].answered.unwrap().share, 0.0);
    assert_eq!(foretold.places[0].expanded, None);
}

#[test]
fn what_is_not_known_of_the_soil_widens_a_set_point_only() {
    let plan = plan(6, 3);
    let place = |soil_water_u| Place {
        name: PlaceName::Refill,
        theta_v: 0.2,
        soil_water_u,
    };
    let of = |u| {
        let found = foretell(&falling(), &plan, &[place(u)], &settings(60), &quiet).unwrap();
        let here = &found.places[0];
        (here.expanded.unwrap(), here.set_point_expanded)
    };
    let (plain, none) = of(0.0);
    let (same, wider) = of(0.02);
    assert_eq!((plain, none), (same, None));
    assert!(wider.unwrap().median > 0.04, "{wider:?}");
}

#[test]
fn the_truth_goes_straight_on_beyond_its_domain() {
    let truth = straight_and_quiet(0.01);
    assert!((truth.curve.count(0.49) - 240.0).abs() < 1e-9);
    assert!((truth.curve.theta_v(240.0) - 0.49).abs() < 1e-12);
    // Everywhere, a count and its water content lead to each other.
    for truth in [falling(), Truth::assumed(12, Direction::RisesWhenWetter)] {
        for i in 0..=70 {
            let theta = 0.01 * f64::from(i);
            let back = truth.curve.theta_v(truth.curve.count(theta));
            assert!((back - theta).abs() < 1e-9, "{theta} {back}");
        }
    }
}

#[test]
fn the_assumed_probes_answer_as_their_words_say() {
    let falling = falling().curve;
    assert!((falling.theta_v(0.1857 / 0.19 * 1023.0)).abs() < 1e-3);
    assert!((falling.theta_v(0.235 * 1023.0) - 0.60).abs() < 1e-3);
    let rising = Truth::assumed(12, Direction::RisesWhenWetter).curve;
    assert!(rising.theta_v(0.0).abs() < 1e-4);
    let at = 0.08 * ((2.6_f64 * 0.85).exp() - 1.0);
    assert!((rising.theta_v(0.85 * 4095.0) - at).abs() < 1e-4);
}

#[test]
fn figures_that_are_none_are_refused_with_their_limits() {
    let plan = plan(5, 2);
    let places = plan.places();
    let refused = |truth: &Truth, plan: &Sampling, settings: &Settings| {
        foretell(truth, plan, &places, settings, &quiet).unwrap_err()
    };
    let mut wild = falling();
    wild.core_scatter = f64::NAN;
    assert!(matches!(
        refused(&wild, &plan, &settings(50)),
        ForetellError::Figure { .. }
    ));
    let few = refused(&falling(), &plan, &settings(3));
    assert_eq!(
        few.to_string(),
        "3 simulated calibrations are too few to say anything; 20 is the least"
    );
    let mut wet = plan.clone();
    wet.levels.push(1.4);
    assert!(matches!(
        refused(&falling(), &wet, &settings(50)),
        ForetellError::NoSuchWater { .. }
    ));
    wet.levels.pop();
    wet.levels.push(0.9);
    assert!(matches!(
        refused(&straight_and_quiet(0.01), &wet, &settings(50)),
        ForetellError::BeyondConverter { .. }
    ));
    let none = Sampling {
        levels: vec![],
        cores_per_level: 2,
    };
    assert!(matches!(
        refused(&falling(), &none, &settings(50)),
        ForetellError::NoCores { .. }
    ));
}

#[test]
fn a_calibration_taken_for_true_hands_its_figures_on() {
    let plan = plan(7, 3);
    let known = falling();
    let mut world = world::World::new(&known, 3, 0);
    let (observations, noise) = world.dig(&plan.levels, 3);
    let (calibration, _) = world
        .calibration(&observations, noise, Request::default())
        .unwrap();
    let truth = Truth::of_calibration(&calibration, Some(0.002));
    assert_eq!(truth.basis, Basis::Calibration { cores: 21 });
    assert_eq!(truth.reference_u, 0.002);
    assert_eq!(truth.noise_counts, calibration.noise.standard_deviation);
    // The middle of a scatter seen on 20 degrees of freedom is near its estimate.
    let ratio = truth.core_scatter / calibration.core_scatter;
    assert!((0.95..1.2).contains(&ratio), "{ratio}");
    let count = 0.5 * (calibration.domain.low + calibration.domain.high);
    assert_eq!(truth.curve.theta_v(count), calibration.curve.value(count));
    assert!(truth.assumptions()[0].contains("21 cores"));
}
