//! The verdict on a calibration, saved beside it for `status` and the report.

use super::report::ProbeReport;
use crate::drift_file::{DriftFile, FORMAT, VERSION, stamp};
use crate::failure::{Failure, Warning};
use crate::output::OutputSet;
use crate::workbench::SourceFile;
use calib_core::drift::Standing;
use std::path::{Path, PathBuf};

/// What is saved of the probe whose calibration lies at `calibration`, and where; `None`
/// where there are too few checks to judge it: an earlier verdict then stands.
pub(super) fn verdict(
    calibration: &Path,
    report: &ProbeReport,
    sources: &[SourceFile],
) -> Option<(PathBuf, DriftFile)> {
    if report.standing == Standing::TooFewChecks {
        return None;
    }
    let file = DriftFile {
        format: FORMAT.to_owned(),
        version: VERSION,
        program: format!("ovendry {}", env!("CARGO_PKG_VERSION")),
        probe: report.probe.clone(),
        soil: report.soil.clone(),
        standing: report.standing,
        allow: report.allow,
        checks_count: report.checks.len(),
        last_check: report.checks.last()?.date.clone(),
        next_check: report.schedule.next_check.clone(),
        calibration: stamp(calibration)?,
        sources: sources.to_vec(),
    };
    Some((DriftFile::place(calibration), file))
}

/// Saves a verdict in place of an earlier one. A folder that takes no file is no reason
/// to keep back the answer: then there is a warning.
///
/// # Errors
/// [`Failure::Internal`] if it cannot be written as JSON.
pub(super) fn save(path: &Path, verdict: &DriftFile) -> Result<Result<(), Warning>, Failure> {
    let text = verdict
        .render()
        .map_err(|error| Failure::Internal(format!("cannot write the verdict: {error}")))?;
    let mut outputs = OutputSet::default();
    outputs.add(path, text);
    Ok(outputs.write(true).map(|_| ()).map_err(|failure| Warning {
        place: path.display().to_string(),
        what: format!(
            "the verdict on probe {} was not saved: {failure}",
            verdict.probe
        ),
        why: "`ovendry status` would go on as if it had not been checked".to_owned(),
        advice: "see that the folder may be written to and has room, and run it again".to_owned(),
    }))
}

/// Where the verdicts lie, if any were saved.
pub(super) fn line(saved: &[PathBuf]) -> String {
    if saved.is_empty() {
        return String::new();
    }
    let files: String = saved
        .iter()
        .map(|path| format!("  {}\n", path.display()))
        .collect();
    format!("Saved; `ovendry status` goes by it until that probe is calibrated anew:\n{files}\n")
}
