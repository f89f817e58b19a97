//! How often the tests of the accuracy study cry wolf, and how often its intervals and
//! bounds hold the truth: 10,000 seeded batches each in which nothing is wrong.
//!
//! A test at the 5 % level must alarm in 4 % to 6 % of them, an interval of 95 % hold
//! the truth in 94 % to 96 %.

use calib_core::accuracy::{
    Basis, Bias, ClassRequest, ClassStatement, FEWEST_FOR_BIAS, FEWEST_FOR_SLOPE, Limits, Measures,
    ProportionalBias, Sample, Verdict,
};
use ovendry_tests::agreement::sample;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

const BATCHES: u64 = 10_000;

/// A world in which the truth is known.
#[derive(Clone, Copy)]
struct World {
    /// Pairs of each cluster; as many clusters as entries.
    sizes: &'static [usize],
    /// Standard deviation of differences from cluster to cluster, m3/m3.
    between: f64,
    /// Within one, m3/m3.
    within: f64,
    /// Reference's own error, m3/m3.
    u: f64,
    /// True bias, m3/m3.
    bias: f64,
    /// Water content normal about 0.25 with 0.08, or even from 0.05 to 0.45.
    normal_water: bool,
    /// Factor of the scatter from driest to wettest: 1 alike everywhere.
    wetter: f64,
}

const ALONE: [usize; 21] = [1; 21];
const UNEVEN: [usize; 16] = [1, 3, 2, 5, 1, 4, 2, 2, 6, 1, 3, 2, 4, 1, 2, 3];
const PAIRED: [usize; 17] = [2; 17];

const PLAIN: World = World {
    sizes: &ALONE,
    between: 0.0,
    within: 0.015,
    u: 0.006,
    bias: 0.0,
    normal_water: false,
    wetter: 1.0,
};

const CLUSTERED: World = World {
    sizes: &UNEVEN,
    between: 0.012,
    within: 0.01,
    ..PLAIN
};

fn draw(world: &World, seed: u64) -> Vec<Sample> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut samples = Vec::new();
    for (place, size) in world.sizes.iter().enumerate() {
        let water = if world.normal_water {
            let z: f64 = StandardNormal.sample(&mut rng);
            0.25 + 0.08 * z
        } else {
            rng.random_range(0.05..0.45)
        };
        let scatter = 1.0 + (world.wetter - 1.0) * (water - 0.05) / 0.4;
        let z: f64 = StandardNormal.sample(&mut rng);
        let common = world.between * scatter * z;
        for core in 0..*size {
            let z: f64 = StandardNormal.sample(&mut rng);
            let own: f64 = StandardNormal.sample(&mut rng);
            let near: f64 = StandardNormal.sample(&mut rng);
            // Cores of one place are not equally wet.
            let truth = water + 0.01 * near;
            let reference = truth + world.u * own;
            samples.push(sample(
                (place, core),
                (reference, world.u),
                truth + world.bias + common + world.within * scatter * z,
            ));
        }
    }
    samples
}

/// In how many of the batches, percent, each of `happen` does.
fn percent<const N: usize>(
    world: &World,
    seed: u64,
    happen: impl Fn(&[Sample]) -> [bool; N] + Sync,
) -> [f64; N] {
    let counts = (0..BATCHES)
        .into_par_iter()
        .map(|batch| happen(&draw(world, seed * BATCHES + batch)).map(u32::from))
        .reduce(
            || [0; N],
            |a, b| std::array::from_fn(|place| a[place] + b[place]),
        );
    counts.map(|count| 100.0 * f64::from(count) / BATCHES as f64)
}

fn is_between(what: &str, low: f64, percent: f64, high: f64) {
    println!("{what}: {percent:.2} %");
    assert!((low..=high).contains(&percent), "{what}: {percent} %");
}

fn is_five(what: &str, percent: f64) {
    is_between(what, 4.0, percent, 6.0);
}

#[test]
fn a_bias_is_found_in_five_of_a_hundred_batches_that_have_none() {
    let alarm = |samples: &[Sample]| [Bias::of(samples, 0.95).expect("a test").p_value < 0.05];
    is_five("cores alone", percent(&PLAIN, 1, alarm)[0]);
    is_five("uneven places", percent(&CLUSTERED, 2, alarm)[0]);
    let few = World {
        sizes: &[1; FEWEST_FOR_BIAS],
        ..PLAIN
    };
    is_five("fewest cores", percent(&few, 4, alarm)[0]);
    let wetter = World {
        wetter: 3.0,
        ..CLUSTERED
    };
    is_five(
        "uneven places, more scatter when wet",
        percent(&wetter, 3, alarm)[0],
    );
}

#[test]
fn a_proportional_bias_is_found_in_five_of_a_hundred_batches_that_have_none() {
    let alarm = |samples: &[Sample]| {
        let found = ProportionalBias::of(samples, 0.95).expect("a test");
        // The same half width about the slope that is pulled by the reference's error.
        let half = 0.5 * (found.slope.interval.high - found.slope.interval.low);
        [
            found.slope.p_value < 0.05,
            (found.slope_as_observed - 1.0).abs() > half,
        ]
    };
    is_five("cores alone", percent(&PLAIN, 11, alarm)[0]);
    is_five("uneven places", percent(&CLUSTERED, 14, alarm)[0]);
    let wetter = World {
        wetter: 3.0,
        ..PLAIN
    };
    is_five("more scatter when wet", percent(&wetter, 15, alarm)[0]);
    let few = World {
        sizes: &[1; FEWEST_FOR_SLOPE],
        ..PLAIN
    };
    is_between("fewest cores", 2.5, percent(&few, 16, alarm)[0], 6.0);
    let vague = World { u: 0.02, ..PLAIN };
    let [taken_off, not_taken_off] = percent(&vague, 12, alarm);
    is_five("vague references", taken_off);
    // Without the reference's error taken off, vague references alone alarm.
    is_between("not taken off", 6.0, not_taken_off, 100.0);
    // Few cores far out and vague references: a little cautious.
    let far_out = World {
        normal_water: true,
        ..vague
    };
    is_between(
        "vague references, few far out",
        3.0,
        percent(&far_out, 13, alarm)[0],
        6.0,
    );
}

#[test]
fn the_interval_of_lins_concordance_misses_the_truth_in_five_of_a_hundred_normal_batches() {
    let world = World {
        sizes: &[1; 40],
        normal_water: true,
        u: 0.0,
        within: 0.03,
        bias: 0.01,
        ..PLAIN
    };
    // Moments of the world: reference and reading normal.
    let x2 = 0.08_f64.powi(2) + 0.01_f64.powi(2);
    let y2 = x2 + 0.03_f64.powi(2);
    let truth = 2.0 * x2 / (x2 + y2 + 0.01_f64.powi(2));
    let [missed] = percent(&world, 21, |samples| {
        let measures = Measures::of(samples).expect("measures");
        let interval = measures.concordance.and_then(|c| c.interval);
        [!interval.expect("an interval").holds(truth)]
    });
    is_five("concordance", missed);
}

fn sd(world: &World) -> f64 {
    (world.between.powi(2) + world.within.powi(2) + world.u.powi(2)).sqrt()
}

#[test]
fn the_intervals_of_the_limits_miss_them_in_five_of_a_hundred_batches() {
    let paired = World {
        sizes: &PAIRED,
        ..CLUSTERED
    };
    let places_alike = World {
        between: 0.0,
        ..paired
    };
    for (what, world, seed) in [
        ("cores alone", PLAIN, 31),
        ("two a place", paired, 32),
        ("uneven places", CLUSTERED, 33),
        ("two a place, places alike", places_alike, 34),
    ] {
        let truth = 1.96 * sd(&world);
        let [lower, upper] = percent(&world, seed, |samples| {
            let limits = Limits::of(samples, 0.95).expect("limits");
            [
                !limits.lower.interval.holds(-truth),
                !limits.upper.interval.holds(truth),
            ]
        });
        is_five(&format!("lower limit, {what}"), lower);
        is_five(&format!("upper limit, {what}"), upper);
    }
}

/// Quantiles of the standard normal distribution: 90 % below, 90 % within.
const BELOW: f64 = 1.281_551_565_544_6;
const WITHIN: f64 = 1.644_853_626_951_473;

#[test]
fn a_target_just_missed_is_met_in_at_most_five_of_a_hundred_batches() {
    // A bias so large that only one side counts: the target is a quantile.
    let biased = |world: World| World {
        bias: 0.05,
        ..world
    };
    let paired = World {
        sizes: &PAIRED,
        ..CLUSTERED
    };
    for (what, world, seed, least) in [
        ("one side, cores alone", biased(PLAIN), 41, 4.0),
        ("one side, uneven places", biased(CLUSTERED), 43, 4.0),
        // Cautious where clusters are even, and where both sides count.
        ("one side, two a place", biased(paired), 42, 3.0),
        ("both sides, cores alone", PLAIN, 44, 2.0),
        ("both sides, uneven places", CLUSTERED, 45, 1.0),
    ] {
        let target = if world.bias > 0.0 {
            world.bias + BELOW * sd(&world)
        } else {
            WITHIN * sd(&world)
        };
        let request = ClassRequest {
            target: Some(target),
            share: 0.9,
            confidence: 0.95,
            basis: Basis::Normal,
        };
        let [met] = percent(&world, seed, |samples| {
            let verdict = ClassStatement::verdict(samples, &request).expect("a verdict");
            [verdict == Verdict::Meets]
        });
        is_between(what, least, met, 6.0);
    }
}

#[test]
fn a_target_just_met_is_missed_in_at_most_six_of_a_hundred_batches() {
    for (cores, seed) in [(&[1; 8][..], 61), (&[1; 12][..], 62), (&[1; 21][..], 63)] {
        let plain = World {
            sizes: cores,
            ..PLAIN
        };
        let biased = World {
            bias: 0.05,
            ..plain
        };
        for (what, world, target) in [
            ("no bias", plain, WITHIN * sd(&plain)),
            ("bias", biased, biased.bias + BELOW * sd(&biased)),
        ] {
            let request = ClassRequest {
                target: Some(target),
                share: 0.9,
                confidence: 0.95,
                basis: Basis::Normal,
            };
            let [missed] = percent(&world, seed, |samples| {
                let verdict = ClassStatement::verdict(samples, &request).expect("a verdict");
                [verdict == Verdict::DoesNotMeet]
            });
            is_between(&format!("{} cores, {what}", cores.len()), 1.0, missed, 6.0);
        }
    }
}

#[test]
fn by_counting_a_target_just_missed_is_met_as_often_as_the_binomial_says() {
    // Of 40 cores all must be within: 0.9^40 = 1.48 %.
    let world = World {
        sizes: &[1; 40],
        ..PLAIN
    };
    let request = ClassRequest {
        target: Some(WITHIN * sd(&world)),
        share: 0.9,
        confidence: 0.95,
        basis: Basis::Counted,
    };
    let met = |samples: &[Sample]| {
        [ClassStatement::verdict(samples, &request).expect("a verdict") == Verdict::Meets]
    };
    is_between(
        "counted, cores alone",
        1.1,
        percent(&world, 51, met)[0],
        1.9,
    );
    // Places alike within: 40 places of three, and never more than five in a hundred.
    let alike = World {
        sizes: &[3; 40],
        between: 0.015,
        ..PLAIN
    };
    let request = ClassRequest {
        target: Some(WITHIN * sd(&alike)),
        ..request
    };
    let met = |samples: &[Sample]| {
        [ClassStatement::verdict(samples, &request).expect("a verdict") == Verdict::Meets]
    };
    is_between("counted, places", 0.5, percent(&alike, 52, met)[0], 6.0);
}
