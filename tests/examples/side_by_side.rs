//! Ours beside scipy.odr and odrpack, in one run: how long the same fits take, and
//! whether they come out the same.
//!
//! `OVENDRY_PYTHON=PYTHON cargo run --release -p ovendry-tests --example
//! side_by_side -- FOLDER`
//!
//! needs a Python with `scipy` below 1.19 and `odrpack`; without the variable it
//! asks `python3`. Writes `cost.csv` and `cost.svg` to FOLDER (`target/side-by-side`
//! if not given) and a table to standard output. Both sides take turns, round after
//! round, so that whatever else the machine does falls on both; medians are told.
//! One thread a side, unless said.

use calib_core::curve::CurveKind;
use calib_core::fit::{
    Loss, Observation, Points, Refits, Replicate, Resampling, Settings, fit_curve, solve,
};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use ovendry_tests::simulation::OfCurve;
use plotters::prelude::*;
use plotters::style::register_font;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::{ThreadPool, ThreadPoolBuilder};
use serde_json::{Value, json};
use std::error::Error;
use std::hint::black_box;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Instant;

/// Cores of the small problem.
const CORES: usize = 21;
/// Rounds of single fits, and of the bootstrap.
const ROUNDS: usize = 15;
const BOOTSTRAP_ROUNDS: usize = 5;
const REPLICATES: usize = 10_000;
/// Fits of ours timed at once.
const FITS: usize = 2_000;
/// Relative difference at which two answers are the same: five digits.
const SAME: f64 = 0.5e-5;
/// Where every single fit starts.
const START: [f64; 4] = [0.2, -0.1, 0.0, 0.0];
/// Counts at which replicates are compared.
const COUNTS: [f64; 3] = [340.0, 500.0, 660.0];

type Answer<T> = Result<T, Box<dyn Error>>;

/// Cores along a cubic, errors on both axes.
fn cores(n: usize) -> Answer<Vec<Observation>> {
    let mut rng = ChaCha8Rng::seed_from_u64(21);
    let mut error = |u: f64| -> f64 {
        let e: f64 = StandardNormal.sample(&mut rng);
        u * e
    };
    (0..n)
        .map(|i| {
            let count = 320.0 + 360.0 * i as f64 / (n - 1) as f64;
            let z = (count - 500.0) / 180.0;
            let theta = 0.22 - 0.09 * z + 0.02 * z * z - 0.06 * z * z * z + error(0.004);
            Ok(Observation {
                sample: i.to_string(),
                level: (i * 7 / n).to_string(),
                count: Estimate::new(count + error(0.8), 0.8),
                temperature: None,
                theta_v: Estimate::new(Vwc::new(theta)?, 0.0015),
                budget: Budget::default(),
                relative_volume_u: 0.006,
            })
        })
        .collect()
}

/// The cubic of the program as the solver sees it.
const CUBIC: OfCurve = OfCurve(CurveKind::Cubic);

fn points(data: &Replicate) -> Points<'_> {
    Points {
        y: &data.theta_v,
        u_y: &data.u_theta_v,
        x: &data.z,
        u_x: &data.u_z,
    }
}

/// The other programs, at the end of a pipe.
struct Others {
    child: Child,
    ask: ChildStdin,
    answers: BufReader<ChildStdout>,
}

impl Others {
    fn start(setting: &Value) -> Answer<(Self, Value)> {
        let python = std::env::var("OVENDRY_PYTHON").unwrap_or_else(|_| "python3".to_owned());
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/side_by_side.py");
        let mut child = Command::new(python)
            .arg(script)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()?;
        let mut others = Self {
            ask: child.stdin.take().ok_or("no pipe to Python")?,
            answers: BufReader::new(child.stdout.take().ok_or("no pipe from Python")?),
            child,
        };
        let versions = others.ask(&setting.to_string())?;
        Ok((others, versions))
    }

    fn ask(&mut self, task: &str) -> Answer<Value> {
        writeln!(self.ask, "{task}")?;
        self.ask.flush()?;
        let mut line = String::new();
        self.answers.read_line(&mut line)?;
        Ok(serde_json::from_str(&line)?)
    }

    /// Seconds a fit, and what was found.
    fn time(&mut self, task: &str) -> Answer<(f64, Value)> {
        let answer = self.ask(task)?;
        let seconds = answer["seconds"].as_f64().ok_or("no time told")?;
        Ok((seconds, answer["found"].clone()))
    }
}

impl Drop for Others {
    fn drop(&mut self) {
        // Our own child, which may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Seconds a call.
fn timed<T>(calls: usize, mut call: impl FnMut() -> T) -> f64 {
    let began = Instant::now();
    for _ in 0..calls {
        black_box(call());
    }
    began.elapsed().as_secs_f64() / calls as f64
}

fn same(ours: &[f64], theirs: &Value) -> bool {
    let theirs: Vec<f64> = serde_json::from_value(theirs.clone()).unwrap_or_default();
    ours.len() == theirs.len()
        && ours
            .iter()
            .zip(&theirs)
            .all(|(a, b)| (a - b).abs() <= SAME * b.abs())
}

fn main() -> Answer<()> {
    let folder = std::env::args()
        .nth(1)
        .map_or_else(|| PathBuf::from("target/side-by-side"), PathBuf::from);
    std::fs::create_dir_all(&folder)?;
    let pool = |threads| ThreadPoolBuilder::new().num_threads(threads).build();
    let (one, two) = (pool(1)?, pool(2)?);

    let observations = cores(CORES)?;
    let fit = fit_curve(&observations, CurveKind::Cubic, None, Loss::Squares)?;
    let refits = Refits::of(&observations, &fit, Resampling::Parametric, 1)
        .ok_or("the fit is not that of its cores")?;
    let axis = fit.curve.axis;
    let drawn: Vec<Replicate> = (0..REPLICATES).map(|i| refits.replicate(i)).collect();
    let problem = Replicate {
        z: observations.iter().map(|o| axis.z(o.count.value)).collect(),
        theta_v: observations
            .iter()
            .map(|o| o.theta_v.value.value())
            .collect(),
        ..drawn[0].clone()
    };
    let (mut others, versions) = Others::start(&json!({
        "problem": problem,
        "start": START,
        "fitted": fit.curve.parameters,
        "z_asked": COUNTS.map(|count| axis.z(count)),
        "replicates": drawn,
    }))?;
    let (scipy, odrpack) = (&versions["scipy"], &versions["odrpack"]);
    println!("scipy {scipy}, odrpack {odrpack}; {}\n", processor());

    single_fits(&problem, &mut others)?;
    bootstraps(&refits, &mut others, &one, &two)?;
    cost(&folder)
}

/// (a): one fit of 21 points and 4 parameters.
fn single_fits(problem: &Replicate, others: &mut Others) -> Answer<()> {
    const TASKS: [(&str, &str); 3] = [
        ("finite-differences", "scipy.odr, finite differences"),
        ("analytic", "scipy.odr, analytic derivatives"),
        ("odrpack", "odrpack, finite differences"),
    ];
    let settings = [Settings::default(), Settings::quick()];
    let points = points(problem);
    let mut ours = [Vec::new(), Vec::new()];
    let mut theirs = [Vec::new(), Vec::new(), Vec::new()];
    let mut all_same = true;
    for _ in 0..ROUNDS {
        let mut found = Vec::new();
        for (settings, times) in settings.iter().zip(&mut ours) {
            let fit = || solve(&CUBIC, black_box(&points), &START, settings);
            times.push(timed(FITS, fit));
            found.push(fit().parameters);
        }
        for ((task, _), times) in TASKS.iter().zip(&mut theirs) {
            let (seconds, parameters) = others.time(task)?;
            times.push(seconds);
            all_same &= found.iter().all(|ours| same(ours, &parameters));
        }
    }
    let [full, quick] = ours.map(median);
    println!(
        "(a) one fit with errors on both axes, {CORES} points, 4 parameters (cubic); medians of {ROUNDS} rounds"
    );
    println!("  ours, to the last digits     {:8.1} us", 1e6 * full);
    println!("  ours, as a bootstrap fits    {:8.1} us", 1e6 * quick);
    for ((_, name), times) in TASKS.iter().zip(theirs) {
        let seconds = median(times);
        println!(
            "  {name:<32} {:8.1} us: {:.1} times ours, {:.1} times ours as a bootstrap fits",
            1e6 * seconds,
            seconds / full,
            seconds / quick
        );
    }
    println!("  parameters the same to five digits: {}\n", yes(all_same));
    Ok(())
}

/// (b): the same 10,000 replicates refitted.
fn bootstraps(
    refits: &Refits,
    others: &mut Others,
    one: &ThreadPool,
    two: &ThreadPool,
) -> Answer<()> {
    let (mut alone, mut shared, mut theirs) = (Vec::new(), Vec::new(), Vec::new());
    let (mut differing, mut without) = (0, 0);
    for _ in 0..BOOTSTRAP_ROUNDS {
        let refit = || refits.curves(&COUNTS, REPLICATES);
        alone.push(one.install(|| timed(1, refit)));
        shared.push(two.install(|| timed(1, refit)));
        let (seconds, found) = others.time("bootstrap")?;
        theirs.push(seconds * REPLICATES as f64);
        let ours = one.install(refit);
        let found = found.as_array().ok_or("no replicates told")?;
        without = ours.iter().filter(|values| values.is_none()).count();
        differing = ours
            .iter()
            .zip(found)
            .filter(|(ours, theirs)| ours.as_ref().is_some_and(|ours| !same(ours, theirs)))
            .count();
    }
    let (alone, shared, theirs) = (median(alone), median(shared), median(theirs));
    println!(
        "(b) bootstrap of {REPLICATES} replicates of that fit; medians of {BOOTSTRAP_ROUNDS} rounds"
    );
    println!(
        "  ours, one thread, drawing the replicates too   {:8.3} s",
        alone
    );
    println!(
        "  ours, two threads                              {:8.3} s",
        shared
    );
    println!(
        "  scipy.odr, one thread, analytic derivatives    {theirs:8.3} s: {:.1} times ours on one, {:.1} times ours on two",
        theirs / alone,
        theirs / shared
    );
    println!(
        "  replicates whose curve differs in the fifth digit: {differing}; without a fit of ours: {without}\n"
    );
    Ok(())
}

/// (c): cost from 21 to a million points, as a table and a chart.
fn cost(folder: &Path) -> Answer<()> {
    let sizes = [21, 100, 1_000, 10_000, 100_000, 1_000_000];
    let mut table = csv::Writer::from_path(folder.join("cost.csv"))?;
    table.write_record(["points", "seconds_a_fit", "nanoseconds_a_point", "steps"])?;
    println!("(c) cost of one fit, to the last digits");
    let mut measured = Vec::new();
    for n in sizes {
        let observations = cores(n)?;
        let data = Replicate {
            z: observations
                .iter()
                .map(|o| (o.count.value - 500.0) / 180.0)
                .collect(),
            u_z: vec![0.8 / 180.0; n],
            theta_v: observations
                .iter()
                .map(|o| o.theta_v.value.value())
                .collect(),
            u_theta_v: vec![0.004; n],
        };
        let points = points(&data);
        let fit = || solve(&CUBIC, black_box(&points), &START, &Settings::default());
        let calls = (200_000 / n).max(1);
        let seconds = median((0..5).map(|_| timed(calls, fit)).collect());
        let each = 1e9 * seconds / n as f64;
        let steps = fit().steps;
        println!("  {n:>9} points {seconds:12.6} s, {each:7.0} ns a point, {steps} steps");
        table.write_record([
            n.to_string(),
            seconds.to_string(),
            each.to_string(),
            steps.to_string(),
        ])?;
        measured.push((n as f64, each));
    }
    table.flush()?;
    draw(&folder.join("cost.svg"), &measured)?;
    println!("  wrote {0}/cost.csv and {0}/cost.svg", folder.display());
    Ok(())
}

/// The font the program carries: its letters are measured to place them.
const FONT: &[u8] = include_bytes!("../../calib-cli/assets/Roboto-Regular.ttf");

fn draw(path: &Path, measured: &[(f64, f64)]) -> Answer<()> {
    register_font("sans-serif", FontStyle::Normal, FONT).map_err(|_| "the font cannot be read")?;
    let area = SVGBackend::new(path, (720, 440)).into_drawing_area();
    area.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&area)
        .caption("Cost of a fit with errors on both axes", ("sans-serif", 20))
        .margin(16)
        .x_label_area_size(44)
        .y_label_area_size(64)
        .build_cartesian_2d((10.0..2e6).log_scale(), (10.0..1e5).log_scale())?;
    chart
        .configure_mesh()
        .x_desc("points")
        .y_desc("nanoseconds a point")
        .draw()?;
    chart.draw_series(LineSeries::new(
        measured.iter().copied(),
        BLACK.stroke_width(2),
    ))?;
    let dots = measured
        .iter()
        .map(|at| Circle::new(*at, 4, BLACK.filled()));
    chart.draw_series(dots)?;
    area.present()?;
    Ok(())
}

/// What the machine calls its processor.
fn processor() -> String {
    let info = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let name = info
        .lines()
        .find_map(|line| line.strip_prefix("model name")?.split_once(": "))
        .map_or("processor unknown", |(_, name)| name);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    format!("{name}, {threads} threads")
}

fn yes(is: bool) -> &'static str {
    if is { "yes" } else { "NO" }
}
