//! Which curve is chosen for which truth, and what that costs, by simulation: 40
//! calibrations of 7 levels x 3 cores, or as many and as large as asked for.
//!
//! `cargo run --release -p ovendry-tests --example curve_recovery [RUNS LEVELS CORES]`
//!
//! For each truth a line of how often each curve was chosen unasked, then the
//! root mean square distance of the curve from the truth over the calibrated
//! counts and the coverage of the 95 % intervals: chosen unasked, and asked for by
//! its own name.

use calib_core::calibration::Calibration;
use calib_core::curve::CurveKind;
use calib_core::quantity::{Celsius, Quantity};
use ovendry_tests::simulation::{REFERENCE, Truth, World};

const NEW_READINGS: usize = 20;

#[derive(Default)]
struct Tally {
    chosen: [usize; CurveKind::ALL.len()],
    refused: usize,
    squares: f64,
    places: usize,
    held: usize,
    asked: usize,
}

impl Tally {
    fn add(
        &mut self,
        truth: &Truth,
        world: &mut World,
        (levels, cores): (usize, usize),
        wanted: Option<CurveKind>,
    ) {
        let Some((calibration, choice)) = world.calibrate(levels, cores, wanted) else {
            self.refused += 1;
            return;
        };
        let kind = choice.fit.curve.kind;
        for (seen, of) in self.chosen.iter_mut().zip(CurveKind::ALL) {
            *seen += usize::from(of == kind);
        }
        self.measure(truth, &calibration);
        for _ in 0..NEW_READINGS {
            if let Some(foretold) = world.foretells(&calibration) {
                self.asked += 1;
                self.held += usize::from(foretold.held);
            }
        }
    }

    fn measure(&mut self, truth: &Truth, calibration: &Calibration) {
        for step in 0..=34 {
            let count = 330.0 + 10.0 * f64::from(step);
            if let Ok(theta) = calibration.theta_v(count, Celsius::new(REFERENCE).ok()) {
                self.squares += (theta.value() - (truth.theta_v)(count)).powi(2);
                self.places += 1;
            }
        }
    }

    fn distance(&self) -> f64 {
        (self.squares / self.places as f64).sqrt()
    }

    fn coverage(&self) -> f64 {
        100.0 * self.held as f64 / self.asked as f64
    }
}

fn main() {
    let argument = |n: usize, otherwise: u64| -> u64 {
        std::env::args()
            .nth(n)
            .and_then(|a| a.parse().ok())
            .unwrap_or(otherwise)
    };
    let runs = argument(1, 40);
    let (levels, cores) = (argument(2, 7) as usize, argument(3, 3) as usize);
    for scatter in [0.004, 0.010] {
        println!("\n{runs} runs of {levels} levels x {cores} cores, scatter {scatter} m3/m3");
        print!("{:<18}", "truth");
        for kind in CurveKind::ALL {
            print!("{:>5.4}", kind.key());
        }
        println!(" refused | unasked: rms, cover | by name: refused, rms, cover");
        for kind in CurveKind::ALL {
            let truth = Truth::of(kind, scatter);
            let (mut unasked, mut by_name) = (Tally::default(), Tally::default());
            for seed in 0..runs {
                unasked.add(&truth, &mut World::new(truth, seed), (levels, cores), None);
                by_name.add(
                    &truth,
                    &mut World::new(truth, seed),
                    (levels, cores),
                    Some(kind),
                );
            }
            print!("{:<18}", kind.key());
            for seen in unasked.chosen {
                print!("{seen:>5}");
            }
            println!(
                " {:>7} |        {:>6.4} {:>6.1} | {:>17} {:>6.4} {:>6.1}",
                unasked.refused,
                unasked.distance(),
                unasked.coverage(),
                by_name.refused,
                by_name.distance(),
                by_name.coverage(),
            );
        }
    }
}
