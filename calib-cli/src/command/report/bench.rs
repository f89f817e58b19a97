//! Everything there is to tell of a workbench, as the other commands reckon it.

use crate::calibration_file::CalibrationFile;
use crate::command::batch::on_page::{self as batch, ShownSoil};
use crate::command::fit::on_page::{self, ShownProbe};
use crate::command::replay::{self, ProbeReport as ProbeReplay};
use crate::command::setpoints::{self, SetPointReport};
use crate::command::soil::{SoilReport, known};
use crate::drift_file::DriftFile;
use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::fitted::Refused;
use crate::plot::{self, OnPage, RetentionChart};
use crate::table;
use crate::table::names::{LOG, WEATHER};
use crate::workbench::{SourceFile, Workbench};
use calib_core::drift::Standing;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Probes in one soil from which they are compared unasked.
const FEWEST_PROBES: usize = 3;

/// A probe with all that is known of it.
pub struct Probe {
    /// Its fit.
    pub fit: ShownProbe,
    /// Its set points, where they can be placed.
    pub points: Option<SetPointReport>,
    /// Its seasons, with their chart.
    pub seasons: Option<(ProbeReplay, OnPage)>,
    /// What `drift` found of its saved calibration, where that no longer holds.
    pub drifted: Option<DriftFile>,
}

impl Probe {
    /// Its identifier.
    pub fn id(&self) -> &str {
        &self.fit.file.calibration.probe
    }

    /// Its soil's identifier.
    pub fn soil(&self) -> &str {
        &self.fit.file.calibration.soil
    }
}

/// A soil with its chart.
pub struct Soil {
    /// What sources say.
    pub report: SoilReport,
    /// Its retention curves.
    pub retention: OnPage,
}

/// Everything there is to tell.
pub struct Bench {
    /// The site's name.
    pub site: String,
    /// Probes with a calibration.
    pub probes: Vec<Probe>,
    /// Probes without.
    pub refused: Vec<Refused>,
    /// By identifier.
    pub soils: BTreeMap<String, Soil>,
    /// Root zones with several probes, as `setpoints` tells them.
    pub beds: Vec<String>,
    /// Readings in the workbench.
    pub readings: usize,
    /// The stage of growth gone by, in words.
    pub stage: Option<String>,
    /// Whether site.toml says what the pump waters.
    pub has_pump: bool,
    /// Why no set points could be placed although it does.
    pub no_points: Vec<Complaint>,
    /// Many probes side by side, where there are many.
    pub batch: Vec<ShownSoil>,
    /// What simulated seasons cannot tell.
    pub caveats: Vec<&'static str>,
    /// Where the crop's figures come from.
    pub crop: Option<&'static calib_core::reference::Publication>,
    /// What was noticed, each thing once.
    pub warnings: Vec<Warning>,
    /// What was read.
    pub sources: Vec<SourceFile>,
}

impl Bench {
    /// Reads a workbench and has everything reckoned; `saved` is the folder of saved
    /// calibrations, which need not be there, `batch` where probes to compare are, if not
    /// in the workbench.
    ///
    /// # Errors
    /// As `fit`; set points that cannot be placed are no error here, but told.
    pub fn read(folder: &Path, saved: &Path, batch: Option<&Path>) -> Result<Self, Failure> {
        let workbench = table::load(folder)?;
        let (kept, unread) = saved_in(saved)?;
        let shown = on_page::fit(&workbench, &kept)?;
        let mut warnings = on_page::otherwise_saved(&shown.probes, &kept, saved);
        warnings.extend(unread);
        warnings.extend(shown.warnings);
        let files: Vec<(PathBuf, CalibrationFile)> = shown
            .probes
            .iter()
            .map(|probe| (saved.join(probe.file.file_name()), probe.file.clone()))
            .collect();
        let mut bench = Self {
            site: workbench.site.name.clone(),
            probes: Vec::new(),
            refused: shown.refused,
            soils: soils(&workbench)?,
            beds: Vec::new(),
            readings: workbench.readings.len(),
            stage: None,
            has_pump: workbench.site.controller.is_some(),
            no_points: Vec::new(),
            batch: Vec::new(),
            caveats: Vec::new(),
            crop: None,
            warnings,
            sources: workbench.sources.clone(),
        };
        let (mut points, mut seasons) = (BTreeMap::new(), BTreeMap::new());
        if bench.has_pump && !files.is_empty() {
            bench.set_points(&workbench, &files, &mut points)?;
        }
        if !points.is_empty() {
            bench.replay(&workbench, &files, &mut seasons)?;
        }
        bench.compare(&workbench, batch)?;
        bench.sources.extend(saved_files(saved));
        for fit in shown.probes {
            let id = &fit.file.calibration.probe;
            let checked = DriftFile::of(&saved.join(fit.file.file_name()));
            let drifted = checked.filter(|file| file.standing == Standing::NoLongerHolds);
            bench.warnings.extend(drifted.as_ref().map(no_longer_holds));
            bench.probes.push(Probe {
                drifted,
                points: points.remove(id),
                seasons: seasons.remove(id),
                fit,
            });
        }
        let mut told: Vec<Warning> = Vec::new();
        for warning in std::mem::take(&mut bench.warnings) {
            if !told.contains(&warning) {
                told.push(warning);
            }
        }
        bench.warnings = told;
        Ok(bench)
    }

    fn set_points(
        &mut self,
        workbench: &Workbench,
        files: &[(PathBuf, CalibrationFile)],
        points: &mut BTreeMap<String, SetPointReport>,
    ) -> Result<(), Failure> {
        match setpoints::of_calibrations(&workbench.site, files) {
            Ok(answer) => {
                self.stage = answer.stage_choice;
                self.crop = answer.crop_source;
                self.beds = answer.beds.iter().map(ToString::to_string).collect();
                self.warnings.extend(answer.warnings);
                let by_probe = answer.setpoints.into_iter();
                points.extend(by_probe.map(|report| (report.probe.clone(), report)));
                Ok(())
            }
            Err(Failure::Input(complaints)) => {
                self.no_points = complaints;
                Ok(())
            }
            Err(failure) => Err(failure),
        }
    }

    fn replay(
        &mut self,
        workbench: &Workbench,
        files: &[(PathBuf, CalibrationFile)],
        seasons: &mut BTreeMap<String, (ProbeReplay, OnPage)>,
    ) -> Result<(), Failure> {
        // The seasons are of these, if they are there.
        let files_of_season = [WEATHER, LOG].into_iter();
        let there = files_of_season.filter_map(|name| SourceFile::of(&workbench.folder, name));
        self.sources.extend(there);
        let told = replay::of_calibrations(&workbench.folder, &workbench.site, files);
        let (answer, charts) = match told {
            // A log or a threshold that cannot be used does not take the page away.
            Err(Failure::Input(complaints)) => {
                self.warnings.extend(complaints.iter().map(no_replay));
                return Ok(());
            }
            other => other?,
        };
        // The page shows the simulated seasons, not the log.
        let of_log = replay::OPEN_LOOP;
        let caveats = answer.caveats.into_iter();
        self.caveats = caveats.filter(|caveat| *caveat != of_log).collect();
        self.warnings.extend(answer.warnings);
        for (report, (probe, chart)) in answer.probes.into_iter().zip(&charts) {
            seasons.insert(probe.clone(), (report, plot::on_page(chart)?));
        }
        Ok(())
    }

    /// Compares the probes `asked` for, or those of the workbench where a soil has enough.
    fn compare(&mut self, workbench: &Workbench, asked: Option<&Path>) -> Result<(), Failure> {
        let many = workbench.site.soils.iter().any(|soil| {
            let probes = workbench.site.probes.iter();
            probes.filter(|probe| probe.soil == soil.id).count() >= FEWEST_PROBES
        });
        let shown = match (asked, many) {
            (Some(place), _) => batch::batch(place)?,
            (None, true) => match batch::batch(&workbench.folder) {
                // Not asked for, so what speaks against it is no fault.
                Err(Failure::Input(_)) => return Ok(()),
                shown => shown?,
            },
            (None, false) => return Ok(()),
        };
        self.batch = shown.soils;
        self.warnings.extend(shown.warnings);
        for source in shown.sources {
            if !self.sources.contains(&source) {
                self.sources.push(source);
            }
        }
        Ok(())
    }

    /// Whether this probe may steer a pump: it has set points, tells a full soil from a
    /// spent one, and no later cores speak against its calibration.
    pub fn is_ready(&self, probe: &Probe) -> bool {
        probe.drifted.is_none() && probe.points.as_ref().is_some_and(SetPointReport::is_fit)
    }

    /// Good if every probe may steer a pump; where no pump is stated, if every probe
    /// is calibrated.
    pub fn verdict(&self) -> Verdict {
        let calibrated = self.refused.is_empty() && !self.probes.is_empty();
        let ready = !self.has_pump || self.probes.iter().all(|probe| self.is_ready(probe));
        if calibrated && ready {
            Verdict::Good
        } else {
            Verdict::Unfit
        }
    }
}

/// Name and SHA-256 of every calibration saved in a folder: they say which curve was
/// asked for.
fn saved_files(folder: &Path) -> Vec<SourceFile> {
    let files = CalibrationFile::in_folder(folder).into_iter();
    files
        .flat_map(|path| [DriftFile::place(&path), path])
        .filter_map(|path| {
            let name = path.file_name()?.to_string_lossy().into_owned();
            SourceFile::of(folder, &name)
        })
        .collect()
}

/// That later cores speak against a calibration.
fn no_longer_holds(found: &DriftFile) -> Warning {
    Warning {
        place: found.probe.clone(),
        what: format!(
            "the calibration no longer holds, by {} later cores up to {}",
            found.checks_count, found.last_check
        ),
        why: "the pump would start and stop at the wrong wetness".to_owned(),
        advice: "take fresh cores from dry to wet and calibrate anew; `ovendry drift` shows what it found"
            .to_owned(),
    }
}

/// The calibrations saved in a folder, none where nothing was saved yet; and a warning
/// where one cannot be read, for then the cores alone decide what is shown.
fn saved_in(folder: &Path) -> Result<(Vec<CalibrationFile>, Vec<Warning>), Failure> {
    match CalibrationFile::load_all(folder) {
        Ok(all) => Ok((all.into_iter().map(|(_, file)| file).collect(), Vec::new())),
        Err(Failure::Input(complaints)) => {
            // What is said of the folder itself is that it holds none.
            let of_files = complaints.iter().filter(|one| one.file != folder);
            let unread = of_files.map(|complaint| Warning {
                place: complaint.file.display().to_string(),
                what: complaint.what.clone(),
                why: "whether it is the calibration shown here is not known".to_owned(),
                advice: complaint.mend.clone(),
            });
            Ok((Vec::new(), unread.collect()))
        }
        Err(failure) => Err(failure),
    }
}

fn no_replay(complaint: &Complaint) -> Warning {
    Warning {
        place: complaint.file.display().to_string(),
        what: complaint.what.clone(),
        why: "no seasons are shown".to_owned(),
        advice: complaint.mend.clone(),
    }
}

fn soils(workbench: &Workbench) -> Result<BTreeMap<String, Soil>, Failure> {
    let mut soils = BTreeMap::new();
    for soil in &workbench.site.soils {
        // A soil of which too little is known has no figures; set points complain.
        let Ok((_, found)) = known(&workbench.site, soil) else {
            continue;
        };
        let told = Soil {
            report: SoilReport::new(Some(&soil.id), &found)?,
            retention: plot::on_page(&RetentionChart::new(&soil.id, &found))?,
        };
        soils.insert(soil.id.clone(), told);
    }
    Ok(soils)
}
