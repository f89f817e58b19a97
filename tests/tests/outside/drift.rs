//! Spot checks of ten made-up calibrations, filtered by another program too.
//!
//! Outside: the filter of Kalman, check after check, in numpy; the script `drift.py` says
//! how. It needs `numpy` in the Python that `OVENDRY_PYTHON` names (`python3` if it does
//! not).
//!
//! Scatter of the cores and rate of wandering are given, so that what is left is the linear
//! problem; how both are averaged over is tested by simulation.

use crate::{Check, output_of, python};
use calib_core::calibration::{Calibration, Direction, Domain, ReadingNoise};
use calib_core::curve::{Axis, Curve, CurveKind};
use calib_core::drift::update::WanderAssumed;
use calib_core::drift::{Settings, Study, study};
use calib_core::fit::{Observation, ScatterDraw};
use calib_core::pair::Pair;
use calib_core::quantity::{Celsius, Estimate, Quantity, Timestamp, Vwc};
use calib_core::temperature::TemperatureTerm;
use calib_core::uncertainty::Budget;
use ovendry_tests::{Bench, repository};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::{Value, json};
use std::fs::File;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "another filter gives the scores, offset and gain of ten calibrations as we do",
    needs: &["python3"],
    run,
};

const PROBLEMS: u64 = 10;
/// Difference allowed, relative to the largest of the figures compared: eight digits.
const AGREED: f64 = 0.5e-8;
const REFERENCE_C: f64 = 18.0;

struct Problem {
    calibration: Calibration,
    pairs: Vec<Pair>,
    rate: f64,
    at_the_ends: f64,
}

fn draw(seed: u64) -> Problem {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let scatter = rng.random_range(0.003..0.015);
    // A covariance with correlations: of a product with its transpose.
    let factor: Vec<Vec<f64>> = (0..4)
        .map(|i| {
            let size = if i == 3 { 0.1 } else { 0.003 };
            (0..4).map(|_| size * rng.random_range(-1.0..1.0)).collect()
        })
        .collect();
    let covariance: Vec<Vec<f64>> = factor
        .iter()
        .map(|a| {
            let dot = |b: &Vec<f64>| a.iter().zip(b).map(|(x, y)| x * y).sum();
            factor.iter().map(dot).collect()
        })
        .collect();
    let calibration = Calibration {
        probe: "p".into(),
        soil: "s".into(),
        adc_bits: 10,
        curve: Curve {
            kind: CurveKind::Quadratic,
            axis: Axis {
                origin: 500.0,
                unit: 180.0,
            },
            parameters: vec![
                0.22,
                rng.random_range(-0.16..-0.12),
                rng.random_range(0.0..0.05),
            ],
        },
        temperature: Some(TemperatureTerm {
            reference: Celsius::new(REFERENCE_C).expect("a temperature"),
            coefficient: rng.random_range(-1.0..1.0),
        }),
        domain: Domain {
            low: 330.0,
            high: 670.0,
        },
        temperature_range: Some((8.0, 28.0)),
        covariance,
        covariance_parts: Vec::new(),
        core_scatter: scatter,
        scatter_draws: vec![ScatterDraw {
            weight: 1.0,
            scatter,
            covariance_scale: 1.0,
        }],
        rivals: Vec::new(),
        degrees_of_freedom: 17.0,
        relative_volume_u: 0.006,
        noise: ReadingNoise {
            standard_deviation: 1.5,
            degrees_of_freedom: 200.0,
        },
        temperature_u: 0.4,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction: Direction::FallsWhenWetter,
        cores: 21,
    };
    let checks = rng.random_range(4..=20);
    let drift = rng.random_range(-0.03..0.03);
    let mut seconds = 0;
    let pairs = (0..checks)
        .map(|i| {
            seconds += rng.random_range(90_000..6_000_000);
            let count: f64 = rng.random_range(360.0..640.0);
            let celsius = Celsius::new(rng.random_range(8.0..28.0)).expect("a temperature");
            let error: f64 = StandardNormal.sample(&mut rng);
            let theta = calibration
                .theta_v(count, Some(celsius))
                .expect("a count inside the domain")
                .value()
                + drift
                + scatter * error;
            Pair {
                probe: "p".into(),
                soil: "s".into(),
                batch: None,
                place: None,
                taken_at: Some(Timestamp(seconds)),
                observation: Observation {
                    sample: i.to_string(),
                    level: i.to_string(),
                    count: Estimate::new(count, rng.random_range(0.2..3.0)),
                    temperature: Some(celsius),
                    theta_v: Estimate::new(
                        Vwc::new(theta).expect("a water content"),
                        rng.random_range(0.0005..0.005),
                    ),
                    budget: Budget::default(),
                    relative_volume_u: 0.006,
                },
            }
        })
        .collect();
    Problem {
        calibration,
        pairs,
        rate: rng.random_range(0.001..0.03),
        at_the_ends: rng.random_range(0.0..1.0),
    }
}

impl Problem {
    fn study(&self) -> Result<Study, String> {
        let settings = Settings {
            wander: WanderAssumed {
                rates: vec![(self.rate, 1.0)],
                at_the_ends: self.at_the_ends,
            },
            ..Settings::default()
        };
        study(
            &self.calibration,
            Timestamp(0),
            &[],
            &self.pairs,
            &[],
            &settings,
        )
        .map_err(|error| error.to_string())
    }

    fn question(&self, study: &Study) -> Result<Value, String> {
        let c = &self.calibration;
        let middle = Vwc::new(study.update.middle).map_err(|e| e.to_string())?;
        let checks: Vec<Value> = self
            .pairs
            .iter()
            .map(|pair| {
                let seen = &pair.observation;
                json!({
                    "seconds": pair.taken_at.map(|at| at.0),
                    "count": seen.count.value,
                    "count_u": seen.count.u,
                    "celsius": seen.temperature.map(Quantity::value),
                    "theta": seen.theta_v.value.value(),
                    "theta_u": seen.theta_v.u,
                })
            })
            .collect();
        Ok(json!({
            "parameters": c.curve.parameters,
            "origin": c.curve.axis.origin,
            "unit": c.curve.axis.unit,
            "coefficient": c.temperature.map(|term| term.coefficient),
            "reference_c": REFERENCE_C,
            "domain": [c.domain.low, c.domain.high],
            "covariance": c.covariance,
            "scatter": c.core_scatter,
            "temperature_u": c.temperature_u,
            "rate": self.rate,
            "at_the_ends": self.at_the_ends,
            "middle_count": c.count_at(middle).map_err(|e| e.to_string())?,
            "checks": checks,
        }))
    }
}

fn run() -> Result<(), String> {
    let problems: Vec<Problem> = (0..PROBLEMS).map(|seed| draw(8_100 + seed)).collect();
    let studies = problems
        .iter()
        .map(Problem::study)
        .collect::<Result<Vec<Study>, String>>()?;
    let questions = problems
        .iter()
        .zip(&studies)
        .map(|(problem, study)| problem.question(study))
        .collect::<Result<Vec<Value>, String>>()?;
    let bench = Bench::empty();
    bench.put("problems.json", Value::from(questions).to_string());
    let file = File::open(bench.path().join("problems.json")).map_err(|e| e.to_string())?;
    let script = repository().join("tests/tests/outside/drift.py");
    let text = output_of(Command::new(python()).arg(script).stdin(file))?;
    let said: Value = serde_json::from_slice(&text).map_err(|e| e.to_string())?;
    let mut differences = Vec::new();
    let mut largest = 0.0_f64;
    for (number, study) in studies.iter().enumerate() {
        let theirs = &said["answers"][number];
        let update = &study.update;
        let after = |of: fn(&calib_core::drift::update::Interval) -> f64| -> Vec<f64> {
            update
                .range
                .iter()
                .map(|answer| of(&answer.after))
                .collect()
        };
        let figures: [(&str, Vec<f64>); 5] = [
            ("scores", study.scores.iter().map(|one| one.score).collect()),
            ("after", after(|one| one.value)),
            ("after_u", after(|one| one.standard)),
            ("offset", vec![update.offset.value, update.offset.standard]),
            ("gain", vec![update.gain.value, update.gain.standard]),
        ];
        for (what, ours) in figures {
            let theirs: Vec<f64> =
                serde_json::from_value(theirs[what].clone()).map_err(|e| e.to_string())?;
            let scale = theirs.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            let off = ours
                .iter()
                .zip(&theirs)
                .map(|(a, b)| (a - b).abs() / scale)
                .fold(0.0_f64, f64::max);
            largest = largest.max(off);
            if ours.len() != theirs.len() || off.is_nan() || off > AGREED {
                differences.push(format!(
                    "problem {number}: {what} ours {ours:?}, theirs {theirs:?}"
                ));
            }
        }
    }
    println!(
        "{}: largest relative difference {largest:.1e}",
        said["program"]
    );
    if differences.is_empty() {
        Ok(())
    } else {
        Err(differences.join("\n"))
    }
}
