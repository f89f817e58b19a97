//! The record sheet of `ovendry plan`, in a real browser: one page of A4 and of Letter,
//! black on white, nothing cut off, nothing fetched, rows that a hand can write in.
//!
//! Outside: Chromium (`OVENDRY_CHROMIUM`, `/usr/bin/chromium` if not set), driven by
//! playwright-core, with the rules of axe-core; both lie in the folder that
//! `OVENDRY_NODE_MODULES` names, `target/outside-node/node_modules` if it does not.

use crate::{Check, output_of};
use ovendry_tests::{Bench, repository};
use serde_json::Value;
use std::path::PathBuf;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "record sheets print on the pages they say, black on white, nothing cut off",
    needs: &["node"],
    run,
};

/// Lowest row that a hand writes in, mm, less what a browser rounds.
const LOWEST_ROW_MM: f64 = 4.7;
/// Smallest letters of the sheet, pt: its cautions.
const SMALLEST_PT: f64 = 7.4;
/// Height of Letter between margins of 8 mm, the lower of the two, mm.
const LETTER_MM: f64 = 263.4;

fn run() -> Result<(), String> {
    let bench = Bench::demo();
    let site = bench.read("site.toml");
    let long = site
        .replace(
            "\"orchard\"",
            "\"orchard-below-the-long-stone-wall-by-the-river\"",
        )
        .replace(
            "A market-garden cooperative (invented)",
            "The market-garden cooperative of three villages in the upper valley (invented)",
        );
    bench.put("long/site.toml", long);
    let mut files = Vec::new();
    // As asked, folder, pages of each sheet.
    let plans: [(&[&str], &str, usize); 6] = [
        (&["plan", "--simulations", "0", "."], "usual", 1),
        (
            &["plan", "--simulations", "0", ".", "--start", "2026-11-30"],
            "dated",
            1,
        ),
        (
            &[
                "plan",
                "--simulations",
                "0",
                "long",
                "--start",
                "2026-12-21",
            ],
            "named",
            1,
        ),
        (
            &[
                "plan",
                "--simulations",
                "0",
                ".",
                "--levels",
                "7",
                "--cores",
                "3",
            ],
            "more",
            1,
        ),
        (
            &[
                "plan",
                "--simulations",
                "0",
                ".",
                "--cores",
                "2",
                "--oven-places",
                "2",
            ],
            "slow",
            1,
        ),
        (
            &[
                "plan",
                "--simulations",
                "0",
                ".",
                "--levels",
                "12",
                "--cores",
                "6",
                "--start",
                "2026-11-30",
            ],
            "many",
            3,
        ),
    ];
    for (asked, folder, pages) in plans {
        let answer = bench.run(&[asked, &["--out", folder]].concat());
        if answer.code != Some(0) {
            return Err(format!("{answer:?}"));
        }
        let sheets = bench.listing();
        let sheets = sheets.iter().filter(|name| {
            name.starts_with(&format!("{folder}/record-sheet-")) && name.ends_with(".html")
        });
        let before = files.len();
        files.extend(sheets.map(|name| (bench.path().join(name), pages)));
        if files.len() - before != 3 {
            return Err(format!("{folder}: not one sheet a soil"));
        }
    }
    let modules = std::env::var_os("OVENDRY_NODE_MODULES").map_or_else(
        || repository().join("target/outside-node/node_modules"),
        PathBuf::from,
    );
    let chromium =
        std::env::var("OVENDRY_CHROMIUM").unwrap_or_else(|_| "/usr/bin/chromium".to_owned());
    let mut command = Command::new("node");
    command
        .arg(repository().join("tests/tests/outside/record_sheet.mjs"))
        .arg(modules)
        .arg(chromium)
        .args(files.iter().map(|(path, _)| path));
    let told = String::from_utf8_lossy(&output_of(&mut command)?).into_owned();
    if let Some(folder) = std::env::var_os("OVENDRY_PLOT_DIR") {
        keep(&bench, &PathBuf::from(folder))?;
    }
    let mut faults = Vec::new();
    let mut seen = 0;
    for (line, (path, pages)) in told.lines().zip(&files) {
        let found: Value = serde_json::from_str(line).map_err(|error| error.to_string())?;
        seen += 1;
        for fault in faults_of(&found, *pages) {
            faults.push(format!("{}: {fault}", path.display()));
        }
    }
    if seen != files.len() {
        faults.push(format!("{seen} of {} sheets were looked at", files.len()));
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(faults.join("\n"))
    }
}

fn faults_of(found: &Value, pages: usize) -> Vec<String> {
    let mut faults = Vec::new();
    let mut must_be_empty = |name: &str, value: &Value| {
        if value.as_array().is_none_or(|list| !list.is_empty()) {
            faults.push(format!("{name}: {value}"));
        }
    };
    must_be_empty("console", &found["said"]);
    must_be_empty("fetched", &found["fetched"]);
    must_be_empty("accessibility", &found["violations"]);
    for paper in ["A4", "Letter"] {
        must_be_empty(&format!("{paper}: cut off"), &found[paper]["clipped"]);
    }
    for width in ["360", "1280"] {
        if found["overflow"][width] != 0 {
            faults.push(format!("{width} px: wider by {}", found["overflow"][width]));
        }
    }
    for paper in ["A4", "Letter"] {
        let printed = &found[paper];
        if found["pages"][paper] != pages {
            faults.push(format!(
                "{paper}: {} pages, {pages} expected",
                found["pages"][paper]
            ));
        }
        let bottom = printed["first_page_mm"].as_f64().unwrap_or(f64::MAX);
        if bottom > LETTER_MM {
            faults.push(format!("{paper}: the first page ends at {bottom:.1} mm"));
        }
        if printed["colours"] != serde_json::json!(["rgb(0, 0, 0)"]) {
            faults.push(format!("{paper}: colours {}", printed["colours"]));
        }
        let smallest = printed["smallest_pt"].as_f64().unwrap_or(0.0);
        if smallest < SMALLEST_PT {
            faults.push(format!("{paper}: letters of {smallest:.1} pt"));
        }
        let rows = printed["rows_mm"].as_array().map_or(&[][..], Vec::as_slice);
        if rows.is_empty()
            || rows
                .iter()
                .any(|row| row.as_f64().is_none_or(|mm| mm < LOWEST_ROW_MM))
        {
            faults.push(format!("{paper}: rows of {}", printed["rows_mm"]));
        }
        let ids = printed["ids"].as_array().map_or(0, Vec::len);
        if ids != rows.len() {
            faults.push(format!("{paper}: {ids} ids in {} rows", rows.len()));
        }
        let text = printed["text"].as_str().unwrap_or_default();
        for word in [
            "105 C burns",
            "Water and mains kill together",
            "Local codes",
        ] {
            if !text.contains(word) {
                faults.push(format!("{paper}: no {word:?}"));
            }
        }
    }
    faults
}

/// Keeps the printed sheets, to be looked at.
fn keep(bench: &Bench, folder: &std::path::Path) -> Result<(), String> {
    for name in bench.listing() {
        if name.ends_with(".pdf") {
            let to = folder.join(name.replace('/', "-"));
            std::fs::copy(bench.path().join(&name), to).map_err(|error| error.to_string())?;
        }
    }
    Ok(())
}
