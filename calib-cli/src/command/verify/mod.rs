//! `ovendry verify FILE...`: are these controller files whole, and do they give
//! the calibration's curve at every code?

mod finding;
mod report;

pub(super) use finding::{Examined, Finding};
use report::ReaderReport;
pub(super) use report::{Answer, FileReport, Live, PumpTimes};

use crate::calibration_file::{CalibrationFile, SUFFIX};
use crate::controller_file::ControllerFile;
use crate::failure::{Complaint, Failure, Verdict};
use crate::output;
use crate::progress::Progress;
use calib_cli::controller::{companions, is_fleet};
use calib_core::controller::{ControllerTable, VERSION};
use jiff::civil::Date;
use std::path::{Path, PathBuf};

/// Check controller files, and compare them with their calibration at every code.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Controller files of any format, or a fleet
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Calibration to compare with [default: PROBE.calibration.json beside the file]
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Judge as of this day whether a file is due to be checked again [default: today]
    #[arg(long, value_name = "YYYY-MM-DD")]
    on: Option<Date>,
    /// Report as JSON
    #[arg(long)]
    json: bool,
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> Result<Verdict, Failure> {
    let given = match &arguments.calibration {
        Some(path) => Some(Against::load(path.clone())?),
        None => None,
    };
    let mut findings = Vec::new();
    let mut complaints = Vec::new();
    let mut readers = Vec::new();
    let progress = Progress::new(
        "comparing each file with its calibration",
        arguments.files.len(),
    );
    for file in progress.along(arguments.files.iter()) {
        if let Some(found) = reader(file) {
            match found {
                Ok(line) => readers.push(line),
                Err(complaint) => complaints.push(complaint),
            }
            continue;
        }
        let examined = match &given {
            Some(against) => examine(file, Some(against)),
            None => examine_with_neighbour(file),
        };
        match examined {
            Ok(found) => findings.extend(found),
            Err(Failure::Input(found)) => complaints.extend(found),
            Err(failure) => return Err(failure),
        }
    }
    drop(progress);
    let findings = Examined(findings);
    let warnings = findings.overdue(arguments.on.unwrap_or_else(today));
    for warning in &warnings {
        eprintln!("{warning}");
    }
    for complaint in &complaints {
        eprintln!("error: {complaint}");
    }
    if arguments.json {
        output::print_json(&Answer::new(&findings, &readers, &complaints, &warnings))?;
    } else {
        let readers = readers.iter().map(ReaderReport::to_string);
        output::print(&[findings.to_string(), readers.collect()].concat())?;
    }
    Ok(if complaints.is_empty() {
        findings.verdict()
    } else {
        Verdict::Faulty
    })
}

/// A calibration to compare with, and where it was read from.
pub(super) struct Against {
    path: PathBuf,
    file: CalibrationFile,
}

impl Against {
    /// Reads a calibration file.
    fn load(path: PathBuf) -> Result<Self, Failure> {
        let file = CalibrationFile::load(&path)?;
        Ok(Self { path, file })
    }

    /// The calibration and where it was read from.
    pub(super) fn file(&self) -> (&Path, &CalibrationFile) {
        (&self.path, &self.file)
    }

    /// A calibration already read.
    pub(super) fn new(path: PathBuf, file: CalibrationFile) -> Self {
        Self { path, file }
    }
}

/// Reads and checks a file and compares each table with the calibration beside it,
/// if one of its probe lies there.
fn examine_with_neighbour(file: &Path) -> Result<Vec<Finding>, Failure> {
    let read = ControllerFile::read(file)?;
    let beside = |table: &ControllerTable| {
        let beside = file.with_file_name(format!("{}{SUFFIX}", table.record().probe));
        beside.is_file().then(|| Against::load(beside)).transpose()
    };
    read.tables
        .iter()
        .map(|table| {
            let against = beside(table)?;
            compared(file, &read, table, against.as_ref())
        })
        .collect()
}

/// Reads and checks a file and compares its tables with `against`.
///
/// # Errors
/// [`Failure::Input`] if the file is damaged, no controller file, or of another
/// probe or soil than the calibration; of a fleet, if none is of that probe.
pub(super) fn examine(file: &Path, against: Option<&Against>) -> Result<Vec<Finding>, Failure> {
    let read = ControllerFile::read(file)?;
    let of_probe = |table: &&ControllerTable| {
        against.is_none_or(|against| table.record().probe == against.file.calibration.probe)
    };
    let chosen: Vec<&ControllerTable> = if is_fleet(file) {
        read.tables.iter().filter(of_probe).collect()
    } else {
        read.tables.iter().collect()
    };
    if let (true, Some(against)) = (chosen.is_empty(), against) {
        return Err(Complaint::about(
            file,
            format!(
                "holds no table of probe {}, whose calibration {} is",
                against.file.calibration.probe,
                against.path.display()
            ),
            "give the calibration of a probe of this fleet",
        )
        .into());
    }
    chosen
        .into_iter()
        .map(|table| compared(file, &read, table, against))
        .collect()
}

/// One table of a file, compared with `against`.
fn compared(
    file: &Path,
    read: &ControllerFile,
    table: &ControllerTable,
    against: Option<&Against>,
) -> Result<Finding, Failure> {
    let against = match against {
        None => None,
        Some(against) => {
            same_probe_and_soil(file, table, against)?;
            let comparison = table.compare(&against.file.calibration);
            Some((against.path.clone(), comparison))
        }
    };
    Ok(Finding::new(file, read, table, against))
}

/// Where the file is the reader that C headers include: whether it is the one this
/// program writes.
fn reader(file: &Path) -> Option<Result<ReaderReport, Complaint>> {
    let companion =
        companions().find(|companion| file.file_name() == Some(companion.file_name.as_ref()))?;
    let same = std::fs::read(file).is_ok_and(|bytes| bytes == companion.text.as_bytes());
    Some(if same {
        Ok(ReaderReport {
            file: file.to_owned(),
            version: VERSION,
        })
    } else {
        Err(Complaint::about(
            file,
            "is not the reader this program writes: it was changed, damaged or is of another version",
            "do not build it in; run `ovendry export` to write it again",
        ))
    })
}

fn same_probe_and_soil(
    file: &Path,
    table: &ControllerTable,
    against: &Against,
) -> Result<(), Failure> {
    let (record, calibration) = (table.record(), &against.file.calibration);
    if record.probe == calibration.probe && record.soil == calibration.soil {
        return Ok(());
    }
    Err(Complaint::about(
        file,
        format!(
            "is for probe {} in soil {}, but {} holds probe {} in soil {}",
            record.probe,
            record.soil,
            against.path.display(),
            calibration.probe,
            calibration.soil
        ),
        "give the calibration of the same probe and soil with --calibration",
    )
    .into())
}

/// The day it is, UTC as all dates of the files are.
pub(super) fn today() -> Date {
    jiff::tz::Offset::UTC
        .to_datetime(jiff::Timestamp::now())
        .date()
}
