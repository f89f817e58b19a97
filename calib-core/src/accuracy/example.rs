//! Samples for the tests of this room.

use super::sample::Sample;
use crate::fit::Observation;
use crate::pair::Pair;
use crate::quantity::{Celsius, Estimate, Quantity, Vwc};
use crate::uncertainty::Budget;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A sample whose reference and reading are given; alone in its cluster.
pub(super) fn sample(core: &str, reference: f64, reading: f64) -> Sample {
    Sample {
        core: core.to_owned(),
        cluster: core.to_owned(),
        soil: "loam".to_owned(),
        probe: "p1".to_owned(),
        count: 500.0,
        temperature: Some(Celsius::new(15.0).unwrap()),
        reference: Estimate::new(Vwc::new(reference).unwrap(), 0.004),
        relative_volume_u: 0.01,
        reading,
        reading_u: None,
    }
}

/// `n` cores from dry to wet, readings normal about them with `bias` and `sd`.
pub(super) fn samples(n: usize, bias: f64, sd: f64, seed: u64) -> Vec<Sample> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    (0..n)
        .map(|i| {
            let reference = 0.08 + 0.32 * (i as f64 + 0.5) / n as f64;
            let z: f64 = StandardNormal.sample(&mut rng);
            sample(&format!("c{i}"), reference, reference + bias + sd * z)
        })
        .collect()
}

/// A core beside a probe.
pub(super) fn pair(core: &str, probe: &str, soil: &str, count: f64, theta: f64) -> Pair {
    Pair {
        probe: probe.to_owned(),
        soil: soil.to_owned(),
        batch: None,
        place: None,
        taken_at: None,
        observation: Observation {
            sample: core.to_owned(),
            level: core.to_owned(),
            count: Estimate::new(count, 0.3),
            temperature: None,
            theta_v: Estimate::new(Vwc::new(theta).unwrap(), 0.004),
            budget: Budget::default(),
            relative_volume_u: 0.01,
        },
    }
}

/// Cores of `probes` probes in each of `soils`, seven levels of two; every probe reads
/// a little more than the one before.
pub(super) fn pairs(probes: usize, soils: usize, seed: u64) -> Vec<Pair> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut pairs = Vec::new();
    for soil in 0..soils {
        for probe in 0..probes {
            for core in 0..14 {
                let theta = 0.08 + 0.05 * f64::from(core / 2);
                let z: f64 = StandardNormal.sample(&mut rng);
                let count = 800.0 - 1_000.0 * theta + 4.0 * probe as f64 + 8.0 * z;
                let mut one = pair(
                    &format!("s{soil}p{probe}c{core}"),
                    &format!("p{probe}"),
                    &format!("soil {soil}"),
                    count.round(),
                    theta + 0.0002 * f64::from(core % 3),
                );
                one.observation.level = format!("level {}", core / 2);
                pairs.push(one);
            }
        }
    }
    pairs
}
