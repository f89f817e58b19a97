//! The report in a browser: no message on the console, nothing asked of a network, no
//! wider than a phone, no fault for axe-core, readable and switchable without a script,
//! every core reached by keyboard and mouse; and printed, every soil on clean pages.
//!
//! Outside: Chromium, the one `OVENDRY_CHROMIUM` names (`/usr/bin/chromium` if it does
//! not), driven by playwright-core 1.65.1 with axe-core 4.14.1 from the folder that
//! `OVENDRY_NODE_MODULES` names; `pdfinfo` and `pdftotext` of poppler. `.ci/run` says how
//! they are installed.

use crate::{Check, output_of};
use ovendry_tests::{Bench, repository};
use std::path::{Path, PathBuf};
use std::process::Command;

pub const CHECK: Check = Check {
    name: "a browser shows and prints the report without a fault",
    needs: &["node", "pdfinfo", "pdftotext"],
    run: || {
        let bench = Bench::demo().with_demo(&["forty-probes.csv"]);
        let pairs = bench.path().join("forty-probes.csv");
        bench
            .run(&["report", ".", "--batch", &pairs.display().to_string()])
            .exits(0);
        let said = look(&bench)?;
        if !said.is_empty() {
            return Err(said);
        }
        // More leaves would be paper for gaps.
        printed(&bench, "A4", 20)?;
        printed(&bench, "Letter", 22)
    },
};

/// What the browser finds wrong with the page, a line each.
fn look(bench: &Bench) -> Result<String, String> {
    let modules = std::env::var_os("OVENDRY_NODE_MODULES").map_or_else(
        || repository().join("target/outside-node/node_modules"),
        PathBuf::from,
    );
    let chromium = std::env::var_os("OVENDRY_CHROMIUM")
        .map_or_else(|| PathBuf::from("/usr/bin/chromium"), PathBuf::from);
    let mut command = Command::new("node");
    command
        .arg(repository().join("tests/tests/outside/page.mjs"))
        .arg(modules)
        .arg(chromium)
        .arg(bench.path().join("out/report.html"))
        .arg(bench.path());
    words(&mut command)
}

/// What a program says.
fn words(command: &mut Command) -> Result<String, String> {
    output_of(command).map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
}

/// Whether the page on paper has every soil and ends before too many leaves, none empty.
fn printed(bench: &Bench, format: &str, most: usize) -> Result<(), String> {
    let file = bench.path().join(format!("{format}.pdf"));
    let leaves = leaves(&file)?;
    if leaves > most {
        return Err(format!(
            "{format}: {leaves} leaves, expected {most} at most"
        ));
    }
    let mut whole = String::new();
    for leaf in 1..=leaves {
        let number = leaf.to_string();
        let mut command = Command::new("pdftotext");
        command
            .args(["-f", &number, "-l", &number])
            .arg(&file)
            .arg("-");
        let text = words(&mut command)?;
        if text.trim().len() < 40 {
            return Err(format!("{format}: leaf {leaf} is all but empty: {text:?}"));
        }
        whole.push_str(&text);
    }
    for expected in [
        "Probe terrace-1",
        "Probe orchard-1",
        "Probe lowfield-1",
        "Take care",
        "SHA-256",
    ] {
        if !whole.contains(expected) {
            return Err(format!("{format}: {expected:?} is not on paper"));
        }
    }
    if whole.contains("How to show it") || whole.contains("Other measures") {
        return Err(format!("{format}: switches are on paper"));
    }
    Ok(())
}

fn leaves(file: &Path) -> Result<usize, String> {
    let said = words(Command::new("pdfinfo").arg(file))?;
    said.lines()
        .find_map(|line| line.strip_prefix("Pages:")?.trim().parse().ok())
        .ok_or_else(|| format!("no pages in {said:?}"))
}
