//! Spot checks on simulated calibrations from end to end (cores dug, curve fitted, checks
//! dug later): the sequential test raises false alarms as often as it says, and finds
//! drifts.

use calib_core::calibration::Calibration;
use calib_core::curve::CurveKind;
use calib_core::drift::innovations::Foreteller;
use calib_core::drift::sequential::Plan;
use calib_core::drift::{Check, choose_checks};
use calib_core::pair::Pair;
use calib_core::quantity::Timestamp;
use ovendry_tests::simulation::{Truth, World};
use rayon::prelude::*;

const DAY_S: i64 = 86_400;
const CHECKS: usize = 12;

/// Checks a month apart.
fn checks_of(world: &mut World, calibration: &Calibration, drift: f64) -> Vec<Check> {
    let pairs: Vec<Pair> = (0..CHECKS)
        .map(|month| Pair {
            probe: "p".into(),
            soil: "s".into(),
            batch: None,
            place: None,
            taken_at: Some(Timestamp((month as i64 + 1) * 30 * DAY_S)),
            observation: world.spot_check(drift, format!("check-{month}")),
        })
        .collect();
    choose_checks(calibration, Timestamp(0), &[], &pairs)
        .expect("checks")
        .0
}

/// How often an alarm is raised within twelve checks, per cent, how often by the first
/// check, and the mean square of the scores.
fn alarms(
    truth: Truth,
    (levels, cores): (usize, usize),
    curve: Option<CurveKind>,
    drift: f64,
    runs: u64,
) -> (f64, f64, f64) {
    let plan = Plan::new(CHECKS);
    let found: Vec<(bool, bool, f64, usize)> = (0..runs)
        .into_par_iter()
        .filter_map(|run| {
            let mut world = World::new(truth, run);
            let (calibration, _) = world.calibrate(levels, cores, curve)?;
            let checks = checks_of(&mut world, &calibration, drift);
            let foreteller = Foreteller::new(&calibration, &checks, false).expect("a covariance");
            let departures: Vec<f64> = checks.iter().map(Check::departure).collect();
            let scores = foreteller.scores(&departures);
            let alarm = plan.alarm_at(&scores);
            let square = scores.iter().map(|z| z * z).sum::<f64>();
            Some((alarm.is_some(), alarm == Some(0), square, scores.len()))
        })
        .collect();
    let of = |share: usize| 100.0 * share as f64 / found.len() as f64;
    let scores: usize = found.iter().map(|one| one.3).sum();
    (
        of(found.iter().filter(|one| one.0).count()),
        of(found.iter().filter(|one| one.1).count()),
        found.iter().map(|one| one.2).sum::<f64>() / scores as f64,
    )
}

#[test]
fn a_calibration_that_holds_raises_an_alarm_in_five_of_a_hundred_cases() {
    for (name, design, curve, scatter) in [
        (
            "7 cores, line",
            (7, 1),
            Some(CurveKind::StraightLine),
            0.006,
        ),
        (
            "7 cores, line, little scatter",
            (7, 1),
            Some(CurveKind::StraightLine),
            0.001,
        ),
        (
            "7 cores, hyperbola",
            (7, 1),
            Some(CurveKind::Hyperbolic),
            0.006,
        ),
        (
            "21 cores, line",
            (7, 3),
            Some(CurveKind::StraightLine),
            0.006,
        ),
        ("7 cores, chosen", (7, 1), None, 0.006),
        ("21 cores, chosen", (7, 3), None, 0.006),
    ] {
        let truth = Truth::of(curve.unwrap_or(CurveKind::StraightLine), scatter);
        let (any, first, square) = alarms(truth, design, curve, 0.0, 4000);
        println!("{name}: any {any:.2} %, first {first:.2} %, mean square {square:.3}");
    }
}
