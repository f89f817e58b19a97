//! Drainage after a soaking, followed by another program too.
//!
//! Outside: scipy's `curve_fit`, a Python package; the script `redistribution.py`
//! says how it is used. It needs `scipy` in the Python that `OVENDRY_PYTHON` names
//! (`python3` if it does not).

use crate::{Check, output_of, python};
use calib_core::quantity::Timestamp;
use calib_core::soil::drainage::{Drained, Hours, LoggedWater, Outcome, from_log};
use ovendry_tests::{Bench, repository};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use serde_json::{Value, json};
use std::f64::consts::PI;
use std::fs::File;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "another program follows ten drainages as we do",
    needs: &["python3"],
    run,
};

const PROBLEMS: u64 = 10;
/// Relative difference allowed: five digits.
const AGREED: f64 = 0.5e-5;
/// The hours after the wetting that are fitted, as `redistribution.rs` of the core
/// has them.
const FITTED: std::ops::RangeInclusive<usize> = 4..=96;

/// Ten dry hours, three of rain, four days of drainage with a day's swing; one reading
/// an hour. Gives the log's rows and theta_v of the fitted hours.
fn draw(seed: u64) -> (Vec<LoggedWater>, Vec<f64>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let capacity: f64 = rng.random_range(0.15..0.35);
    let exponent: f64 = rng.random_range(0.04..0.10);
    let taken = rng.random_range(0.0..0.006);
    let swing = rng.random_range(0.0..0.002);
    let noise = Normal::new(0.0, 0.001).expect("a deviation");
    let mut stray = 0.0;
    let mut thetas = vec![0.7 * capacity; 10];
    thetas.extend([1.2, 1.4, 1.6].map(|share| share * capacity));
    for since in 1..=100 {
        let t = f64::from(since);
        // Neighbouring hours stray together.
        stray = 0.5 * stray + noise.sample(&mut rng);
        thetas.push(
            capacity * (t / 48.0).powf(-exponent) - taken * t / 24.0
                + swing * (2.0 * PI * t / 24.0 + 1.0).sin()
                + stray,
        );
    }
    let rows = thetas
        .iter()
        .enumerate()
        .map(|(hour, theta)| LoggedWater {
            time: Timestamp(3600 * hour as i64),
            theta_v: Some(*theta),
            pump_on: Some(false),
            rain_mm: Some(if (10..13).contains(&hour) { 9.0 } else { 0.0 }),
        })
        .collect();
    (rows, FITTED.map(|since| thetas[12 + since]).collect())
}

fn run() -> Result<(), String> {
    let mut questions = Vec::new();
    let mut answers: Vec<Drained> = Vec::new();
    for seed in 0..PROBLEMS {
        let (rows, fitted) = draw(9_100 + seed);
        let mut hours = Hours::default();
        for row in rows {
            hours.push(row);
        }
        let found = from_log(&hours.finish());
        match found.events[..] {
            [event] if event.hours == 96 => match event.outcome {
                Outcome::Drained(drained) => answers.push(drained),
                Outcome::Refused(fault) => return Err(format!("problem {seed}: {fault}")),
            },
            ref other => return Err(format!("problem {seed}: {other:?}")),
        }
        questions.push(json!({
            "t": FITTED.collect::<Vec<usize>>(),
            "theta": fitted,
        }));
    }
    let bench = Bench::empty();
    bench.put("problems.json", Value::from(questions).to_string());
    let file = File::open(bench.path().join("problems.json")).map_err(|e| e.to_string())?;
    let script = repository().join("tests/tests/outside/redistribution.py");
    let text = output_of(Command::new(python()).arg(script).stdin(file))?;
    let said: Value = serde_json::from_slice(&text).map_err(|e| e.to_string())?;
    let mut differences = Vec::new();
    for (number, ours) in answers.iter().enumerate() {
        let theirs = &said["answers"][number];
        for (what, ours, key) in [
            ("field capacity", ours.field_capacity, "field_capacity"),
            ("its uncertainty", ours.u, "u"),
            ("exponent", ours.exponent, "exponent"),
            ("residual", ours.residual, "residual"),
        ] {
            let theirs = theirs[key].as_f64().unwrap_or(f64::NAN);
            let apart = (ours - theirs).abs();
            if apart.is_nan() || apart > AGREED * theirs.abs() {
                differences.push(format!("problem {number}, {what}: {ours}, theirs {theirs}"));
            }
        }
    }
    println!("{}", said["program"]);
    if differences.is_empty() {
        Ok(())
    } else {
        Err(differences.join("\n"))
    }
}
