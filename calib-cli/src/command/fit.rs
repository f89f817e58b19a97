//! `ovendry fit`: one calibration for each probe and its soil, explained.

use crate::calibration_file::{CalibrationFile, FORMAT, VERSION};
use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::fit_report::{self, ProbeReport};
use crate::fitted::{Fitted, Outcome, Refused, fit_probe};
use crate::output::OutputSet;
use crate::pairing::{self, PairedProbe};
use crate::plot;
use crate::table;
use crate::workbench::Workbench;
use calib_core::curve::CurveKind;
use clap::Args;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Fits counts to oven-dry water content, for each probe and its soil.
///
/// Saves one calibration a probe, with a chart as SVG and PNG, in OUT.
#[derive(Debug, Args)]
pub struct Fit {
    /// Workbench folder: site.toml, samples.csv, readings.csv
    pub dir: PathBuf,
    /// Where to save; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Only this probe
    #[arg(long, value_name = "ID")]
    pub probe: Option<String>,
    /// Use this curve instead of choosing
    #[arg(long, value_name = "NAME", value_parser = curve_by_name)]
    pub curve: Option<CurveKind>,
    /// Show every core with its residual, and how parameters correlate
    #[arg(long)]
    pub details: bool,
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

fn curve_by_name(name: &str) -> Result<CurveKind, String> {
    CurveKind::ALL
        .into_iter()
        .find(|kind| kind.key() == name)
        .ok_or_else(|| {
            let known: Vec<&str> = CurveKind::ALL.iter().map(|kind| kind.key()).collect();
            format!("choose one of {}", known.join(", "))
        })
}

/// Where results go if `--out` does not say.
pub fn out_folder(dir: &Path, out: Option<&Path>) -> PathBuf {
    out.map_or_else(|| dir.join("out"), Path::to_owned)
}

/// What `fit --json` prints.
#[derive(Serialize)]
struct FitJson<'a> {
    format: &'static str,
    version: u32,
    probes: &'a [ProbeReport],
    refused: &'a [Refused],
    cores: &'a [crate::cores::Core],
    warnings: &'a [Warning],
    written: Vec<String>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] as the workbench, the fit and the disk have it.
pub fn run(fit: &Fit) -> Result<Verdict, Failure> {
    let workbench = table::load(&fit.dir)?;
    let paired = pairing::pair(&workbench)?;
    let mut warnings = workbench.warnings.clone();
    warnings.extend(paired.warnings.iter().cloned());

    let mut reports = Vec::new();
    let mut refused = Vec::new();
    let mut outputs = OutputSet::default();
    let out = out_folder(&fit.dir, fit.out.as_deref());
    for probe in chosen(&paired.probes, fit.probe.as_deref(), &workbench)? {
        match fit_probe(&workbench, probe, fit.curve)? {
            Outcome::Refused(why) => refused.push(why),
            Outcome::Fitted(fitted) => {
                save(&workbench, &fitted, &out, fit, &mut outputs)?;
                warnings.extend(fit_report::warnings(&fitted));
                reports.push(ProbeReport::new(&fitted)?);
            }
        }
    }
    let written: Vec<String> = outputs
        .paths()
        .map(|path| path.display().to_string())
        .collect();
    outputs.write(fit.force)?;

    if fit.json {
        crate::output::print_json(&FitJson {
            format: "ovendry fit",
            version: 1,
            probes: &reports,
            refused: &refused,
            cores: &paired.cores,
            warnings: &warnings,
            written,
        })?;
    } else {
        let mut text: String = reports
            .iter()
            .map(|report| report.text(fit.details))
            .collect();
        for path in &written {
            text.push_str(&format!("wrote {path}\n"));
        }
        crate::output::print(&text)?;
        for warning in &warnings {
            eprintln!("{warning}");
        }
        for Refused {
            probe,
            soil,
            reason,
        } in &refused
        {
            eprintln!("refused: probe {probe} in {soil}: {reason}");
        }
    }
    Ok(if refused.is_empty() {
        Verdict::Good
    } else {
        Verdict::Unfit
    })
}

fn chosen<'a>(
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
            Err(Complaint::about(
                &workbench.site.file,
                format!("has no probe \"{id}\" with cores"),
                format!("choose one of {}", known.join(", ")),
            )
            .into())
        }
        (true, None) => Err(Complaint::about(
            &workbench.folder.join("samples.csv"),
            "holds no core that pairs with a probe",
            "add cores, and readings beside each",
        )
        .into()),
    }
}

fn save(
    workbench: &Workbench,
    fitted: &Fitted<'_>,
    out: &Path,
    fit: &Fit,
    outputs: &mut OutputSet,
) -> Result<(), Failure> {
    let (calibrated_on, recheck_by) = fit_report::dates(fitted.paired.last_reading)?;
    let mut explanation = fitted.choice.explanation().to_vec();
    explanation.push(fitted.choice.temperature.to_string());
    let file = CalibrationFile {
        format: FORMAT.to_owned(),
        version: VERSION,
        program: format!("ovendry {}", env!("CARGO_PKG_VERSION")),
        calibrated_on,
        recheck_by,
        sources: workbench.sources.clone(),
        explanation,
        calibration: fitted.calibration.clone(),
    };
    outputs.add(out.join(file.file_name()), file.render()?);
    if !fit.no_charts {
        let charts = plot::of_fit(&fitted.calibration, &fitted.paired.observations)?;
        for (name, bytes) in charts {
            outputs.add(out.join(name), bytes);
        }
    }
    Ok(())
}
