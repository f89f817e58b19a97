//! How long a fit takes, and that its cost grows in step with the points.
//!
//! `cargo bench -p calib-core`

use calib_core::curve::CurveKind;
use calib_core::fit::{Loss, Observation, Points, Regression, Settings, choose, fit_curve, solve};
use calib_core::quantity::{Celsius, Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::hint::black_box;

/// Cores along a cubic with errors on both axes and a temperature effect.
fn cores(n: usize) -> Vec<Observation> {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut normal = |sd: f64| -> f64 {
        let z: f64 = StandardNormal.sample(&mut rng);
        sd * z
    };
    (0..n)
        .map(|i| {
            let count = 320.0 + 360.0 * i as f64 / (n - 1) as f64;
            let z = (count - 500.0) / 180.0;
            let warmth = 10.0 * f64::from((i * 7 % 13) as u32) / 13.0;
            Observation {
                sample: i.to_string(),
                level: (i * 7 / n).to_string(),
                count: Estimate::new(count + 0.6 * warmth + normal(0.6), 0.6),
                temperature: Celsius::new(15.0 + warmth).ok(),
                theta_v: Estimate::new(
                    Vwc::new(0.22 - 0.09 * z + 0.02 * z * z - 0.06 * z * z * z + normal(0.004))
                        .expect("a water content"),
                    0.0015,
                ),
                budget: Budget::default(),
                relative_volume_u: 0.006,
            }
        })
        .collect()
}

/// A cubic in z: four parameters, one noisy input.
struct Cubic;

impl Regression for Cubic {
    fn parameters(&self) -> usize {
        4
    }
    fn inputs(&self) -> usize {
        1
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        let model = CurveKind::Cubic.model();
        model.gradient(x[0], p, g);
        v[0] = model.slope(x[0], p);
        model.value(x[0], p)
    }
}

struct Columns {
    y: Vec<f64>,
    u_y: Vec<f64>,
    x: Vec<f64>,
    u_x: Vec<f64>,
}

fn columns(n: usize) -> Columns {
    let cores = cores(n);
    Columns {
        y: cores.iter().map(|o| o.theta_v.value.value()).collect(),
        u_y: vec![0.004; n],
        x: cores
            .iter()
            .map(|o| (o.count.value - 500.0) / 180.0)
            .collect(),
        u_x: vec![0.6 / 180.0; n],
    }
}

fn both_axes(c: &mut Criterion) {
    let mut group = c.benchmark_group("both axes, 4 parameters");
    for n in [21, 100, 1_000, 10_000, 100_000, 1_000_000] {
        let data = columns(n);
        let points = Points {
            y: &data.y,
            u_y: &data.u_y,
            x: &data.x,
            u_x: &data.u_x,
        };
        group.throughput(Throughput::Elements(n as u64));
        if n > 10_000 {
            group.sample_size(10);
        }
        group.bench_with_input(BenchmarkId::from_parameter(n), &points, |b, points| {
            b.iter(|| {
                solve(
                    &Cubic,
                    black_box(points),
                    &[0.2, -0.1, 0.0, 0.0],
                    &Settings::default(),
                )
            });
        });
    }
    group.finish();
}

fn a_calibration(c: &mut Criterion) {
    let observations = cores(21);
    c.bench_function("one curve, 21 cores", |b| {
        b.iter(|| {
            fit_curve(
                black_box(&observations),
                CurveKind::Cubic,
                Celsius::new(19.0).ok(),
                Loss::Squares,
            )
        });
    });
    c.bench_function("the choice among curves, 21 cores", |b| {
        b.iter(|| choose(black_box(&observations), None));
    });
}

criterion_group!(benches, both_axes, a_calibration);
criterion_main!(benches);
