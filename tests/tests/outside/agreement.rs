//! Measures of agreement, their intervals and tests, worked out by other programs too.
//!
//! Outside: NumPy, SciPy and statsmodels, Python packages; the script `agreement.py`
//! says what of it they have functions for and what is written out from definitions.
//! They are needed in the Python that `OVENDRY_PYTHON` names (`python3` if it does not).

use crate::{Check, output_of, python};
use calib_core::accuracy::{
    Basis, Bias, ClassRequest, ClassStatement, Limits, Measures, ProportionalBias, Sample,
};
use calib_core::quantity::Quantity;
use ovendry_tests::agreement::sample;
use ovendry_tests::{Bench, repository};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::{Value, json};
use std::fs::File;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "other programs find the same agreement in ten sets of readings and cores",
    needs: &["python3"],
    run,
};

const PROBLEMS: u64 = 10;
/// Relative difference allowed: ten digits.
const AGREED: f64 = 0.5e-10;
/// A root found by halving is no better than this.
const HALVED: f64 = 2e-6;
/// Target that readings are counted within, m3/m3.
const TARGET: f64 = 0.03;

/// Every other set has places of several cores.
fn draw(number: u64) -> Vec<Sample> {
    let mut rng = ChaCha8Rng::seed_from_u64(8_800 + number);
    let places: usize = rng.random_range(9..30);
    let bias = rng.random_range(-0.02..0.02);
    let mut samples = Vec::new();
    for place in 0..places {
        let cores = if number.is_multiple_of(2) {
            1
        } else {
            rng.random_range(1..5)
        };
        let z: f64 = StandardNormal.sample(&mut rng);
        let common = bias + 0.01 * z;
        for core in 0..cores {
            let water: f64 = rng.random_range(0.05..0.45);
            let z: f64 = StandardNormal.sample(&mut rng);
            samples.push(sample(
                (place, core),
                (water, 0.0),
                common + 1.05 * water + 0.012 * z,
            ));
        }
    }
    samples
}

fn run() -> Result<(), String> {
    let sets: Vec<Vec<Sample>> = (0..PROBLEMS).map(draw).collect();
    let problems: Vec<Value> = sets
        .iter()
        .map(|samples| {
            let each = |of: fn(&Sample) -> f64| samples.iter().map(of).collect::<Vec<f64>>();
            let cluster: Vec<&str> = samples.iter().map(|s| s.cluster.as_str()).collect();
            json!({
                "x": each(|s| s.reference.value.value()),
                "y": each(|s| s.reading),
                "cluster": cluster,
                "target": TARGET,
            })
        })
        .collect();
    let bench = Bench::empty();
    bench.put("problems.json", Value::from(problems).to_string());
    let file = File::open(bench.path().join("problems.json")).map_err(|e| e.to_string())?;
    let script = repository().join("tests/tests/outside/agreement.py");
    let text = output_of(Command::new(python()).arg(script).stdin(file))?;
    let said: Value = serde_json::from_slice(&text).map_err(|e| e.to_string())?;
    let mut differs = Vec::new();
    let mut compared = 0;
    for (number, samples) in sets.iter().enumerate() {
        let theirs = &said["answers"][number];
        for (what, ours, allowed) in ours(samples).map_err(|e| format!("set {number}: {e}"))? {
            let Some(theirs) = theirs.pointer(&what).and_then(Value::as_f64) else {
                differs.push(format!("set {number}: no {what}"));
                continue;
            };
            compared += 1;
            let apart = (ours - theirs).abs();
            if apart.is_nan() || apart > allowed * theirs.abs() {
                differs.push(format!("set {number}: {what} ours {ours}, theirs {theirs}"));
            }
        }
    }
    println!("{}: {compared} figures compared", said["program"]);
    if differs.is_empty() {
        Ok(())
    } else {
        Err(differs.join("\n"))
    }
}

/// A figure: its place in the answer, its value, and the relative difference allowed.
type Figure = (String, f64, f64);

fn ours(samples: &[Sample]) -> Result<Vec<Figure>, Box<dyn std::error::Error>> {
    let measures = Measures::of(samples)?;
    let bias = Bias::of(samples, 0.95)?;
    let line = ProportionalBias::of(samples, 0.95)?;
    let concordance = measures.concordance.ok_or("no concordance")?;
    let on_mean = line.difference_on_mean.ok_or("no slope on the mean")?;
    let mut figures = vec![
        ("/measures/bias", measures.bias),
        ("/measures/rmse", measures.rmse),
        ("/measures/unbiased_rmse", measures.unbiased_rmse),
        (
            "/measures/mean_absolute_error",
            measures.mean_absolute_error,
        ),
        ("/measures/r_squared", measures.r_squared.ok_or("no R2")?),
        (
            "/measures/nash_sutcliffe",
            measures.nash_sutcliffe.ok_or("no efficiency")?,
        ),
        ("/lin/value", concordance.value),
        ("/lin/value_n_minus_1", concordance.value_n_minus_1),
        ("/mean/value", bias.value),
        ("/mean/error", bias.standard_error),
        ("/mean/freedom", bias.degrees_of_freedom),
        ("/mean/p", bias.p_value),
        ("/slope/value", line.slope.value),
        ("/slope/error", line.slope.standard_error),
        ("/slope/freedom", line.slope.degrees_of_freedom),
        ("/difference_on_mean/value", on_mean.value),
        ("/difference_on_mean/error", on_mean.standard_error),
        ("/difference_on_mean/freedom", on_mean.degrees_of_freedom),
    ];
    let alone = measures.clusters == measures.pairs;
    let mut halved = Vec::new();
    if alone {
        let lin = concordance.interval.ok_or("no interval of concordance")?;
        let limits = Limits::of(samples, 0.95)?;
        let class = ClassStatement::of(
            samples,
            &ClassRequest {
                target: Some(TARGET),
                share: 0.9,
                confidence: 0.95,
                basis: Basis::Counted,
            },
        )?;
        let counted = class.target.ok_or("no target")?.counted;
        figures.extend([
            ("/lin/low", lin.low),
            ("/lin/high", lin.high),
            ("/upper_limit/0", limits.upper.interval.low),
            ("/upper_limit/1", limits.upper.interval.high),
            ("/counted/0", counted.lower),
            ("/counted/1", counted.upper),
        ]);
        // All readings far above the cores: one side is all there is.
        let far: Vec<Sample> = samples
            .iter()
            .map(|sample| Sample {
                reading: sample.reading + 0.5,
                ..sample.clone()
            })
            .collect();
        let request = ClassRequest {
            target: None,
            share: 0.9,
            confidence: 0.95,
            basis: Basis::Normal,
        };
        halved.push((
            "/one_sided",
            ClassStatement::of(&far, &request)?.just_met - 0.5,
        ));
    }
    let told =
        |allowed: f64| move |(place, figure): (&str, f64)| (place.to_owned(), figure, allowed);
    Ok(figures
        .into_iter()
        .map(told(AGREED))
        .chain(halved.into_iter().map(told(HALVED * 20.0)))
        .collect())
}
