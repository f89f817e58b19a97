//! How often tests about a batch of probes raise a false alarm: 10,000 seeded batches
//! without anything to find, each test at 5 %. And what intervals hold.
//!
//! Of 10,000 batches 500 are expected, give or take 22 (one standard deviation).

use calib_core::batch::anova::one_way;
use calib_core::batch::equivalence::{BatchComparison, ProbeMean, compare_batches};
use calib_core::batch::outlying::{
    OffsetEstimate, OutlyingSettings, ProbeEstimate, outlying, outlying_offsets,
};
use calib_core::batch::precision::precision;
use calib_core::batch::ranking::{Population, RangeMoments, RankingSettings, ranking};
use calib_core::batch::tolerance::two_sided_factor;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

const BATCHES: u64 = 10_000;

fn normal(random: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(random)
}

/// Share of batches for which something holds, in per cent.
fn per_cent(batches: u64, holds: impl Fn(u64, &mut ChaCha8Rng) -> bool + Sync) -> f64 {
    let count = (0..batches)
        .into_par_iter()
        .filter(|seed| holds(*seed, &mut ChaCha8Rng::seed_from_u64(*seed)))
        .count();
    100.0 * count as f64 / batches as f64
}

fn assert_five(what: &str, found: f64) {
    println!("{what}: {found:.2} %");
    assert!((4.0..=6.0).contains(&found), "{what}: {found} %");
}

#[test]
fn the_f_test_of_probes_alike_has_five_in_a_hundred() {
    let sizes = [3, 1, 5, 2, 2, 8, 1, 4];
    let alarms = per_cent(BATCHES, |_, random| {
        let groups = sizes.map(|size| (0..size).map(|_| normal(random)).collect::<Vec<f64>>());
        one_way(&groups).unwrap().p_value.unwrap() < 0.05
    });
    assert_five("F of unequal groups", alarms);
}

/// Two batches: probes of spreads 1 and `spread` times that, `own` the greatest
/// standard uncertainty of a probe, B above A by `shift`.
fn compared(
    random: &mut ChaCha8Rng,
    (shift, spread, own): (f64, f64, f64),
    (margin, spread_margin): (f64, f64),
) -> BatchComparison {
    let mut batch = |probes: usize, middle: f64, spread: f64| -> Vec<ProbeMean> {
        (0..probes)
            .map(|i| {
                let u = own * (0.4 + 0.6 * (i % 3) as f64 / 2.0);
                ProbeMean {
                    value: middle + spread * normal(random) + u * normal(random),
                    variance: u * u,
                }
            })
            .collect()
    };
    let a = batch(12, 0.0, 1.0);
    let b = batch(20, shift, spread);
    compare_batches(&a, &b, margin, spread_margin).unwrap()
}

#[test]
fn difference_and_spread_of_two_batches_have_five_in_a_hundred_each() {
    for (what, spread, own) in [
        ("equal spreads", 1.0, 0.0),
        ("spreads 1 to 3", 3.0, 0.0),
        ("uncertain probes", 1.0, 0.7),
    ] {
        let found: Vec<(bool, bool)> = (0..BATCHES)
            .into_par_iter()
            .map(|seed| {
                let random = &mut ChaCha8Rng::seed_from_u64(seed);
                let found = compared(random, (0.0, spread, own), (1.0, 2.0));
                (
                    found.mean.difference_p < 0.05,
                    found.spread.difference_p < 0.05,
                )
            })
            .collect();
        let share = |which: fn(&(bool, bool)) -> bool| {
            100.0 * found.iter().filter(|both| which(both)).count() as f64 / BATCHES as f64
        };
        assert_five(&format!("means, {what}"), share(|both| both.0));
        if spread == 1.0 {
            assert_five(&format!("spreads, {what}"), share(|both| both.1));
        }
    }
}

#[test]
fn equivalence_is_claimed_at_the_margin_five_times_in_a_hundred() {
    for (what, shift, spread, own) in [
        ("at the margin", 3.0, 4.0, 0.0),
        ("at the margin below, uncertain probes", -3.0, 1.0, 0.7),
    ] {
        let found: Vec<(bool, bool)> = (0..BATCHES)
            .into_par_iter()
            .map(|seed| {
                let random = &mut ChaCha8Rng::seed_from_u64(seed);
                let found = compared(random, (shift, spread, own), (3.0, 4.0));
                (
                    found.mean.equivalence_p < 0.05,
                    found.spread.equivalence_p < 0.05,
                )
            })
            .collect();
        let share = |which: fn(&(bool, bool)) -> bool| {
            100.0 * found.iter().filter(|both| which(both)).count() as f64 / BATCHES as f64
        };
        assert_five(&format!("means equivalent, {what}"), share(|both| both.0));
        if spread == 4.0 {
            assert_five(&format!("spreads equivalent, {what}"), share(|both| both.1));
        }
    }
}

/// Sound probes with variances of sampling between `least` and `most` times the unit,
/// and a spread of `between` standard deviations.
fn sound(
    random: &mut ChaCha8Rng,
    probes: usize,
    between: f64,
    (least, most): (f64, f64),
) -> Vec<ProbeEstimate> {
    (0..probes)
        .map(|_| {
            let variance = least * (most / least).powf(random.random());
            let (u, shared) = (variance.sqrt(), normal(random));
            let other = 0.5 * shared + 0.75_f64.sqrt() * normal(random);
            ProbeEstimate {
                offset: 0.01 * (between * normal(random) + u * shared),
                gain: 0.1 * (between * normal(random) + u * other),
                covariance: [
                    [1e-4 * variance, 5e-4 * variance],
                    [5e-4 * variance, 1e-2 * variance],
                ],
            }
        })
        .collect()
}

/// Share of sound batches with any probe called outlying.
fn alarms(
    probes: usize,
    between: f64,
    sampling: (f64, f64),
    gains: bool,
    draws: Option<usize>,
) -> f64 {
    per_cent(BATCHES, |seed, random| {
        let batch = sound(random, probes, between, sampling);
        // Of a test at 5 % by 19 draws the rate is the same as of one by 1999.
        let settings = OutlyingSettings {
            draws,
            seed,
            ..OutlyingSettings::default()
        };
        let found = if gains {
            outlying(&batch, &settings)
        } else {
            let offsets: Vec<OffsetEstimate> = batch
                .iter()
                .map(|probe| OffsetEstimate {
                    offset: probe.offset,
                    variance: probe.covariance[0][0],
                })
                .collect();
            outlying_offsets(&offsets, &settings)
        };
        found.unwrap().probes.iter().any(|probe| probe.outlying)
    })
}

#[test]
fn five_batches_in_a_hundred_have_a_probe_called_outlying() {
    for (what, probes, between, sampling, gains) in [
        (
            "40 probes, small sampling error",
            40,
            1.0,
            (0.01, 0.05),
            true,
        ),
        ("50 probes, sampling error alone", 50, 0.0, (1.0, 1.0), true),
        (
            "40 offsets of unequal precision",
            40,
            1.0,
            (0.2, 1.0),
            false,
        ),
    ] {
        assert_five(what, alarms(probes, between, sampling, gains, Some(19)));
    }
}

#[test]
fn of_few_probes_one_is_called_outlying_in_at_most_five_batches_in_a_hundred() {
    for (what, probes, between, sampling) in [
        ("8 probes", 8, 1.0, (0.01, 0.1)),
        ("12 probes, unequal precision", 12, 1.0, (0.2, 1.0)),
    ] {
        let found = alarms(probes, between, sampling, true, Some(19));
        println!("{what}: {found:.2} %");
        assert!((0.5..=6.0).contains(&found), "{what}: {found} %");
    }
}

#[test]
fn probes_of_very_unequal_precision_raise_at_most_twice_as_many_alarms() {
    // Variances of sampling 1 to 25 about the spread between probes: the spread is
    // then known worst where it matters most.
    let found = per_cent(1000, |seed, random| {
        let batch = sound(random, 40, 1.0, (0.2, 5.0));
        let settings = OutlyingSettings {
            draws: Some(19),
            seed,
            ..OutlyingSettings::default()
        };
        let found = outlying(&batch, &settings).unwrap();
        found.probes.iter().any(|probe| probe.outlying)
    });
    println!("very unequal precision: {found:.2} %");
    assert!(found < 10.0, "{found} %");
}

#[test]
fn a_large_batch_too_though_its_cut_off_is_approximated() {
    // 1,000 batches: 50 expected, give or take 7.
    for (what, between) in [("with spread", 1.0), ("sampling error alone", 0.0)] {
        let found = per_cent(1000, |seed, random| {
            let batch = sound(random, 1600, between, (0.2, 1.0));
            let settings = OutlyingSettings {
                seed,
                ..OutlyingSettings::default()
            };
            let found = outlying(&batch, &settings).unwrap();
            found.probes.iter().any(|probe| probe.outlying)
        });
        println!("1600 probes, {what}: {found:.2} %");
        assert!((2.9..=7.1).contains(&found), "{what}: {found} %");
    }
}

#[test]
fn the_tolerance_interval_holds_its_share_as_often_as_it_says() {
    // 90 % of the population with 95 % confidence, from twelve probes.
    let factor = two_sided_factor(12.0, 11.0, 0.90, 0.95).unwrap();
    let held = per_cent(BATCHES, |_, random| {
        let sample: Vec<f64> = (0..12).map(|_| normal(random)).collect();
        let mean = sample.iter().sum::<f64>() / 12.0;
        let sd = (sample.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 11.0).sqrt();
        share_between(mean - factor * sd, mean + factor * sd) >= 0.90
    });
    println!("tolerance interval holds: {held:.2} %");
    assert!((94.3..=95.7).contains(&held), "{held} %");
}

/// Share of a standard normal population between two values, by Simpson's rule.
fn share_between(low: f64, high: f64) -> f64 {
    const STEPS: usize = 400;
    let (low, high) = (low.max(-9.0), high.min(9.0));
    let step = (high - low) / STEPS as f64;
    let sum: f64 = (0..=STEPS)
        .map(|i| {
            let x = low + step * i as f64;
            let weight = match i {
                0 | STEPS => 1.0,
                i if i % 2 == 1 => 4.0,
                _ => 2.0,
            };
            weight * (-0.5 * x * x).exp()
        })
        .sum();
    sum * step / 3.0 / (2.0 * std::f64::consts::PI).sqrt()
}

#[test]
fn intervals_of_precision_hold_the_truth() {
    // 300 batches of six probes read 1 to 4 times: 285 of 300, give or take 4.
    let sizes = [3, 1, 4, 2, 2, 3];
    for spread in [0.3_f64, 1.5] {
        let held: Vec<[bool; 3]> = (0..300_u64)
            .into_par_iter()
            .map(|seed| {
                let random = &mut ChaCha8Rng::seed_from_u64(seed);
                let probes = sizes.map(|size| {
                    let own = spread * normal(random);
                    (0..size)
                        .map(|_| own + normal(random))
                        .collect::<Vec<f64>>()
                });
                let found = precision("", &probes).unwrap();
                [
                    (found.repeatability_sd, 1.0),
                    (found.between_sd, spread),
                    (found.reproducibility_sd, spread.hypot(1.0)),
                ]
                .map(|(interval, truth)| {
                    (interval.low..=interval.high.unwrap_or(f64::MAX)).contains(&truth)
                })
            })
            .collect();
        for (which, name) in ["s_r", "s_L", "s_R"].into_iter().enumerate() {
            let share = held.iter().filter(|held| held[which]).count() as f64 / 3.0;
            println!("spread {spread}: {name} held {share:.1} %");
            assert!(share >= 91.0, "{name}: {share} %");
        }
    }
}

#[test]
fn intervals_of_ranks_hold_the_true_rank() {
    // 200 batches of 30 probes; truth drawn from the population stated.
    const PROBES: usize = 30;
    let range = RangeMoments::even(-0.2, 0.2);
    let population = Population {
        centre: [0.0, 0.0],
        spread: [[1e-4, 0.0], [0.0, 1e-2]],
    };
    let deviation = |at: [f64; 2]| at[0] * at[0] + at[1] * at[1] * range.mean_square;
    let held: usize = (0..200_u64)
        .into_par_iter()
        .map(|seed| {
            let random = &mut ChaCha8Rng::seed_from_u64(seed);
            let truth: Vec<[f64; 2]> = (0..PROBES)
                .map(|_| [0.01 * normal(random), 0.1 * normal(random)])
                .collect();
            let estimates: Vec<ProbeEstimate> = truth
                .iter()
                .map(|at| ProbeEstimate {
                    offset: at[0] + 0.005 * normal(random),
                    gain: at[1] + 0.05 * normal(random),
                    covariance: [[2.5e-5, 0.0], [0.0, 2.5e-3]],
                })
                .collect();
            let settings = RankingSettings {
                draws: Some(1000),
                seed,
            };
            let found = ranking(&estimates, &range, Some(&population), &settings).unwrap();
            (0..PROBES)
                .filter(|probe| {
                    let nearer = truth
                        .iter()
                        .filter(|at| deviation(**at) < deviation(truth[*probe]))
                        .count();
                    let placed = &found.probes[*probe];
                    (placed.rank_low..=placed.rank_high).contains(&(nearer + 1))
                })
                .count()
        })
        .sum();
    let held = 100.0 * held as f64 / (200 * PROBES) as f64;
    println!("intervals of ranks hold {held:.2} %");
    assert!((93.5..=97.5).contains(&held), "{held} %");
}
