//! `ovendry fit`: one calibration for each probe and its soil, explained.

pub(super) mod on_page;

use super::setpoints::for_calibration;
use super::soil::{command_line, known, soil_of};
use crate::bootstrap::{Asked, CurveBootstrap};
use crate::calibration_file::{CalibrationFile, FORMAT, SUFFIX, VERSION};
use crate::cores::{self, Core};
use crate::diagnosis::{Surroundings, loss_remark};
use crate::failure::{Complaint, Failure, Verdict, Warning, all_or_every_complaint};
use crate::fit_report::{self, ProbeReport};
use crate::fitted::{Fitted, Outcome, Refused, fit_probe};
use crate::meant;
use crate::output::{self, OutputSet};
use crate::pairing::{self, PairedProbe};
use crate::physical::{self, PhysicalReport};
use crate::plot::{self, CalibrationChart, Level, ResidualChart};
use crate::progress::Progress;
use crate::table::{self, SAMPLES, shown_path};
use crate::workbench::Workbench;
use calib_cli::controller::FORMATS;
use calib_core::calibration::ConvertError;
use calib_core::curve::CurveKind;
use calib_core::fit::{Loss, Request};
use calib_core::irrigation::SetPoints;
use calib_core::quantity::{Quantity, Vwc};
use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// The seed where none is given.
pub(super) const SEED: u64 = 101;

/// Fits counts to oven-dry water content, for each probe and its soil.
///
/// Saves one calibration a probe, with a chart as SVG and PNG, in OUT.
#[derive(Debug, Args)]
pub struct Fit {
    /// Workbench folder: site.toml, samples.csv, readings.csv
    #[arg(default_value = ".")]
    pub dir: PathBuf,
    /// Where to save; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Only this probe
    #[arg(long, value_name = "ID")]
    pub probe: Option<String>,
    /// Use this curve instead of choosing
    #[arg(long, value_name = "NAME", value_parser = curve_names())]
    pub curve: Option<CurveKind>,
    /// What a core far from the curve costs the fit: its square, in proportion (huber), or no more beyond a limit (tukey)
    #[arg(long, value_name = "NAME", default_value = Loss::Squares.key(), value_parser = loss_names())]
    pub loss: Loss,
    /// Show every core with its residual and its pull on the curve, and how parameters correlate
    #[arg(long)]
    pub details: bool,
    /// Fit each curve again to N sets of cores drawn anew, and show how sure that says the curve is
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    pub bootstrap: Option<u32>,
    /// Chooses the random numbers; the same seed, the same answer
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    pub seed: u64,
    /// Draw no charts
    #[arg(long)]
    pub no_charts: bool,
    /// Overwrite results of an earlier run
    #[arg(long)]
    pub force: bool,
    /// Print JSON instead of text
    #[arg(long)]
    pub json: bool,
}

impl Fit {
    /// The bootstrap asked for.
    fn asked(&self) -> Option<Asked> {
        self.bootstrap.map(|replicates| Asked {
            replicates: replicates as usize,
            seed: self.seed,
        })
    }
}

/// The curves by name, so that help lists them and a slip is told the choices.
pub(super) fn curve_names() -> impl TypedValueParser<Value = CurveKind> {
    PossibleValuesParser::new(CurveKind::ALL.map(CurveKind::key)).try_map(|name| {
        CurveKind::ALL
            .into_iter()
            .find(|kind| kind.key() == name)
            .ok_or("no such curve")
    })
}

/// The losses by name, likewise.
pub(super) fn loss_names() -> impl TypedValueParser<Value = Loss> {
    PossibleValuesParser::new(Loss::ALL.map(Loss::key)).try_map(|name| {
        Loss::ALL
            .into_iter()
            .find(|loss| loss.key() == name)
            .ok_or("no such loss")
    })
}

/// Where results go if `--out` does not say.
pub fn out_folder(dir: &Path, out: Option<&Path>) -> PathBuf {
    out.map_or_else(|| shown_path(dir, "out"), Path::to_owned)
}

/// What the fit of a workbench comes to.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    probes: Vec<ProbeReport>,
    refused: Vec<Refused>,
    cores: Vec<Core>,
    warnings: Vec<Warning>,
    written: Vec<String>,
    /// Files of refused probes that an earlier run left.
    outdated: Vec<String>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] as the workbench, the fit and the disk have it.
pub fn run(fit: &Fit) -> Result<Verdict, Failure> {
    let answer = work(fit)?;
    if fit.json {
        output::print_json(&answer)?;
    } else {
        output::print(&answer.text(fit.details))?;
        answer.remark();
    }
    Ok(answer.verdict())
}

/// Everything the command does but print.
pub(super) fn work(fit: &Fit) -> Result<Answer, Failure> {
    let workbench = table::load(&fit.dir)?;
    let paired = pairing::pair(&workbench)?;
    let mut warnings = workbench.warnings.clone();
    warnings.extend(paired.warnings.iter().cloned());

    let out = out_folder(&fit.dir, fit.out.as_deref());
    let chosen = chosen(&paired.probes, fit.probe.as_deref(), &workbench)?;
    let request = Request {
        curve: fit.curve,
        loss: fit.loss,
    };
    let progress = Progress::new("choosing each probe's curve", chosen.len());
    let outcomes = all_or_every_complaint(
        progress.along(
            chosen
                .into_iter()
                .map(|probe| fit_probe(&workbench, probe, request)),
        ),
    )?;
    drop(progress);
    // Draws and charts take the time; probes share the processor.
    let each = 1 + fit.asked().map_or(0, |asked| asked.refits());
    let progress = Progress::new(
        match fit.bootstrap {
            Some(_) => "fitting each curve again to cores drawn anew",
            None => "drawing each probe's uncertainty",
        },
        each * outcomes.len(),
    );
    let explained: Vec<Result<Explained, Failure>> = outcomes
        .into_par_iter()
        .map(|outcome| {
            let explained =
                Explained::of(outcome, &workbench, &paired.cores, &out, fit, &|steps| {
                    progress.advance(steps);
                });
            progress.advance(1);
            explained
        })
        .collect();
    drop(progress);
    let mut probes = Vec::new();
    let mut refused = Vec::new();
    let mut outputs = OutputSet::default();
    for explained in explained {
        match explained? {
            Explained::Refused(why) => refused.push(why),
            Explained::Fitted {
                report,
                files,
                warnings: of_fit,
            } => {
                for (path, content) in files {
                    outputs.add(path, content);
                }
                warnings.extend(of_fit);
                probes.push(*report);
            }
        }
    }
    let written = outputs
        .paths()
        .map(|path| path.display().to_string())
        .collect();
    outputs.write(fit.force)?;
    let outdated = refused
        .iter()
        .flat_map(|refused| files_of(&refused.probe))
        .map(|name| out.join(name))
        .filter(|path| path.exists())
        .map(|path| path.display().to_string())
        .collect();
    Ok(Answer {
        outdated,
        format: "ovendry fit",
        version: 1,
        verdict: Verdict::good_if(refused.is_empty()),
        probes,
        refused,
        cores: paired.cores,
        warnings,
        written,
    })
}

/// One probe with all that is said and saved of it.
enum Explained {
    Fitted {
        report: Box<ProbeReport>,
        files: Vec<(PathBuf, Vec<u8>)>,
        warnings: Vec<Warning>,
    },
    Refused(Refused),
}

impl Explained {
    fn of(
        outcome: Outcome<'_>,
        workbench: &Workbench,
        cores: &[Core],
        out: &Path,
        fit: &Fit,
        progress: &(dyn Fn(usize) + Sync),
    ) -> Result<Self, Failure> {
        let fitted = match outcome {
            Outcome::Refused(why) => return Ok(Explained::Refused(why)),
            Outcome::Fitted(fitted) => fitted,
        };
        let file = calibration_file(workbench, &fitted)?;
        let surroundings = surroundings(workbench, &file);
        let levels = levels(workbench, &fitted, surroundings.set_points.as_ref());
        let files = files(&fitted, &file, &levels, out, fit)?;
        let mut report = full_report(workbench, &fitted, &surroundings, cores, fit.seed)?;
        report.bootstrap = refitted(&fitted, &report, fit, progress)?;
        Ok(Explained::Fitted {
            files,
            warnings: fit_report::warnings(&fitted),
            report: Box::new(report),
        })
    }
}

/// Everything said of a fit unasked.
fn full_report(
    workbench: &Workbench,
    fitted: &Fitted<'_>,
    surroundings: &Surroundings,
    cores: &[Core],
    seed: u64,
) -> Result<ProbeReport, Failure> {
    Ok(ProbeReport {
        physical: PhysicalReport::new(workbench, fitted, cores)?,
        no_physical: physical::lacking(workbench, &fitted.paired.probe),
        ..ProbeReport::new(fitted, surroundings, seed)?
    })
}

impl Answer {
    /// Good unless a probe was refused.
    pub(super) fn verdict(&self) -> Verdict {
        self.verdict
    }

    /// The answer as a person reads it.
    pub(super) fn text(&self, details: bool) -> String {
        let mut text = String::new();
        if details {
            text.push_str(&format!(
                "The cores, oven-dry\n===================\n\n{}\n",
                cores::table(&self.cores)
            ));
        }
        for probe in &self.probes {
            text.push_str(&probe.text(details));
        }
        for path in &self.written {
            text.push_str(&format!("wrote {path}\n"));
        }
        text
    }

    /// Warnings and refusals, to standard error.
    pub(super) fn remark(&self) {
        for warning in &self.warnings {
            eprintln!("{warning}");
        }
        for refused in &self.refused {
            eprintln!("{}", fit_report::refusal(refused));
        }
        for file in &self.outdated {
            eprintln!("{file} is from an earlier run with other data: do not load it");
        }
    }
}

/// What a calibrated probe leaves that a controller could come to use.
fn files_of(probe: &str) -> Vec<String> {
    std::iter::once(format!("{probe}{SUFFIX}"))
        .chain(FORMATS.iter().map(|format| format.file_name(probe)))
        .collect()
}

pub(super) fn chosen<'a>(
    probes: &'a [PairedProbe],
    only: Option<&str>,
    workbench: &Workbench,
) -> Result<Vec<&'a PairedProbe>, Failure> {
    let found: Vec<&PairedProbe> = probes
        .iter()
        .filter(|probe| only.is_none_or(|id| probe.probe == id))
        .collect();
    match (found.is_empty(), only) {
        (false, _) => Ok(found),
        (true, Some(id)) => {
            let known: Vec<&str> = probes.iter().map(|probe| probe.probe.as_str()).collect();
            Err(command_line(
                "--probe",
                id,
                "is no probe with cores",
                meant::choose(id, known),
            )
            .into())
        }
        (true, None) => Err(Complaint::about(
            &shown_path(&workbench.folder, SAMPLES),
            "holds no core that pairs with a probe",
            "add cores, and readings beside each",
        )
        .into()),
    }
}

/// The bootstrap at the counts of the report, if it was asked for.
fn refitted(
    fitted: &Fitted<'_>,
    report: &ProbeReport,
    fit: &Fit,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Option<CurveBootstrap>, Failure> {
    let counts: Vec<f64> = report
        .predictions
        .iter()
        .map(|reading| reading.first_order.count)
        .collect();
    fit.asked()
        .map(|asked| CurveBootstrap::new(fitted, &counts, asked, progress))
        .transpose()
}

fn calibration_file(
    workbench: &Workbench,
    fitted: &Fitted<'_>,
) -> Result<CalibrationFile, Failure> {
    let (calibrated_on, recheck_by) = fit_report::dates(fitted.paired.last_reading)?;
    let mut explanation = fitted.choice.explanation().to_vec();
    explanation.push(fitted.choice.temperature.to_string());
    explanation.extend(loss_remark(&fitted.choice.fit));
    Ok(CalibrationFile {
        format: FORMAT.to_owned(),
        version: VERSION,
        program: format!("ovendry {}", env!("CARGO_PKG_VERSION")),
        calibrated_on,
        recheck_by,
        sources: workbench.sources.clone(),
        explanation,
        calibration: fitted.calibration.clone(),
    })
}

/// The set points, where they can be placed, and the soil temperatures logged.
fn surroundings(workbench: &Workbench, file: &CalibrationFile) -> Surroundings {
    let temperatures = workbench
        .readings
        .iter()
        .filter(|logged| logged.probe == file.calibration.probe)
        .filter_map(|logged| logged.reading.soil_temperature.map(Quantity::value));
    let logged = temperatures.fold(None, |ends: Option<(f64, f64)>, t| {
        let (low, high) = ends.unwrap_or((t, t));
        Some((low.min(t), high.max(t)))
    });
    Surroundings {
        set_points: for_calibration(&workbench.site, Path::new(SUFFIX), file, None).ok(),
        logged,
    }
}

/// What is saved of a probe, by path.
fn files(
    fitted: &Fitted<'_>,
    file: &CalibrationFile,
    levels: &[Level],
    out: &Path,
    fit: &Fit,
) -> Result<Vec<(PathBuf, Vec<u8>)>, Failure> {
    let mut files = vec![(out.join(file.file_name()), file.render()?.into())];
    if fit.no_charts {
        return Ok(files);
    }
    let probe = &fitted.calibration.probe;
    let (curve, residuals) = charts(fitted, levels)?;
    files.push((out.join(format!("{probe}.svg")), plot::svg(&curve)?.into()));
    files.push((out.join(format!("{probe}.png")), plot::png(&curve)?));
    files.push((
        out.join(format!("{probe}.residuals.svg")),
        plot::svg(&residuals)?.into(),
    ));
    files.push((
        out.join(format!("{probe}.residuals.png")),
        plot::png(&residuals)?,
    ));
    Ok(files)
}

/// The curve through its cores, and what it leaves over.
fn charts(
    fitted: &Fitted<'_>,
    levels: &[Level],
) -> Result<(CalibrationChart, ResidualChart), Failure> {
    let calibration = &fitted.calibration;
    let undrawn = |e: ConvertError| {
        Failure::Internal(format!("cannot draw probe {}: {e}", calibration.probe))
    };
    let observations = &fitted.paired.observations;
    let curve = CalibrationChart::new(calibration, observations, levels).map_err(undrawn)?;
    let of_fit = &fitted.choice.fit.residuals;
    let deviations: Vec<f64> = observations
        .iter()
        .map(|seen| of_fit.iter().find(|one| one.sample == seen.sample))
        .map(|found| found.map_or(0.0, |one| one.studentised))
        .collect();
    let residuals = ResidualChart::new(calibration, observations, &deviations).map_err(undrawn)?;
    Ok((curve, residuals))
}

/// Field capacity and wilting point of the probe's soil, where they are known,
/// and the refill point where it can be placed. (Stop lies at field capacity.)
fn levels(workbench: &Workbench, fitted: &Fitted<'_>, points: Option<&SetPoints>) -> Vec<Level> {
    let level = |name: &str, theta_v: Vwc| Level {
        name: name.to_owned(),
        theta_v: theta_v.value(),
    };
    soil_of(&workbench.site, &fitted.calibration.soil)
        .and_then(|soil| known(&workbench.site, soil).ok())
        .map_or_else(Vec::new, |(_, evidence)| {
            let water = evidence.water;
            let mut levels = vec![level("field capacity", water.field_capacity.value)];
            if let Some(points) = points {
                levels.push(level("refill", points.refill));
            }
            levels.push(level("wilting point", water.wilting_point.value));
            levels
        })
}
