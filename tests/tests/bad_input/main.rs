//! One test for each kind of bad input in `bad-input.md`: the exact message with
//! file, line, column, value and mend, exit code 2, and nothing written.
//!
//! Each case is the small workbench with one thing made wrong, so each must get
//! exactly one complaint.

use ovendry_tests::Bench;

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
        }
    }
}

/// Checks that the workbench so edited gets this one complaint and stays as it is.
#[track_caller]
fn refused(edits: &[Edit], what: &str, mend: &str) {
    let bench = Bench::small();
    for edit in edits {
        edit.make(&bench);
    }
    let before = bench.contents();
    let answer = bench.run(&["check", "."]).exits(2);
    let file = what.split(':').next().unwrap_or_default();
    let expected = format!(
        "{file}: 1 problem\n{what}\n  mend: {mend}\n\n1 problem in 1 file; nothing was changed\n"
    );
    assert!(
        answer.stdout == expected,
        "--- expected\n{expected}--- got\n{}{}",
        answer.stdout,
        answer.stderr
    );
    assert!(bench.contents() == before, "a file was changed");
}

macro_rules! kinds {
    ($($id:literal $name:ident: $($edit:expr),+ => $what:literal, $mend:literal;)*) => {
        $(#[test]
        fn $name() {
            refused(&[$($edit),+], $what, $mend);
        })*

        /// The kinds tested here.
        pub const IDS: &[&str] = &[$($id),*];
    };
}

mod cores;
mod files;
mod readings;
mod site;
mod times;

/// The kinds with a test of their own at the end of this file.
const ON_THEIR_OWN: &[&str] = &["no-such-folder", "start-over-data", "start-on-a-file"];

#[test]
fn the_small_workbench_itself_is_clean() {
    let bench = Bench::small();
    let before = bench.contents();
    bench.run(&["check", "."]).exits(0).says("no problems\n");
    assert!(bench.contents() == before, "a file was changed");
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    let bench = Bench::empty();
    let answer = bench.run(&["check", "garden"]).exits(2);
    assert_eq!(
        answer.stdout,
        "garden: 1 problem\ngarden: is not a folder\n  mend: name the folder that holds site.toml, \
         samples.csv and readings.csv, or run `ovendry start` to have one laid out\n\n\
         1 problem in 1 file; nothing was changed\n"
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

#[test]
fn every_kind_on_the_list_is_tested_and_every_test_is_on_the_list() {
    let listed: Vec<&str> = include_str!("../../bad-input.md")
        .lines()
        .filter(|line| line.starts_with("| `"))
        .filter(|line| !line.ends_with("| to come |"))
        .filter_map(|line| line.split('`').nth(1))
        .collect();
    let tested: Vec<&str> = [
        files::IDS,
        times::IDS,
        cores::IDS,
        readings::IDS,
        site::IDS,
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
