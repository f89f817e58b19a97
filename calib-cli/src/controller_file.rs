//! A controller file as it lies on disk: of one probe, or of a whole fleet.

use crate::calibration_file::SUFFIX;
use crate::failure::{Complaint, Failure};
use crate::meant;
use calib_cli::controller::{FLEET_FILE, FileError, format_of, is_fleet, load, load_fleet, sha256};
use calib_core::controller::ControllerTable;
use std::fs;
use std::path::Path;

/// What a sound file holds.
pub struct ControllerFile {
    /// What a person calls its format.
    pub format: &'static str,
    /// SHA-256 of the whole file, as other programs give it.
    pub sha256: String,
    /// One table, or those of a fleet.
    pub tables: Vec<ControllerTable>,
}

impl ControllerFile {
    /// Reads a file with every check.
    ///
    /// # Errors
    /// [`Failure::Input`] if it cannot be read, is damaged or no controller file.
    pub fn read(file: &Path) -> Result<Self, Failure> {
        if file.to_string_lossy().ends_with(SUFFIX) {
            return Err(Complaint::about(
                file,
                "is a calibration, not a controller file",
                "to compare a controller file with it, give it with --calibration",
            )
            .into());
        }
        let refused = |error: FileError| {
            let complaint = Complaint::about(file, error.to_string(), error.mend());
            match error.line() {
                Some(line) => complaint.at_line(line),
                None => complaint,
            }
        };
        if is_fleet(file) {
            let bytes = bytes_of(file)?;
            return Ok(Self {
                format: "fleet",
                sha256: sha256(&bytes),
                tables: load_fleet(&bytes).map_err(refused)?,
            });
        }
        let format = format_of(file).ok_or_else(|| no_controller_file(file))?;
        let bytes = bytes_of(file)?;
        Ok(Self {
            format: format.name(),
            sha256: sha256(&bytes),
            tables: vec![load(format, &bytes).map_err(refused)?],
        })
    }
}

fn no_controller_file(file: &Path) -> Complaint {
    let give = "give a file that `ovendry export` wrote: .controller.json, .table.csv, .h, .py, \
                .sql or fleet.json";
    if !file.is_dir() {
        let what = "is no kind of controller file this program knows";
        return Complaint::about(file, what, meant::mend_if_missing(file, give));
    }
    let fleet = [file.to_owned(), file.join("out")]
        .map(|folder| folder.join(FLEET_FILE))
        .into_iter()
        .find(|fleet| fleet.is_file());
    let mend = match fleet {
        Some(fleet) => format!("did you mean {}? If not, {give}", fleet.display()),
        None => give.to_owned(),
    };
    Complaint::about(file, "is a folder, not a controller file", mend)
}

fn bytes_of(file: &Path) -> Result<Vec<u8>, Failure> {
    Ok(fs::read(file).map_err(|error| {
        Complaint::about(
            file,
            format!("cannot be read: {error}"),
            meant::mend_if_missing(
                file,
                "check the file's name, or run `ovendry export` to write it",
            ),
        )
    })?)
}
