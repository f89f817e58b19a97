//! `ovendry calibrate`: the whole job in one go. Each part is the command of its
//! own name; this file only strings them together.

use super::{export, fit, setpoints};
use crate::caution;
use crate::failure::{Failure, Verdict};
use crate::output;
use calib_core::controller::DEFAULT_MAX_ERROR;
use calib_core::curve::CurveKind;
use calib_core::fit::Loss;
use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::PathBuf;

/// Which workbench.
#[derive(Debug, Args)]
pub struct Calibrate {
    /// Workbench folder: site.toml, samples.csv, readings.csv
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// Where to save; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Use this curve for every probe instead of choosing
    #[arg(long, value_name = "NAME", value_parser = fit::curve_names())]
    curve: Option<CurveKind>,
    /// What a core far from the curve costs the fit: its square, in proportion (huber), or no more beyond a limit (tukey)
    #[arg(long, value_name = "NAME", default_value = Loss::Squares.key(), value_parser = fit::loss_names())]
    loss: Loss,
    /// Overwrite results of an earlier run
    #[arg(long)]
    force: bool,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// All that the parts have to say. Where one is judged not fit for use, those after it
/// are left out.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer<'a> {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    fit: &'a fit::Answer,
    #[serde(skip_serializing_if = "Option::is_none")]
    setpoints: Option<&'a setpoints::Answer>,
    #[serde(skip_serializing_if = "Option::is_none")]
    export: Option<export::Answer<'a>>,
}

impl<'a> Answer<'a> {
    fn new(verdict: Verdict, fit: &'a fit::Answer) -> Self {
        Self {
            format: "ovendry calibrate",
            version: 1,
            verdict,
            fit,
            setpoints: None,
            export: None,
        }
    }
}

/// Runs the command.
///
/// # Errors
/// As its parts.
pub fn run(command: &Calibrate) -> Result<Verdict, Failure> {
    // What set points will need is looked at first, so that nothing is written
    // only to stop halfway.
    setpoints::prepare(&command.dir)?;
    let fitted = fit::work(&fit::Fit {
        dir: command.dir.clone(),
        out: command.out.clone(),
        probe: None,
        curve: command.curve,
        loss: command.loss,
        details: false,
        bootstrap: None,
        seed: fit::SEED,
        no_charts: false,
        force: command.force,
        json: command.json,
    })?;
    if !command.json {
        output::print(&heading(1, "Calibrations"))?;
        output::print(&fitted.text(false))?;
        fitted.remark();
    }
    if fitted.verdict() != Verdict::Good {
        if command.json {
            output::print_json(&Answer::new(fitted.verdict(), &fitted))?;
        }
        return Ok(fitted.verdict());
    }
    let points = setpoints::work(&setpoints::Setpoints {
        dir: command.dir.clone(),
        out: command.out.clone(),
        json: command.json,
        ..setpoints::Setpoints::default()
    })?;
    if !command.json {
        output::print(&heading(2, "Set points"))?;
        output::print(&points.story())?;
        for warning in &points.warnings {
            eprintln!("{warning}");
        }
    }
    if points.verdict() != Verdict::Good {
        if command.json {
            output::print_json(&Answer {
                setpoints: Some(&points),
                ..Answer::new(points.verdict(), &fitted)
            })?;
        } else {
            output::print("Judged not fit for use: no controller files were written.\n")?;
        }
        return Ok(points.verdict());
    }
    let exported = export::work(&export::Arguments {
        folder: command.dir.clone(),
        out: command.out.clone(),
        probe: Vec::new(),
        stage: None,
        max_error: DEFAULT_MAX_ERROR,
        force: command.force,
        json: command.json,
    })?;
    let verdict = exported.findings.verdict();
    if command.json {
        output::print_json(&Answer {
            setpoints: Some(&points),
            export: Some(exported.answer()),
            ..Answer::new(verdict, &fitted)
        })?;
    } else {
        output::print(&heading(3, "Controller files, read back and compared"))?;
        output::print(&exported.findings.to_string())?;
        output::print(&export::stage_line(exported.stage.as_deref()))?;
        output::print(&export::replaced_line(&exported.replaced))?;
        output::print(&format!(
            "\n{}\nnext: build the .h file and ovendry_reader.h into your controller, or load one of the others\n",
            caution::take_care(&[caution::PUMP])
        ))?;
    }
    Ok(verdict)
}

fn heading(number: u32, text: &str) -> String {
    let line = format!("{number}. {text}");
    format!("\n{line}\n{}\n\n", "#".repeat(line.len()))
}
