//! `ovendry setpoints`: when to start the pump and when to stop it, for each
//! calibrated probe.

mod report;
mod risk;

use super::fit::out_folder;
use super::soil::{command_line, known, soil_of};
use crate::calibration_file::CalibrationFile;
use crate::caution;
use crate::failure::{Complaint, Failure, Verdict, Warning, all_or_every_complaint};
use crate::output::{print, print_json};
use crate::table::load_site;
use crate::workbench::{Controller, Site};
use calib_core::irrigation::{
    Crop, Demand, IrrigationError, SetPoints, Supply, apply, crop, set_points,
};
use calib_core::reference::{Publication, PublicationKey, publication};
use clap::Args;
use report::SetPointReport;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Which set points.
#[derive(Debug, Args)]
pub struct Setpoints {
    /// Workbench folder with a site.toml
    pub(super) dir: PathBuf,
    /// Folder of the saved calibrations; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
    /// Only this probe
    #[arg(long, value_name = "ID")]
    pub(super) probe: Option<String>,
    /// Print JSON
    #[arg(long)]
    pub(super) json: bool,
}

/// The set points of every calibrated probe, with where they come from.
#[derive(Serialize)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    setpoints: Vec<SetPointReport>,
    crop_source: Option<&'static Publication>,
    pub(super) warnings: Vec<Warning>,
    cautions: Vec<&'static str>,
}

impl Answer {
    /// Good unless a probe cannot tell a full soil from a spent one.
    pub(super) fn verdict(&self) -> Verdict {
        if self.setpoints.iter().all(SetPointReport::is_fit) {
            Verdict::Good
        } else {
            Verdict::Unfit
        }
    }

    /// The set points and their sources, without the cautions that belong under
    /// them.
    pub(super) fn story(&self) -> String {
        let mut text: String = self
            .setpoints
            .iter()
            .map(|report| format!("{report}\n"))
            .collect();
        if let Some(source) = self.crop_source {
            text.push_str(&format!(
                "Crop figures: {}\n  seen in a second copy: {}\n  from memory, not checked: {}\n\n",
                source.citation, source.checked, source.from_memory
            ));
        }
        text
    }
}

/// Runs the command.
pub fn run(command: &Setpoints) -> Result<Verdict, Failure> {
    let answer = work(command)?;
    for warning in &answer.warnings {
        eprintln!("{warning}");
    }
    if command.json {
        print_json(&answer)?;
    } else {
        print(&answer.story())?;
        print(&caution::take_care(&[caution::PUMP]))?;
    }
    Ok(answer.verdict())
}

/// Everything the command does but print.
pub(super) fn work(command: &Setpoints) -> Result<Answer, Failure> {
    let site = load_site(&command.dir)?;
    let pump = pump(&site)?;
    let asked = asked(&site, pump)?;
    let calibrations = calibrations(command)?;
    let mut answer = answer(&site, pump, &asked, &calibrations)?;
    let files = calibrations
        .iter()
        .map(|(path, file)| (path.as_path(), file));
    answer
        .warnings
        .extend(CalibrationFile::stale(files, &command.dir));
    Ok(answer)
}

/// Looks at everything set points need of site.toml, before there is a
/// calibration.
///
/// # Errors
/// [`Failure::Input`] with what is missing or wrong there.
pub(super) fn prepare(folder: &Path) -> Result<(), Failure> {
    let site = load_site(folder)?;
    asked(&site, pump(&site)?)?;
    all_or_every_complaint(site.soils.iter().map(|soil| known(&site, soil)))?;
    Ok(())
}

/// The set points of one calibration at a site.
pub(super) fn for_calibration(
    site: &Site,
    path: &Path,
    file: &CalibrationFile,
) -> Result<SetPoints, Failure> {
    let pump = pump(site)?;
    let asked = asked(site, pump)?;
    let report = one(site, &supply(pump), &asked, path, file)?;
    Ok(report.evidence.set_points)
}

/// What the crop asks for, and where that comes from.
#[derive(Debug, Clone)]
struct Asked {
    demand: Demand,
    depletion_from: String,
    root_depth_from: String,
    from_table: bool,
}

pub(super) fn pump(site: &Site) -> Result<&Controller, Failure> {
    site.controller.as_ref().ok_or_else(|| {
        Complaint::about(
            &site.file,
            "has no [controller], so nothing is known of crop, area and flow",
            "add [controller] with area_m2, flow_l_per_min and crop",
        )
        .into()
    })
}

/// Allowed depletion and root depth: as stated, or else the crop's.
fn asked(site: &Site, pump: &Controller) -> Result<Asked, Failure> {
    let evapotranspiration = pump.evapotranspiration;
    let at_pump = |error: IrrigationError| {
        Complaint::about(&site.file, error.to_string(), error.mend()).at_line(pump.line)
    };
    let row: Option<&Crop> = match (&pump.crop, pump.allowed_depletion, pump.root_depth) {
        (_, Some(_), Some(_)) | (None, ..) => None,
        (Some(name), ..) => Some(crop(name).map_err(at_pump)?),
    };
    let missing = |key: &str| {
        Complaint::about(
            &site.file,
            format!("[controller] states neither a crop nor {key}"),
            format!("add crop = \"...\" by its name in FAO-56 Table 22, or {key}"),
        )
        .at_line(pump.line)
    };
    let stated = || "stated in site.toml".to_owned();
    let (allowed_depletion, depletion_from) = match (pump.allowed_depletion, row) {
        (Some(depletion), _) => (depletion, stated()),
        (None, Some(row)) => (
            row.allowed_depletion(evapotranspiration).map_err(at_pump)?,
            format!(
                "{}, {} at {evapotranspiration} mm a day",
                row.name,
                PublicationKey::Fao56Table22
            ),
        ),
        (None, None) => return Err(missing("allowed_depletion").into()),
    };
    let (root_depth, root_depth_from) = match (pump.root_depth, row) {
        (Some(depth), _) => (depth, stated()),
        (None, Some(row)) => (
            row.root_depth().map_err(at_pump)?,
            format!(
                "{}, {}, the shallower end of its range, for irrigation scheduling as a footnote there says; from memory",
                row.name,
                PublicationKey::Fao56Table22
            ),
        ),
        (None, None) => return Err(missing("root_depth_mm").into()),
    };
    Ok(Asked {
        demand: Demand {
            allowed_depletion,
            root_depth,
        },
        depletion_from,
        root_depth_from,
        from_table: row.is_some(),
    })
}

pub(super) fn calibrations(
    command: &Setpoints,
) -> Result<Vec<(PathBuf, CalibrationFile)>, Failure> {
    let folder = out_folder(&command.dir, command.out.as_deref());
    let mut all = CalibrationFile::load_all(&folder)?;
    if let Some(id) = &command.probe {
        let known: Vec<String> = all
            .iter()
            .map(|(_, file)| file.calibration.probe.clone())
            .collect();
        all.retain(|(_, file)| &file.calibration.probe == id);
        if all.is_empty() {
            return Err(command_line(
                "--probe",
                id,
                format!("has no calibration in {}", folder.display()),
                format!("choose one of: {}", known.join(", ")),
            )
            .into());
        }
    }
    Ok(all)
}

fn supply(pump: &Controller) -> Supply {
    Supply {
        area: pump.area,
        flow: pump.flow,
        application_efficiency: pump.application_efficiency,
        minimum_on_s: pump.minimum_on_s,
        maximum_on_s: pump.maximum_on_s,
    }
}

/// The set points of every calibration, or every reason why one has none.
fn answer(
    site: &Site,
    pump: &Controller,
    asked: &Asked,
    calibrations: &[(PathBuf, CalibrationFile)],
) -> Result<Answer, Failure> {
    let supply = supply(pump);
    let reports = all_or_every_complaint(
        calibrations
            .iter()
            .map(|(path, file)| one(site, &supply, asked, path, file)),
    )?;
    let crop_source = if asked.from_table {
        let source = publication(PublicationKey::Fao56Table22);
        Some(source.map_err(|error| Failure::Internal(error.to_string()))?)
    } else {
        None
    };
    Ok(Answer {
        format: "ovendry setpoints",
        version: 1,
        warnings: reports.iter().flat_map(SetPointReport::warnings).collect(),
        setpoints: reports,
        crop_source,
        cautions: [caution::PUMP, &[caution::LOCAL_RULES]].concat(),
    })
}

fn one(
    site: &Site,
    supply: &Supply,
    asked: &Asked,
    path: &Path,
    file: &CalibrationFile,
) -> Result<SetPointReport, Failure> {
    let calibration = &file.calibration;
    let soil = soil_of(site, &calibration.soil).ok_or_else(|| {
        Complaint::about(
            path,
            format!(
                "was made in soil {}, which {} does not have",
                calibration.soil,
                site.file.display()
            ),
            "add the soil to site.toml again, or run `ovendry fit` anew",
        )
    })?;
    let (_, water) = known(site, soil)?;
    // A complaint stands where it is mended.
    let placed = |error: IrrigationError| {
        let place = match error {
            IrrigationError::NoRootZone
            | IrrigationError::NoEfficiency
            | IrrigationError::Implausible(_) => &site.file,
            _ => path,
        };
        Complaint::about(
            place,
            format!("probe {}: {error}", calibration.probe),
            error.mend(),
        )
    };
    let evidence = set_points(&water.water, &asked.demand, calibration).map_err(placed)?;
    let reference = calibration.temperature.map(|term| term.reference);
    let reading = calibration
        .predict(evidence.set_points.refill_count, reference)
        .map_err(|error| Failure::Internal(error.to_string()))?;
    let (driest, driest_count) = calibration.driest();
    let application = apply(evidence.set_points.net_depth, supply).map_err(placed)?;
    let risk = risk::reckon(calibration, &water.water, &evidence.set_points).map_err(placed)?;
    Ok(SetPointReport {
        probe: calibration.probe.clone(),
        soil: calibration.soil.clone(),
        direction: calibration.direction,
        soil_water: water.water,
        reading_expanded: reading.expanded.expanded,
        driest,
        driest_count,
        refill_standard_uncertainty: evidence.refill_budget.standard(),
        stop_standard_uncertainty: evidence.stop_budget.standard(),
        evidence,
        depletion_from: asked.depletion_from.clone(),
        root_depth_from: asked.root_depth_from.clone(),
        supply: *supply,
        application,
        risk,
    })
}
