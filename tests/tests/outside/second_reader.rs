//! A second reader of JSON and CSV controller files, in another language, written
//! from `CONTROLLER-FILE.md` alone by someone who had not seen this program's code:
//! it gives our integers at every code, runs the pump as we do, and refuses damage.
//!
//! Outside: the page itself, as its second reader understood it; Perl with its core
//! modules.

use super::made_up::{answer, tables, temperatures};
use super::reader::{POWER_UP_S, readings};
use crate::Check;
use calib_cli::controller::{ControllerFormat, FORMATS, render};
use calib_core::controller::{ControllerTable, Fault, Pump};
use ovendry_tests::Bench;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

pub const CHECK: Check = Check {
    name: "a second reader written from the page alone answers as we do",
    needs: &["perl"],
    run,
};

const READER: &str = include_str!("second_reader.pl");

/// Formats the page describes key by key.
fn formats() -> impl Iterator<Item = &'static dyn ControllerFormat> {
    FORMATS
        .into_iter()
        .filter(|format| ["JSON", "CSV"].contains(&format.name()))
}

fn read(bench: &Path, file: &str, queries: &str) -> Result<Output, String> {
    let started = Command::new("perl")
        .current_dir(bench)
        .args(["second_reader.pl", file])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child = started.map_err(|error| error.to_string())?;
    let mut stdin = child.stdin.take().ok_or("no standard input")?;
    let queries = queries.to_owned();
    // Written from beside, since answers come while queries go.
    let writer = std::thread::spawn(move || {
        // A file that is refused closes the pipe early.
        let _ = stdin.write_all(queries.as_bytes());
    });
    let output = child
        .wait_with_output()
        .map_err(|error| error.to_string())?;
    writer.join().map_err(|_| "the writer failed")?;
    Ok(output)
}

/// Queries and what we answer to them.
fn asked(table: &ControllerTable) -> (String, String) {
    let (mut queries, mut answers) = (String::new(), String::new());
    let full_scale = u32::from(table.full_scale());
    let stride = 1 + full_scale / 4096;
    let named = |centi: Option<i16>| centi.map_or("none".to_owned(), |centi| centi.to_string());
    for centi in temperatures(table, 800) {
        for code in (0..=full_scale + 2).step_by(stride as usize) {
            queries.push_str(&format!("read {code} {}\n", named(centi)));
            let (theta_v, u) = answer(table, code, centi);
            let u = if u < -30_000 {
                "-".to_owned()
            } else {
                u.to_string()
            };
            answers.push_str(&format!("{theta_v} {u}\n"));
        }
    }
    let mut pump = Pump::start(table, POWER_UP_S);
    queries.push_str(&format!("start {POWER_UP_S}\n"));
    answers.push_str("off\n");
    for given in readings(table, 3000) {
        let (code, centi) = (u32::from(given.count), given.temperature());
        queries.push_str(&format!("step {} {code} {}\n", given.now_s, named(centi)));
        let step = pump.step(given.now_s, code, centi);
        let theta_v = step
            .answer
            .map_or_else(Fault::code, |reading| reading.theta_v);
        let on = if step.on() { "on" } else { "off" };
        answers.push_str(&format!("{theta_v} {on}\n"));
    }
    (queries, answers)
}

fn run() -> Result<(), String> {
    let bench = Bench::empty();
    bench.put("second_reader.pl", READER);
    let mut compared = 0;
    for table in &tables() {
        let (queries, expected) = asked(table);
        for format in formats() {
            let file = format.file_name("table");
            bench.put(&file, render(format, table));
            let output = read(bench.path(), &file, &queries)?;
            if !output.status.success() || !output.stderr.is_empty() {
                return Err(format!("{file}: {output:?}"));
            }
            let got = String::from_utf8_lossy(&output.stdout);
            if let Some(((query, ours), theirs)) = queries
                .lines()
                .zip(expected.lines())
                .zip(got.lines())
                .find(|((_, ours), theirs)| ours != theirs)
            {
                return Err(format!(
                    "{} of {}: {query}: we say {ours}, the second reader {theirs}",
                    format.name(),
                    table.record().probe
                ));
            }
            if got.lines().count() != expected.lines().count() {
                return Err(format!("{file}: {} answers", got.lines().count()));
            }
            compared += expected.lines().count();
        }
    }
    let damaged = damage(&bench)?;
    println!("{compared} answers agree; {damaged} damaged files are refused");
    Ok(())
}

/// One bit of every fifth byte, and every 40th length, of the example.
fn damage(bench: &Bench) -> Result<usize, String> {
    let table = &tables()[0];
    let mut tried = 0;
    for format in formats() {
        let file = format.file_name("damaged");
        let whole = render(format, table).into_bytes();
        let flips = (0..whole.len()).step_by(5).map(|position| {
            let mut copy = whole.clone();
            copy[position] ^= 1 << (position % 8);
            copy
        });
        let cuts = (0..whole.len())
            .step_by(40)
            .map(|length| whole[..length].to_vec());
        for copy in flips.chain(cuts) {
            std::fs::write(bench.path().join(&file), &copy).map_err(|error| error.to_string())?;
            let output = read(bench.path(), &file, "read 500 2000\n")?;
            if output.status.success() || !output.stdout.is_empty() {
                return Err(format!("a damaged {} file was read", format.name()));
            }
            tried += 1;
        }
    }
    Ok(tried)
}
