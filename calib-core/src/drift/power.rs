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
use serde::Serialize;

/// Drifts looked at, m3/m3.
pub const DRIFTS: [f64; 2] = [0.02, 0.03];

/// Simulated runs: shares are then known to about one per cent.
const RUNS: u64 = 2000;

/// How soon a drift is found that was there before the first check and stays.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Power {
    /// The drift, the same at every wetness, m3/m3.
    pub drift: f64,
    /// Checks after which it is found in half of the cases; `None` where the checks
    /// planned do not find it in half.
    pub half: Option<usize>,
    /// Checks after which it is found in nine of ten cases.
    pub nine_of_ten: Option<usize>,
    /// Share of cases in which the checks planned find it.
    pub within_plan: f64,
    /// Share of cases in which `half` and the rest would be found without any drift.
    pub false_alarms: f64,
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
        .take(plan.checks)
        .enumerate()
        .map(|(visit, check)| Check {
            visit,
            ..check.clone()
        })
        .collect();
    if checks.is_empty() {
        return Ok(Vec::new());
    }
    let foreteller = Foreteller::new(calibration, &checks, other_ring)?;
    let none = found_by(&foreteller, plan, 0.0, seed);
    Ok(DRIFTS
        .into_iter()
        .map(|drift| {
            let found = found_by(&foreteller, plan, drift, seed);
            Power {
                drift,
                half: reaches(&found, 0.5),
                nine_of_ten: reaches(&found, 0.9),
                within_plan: found.last().copied().unwrap_or(0.0),
                false_alarms: none.last().copied().unwrap_or(0.0),
            }
        })
        .collect())
}

/// The number of checks after which a share of at least `share` is found.
fn reaches(found: &[f64], share: f64) -> Option<usize> {
    found.iter().position(|by| *by >= share).map(|at| at + 1)
}

/// The share of runs found after each number of checks.
fn found_by(foreteller: &Foreteller, plan: &Plan, drift: f64, seed: u64) -> Vec<f64> {
    let alarms: Vec<Option<usize>> = (0..RUNS)
        .into_par_iter()
        .map(|run| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            rng.set_stream(run);
            let chance: f64 = rng.random();
            let normals: Vec<f64> = (0..plan.checks)
                .map(|_| StandardNormal.sample(&mut rng))
                .collect();
            let mut departures = Vec::new();
            foreteller.draw(chance, &normals, &mut departures);
            for departure in &mut departures {
                *departure += drift;
            }
            plan.alarm_at(&foreteller.scores(&departures))
        })
        .collect();
    (0..plan.checks)
        .map(|check| {
            let found = alarms.iter().flatten().filter(|at| **at <= check).count();
            found as f64 / RUNS as f64
        })
        .collect()
}
