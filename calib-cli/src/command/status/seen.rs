//! What is to be seen of a workbench in its folder: looked at, not judged.

use crate::calibration_file::CalibrationFile;
use crate::command::check::{self, Found};
use crate::command::fit::out_folder;
use crate::command::report::FILE as REPORT;
use crate::command::setpoints::for_use;
use crate::command::verify::{Against, examine};
use crate::drift_file::DriftFile;
use crate::failure::{Complaint, Failure};
use crate::meant::workbenches_near;
use crate::table::{self, LOG, READINGS, SAMPLES, SITE, WEATHER, shown_path};
use crate::workbench::Site;
use calib_cli::controller::FORMATS;
use calib_core::drift::Standing;
use jiff::civil::Date;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

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
    /// Whether it says where readings are heard.
    pub port: bool,
}

/// The report that lies there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// Where.
    pub file: PathBuf,
    /// Whether nothing that it shows was written after it.
    pub is_current: bool,
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
    /// The day by which it is to be checked again: as the last checks leave it, or as
    /// the calibration says.
    pub recheck_by: Option<Date>,
    /// What `drift` found of it, where it was checked.
    pub drift: Option<Standing>,
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
    /// Problems in all files, counted as `check` counts them.
    pub problems: usize,
    /// How many of them are cells of samples.csv still to be filled in.
    pub blank_cells: usize,
    /// In how many of its rows those are.
    pub blank_cores: usize,
    /// How many of the problems say that cores are too few.
    pub too_few_problems: usize,
    /// Warnings that `check` gives.
    pub warnings: usize,
    /// The first of them.
    pub warned_of: Option<String>,
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
    /// The report, if one was made.
    pub report: Option<Page>,
}

impl Seen {
    /// Looks at `folder`, at cores and readings as `check` does. Writes nothing.
    ///
    /// # Errors
    /// [`Failure::Internal`] if the program fails; what is wrong in the files is what
    /// was seen.
    pub fn of(folder: &Path, out: Option<&Path>) -> Result<Self, Failure> {
        Self::with(folder, out, &check::inspect(folder)?)
    }

    /// As [`of`](Self::of), where this was found there already.
    ///
    /// # Errors
    /// As there.
    pub fn with(folder: &Path, out: Option<&Path>, found: &Found) -> Result<Self, Failure> {
        let out = out_folder(folder, out);
        let mut seen = Self {
            folder: folder.to_owned(),
            has_site: folder.join(SITE).is_file(),
            nearby: Vec::new(),
            site: None,
            site_problems: 0,
            cores: rows(&folder.join(SAMPLES)),
            readings: rows(&folder.join(READINGS)),
            problems: counted(&found.problems),
            blank_cells: 0,
            blank_cores: 0,
            too_few_problems: found.too_few.len(),
            warnings: found.warnings.len(),
            warned_of: found
                .warnings
                .first()
                .map(|one| format!("{}: {}", one.place, one.what)),
            sheet: None,
            too_few: found.too_few.first().cloned(),
            unreadable: None,
            calibrated: Vec::new(),
            uncalibrated: Vec::new(),
            report: None,
            out,
        };
        if !seen.has_site {
            seen.nearby = workbenches_near(folder);
            return Ok(seen);
        }
        let site = match table::load_site(folder) {
            Ok(site) => site,
            Err(Failure::Input(complaints)) => {
                seen.site_problems = counted(&complaints);
                return Ok(seen);
            }
            Err(other) => return Err(other),
        };
        seen.site = Some(SiteSeen {
            name: site.name.clone(),
            soils: site.soils.len(),
            probes: site.probes.len(),
            controller: site.controller.is_some(),
            port: site.capture.port.is_some(),
        });
        seen.sheet = record_sheet(folder, &seen.out);
        (seen.blank_cells, seen.blank_cores) = blanks(&found.problems);
        if seen.problems == seen.too_few_problems {
            seen.look_at_results(&site, &found.with_cores);
        }
        Ok(seen)
    }

    fn look_at_results(&mut self, site: &Site, with_cores: &[String]) {
        let calibrations = self.calibrations();
        let files = calibrations
            .iter()
            .map(|(path, file)| (path.as_path(), file));
        let stale = CalibrationFile::stale(files, &self.folder);
        for (path, file) in &calibrations {
            let place = path.display().to_string();
            let stale = stale.iter().find(|warning| warning.place == place);
            let points = for_use(site, path, file, None).ok();
            let id = &file.calibration.probe;
            let checked = DriftFile::of(path);
            let again = checked
                .as_ref()
                .map_or(&file.recheck_by, |checked| &checked.next_check);
            let counts = points.map(|set| (set.refill_count, set.stop_count));
            self.calibrated.push(Probe {
                id: id.clone(),
                stale: stale.map(|warning| warning.what.clone()),
                recheck_by: again.parse().ok(),
                drift: checked.as_ref().map(|checked| checked.standing),
                set_points: counts.is_some(),
                exported: exported(&self.out, path, file, counts),
            });
        }
        self.uncalibrated = with_cores
            .iter()
            .filter(|id| self.calibrated.iter().all(|probe| probe.id != **id))
            .cloned()
            .collect();
        self.report = self.page(&calibrations);
    }

    /// The report, and whether all that it shows is older: tables, calibrations, what
    /// checks found of them, and controller files.
    fn page(&self, calibrations: &[(PathBuf, CalibrationFile)]) -> Option<Page> {
        let file = shown_path(&self.out, REPORT);
        let made = written(&file)?;
        let tables = [SITE, SAMPLES, READINGS, LOG, WEATHER].map(|name| self.folder.join(name));
        let of_probes = calibrations.iter().flat_map(|(path, of)| {
            let probe = &of.calibration.probe;
            FORMATS
                .map(|format| self.out.join(format.file_name(probe)))
                .into_iter()
                .chain([path.clone(), DriftFile::place(path)])
        });
        let is_current = tables
            .into_iter()
            .chain(of_probes)
            .filter_map(|shown| written(&shown))
            .all(|shown| shown <= made);
        Some(Page { file, is_current })
    }

    /// The saved calibrations that can be read; names one that cannot.
    fn calibrations(&mut self) -> Vec<(PathBuf, CalibrationFile)> {
        let mut read = Vec::new();
        for path in CalibrationFile::in_folder(&self.out) {
            match CalibrationFile::load(&path) {
                Ok(file) => read.push((path, file)),
                Err(_) => self.unreadable = Some(path),
            }
        }
        read
    }
}

/// How many problems these are, counted as `check` counts them.
fn counted(complaints: &[Complaint]) -> usize {
    complaints.iter().map(Complaint::stands_for).sum()
}

/// How many cells of samples.csv are still to be filled in, and in how many rows.
/// Further lines go with those of their kind that are shown.
fn blanks(complaints: &[Complaint]) -> (usize, usize) {
    let is_blank = |one: &Complaint| one.value.as_deref() == Some("");
    let of_samples = |one: &&Complaint| one.file.ends_with(SAMPLES) && one.column.is_some();
    let same_kind =
        |one: &Complaint, other: &Complaint| one.column == other.column && one.mend == other.mend;
    let blank: Vec<&Complaint> = complaints
        .iter()
        .filter(of_samples)
        .filter(|one| {
            is_blank(one)
                || !one.further_lines.is_empty()
                    && complaints
                        .iter()
                        .any(|other| is_blank(other) && same_kind(one, other))
        })
        .collect();
    let cells = blank.iter().map(|one| one.stands_for()).sum();
    let rows: BTreeSet<u64> = blank
        .iter()
        .flat_map(|one| {
            one.line
                .into_iter()
                .chain(one.further_lines.iter().copied())
        })
        .collect();
    (cells, rows.len())
}

/// When a file was last written; `None` if there is none.
fn written(file: &Path) -> Option<SystemTime> {
    fs::metadata(file).ok()?.modified().ok()
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
