//! `ovendry setpoints`: when to start the pump and when to stop it, for each
//! calibrated probe and each bed; and what a count means.

mod asked;
mod bed;
mod explain;
mod held;
mod mark;
mod report;
mod risk;
mod stages;
mod words;

use super::fit::out_folder;
use super::soil::{command_line, known, soil_of};
use crate::calibration_file::CalibrationFile;
use crate::caution;
use crate::failure::{Complaint, Failure, Verdict, Warning, all_or_every_complaint};
use crate::meant;
use crate::output::{print, print_json};
use crate::progress::Progress;
use crate::table::{LOG, folder_of, load_site};
use crate::workbench::{Controller, Probe, Site};
use asked::{Asked, Season, StageSpan, season};
pub(super) use bed::BedReport;
use calib_core::calibration::Calibration;
use calib_core::irrigation::{
    DayOfReadings, Demand, IrrigationError, SetPointEvidence, SetPoints, Supply, WaterLeft, apply,
    available_water, set_points,
};
use calib_core::quantity::{Estimate, Quantity};
use calib_core::reference::{Publication, PublicationKey, publication};
use calib_core::soil::{Basis, SoilEvidence};
use clap::Args;
pub(super) use explain::Answer as Explanation;
pub(super) use report::SetPointReport;
pub(super) use risk::how_to;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::{Path, PathBuf};
use words::ponding_warning;
pub(super) use words::{PointWater, duration, likely_percent};

/// Which set points.
#[derive(Debug, Default, Args)]
pub struct Setpoints {
    /// Workbench folder with a site.toml
    #[arg(default_value = ".")]
    pub(super) dir: PathBuf,
    /// Folder of the saved calibrations; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
    /// Only this probe
    #[arg(long, value_name = "ID")]
    pub(super) probe: Option<String>,
    /// For this stage of growth; the last with the deepest roots if not given
    #[arg(long, value_name = "NAME")]
    pub(super) stage: Option<String>,
    /// Say what this raw count means instead, or this mark of an old percent scale: 480, 35%
    #[arg(long, value_name = "COUNT|PERCENT%", allow_hyphen_values = true)]
    pub(super) explain: Option<String>,
    /// Soil temperature at which that count is read, C; the calibration's reference if not given
    #[arg(
        long,
        value_name = "C",
        requires = "explain",
        allow_negative_numbers = true
    )]
    pub(super) temperature: Option<f64>,
    /// Raw count at 0 % of the old scale
    #[arg(long, value_name = "COUNT", requires = "explain")]
    pub(super) count_at_0: Option<f64>,
    /// Raw count at 100 % of the old scale
    #[arg(long, value_name = "COUNT", requires = "explain")]
    pub(super) count_at_100: Option<f64>,
    /// Print JSON
    #[arg(long)]
    pub(super) json: bool,
}

/// The set points of every calibrated probe and bed, with where they come from.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// The stage of growth gone by.
    stage: Option<StageSpan>,
    #[serde(skip)]
    pub(super) stage_choice: Option<String>,
    pub(super) setpoints: Vec<SetPointReport>,
    pub(super) beds: Vec<BedReport>,
    pub(super) crop_source: Option<&'static Publication>,
    pub(super) warnings: Vec<Warning>,
    cautions: Vec<&'static str>,
}

impl Answer {
    /// Good unless a probe cannot tell a full soil from a spent one.
    pub(super) fn verdict(&self) -> Verdict {
        self.verdict
    }

    /// The set points and their sources, without the cautions that belong under
    /// them.
    pub(super) fn story(&self) -> String {
        let mut text = String::new();
        if let Some(choice) = &self.stage_choice {
            text.push_str(&format!("Stage of growth: {choice}.\n\n"));
        }
        for report in &self.setpoints {
            text.push_str(&format!("{report}\n"));
        }
        for bed in &self.beds {
            text.push_str(&format!("{bed}\n"));
        }
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
    if let Some(asked) = &command.explain {
        return explain::run(command, asked);
    }
    let mut answer = work(command)?;
    // A controller goes by the file it was given, not by what is reckoned here.
    let by_name = command.stage.as_deref();
    let held = held::warnings(
        &answer.setpoints,
        &command.dir,
        command.out.as_deref(),
        by_name,
    );
    answer.warnings.extend(held);
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
    let season = season(&site, pump, command.stage.as_deref())?;
    let calibrations = calibrations(command)?;
    let mut answer = answer(&site, pump, &season, &calibrations, command.probe.is_none())?;
    answer.warnings.extend(stale(&calibrations, &command.dir));
    Ok(answer)
}

/// The set points of calibrations at hand, for the stage `work` takes unasked.
pub(super) fn of_calibrations(
    site: &Site,
    calibrations: &[(PathBuf, CalibrationFile)],
) -> Result<Answer, Failure> {
    let pump = pump(site)?;
    answer(site, pump, &season(site, pump, None)?, calibrations, true)
}

fn stale(calibrations: &[(PathBuf, CalibrationFile)], folder: &Path) -> Vec<Warning> {
    let files = calibrations
        .iter()
        .map(|(path, file)| (path.as_path(), file));
    CalibrationFile::stale(files, folder)
}

/// Looks at everything set points need of site.toml, before there is a
/// calibration.
///
/// # Errors
/// [`Failure::Input`] with what is missing or wrong there.
pub(super) fn prepare(folder: &Path) -> Result<(), Failure> {
    let site = load_site(folder)?;
    let stages = season(&site, pump(&site)?, None)
        .and_then(|season| bed::depths(&site, &season.chosen().demand));
    let soils = site.soils.iter().map(|soil| known(&site, soil).map(|_| ()));
    all_or_every_complaint(std::iter::once(stages).chain(soils))?;
    Ok(())
}

/// Share of the available water that the crop lets be used up before refill, in the last
/// stage with the deepest roots; `None` where site.toml has no `[controller]`.
pub(super) fn allowed_depletion(site: &Site) -> Result<Option<f64>, Failure> {
    let Some(pump) = &site.controller else {
        return Ok(None);
    };
    let demand = season(site, pump, None)?.chosen().demand;
    Ok(Some(demand.allowed_depletion.value()))
}

/// The stage of growth that set points go by, in words; `None` where site.toml
/// has no stages.
pub(super) fn stage_gone_by(site: &Site, wanted: Option<&str>) -> Result<Option<String>, Failure> {
    Ok(season(site, pump(site)?, wanted)?.choice())
}

/// The set points of one calibration at a site, for the stage named or else the
/// last with the deepest roots.
pub(super) fn for_calibration(
    site: &Site,
    path: &Path,
    file: &CalibrationFile,
    stage: Option<&str>,
) -> Result<SetPoints, Failure> {
    Ok(grounded(site, path, file, stage)?.1)
}

/// The set points of one calibration, and the ground they were placed on.
fn grounded<'a>(
    site: &'a Site,
    path: &'a Path,
    file: &'a CalibrationFile,
    stage: Option<&str>,
) -> Result<(Ground<'a>, SetPoints), Failure> {
    let pump = pump(site)?;
    let season = season(site, pump, stage)?;
    let ground = Ground::of(site, pump, path, file)?;
    let points = ground.points(season.chosen())?.set_points;
    Ok((ground, points))
}

/// [`for_calibration`], where the calibration is fit for use.
///
/// # Errors
/// As there, and [`Failure::Unfit`].
pub(super) fn for_use(
    site: &Site,
    path: &Path,
    file: &CalibrationFile,
    stage: Option<&str>,
) -> Result<SetPoints, Failure> {
    let (ground, points) = grounded(site, path, file, stage)?;
    let expanded = ground.reading_expanded(&points)?;
    let available = ground.soil.water.available().value;
    if !report::is_fit(expanded, &ground.soil.water) {
        return Err(Failure::Unfit(Box::new(Complaint::about(
            path,
            format!(
                "probe {} is judged not fit for use: one reading at refill is sure to +- {expanded:.3} m3/m3 only, and the soil holds {available:.3} m3/m3 for the crop",
                file.calibration.probe
            ),
            "look at the budget `ovendry fit` prints, mend the record or take more cores; nothing was written",
        ))));
    }
    Ok(points)
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
                meant::choose(id, known.iter().map(String::as_str)),
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
        distribution_uniformity: pump.distribution_uniformity,
        infiltration_mm_per_h: pump.infiltration_mm_per_h,
        minimum_on_s: pump.minimum_on_s,
        maximum_on_s: pump.maximum_on_s,
        minimum_off_s: pump.minimum_off_s,
    }
}

/// How the controller reads a probe over a day.
fn day_of(pump: &Controller, probe: Option<&Probe>) -> DayOfReadings {
    DayOfReadings {
        read_every_s: pump.read_every_s,
        false_start_probability: pump.false_start_probability,
        temperature_swing_c: pump.daily_temperature_swing_c,
        drift_counts: probe.map_or(0.0, |probe| probe.drift_counts),
        counts_per_c: probe.and_then(|probe| probe.counts_per_c),
        wetting_per_s: None,
    }
}

/// The set points of every calibration and bed, or every reason why one has none.
fn answer(
    site: &Site,
    pump: &Controller,
    season: &Season,
    calibrations: &[(PathBuf, CalibrationFile)],
    with_beds: bool,
) -> Result<Answer, Failure> {
    let supply = supply(pump);
    let grounds = all_or_every_complaint(
        calibrations
            .iter()
            .map(|(path, file)| Ground::of(site, pump, path, file)),
    )?;
    let progress = Progress::new("drawing how likely each bed is too dry", grounds.len());
    let reports = all_or_every_complaint(
        progress.along(grounds.iter().map(|ground| one(ground, &supply, season))),
    )?;
    drop(progress);
    let beds = if with_beds {
        all_or_every_complaint(
            site.beds
                .iter()
                .map(|bed| BedReport::new(site, bed, &grounds, season.chosen(), &supply)),
        )?
    } else {
        Vec::new()
    };
    let crop_source = if season.uses_table() {
        let source = publication(PublicationKey::Fao56Table22);
        Some(source.map_err(|error| Failure::Internal(error.to_string()))?)
    } else {
        None
    };
    let mut warnings: Vec<Warning> = reports.iter().flat_map(SetPointReport::warnings).collect();
    warnings.extend(beds.iter().flat_map(BedReport::warnings));
    warnings.extend(ponding_warning(
        reports.iter().map(|report| &report.application),
        &supply,
    ));
    Ok(Answer {
        format: "ovendry setpoints",
        version: 1,
        verdict: Verdict::good_if(reports.iter().all(SetPointReport::is_fit)),
        stage: season.chosen().stage.clone(),
        stage_choice: season.choice(),
        warnings,
        setpoints: reports,
        beds,
        crop_source,
        cautions: [caution::PUMP, &[caution::LOCAL_RULES]].concat(),
    })
}

/// A calibration with all that its set points rest on but the crop.
struct Ground<'a> {
    site: &'a Site,
    path: &'a Path,
    calibration: &'a Calibration,
    soil: SoilEvidence,
    supply: Supply,
    day: DayOfReadings,
}

impl<'a> Ground<'a> {
    fn of(
        site: &'a Site,
        pump: &Controller,
        path: &'a Path,
        file: &'a CalibrationFile,
    ) -> Result<Self, Failure> {
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
        let (_, soil) = known(site, soil)?;
        let probe = site.probe(&calibration.probe);
        Ok(Self {
            site,
            path,
            calibration,
            soil,
            supply: supply(pump),
            day: day_of(pump, probe),
        })
    }

    fn points(&self, asked: &Asked) -> Result<SetPointEvidence, Failure> {
        self.points_for(&asked.demand)
            .map_err(|error| self.placed(&error))
    }

    fn points_for(&self, demand: &Demand) -> Result<SetPointEvidence, IrrigationError> {
        let day = self.day_in(demand);
        set_points(&self.soil.water, demand, self.calibration, &day)
    }

    /// How the probe is read while the pump wets this root zone.
    fn day_in(&self, demand: &Demand) -> DayOfReadings {
        DayOfReadings {
            wetting_per_s: Some(self.supply.wetting_per_s(demand.root_depth)),
            ..self.day
        }
    }

    /// The folder whose log may give the field capacity: where there is a log, and
    /// it was not measured.
    fn log_to_read(&self) -> Option<PathBuf> {
        let folder = folder_of(&self.site.file);
        let wanted = self.soil.field_capacity_basis != Basis::Measured;
        (wanted && folder.join(LOG).is_file()).then(|| folder.to_owned())
    }

    /// A complaint stands where it is mended.
    fn placed(&self, error: &IrrigationError) -> Failure {
        let place = match error {
            IrrigationError::NoRootZone
            | IrrigationError::NoEfficiency
            | IrrigationError::Implausible(_) => &self.site.file,
            _ => self.path,
        };
        Complaint::about(
            place,
            format!("probe {}: {error}", self.calibration.probe),
            error.mend(),
        )
        .into()
    }

    /// Expanded uncertainty of one reading at refill, m3/m3.
    fn reading_expanded(&self, points: &SetPoints) -> Result<f64, Failure> {
        let reference = self.calibration.temperature.map(|term| term.reference);
        let reading = self
            .calibration
            .predict(points.refill_count, reference)
            .map_err(|error| Failure::Internal(error.to_string()))?;
        Ok(reading.expanded.expanded)
    }

    /// What is left in the soil where the controller reads `count`, at the
    /// reference temperature.
    fn water_at(&self, count: f64, asked: &Asked) -> Result<PointWater, Failure> {
        let reference = self.calibration.temperature.map(|term| term.reference);
        let reading = self
            .calibration
            .predict(count, reference)
            .map_err(|error| Failure::Internal(error.to_string()))?;
        let theta_v = f64::from(reading.theta_v);
        Ok(PointWater {
            left: WaterLeft::at(
                Estimate::new(theta_v, reading.expanded.standard),
                &self.soil.water,
                asked.demand.root_depth,
            ),
            suction: self.soil.suction_at(theta_v),
        })
    }
}

fn one(ground: &Ground<'_>, supply: &Supply, season: &Season) -> Result<SetPointReport, Failure> {
    let calibration = ground.calibration;
    let asked = season.chosen();
    let evidence = ground.points(asked)?;
    let reading_expanded = ground.reading_expanded(&evidence.set_points)?;
    let (driest, driest_count) = calibration.driest();
    let application =
        apply(evidence.set_points.net_depth, supply).map_err(|error| ground.placed(&error))?;
    let water = &ground.soil.water;
    let available = available_water(
        water.field_capacity.value,
        water.wilting_point.value,
        asked.demand.root_depth,
        asked.demand.allowed_depletion,
    )
    .map_err(|error| ground.placed(&error))?;
    let risk = risk::reckon(
        calibration,
        water,
        &evidence.set_points,
        ground.log_to_read(),
    )
    .map_err(|e| ground.placed(&e))?;
    Ok(SetPointReport {
        available,
        probe: calibration.probe.clone(),
        soil: calibration.soil.clone(),
        direction: calibration.direction,
        soil_water: ground.soil.water,
        field_capacity_basis: ground.soil.field_capacity_basis,
        wilting_point_basis: ground.soil.wilting_point_basis,
        reading_expanded,
        driest,
        driest_count,
        refill_standard_uncertainty: evidence.refill_budget.standard(),
        stop_standard_uncertainty: evidence.stop_budget.standard(),
        refill_expanded_uncertainty: report::expand(&evidence.refill_budget),
        stop_expanded_uncertainty: report::expand(&evidence.stop_budget),
        refill_water: ground.water_at(evidence.set_points.refill_count, asked)?,
        stop_water: ground.water_at(evidence.set_points.stop_count, asked)?,
        stages: stages::rows(ground, supply, season),
        evidence,
        depletion_from: asked.depletion_from.clone(),
        root_depth_from: asked.root_depth_from.clone(),
        read_every_s: ground.day.read_every_s,
        supply: *supply,
        application,
        risk,
    })
}
