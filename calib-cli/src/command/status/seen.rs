//! What is to be seen of a workbench in its folder: looked at, not judged.

use crate::calibration_file::{CalibrationFile, SUFFIX};
use crate::command::fit::out_folder;
use crate::command::setpoints::{self, for_use};
use crate::command::verify::{Against, examine};
use crate::failure::{Complaint, Failure};
use crate::fitted::fit_probe;
use crate::meant::workbenches_near;
use crate::pairing;
use crate::table::names::{COUNTS_WHEN_WETTER, DRY, TARE, WET};
use crate::table::{self, READINGS, SAMPLES, SITE, shown_path};
use crate::workbench::{Site, Workbench};
use calib_cli::controller::FORMATS;
use calib_core::fit::Request;
use jiff::civil::Date;
use std::fs;
use std::path::{Path, PathBuf};

/// Cores beside a probe below which it is worth asking whether they fix a curve.
const FEW_CORES: usize = 12;

/// What a table holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    /// It is missing, or holds a header at most.
    Nothing,
    /// So many rows, sound or not.
    Rows(usize),
}

/// What site.toml says, where nothing in it must be mended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteSeen {
    /// Its name.
    pub name: String,
    /// How many soils.
    pub soils: usize,
    /// How many probes.
    pub probes: usize,
    /// Whether it says what the pump waters.
    pub controller: bool,
}

/// What lies there for a controller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exported {
    /// Not every file.
    Missing,
    /// Files with other numbers than the calibration and set points have.
    Outdated,
    /// Files with these numbers.
    Current,
}

/// A calibrated probe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Probe {
    /// Its id.
    pub id: String,
    /// Which table changed since, in words, if one did.
    pub stale: Option<String>,
    /// The day by which it is to be checked again.
    pub recheck_by: Option<Date>,
    /// Whether set points can be placed that are fit for use.
    pub set_points: bool,
    /// What lies there for a controller.
    pub exported: Exported,
}

/// What was seen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen {
    /// The folder, as the person named it.
    pub folder: PathBuf,
    /// Where results lie.
    pub out: PathBuf,
    /// Whether there is a site.toml.
    pub has_site: bool,
    /// Folders next to this one that hold a workbench, if this one does not.
    pub nearby: Vec<PathBuf>,
    /// site.toml, if nothing in it must be mended.
    pub site: Option<SiteSeen>,
    /// Problems in site.toml.
    pub site_problems: usize,
    /// samples.csv.
    pub cores: Table,
    /// readings.csv.
    pub readings: Table,
    /// Problems in all files.
    pub problems: usize,
    /// How many of them are masses still to be filled in.
    pub blank_masses: usize,
    /// A record sheet, if one was made.
    pub sheet: Option<PathBuf>,
    /// What cores are too few for, where they are.
    pub too_few: Option<String>,
    /// A calibration that cannot be read.
    pub unreadable: Option<PathBuf>,
    /// Probes with a calibration.
    pub calibrated: Vec<Probe>,
    /// Probes with cores and without one.
    pub uncalibrated: Vec<String>,
}

impl Seen {
    /// Looks at `folder`. Writes nothing, and fits only where cores are few.
    ///
    /// # Errors
    /// [`Failure::Internal`] if the program fails; what is wrong in the files is what
    /// was seen.
    pub fn of(folder: &Path, out: Option<&Path>) -> Result<Self, Failure> {
        let out = out_folder(folder, out);
        let mut seen = Self {
            folder: folder.to_owned(),
            has_site: folder.join(SITE).is_file(),
            nearby: Vec::new(),
            site: None,
            site_problems: 0,
            cores: rows(&folder.join(SAMPLES)),
            readings: rows(&folder.join(READINGS)),
            problems: 0,
            blank_masses: 0,
            sheet: None,
            too_few: None,
            unreadable: None,
            calibrated: Vec::new(),
            uncalibrated: Vec::new(),
            out,
        };
        if !seen.has_site {
            seen.nearby = workbenches_near(folder);
            return Ok(seen);
        }
        let site = match table::load_site(folder) {
            Ok(site) => site,
            Err(Failure::Input(complaints)) => {
                seen.site_problems = complaints.len();
                return Ok(seen);
            }
            Err(other) => return Err(other),
        };
        seen.site = Some(SiteSeen {
            name: site.name.clone(),
            soils: site.soils.len(),
            probes: site.probes.len(),
            controller: site.controller.is_some(),
        });
        seen.sheet = record_sheet(folder, &seen.out);
        seen.look_at_tables(&site)?;
        Ok(seen)
    }

    fn look_at_tables(&mut self, site: &Site) -> Result<(), Failure> {
        let files = table::inspect(&self.folder);
        let mut problems = files.complaints;
        let pairs = files.workbench.as_ref().map(pairing::inspect);
        problems.extend(
            pairs
                .iter()
                .flat_map(|pairs| pairs.complaints.iter().cloned()),
        );
        if site.controller.is_some() {
            match setpoints::prepare(&self.folder) {
                Err(Failure::Input(more)) => problems.extend(more),
                Err(other) => return Err(other),
                Ok(()) => {}
            }
        }
        self.problems = problems.len();
        self.blank_masses = problems.iter().filter(|one| is_blank_mass(one)).count();
        let paired = pairs.and_then(|pairs| pairs.paired);
        let (Some(workbench), Some(paired), 0) = (files.workbench, paired, self.problems) else {
            return Ok(());
        };
        self.cores = Table::Rows(workbench.samples.len());
        self.readings = Table::Rows(workbench.readings.len());
        self.look_at_results(&workbench, &paired)
    }

    fn look_at_results(
        &mut self,
        workbench: &Workbench,
        paired: &pairing::Paired,
    ) -> Result<(), Failure> {
        for probe in &paired.probes {
            if probe.observations.len() >= FEW_CORES {
                continue;
            }
            match fit_probe(workbench, probe, Request::default()) {
                Err(Failure::Input(complaints)) => {
                    for one in complaints {
                        if one.column.as_deref() == Some(COUNTS_WHEN_WETTER) {
                            self.problems += 1;
                        } else {
                            self.too_few.get_or_insert(one.what);
                        }
                    }
                }
                Err(other) => return Err(other),
                Ok(_) => {}
            }
        }
        let calibrations = self.calibrations();
        let files = calibrations
            .iter()
            .map(|(path, file)| (path.as_path(), file));
        let stale = CalibrationFile::stale(files, &self.folder);
        for (path, file) in &calibrations {
            let place = path.display().to_string();
            let stale = stale.iter().find(|warning| warning.place == place);
            let points = for_use(&workbench.site, path, file, None).ok();
            let id = &file.calibration.probe;
            let counts = points.map(|set| (set.refill_count, set.stop_count));
            self.calibrated.push(Probe {
                id: id.clone(),
                stale: stale.map(|warning| warning.what.clone()),
                recheck_by: file.recheck_by.parse().ok(),
                set_points: counts.is_some(),
                exported: exported(&self.out, path, file, counts),
            });
        }
        self.uncalibrated = paired
            .probes
            .iter()
            .map(|probe| &probe.probe)
            .filter(|id| self.calibrated.iter().all(|probe| probe.id != **id))
            .cloned()
            .collect();
        Ok(())
    }

    /// The saved calibrations that can be read; names one that cannot.
    fn calibrations(&mut self) -> Vec<(PathBuf, CalibrationFile)> {
        let mut paths: Vec<PathBuf> = entries(&self.out)
            .into_iter()
            .filter(|path| path.to_string_lossy().ends_with(SUFFIX))
            .collect();
        paths.sort();
        let mut read = Vec::new();
        for path in paths {
            match CalibrationFile::load(&path) {
                Ok(file) => read.push((path, file)),
                Err(_) => self.unreadable = Some(path),
            }
        }
        read
    }
}

/// Whether nothing is wrong but that a core is not weighed yet.
fn is_blank_mass(complaint: &Complaint) -> bool {
    let mass = [TARE, WET, DRY].map(Some);
    mass.contains(&complaint.column.as_deref()) && complaint.value.as_deref() == Some("")
}

/// Rows below the header, as lines that are not blank.
fn rows(file: &Path) -> Table {
    let bytes = fs::read(file).unwrap_or_default();
    let lines = bytes
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.trim_ascii().is_empty())
        .count();
    match lines {
        0 | 1 => Table::Nothing,
        more => Table::Rows(more - 1),
    }
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|entry| entry.path()).collect()
}

/// The first record sheet in the places where `plan` puts one.
fn record_sheet(folder: &Path, out: &Path) -> Option<PathBuf> {
    let places = [
        shown_path(folder, "plan"),
        out.to_owned(),
        folder.to_owned(),
    ];
    places.iter().find_map(|place| {
        let mut sheets: Vec<PathBuf> = entries(place)
            .into_iter()
            .filter_map(|path| {
                let name = path.file_name()?.to_str()?.to_owned();
                let sheet = name.starts_with("record-sheet") && name.ends_with(".html");
                sheet.then(|| shown_path(place, &name))
            })
            .collect();
        sheets.sort();
        sheets.into_iter().next()
    })
}

/// What lies in `out` for a controller of the probe whose refill and stop are
/// `counts`.
fn exported(
    out: &Path,
    path: &Path,
    file: &CalibrationFile,
    counts: Option<(f64, f64)>,
) -> Exported {
    let probe = &file.calibration.probe;
    let files = FORMATS.map(|format| out.join(format.file_name(probe)));
    if !files.iter().all(|file| file.is_file()) {
        return Exported::Missing;
    }
    let against = Against::new(path.to_owned(), file.clone());
    let is_current = |file: &PathBuf| {
        examine(file, Some(&against)).is_ok_and(|findings| {
            findings.iter().all(|finding| {
                let held = finding.table().record().set_points;
                let held = (f64::from(held.refill_count), f64::from(held.stop_count));
                finding.is_good() && counts.is_none_or(|counts| counts == held)
            })
        })
    };
    // One of them stands for all: they are written together, and `verify` looks at each.
    if files.first().is_some_and(is_current) {
        Exported::Current
    } else {
        Exported::Outdated
    }
}
