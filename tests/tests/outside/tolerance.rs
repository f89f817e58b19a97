//! Tolerance factors and the P values of tests about batches, by another program too.
//!
//! Outside: scipy, a Python package; the script `tolerance.py` says how it is used. It
//! needs `scipy` in the Python that `OVENDRY_PYTHON` names (`python3` if it does not).

use crate::{Check, output_of, python};
use calib_core::batch::anova::one_way;
use calib_core::batch::equivalence::{ProbeMean, compare_batches};
use calib_core::batch::tolerance::{one_sided_factor, two_sided_factor};
use ovendry_tests::{Bench, repository};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::{Value, json};
use std::fs::File;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "another program finds the tolerance factors and P values of batches that we do",
    needs: &["python3"],
    run,
};

/// Relative difference allowed. Both integrate to some 10 digits; noncentral t of few
/// degrees of freedom is what limits the other program.
const AGREED: f64 = 1e-7;
/// Problems of two batches and of groups.
const PROBLEMS: u64 = 10;

fn draw(random: &mut ChaCha8Rng, spread: f64) -> Vec<f64> {
    (0..random.random_range(3..25))
        .map(|_| spread * <StandardNormal as Distribution<f64>>::sample(&StandardNormal, random))
        .collect()
}

fn run() -> Result<(), String> {
    let (mut questions, mut ours) = (Vec::new(), Vec::new());
    for n in [2.0, 3.0, 5.0, 10.0, 43.0, 200.0, 1000.0] {
        // Degrees of freedom those of the sample, then fewer and more.
        for freedom in [n - 1.0, 0.6 * n + 0.35, 3.0 * n] {
            for share in [0.5, 0.9, 0.99] {
                for confidence in [0.5, 0.9, 0.99] {
                    questions.push(json!({ "n": n, "freedom": freedom, "share": share, "confidence": confidence }));
                    let factor = |found: Result<f64, _>| found.map_err(|e| format!("{n}: {e}"));
                    ours.push(vec![
                        factor(two_sided_factor(n, freedom, share, confidence))?,
                        factor(one_sided_factor(n, freedom, share, confidence))?,
                    ]);
                }
            }
        }
    }
    for seed in 0..PROBLEMS {
        let random = &mut ChaCha8Rng::seed_from_u64(9_100 + seed);
        let (a, b) = (draw(random, 1.0), draw(random, 1.7));
        let margin = 0.8;
        let means = |values: &[f64]| -> Vec<ProbeMean> {
            values
                .iter()
                .map(|value| ProbeMean {
                    value: *value,
                    variance: 0.0,
                })
                .collect()
        };
        let found = compare_batches(&means(&a), &means(&b), margin, 2.0)
            .map_err(|e| format!("problem {seed}: {e}"))?;
        let groups = [a.clone(), b.clone(), draw(random, 1.0)];
        let analysis = one_way(&groups).map_err(|e| format!("problem {seed}: {e}"))?;
        ours.push(vec![
            found.mean.freedom,
            found.mean.difference_p,
            found.mean.difference.low,
            found.mean.difference.high.unwrap_or(f64::MAX),
            found.mean.equivalence_p,
            found.mean.equivalence_low,
            found.mean.equivalence_high,
            found.spread.difference_p,
            found.spread.equivalence_p,
            found.spread.ratio.low,
            found.spread.ratio.high.unwrap_or(f64::MAX),
            analysis.f.unwrap_or(f64::MAX),
            analysis.p_value.unwrap_or(f64::MAX),
        ]);
        questions.push(json!({ "a": a, "b": b, "margin": margin, "ratio": 2.0, "groups": groups }));
    }
    let bench = Bench::empty();
    bench.put("problems.json", Value::from(questions.clone()).to_string());
    let file = File::open(bench.path().join("problems.json")).map_err(|e| e.to_string())?;
    let script = repository().join("tests/tests/outside/tolerance.py");
    let text = output_of(Command::new(python()).arg(script).stdin(file))?;
    let said: Value = serde_json::from_slice(&text).map_err(|e| e.to_string())?;
    let theirs: Vec<Vec<f64>> =
        serde_json::from_value(said["answers"].clone()).map_err(|e| e.to_string())?;
    if theirs.len() != ours.len() {
        return Err(format!("{} answers to {}", theirs.len(), ours.len()));
    }
    let (mut largest, mut differences) = (0.0_f64, Vec::new());
    for ((question, ours), theirs) in questions.iter().zip(&ours).zip(&theirs) {
        for (a, b) in ours.iter().zip(theirs) {
            let off = (a - b).abs() / b.abs().max(1e-3);
            largest = largest.max(off);
            if off > AGREED || off.is_nan() || ours.len() != theirs.len() {
                differences.push(format!("{question}: ours {ours:?}, theirs {theirs:?}"));
                break;
            }
        }
    }
    println!(
        "{}: {} problems, largest relative difference {largest:.1e}",
        said["program"],
        ours.len()
    );
    if differences.is_empty() {
        Ok(())
    } else {
        Err(differences.join("\n"))
    }
}
