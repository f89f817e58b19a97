mod one_off;
mod posterior;
mod properties;

use super::innovations::Foreteller;
use super::sequential::Side;
use super::*;
use crate::calibration::{Calibration, ConvertError, Direction, Domain, ReadingNoise};
use crate::curve::{Axis, Curve, CurveKind};
use crate::fit::{Observation, ScatterDraw};
use crate::pair::Pair;
use crate::quantity::{Celsius, Estimate, Quantity, Timestamp, Vwc};
use crate::temperature::TemperatureTerm;
use crate::uncertainty::{Budget, Source};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

const DAY_S: i64 = 86_400;
const SCATTER: f64 = 0.008;

/// A line through `cores` cores spread evenly from 300 to 700 counts.
fn line(cores: usize) -> Calibration {
    let n = cores as f64;
    let spread: f64 = (0..cores)
        .map(|i| (2.0 * i as f64 / (n - 1.0) - 1.0).powi(2))
        .sum();
    Calibration {
        probe: "p".into(),
        soil: "s".into(),
        adc_bits: 10,
        curve: Curve {
            kind: CurveKind::StraightLine,
            axis: Axis {
                origin: 500.0,
                unit: 200.0,
            },
            parameters: vec![0.25, -0.15],
        },
        temperature: None,
        domain: Domain {
            low: 300.0,
            high: 700.0,
        },
        temperature_range: None,
        covariance: vec![
            vec![SCATTER.powi(2) / n, 0.0],
            vec![0.0, SCATTER.powi(2) / spread],
        ],
        covariance_parts: Vec::new(),
        core_scatter: SCATTER,
        scatter_draws: Vec::new(),
        rivals: Vec::new(),
        degrees_of_freedom: n - 2.0,
        relative_volume_u: 0.006,
        noise: ReadingNoise {
            standard_deviation: 1.0,
            degrees_of_freedom: 200.0,
        },
        temperature_u: 0.5,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction: Direction::FallsWhenWetter,
        cores,
    }
}

/// The same line with its scatter known.
fn known() -> Calibration {
    Calibration {
        scatter_draws: vec![ScatterDraw {
            weight: 1.0,
            scatter: SCATTER,
            covariance_scale: 1.0,
        }],
        ..line(21)
    }
}

fn observation(sample: &str, count: f64, theta: f64) -> Observation {
    Observation {
        sample: sample.into(),
        level: sample.into(),
        count: Estimate::new(count, 0.0),
        temperature: None,
        theta_v: Estimate::new(Vwc::new(theta).unwrap(), 0.0),
        budget: Budget::default(),
        relative_volume_u: 0.006,
    }
}

fn pair(sample: &str, day: i64, count: f64, theta: f64) -> Pair {
    Pair {
        probe: "p".into(),
        soil: "s".into(),
        batch: None,
        place: None,
        taken_at: Some(Timestamp(day * DAY_S)),
        observation: observation(sample, count, theta),
    }
}

/// Checks every `every` days at counts across the range, departing by `departures`.
fn pairs(calibration: &Calibration, every: i64, departures: &[f64]) -> Vec<Pair> {
    departures
        .iter()
        .enumerate()
        .map(|(i, departure)| {
            let count = [420.0, 610.0, 350.0, 505.0][i % 4] + i as f64;
            let theta = calibration.curve.value(count) + departure;
            pair(&format!("c{i}"), (i as i64 + 1) * every, count, theta)
        })
        .collect()
}

fn studied(calibration: &Calibration, pairs: &[Pair], settings: &Settings) -> Study {
    let places = [Place {
        name: "refill".into(),
        count: 560.0,
    }];
    study(calibration, Timestamp(0), &[], pairs, &places, settings).unwrap()
}

const QUIET: [f64; 6] = [0.004, -0.006, 0.009, -0.002, 0.003, -0.008];

#[test]
fn a_line_of_exact_readings_foretells_by_students_t() {
    let calibration = line(7);
    let checks = choose_checks(
        &calibration,
        Timestamp(0),
        &[],
        &pairs(&calibration, 30, &QUIET),
    )
    .unwrap()
    .0;
    let foreteller = Foreteller::new(&calibration, &checks, false).unwrap();
    let departures: Vec<f64> = checks.iter().map(Check::departure).collect();
    let found = foreteller.scores(&departures);

    // By hand: recursive least squares of the line, its variance on 5, 6, 7 ... degrees
    // of freedom.
    let mut precision = [
        [1.0 / calibration.covariance[0][0], 0.0],
        [0.0, 1.0 / calibration.covariance[1][1]],
    ]
    .map(|row| row.map(|value| value * SCATTER.powi(2)));
    let (mut moment, mut squares, mut freedom) = ([0.0, 0.0], 5.0 * SCATTER.powi(2), 5.0);
    for (check, score) in checks.iter().zip(&found) {
        let x = [1.0, (check.count - 500.0) / 200.0];
        let [[a, b], [_, d]] = precision;
        let determinant = a * d - b * b;
        let solve = |v: [f64; 2]| {
            [
                (d * v[0] - b * v[1]) / determinant,
                (a * v[1] - b * v[0]) / determinant,
            ]
        };
        let dot = |v: [f64; 2], w: [f64; 2]| v[0] * w[0] + v[1] * w[1];
        let variance = 1.0 + dot(x, solve(x));
        let error = check.departure() - dot(x, solve(moment));
        let t = error / (squares / freedom * variance).sqrt();
        let p = StudentsT::new(0.0, 1.0, freedom).unwrap().cdf(t);
        let expected = Normal::standard().inverse_cdf(p);
        assert!((score - expected).abs() < 1e-3, "{score} for {expected}");
        squares += error * error / variance;
        freedom += 1.0;
        for i in 0..2 {
            moment[i] += x[i] * check.departure();
            for j in 0..2 {
                precision[i][j] += x[i] * x[j];
            }
        }
    }
}

#[test]
fn errors_at_one_reading_are_those_of_its_prediction() {
    let mut calibration = line(21);
    calibration.supply_relative_u = 0.002;
    calibration.probe_to_probe = 4.0;
    calibration.temperature = Some(TemperatureTerm {
        reference: Celsius::new(20.0).unwrap(),
        coefficient: 0.5,
    });
    calibration.covariance = vec![
        vec![3e-6, 1e-7, 0.0],
        vec![1e-7, 8e-6, 0.0],
        vec![0.0, 0.0, 0.01],
    ];
    calibration.rivals = vec![crate::fit::Rival {
        weight: 0.3,
        curve: Curve {
            parameters: vec![0.26, -0.14],
            ..calibration.curve.clone()
        },
        temperature: None,
        covariance: vec![vec![5e-6, 0.0], vec![0.0, 9e-6]],
        core_scatter: 0.009,
    }];
    let at = crate::calibration::ReadAt {
        count: 560.0,
        temperature: Some(Celsius::new(27.0).unwrap()),
    };
    let together = calibration.errors_together(&[at]);
    let (parameters, known) = (together.parameters(), together.known());
    let found = parameters[(0, 0)] + known[(0, 0)] + together.more_scatter();
    let budget = calibration
        .predict(at.count, at.temperature)
        .unwrap()
        .budget;
    let lines = budget.only(|source| {
        matches!(
            source,
            Source::CurveParameters
                | Source::CurveChoice
                | Source::SupplyReference
                | Source::ProbeToProbe
        )
    });
    assert!((found / lines.standard().powi(2) - 1.0).abs() < 1e-12);
}

/// How often twelve checks raise an alarm while the calibration holds, per cent.
fn false_alarms(calibration: &Calibration, weighing: f64) -> f64 {
    const CHECKS: usize = 12;
    let mut pairs = pairs(calibration, 30, &[0.0; CHECKS]);
    for pair in &mut pairs {
        pair.observation.theta_v.u = weighing;
        pair.observation.count.u = 0.6;
    }
    let checks = choose_checks(calibration, Timestamp(0), &[], &pairs)
        .unwrap()
        .0;
    let foreteller = Foreteller::new(calibration, &checks, false).unwrap();
    let plan = sequential::Plan::new(CHECKS);
    let runs = 10_000;
    let alarms = (0..runs)
        .into_par_iter()
        .filter(|run| {
            let mut rng = ChaCha8Rng::seed_from_u64(*run);
            let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
            // The scatter as the fit leaves it open, then one curve for all checks.
            let freedom = calibration.degrees_of_freedom;
            let square: f64 = (0..freedom as usize).map(|_| normal().powi(2)).sum();
            let grown = (freedom / square).sqrt();
            let [offset, slope] =
                [0, 1].map(|i| grown * calibration.covariance[i][i].sqrt() * normal());
            let departures: Vec<f64> = checks
                .iter()
                .map(|check| {
                    let reading = calibration.curve.slope(check.count) * 0.6 * normal();
                    offset
                        + slope * (check.count - 500.0) / 200.0
                        + grown * SCATTER * normal()
                        + weighing * normal()
                        + reading
                })
                .collect();
            plan.alarm_at(&foreteller.scores(&departures), foreteller.ends())
                .is_some()
        })
        .count();
    100.0 * alarms as f64 / runs as f64
}

/// A gain that has changed puts the ends off by 0.03 m3/m3 and the middle not at all.
#[test]
fn a_change_of_gain_is_found_in_most_cases() {
    let calibration = line(9);
    let pairs = pairs(&calibration, 30, &[0.0; 12]);
    let checks = choose_checks(&calibration, Timestamp(0), &[], &pairs)
        .unwrap()
        .0;
    let foreteller = Foreteller::new(&calibration, &checks, false).unwrap();
    let plan = sequential::Plan::new(12);
    let runs = 2000;
    let found = (0..runs)
        .into_par_iter()
        .filter(|run| {
            let mut rng = ChaCha8Rng::seed_from_u64(*run);
            let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
            let departures: Vec<f64> = checks
                .iter()
                .map(|check| 0.03 * (check.count - 500.0) / 200.0 + SCATTER * normal())
                .collect();
            plan.alarm_at(&foreteller.scores(&departures), foreteller.ends())
                .is_some()
        })
        .count();
    let found = 100.0 * found as f64 / runs as f64;
    println!("a change of gain: {found:.1} %");
    assert!(found > 75.0, "{found} %");
}

#[test]
fn ten_thousand_calibrations_that_hold_raise_five_alarms_in_a_hundred() {
    for (cores, weighing) in [(7, 0.0), (7, 0.003), (21, 0.002)] {
        let found = false_alarms(&line(cores), weighing);
        println!("{cores} cores, weighing {weighing}: {found:.2} %");
        assert!((4.0..6.0).contains(&found), "{cores} cores: {found} %");
    }
}

#[test]
fn cores_that_say_nothing_are_left_out_with_a_reason_and_a_mend() {
    let mut calibration = line(21);
    calibration.temperature = Some(TemperatureTerm {
        reference: Celsius::new(20.0).unwrap(),
        coefficient: 0.5,
    });
    calibration.covariance = vec![vec![1e-6, 0.0, 0.0], vec![0.0, 1e-6, 0.0], vec![0.0; 3]];
    let warm = |mut pair: Pair| {
        pair.observation.temperature = Celsius::new(21.0).ok();
        pair
    };
    let mut timeless = warm(pair("timeless", 3, 500.0, 0.25));
    timeless.taken_at = None;
    let mut numberless = warm(pair("numberless", 3, 500.0, 0.25));
    numberless.observation.count.u = f64::NAN;
    let given = [
        warm(pair("good", 3, 500.0, 0.25)),
        timeless,
        warm(pair("early", -1, 500.0, 0.25)),
        pair("cold", 3, 500.0, 0.25),
        warm(pair("wet", 3, 200.0, 0.45)),
        numberless,
    ];
    let (checks, left_out) = choose_checks(&calibration, Timestamp(0), &[], &given).unwrap();
    assert_eq!(checks.len(), 1);
    let faults: Vec<(&str, &CheckFault)> = left_out
        .iter()
        .map(|one| (one.core.as_str(), &one.fault))
        .collect();
    assert!(
        matches!(
            faults[..],
            [
                ("timeless", CheckFault::NoTime),
                ("early", CheckFault::BeforeCalibration),
                (
                    "cold",
                    CheckFault::Convert(ConvertError::TemperatureMissing)
                ),
                (
                    "wet",
                    CheckFault::Convert(ConvertError::OutsideDomain { .. })
                ),
                ("numberless", CheckFault::NoNumber),
            ]
        ),
        "{faults:?}"
    );
    assert!(faults.iter().all(|(_, fault)| !fault.mend().is_empty()));
}

#[test]
fn a_core_of_the_calibration_is_no_check() {
    let calibration = line(21);
    let mut given = pairs(&calibration, 30, &QUIET);
    // Digits enough that chance does not explain the same ones.
    given[3].observation.count.value = 508.4371;
    given[3].observation.theta_v.value = Vwc::new(0.242_137_6).unwrap();
    let refused =
        |fitted: Observation| choose_checks(&calibration, Timestamp(0), &[fitted], &given);
    let named = refused(observation("c2", 311.0, 0.4)).unwrap_err();
    assert_eq!(
        named,
        DriftError::UsedInFit {
            cores: vec!["c2".into()]
        }
    );
    let mut same = given[3].observation.clone();
    same.sample = "renamed".into();
    let measured = refused(same).unwrap_err();
    assert_eq!(
        measured,
        DriftError::UsedInFit {
            cores: vec!["c3".into()]
        }
    );
    assert!(refused(observation("other", 311.0, 0.4)).is_ok());
    let twice = [given[0].clone(), given[1].clone(), given[0].clone()];
    let error = choose_checks(&calibration, Timestamp(0), &[], &twice).unwrap_err();
    assert_eq!(error, DriftError::Twice { core: "c0".into() });
}

#[test]
fn cores_of_one_reading_share_its_error() {
    let calibration = known();
    let mut given = vec![
        pair("a", 30, 500.0, 0.27),
        pair("b", 30, 500.0, 0.27),
        pair("c", 60, 500.0, 0.27),
    ];
    for pair in &mut given {
        // 0.015 m3/m3: more than anything else.
        pair.observation.count.u = 20.0;
    }
    let checks = choose_checks(&calibration, Timestamp(0), &[], &given)
        .unwrap()
        .0;
    assert_eq!(
        checks.iter().map(|c| c.visit).collect::<Vec<_>>(),
        [0, 0, 1]
    );
    let scores = Foreteller::new(&calibration, &checks, false)
        .unwrap()
        .foretell(&[0.02; 3]);
    // The second core of the visit is expected where the first was, the next visit is not.
    assert!(
        scores[1].expected > 0.014 && scores[2].expected < 0.003,
        "{scores:?}"
    );
}

#[test]
fn a_calibration_that_holds_is_said_to_hold_and_is_checked_again_within_a_year() {
    let calibration = line(21);
    let found = studied(
        &calibration,
        &pairs(&calibration, 20, &QUIET),
        &Settings::default(),
    );
    assert_eq!(found.standing, Standing::Holds);
    assert_eq!(found.run.alarm, None);
    assert!(found.update.beyond_anywhere < 0.05);
    assert!(found.update.offset.low < 0.0 && found.update.offset.high > 0.0);
    assert!((7.0..=365.0).contains(&found.schedule.next_check_days));
    let due = found.schedule.recalibrate_days.unwrap_or(f64::INFINITY);
    assert!(due >= found.schedule.next_check_days);
    assert_eq!(found.run.plan.checks, 12);
    // Half of all drifts of 0.03 are found sooner than half of those of 0.02.
    let [small, large] = found.power[..] else {
        panic!("{:?}", found.power)
    };
    let (sooner, later) = (large.from_first, small.from_first);
    assert!(later.half >= sooner.half && sooner.within_plan >= later.within_plan);
    // With the head start gone it takes no fewer checks.
    assert!(small.from_half.half >= later.half, "{small:?}");
    assert!((0.03..0.07).contains(&small.false_alarms), "{small:?}");
}

#[test]
fn a_large_drift_is_found_measured_and_no_longer_holds() {
    let calibration = line(21);
    let gone: Vec<f64> = QUIET.iter().map(|d| d - 0.04).collect();
    let mut all = QUIET.to_vec();
    all.extend(&gone);
    let found = studied(
        &calibration,
        &pairs(&calibration, 30, &all),
        &Settings::default(),
    );
    let alarm = found.run.alarm.unwrap();
    assert_eq!((alarm.side, alarm.began), (Side::Drier, 6));
    assert_eq!(found.standing, Standing::NoLongerHolds);
    assert!(!found.standing.is_fit());
    let offset = found.update.offset;
    assert!((offset.value + 0.04).abs() < 0.006, "{offset:?}");
    assert!(offset.low < -0.04 && offset.high > -0.04);
    assert!(found.update.wander.from_checks && found.update.wander.rate > 0.008);
    assert_eq!(found.schedule.next_check_days, 0.0);
    let refill = &found.update.places[0];
    assert!((refill.after.value - refill.before + 0.04).abs() < 0.01);
    assert!(refill.beyond_allowed > 0.9);
}

#[test]
fn a_small_drift_is_within_what_is_allowed() {
    let calibration = line(21);
    let off: Vec<f64> = (0..16).map(|i| QUIET[i % 6] + 0.012).collect();
    let pairs = pairs(&calibration, 30, &off);
    let allowing = Settings {
        allow: 0.03,
        ..Settings::default()
    };
    assert_eq!(
        studied(&calibration, &pairs, &allowing).standing,
        Standing::DriftedWithinAllowed
    );
    let strict = Settings {
        allow: 0.008,
        ..Settings::default()
    };
    assert_eq!(
        studied(&calibration, &pairs, &strict).standing,
        Standing::NoLongerHolds
    );
}

#[test]
fn few_checks_say_too_little_and_none_leave_the_calibration_as_it_was() {
    let calibration = line(7);
    let none = studied(&calibration, &[], &Settings::default());
    assert_eq!(none.standing, Standing::TooFewChecks);
    assert!(none.power.is_empty() && none.scores.is_empty());
    assert_eq!(none.update.offset.value, 0.0);
    let refill = &none.update.places[0];
    assert!((refill.after.value - refill.before).abs() < 1e-12);
    // The curve's own uncertainty, grown as its few degrees of freedom ask.
    assert!(refill.after.standard > refill.before_u);
    let two = studied(
        &calibration,
        &pairs(&calibration, 30, &QUIET[..2]),
        &Settings::default(),
    );
    assert_eq!(two.standing, Standing::TooFewChecks);
    for (allow, standing) in [
        (0.009, Standing::HoldsSoFar),
        (0.004, Standing::MoreLikelyOff),
    ] {
        let strict = Settings {
            allow,
            ..Settings::default()
        };
        let unsure = studied(&calibration, &pairs(&calibration, 30, &QUIET), &strict);
        assert_eq!(
            unsure.standing, standing,
            "{allow}: {}",
            unsure.update.beyond_anywhere
        );
    }
}

#[test]
fn the_same_checks_in_any_order_give_the_same_answer() {
    let calibration = line(7);
    let mut given = pairs(&calibration, 30, &QUIET);
    let one = studied(&calibration, &given, &Settings::default());
    given.reverse();
    assert_eq!(studied(&calibration, &given, &Settings::default()), one);
}

#[test]
fn what_cannot_be_allowed_is_refused() {
    for allow in [0.0, -0.01, f64::NAN, f64::INFINITY] {
        let settings = Settings {
            allow,
            ..Settings::default()
        };
        let error = study(&line(7), Timestamp(0), &[], &[], &[], &settings).unwrap_err();
        assert!(matches!(error, DriftError::Allowance { .. }));
        assert!(!error.mend().is_empty());
    }
}
