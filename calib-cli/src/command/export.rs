//! `ovendry export DIR`: controller files from the saved calibrations, proved
//! against them after writing.

use super::fit::out_folder;
use super::setpoints::{for_use, stage_gone_by};
use super::verify::{Against, Examined, FileReport, Finding, examine};
use crate::calibration_file::CalibrationFile;
use crate::caution;
use crate::controller_file::ControllerFile;
use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::meant;
use crate::output::{self, OutputSet};
use crate::progress::Progress;
use crate::table::load_site;
use crate::workbench::{Controller, Site};
use calib_cli::controller::{
    Companion, ControllerFormat, FLEET_FILE, FORMATS, PREVIOUS, clashing, companions, render,
    render_fleet,
};
use calib_core::controller::{ControllerTable, DEFAULT_MAX_ERROR, Dates, Timing};
use calib_core::irrigation::SetPoints;
use jiff::civil::Date;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Write controller files from the saved calibrations, and prove them.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The workbench folder
    #[arg(value_name = "DIR", default_value = ".")]
    pub(super) folder: PathBuf,
    /// Where the calibrations lie and the files go [default: DIR/out]
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
    /// Only this probe; may be given more than once
    #[arg(long, value_name = "ID")]
    pub(super) probe: Vec<String>,
    /// Set points for this stage of growth; the last with the deepest roots if not given
    #[arg(long, value_name = "NAME")]
    pub(super) stage: Option<String>,
    /// Largest difference from the curve that the straight lines of the table may add,
    /// m3/m3; rounding adds to it, and the file states what it came to
    #[arg(long, value_name = "M3_PER_M3", default_value_t = DEFAULT_MAX_ERROR)]
    pub(super) max_error: f64,
    /// Replace files that exist; they are kept as FILE.previous
    #[arg(long)]
    pub(super) force: bool,
    /// Print JSON
    #[arg(long)]
    pub(super) json: bool,
}

/// What was written, read back and compared, for machines.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Answer<'a> {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// One entry a file and table written, but for the reader in C and the fleet.
    files: Vec<FileReport<'a>>,
    /// The stage of growth that refill and stop are for.
    stage: Option<&'a str>,
    /// Every file written.
    written: &'a [PathBuf],
    /// Files among them that took the place of others, which are kept beside them.
    replaced: &'a [PathBuf],
    warnings: &'a [Warning],
    cautions: Vec<&'static str>,
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> Result<Verdict, Failure> {
    let exported = work(arguments)?;
    for warning in &exported.warnings {
        eprintln!("{warning}");
    }
    if arguments.json {
        output::print_json(&exported.answer())?;
    } else {
        output::print(&format!(
            "{}{}{}\n{}",
            exported.findings,
            stage_line(exported.stage.as_deref()),
            replaced_line(&exported.replaced),
            caution::take_care(&[caution::PUMP])
        ))?;
    }
    Ok(exported.findings.verdict())
}

/// The stage of growth the set points are for, as a line; empty without stages.
pub(super) fn stage_line(stage: Option<&str>) -> String {
    stage.map_or_else(String::new, |stage| {
        format!("Refill and stop are those of stage {stage}.\n")
    })
}

/// Which files took the place of others, and how to see what changed.
pub(super) fn replaced_line(replaced: &[PathBuf]) -> String {
    let [first, ..] = replaced else {
        return String::new();
    };
    let first = first.display();
    format!(
        "{} files took the place of older ones, which are kept as FILE{PREVIOUS}.\nWhat changed: ovendry compare {first}{PREVIOUS} {first}\n",
        replaced.len()
    )
}

/// What was written, read back and compared.
pub(super) struct Exported {
    pub(super) findings: Examined,
    pub(super) warnings: Vec<Warning>,
    /// The stage of growth the set points are for.
    pub(super) stage: Option<String>,
    /// Files that took the place of others.
    pub(super) replaced: Vec<PathBuf>,
    /// Every file written.
    written: Vec<PathBuf>,
}

impl Exported {
    /// The same for machines.
    pub(super) fn answer(&self) -> Answer<'_> {
        Answer {
            format: "ovendry export",
            version: 1,
            verdict: self.findings.verdict(),
            files: self.findings.reports(),
            stage: self.stage.as_deref(),
            written: &self.written,
            replaced: &self.replaced,
            warnings: &self.warnings,
            cautions: [caution::PUMP, &[caution::LOCAL_RULES]].concat(),
        }
    }
}

/// Everything the command does but print.
pub(super) fn work(arguments: &Arguments) -> Result<Exported, Failure> {
    let site = load_site(&arguments.folder)?;
    let out = out_folder(&arguments.folder, arguments.out.as_deref());
    let request = Request {
        out: &out,
        probes: &arguments.probe,
        max_error: arguments.max_error,
        force: arguments.force,
    };
    let wanted = arguments.stage.as_deref();
    let Written {
        files: written,
        all,
        replaced,
    } = export(&request, &site, |path, file| {
        for_use(&site, path, file, wanted)
    })?;
    let progress = Progress::new("comparing each file with its calibration", written.len());
    let examined = written
        .iter()
        .map(|(path, against)| examine(path, Some(against)));
    let findings = progress
        .along(examined)
        .collect::<Result<Vec<_>, Failure>>()?
        .concat();
    drop(progress);
    // Every format of a probe was made from the same calibration.
    let mut made_from: Vec<_> = written.iter().map(|(_, against)| against.file()).collect();
    made_from.dedup_by_key(|(path, _)| *path);
    let mut warnings = CalibrationFile::stale(made_from, &arguments.folder);
    // With every probe, the fleet was written too.
    if !arguments.probe.is_empty() {
        warnings.extend(outdated_fleet(&out, &findings));
    }
    Ok(Exported {
        findings: Examined(findings),
        warnings,
        replaced,
        written: all,
        stage: stage_gone_by(&site, wanted)?,
    })
}

/// That the fleet still holds another table of a probe just written.
fn outdated_fleet(out: &Path, written: &[Finding]) -> Option<Warning> {
    let path = out.join(FLEET_FILE);
    let fleet = ControllerFile::read(&path).ok()?;
    let outdated = |finding: &&Finding| {
        let probe = &finding.table().record().probe;
        !fleet
            .tables
            .iter()
            .any(|table| &table.record().probe == probe && table == finding.table())
    };
    let probe = &written.iter().find(outdated)?.table().record().probe;
    Some(Warning {
        place: path.display().to_string(),
        what: format!("does not hold the new table of probe {probe}"),
        why: "it is written only when every probe is, and whoever loads it gets the old numbers"
            .to_owned(),
        advice: "run `ovendry export` again without --probe".to_owned(),
    })
}

/// What to export, and where.
struct Request<'a> {
    /// The folder of calibrations and controller files.
    out: &'a Path,
    /// Probes chosen; all if empty.
    probes: &'a [String],
    /// Maximum error asked of the tables, m3/m3.
    max_error: f64,
    /// Whether to overwrite.
    force: bool,
}

/// Files written with the calibration each was made from, and those among them that
/// took the place of others.
struct Written {
    files: Vec<(PathBuf, Against)>,
    /// Every file written, the reader and the fleet among them.
    all: Vec<PathBuf>,
    replaced: Vec<PathBuf>,
}

/// Writes every format of every chosen probe, all or none.
fn export(
    request: &Request,
    site: &Site,
    set_points: impl Fn(&Path, &CalibrationFile) -> Result<SetPoints, Failure>,
) -> Result<Written, Failure> {
    let calibrations = chosen(request)?;
    let controller = controller(site)?;
    let mut outputs = OutputSet::default();
    outputs.keep_previous(PREVIOUS);
    let mut written = Vec::new();
    let mut tables = Vec::new();
    for (path, file) in calibrations {
        let calibration = &file.calibration;
        let table = ControllerTable::from_calibration(
            calibration,
            &set_points(&path, &file)?,
            timing(controller),
            controller.open_circuit,
            dates(&path, &file)?,
            request.max_error,
        )
        .map_err(|error| Complaint::about(&path, error.to_string(), error.mend()))?;
        for format in FORMATS {
            let target = request.out.join(format.file_name(&calibration.probe));
            outputs.add(&target, render(format, &table));
            written.push((target, Against::new(path.clone(), file.clone())));
        }
        tables.push(table);
    }
    for Companion { file_name, text } in companions() {
        outputs.add(request.out.join(file_name), text);
    }
    // A fleet of some probes only would pass for all of them.
    if request.probes.is_empty() {
        outputs.add(request.out.join(FLEET_FILE), render_fleet(&tables));
    }
    let all = outputs.paths().map(Path::to_owned).collect();
    let replaced = outputs.write(request.force)?;
    Ok(Written {
        files: written,
        all,
        replaced,
    })
}

/// The saved calibrations of the chosen probes.
fn chosen(request: &Request) -> Result<Vec<(PathBuf, CalibrationFile)>, Failure> {
    let all = CalibrationFile::load_all(request.out)?;
    // Two calibrations of one probe would write the same file.
    if let Some((path, file)) = all
        .iter()
        .find(|(path, file)| path.file_name() != Some(file.file_name().as_ref()))
    {
        return Err(Complaint::about(
            path,
            format!("holds the calibration of probe {}", file.calibration.probe),
            format!("name it {}, or move it elsewhere", file.file_name()),
        )
        .into());
    }
    let probe = |file: &CalibrationFile| file.calibration.probe.clone();
    if let Some(unknown) = request
        .probes
        .iter()
        .find(|wanted| all.iter().all(|(_, file)| probe(file) != **wanted))
    {
        let known: Vec<String> = all.iter().map(|(_, file)| probe(file)).collect();
        return Err(Complaint::about(
            request.out,
            format!("holds no calibration of probe {unknown}"),
            format!(
                "{}; or run `ovendry fit` for it",
                meant::choose(unknown, known.iter().map(String::as_str))
            ),
        )
        .into());
    }
    let taken = |file: &&(PathBuf, CalibrationFile)| {
        let name = |format: &dyn ControllerFormat| format.file_name(&probe(&file.1));
        companions().any(|companion| FORMATS.iter().any(|it| name(*it) == companion.file_name))
    };
    if let Some((path, file)) = all.iter().find(taken) {
        return Err(Complaint::about(
            path,
            format!(
                "probe {} would have a file of the same name as the reader in C",
                file.calibration.probe
            ),
            "give the probe another id in site.toml",
        )
        .into());
    }
    let calibrations: Vec<_> = all
        .into_iter()
        .filter(|(_, file)| request.probes.is_empty() || request.probes.contains(&probe(file)))
        .collect();
    let names = calibrations
        .iter()
        .map(|(_, file)| file.calibration.probe.as_str());
    if let Some((one, other)) = clashing(names) {
        return Err(Complaint::about(
            request.out,
            format!("probes {one} and {other} would have the same names in C and MicroPython"),
            "rename one of them in site.toml so that they differ in letters or digits",
        )
        .into());
    }
    Ok(calibrations)
}

fn controller(site: &Site) -> Result<&Controller, Failure> {
    Ok(site.controller.as_ref().ok_or_else(|| {
        Complaint::about(
            &site.file,
            "has no [controller], so pump times and water are not known",
            "add a [controller] table with area, flow and pump times",
        )
    })?)
}

fn timing(controller: &Controller) -> Timing {
    Timing {
        minimum_on_s: controller.minimum_on_s,
        minimum_off_s: controller.minimum_off_s,
        maximum_on_s: controller.maximum_on_s,
        stuck_after_s: controller.stuck_after_s,
    }
}

fn dates(path: &Path, file: &CalibrationFile) -> Result<Dates, Failure> {
    let date = |key: &str, value: &str| -> Result<Date, Failure> {
        Ok(value.parse::<Date>().map_err(|_| {
            Complaint::about(
                path,
                "is not a date as YYYY-MM-DD",
                "run `ovendry fit` again to make the calibration anew",
            )
            .in_column(key, value)
        })?)
    };
    Ok(Dates {
        calibrated_on: date("calibrated_on", &file.calibrated_on)?,
        recheck_by: date("recheck_by", &file.recheck_by)?,
    })
}

#[cfg(test)]
mod tests;
