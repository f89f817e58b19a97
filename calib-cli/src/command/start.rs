//! `start`: lays out a workbench folder to fill in, or one with invented data to
//! try the program on.

use crate::caution;
use crate::failure::{Complaint, Failure, Verdict};
use crate::output::{self, OutputSet};
use crate::table::{LOG, READINGS, SAMPLES, SITE};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

/// What to lay out.
#[derive(Debug, clap::Args)]
pub struct Start {
    /// The folder; made if it is not there
    dir: PathBuf,
    /// Fill it with invented data, to try the program
    #[arg(long)]
    demo: bool,
    /// Overwrite what is there
    #[arg(long)]
    force: bool,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

/// What was laid out, for machines.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Answer<'a> {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// Whether all of it is invented data, not to be irrigated by.
    demo: bool,
    written: Vec<&'a Path>,
    /// The command to give next.
    next: String,
    cautions: Vec<&'static str>,
}

/// A file's name and text.
type Sheet = (&'static str, &'static str);

const BLANK: [Sheet; 4] = [
    (SITE, include_str!("../../assets/workbench/site.toml")),
    (SAMPLES, include_str!("../../assets/workbench/samples.csv")),
    (
        READINGS,
        include_str!("../../assets/workbench/readings.csv"),
    ),
    (
        "README.txt",
        include_str!("../../assets/workbench/README.txt"),
    ),
];

const DEMO: [Sheet; 9] = [
    (
        "README.txt",
        concat!(
            "This folder is the demo: its files are filled in already, with invented data.\n\n",
            include_str!("../../assets/workbench/README.txt")
        ),
    ),
    (SITE, include_str!("../../../demo-data/site.toml")),
    (SAMPLES, include_str!("../../../demo-data/samples.csv")),
    (READINGS, include_str!("../../../demo-data/readings.csv")),
    (LOG, include_str!("../../../demo-data/log.csv")),
    (
        "weather.csv",
        include_str!("../../../demo-data/weather.csv"),
    ),
    (
        "forty-probes.csv",
        include_str!("../../../demo-data/forty-probes.csv"),
    ),
    (
        "later-cores.csv",
        include_str!("../../../demo-data/later-cores.csv"),
    ),
    (
        "spot-checks.csv",
        include_str!("../../../demo-data/spot-checks.csv"),
    ),
];

/// Lays out a workbench folder.
///
/// # Errors
/// [`Failure::Input`] naming every file that is there already and differs, unless
/// it may be overwritten.
pub fn run(start: &Start) -> Result<Verdict, Failure> {
    let sheets: &[Sheet] = if start.demo { &DEMO } else { &BLANK };
    if start.dir.exists() && !start.dir.is_dir() {
        return Err(Complaint::about(
            &start.dir,
            "is a file",
            "name a folder, or one that is not there yet",
        )
        .into());
    }
    if !start.force {
        refuse_to_overwrite(start, sheets)?;
    }
    let mut outputs = OutputSet::default();
    for (name, text) in sheets {
        outputs.add(start.dir.join(name), *text);
    }
    let written: Vec<PathBuf> = outputs.paths().map(Path::to_owned).collect();
    outputs.write(start.force)?;
    if start.json {
        output::print_json(&answer(start, &written))?;
        return Ok(Verdict::Good);
    }
    let mut said = String::new();
    for path in &written {
        let _ = writeln!(said, "wrote {}", path.display());
    }
    said.push_str(&next(start));
    output::print(&said)?;
    Ok(Verdict::Good)
}

fn refuse_to_overwrite(start: &Start, sheets: &[Sheet]) -> Result<(), Failure> {
    let there = |(name, text): &&Sheet| {
        let path = start.dir.join(name);
        match fs::read(&path) {
            Ok(bytes) => bytes != text.as_bytes(),
            Err(_) => path.exists(),
        }
    };
    let names: Vec<&str> = sheets.iter().filter(there).map(|sheet| sheet.0).collect();
    if names.is_empty() {
        return Ok(());
    }
    Err(Complaint::about(
        &start.dir,
        format!("holds {} already, and they differ", names.join(", ")),
        "choose another folder, or add --force to overwrite them for good",
    )
    .into())
}

fn answer<'a>(start: &Start, written: &'a [PathBuf]) -> Answer<'a> {
    Answer {
        format: "ovendry start",
        version: 1,
        verdict: Verdict::Good,
        demo: start.demo,
        written: written.iter().map(PathBuf::as_path).collect(),
        next: format!("ovendry check {}", start.dir.display()),
        cautions: [caution::OVEN, caution::PUMP, &[caution::LOCAL_RULES]].concat(),
    }
}

fn next(start: &Start) -> String {
    let dir = start.dir.display();
    if start.demo {
        return format!(
            "\nAll of it is invented data: no soil, probe or garden behind it exists. \
             Do not irrigate by it.\n\nnext: ovendry check {dir}\n"
        );
    }
    format!(
        "\nFill in site.toml; every key is explained there, and README.txt explains the two \
         tables.\n\n{}\nnext: ovendry check {dir}   (says what is still to fill in)\n",
        caution::take_care(&[caution::OVEN, caution::PUMP])
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table;

    fn lay_out(sheets: &[Sheet]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in sheets {
            fs::write(folder.path().join(name), text).unwrap();
        }
        folder
    }

    fn told(folder: &Path) -> Vec<String> {
        let inspection = table::inspect(folder);
        assert!(inspection.warnings.is_empty(), "{:?}", inspection.warnings);
        inspection
            .complaints
            .iter()
            .map(|complaint| {
                let name = complaint.file.file_name().unwrap().to_string_lossy();
                let column = complaint.column.as_deref().unwrap_or("-");
                format!("{name} {column} {}", complaint.what)
            })
            .collect()
    }

    #[test]
    fn a_blank_workbench_lacks_only_what_a_person_must_fill_in() {
        let folder = lay_out(&BLANK);
        assert_eq!(
            told(folder.path()),
            [
                "site.toml name is empty",
                "site.toml texture is empty",
                "samples.csv - holds a header and no rows",
                "readings.csv - holds a header and no rows",
            ]
        );
    }

    #[test]
    fn the_demo_workbench_is_clean() {
        let folder = lay_out(&DEMO);
        assert_eq!(told(folder.path()), Vec::<String>::new());
    }

    #[test]
    fn the_demos_tables_of_pairs_are_clean() {
        let folder = lay_out(&DEMO);
        for (name, rows) in [
            ("forty-probes.csv", 840),
            ("later-cores.csv", 72),
            ("spot-checks.csv", 30),
        ] {
            let pairs = crate::pairs::load(&folder.path().join(name))
                .unwrap_or_else(|failure| panic!("{failure}"));
            assert_eq!(pairs.pairs.len(), rows, "{name}");
            assert!(pairs.warnings.is_empty(), "{:?}", pairs.warnings);
        }
    }

    #[test]
    fn every_key_and_column_is_explained_in_the_blank_workbench() {
        let text = |name| BLANK.iter().find(|sheet| sheet.0 == name).unwrap().1;
        for key in table::site_keys() {
            assert!(
                text(SITE).lines().any(|line| line
                    .trim_start_matches(['#', ' '])
                    .starts_with(&format!("{key} = "))),
                "{key}"
            );
        }
        for (name, columns) in [
            (Some(SAMPLES), &table::SAMPLE_COLUMNS[..]),
            (Some(READINGS), &table::READING_COLUMNS[..]),
            (None, &table::pairs::COLUMNS[..]),
        ] {
            let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
            if let Some(name) = name {
                assert_eq!(text(name), format!("{}\n", names.join(",")));
            }
            for column in columns {
                let needed = if column.required { "needed" } else { "" };
                assert!(
                    text("README.txt").lines().any(|line| {
                        let mut words = line.split_whitespace();
                        words.next() == Some(column.name)
                            && (needed.is_empty() || words.next() == Some(needed))
                    }),
                    "{}",
                    column.name
                );
            }
        }
    }
}
