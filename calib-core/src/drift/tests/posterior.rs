//! Whether intervals hold the truth and chances come true as often as they say, over
//! calibrations and drifts drawn as the update takes them to be.

use super::*;
use crate::drift::posterior::Subject;
use crate::drift::update::{WanderAssumed, update};
use rand::RngExt;

const ALLOW: f64 = 0.012;
const CHECKS: usize = 6;
const REFILL: f64 = 560.0;

/// What became of one calibration.
struct Outcome {
    offset_held: bool,
    refill_held: bool,
    chance_anywhere: f64,
    beyond_anywhere: bool,
    chance_at_refill: f64,
    beyond_at_refill: bool,
}

fn outcome(run: u64) -> Outcome {
    let calibration = line(9);
    let assumed = WanderAssumed::default();
    let mut rng = ChaCha8Rng::seed_from_u64(run);
    let total: f64 = assumed.rates.iter().map(|(_, weight)| weight).sum();
    let mut chance = total * rng.random::<f64>();
    let rate = assumed
        .rates
        .iter()
        .find(|(_, weight)| {
            chance -= weight;
            chance < 0.0
        })
        .unwrap()
        .0;
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let freedom = calibration.degrees_of_freedom;
    let square: f64 = (0..freedom as usize).map(|_| normal().powi(2)).sum();
    let grown = (freedom / square).sqrt();
    let curve = [0, 1].map(|i| grown * calibration.covariance[i][i].sqrt() * normal());
    let (mut offset, mut gain) = (0.0, 0.0);
    let every = 73_i64;
    let step = rate * (every as f64 / 365.25).sqrt();
    // The line falls by 0.3 m3/m3 from 300 to 700 counts: half the range is 200 counts.
    let departure = |count: f64, offset: f64, gain: f64| {
        let z = (count - 500.0) / 200.0;
        curve[0] + curve[1] * z + offset - gain * z
    };
    let departures: Vec<f64> = (0..CHECKS)
        .map(|i| {
            offset += step * normal();
            gain += step * assumed.at_the_ends * normal();
            let count = [420.0, 610.0, 350.0, 505.0][i % 4] + i as f64;
            departure(count, offset, gain) + grown * SCATTER * normal()
        })
        .collect();
    let given = pairs(&calibration, every, &departures);
    let checks = choose_checks(&calibration, Timestamp(0), &[], &given)
        .unwrap()
        .0;
    let subject = Subject {
        calibration: &calibration,
        calibrated_at: Timestamp(0),
        checks: &checks,
        other_ring: false,
        wander: &assumed,
    };
    let refill = Place {
        name: "refill".into(),
        count: REFILL,
    };
    let at = checks.last().map_or(Timestamp(0), |last| last.taken_at);
    let found = update(&subject, &[refill], at, (ALLOW, run)).unwrap();
    let at_refill = departure(REFILL, offset, gain);
    let holds = |low: f64, high: f64, truth: f64| low <= truth && truth <= high;
    let answer = &found.places[0];
    Outcome {
        offset_held: holds(
            found.offset.low,
            found.offset.high,
            departure(500.0, offset, gain),
        ),
        refill_held: holds(
            answer.after.low - answer.before,
            answer.after.high - answer.before,
            at_refill,
        ),
        chance_anywhere: found.beyond_anywhere,
        // Of a line the ends are farthest off.
        beyond_anywhere: [300.0, 700.0]
            .into_iter()
            .any(|count| departure(count, offset, gain).abs() > ALLOW),
        chance_at_refill: answer.beyond_allowed,
        beyond_at_refill: at_refill.abs() > ALLOW,
    }
}

#[test]
fn intervals_hold_the_truth_and_chances_come_true_as_often_as_they_say() {
    let outcomes: Vec<Outcome> = (0..500_u64).into_par_iter().map(outcome).collect();
    let share = |of: fn(&Outcome) -> bool| -> f64 {
        outcomes.iter().filter(|one| of(one)).count() as f64 / outcomes.len() as f64
    };
    let mean = |of: fn(&Outcome) -> f64| -> f64 {
        outcomes.iter().map(of).sum::<f64>() / outcomes.len() as f64
    };
    // One standard error of 500 is 1 % at 95 %.
    for held in [share(|one| one.offset_held), share(|one| one.refill_held)] {
        println!("held {held:.3}");
        assert!((0.92..0.98).contains(&held), "{held}");
    }
    for (said, came) in [
        (
            mean(|one| one.chance_anywhere),
            share(|one| one.beyond_anywhere),
        ),
        (
            mean(|one| one.chance_at_refill),
            share(|one| one.beyond_at_refill),
        ),
    ] {
        println!("said {said:.3}, came true {came:.3}");
        assert!((said - came).abs() < 0.04, "{said} said, {came} came");
    }
}
