//! `check`: every problem in one pass, each with its mend.

mod diff;
mod fix;
mod grouped;

use super::{setpoints, status};
use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::findings::Findings;
use crate::fitted::{Outcome, fit_probe};
use crate::output;
use crate::pairing;
use crate::table;
use crate::table::names::COUNTS_WHEN_WETTER;
use crate::workbench::{LoggedReading, SourceFile, Workbench};
use calib_core::fit::Request;
use fix::Mended;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// What to check.
#[derive(Debug, clap::Args)]
pub struct Check {
    /// The workbench folder
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// Mend the form of the files, never a number, and show what changes
    ///
    /// Byte order mark, line ends, blanks, empty rows and columns, quotation marks,
    /// separators, decimal commas, names of columns, units that a column's name says
    /// already, and times where site.toml declares how they are written. Each file is
    /// kept as it was as FILE.previous. What form cannot mend stays listed.
    #[arg(long)]
    fix: bool,
    /// With --fix: only show what would change
    #[arg(long, requires = "fix")]
    dry_run: bool,
    /// With --fix: show every line of the diff, however long
    #[arg(long, requires = "fix")]
    whole_diff: bool,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// What was found, for machines.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Report<'a> {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    problems: &'a [Complaint],
    warnings: &'a [Warning],
    /// What --fix did or would do; problems and warnings are those that then remain.
    #[serde(skip_serializing_if = "Option::is_none")]
    fix: Option<&'a Mended>,
    /// Absent where there are problems.
    #[serde(skip_serializing_if = "Option::is_none")]
    workbench: Option<Contents<'a>>,
}

/// What a clean workbench holds.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Contents<'a> {
    site: &'a str,
    soils: usize,
    probes: usize,
    cores: usize,
    readings: usize,
    /// Rows of log.csv, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    log_rows: Option<u64>,
    /// Days of weather.csv, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    weather_days: Option<usize>,
    sources: &'a [SourceFile],
}

/// What was found: in the files, then in how cores and readings pair, then in
/// what a fit makes of them.
pub(super) struct Found {
    /// The workbench, if there is no problem.
    workbench: Option<Workbench>,
    /// What must be mended.
    pub(super) problems: Vec<Complaint>,
    /// What was noticed besides.
    pub(super) warnings: Vec<Warning>,
    /// Probes with cores, where cores and readings pair.
    pub(super) with_cores: Vec<String>,
    /// What cores are too few for, as many of `problems` say.
    pub(super) too_few: Vec<String>,
    /// Rows of log.csv, where there is one without a problem.
    log_rows: Option<u64>,
    /// Days of weather.csv, likewise.
    weather_days: Option<usize>,
}

impl Found {
    /// Good if nothing must be mended.
    fn verdict(&self) -> Verdict {
        if self.workbench.is_some() {
            Verdict::Good
        } else {
            Verdict::Faulty
        }
    }

    /// Looks at what set points ask of site.toml, where it has a pump to steer.
    fn look_at_watering(&mut self, folder: &Path) -> Result<(), Failure> {
        // The faults of a site.toml that cannot be read are told already.
        match table::load_site(folder) {
            Ok(site) if site.controller.is_some() => {}
            _ => return Ok(()),
        }
        let Err(failure) = setpoints::prepare(folder) else {
            return Ok(());
        };
        let Failure::Input(mut complaints) = failure else {
            return Err(failure);
        };
        complaints.retain(|one| !self.problems.contains(one));
        // site.toml comes first among the files.
        self.problems.splice(0..0, complaints);
        Ok(())
    }

    /// Looks at log and weather of the season, where the folder has them.
    fn look_at_season(&mut self, folder: &Path) -> Result<(), Failure> {
        // A log says nothing without its site, whose faults are told already.
        if folder.join(table::LOG).is_file() && table::load_site(folder).is_ok() {
            let read = table::each_log_row(folder, None, |_| ());
            self.log_rows = self.take(read.map(|read| (read.rows, read.warnings)))?;
        }
        let weather = table::shown_path(folder, table::WEATHER);
        if weather.is_file() {
            let read = table::weather::load(&weather);
            self.weather_days =
                self.take(read.map(|(weather, warnings)| (weather.days.len(), warnings)))?;
        }
        Ok(())
    }

    /// What was read, its warnings taken over; `None` where it has problems, which
    /// are taken over too.
    fn take<T>(&mut self, read: Result<(T, Vec<Warning>), Failure>) -> Result<Option<T>, Failure> {
        match read {
            Ok((value, warnings)) => {
                self.warnings.extend(warnings);
                Ok(Some(value))
            }
            Err(Failure::Input(complaints)) => {
                self.problems.extend(complaints);
                Ok(None)
            }
            Err(internal) => Err(internal),
        }
    }
}

/// Looks at all that a workbench holds.
///
/// # Errors
/// [`Failure::Internal`] if the program fails; what is wrong in the files is found.
pub(super) fn inspect(folder: &Path) -> Result<Found, Failure> {
    let files = table::inspect(folder);
    let mut found = Found {
        workbench: files.workbench,
        problems: files.complaints,
        warnings: files.warnings,
        with_cores: Vec::new(),
        too_few: Vec::new(),
        log_rows: None,
        weather_days: None,
    };
    if let Some(workbench) = &found.workbench {
        let pairs = pairing::inspect(workbench);
        found.problems.extend(pairs.complaints);
        found.warnings.extend(pairs.warnings);
        let mut fits = Findings::default();
        for probe in pairs.paired.iter().flat_map(|paired| &paired.probes) {
            found.with_cores.push(probe.probe.clone());
            match fit_probe(workbench, probe, Request::default()) {
                Ok(Outcome::Fitted(_)) => {}
                Ok(Outcome::Refused(refused)) => found.warnings.push(refused.into()),
                Err(Failure::Input(complaints)) => {
                    complaints.into_iter().for_each(|one| fits.complain(one));
                }
                Err(internal) => return Err(internal),
            }
        }
        let fits = table::finished(folder, fits).0;
        for one in &fits {
            if one.column.as_deref() != Some(COUNTS_WHEN_WETTER) {
                let times = one.stands_for();
                found
                    .too_few
                    .extend(std::iter::repeat_n(one.what.clone(), times));
            }
        }
        found.problems.extend(fits);
    }
    found.look_at_watering(folder)?;
    found.look_at_season(folder)?;
    found.workbench = found.workbench.filter(|_| found.problems.is_empty());
    Ok(found)
}

/// Checks a workbench, and mends the form of its files where that is asked for.
///
/// # Errors
/// [`Failure::Input`] if a file must not be replaced, [`Failure::Machine`] if the disk
/// refuses, [`Failure::Internal`] if the program fails or the result cannot be printed.
pub fn run(check: &Check) -> Result<Verdict, Failure> {
    let (mended, found) = if check.fix {
        let (mended, found) = fix::run(&check.dir, check.dry_run)?;
        (Some(mended), found)
    } else {
        (None, inspect(&check.dir)?)
    };
    // A dry run judges the files as they are.
    let verdict = match &mended {
        Some(mended) if !mended.written && !mended.files.is_empty() => {
            inspect(&check.dir)?.verdict()
        }
        _ => found.verdict(),
    };
    if check.json {
        output::print_json(&report(&found, mended.as_ref(), verdict))?;
    } else {
        let mut text = mended
            .as_ref()
            .map_or_else(String::new, |mended| fix::as_text(mended, check.whole_diff));
        text.push_str(&as_text(&check.dir, &found, mended.as_ref())?);
        output::print(&text)?;
    }
    Ok(verdict)
}

fn report<'a>(found: &'a Found, mended: Option<&'a Mended>, verdict: Verdict) -> Report<'a> {
    Report {
        format: "ovendry check",
        version: 1,
        verdict,
        problems: &found.problems,
        warnings: &found.warnings,
        fix: mended,
        workbench: found.workbench.as_ref().map(|workbench| Contents {
            site: &workbench.site.name,
            soils: workbench.site.soils.len(),
            probes: workbench.site.probes.len(),
            cores: workbench.samples.len(),
            readings: workbench.readings.len(),
            log_rows: found.log_rows,
            weather_days: found.weather_days,
            sources: &workbench.sources,
        }),
    }
}

fn as_text(folder: &Path, found: &Found, mended: Option<&Mended>) -> Result<String, Failure> {
    let Some(workbench) = &found.workbench else {
        let after = match mended {
            None => "; nothing was changed",
            Some(_) => ", which no change of form mends",
        };
        let mut text = grouped::problems(&found.problems, after);
        if !found.warnings.is_empty() {
            let _ = write!(text, "\n{}", grouped::warnings(&found.warnings));
        }
        if mended.is_none() && fix::would_help(folder) {
            let _ = writeln!(
                text,
                "\nsome of this is form only: ovendry check {} --fix --dry-run shows how it can be mended",
                folder.display()
            );
        }
        let notice = status::notice(folder, found)?;
        if !notice.is_empty() {
            let _ = writeln!(text, "\n{notice}");
        }
        return Ok(text);
    };
    let mut text = contents(workbench, found);
    if !found.warnings.is_empty() {
        let _ = write!(text, "\n{}", grouped::warnings(&found.warnings));
    }
    let next = match mended {
        Some(mended) if !mended.written && !mended.files.is_empty() => {
            format!("ovendry check {} --fix", folder.display())
        }
        _ => status::next(folder, found)?,
    };
    let _ = writeln!(text, "\nnext: {next}");
    Ok(text)
}

fn contents(workbench: &Workbench, found: &Found) -> String {
    let mut text = String::from("no problems\n");
    let mut line = |file: &str, holds: String| {
        let _ = writeln!(text, "  {file:13} {holds}");
    };
    let soils = counted(workbench.site.soils.len(), "soil");
    let probes = counted(workbench.site.probes.len(), "probe");
    line(table::SITE, format!("{soils}, {probes}"));
    line(table::SAMPLES, counted(workbench.samples.len(), "core"));
    let readings = counted(workbench.readings.len(), "reading");
    line(table::READINGS, readings + &span(&workbench.readings));
    if let Some(rows) = found.log_rows {
        line(
            table::LOG,
            format!("{rows} {}", if rows == 1 { "row" } else { "rows" }),
        );
    }
    if let Some(days) = found.weather_days {
        line(table::WEATHER, counted(days, "day"));
    }
    text
}

/// `, 2026-04-13T06:08:01Z to 2026-05-18T18:30:11Z`
fn span(readings: &[LoggedReading]) -> String {
    let times = || readings.iter().map(|logged| logged.reading.time);
    match (times().min(), times().max()) {
        (Some(first), Some(last)) => {
            let [first, last] = [first, last].map(table::rfc_3339);
            format!(", {first} to {last}")
        }
        _ => String::new(),
    }
}

fn counted(number: usize, noun: &str) -> String {
    match number {
        1 => format!("1 {noun}"),
        _ => format!("{number} {noun}s"),
    }
}
