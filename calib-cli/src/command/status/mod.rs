//! `ovendry status`, and `ovendry` alone: where you are with a workbench and what is
//! next. It looks and decides nothing: `seen.rs` looks, `whereabouts.rs` decides.

mod seen;
#[cfg(test)]
mod tests;
mod to_fill_in;
mod whereabouts;

use super::check::Found;
use super::verify::today;
use crate::failure::{Failure, Verdict};
use crate::fit_report::wrapped;
use crate::output;
use crate::table::no_folder;
use calib_core::drift::Standing;
use clap::Args;
use jiff::civil::Date;
use schemars::JsonSchema;
use seen::{Exported, Seen, Table};
use serde::Serialize;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use whereabouts::{Next, Step, Whereabouts, counted};

/// Which workbench.
#[derive(Debug, Args)]
pub struct Status {
    /// Workbench folder; the one you are in if not given
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// Where results lie; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// The day to go by; today, UTC, if not given
    #[arg(long, value_name = "YYYY-MM-DD")]
    on: Option<Date>,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

impl Default for Status {
    fn default() -> Self {
        Self {
            dir: PathBuf::from("."),
            out: None,
            on: None,
            json: false,
        }
    }
}

/// Where a workbench is and what is next.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// The folder, as named.
    folder: PathBuf,
    /// How far the work has come.
    step: Step,
    /// The one command that comes next, and why.
    next: Next,
    /// The site's name, where site.toml can be read.
    site: Option<String>,
    /// Rows of samples.csv.
    cores_count: usize,
    /// Rows of readings.csv.
    readings_count: usize,
    /// Problems that `ovendry check` names.
    problems_count: usize,
    /// Rows of samples.csv with a cell still to fill in; no fault while cores dry.
    cores_to_fill_in_count: usize,
    /// Warnings that `ovendry check` gives.
    warnings_count: usize,
    /// What lies there as the report: `null` if none.
    report_current: Option<bool>,
    /// The calibrated probes.
    calibrated: Vec<Calibrated>,
    /// Probes with cores and without a calibration.
    not_calibrated: Vec<String>,
}

/// A calibrated probe.
#[derive(Debug, Serialize, JsonSchema)]
struct Calibrated {
    /// Its id.
    probe: String,
    /// Whether cores and readings are still those it was made from.
    current: bool,
    /// What `ovendry drift` last found of it, where it was checked.
    drift: Option<Standing>,
    /// The day by which it is to be checked again.
    recheck_by: Option<String>,
    /// Whether set points can be placed that are fit for use.
    set_points: bool,
    /// Whether controller files of every format lie there with these numbers.
    exported: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] if there is no such folder.
pub fn run(status: &Status) -> Result<Verdict, Failure> {
    if !status.dir.is_dir() {
        return Err(no_folder(&status.dir).into());
    }
    let seen = Seen::of(&status.dir, status.out.as_deref())?;
    let here = Whereabouts::of(&seen, status.on.unwrap_or_else(today));
    if status.json {
        output::print_json(&answer(seen, here))?;
    } else {
        output::print(&text(&seen, &here))?;
    }
    Ok(Verdict::Good)
}

/// The command that comes next in `folder`, of which this was found.
///
/// # Errors
/// [`Failure::Internal`] if the program fails.
pub(super) fn next(folder: &Path, found: &Found) -> Result<String, Failure> {
    let seen = Seen::with(folder, None, found)?;
    Ok(Whereabouts::of(&seen, today()).next.command)
}

/// What site.toml leaves open that the next step will ask for, in a line; empty where
/// something is measured already, or nothing is open.
fn still_to_fill_in(seen: &Seen) -> String {
    let is_measured = seen.cores != Table::Nothing || seen.readings != Table::Nothing;
    let is_planned = seen.sheet.is_some();
    let open = to_fill_in::for_the_plan(&seen.folder);
    if !seen.has_site || is_measured || is_planned || open.is_empty() {
        return String::new();
    }
    format!(
        "The plan of the bench comes next and will ask for more of site.toml, which is no fault yet: {}.",
        open.join(", ")
    )
}

/// The same for `check`, of which this was found in `folder`.
///
/// # Errors
/// [`Failure::Internal`] if the program fails.
pub(super) fn notice(folder: &Path, found: &Found) -> Result<String, Failure> {
    let open = still_to_fill_in(&Seen::with(folder, None, found)?);
    Ok(if open.is_empty() {
        open
    } else {
        wrapped(&open)
    })
}

/// `ovendry` without a command: the same for the folder one is in.
///
/// # Errors
/// As [`run`].
pub fn welcome() -> Result<Verdict, Failure> {
    output::print(concat!(
        "Ovendry ",
        env!("CARGO_PKG_VERSION"),
        ": from oven-dry cores and logged counts to set points a pump can hold.\n\n"
    ))?;
    let verdict = run(&Status::default())?;
    output::print("\nAll commands: ovendry --help\n")?;
    Ok(verdict)
}

fn rows(table: Table) -> usize {
    match table {
        Table::Nothing => 0,
        Table::Rows(rows) => rows,
    }
}

fn answer(seen: Seen, here: Whereabouts) -> Answer {
    Answer {
        format: "ovendry status",
        version: 1,
        verdict: Verdict::Good,
        step: here.step,
        next: here.next,
        site: seen.site.map(|site| site.name),
        cores_count: rows(seen.cores),
        readings_count: rows(seen.readings),
        problems_count: seen.problems,
        cores_to_fill_in_count: seen.blank_cores,
        warnings_count: seen.warnings,
        report_current: seen.report.map(|page| page.is_current),
        calibrated: seen
            .calibrated
            .into_iter()
            .map(|probe| Calibrated {
                current: probe.stale.is_none(),
                drift: probe.drift,
                recheck_by: probe.recheck_by.map(|day| day.to_string()),
                set_points: probe.set_points,
                exported: probe.exported == Exported::Current,
                probe: probe.id,
            })
            .collect(),
        not_calibrated: seen.uncalibrated,
        folder: seen.folder,
    }
}

/// As a person reads it.
fn text(seen: &Seen, here: &Whereabouts) -> String {
    let mut text = String::new();
    let mut line = |name: &str, says: String| {
        let _ = writeln!(text, "  {name:13} {says}");
    };
    if let Some(site) = &seen.site {
        line("site", site.name.clone());
        line(
            "",
            format!(
                "{}, {}",
                counted(site.soils, "soil"),
                counted(site.probes, "probe")
            ),
        );
        line("measured", measured(seen));
        if !seen.calibrated.is_empty() {
            line("calibrated", calibrated(seen));
            line("controller", controller(seen));
        }
    }
    if !text.is_empty() {
        text.insert_str(0, &format!("{}:\n", seen.folder.display()));
        text.push('\n');
    }
    let _ = write!(
        text,
        "next: {}\n{}\n",
        here.next.command,
        indented(&here.next.why)
    );
    let open = still_to_fill_in(seen);
    if !open.is_empty() {
        let _ = writeln!(text, "\n{}", wrapped(&open));
    }
    text
}

fn indented(why: &str) -> String {
    let mut text = wrapped(&format!("{why}."));
    // A file keeps its name.
    let begins_with_file = why.split(' ').next().is_some_and(|word| word.contains('.'));
    if let Some(first) = text.get_mut(..1).filter(|_| !begins_with_file) {
        first.make_ascii_uppercase();
    }
    let lines: Vec<String> = text
        .trim_end()
        .lines()
        .map(|line| format!("  {line}"))
        .collect();
    lines.join("\n")
}

fn measured(seen: &Seen) -> String {
    let (cores, readings) = (rows(seen.cores), rows(seen.readings));
    if cores + readings == 0 {
        return "nothing yet".to_owned();
    }
    let cores = match seen.blank_cores {
        0 => counted(cores, "core"),
        blank => format!(
            "{} of {}",
            cores.saturating_sub(blank),
            counted(cores, "core")
        ),
    };
    let problems = match seen.problems - seen.blank_cells.min(seen.problems) {
        0 => String::new(),
        some => format!("; {}", counted(some, "problem")),
    };
    format!("{cores}, {}{problems}", counted(readings, "reading"))
}

fn calibrated(seen: &Seen) -> String {
    let all = seen.calibrated.len() + seen.uncalibrated.len();
    let due = seen
        .calibrated
        .iter()
        .filter_map(|probe| probe.recheck_by)
        .min()
        .map_or_else(String::new, |day| format!("; check again by {day}"));
    format!(
        "{} of {}{due}",
        seen.calibrated.len(),
        counted(all, "probe")
    )
}

fn controller(seen: &Seen) -> String {
    let current = seen
        .calibrated
        .iter()
        .filter(|probe| probe.exported == Exported::Current)
        .count();
    format!(
        "files of {} in {}",
        match current {
            0 => "no probe".to_owned(),
            some => counted(some, "probe"),
        },
        seen.out.display()
    )
}
