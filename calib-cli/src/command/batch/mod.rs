//! `ovendry batch WHERE`: can one curve serve many probes, how far do they differ, and
//! which of them stand out?

mod charts;
mod noticed;
pub(super) mod on_page;
mod probe_table;
mod report;
mod study;
mod text;

use super::fit::{SEED, curve_names, out_folder};
use super::half_width::half_width;
use super::soil::command_line;
use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::meant;
use crate::output::{self, OutputSet};
use crate::pairs::{self, Pairs};
use crate::progress::Progress;
use crate::table;
use calib_core::batch::{Circumstances, soils, soils_one_curve};
use calib_core::curve::CurveKind;
use calib_core::quantity::Quantity;
use clap::Args;
pub(super) use report::Answer;
use report::{RootDepth, SoilsTogether};
use std::path::{Path, PathBuf};
use study::SoilStudy;

/// Depth of the root zone where neither the command nor site.toml says, mm.
const ROOT_DEPTH_MM: f64 = 300.0;

/// What is asked of many probes.
#[derive(Debug, Args)]
pub struct Batch {
    /// Workbench folder, or a file of pairs: one core beside one probe a row
    #[arg(value_name = "WHERE")]
    place: PathBuf,
    /// Only this soil
    #[arg(long, value_name = "ID")]
    soil: Option<String>,
    /// Use this curve instead of choosing
    #[arg(long, value_name = "NAME", value_parser = curve_names())]
    curve: Option<CurveKind>,
    /// Largest uncertainty of a reading (95 %) that will do, m3/m3
    #[arg(
        long,
        value_name = "M3/M3",
        default_value_t = 0.03,
        value_parser = half_width,
        allow_negative_numbers = true
    )]
    target: f64,
    /// By how much the means of two batches may differ and still count as alike, m3/m3
    #[arg(
        long,
        value_name = "M3/M3",
        default_value_t = 0.01,
        value_parser = half_width,
        allow_negative_numbers = true
    )]
    margin: f64,
    /// Minutes of work to take, weigh, dry and weigh again one core
    #[arg(
        long,
        value_name = "MINUTES",
        default_value_t = 20.0,
        allow_negative_numbers = true
    )]
    minutes_per_core: f64,
    /// Minutes of work to read one probe in one medium
    #[arg(
        long,
        value_name = "MINUTES",
        default_value_t = 5.0,
        allow_negative_numbers = true
    )]
    minutes_per_medium: f64,
    /// What an hour of work costs
    #[arg(long, value_name = "AMOUNT", allow_negative_numbers = true)]
    hourly_cost: Option<f64>,
    /// The currency of --hourly-cost
    #[arg(long, value_name = "NAME", requires = "hourly_cost")]
    currency: Option<String>,
    /// Depth of the root zone; that of site.toml's controller if not given, else 300
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    root_depth_mm: Option<f64>,
    /// Where to save; WHERE/out if not given, or `out` beside a file of pairs
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Chooses the random numbers; the same seed, the same answer
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    seed: u64,
    /// Draw no charts
    #[arg(long)]
    no_charts: bool,
    /// Overwrite results of an earlier run
    #[arg(long)]
    force: bool,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Runs the command: good if some way of calibrating is within the target in every
/// soil.
///
/// # Errors
/// [`Failure`] as the pairs, the study and the disk have it.
pub fn run(batch: &Batch) -> Result<Verdict, Failure> {
    check(batch)?;
    let answer = work(batch)?;
    if batch.json {
        output::print_json(&answer)?;
    } else {
        output::print(&text::of(&answer))?;
        for warning in &answer.warnings {
            eprintln!("{warning}");
        }
    }
    Ok(answer.verdict)
}

/// Refuses numbers that mean nothing.
fn check(batch: &Batch) -> Result<(), Failure> {
    let above = |option: &str, value: f64, most: f64, mend: &str| {
        let good = value > 0.0 && value <= most;
        (!good).then(|| {
            let what = format!("must lie above 0 and be at most {most}");
            command_line(option, &value.to_string(), what, mend)
        })
    };
    let not_below = |option: &str, value: f64| {
        let good = value >= 0.0 && value.is_finite();
        (!good).then(|| {
            command_line(
                option,
                &value.to_string(),
                "must be 0 or more",
                "give a plain number",
            )
        })
    };
    let complaints: Vec<Complaint> = [
        batch
            .root_depth_mm
            .and_then(|depth| above("--root-depth-mm", depth, 5000.0, "300 for 300 mm")),
        not_below("--minutes-per-core", batch.minutes_per_core),
        not_below("--minutes-per-medium", batch.minutes_per_medium),
        batch
            .hourly_cost
            .and_then(|cost| not_below("--hourly-cost", cost)),
    ]
    .into_iter()
    .flatten()
    .collect();
    if complaints.is_empty() {
        Ok(())
    } else {
        Err(Failure::Input(complaints))
    }
}

/// Everything that is found, before anything is written.
fn study(batch: &Batch) -> Result<Answer, Failure> {
    let read = pairs::load(&batch.place)?;
    let chosen = chosen_soils(&read, batch.soil.as_deref())?;
    let root_depth = root_depth(batch)?;
    let asked = Circumstances {
        target: batch.target,
        minutes_per_core: batch.minutes_per_core,
        minutes_per_medium: batch.minutes_per_medium,
        hourly_cost: batch.hourly_cost,
        root_depth_mm: root_depth.mm,
        relative_volume_u: 0.0,
        seed: batch.seed,
    };
    let mut warnings = read.warnings.clone();
    let progress = Progress::uncounted("comparing probes");
    let mut studies = Vec::new();
    let mut refused = Vec::new();
    for soil in &chosen {
        match SoilStudy::of(&read, soil, batch.curve, batch.margin, asked) {
            Ok(study) => studies.push(study),
            Err(complaint) => refused.push((*soil, complaint)),
        }
    }
    if studies.is_empty() {
        return Err(Failure::Input(
            refused
                .into_iter()
                .map(|(_, complaint)| *complaint)
                .collect(),
        ));
    }
    warnings.extend(refused.into_iter().map(|(soil, complaint)| Warning {
        place: format!("soil {soil}"),
        what: complaint.what,
        why: "its probes are not compared".to_owned(),
        advice: complaint.mend,
    }));
    for study in &studies {
        warnings.extend(study.warnings());
    }
    let together = (batch.soil.is_none() && soils(&read.pairs).len() > 1)
        .then(|| SoilsTogether::of(soils_one_curve(&read.pairs, batch.curve)));
    drop(progress);

    let advised = studies.iter().all(|study| study.decision.advice.is_some());
    Ok(Answer {
        format: "ovendry batch",
        version: 1,
        verdict: Verdict::good_if(advised),
        sources: read.sources,
        asked,
        margin: batch.margin,
        currency: batch.currency.clone(),
        root_depth,
        soils: studies,
        together,
        warnings,
        written: Vec::new(),
    })
}

/// Everything the command does but print.
fn work(batch: &Batch) -> Result<Answer, Failure> {
    let mut answer = study(batch)?;
    let out = out_of(batch);
    let mut outputs = OutputSet::default();
    for study in &answer.soils {
        let table = out.join(format!("{}.probes.csv", study.soil));
        outputs.add(table, probe_table::render(study)?);
        if !batch.no_charts {
            charts::add(&mut outputs, &out, study)?;
        }
    }
    answer.written = outputs
        .paths()
        .map(|path| path.display().to_string())
        .collect();
    outputs.write(batch.force)?;
    Ok(answer)
}

fn out_of(batch: &Batch) -> PathBuf {
    if batch.place.is_dir() {
        out_folder(&batch.place, batch.out.as_deref())
    } else {
        out_folder(table::folder_of(&batch.place), batch.out.as_deref())
    }
}

/// The soils asked for, of those there are.
fn chosen_soils<'a>(read: &'a Pairs, only: Option<&str>) -> Result<Vec<&'a str>, Failure> {
    let known = soils(&read.pairs);
    if known.is_empty() {
        return Err(Complaint::about(
            &read.file,
            "holds no core that pairs with a probe",
            "add cores, and readings beside each",
        )
        .into());
    }
    let Some(asked) = only else {
        return Ok(known);
    };
    let found: Vec<&str> = known.iter().copied().filter(|id| *id == asked).collect();
    if found.is_empty() {
        return Err(command_line(
            "--soil",
            asked,
            "is no soil with cores",
            meant::choose(asked, known),
        )
        .into());
    }
    Ok(found)
}

/// The depth of the root zone, and who says so.
fn root_depth(batch: &Batch) -> Result<RootDepth, Failure> {
    if let Some(mm) = batch.root_depth_mm {
        return Ok(RootDepth {
            mm,
            said_by: "--root-depth-mm",
        });
    }
    let of_site = if batch.place.is_dir() {
        of_controller(&batch.place)?
    } else {
        None
    };
    Ok(of_site.map_or(
        RootDepth {
            mm: ROOT_DEPTH_MM,
            said_by: "assumed",
        },
        |mm| RootDepth {
            mm,
            said_by: "site.toml",
        },
    ))
}

fn of_controller(folder: &Path) -> Result<Option<f64>, Failure> {
    let controller = table::load(folder)?.site.controller;
    Ok(controller
        .and_then(|controller| controller.root_depth)
        .map(Quantity::value))
}
