//! NIST Statistical Reference Datasets, nonlinear regression: all 27 problems,
//! from both starting points, through the solver the product uses.
//!
//! Source: NIST StRD (US government work, public domain); files as carried by the
//! lmfit source package (`reference-data/stats/NOTES.md`). Derivatives come from
//! dual numbers, so that only the solver is on trial.
//!
//! `cargo test -p ovendry-tests --test nist_strd_nonlinear -- --nocapture` prints
//! the table: digits correct (log relative error) of the worst parameter and
//! the worst standard deviation, and of the worst parameter once the search has been
//! started again by simplex where it ended at no minimum, as for a curve.

use calib_core::fit::{Points, Regression, Settings, Solution, solve, solve_from};
use num_dual::{Dual64, DualNum};
use ovendry_tests::reference_data;

const NAMES: [&str; 27] = [
    "Misra1a", "Chwirut2", "Chwirut1", "Lanczos3", "Gauss1", "Gauss2", "DanWood", "Misra1b",
    "Kirby2", "Hahn1", "Nelson", "MGH17", "Lanczos1", "Lanczos2", "Gauss3", "Misra1c", "Misra1d",
    "Roszman1", "ENSO", "MGH09", "Thurber", "BoxBOD", "Rat42", "MGH10", "Eckerle4", "Rat43",
    "Bennett5",
];

/// The models, from the header of each file.
fn model<D: DualNum<Primitive = f64> + Copy>(name: &str, x: &[f64], b: &[D]) -> D {
    let one = D::from(1.0_f64);
    let t = x[0];
    let square = |d: D| d * d;
    match name {
        "Misra1a" | "BoxBOD" => b[0] * (one - (-b[1] * t).exp()),
        "Misra1b" => b[0] * (one - (one + b[1] * (t / 2.0)).powi(-2)),
        "Misra1c" => b[0] * (one - (one + b[1] * (2.0 * t)).powf(-0.5)),
        "Misra1d" => b[0] * b[1] * t / (one + b[1] * t),
        "Chwirut1" | "Chwirut2" => (-b[0] * t).exp() / (b[1] + b[2] * t),
        "Lanczos1" | "Lanczos2" | "Lanczos3" => {
            b[0] * (-b[1] * t).exp() + b[2] * (-b[3] * t).exp() + b[4] * (-b[5] * t).exp()
        }
        "Gauss1" | "Gauss2" | "Gauss3" => {
            b[0] * (-b[1] * t).exp()
                + b[2] * (-square((-b[3] + t) / b[4])).exp()
                + b[5] * (-square((-b[6] + t) / b[7])).exp()
        }
        "DanWood" => b[0] * (b[1] * t.ln()).exp(),
        "Kirby2" => (b[0] + b[1] * t + b[2] * (t * t)) / (one + b[3] * t + b[4] * (t * t)),
        "Hahn1" | "Thurber" => {
            (b[0] + b[1] * t + b[2] * (t * t) + b[3] * (t * t * t))
                / (one + b[4] * t + b[5] * (t * t) + b[6] * (t * t * t))
        }
        "Nelson" => b[0] - b[1] * t * (-b[2] * x[1]).exp(),
        "MGH17" => b[0] + b[1] * (-b[3] * t).exp() + b[2] * (-b[4] * t).exp(),
        "Roszman1" => b[0] - b[1] * t - (b[2] / (-b[3] + t)).atan() / std::f64::consts::PI,
        "ENSO" => {
            let year = std::f64::consts::TAU * t;
            b[0] + b[1] * (year / 12.0).cos()
                + b[2] * (year / 12.0).sin()
                + b[4] * (b[3].recip() * year).cos()
                + b[5] * (b[3].recip() * year).sin()
                + b[7] * (b[6].recip() * year).cos()
                + b[8] * (b[6].recip() * year).sin()
        }
        "MGH09" => b[0] * (b[1] * t + t * t) / (b[2] * t + b[3] + t * t),
        "Rat42" => b[0] / (one + (b[1] - b[2] * t).exp()),
        "MGH10" => b[0] * (b[1] / (b[2] + t)).exp(),
        "Eckerle4" => b[0] / b[1] * (-square((-b[2] + t) / b[1]) * 0.5).exp(),
        "Rat43" => b[0] / ((one + (b[1] - b[2] * t).exp()).ln() / b[3]).exp(),
        "Bennett5" => b[0] * (-(b[1] + t).ln() / b[2]).exp(),
        _ => unreachable!("{name}"),
    }
}

struct Problem {
    name: &'static str,
    inputs: usize,
    starts: [Vec<f64>; 2],
    certified: Vec<f64>,
    deviations: Vec<f64>,
    sum_of_squares: f64,
    y: Vec<f64>,
    x: Vec<f64>,
}

impl Problem {
    fn read(name: &'static str) -> Self {
        let text = reference_data(&format!("stats/nist-strd/nonlinear/{name}.dat"));
        let mut problem = Problem {
            name,
            inputs: 0,
            starts: [vec![], vec![]],
            certified: vec![],
            deviations: vec![],
            sum_of_squares: f64::NAN,
            y: vec![],
            x: vec![],
        };
        let lines: Vec<&str> = text.lines().collect();
        for line in &lines[..60] {
            let words: Vec<&str> = line.split_whitespace().collect();
            let numbers = |from: usize| -> Vec<f64> {
                words[from..].iter().map(|w| w.parse().unwrap()).collect()
            };
            if words.len() == 6 && words[0].starts_with('b') && words[1] == "=" {
                let row = numbers(2);
                problem.starts[0].push(row[0]);
                problem.starts[1].push(row[1]);
                problem.certified.push(row[2]);
                problem.deviations.push(row[3]);
            }
            if line.starts_with("Residual Sum of Squares") {
                problem.sum_of_squares = words.last().unwrap().parse().unwrap();
            }
        }
        for line in &lines[60..] {
            let row: Vec<f64> = line
                .split_whitespace()
                .map(|w| w.parse().unwrap())
                .collect();
            if let Some((y, x)) = row.split_first() {
                problem.y.push(if name == "Nelson" { y.ln() } else { *y });
                problem.inputs = x.len();
                problem.x.extend(x);
            }
        }
        problem
    }

    /// By the solver alone.
    fn solve(&self, start: usize) -> Solution {
        let settings = self.settings();
        self.with_points(|points| solve(self, points, &self.starts[start], &settings))
    }

    /// As a curve of the family is fitted: by the solver, and by simplex and solver
    /// again where that ends at no minimum.
    fn solve_with_restart(&self, start: usize) -> Solution {
        let starts = &self.starts[start..=start];
        let settings = self.settings();
        self.with_points(|points| solve_from(self, points, starts, &settings).expect("a start"))
    }

    fn settings(&self) -> Settings {
        Settings {
            max_steps: 5_000,
            ..Settings::default()
        }
    }

    fn with_points(&self, search: impl Fn(&Points<'_>) -> Solution) -> Solution {
        search(&Points {
            y: &self.y,
            u_y: &vec![1.0; self.y.len()],
            x: &self.x,
            u_x: &vec![0.0; self.x.len()],
        })
    }

    /// Digits of the worst parameter.
    fn digits_of_parameters(&self, found: &Solution) -> f64 {
        found
            .parameters
            .iter()
            .zip(&self.certified)
            .map(|(got, certified)| digits(*got, *certified))
            .fold(11.0, f64::min)
    }
}

impl Regression for Problem {
    fn parameters(&self) -> usize {
        self.certified.len()
    }
    fn inputs(&self) -> usize {
        self.inputs
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        v.fill(0.0);
        let mut b: Vec<Dual64> = p.iter().map(|p| Dual64::from(*p)).collect();
        for k in 0..p.len() {
            b[k].eps = 1.0;
            g[k] = model(self.name, x, &b).eps;
            b[k].eps = 0.0;
        }
        model(self.name, x, p)
    }
}

/// Digits in which `got` and `certified` agree, at most 11 (as many as the files
/// print).
fn digits(got: f64, certified: f64) -> f64 {
    let off = ((got - certified) / certified).abs();
    if off == 0.0 {
        11.0
    } else {
        (-off.log10()).clamp(0.0, 11.0)
    }
}

#[test]
fn all_27_problems_from_both_starting_points() {
    println!(
        "problem    start  ending               steps  parameters  deviations  sum of squares  after restart"
    );
    let mut short_of_six = [vec![], vec![]];
    let mut short_after_restart = vec![];
    let mut short_deviations = vec![];
    for name in NAMES {
        let problem = Problem::read(name);
        for start in [0, 1] {
            let found = problem.solve(start);
            let freedom = (problem.y.len() - problem.certified.len()) as f64;
            let parameters = problem.digits_of_parameters(&found);
            let restarted = problem.solve_with_restart(start);
            let after_restart = problem.digits_of_parameters(&restarted);
            let deviations = found.covariance().as_ref().map_or(0.0, |c| {
                problem
                    .deviations
                    .iter()
                    .enumerate()
                    .map(|(k, certified)| {
                        digits((c[k][k] * found.chi_square / freedom).sqrt(), *certified)
                    })
                    .fold(11.0, f64::min)
            });
            println!(
                "{name:<10} {:>5}  {:<19} {:>6} {parameters:>11.1} {deviations:>11.1} {:>15.1} {after_restart:>14.1}",
                start + 1,
                format!("{:?}", found.ending),
                found.steps,
                digits(found.chi_square, problem.sum_of_squares),
            );
            if after_restart < 6.0 {
                short_after_restart.push((name, start + 1));
            }
            if parameters < 6.0 {
                short_of_six[start].push(name);
            } else if deviations < 4.0 {
                short_deviations.push((name, start + 1));
            }
        }
    }
    println!(
        "short of six digits: start 1 {:?}, start 2 {:?}",
        short_of_six[0], short_of_six[1]
    );
    println!("short of four digits in the deviations: {short_deviations:?}");
    // BoxBOD and MGH10 among them, for which the solver alone ends at no minimum.
    assert_eq!(short_after_restart, vec![], "after restart");
    assert_eq!(short_of_six[1], Vec::<&str>::new(), "from start 2");
    assert!(
        short_of_six[0].len() <= 2,
        "from start 1: {:?}",
        short_of_six[0]
    );
    // Lanczos1 has a certified sum of squares of 1.4e-25: the deviations hang on
    // residuals that double precision cannot represent (NOTES.md: "needs
    // 50-digit arithmetic").
    short_deviations.retain(|(name, _)| *name != "Lanczos1");
    assert_eq!(short_deviations, vec![]);
}
