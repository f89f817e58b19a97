//! What `drift` found, kept beside the calibration it judged: `OUT/<probe>.drift.json`.
//! It speaks for that calibration only; one made anew has no verdict yet.

use crate::calibration_file::SUFFIX as OF_CALIBRATION;
use crate::workbench::SourceFile;
use calib_core::drift::Standing;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::{Path, PathBuf};

/// What the `format` key says.
pub const FORMAT: &str = "ovendry drift-verdict";
/// The version this program writes and reads.
pub const VERSION: u32 = 1;
/// How the file's name ends.
const SUFFIX: &str = ".drift.json";

/// A saved verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DriftFile {
    /// Always [`FORMAT`].
    pub format: String,
    /// Always [`VERSION`].
    pub version: u32,
    /// Name and version of the program that wrote it.
    pub program: String,
    /// The probe.
    pub probe: String,
    /// Its soil.
    pub soil: String,
    /// What became of the calibration.
    pub standing: Standing,
    /// The error that was allowed, m3/m3.
    #[serde(rename = "allow_theta_v")]
    pub allow: f64,
    /// How many checks counted.
    pub checks_count: usize,
    /// The day of the last of them, `YYYY-MM-DD`.
    pub last_check: String,
    /// The day by which to check again, `YYYY-MM-DD`.
    pub next_check: String,
    /// The calibration that was judged, and its hash.
    pub calibration: SourceFile,
    /// The checks and their hashes.
    pub sources: Vec<SourceFile>,
}

impl DriftFile {
    /// The file's text: indented JSON and a final newline.
    ///
    /// # Errors
    /// If a number cannot be written as JSON.
    pub fn render(&self) -> Result<String, serde_json::Error> {
        Ok(serde_json::to_string_pretty(self)? + "\n")
    }

    /// Where the verdict on the calibration at `calibration` lies.
    pub fn place(calibration: &Path) -> PathBuf {
        let name = file_name(calibration);
        let probe = name.strip_suffix(OF_CALIBRATION).unwrap_or(&name);
        calibration.with_file_name(format!("{probe}{SUFFIX}"))
    }

    /// The verdict on the calibration at `calibration` as it lies there now. `None` where
    /// none was saved, where it is on an earlier calibration, or where it cannot be read.
    pub fn of(calibration: &Path) -> Option<Self> {
        let text = fs::read_to_string(Self::place(calibration)).ok()?;
        let file: Self = serde_json::from_str(&text).ok()?;
        let is_ours = file.format == FORMAT && file.version == VERSION;
        (is_ours && file.calibration == stamp(calibration)?).then_some(file)
    }
}

/// Name and hash of the calibration at `path`; `None` if it cannot be read.
pub fn stamp(path: &Path) -> Option<SourceFile> {
    let folder = path.parent().unwrap_or(Path::new(""));
    SourceFile::of(folder, &file_name(path))
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}
