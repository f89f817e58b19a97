//! How often the 95 % intervals hold the truth, by simulation.
use calib_core::curve::CurveKind;
use ovendry_tests::simulation::{Truth, World};

fn main() {
    let runs: u64 = std::env::args()
        .nth(1)
        .and_then(|a| a.parse().ok())
        .unwrap_or(1000);
    println!(
        "{:<14} {:>7} {:>6} {:>5} | {:>9} {:>9} {:>7}",
        "truth", "scatter", "levels", "cores", "cover %", "chosen %", "refused"
    );
    for kind in [
        CurveKind::StraightLine,
        CurveKind::Hyperbolic,
        CurveKind::Exponential,
    ] {
        for scatter in [0.004, 0.020] {
            for levels in [5, 7] {
                for cores in [1, 3] {
                    let truth = Truth::of(kind, scatter);
                    let (mut held, mut asked) = ([0u64; 2], [0u64; 2]);
                    let (mut refused, mut right) = (0, 0);
                    for seed in 0..runs {
                        for (which, wanted) in [(0, Some(kind)), (1, None)] {
                            let mut world =
                                World::new(truth, seed * 1000 + levels as u64 * 10 + cores as u64);
                            let Some((calibration, choice)) =
                                world.calibrate(levels, cores, wanted)
                            else {
                                if which == 1 {
                                    refused += 1;
                                }
                                continue;
                            };
                            if which == 1 && choice.fit.curve.kind == kind {
                                right += 1;
                            }
                            for _ in 0..4 {
                                if let Some(inside) = world.foretells(&calibration) {
                                    asked[which] += 1;
                                    held[which] += u64::from(inside);
                                }
                            }
                        }
                    }
                    println!(
                        "{:<14} {scatter:>7} {levels:>6} {cores:>5} | {:>9.1} {:>9.1} {refused:>7} right {right}",
                        kind.key(),
                        100.0 * held[0] as f64 / asked[0] as f64,
                        100.0 * held[1] as f64 / asked[1] as f64
                    );
                }
            }
        }
    }
}
