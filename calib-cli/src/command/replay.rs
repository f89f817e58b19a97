//! `ovendry replay`: what one threshold does to the pump and what refill and stop do
//! instead, on the log as it was and on simulated seasons.

mod log;
mod report;
mod season;

use super::fit::{SEED, out_folder};
use super::setpoints;
use super::soil::{command_line, known, soil_of};
use crate::calibration_file::CalibrationFile;
use crate::caution;
use crate::failure::{Complaint, Failure, Verdict, Warning, all_or_every_complaint};
use crate::output::{OutputSet, print, print_json};
use crate::plot::SeasonChart;
use crate::progress::Progress;
use crate::table::names::{LOG, WEATHER};
use crate::table::weather::Weather;
use crate::table::{load_site, shown_path, weather};
use crate::workbench::{Controller, Probe, Site};
use calib_core::calibration::Calibration;
use calib_core::irrigation::{PumpTimes, Rule, Sees, SetPoints, Side, SwitchPoints};
use calib_core::quantity::{Quantity, Vwc};
use calib_core::soil::SoilWater;
use clap::Args;
use report::Limits;
pub(super) use report::{Answer, OPEN_LOOP, ProbeReport, round, years};
use schemars::JsonSchema;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Seasons simulated unless asked otherwise: their spread is then known to a sixth.
const SEASONS: u32 = 20;
/// Rules set side by side.
const RULES: usize = 3;

/// What to replay.
#[derive(Debug, Args)]
pub struct Replay {
    /// Workbench folder with a site.toml
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// Log of the probes while the pump was run; DIR/log.csv if that is there
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    /// Crop evapotranspiration and rain by day; DIR/weather.csv if that is there
    #[arg(long, value_name = "FILE")]
    weather: Option<PathBuf>,
    /// The one raw count to compare with; threshold_count of site.toml or the refill
    /// count if not given
    #[arg(long, value_name = "COUNT", value_parser = raw_count)]
    threshold: Option<u32>,
    /// Only this probe
    #[arg(long, value_name = "ID")]
    probe: Option<String>,
    /// For this stage of growth; the last with the deepest roots if not given
    #[arg(long, value_name = "NAME")]
    stage: Option<String>,
    /// Folder of the saved calibrations, and for the charts; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Chooses the random numbers; the same seed, the same answer
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    seed: u64,
    /// How many seasons to simulate
    #[arg(long, value_name = "NUMBER", default_value_t = SEASONS,
          value_parser = clap::value_parser!(u32).range(1..=10_000))]
    seasons: u32,
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

/// A raw count as typed.
fn raw_count(text: &str) -> Result<u32, String> {
    text.parse()
        .map_err(|_| "a raw count is a whole number, such as 480".to_owned())
}

/// Runs the command.
pub fn run(command: &Replay) -> Result<Verdict, Failure> {
    let (mut answer, charts) = work(command)?;
    for of_probe in charts {
        let (written, warning) = of_probe.write_or_keep(command.force)?;
        answer.note_written(&written);
        answer.warnings.extend(warning);
    }
    for warning in &answer.warnings {
        eprintln!("{warning}");
    }
    if command.json {
        print_json(&answer)?;
    } else {
        print(&answer.to_string())?;
        print(&caution::take_care(&[caution::PUMP]))?;
    }
    Ok(Verdict::Good)
}

/// Everything the command does but write and print; the charts of each probe are a
/// set.
fn work(command: &Replay) -> Result<(Answer, Vec<OutputSet>), Failure> {
    // What the season needs of the folder is looked at before the calibrations.
    let site = load_site(&command.dir)?;
    let weather = weather_of(command)?;
    setpoints::pump(&site)?;
    let out = out_folder(&command.dir, command.out.as_deref());
    let calibrations = setpoints::calibrations(&setpoints::Setpoints {
        dir: command.dir.clone(),
        out: command.out.clone(),
        probe: command.probe.clone(),
        ..setpoints::Setpoints::default()
    })?;
    let stale = CalibrationFile::stale(
        calibrations
            .iter()
            .map(|(path, file)| (path.as_path(), file)),
        &command.dir,
    );
    let (answer, charts) = reckon(command, &site, weather, &calibrations, stale)?;
    let files = charts
        .iter()
        .map(|(probe, chart)| season::files(probe, chart, &out));
    Ok((answer, files.collect::<Result<_, _>>()?))
}

/// The replay of every calibration of a folder as the report's page shows it, with its
/// charts by probe: as the command does it unasked, and no file.
pub(super) fn of_calibrations(
    folder: &Path,
    site: &Site,
    calibrations: &[(PathBuf, CalibrationFile)],
) -> Result<(Answer, Vec<(String, SeasonChart)>), Failure> {
    let unasked = Replay {
        dir: folder.to_owned(),
        log: None,
        weather: None,
        threshold: None,
        probe: None,
        stage: None,
        out: None,
        seed: SEED,
        seasons: SEASONS,
        no_charts: false,
        force: false,
        json: true,
    };
    reckon(
        &unasked,
        site,
        weather_of(&unasked)?,
        calibrations,
        Vec::new(),
    )
}

/// The replay of each calibration, with its chart by probe.
fn reckon(
    command: &Replay,
    site: &Site,
    (weather, mut warnings): (Option<Weather>, Vec<Warning>),
    calibrations: &[(PathBuf, CalibrationFile)],
    stale: Vec<Warning>,
) -> Result<(Answer, Vec<(String, SeasonChart)>), Failure> {
    let pump = setpoints::pump(site)?;
    // A stage the site does not have is one fault, not one of each probe.
    setpoints::stage_gone_by(site, command.stage.as_deref())?;
    let subjects = all_or_every_complaint(
        calibrations
            .iter()
            .map(|(path, file)| Subject::new(command, site, pump, path, file)),
    )?;
    if let (Some(count), [_, _, ..]) = (command.threshold, &subjects[..]) {
        return Err(command_line(
            "--threshold",
            &count.to_string(),
            "is one raw count, and there are several probes",
            "name its probe with --probe, or write threshold_count under each [[probe]] of site.toml",
        )
        .into());
    }
    let log = given_or_there(command.log.as_deref(), &command.dir, LOG);
    let logged = match &log {
        Some(path) => log::replay(path, &command.dir, &subjects, &mut warnings)?,
        None => Vec::new(),
    };
    warnings.extend(stale);
    let mut charts = Vec::new();
    let mut probes = Vec::new();
    let mut logged = logged.into_iter();
    let progress = Progress::new(
        "simulating seasons",
        subjects.len() * RULES * command.seasons as usize,
    );
    for subject in &subjects {
        let season = season::simulate(subject, pump, weather.as_ref(), command, &|seasons| {
            progress.advance(seasons);
        })?;
        if !command.no_charts {
            let chart = season::chart(subject, &season)?;
            charts.push((subject.calibration.probe.clone(), chart));
        }
        let report = ProbeReport::new(subject, logged.next().flatten(), season.report);
        warnings.extend(report.warnings());
        probes.push(report);
    }
    drop(progress);
    let limits = Limits {
        log: log.is_some(),
        beds: !site.beds.is_empty(),
    };
    Ok((Answer::new(probes, limits, warnings), charts))
}

/// The file asked for; else the one of this name in the workbench, if it is there.
fn given_or_there(given: Option<&Path>, folder: &Path, name: &str) -> Option<PathBuf> {
    match given {
        Some(path) => Some(path.to_owned()),
        None => Some(shown_path(folder, name)).filter(|path| path.is_file()),
    }
}

fn weather_of(command: &Replay) -> Result<(Option<Weather>, Vec<Warning>), Failure> {
    match given_or_there(command.weather.as_deref(), &command.dir, WEATHER) {
        None => Ok((None, Vec::new())),
        Some(path) => weather::load(&path).map(|(weather, warnings)| (Some(weather), warnings)),
    }
}

/// The one count to compare with.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct Threshold {
    /// Raw count, compared as read.
    pub(super) count: f64,
    /// What it means at the reference temperature of the calibration.
    pub(super) theta_v: Vwc,
    /// Where it comes from.
    pub(super) from: &'static str,
    /// Whether a person stated it, so that a pump may have gone by it.
    #[serde(skip)]
    stated: bool,
}

/// A probe with everything its replay rests on.
struct Subject<'a> {
    calibration: &'a Calibration,
    water: SoilWater,
    /// Water content at which the soil is full, with where it comes from.
    saturation: (Vwc, &'static str),
    set_points: SetPoints,
    threshold: Threshold,
    /// Counts by which the probe moves per degree, if stated.
    counts_per_c: Option<f64>,
    /// One threshold, the same with the pump's times, the band.
    sides: [Side; RULES],
}

impl<'a> Subject<'a> {
    fn new(
        command: &Replay,
        site: &Site,
        pump: &Controller,
        path: &Path,
        file: &'a CalibrationFile,
    ) -> Result<Self, Failure> {
        let calibration = &file.calibration;
        let set_points = setpoints::for_calibration(site, path, file, command.stage.as_deref())?;
        let soil = soil_of(site, &calibration.soil)
            .ok_or_else(|| Failure::Internal(format!("soil {} vanished", calibration.soil)))?;
        let (_, evidence) = known(site, soil)?;
        let probe = site.probe(&calibration.probe);
        let threshold = threshold(command, site, probe, calibration, &set_points)?;
        let sides = sides(&set_points, &threshold, pump).map_err(|error| {
            Complaint::about(
                &site.file,
                format!("probe {}: {error}", calibration.probe),
                "mend the pump's times under [controller]",
            )
            .at_line(pump.line)
        })?;
        Ok(Self {
            calibration,
            water: evidence.water,
            saturation: season::saturation(&evidence)?,
            set_points,
            threshold,
            counts_per_c: probe.and_then(|probe| probe.counts_per_c),
            sides,
        })
    }
}

fn threshold(
    command: &Replay,
    site: &Site,
    probe: Option<&Probe>,
    calibration: &Calibration,
    set_points: &SetPoints,
) -> Result<Threshold, Failure> {
    let stated = probe.and_then(|probe| probe.threshold_count);
    let (count, from) = match (command.threshold, stated) {
        (Some(count), _) => (f64::from(count), "--threshold"),
        (None, Some(count)) => (f64::from(count), "threshold_count of site.toml"),
        (None, None) => (set_points.refill_count, "the refill count itself"),
    };
    let domain = calibration.domain;
    let outside = || {
        format!(
            "lies outside the calibrated {:.1} to {:.1}; nobody knows what it means in water",
            domain.low, domain.high
        )
    };
    let mend = "give a count that was calibrated, or take cores as wet or dry as it and fit again";
    if !domain.contains(count) {
        let complaint = match (command.threshold, probe) {
            (None, Some(probe)) => Complaint::about(&site.file, outside(), mend)
                .at_line(probe.line)
                .in_column("threshold_count", count.to_string()),
            _ => command_line("--threshold", &count.to_string(), outside(), mend),
        };
        return Err(complaint.into());
    }
    Ok(Threshold {
        count,
        theta_v: Vwc::new(calibration.curve.value(count))
            .map_err(|error| Failure::Internal(error.to_string()))?,
        from,
        stated: command.threshold.or(stated).is_some(),
    })
}

fn sides(
    set: &SetPoints,
    threshold: &Threshold,
    pump: &Controller,
) -> Result<[Side; RULES], calib_core::irrigation::RuleError> {
    let single = SwitchPoints::Single {
        threshold: threshold.theta_v,
    };
    let band = SwitchPoints::Band {
        refill: set.refill,
        stop: set.stop,
    };
    let times = PumpTimes {
        minimum_on_s: pump.minimum_on_s,
        minimum_off_s: pump.minimum_off_s,
        maximum_on_s: pump.maximum_on_s,
    };
    Ok([
        Side {
            rule: Rule::new(single, PumpTimes::NONE)?,
            sees: Sees::AsRead,
        },
        Side {
            rule: Rule::new(single, times)?,
            sees: Sees::AsRead,
        },
        Side {
            rule: Rule::new(band, times)?,
            sees: Sees::Calibrated,
        },
    ])
}
