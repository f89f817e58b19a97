//! Fits with uncertainties on both axes, solved by other programs too.
//!
//! Outside: scipy.odr and odrpack, two Python packages around ODRPACK; the
//! script `both_axes.py` names their sources. They need `scipy` below 1.19 and
//! `odrpack`, in the Python that `OVENDRY_PYTHON` names (`python3` if it does
//! not).

use crate::{Check, output_of, python};
use calib_core::curve::{CurveKind, StartPoint};
use calib_core::fit::{Points, Settings, Solution, solve};
use ovendry_tests::simulation::{OfCurve, reach};
use ovendry_tests::{Bench, repository};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::{Value, json};
use std::fs::File;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "two other programs solve thirty-six fits with errors on both axes as we do",
    needs: &["python3"],
    run,
};

/// Problems of each curve.
const PROBLEMS: u64 = 4;
/// Relative difference allowed in parameters, standard errors and the sum of
/// squares: five digits. Both programs take derivatives by finite differences,
/// good to about nine.
const AGREED: f64 = 0.5e-5;

/// Points about a curve, every one with uncertainties of its own.
struct Problem {
    kind: CurveKind,
    truth: Vec<f64>,
    z: Vec<f64>,
    u_z: Vec<f64>,
    theta: Vec<f64>,
    u_theta: Vec<f64>,
}

impl Problem {
    fn draw(kind: CurveKind, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let truth = match kind {
            CurveKind::StraightLine => vec![0.25, -0.12],
            CurveKind::Hyperbolic => vec![0.22, 0.17],
            CurveKind::Quadratic => vec![0.22, -0.14, 0.04],
            CurveKind::Exponential => vec![0.2, -0.11, -0.9],
            CurveKind::Power => vec![0.2, -0.2, -1.4],
            CurveKind::Cubic => vec![0.23, -0.08, 0.03, -0.05],
            CurveKind::TwoSegment => vec![0.2, -0.05, -0.2, 0.1],
            CurveKind::InvertedLogistic => vec![0.22, -0.09, 0.1, 0.4],
            CurveKind::MonotoneSpline => vec![0.22, -0.14, 0.6, -0.8, 0.3],
        };
        // What makes these more than a cubic must show through the errors.
        let calm = match kind {
            CurveKind::TwoSegment | CurveKind::InvertedLogistic | CurveKind::MonotoneSpline => 0.1,
            _ => 1.0,
        };
        let mut problem = Self {
            kind,
            truth,
            z: Vec::new(),
            u_z: Vec::new(),
            theta: Vec::new(),
            u_theta: Vec::new(),
        };
        for _ in 0..rng.random_range(8..=30) {
            let z: f64 = reach(kind) * rng.random_range(-1.0..1.0);
            let (u_z, u_theta) = (
                calm * rng.random_range(0.002..0.06),
                calm * rng.random_range(0.001..0.012),
            );
            let mut error = |u: f64| -> f64 {
                let e: f64 = StandardNormal.sample(&mut rng);
                u * e
            };
            problem.z.push(z + error(u_z));
            problem
                .theta
                .push(kind.model().value(z, &problem.truth) + error(u_theta));
            problem.u_z.push(u_z);
            problem.u_theta.push(u_theta);
        }
        problem
    }

    /// For the other programs, which start from the truth; we do not.
    fn as_json(&self) -> Value {
        json!({
            "curve": self.kind.key(),
            "start": self.truth,
            "z": self.z,
            "u_z": self.u_z,
            "theta": self.theta,
            "u_theta": self.u_theta,
        })
    }

    fn solve(&self) -> Result<Solution, String> {
        let points: Vec<StartPoint> = self
            .z
            .iter()
            .zip(&self.theta)
            .map(|(z, theta)| StartPoint {
                z: *z,
                theta: *theta,
            })
            .collect();
        let start = self
            .kind
            .model()
            .start(&points)
            .map_err(|e| e.to_string())?;
        let points = Points {
            y: &self.theta,
            u_y: &self.u_theta,
            x: &self.z,
            u_x: &self.u_z,
        };
        let found = solve(&OfCurve(self.kind), &points, &start, &Settings::default());
        if found.found_minimum() {
            Ok(found)
        } else {
            Err(format!("we found no minimum: {:?}", found.ending))
        }
    }
}

fn run() -> Result<(), String> {
    let problems: Vec<Problem> = CurveKind::ALL
        .into_iter()
        .flat_map(|kind| (0..PROBLEMS).map(move |i| Problem::draw(kind, 4_127 + i)))
        .collect();
    let bench = Bench::empty();
    let questions: Vec<Value> = problems.iter().map(Problem::as_json).collect();
    bench.put("problems.json", Value::from(questions).to_string());
    let file = File::open(bench.path().join("problems.json")).map_err(|e| e.to_string())?;
    let script = repository().join("tests/tests/outside/both_axes.py");
    let text = output_of(Command::new(python()).arg(script).stdin(file))?;
    let answers: Vec<Value> = serde_json::from_slice(&text).map_err(|e| e.to_string())?;
    if answers.len() != problems.len() {
        return Err(format!("{} answers", answers.len()));
    }
    let mut differences = Vec::new();
    for (number, (problem, answer)) in problems.iter().zip(&answers).enumerate() {
        let place = format!("problem {number} ({})", problem.kind);
        let programs = answer
            .as_object()
            .filter(|programs| programs.len() == 2)
            .ok_or_else(|| format!("{place}: not an answer of two programs: {answer}"))?;
        let ours = problem.solve().map_err(|e| format!("{place}: {e}"))?;
        for (program, theirs) in programs {
            differences.extend(
                disagreement(&ours, theirs).map(|what| format!("{place}, {program}: {what}")),
            );
        }
    }
    if differences.is_empty() {
        Ok(())
    } else {
        Err(differences.join("\n"))
    }
}

/// The first figure that differs, if any.
fn disagreement(ours: &Solution, theirs: &Value) -> Option<String> {
    let covariance = ours.covariance().unwrap_or_default();
    let errors: Vec<f64> = covariance
        .iter()
        .enumerate()
        .map(|(i, row)| row[i].sqrt())
        .collect();
    if theirs["settled"] != json!(true) {
        return Some("did not settle".to_owned());
    }
    let compared = [
        ("parameters", &ours.parameters),
        ("standard_errors", &errors),
    ];
    for (what, ours) in compared {
        let theirs: Vec<f64> = serde_json::from_value(theirs[what].clone()).unwrap_or_default();
        let agree =
            ours.len() == theirs.len() && ours.iter().zip(&theirs).all(|(a, b)| close(*a, *b));
        if !agree {
            return Some(format!("{what} ours {ours:?}, theirs {theirs:?}"));
        }
    }
    let sum = theirs["sum_of_squares"].as_f64().unwrap_or(f64::NAN);
    (!close(ours.chi_square, sum))
        .then(|| format!("sum of squares ours {}, theirs {sum}", ours.chi_square))
}

fn close(ours: f64, theirs: f64) -> bool {
    (ours - theirs).abs() <= AGREED * theirs.abs()
}
