//! How often the 95 % intervals hold the truth, by simulation: for every curve,
//! scatter of the cores, number of levels and of cores a level, with errors on
//! both axes and a temperature effect.
//!
//! Each cell is so many simulated calibrations, each asked about four new readings:
//! once with the curve of the truth asked for, once with the curve chosen. The seed
//! of every calibration is fixed by its cell and number, so the figures are the
//! same on any machine and any number of threads.

use crate::simulation::{Truth, World};
use calib_core::calibration::Calibration;
use calib_core::curve::CurveKind;
use rayon::prelude::*;

/// New readings foretold by each calibration.
const READINGS: usize = 4;

/// The columns of a cell's line.
pub const HEADER: &str = "curve,scatter_m3_m3,levels,cores_per_level,calibrations,fitted,held_percent,half_width_m3_m3,chosen_fitted,chosen_held_percent,chosen_half_width_m3_m3";

/// One combination studied.
#[derive(Debug, Clone, Copy)]
pub struct Cell {
    /// The curve of the truth.
    pub kind: CurveKind,
    /// Scatter of the cores, m3/m3.
    pub scatter: f64,
    /// Moisture levels.
    pub levels: usize,
    /// Cores a level.
    pub cores: usize,
}

/// What became of a cell's calibrations.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tally {
    /// Calibrations that the fit did not refuse.
    pub calibrations: u32,
    /// New readings inside their domains.
    pub readings: u32,
    /// Of these, those whose interval held the truth.
    pub held: u32,
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

    /// Share of the intervals that held the truth, per cent; none without readings.
    pub fn held_percent(&self) -> Option<f64> {
        (self.readings > 0).then(|| 100.0 * f64::from(self.held) / f64::from(self.readings))
    }

    fn columns(&self) -> String {
        self.held_percent().map_or_else(
            || "0,,".to_owned(),
            |held| {
                let width = self.width / f64::from(self.readings);
                format!("{},{held:.1},{width:.4}", self.calibrations)
            },
        )
    }
}

impl Cell {
    /// Every combination, with the curves in the family's order.
    pub fn all() -> Vec<Self> {
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

    /// `runs` calibrations, with the curve asked for and with the curve chosen.
    pub fn study(&self, runs: u64) -> [Tally; 2] {
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

    /// The cell as a line under [`HEADER`].
    pub fn line(&self, runs: u64) -> String {
        let [asked, chosen] = self.study(runs);
        format!(
            "{},{},{},{},{runs},{},{}",
            self.kind.key(),
            self.scatter,
            self.levels,
            self.cores,
            asked.columns(),
            chosen.columns()
        )
    }
}
