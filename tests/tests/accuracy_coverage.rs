//! How often the bootstrap's intervals of the measures of agreement hold the truth.
//!
//! Places of two cores; water normal, differences normal or skewed. With skewed ones the
//! intervals are too short; the limits below are by what they hold, not by what they
//! claim.

use calib_core::accuracy::{Bootstrap, FEWEST_CLUSTERS, Measure, Sample};
use ovendry_tests::agreement::sample;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

const BATCHES: u64 = 1_000;
const WATER: f64 = 0.06;
const BETWEEN: f64 = 0.012;
const WITHIN: f64 = 0.012;
const BIAS: f64 = 0.008;

/// Zero mean, unit variance: normal, or an exponential less one.
fn error(rng: &mut ChaCha8Rng, skewed: bool) -> f64 {
    if skewed {
        let e: f64 = rand_distr::Exp1.sample(rng);
        e - 1.0
    } else {
        StandardNormal.sample(rng)
    }
}

fn draw(places: usize, skewed: bool, seed: u64) -> Vec<Sample> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut samples = Vec::new();
    for place in 0..places {
        let common = BETWEEN * error(&mut rng, skewed);
        for core in 0..2 {
            let z: f64 = StandardNormal.sample(&mut rng);
            let water = 0.25 + WATER * z;
            samples.push(sample(
                (place, core),
                (water, 0.0),
                water + BIAS + common + WITHIN * error(&mut rng, skewed),
            ));
        }
    }
    samples
}

/// The measures of all places there could be, from a very long draw (for the mean
/// absolute difference) and the moments.
fn truth(measure: Measure, skewed: bool) -> f64 {
    let square = BETWEEN * BETWEEN + WITHIN * WITHIN;
    let (x2, y2) = (WATER * WATER, WATER * WATER + square);
    match measure {
        Measure::Bias => BIAS,
        Measure::Rmse => (BIAS * BIAS + square).sqrt(),
        Measure::UnbiasedRmse => square.sqrt(),
        Measure::MeanAbsoluteError => {
            let mut rng = ChaCha8Rng::seed_from_u64(1);
            let draws = 2_000_000;
            let sum: f64 = (0..draws)
                .map(|_| {
                    let common = BETWEEN * error(&mut rng, skewed);
                    (BIAS + common + WITHIN * error(&mut rng, skewed)).abs()
                })
                .sum();
            sum / f64::from(draws)
        }
        Measure::RSquared => x2 / y2,
        Measure::NashSutcliffe => 1.0 - (BIAS * BIAS + square) / x2,
        Measure::Concordance => 2.0 * x2 / (x2 + y2 + BIAS * BIAS),
    }
}

/// Percent of the batches whose interval holds the truth, by measure.
fn held(places: usize, skewed: bool) -> Vec<f64> {
    let truths = Measure::ALL.map(|measure| truth(measure, skewed));
    let drawing = |seed| Bootstrap {
        replicates: 400,
        seed,
        confidence: 0.95,
    };
    let counts = (0..BATCHES)
        .into_par_iter()
        .map(|seed| {
            let samples = draw(places, skewed, 77_000 + seed);
            let found = drawing(seed).of(&samples).expect("intervals");
            let mut held = [0_u32; 7];
            for (place, measure) in Measure::ALL.into_iter().enumerate() {
                let interval = found.interval(measure).expect("an interval");
                held[place] = u32::from(interval.holds(truths[place]));
            }
            held
        })
        .reduce(|| [0; 7], |a, b| std::array::from_fn(|i| a[i] + b[i]));
    let percent: Vec<f64> = counts
        .iter()
        .map(|count| 100.0 * f64::from(*count) / BATCHES as f64)
        .collect();
    println!("{places} places, skewed {skewed}: {percent:.1?}");
    percent
}

#[test]
fn the_intervals_of_every_measure_hold_the_truth_about_as_often_as_they_say() {
    // Two standard deviations of a count of 1,000 are 1.4 %.
    for (places, skewed, least) in [
        (FEWEST_CLUSTERS, false, 91.0),
        (20, false, 92.0),
        (FEWEST_CLUSTERS, true, 85.0),
        (20, true, 87.0),
    ] {
        for (measure, percent) in Measure::ALL.into_iter().zip(held(places, skewed)) {
            assert!(
                (least..=98.5).contains(&percent),
                "{places} places, skewed {skewed}: {measure:?} {percent} %"
            );
        }
    }
}
