//! How long the study of ten thousand probes takes, 21 pairs each.
//!
//! `cargo bench -p calib-core --bench batch`

use calib_core::batch::{Member, Pool, mixed, one_curve, pool};
use calib_core::fit::Observation;
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use criterion::{Criterion, criterion_group, criterion_main};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::hint::black_box;

const PROBES: usize = 10_000;
const CORES: usize = 21;

/// Probes along a line, each with an offset and a gain.
fn members(shared: bool) -> Vec<Member> {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut normal = |sd: f64| -> f64 {
        let z: f64 = StandardNormal.sample(&mut rng);
        sd * z
    };
    let common: Vec<f64> = (0..CORES).map(|_| normal(0.008)).collect();
    (0..PROBES)
        .map(|probe| {
            let (offset, gain) = (normal(0.01), normal(0.08));
            let observations = (0..CORES)
                .map(|i| {
                    let felt = 0.12 + 0.24 * i as f64 / (CORES - 1) as f64;
                    let (sample, error) = if shared {
                        (format!("c{i}"), common[i])
                    } else {
                        (format!("c{probe}-{i}"), normal(0.008))
                    };
                    let apparent = felt + offset + gain * (felt - 0.24) + normal(0.004);
                    Observation {
                        sample,
                        level: (i / 3).to_string(),
                        count: Estimate::new(500.0 - (apparent - 0.25) / 0.0009, 0.6),
                        temperature: None,
                        theta_v: Estimate::new(
                            Vwc::new(felt + error).expect("a water content"),
                            0.002,
                        ),
                        budget: Budget::default(),
                        relative_volume_u: 0.0,
                    }
                })
                .collect();
            Member {
                probe: format!("p{probe}"),
                batch: None,
                media: None,
                observations,
            }
        })
        .collect()
}

fn study(c: &mut Criterion) {
    for (name, shared) in [("cores of their own", false), ("shared cores", true)] {
        let members = members(shared);
        let mut group = c.benchmark_group(format!("10,000 probes x 21, {name}"));
        group.sample_size(10);
        group.bench_function("the curve and the deviations", |b| {
            b.iter(|| pool(black_box(&members), None));
        });
        let pooled: Pool = pool(&members, None).expect("a pool");
        group.bench_function("the tests", |b| b.iter(|| one_curve(black_box(&pooled))));
        group.bench_function("the spread", |b| b.iter(|| mixed(black_box(&pooled))));
        group.finish();
    }
}

criterion_group!(benches, study);
criterion_main!(benches);
