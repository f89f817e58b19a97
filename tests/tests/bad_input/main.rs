//! One test for each kind of bad input in `bad-input.md`: the exact message with
//! file, line, column, value and mend, exit code 2, and nothing written.
//!
//! Each case is the small workbench with one thing made wrong, so each must get
//! exactly one complaint.

use ovendry_tests::{Answer, Bench};
use std::collections::BTreeMap;

/// What is made wrong.
#[derive(Debug, Clone, Copy)]
enum Edit {
    /// The one place in a file that reads so reads otherwise.
    Change(&'static str, &'static str, &'static str),
    /// All of a file is this.
    Whole(&'static str, &'static [u8]),
    /// A file is not there.
    Missing(&'static str),
    /// A table is exported with semicolons and decimal commas.
    Semicolons(&'static str),
    /// A column of a table says this in every row that holds a text.
    Fill {
        file: &'static str,
        column: &'static str,
        rows: &'static str,
        value: &'static str,
    },
    /// A table lacks the rows that hold a text.
    Without(&'static str, &'static str),
    /// Only these cores are there, with their readings.
    Cores(&'static [&'static str]),
}

const SITE: &str = "site.toml";
const SAMPLES: &str = "samples.csv";
const READINGS: &str = "readings.csv";

impl Edit {
    fn make(self, bench: &Bench) {
        match self {
            Self::Change(file, from, to) => {
                let text = bench.read(file);
                assert_eq!(text.matches(from).count(), 1, "{file} has one {from:?}");
                bench.put(file, text.replacen(from, to, 1));
            }
            Self::Whole(file, bytes) => bench.put(file, bytes),
            Self::Missing(file) => std::fs::remove_file(bench.path().join(file)).expect("a file"),
            Self::Semicolons(file) => {
                let text = bench.read(file).replace(',', ";");
                let cells: Vec<String> = text
                    .split(';')
                    .map(|cell| match cell.parse::<f64>() {
                        Ok(_) => cell.replace('.', ","),
                        Err(_) => cell.to_owned(),
                    })
                    .collect();
                bench.put(file, cells.join(";"));
            }
            Self::Fill {
                file,
                column,
                rows,
                value,
            } => {
                let text = bench.read(file);
                let mut lines = text.lines();
                let header = lines.next().expect("a header");
                let place = header.split(',').position(|name| name == column);
                let place = place.unwrap_or_else(|| panic!("{file} has no {column}"));
                let mut filled = format!("{header}\n");
                for line in lines {
                    let mut cells: Vec<&str> = line.split(',').collect();
                    if line.contains(rows) {
                        cells[place] = value;
                    }
                    filled += &format!("{}\n", cells.join(","));
                }
                assert_ne!(filled, text, "{file} is changed");
                bench.put(file, filled);
            }
            Self::Without(file, what) => keep(bench, file, |line| !line.contains(what)),
            Self::Cores(ids) => {
                for file in [SAMPLES, READINGS] {
                    keep(bench, file, |line| {
                        line.split(',').any(|cell| ids.contains(&cell))
                    });
                }
            }
        }
    }
}

/// Keeps the header of a table and the rows that `are_kept`.
fn keep(bench: &Bench, file: &str, are_kept: impl Fn(&str) -> bool) {
    let text = bench.read(file);
    let (header, rows) = text.split_once('\n').expect("a header");
    let kept: String = rows
        .lines()
        .filter(|line| are_kept(line))
        .map(|line| format!("{line}\n"))
        .collect();
    assert_ne!(kept, rows, "{file} is changed");
    bench.put(file, format!("{header}\n{kept}"));
}

/// The small workbench with these edits.
fn edited(edits: &[Edit]) -> Bench {
    let bench = Bench::small();
    for edit in edits {
        edit.make(&bench);
    }
    bench
}

/// Checks that the command gives the workbench so edited this one complaint and
/// leaves it as it is. What `check` finds must stop `fit` in the same words.
#[track_caller]
fn refused(command: &[&str], edits: &[Edit], what: &str, mend: &str) {
    let bench = edited(edits);
    let before = bench.contents();
    let answer = bench.run(command).exits(2);
    let complaint = format!("{what}\n  mend: {mend}\n");
    if command[0] == "check" {
        let file = what.split(':').next().unwrap_or_default();
        let report =
            format!("1 problem in 1 file; nothing was changed\n\n{file}: 1 problem\n{complaint}");
        let told = answer.stdout.split("\nsome of this is form only").next();
        let told = told.unwrap_or_default().to_owned();
        said(
            &Answer {
                stdout: told,
                ..answer
            },
            &report,
            "",
        );
        let fit = bench.run(&["fit", "."]).exits(2);
        said(&fit, "", &format!("error: {complaint}"));
    } else {
        said(&answer, "", &format!("error: {complaint}"));
    }
    nothing_was_written(&bench, &before);
}

#[track_caller]
fn said(answer: &Answer, stdout: &str, stderr: &str) {
    assert!(
        answer.stdout == stdout && answer.stderr == stderr,
        "{}\n--- expected\n{stdout}{stderr}--- got\n{}{}",
        answer.command,
        answer.stdout,
        answer.stderr
    );
}

#[track_caller]
fn nothing_was_written(bench: &Bench, before: &BTreeMap<String, Vec<u8>>) {
    assert!(bench.contents() == *before, "a file was changed");
    assert!(!bench.path().join("out").exists(), "a folder was made");
}

/// A kind is found by `check` unless another command is named.
macro_rules! kinds {
    (@by) => { &["check", "."] };
    (@by $command:tt) => { &$command };
    ($($id:literal $name:ident $(by $command:tt)?: $($edit:expr),+ => $what:literal, $mend:literal;)*) => {
        $(#[test]
        fn $name() {
            refused(kinds!(@by $($command)?), &[$($edit),+], $what, $mend);
        })*

        /// The kinds tested here.
        pub const IDS: &[&str] = &[$($id),*];
    };
}

mod cores;
mod database;
mod files;
mod fit;
mod pair_table;
mod pairs;
mod plan;
mod readings;
mod site;
mod times;
mod watering;
mod weather;

/// The kinds with a test of their own at the end of this file.
const ON_THEIR_OWN: &[&str] = &[
    "no-such-folder",
    "start-over-data",
    "start-on-a-file",
    "curve-turns-back",
];

#[test]
fn the_small_workbench_itself_is_clean() {
    let bench = Bench::small();
    let before = bench.contents();
    bench.run(&["check", "."]).exits(0).says("no problems\n");
    nothing_was_written(&bench, &before);
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    let bench = Bench::empty();
    let answer = bench.run(&["check", "garden"]).exits(2);
    assert_eq!(
        answer.stdout,
        "1 problem in 1 file; nothing was changed\n\n\
         garden: 1 problem\ngarden: is not a folder\n  mend: name the folder that holds site.toml, \
         samples.csv and readings.csv, or run `ovendry start` to have one laid out\n"
    );
    assert!(bench.listing().is_empty());
}

#[test]
fn start_does_not_overwrite_a_workbench() {
    let bench = Bench::small();
    let before = bench.contents();
    let answer = bench.run(&["start", "."]).exits(2);
    assert_eq!(
        answer.stderr,
        "error: .: holds site.toml, samples.csv, readings.csv already, and they differ\n  \
         mend: choose another folder, or add --force to overwrite them for good\n"
    );
    assert!(bench.contents() == before, "a file was changed");
}

#[test]
fn start_does_not_take_a_file_for_a_folder() {
    let bench = Bench::empty().with("garden", "carrots");
    let answer = bench.run(&["start", "garden"]).exits(2);
    assert_eq!(
        answer.stderr,
        "error: garden: is a file\n  mend: name a folder, or one that is not there yet\n"
    );
    assert_eq!(bench.listing(), ["garden"]);
}

/// Checks that the one probe is refused for this reason, with its cores to look
/// at.
#[track_caller]
fn judged_unfit(answer: &Answer, reason: &str, mend: &str) {
    let (refusal, cores) = answer.stderr.split_once("\n\n").unwrap_or_default();
    let refusal = Answer {
        stderr: refusal.to_owned(),
        ..answer.clone()
    };
    let expected = format!("refused: probe P1 in loam: {reason}\n  mend: {mend}");
    said(&refusal, "", &expected);
    for core in ["A1", "A2", "A3", "A4", "A5", "A6"] {
        assert!(cores.contains(core), "{cores}");
    }
}

/// Sound data that give no calibration are judged, not refused as bad input.
#[test]
fn a_curve_that_turns_back_is_judged_unfit() {
    // The driest core is weighed as wet as the wettest: water first falls and
    // then rises with the count.
    let bench = edited(&[Edit::Change(SAMPLES, "184.45", "216.45")]);
    let before = bench.contents();
    bench.run(&["check", "."]).exits(0);
    let answer = bench.run(&["fit", ".", "--curve", "quadratic"]).exits(1);
    judged_unfit(
        &answer,
        "the quadratic turns at 547 counts, inside the calibrated 392 to 663",
        "one water content must not have two counts: ask for a simpler curve; if none fits, look for a core whose count does not belong to its water content",
    );
    nothing_was_written(&bench, &before);
}

#[test]
fn counts_that_say_nothing_of_the_water_are_warned_of_by_check_and_judged_by_fit() {
    let say = |rows, value| Edit::Fill {
        file: READINGS,
        column: "raw_count",
        rows,
        value,
    };
    let bench = edited(&[
        say("A1", "500"),
        say("A2", "520"),
        say("A3", "480"),
        say("A4", "515"),
        say("A5", "490"),
        say("A6", "505"),
    ]);
    let before = bench.contents();
    bench
        .run(&["check", "."])
        .exits(0)
        .says("warning: probe P1 in loam: ");
    let fit = bench.run(&["fit", "."]).exits(1);
    judged_unfit(
        &fit,
        "theta_v changes by only 0.0435 m3/m3 over the calibrated counts, less than the 0.2773 m3/m3 by which the cores scatter",
        "look for readings under the wrong sample, level or time, and check the probe's wiring; then take cores from drier to wetter soil",
    );
    nothing_was_written(&bench, &before);
}

#[test]
fn every_kind_on_the_list_is_tested_and_every_test_is_on_the_list() {
    let listed: Vec<&str> = include_str!("../../bad-input.md")
        .lines()
        .filter(|line| line.starts_with("| `"))
        .filter_map(|line| line.split('`').nth(1))
        .collect();
    let tested: Vec<&str> = [
        files::IDS,
        times::IDS,
        cores::IDS,
        database::IDS,
        fit::IDS,
        pair_table::IDS,
        pairs::IDS,
        plan::IDS,
        readings::IDS,
        site::IDS,
        watering::IDS,
        weather::IDS,
        ON_THEIR_OWN,
    ]
    .concat();
    let lacking = |of: &[&'static str], other: &[&str]| -> Vec<&'static str> {
        of.iter()
            .copied()
            .filter(|id| !other.contains(id))
            .collect()
    };
    assert_eq!(lacking(&listed, &tested), [""; 0], "listed, not tested");
    assert_eq!(lacking(&tested, &listed), [""; 0], "tested, not listed");
    assert_eq!(listed.len(), tested.len(), "an id stands twice");
}
