//! How long `ovendry batch` takes for many probes, and whether it finds what was put in.
//!
//! `cargo run --release -p ovendry-tests --example many_probes -- FOLDER [PROBES]`
//!
//! writes two tables of pairs to FOLDER (`target/many-probes` if not given) from one
//! seed, 10,000 probes beside 21 cores each unless PROBES says otherwise: `nested.csv`,
//! where each probe has cores of its own, and `shared.csv`, where all were read beside
//! the same 21. Then it runs the program on each, reading, charts and table included,
//! and prints the seconds it took with the spread put in and the spread found.

use ovendry_tests::program;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::error::Error;
use std::fmt::Write;
use std::path::PathBuf;
use std::process::Command;
use std::time::Instant;

/// Cores beside each probe.
const CORES: usize = 21;
/// Standard deviations: a probe's offset and gain in counts, a core's own in m3/m3,
/// what a probe has around it, a count in a medium.
const OFFSET: f64 = 8.0;
const GAIN: f64 = 0.02;
const CORE: f64 = 0.003;
const BESIDE: f64 = 0.004;
const MEDIUM: f64 = 1.2;
/// Counts in the two media and the count gains turn about.
const LOW: f64 = 780.0;
const HIGH: f64 = 240.0;
const PIVOT: f64 = 520.0;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments
        .next()
        .map_or_else(|| PathBuf::from("target/many-probes"), PathBuf::from);
    let probes = arguments.next().map_or(Ok(10_000), |n| n.parse())?;
    std::fs::create_dir_all(&folder)?;
    println!("design,probes,pairs,seconds,exit,offset_sd_put_in,offset_sd_found,low,high");
    for (design, shared) in [("nested", false), ("shared", true)] {
        let file = folder.join(format!("{design}.csv"));
        std::fs::write(&file, table(probes, shared)?)?;
        let began = Instant::now();
        let output = Command::new(program())
            .arg("batch")
            .arg(&file)
            .arg("--out")
            .arg(folder.join(design))
            .args(["--force", "--json"])
            .output()?;
        let seconds = began.elapsed().as_secs_f64();
        let answer: serde_json::Value = serde_json::from_slice(&output.stdout)
            .map_err(|error| format!("{error}: {}", String::from_utf8_lossy(&output.stderr)))?;
        let found = &answer["soils"][0]["as_read"]["spread"]["offset_sd"];
        // One count is worth so much where the offset is stated.
        let put_in = OFFSET * slope(count_of(0.22));
        println!(
            "{design},{probes},{},{seconds:.2},{},{put_in:.5},{},{},{}",
            probes * CORES,
            output.status.code().unwrap_or(-1),
            found["value"],
            found["low"],
            found["high"]
        );
    }
    Ok(())
}

/// What a probe without offset and gain reads at a water content: a hyperbola.
fn count_of(theta_v: f64) -> f64 {
    130.0 / (theta_v + 0.12)
}

/// m3/m3 per count.
fn slope(count: f64) -> f64 {
    130.0 / (count * count)
}

fn table(probes: usize, shared: bool) -> Result<String, Box<dyn Error>> {
    let mut draws = ChaCha8Rng::seed_from_u64(20_261_125);
    let mut normal = |sd: f64| -> f64 {
        let draw: f64 = StandardNormal.sample(&mut draws);
        sd * draw
    };
    let levels: Vec<f64> = (0..CORES)
        .map(|core| 0.08 + 0.28 * core as f64 / (CORES - 1) as f64)
        .collect();
    let of_all: Vec<f64> = levels.iter().map(|_| normal(CORE)).collect();
    let mut text = String::from(
        "sample_id,soil,probe_id,raw_count,theta_v,theta_v_u,count_u,level,batch,count_low_medium,count_high_medium\n",
    );
    for probe in 0..probes {
        let (offset, gain) = (normal(OFFSET), normal(GAIN));
        let reads = |count: f64| PIVOT + offset + (1.0 + gain) * (count - PIVOT);
        let (low, high) = (reads(LOW) + normal(MEDIUM), reads(HIGH) + normal(MEDIUM));
        let batch = if probe < probes / 2 { "A" } else { "B" };
        for (core, level) in levels.iter().enumerate() {
            let (name, own) = if shared {
                (format!("c{core}"), of_all[core])
            } else {
                (format!("c{core}-{probe}"), normal(CORE))
            };
            let count = reads(count_of(level + normal(BESIDE))) + normal(0.5);
            writeln!(
                text,
                "{name},plain,p{probe:05},{count:.1},{:.4},0.001,0.5,L{core},{batch},{low:.1},{high:.1}",
                level + own
            )?;
        }
    }
    Ok(text)
}
