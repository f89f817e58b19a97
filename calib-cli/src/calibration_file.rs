//! The calibration file: what `fit` saves and every later command reads.
//!
//! `OUT/<probe>.calibration.json`, one for each probe and soil. It holds the
//! curve with its covariance, not a controller's table: that is what `export`
//! makes of it.

use crate::failure::{Complaint, Failure, Warning};
use crate::meant;
use crate::table::SITE;
use crate::workbench::SourceFile;
use calib_core::calibration::Calibration;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What the `format` key says.
pub const FORMAT: &str = "ovendry calibration";
/// The version this program writes and reads.
pub const VERSION: u32 = 1;
/// How the file's name ends.
pub const SUFFIX: &str = ".calibration.json";

/// A saved calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationFile {
    /// Always [`FORMAT`].
    pub format: String,
    /// Always [`VERSION`].
    pub version: u32,
    /// Name and version of the program that wrote it.
    pub program: String,
    /// Date (UTC) of the last reading used, `YYYY-MM-DD`; taken from the data so
    /// that the same input always gives the same file.
    pub calibrated_on: String,
    /// Date by which the calibration should be checked again, `YYYY-MM-DD`.
    pub recheck_by: String,
    /// The input files and their hashes.
    pub sources: Vec<SourceFile>,
    /// Why this curve, in sentences.
    pub explanation: Vec<String>,
    /// The calibration itself.
    pub calibration: Calibration,
}

impl CalibrationFile {
    /// The file's text: indented JSON and a final newline.
    ///
    /// # Errors
    /// [`Failure::Internal`] if a number cannot be written as JSON.
    pub fn render(&self) -> Result<String, Failure> {
        let mut text = serde_json::to_string_pretty(self)
            .map_err(|e| Failure::Internal(format!("cannot write the calibration: {e}")))?;
        text.push('\n');
        Ok(text)
    }

    /// The name it is saved under.
    pub fn file_name(&self) -> String {
        format!("{}{SUFFIX}", self.calibration.probe)
    }

    /// Reads one calibration file.
    ///
    /// # Errors
    /// [`Failure::Input`] if it cannot be read, is not JSON, or is not a
    /// calibration of this version.
    pub fn load(path: &Path) -> Result<Self, Failure> {
        let again = "run `ovendry fit` again to make it anew";
        let text = fs::read_to_string(path).map_err(|e| {
            let mend = meant::mend_if_missing(path, again);
            Complaint::about(path, format!("cannot be read: {e}"), mend)
        })?;
        let file: Self = serde_json::from_str(&text).map_err(|e| {
            Complaint::about(path, format!("is not a calibration file: {e}"), again)
                .at_line(e.line() as u64)
        })?;
        if file.format != FORMAT || file.version != VERSION {
            return Err(Complaint::about(
                path,
                format!(
                    "is version {} of \"{}\"; this program reads version {VERSION} of \"{FORMAT}\"",
                    file.version, file.format
                ),
                again,
            )
            .into());
        }
        Ok(file)
    }

    /// A warning for each of `files` whose cores or readings in `workbench` are no
    /// longer those it was made from. A change of site.toml alone does not count:
    /// set points are meant to follow it. Each table is read once, however many
    /// calibrations were made from it.
    pub fn stale<'f>(
        files: impl IntoIterator<Item = (&'f Path, &'f Self)>,
        workbench: &Path,
    ) -> Vec<Warning> {
        let mut now: BTreeMap<&str, Option<SourceFile>> = BTreeMap::new();
        files
            .into_iter()
            .filter_map(|(path, file)| {
                let mut tables = file.sources.iter().filter(|source| source.name != SITE);
                let changed = tables.find(|source| {
                    let there = now
                        .entry(&source.name)
                        .or_insert_with(|| SourceFile::of(workbench, &source.name));
                    there.as_ref() != Some(*source)
                })?;
                Some(Warning {
                    place: path.display().to_string(),
                    what: format!("{} is no longer the one it was made from", changed.name),
                    why: "set points and controller files would rest on cores or readings that have since changed".to_owned(),
                    advice: "run `ovendry fit` again, with --force".to_owned(),
                })
            })
            .collect()
    }

    /// Every calibration file in `folder`, in order of file name; none where there is
    /// no such folder.
    pub fn in_folder(folder: &Path) -> Vec<PathBuf> {
        let mut paths: Vec<PathBuf> = fs::read_dir(folder)
            .into_iter()
            .flatten()
            .flatten()
            .map(|entry| entry.path())
            .filter(|path| path.to_string_lossy().ends_with(SUFFIX))
            .collect();
        paths.sort();
        paths
    }

    /// Reads every calibration file in `folder`, in order of file name.
    ///
    /// # Errors
    /// As [`load`](Self::load), and if there is none.
    pub fn load_all(folder: &Path) -> Result<Vec<(PathBuf, Self)>, Failure> {
        let paths = Self::in_folder(folder);
        if paths.is_empty() {
            return Err(Complaint::about(
                folder,
                "holds no calibration",
                "run `ovendry fit` first, which saves one calibration for each probe; or name the folder they are in",
            )
            .into());
        }
        paths
            .into_iter()
            .map(|path| Self::load(&path).map(|file| (path, file)))
            .collect()
    }
}
