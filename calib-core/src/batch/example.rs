//! Small batches for the tests of this room.

use super::{Member, members};
use crate::fit::Observation;
use crate::pair::{Pair, TwoPoints};
use crate::quantity::{Estimate, Quantity, Vwc};
use crate::uncertainty::Budget;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::collections::BTreeMap;

/// A draw of mean 0 and this standard deviation.
pub(super) fn normal(rng: &mut impl Rng, sd: f64) -> f64 {
    let z: f64 = StandardNormal.sample(rng);
    sd * z
}

pub(super) fn pair(probe: &str, core: &str, count: f64, theta_v: f64) -> Pair {
    Pair {
        probe: probe.to_owned(),
        soil: "bed".to_owned(),
        batch: None,
        place: None,
        taken_at: None,
        observation: Observation {
            sample: core.to_owned(),
            level: core.to_owned(),
            count: Estimate::new(count, 0.5),
            temperature: None,
            theta_v: Estimate::new(Vwc::new(theta_v).unwrap(), 0.002),
            budget: Budget::default(),
            relative_volume_u: 0.0,
        },
    }
}

/// Probes on a line, each with an offset of this standard deviation; cores scatter by
/// 0.008 m3/m3.
pub(super) fn batch(
    probes: usize,
    cores: usize,
    shared: bool,
    offset: f64,
    seed: u64,
) -> Vec<Pair> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let common: Vec<f64> = (0..cores).map(|_| normal(&mut rng, 0.008)).collect();
    let mut pairs = Vec::new();
    for probe in 0..probes {
        let offset = normal(&mut rng, offset);
        let gain = normal(&mut rng, 8.0 * offset.abs());
        for (i, common) in common.iter().enumerate() {
            let felt = 0.12 + 0.24 * (i as f64 + rng.random_range(0.0..0.5)) / cores as f64;
            let (felt, error, core) = if shared {
                (
                    0.12 + 0.24 * i as f64 / cores as f64,
                    *common,
                    format!("c{i}"),
                )
            } else {
                (felt, normal(&mut rng, 0.008), format!("c{probe}-{i}"))
            };
            let apparent = felt + offset + gain * (felt - 0.24) + normal(&mut rng, 0.003);
            let count = 500.0 - (apparent - 0.25) / 0.0009;
            pairs.push(pair(&format!("p{probe}"), &core, count, felt + error));
        }
    }
    pairs
}

pub(super) fn as_members(pairs: &[Pair]) -> Vec<Member> {
    let media: BTreeMap<String, TwoPoints> = BTreeMap::new();
    members(pairs, &media, "bed").unwrap()
}
