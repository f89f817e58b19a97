//! Straight lines with wrong cores among the right, fitted by another program too.
//!
//! Outside: statsmodels' RLM, a Python package; the script `robust_line.py` says
//! how it is used. It needs `statsmodels` in the Python that `OVENDRY_PYTHON` names
//! (`python3` if it does not).
//!
//! Counts are exact and reference values all but exact, so that what is left is the
//! textbook's case: one unknown scatter, the same for every core.

use crate::{Check, output_of, python};
use calib_core::curve::CurveKind;
use calib_core::fit::{Loss, ModelFit, Observation, fit_curve};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use ovendry_tests::{Bench, repository};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::{Value, json};
use std::fs::File;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "another program fits ten lines with wrong cores by both robust losses as we do",
    needs: &["python3"],
    run,
};

const PROBLEMS: u64 = 10;
/// Relative difference allowed: five digits.
const AGREED: f64 = 0.5e-5;
/// Stated standard uncertainty of theta_v, m3/m3: the least that a fit takes.
const STATED: f64 = 1e-5;

fn draw(seed: u64) -> Vec<Observation> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let cores: usize = rng.random_range(10..=30);
    let scatter = rng.random_range(0.004..0.015);
    (0..cores)
        .map(|i| {
            let count: f64 = rng.random_range(320.0..680.0_f64).round();
            let error: f64 = StandardNormal.sample(&mut rng);
            let wrong = if rng.random_bool(0.1) {
                rng.random_range(-8.0..8.0)
            } else {
                0.0
            };
            let theta = 0.25 - 0.0007 * (count - 500.0) + scatter * (error + wrong);
            Observation {
                sample: i.to_string(),
                level: i.to_string(),
                count: Estimate::new(count, 0.0),
                temperature: None,
                theta_v: Estimate::new(Vwc::new(theta).expect("a water content"), STATED),
                budget: Budget::default(),
                relative_volume_u: 0.0,
            }
        })
        .collect()
}

fn run() -> Result<(), String> {
    let mut questions = Vec::new();
    let mut fits: Vec<[(Loss, ModelFit); 2]> = Vec::new();
    for seed in 0..PROBLEMS {
        let cores = draw(7_300 + seed);
        let fit = |loss| {
            fit_curve(&cores, CurveKind::StraightLine, None, loss)
                .map(|fit| (loss, fit))
                .map_err(|e| format!("problem {seed}: {loss}: {e}"))
        };
        let both = [fit(Loss::Huber)?, fit(Loss::Tukey)?];
        let axis = both[0].1.curve.axis;
        questions.push(json!({
            "z": cores.iter().map(|o| axis.z(o.count.value)).collect::<Vec<f64>>(),
            "theta": both[0].1.residuals.iter().map(|r| r.theta_v).collect::<Vec<f64>>(),
        }));
        fits.push(both);
    }
    let bench = Bench::empty();
    bench.put("problems.json", Value::from(questions).to_string());
    let file = File::open(bench.path().join("problems.json")).map_err(|e| e.to_string())?;
    let script = repository().join("tests/tests/outside/robust_line.py");
    let text = output_of(Command::new(python()).arg(script).stdin(file))?;
    let said: Value = serde_json::from_slice(&text).map_err(|e| e.to_string())?;
    let mut differences = Vec::new();
    let (mut lost, mut largest_h1) = (0, 0.0_f64);
    for (number, both) in fits.iter().enumerate() {
        for (loss, fit) in both {
            let theirs = &said["answers"][number][loss.key()];
            lost += fit.residuals.iter().filter(|r| r.weight < 0.5).count();
            largest_h1 = largest_h1.max(compare(fit, theirs, |what| {
                differences.push(format!("problem {number}, {loss}: {what}"));
            }));
        }
    }
    println!(
        "{}: {lost} cores of weight below 0.5; standard errors differ from its H1 by up to {:.0} %",
        said["program"],
        100.0 * largest_h1
    );
    // Without wrong cores this would be a comparison of least squares.
    if lost < 10 {
        differences.push(format!("only {lost} cores lost half their pull"));
    }
    if differences.is_empty() {
        Ok(())
    } else {
        Err(differences.join("\n"))
    }
}

/// Reports what differs; gives the largest relative difference of a standard error
/// from the one of unweighted least squares times the factor.
fn compare(ours: &ModelFit, theirs: &Value, mut differs: impl FnMut(String)) -> f64 {
    let numbers =
        |value: &Value| -> Vec<f64> { serde_json::from_value(value.clone()).unwrap_or_default() };
    let rows = |key: &str| -> Vec<Vec<f64>> {
        serde_json::from_value(theirs[key].clone()).unwrap_or_default()
    };
    let weights = ours.residuals.iter().map(|r| r.weight).collect();
    let mut compared: Vec<(&str, Vec<f64>, Vec<f64>)> = vec![
        (
            "parameters",
            ours.curve.parameters.clone(),
            numbers(&theirs["parameters"]),
        ),
        (
            "scale",
            vec![ours.core_scatter.hypot(STATED)],
            theirs["scale"].as_f64().into_iter().collect(),
        ),
        (
            "covariance",
            ours.covariance.concat(),
            rows("covariance").concat(),
        ),
    ];
    compared.push(("weights", weights, numbers(&theirs["weights"])));
    for (what, ours, theirs) in compared {
        // A weight of nothing is held at a millionth with us; a covariance may be
        // a difference of larger numbers.
        let slack = match what {
            "weights" => 1e-5,
            "covariance" => AGREED * ours.iter().fold(0.0, |m: f64, v| m.max(v.abs())),
            _ => 0.0,
        };
        let close = |a: &f64, b: &f64| (a - b).abs() <= AGREED * b.abs() + slack;
        if ours.len() != theirs.len() || !ours.iter().zip(&theirs).all(|(a, b)| close(a, b)) {
            differs(format!("{what} ours {ours:?}, theirs {theirs:?}"));
        }
    }
    let h1 = rows("h1");
    (0..2)
        .map(|k| (ours.covariance[k][k] / h1[k][k]).sqrt() - 1.0)
        .fold(0.0, |largest: f64, off| largest.max(off.abs()))
}
