//! `ovendry drift`: whether a calibration still holds, by a core dug now and then; when to
//! dig the next, and when to calibrate anew.

mod calendar;
mod chart;
mod left_out;
mod report;
mod saved;
mod statistics;
mod words;

use super::fit::{SEED, out_folder};
use super::half_width::half_width;

use super::setpoints;
use crate::calibration_file::CalibrationFile;
use crate::caution;
use crate::drift_file::DriftFile;
use crate::failure::{Complaint, Failure, Verdict, Warning, all_or_every_complaint};
use crate::output::{OutputSet, print, print_json};
use crate::pairs::{self, Pairs};
use crate::progress::Progress;
use crate::table::load_site;
use crate::workbench::{Site, SourceFile};
use calib_core::drift::{DriftError, Place, Settings, Study, study};
use calib_core::fit::Observation;
use calib_core::pair::Pair;
use clap::Args;
use report::ProbeReport;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// What to check, and against what.
#[derive(Debug, Args)]
pub struct Drift {
    /// Workbench folder with the saved calibrations
    dir: PathBuf,
    /// Spot checks: a file of pairs with taken_at, or a workbench folder of later cores
    against: PathBuf,
    /// Only this probe
    #[arg(long, value_name = "ID")]
    probe: Option<String>,
    /// Folder of the saved calibrations, and for the charts; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Largest error that is allowed, m3/m3
    #[arg(long, value_name = "M3/M3", default_value_t = Settings::default().allow,
          value_parser = half_width, allow_negative_numbers = true)]
    allow: f64,
    /// Checks over which the chance of a false alarm is kept at 5 in 100; all there are if more
    #[arg(long, value_name = "N", default_value_t = Settings::default().planned_checks as u32,
          value_parser = clap::value_parser!(u32).range(1..=200))]
    planned_checks: u32,
    /// The checks were cut with another ring than the cores of the calibration
    #[arg(long)]
    other_ring: bool,
    /// Chooses the random numbers; the same seed, the same answer
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    seed: u64,
    /// Draw no charts
    #[arg(long)]
    no_charts: bool,
    /// Overwrite charts of an earlier run
    #[arg(long)]
    force: bool,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// What the checks say of every probe.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// The error that is allowed, m3/m3.
    #[serde(rename = "allow_theta_v")]
    allow: f64,
    probes: Vec<ProbeReport>,
    sources: Vec<SourceFile>,
    written: Vec<PathBuf>,
    warnings: Vec<Warning>,
    cautions: Vec<&'static str>,
}

/// Runs the command.
pub fn run(command: &Drift) -> Result<Verdict, Failure> {
    let Work {
        mut answer,
        charts,
        verdicts,
    } = work(command)?;
    for of_probe in charts {
        let (written, warning) = of_probe.write_or_keep(command.force)?;
        answer.written.extend(written);
        answer.warnings.extend(warning);
    }
    let drawn = answer.written.len();
    for (path, verdict) in &verdicts {
        match saved::save(path, verdict)? {
            Ok(()) => answer.written.push(path.clone()),
            Err(warning) => answer.warnings.push(warning),
        }
    }
    for warning in &answer.warnings {
        eprintln!("{warning}");
    }
    if command.json {
        print_json(&answer)?;
    } else {
        let (charts, saved) = answer.written.split_at(drawn);
        print(&words::story(&answer.probes, charts))?;
        print(&saved::line(saved))?;
        print(&caution::take_care(&[caution::OVEN, caution::PUMP]))?;
    }
    Ok(answer.verdict)
}

/// What there is to write and to print.
struct Work {
    answer: Answer,
    /// A set for each probe.
    charts: Vec<OutputSet>,
    /// What to save beside the calibrations, and where.
    verdicts: Vec<(PathBuf, DriftFile)>,
}

/// Everything the command does but write and print.
fn work(command: &Drift) -> Result<Work, Failure> {
    let calibrations = setpoints::calibrations(&setpoints::Setpoints {
        dir: command.dir.clone(),
        out: command.out.clone(),
        probe: command.probe.clone(),
        ..setpoints::Setpoints::default()
    })?;
    let checks = pairs::load(&command.against)?;
    let mut warnings = checks.warnings.clone();
    let fitted = match pairs::load(&command.dir) {
        Ok(fitted) => fitted.pairs,
        Err(Failure::Internal(what)) => return Err(Failure::Internal(what)),
        Err(_) => {
            warnings.push(unknown_cores(&command.dir));
            Vec::new()
        }
    };
    // Without a site.toml nothing is known of refill and stop, and the rest still is.
    let site = load_site(&command.dir).ok();
    let settings = Settings {
        allow: command.allow,
        planned_checks: command.planned_checks as usize,
        other_ring: command.other_ring,
        seed: command.seed,
        ..Settings::default()
    };
    let (with_checks, without): (Vec<Subject<'_>>, Vec<Subject<'_>>) = calibrations
        .iter()
        .map(|(path, file)| Subject::new(path, file, &checks, &fitted))
        .partition(|subject| !subject.pairs.is_empty());
    let unchecked: Vec<&str> = without
        .iter()
        .map(|subject| subject.file.calibration.probe.as_str())
        .collect();
    if with_checks.is_empty() {
        return Err(no_checks(&checks, &calibrations).into());
    }
    warnings.extend(left_out::unchecked(&unchecked, &checks.file));
    warnings.extend(strangers(&checks, &calibrations, command.probe.is_none()));
    let progress = Progress::new("weighing each probe's checks", with_checks.len());
    let studies = all_or_every_complaint(
        progress.along(
            with_checks
                .iter()
                .map(|subject| subject.study(site.as_ref(), &checks, &settings)),
        ),
    )?;
    drop(progress);
    let out = out_folder(&command.dir, command.out.as_deref());
    let (mut probes, mut charts, mut verdicts) = (Vec::new(), Vec::new(), Vec::new());
    for (subject, study) in with_checks.iter().zip(&studies) {
        let report = ProbeReport::new(subject.file, study, &settings);
        if !command.no_charts && !study.checks.is_empty() {
            charts.push(chart::draw(&report, subject.calibrated_at, study, &out)?);
        }
        verdicts.extend(saved::verdict(subject.path, &report, &checks.sources));
        probes.push(report);
    }
    if let Some(complaints) = left_out::no_check_counts(&probes, &checks.file) {
        return Err(Failure::Input(complaints));
    }
    warnings.extend(left_out::warnings(&probes));
    warnings.extend(CalibrationFile::stale(
        calibrations
            .iter()
            .map(|(path, file)| (path.as_path(), file)),
        &command.dir,
    ));
    let answer = Answer {
        format: "ovendry drift",
        version: 1,
        verdict: Verdict::good_if(probes.iter().all(ProbeReport::is_fit)),
        allow: command.allow,
        probes,
        sources: checks.sources,
        written: Vec::new(),
        warnings,
        cautions: [caution::OVEN, caution::PUMP, &[caution::LOCAL_RULES]].concat(),
    };
    Ok(Work {
        answer,
        charts,
        verdicts,
    })
}

/// A calibration with the checks of its probe in its soil.
struct Subject<'a> {
    path: &'a Path,
    file: &'a CalibrationFile,
    calibrated_at: calendar::Midnight,
    pairs: Vec<Pair>,
    fitted: Vec<Observation>,
}

impl<'a> Subject<'a> {
    fn new(path: &'a Path, file: &'a CalibrationFile, checks: &Pairs, fitted: &[Pair]) -> Self {
        let calibration = &file.calibration;
        let its = |pair: &&Pair| pair.probe == calibration.probe && pair.soil == calibration.soil;
        Self {
            path,
            file,
            calibrated_at: calendar::midnight(&file.calibrated_on),
            pairs: checks.pairs.iter().filter(its).cloned().collect(),
            fitted: fitted
                .iter()
                .filter(its)
                .map(|pair| pair.observation.clone())
                .collect(),
        }
    }

    fn study(
        &self,
        site: Option<&Site>,
        checks: &Pairs,
        settings: &Settings,
    ) -> Result<Study, Failure> {
        let calibrated_at = self.calibrated_at.ok_or_else(|| {
            Complaint::about(
                self.path,
                "is not a date as YYYY-MM-DD",
                "run `ovendry fit` again to make the calibration anew",
            )
            .in_column("calibrated_on", &self.file.calibrated_on)
        })?;
        study(
            &self.file.calibration,
            calibrated_at,
            &self.fitted,
            &self.pairs,
            &self.places(site),
            settings,
        )
        .map_err(|error| self.refused(checks, &error))
    }

    /// Refill and stop, where the site has them.
    fn places(&self, site: Option<&Site>) -> Vec<Place> {
        let points =
            site.and_then(|site| setpoints::for_calibration(site, self.path, self.file, None).ok());
        points.map_or_else(Vec::new, |points| {
            [("refill", points.refill_count), ("stop", points.stop_count)]
                .map(|(name, count)| Place {
                    name: name.to_owned(),
                    count,
                })
                .to_vec()
        })
    }

    /// The complaint about cores the core refuses, at their lines; about the calibration
    /// otherwise.
    fn refused(&self, checks: &Pairs, error: &DriftError) -> Failure {
        let calibration = &self.file.calibration;
        let named: &[String] = match error {
            DriftError::UsedInFit { cores } => cores,
            DriftError::Twice { core } => std::slice::from_ref(core),
            _ => &[],
        };
        let at: Vec<Complaint> = checks
            .pairs
            .iter()
            .enumerate()
            .filter(|(_, pair)| {
                pair.probe == calibration.probe && named.iter().any(|core| core == pair.core())
            })
            .map(|(index, _)| {
                let what = match error {
                    DriftError::UsedInFit { .. } => format!(
                        "was used in the calibration of probe {} itself, and a curve always looks good at the cores it was drawn through",
                        calibration.probe
                    ),
                    other => other.to_string(),
                };
                checks.complaint(index, what, error.mend())
            })
            .collect();
        if at.is_empty() {
            Complaint::about(
                self.path,
                format!("probe {}: {error}", calibration.probe),
                error.mend(),
            )
            .into()
        } else {
            Failure::Input(at)
        }
    }
}

fn unknown_cores(folder: &Path) -> Warning {
    Warning {
        place: folder.display().to_string(),
        what: "the cores the calibrations were made from cannot be read there".to_owned(),
        why: "a spot check that was used in the calibration would not be noticed".to_owned(),
        advice: "keep samples.csv and readings.csv beside site.toml; `ovendry check` says what is wrong with them"
            .to_owned(),
    }
}

/// Cores of probes or soils without a calibration.
fn strangers(
    checks: &Pairs,
    calibrations: &[(PathBuf, CalibrationFile)],
    all_probes: bool,
) -> Option<Warning> {
    let known = |pair: &Pair| {
        calibrations.iter().any(|(_, file)| {
            file.calibration.probe == pair.probe && file.calibration.soil == pair.soil
        })
    };
    let mut others: Vec<String> = checks
        .pairs
        .iter()
        .filter(|pair| !known(pair))
        .map(|pair| format!("{} in {}", pair.probe, pair.soil))
        .collect();
    others.sort();
    others.dedup();
    (all_probes && !others.is_empty()).then(|| Warning {
        place: checks.file.display().to_string(),
        what: format!("holds cores of probes without a calibration: {}", others.join(", ")),
        why: "nothing is said of them".to_owned(),
        advice: "correct probe_id and soil if they are slips; otherwise run `ovendry fit` for these probes"
            .to_owned(),
    })
}

fn no_checks(checks: &Pairs, calibrations: &[(PathBuf, CalibrationFile)]) -> Complaint {
    let known: Vec<String> = calibrations
        .iter()
        .map(|(_, file)| format!("{} in {}", file.calibration.probe, file.calibration.soil))
        .collect();
    Complaint::about(
        &checks.file,
        "holds no core of a calibrated probe in its soil",
        format!("dig cores beside one of: {}", known.join(", ")),
    )
}
