//! How long a drift stays unseen: the test on simulated departures.

use super::check::Check;
use super::error::DriftError;
use super::innovations::Foreteller;
use super::sequential::Plan;
use crate::calibration::Calibration;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

/// Drifts looked at, m3/m3.
pub const DRIFTS: [f64; 2] = [0.02, 0.03];

/// Simulated runs: shares are then known to one and a half per cent.
const RUNS: u64 = 1000;
/// Most checks simulated; a drift that these do not find counts as not found.
const MOST_CHECKS: usize = 60;
/// Values of the scatter looked at for each curve.
const NODES: usize = 25;

/// How soon a drift is found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Power {
    /// The drift, the same at every wetness, m3/m3.
    pub drift: f64,
    /// If it was there before the first check and stays.
    pub from_first: Found,
    /// If it comes when half of the checks planned are gone, without an alarm, and stays.
    pub from_half: Found,
    /// Share of cases in which the checks planned raise an alarm without any drift.
    pub false_alarms: f64,
}

/// After how many checks a drift is found, counted from when it comes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Found {
    /// In half of the cases; `None` where the checks planned do not find it in half.
    pub half: Option<usize>,
    /// In nine of ten cases.
    pub nine_of_ten: Option<usize>,
    /// Share of cases in which the checks planned find it.
    pub within_plan: f64,
}

/// How soon each of [`DRIFTS`] would be found with checks such as those of `pattern`, over
/// and over, each in a visit of its own.
///
/// # Errors
/// As [`Foreteller::new`].
pub fn power(
    calibration: &Calibration,
    pattern: &[Check],
    other_ring: bool,
    plan: &Plan,
    seed: u64,
) -> Result<Vec<Power>, DriftError> {
    let checks: Vec<Check> = pattern
        .iter()
        .cycle()
        .take(plan.checks.min(MOST_CHECKS))
        .enumerate()
        .map(|(visit, check)| Check {
            visit,
            ..check.clone()
        })
        .collect();
    if checks.is_empty() {
        return Ok(Vec::new());
    }
    let foreteller = Foreteller::with_nodes(calibration, &checks, other_ring, NODES)?;
    let found = |drift, start| found_by(&foreteller, plan, drift, start, seed);
    let none = found(0.0, 0);
    Ok(DRIFTS
        .into_iter()
        .map(|drift| Power {
            drift,
            from_first: Found::of(&found(drift, 0)),
            from_half: Found::of(&found(drift, checks.len() / 2)),
            false_alarms: none.last().copied().unwrap_or(0.0),
        })
        .collect())
}

impl Found {
    /// From the share found after each number of checks.
    fn of(found: &[f64]) -> Self {
        let reaches = |share: f64| found.iter().position(|by| *by >= share).map(|at| at + 1);
        Self {
            half: reaches(0.5),
            nine_of_ten: reaches(0.9),
            within_plan: found.last().copied().unwrap_or(0.0),
        }
    }
}

/// The share of runs found after each number of checks from `start` on, where the drift
/// comes; runs with an alarm before it are left aside.
fn found_by(foreteller: &Foreteller, plan: &Plan, drift: f64, start: usize, seed: u64) -> Vec<f64> {
    let alarms: Vec<Option<usize>> = (0..RUNS)
        .into_par_iter()
        .map(|run| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            rng.set_stream(run);
            let chance: f64 = rng.random();
            let normals: Vec<f64> = (0..foreteller.checks())
                .map(|_| StandardNormal.sample(&mut rng))
                .collect();
            let mut departures = Vec::new();
            foreteller.draw(chance, &normals, &mut departures);
            for departure in departures.iter_mut().skip(start) {
                *departure += drift;
            }
            plan.alarm_at(&foreteller.scores(&departures), foreteller.ends())
        })
        .filter(|alarm| alarm.is_none_or(|at| at >= start))
        .collect();
    (start..foreteller.checks())
        .map(|check| {
            let found = alarms.iter().flatten().filter(|at| **at <= check).count();
            found as f64 / alarms.len().max(1) as f64
        })
        .collect()
}
