//! Does the decision about many probes keep its promises? Batches are simulated whose
//! spread is known: from pairs to the figure's interval, and the range of further probes.

use calib_core::batch::{
    Circumstances, Decision, Mixed, Study, Way, Wetness, decide, members, mixed, next_probe_at,
    one_curve, pool,
};
use calib_core::curve::CurveKind;
use calib_core::uncertainty::coverage_factor;
use ovendry_tests::batch::Batch;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Batches simulated of each kind.
const BATCHES: u64 = 200;
/// 95 %, three standard errors of that many and a little for what is unbalanced.
const HELD: std::ops::RangeInclusive<f64> = 0.90..=0.99;

fn batch(shared: bool) -> Batch {
    Batch {
        offset: 0.012,
        gain: 0.05,
        ..Batch::alike(12, 9, shared)
    }
}

/// Both halves of the study, and the middle theta_v.
fn studied(pairs: &[calib_core::pair::Pair], seed: u64) -> (Decision, Mixed, f64) {
    let members = members(pairs, &BTreeMap::new(), "bed").unwrap();
    let pool = pool(&members, Some(CurveKind::StraightLine)).unwrap();
    let tests = one_curve(&pool).unwrap();
    let mixed = mixed(&pool).unwrap();
    let asked = Circumstances {
        target: 0.03,
        minutes_per_core: 20.0,
        minutes_per_medium: 5.0,
        hourly_cost: Some(30.0),
        root_depth_mm: 300.0,
        relative_volume_u: 0.0,
        seed,
    };
    let study = Study {
        pool: &pool,
        one_curve: &tests,
        mixed: &mixed,
    };
    let decision = decide(study, None, asked).unwrap();
    let middle = Wetness::Middle.theta_v(&pool);
    (decision, mixed, middle)
}

/// The true variance between probes at a water content: a gain turns about 0.25.
fn between(batch: &Batch, theta_v: f64) -> f64 {
    batch.offset.powi(2) + (batch.gain * (theta_v - 0.25)).powi(2)
}

/// The true variance of one pair: the soil around the probe, the core, both readings.
fn scatter(batch: &Batch) -> f64 {
    let count = 0.0009 * batch.noise;
    batch.core.powi(2) + batch.place.powi(2) + batch.weighing.powi(2) + count.powi(2)
}

#[test]
fn the_interval_of_one_curve_holds_its_true_uncertainty_nineteen_times_in_twenty() {
    for shared in [false, true] {
        let batch = batch(shared);
        let held = (0..BATCHES)
            .into_par_iter()
            .filter(|seed| {
                let (decision, ..) = studied(&batch.pairs(*seed), *seed);
                let found = decision.way(Way::OneCurve).unwrap();
                // Where it was judged, the shared curve's own error aside, which is
                // a tenth of the variance and differs from batch to batch.
                let at = found
                    .at
                    .iter()
                    .max_by(|a, b| a.expanded.value.total_cmp(&b.expanded.value))
                    .unwrap();
                let truth = (between(&batch, at.theta_v) * 13.0 / 12.0
                    + scatter(&batch) * if shared { 1.1 } else { 1.01 })
                .sqrt()
                    * 1.959_964;
                at.expanded.low <= truth && truth <= at.expanded.high
            })
            .count() as f64
            / BATCHES as f64;
        assert!(HELD.contains(&held), "shared {shared}: {held}");
    }
}

/// 95 in a hundred further probes with 95 % confidence: the interval holds that many
/// of the true distribution in 95 of a hundred batches.
#[test]
fn the_range_of_further_probes_holds_as_many_as_it_says() {
    let batch = batch(false);
    let enough = (0..BATCHES)
        .into_par_iter()
        .filter(|seed| {
            let (_, mixed, middle) = studied(&batch.pairs(1000 + *seed), 1);
            let Some(found) = next_probe_at(&mixed, middle, 0.95, 0.95).unwrap() else {
                return false;
            };
            let range = found.unwrap();
            let sd = between(&batch, middle).sqrt();
            // Further probes lie about the true curve; the shared one about its mean.
            let content = normal(range.high / sd) - normal(range.low / sd);
            content >= 0.95
        })
        .count() as f64
        / BATCHES as f64;
    assert!((0.89..=0.995).contains(&enough), "{enough}");
}

/// The standard normal distribution, by Abramowitz and Stegun 7.1.26 (recalled from
/// memory; good to 1.5e-7).
fn normal(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs() / f64::sqrt(2.0));
    let tail = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))))
        * (-x * x / 2.0).exp();
    if x < 0.0 {
        tail / 2.0
    } else {
        1.0 - tail / 2.0
    }
}

#[test]
fn minutes_and_money_are_those_of_the_cores_and_the_hour() {
    for (shared, cores) in [(false, 12 * 9), (true, 9)] {
        let (decision, ..) = studied(&batch(shared).pairs(7), 1);
        let own = decision.way(Way::OwnCores).unwrap();
        assert_eq!((own.work.cores, own.work_per_probe.cores), (cores, 9));
        assert!((own.work.minutes - 20.0 * cores as f64).abs() < 1e-9);
        assert!((own.work.cost.unwrap() - 10.0 * cores as f64).abs() < 1e-9);
        let (gain, mm) = (own.gain.unwrap(), own.gain_mm.unwrap());
        assert!((mm.value - 300.0 * gain.value).abs() < 1e-12);
        assert!(gain.low < gain.value && gain.value < gain.high);
    }
}

/// One probe is calibrated without a fault, another is read by its curve: are the counts to
/// write into site.toml enough for 95 %?
#[test]
fn the_counts_for_another_probe_cover_another_probe() {
    let few = Batch {
        offset: 0.012,
        ..Batch::alike(5, 9, true)
    };
    let within: Vec<f64> = (0..BATCHES)
        .into_par_iter()
        .map(|seed| {
            let (decision, _, _) = studied(&few.pairs(70_000 + seed), seed);
            // Counts times the slope of the truth, and the factor a budget of this one line has.
            let sd = 0.0009 * decision.probe_to_probe_counts;
            let limit = coverage_factor(0.95, None) * sd;
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut probe = || few.offset * rng.sample::<f64, _>(StandardNormal);
            let held = (0..200).filter(|_| (probe() - probe()).abs() <= limit);
            held.count() as f64 / 200.0
        })
        .collect();
    let mean = within.iter().sum::<f64>() / BATCHES as f64;
    assert!((0.93..0.985).contains(&mean), "{mean:.3} on the average");
}
