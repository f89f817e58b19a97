//! How often the 95 % intervals hold the truth, by simulation: for every curve,
//! scatter of the cores, number of levels and of cores a level, with errors on
//! both axes and a temperature effect.
//!
//! `cargo run --release -p ovendry-tests --example coverage -- 5000 > tests/coverage.csv`
//!
//! Each row is one cell of so many simulated calibrations, each asked about four
//! new readings: once with the curve of the truth asked for, once with the curve
//! chosen. The seed of every calibration is fixed by its cell and number, so the
//! table is the same on any machine and any number of threads.

use calib_core::calibration::Calibration;
use calib_core::curve::CurveKind;
use ovendry_tests::simulation::{Truth, World};
use rayon::prelude::*;

/// New readings foretold by each calibration.
const READINGS: usize = 4;

/// One combination studied.
#[derive(Clone, Copy)]
struct Cell {
    kind: CurveKind,
    scatter: f64,
    levels: usize,
    cores: usize,
}

/// What became of a cell's calibrations, with the curve asked for or chosen.
#[derive(Clone, Copy, Default)]
struct Tally {
    calibrations: u32,
    readings: u32,
    held: u32,
    width: f64,
}

impl Tally {
    fn and(self, other: Self) -> Self {
        Self {
            calibrations: self.calibrations + other.calibrations,
            readings: self.readings + other.readings,
            held: self.held + other.held,
            width: self.width + other.width,
        }
    }

    fn foretell(&mut self, world: &mut World, calibration: &Calibration) {
        self.calibrations += 1;
        for _ in 0..READINGS {
            if let Some(foretold) = world.foretells(calibration) {
                self.readings += 1;
                self.held += u32::from(foretold.held);
                self.width += foretold.half_width;
            }
        }
    }
}

impl Cell {
    /// Every combination, with the curves in the family's order.
    fn all() -> Vec<Self> {
        let mut cells = Vec::new();
        for kind in CurveKind::ALL {
            for scatter in [0.004, 0.010, 0.020] {
                for levels in [5, 7, 9] {
                    for cores in [1, 2, 3] {
                        cells.push(Self {
                            kind,
                            scatter,
                            levels,
                            cores,
                        });
                    }
                }
            }
        }
        cells
    }

    fn world(&self, run: u64) -> World {
        let cell = self.levels as u64 * 10 + self.cores as u64;
        World::new(Truth::of(self.kind, self.scatter), run * 1000 + cell)
    }

    /// Asked for and chosen.
    fn study(&self, runs: u64) -> [Tally; 2] {
        (0..runs)
            .into_par_iter()
            .map(|run| {
                [Some(self.kind), None].map(|asked_for| {
                    let mut world = self.world(run);
                    let mut tally = Tally::default();
                    if let Some((calibration, _)) =
                        world.calibrate(self.levels, self.cores, asked_for)
                    {
                        tally.foretell(&mut world, &calibration);
                    }
                    tally
                })
            })
            .reduce(
                || [Tally::default(); 2],
                |a, b| [a[0].and(b[0]), a[1].and(b[1])],
            )
    }
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let runs: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(200);
    let only = arguments.next();
    println!(
        "curve,scatter_m3_m3,levels,cores_per_level,calibrations,fitted,held_percent,half_width_m3_m3,chosen_fitted,chosen_held_percent,chosen_half_width_m3_m3"
    );
    for cell in Cell::all() {
        if only.as_deref().is_some_and(|only| only != cell.kind.key()) {
            continue;
        }
        let [asked, chosen] = cell.study(runs);
        let columns = [asked, chosen].map(|tally| {
            if tally.readings == 0 {
                return "0,,".to_owned();
            }
            format!(
                "{},{:.1},{:.4}",
                tally.calibrations,
                100.0 * f64::from(tally.held) / f64::from(tally.readings),
                tally.width / f64::from(tally.readings)
            )
        });
        println!(
            "{},{},{},{},{runs},{},{}",
            cell.kind.key(),
            cell.scatter,
            cell.levels,
            cell.cores,
            columns[0],
            columns[1]
        );
    }
}
