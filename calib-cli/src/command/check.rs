//! `check`: every problem in one pass, each with its mend. Nothing is changed.

use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::findings::Findings;
use crate::fitted::{Outcome, fit_probe};
use crate::output;
use crate::pairing;
use crate::table;
use crate::workbench::{LoggedReading, SourceFile, Workbench};
use calib_core::fit::Request;
use calib_core::quantity::Timestamp;
use serde::Serialize;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// What to check.
#[derive(Debug, clap::Args)]
pub struct Check {
    /// The workbench folder
    dir: PathBuf,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// The result as JSON.
#[derive(Debug, Serialize)]
struct Report<'a> {
    format: &'static str,
    version: u32,
    problems: &'a [Complaint],
    warnings: &'a [Warning],
    /// Absent where there are problems.
    #[serde(skip_serializing_if = "Option::is_none")]
    workbench: Option<Contents<'a>>,
}

/// What a clean workbench holds.
#[derive(Debug, Serialize)]
struct Contents<'a> {
    site: &'a str,
    soils: usize,
    probes: usize,
    cores: usize,
    readings: usize,
    sources: &'a [SourceFile],
}

/// What was found: in the files, then in how cores and readings pair, then in
/// what a fit makes of them.
struct Found {
    /// The workbench, if there is no problem.
    workbench: Option<Workbench>,
    problems: Vec<Complaint>,
    warnings: Vec<Warning>,
}

fn inspect(folder: &Path) -> Result<Found, Failure> {
    let files = table::inspect(folder);
    let mut found = Found {
        workbench: files.workbench,
        problems: files.complaints,
        warnings: files.warnings,
    };
    if let Some(workbench) = &found.workbench {
        let pairs = pairing::inspect(workbench);
        found.problems.extend(pairs.complaints);
        found.warnings.extend(pairs.warnings);
        let mut fits = Findings::default();
        for probe in pairs.paired.iter().flat_map(|paired| &paired.probes) {
            match fit_probe(workbench, probe, Request::default()) {
                Ok(Outcome::Fitted(_)) => {}
                Ok(Outcome::Refused(refused)) => found.warnings.push(refused.into()),
                Err(Failure::Input(complaints)) => {
                    complaints.into_iter().for_each(|one| fits.complain(one));
                }
                Err(internal) => return Err(internal),
            }
        }
        found.problems.extend(table::finished(folder, fits).0);
    }
    found.workbench = found.workbench.filter(|_| found.problems.is_empty());
    Ok(found)
}

/// Checks a workbench.
///
/// # Errors
/// [`Failure::Internal`] if the program fails or the result cannot be printed.
pub fn run(check: &Check) -> Result<Verdict, Failure> {
    let found = inspect(&check.dir)?;
    if check.json {
        output::print_json(&report(&found))?;
    } else {
        output::print(&as_text(&check.dir, &found))?;
    }
    Ok(if found.workbench.is_some() {
        Verdict::Good
    } else {
        Verdict::Faulty
    })
}

fn report(found: &Found) -> Report<'_> {
    Report {
        format: "ovendry check",
        version: 1,
        problems: &found.problems,
        warnings: &found.warnings,
        workbench: found.workbench.as_ref().map(|workbench| Contents {
            site: &workbench.site.name,
            soils: workbench.site.soils.len(),
            probes: workbench.site.probes.len(),
            cores: workbench.samples.len(),
            readings: workbench.readings.len(),
            sources: &workbench.sources,
        }),
    }
}

fn as_text(folder: &Path, found: &Found) -> String {
    let mut text = String::new();
    let mut files = 0;
    for of_file in found.problems.chunk_by(|one, next| one.file == next.file) {
        files += 1;
        if let Some(first) = of_file.first() {
            let problems = counted(of_file.len(), "problem");
            let _ = writeln!(text, "{}: {problems}", first.file.display());
        }
        for complaint in of_file {
            let _ = writeln!(text, "{complaint}");
        }
        text.push('\n');
    }
    for warning in &found.warnings {
        let _ = writeln!(text, "{warning}");
    }
    if !found.warnings.is_empty() {
        text.push('\n');
    }
    match &found.workbench {
        Some(workbench) => text.push_str(&contents(folder, workbench)),
        None => {
            let _ = writeln!(
                text,
                "{} in {}; nothing was changed",
                counted(found.problems.len(), "problem"),
                counted(files, "file")
            );
        }
    }
    text
}

fn contents(folder: &Path, workbench: &Workbench) -> String {
    format!(
        "no problems\n  {:13} {}, {}\n  {:13} {}\n  {:13} {}{}\n\nnext: ovendry calibrate {}\n",
        table::SITE,
        counted(workbench.site.soils.len(), "soil"),
        counted(workbench.site.probes.len(), "probe"),
        table::SAMPLES,
        counted(workbench.samples.len(), "core"),
        table::READINGS,
        counted(workbench.readings.len(), "reading"),
        span(&workbench.readings),
        folder.display(),
    )
}

/// `, 2026-04-13T06:08:01Z to 2026-05-18T18:30:11Z`
fn span(readings: &[LoggedReading]) -> String {
    let times = || readings.iter().map(|logged| logged.reading.time);
    let shown = |Timestamp(second)| jiff::Timestamp::from_second(second).ok();
    match (times().min().and_then(shown), times().max().and_then(shown)) {
        (Some(first), Some(last)) => format!(", {first} to {last}"),
        _ => String::new(),
    }
}

fn counted(number: usize, noun: &str) -> String {
    match number {
        1 => format!("1 {noun}"),
        _ => format!("{number} {noun}s"),
    }
}
