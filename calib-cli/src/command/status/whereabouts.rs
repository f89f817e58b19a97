//! Where a person is with a workbench, and the one command that comes next. The only
//! place that decides it: what was seen in a folder goes in, one step comes out.

use super::seen::{Exported, Probe, Seen, Table};
use crate::table::shown_path;
use calib_core::drift::Standing;
use jiff::civil::Date;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;

/// How far a workbench has come. In the order of the work, except that what must be
/// mended comes before what is still to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Step {
    /// No workbench here.
    NoWorkbench,
    /// No workbench here, but one in a folder next to this one.
    WorkbenchNearby,
    /// Tables of cores or readings, and no site.toml.
    SiteMissing,
    /// site.toml has keys to fill in or to mend.
    SiteToFillIn,
    /// Nothing is measured yet, and no record sheet was made.
    ToPlan,
    /// A record sheet was made; nothing is measured yet.
    ToTakeCores,
    /// Cores are written down, some without all their masses.
    Weighing,
    /// Readings are there and no core.
    CoresMissing,
    /// Cores are there and no reading.
    ReadingsMissing,
    /// The tables hold something that must be mended.
    ToMend,
    /// Cores and readings are sound, but too few to fix a curve.
    TooFewCores,
    /// Everything is there, and no probe is calibrated.
    ToCalibrate,
    /// Some probes with cores are not calibrated.
    SomeNotCalibrated,
    /// Cores or readings changed since the calibration.
    CalibrationStale,
    /// A saved calibration cannot be read.
    CalibrationUnreadable,
    /// `drift` found that a calibration no longer holds.
    NoLongerHolds,
    /// `drift` found a calibration in doubt: one check is off, or it is more likely off
    /// than not.
    CheckInDoubt,
    /// Calibrated, and site.toml does not say what the pump waters.
    ControllerMissing,
    /// Calibrated, and set points cannot be placed or are not fit for use.
    NoSetPoints,
    /// Set points stand, and controller files are to be written.
    ToExport,
    /// Controller files hold other numbers than the workbench has now.
    ExportOutdated,
    /// A probe is due to be checked again.
    CheckDue,
    /// The report is older than what it shows.
    ReportOutdated,
    /// All is done until the next check.
    Done,
}

/// What to do next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Next {
    /// The command to type.
    pub command: String,
    /// Why that, in a sentence.
    pub why: String,
}

/// Where a person is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Whereabouts {
    /// How far the work has come.
    pub step: Step,
    /// What comes next.
    pub next: Next,
}

impl Whereabouts {
    /// Decides, from what was seen.
    pub fn of(seen: &Seen, today: Date) -> Self {
        let dir = &shell_word(&seen.folder);
        before_measuring(seen, dir)
            .or_else(|| while_measuring(seen, dir))
            .or_else(|| before_calibrating(seen, dir))
            .or_else(|| after_calibrating(seen, dir))
            .or_else(|| before_use(seen, dir, today))
            .or_else(|| report_outdated(seen, dir))
            .unwrap_or_else(|| done(seen, dir))
    }
}

fn at(step: Step, command: String, why: impl Into<String>) -> Option<Whereabouts> {
    let why = why.into();
    Some(Whereabouts {
        step,
        next: Next { command, why },
    })
}

fn before_measuring(seen: &Seen, dir: &str) -> Option<Whereabouts> {
    if !seen.has_site {
        return no_site(seen, dir);
    }
    let Some(_) = &seen.site else {
        return at(
            Step::SiteToFillIn,
            format!("ovendry check {dir}"),
            format!(
                "site.toml has {} to fill in or to mend, and it says which",
                counted(seen.site_problems, "place")
            ),
        );
    };
    if seen.cores != Table::Nothing || seen.readings != Table::Nothing {
        return None;
    }
    match &seen.sheet {
        Some(sheet) => at(
            Step::ToTakeCores,
            capture(seen, dir),
            format!(
                "the record sheet {} is made: pack the soil, log each probe, and write the cores into samples.csv",
                sheet.display()
            ),
        ),
        None => at(
            Step::ToPlan,
            format!(
                "ovendry plan {dir} --out {}",
                shell_word(&shown_path(&seen.folder, "plan"))
            ),
            "nothing is measured yet: it says how many cores at which moisture, how much water to add, and makes the record sheet",
        ),
    }
}

/// The command that logs a probe beside a core.
fn capture(seen: &Seen, dir: &str) -> String {
    let port = match &seen.site {
        Some(site) if site.port => "",
        _ => " --port PORT",
    };
    format!("ovendry capture {dir}{port} --sample CORE")
}

fn no_site(seen: &Seen, dir: &str) -> Option<Whereabouts> {
    if let Some(near) = seen.nearby.first() {
        let others = match seen.nearby.len() {
            1 => String::new(),
            more => format!(" (and {} more)", more - 1),
        };
        return at(
            Step::WorkbenchNearby,
            format!("ovendry status {}", shell_word(near)),
            format!(
                "this folder holds no workbench, but {}{others} does",
                near.display()
            ),
        );
    }
    if seen.cores != Table::Nothing || seen.readings != Table::Nothing {
        let new = shell_word(&shown_path(&seen.folder, "my-garden"));
        return at(
            Step::SiteMissing,
            format!("ovendry start {new}"),
            "there are tables here and no site.toml: this lays one out; copy your tables over the blank ones",
        );
    }
    let new = if dir == "." {
        "my-garden".to_owned()
    } else {
        dir.to_owned()
    };
    let try_out = shell_word(&shown_path(&seen.folder, "try"));
    at(
        Step::NoWorkbench,
        format!("ovendry start {new}"),
        format!(
            "there is no workbench here: this lays one out to fill in. To try it on invented data first: ovendry start {try_out} --demo"
        ),
    )
}

fn while_measuring(seen: &Seen, dir: &str) -> Option<Whereabouts> {
    let check = format!("ovendry check {dir}");
    if seen.cores == Table::Nothing {
        return at(
            Step::CoresMissing,
            check,
            "there are readings and no cores: write each core into samples.csv; it says what is missing",
        );
    }
    if seen.blank_cells > 0 && seen.blank_cells == seen.problems {
        return at(
            Step::Weighing,
            check,
            format!(
                "{} still to be filled in in samples.csv, in the oven or not yet taken, which is no fault: weigh (dry at 105 C until two weighings agree) and fill in; it says which",
                are(seen.blank_cores, "core", "cores")
            ),
        );
    }
    if seen.readings == Table::Nothing {
        return at(
            Step::ReadingsMissing,
            capture(seen, dir),
            "there are cores and no readings: log the probe beside each core, from its port, a pipe or a file",
        );
    }
    (seen.problems > seen.too_few_problems).then_some(())?;
    let unfilled = match seen.blank_cores {
        0 => String::new(),
        some => format!(
            " ({} still to be filled in besides, which is no fault)",
            are(some, "core", "cores")
        ),
    };
    at(
        Step::ToMend,
        check,
        format!(
            "{} must be mended first{unfilled}; it names each with its line and its mend",
            counted(seen.problems.saturating_sub(seen.blank_cells), "problem")
        ),
    )
}

fn before_calibrating(seen: &Seen, dir: &str) -> Option<Whereabouts> {
    if let Some(why) = &seen.too_few {
        return at(
            Step::TooFewCores,
            format!("ovendry plan {dir} --next"),
            format!("there are too few cores yet ({why}): take more where they help most"),
        );
    }
    if let Some(file) = &seen.unreadable {
        return at(
            Step::CalibrationUnreadable,
            format!("{} --force", whole_job(seen, dir)),
            format!(
                "{} is no calibration this program can read: make it anew",
                file.display()
            ),
        );
    }
    if seen.calibrated.is_empty() {
        let why = match &seen.warned_of {
            None => "cores and readings are sound, and no probe is calibrated yet".to_owned(),
            Some(first) => format!(
                "no probe is calibrated yet; but first look at what `ovendry check {dir}` warns of ({}): {first}",
                counted(seen.warnings, "warning")
            ),
        };
        return at(Step::ToCalibrate, whole_job(seen, dir), why);
    }
    None
}

/// The command that does all that site.toml allows.
fn whole_job(seen: &Seen, dir: &str) -> String {
    let steers = seen.site.as_ref().is_some_and(|site| site.controller);
    format!("ovendry {} {dir}", if steers { "calibrate" } else { "fit" })
}

fn after_calibrating(seen: &Seen, dir: &str) -> Option<Whereabouts> {
    if let Some((probe, what)) = seen
        .calibrated
        .iter()
        .find_map(|probe| probe.stale.as_ref().map(|what| (&probe.id, what)))
    {
        return at(
            Step::CalibrationStale,
            format!("{} --force", whole_job(seen, dir)),
            format!(
                "the calibration of probe {probe} is out of date ({what}): set points and controller files must follow the cores"
            ),
        );
    }
    if let Some(found) = checked_and_found_wanting(seen, dir) {
        return Some(found);
    }
    let probe = seen.uncalibrated.first()?;
    at(
        Step::SomeNotCalibrated,
        format!("ovendry fit {dir} --probe {probe}"),
        format!(
            "probe {probe}{} cores and no calibration; it says why, or makes one",
            match seen.uncalibrated.len() {
                1 => " has".to_owned(),
                more => format!(" and {} more have", more - 1),
            }
        ),
    )
}

/// What `drift` found of the calibrations as they lie there, where it is not good.
fn checked_and_found_wanting(seen: &Seen, dir: &str) -> Option<Whereabouts> {
    let named = |wanted: fn(Standing) -> bool| {
        let found: Vec<&str> = seen
            .calibrated
            .iter()
            .filter(|probe| probe.drift.is_some_and(wanted))
            .map(|probe| probe.id.as_str())
            .collect();
        (!found.is_empty()).then(|| found.join(", "))
    };
    if let Some(probes) = named(|standing| standing == Standing::NoLongerHolds) {
        return at(
            Step::NoLongerHolds,
            format!("{} --force", whole_job(seen, dir)),
            format!(
                "`ovendry drift` found that the calibration no longer holds (probe {probes}): do not leave a pump to it. Take fresh cores and readings beside it, put them in samples.csv and readings.csv in place of its old ones, then calibrate anew"
            ),
        );
    }
    let probes = named(|standing| !standing.is_fit())?;
    let checks = shell_word(&shown_path(&seen.folder, "spot-checks.csv"));
    at(
        Step::CheckInDoubt,
        format!("ovendry drift {dir} {checks}"),
        format!(
            "`ovendry drift` found the calibration in doubt (probe {probes}): dig another core or two beside it, add them to {checks}, and do not leave a pump to it until then"
        ),
    )
}

fn before_use(seen: &Seen, dir: &str, today: Date) -> Option<Whereabouts> {
    if seen.site.as_ref().is_some_and(|site| !site.controller) {
        return at(
            Step::ControllerMissing,
            format!("ovendry setpoints {dir}"),
            "add [controller] to site.toml first (area, flow and crop): then it says when to start and stop the pump",
        );
    }
    let named = |found: fn(&Probe) -> bool| seen.calibrated.iter().find(|probe| found(probe));
    if let Some(probe) = named(|probe| !probe.set_points) {
        return at(
            Step::NoSetPoints,
            format!("ovendry setpoints {dir}"),
            format!(
                "probe {} has no set points fit for use, so no controller file; it says why",
                probe.id
            ),
        );
    }
    let export = format!("ovendry export {dir}");
    if let Some(probe) = named(|probe| probe.exported == Exported::Outdated) {
        return at(
            Step::ExportOutdated,
            format!("{export} --force"),
            format!(
                "the controller files of probe {} hold other numbers than the workbench has now",
                probe.id
            ),
        );
    }
    if let Some(probe) = named(|probe| probe.exported == Exported::Missing) {
        return at(
            Step::ToExport,
            export,
            format!(
                "set points stand, and probe {} has no controller files yet",
                probe.id
            ),
        );
    }
    let due = seen
        .calibrated
        .iter()
        .filter_map(|probe| Some((probe.recheck_by?, &probe.id)))
        .min()
        .filter(|(day, _)| *day < today);
    let (day, probe) = due?;
    let checks = shell_word(&shown_path(&seen.folder, "spot-checks.csv"));
    at(
        Step::CheckDue,
        format!("ovendry drift {dir} {checks}"),
        format!(
            "probe {probe} was to be checked again by {day}: dig a core or two beside it, and write them into {checks} as README.txt explains"
        ),
    )
}

fn report_outdated(seen: &Seen, dir: &str) -> Option<Whereabouts> {
    let page = seen.report.as_ref().filter(|page| !page.is_current)?;
    at(
        Step::ReportOutdated,
        format!("ovendry report {dir} --force"),
        format!(
            "controller files are as they should be in {}, but {} is older than what it shows",
            seen.out.display(),
            page.file.display()
        ),
    )
}

fn done(seen: &Seen, dir: &str) -> Whereabouts {
    let due = seen
        .calibrated
        .iter()
        .filter_map(|probe| probe.recheck_by)
        .min();
    let until = due.map_or_else(String::new, |day| format!(" until the check due by {day}"));
    let (command, what) = match &seen.report {
        None => (
            format!("ovendry report {dir}"),
            "this puts it all on one page".to_owned(),
        ),
        Some(page) => (
            format!("ovendry replay {dir}"),
            format!(
                "{} has it all on one page; this shows what refill and stop would save",
                page.file.display()
            ),
        ),
    };
    Whereabouts {
        step: Step::Done,
        next: Next {
            command,
            why: format!(
                "all is done{until}: load the controller files from {}; {what}",
                seen.out.display()
            ),
        },
    }
}

/// `1 problem`, `3 problems`.
pub(super) fn counted(number: usize, noun: &str) -> String {
    match number {
        1 => format!("1 {noun}"),
        _ => format!("{number} {noun}s"),
    }
}

fn are(number: usize, one: &str, many: &str) -> String {
    match number {
        1 => format!("1 {one} is"),
        _ => format!("{number} {many} are"),
    }
}

/// A path as it can be typed: between quotation marks where a shell would part it.
pub(super) fn shell_word(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_alphanumeric() || "_-./\\:~+@%".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text
    } else {
        format!("\"{text}\"")
    }
}
