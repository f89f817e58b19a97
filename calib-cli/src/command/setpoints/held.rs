//! Controller files that hold other set points than those of the workbench now.

use super::report::SetPointReport;
use crate::command::fit::out_folder;
use crate::failure::Warning;
use calib_cli::controller::{FORMATS, load};
use calib_core::irrigation::SetPoints;
use std::fs;
use std::path::Path;

/// Counts at refill and at stop.
type Counts = (f64, f64);

fn counts(set: &SetPoints) -> Counts {
    (set.refill_count, set.stop_count)
}

/// A warning for each probe with a controller file in the folder of calibrations
/// that holds other counts. A file that cannot be read is left to `ovendry verify`.
pub(super) fn warnings(
    reports: &[SetPointReport],
    folder: &Path,
    out: Option<&Path>,
    stage: Option<&str>,
) -> Vec<Warning> {
    let lies_in = out_folder(folder, out);
    let again = export(folder, out, stage);
    let one = |report: &SetPointReport| {
        let set = &report.evidence.set_points;
        let other: Vec<(String, Counts)> = FORMATS
            .into_iter()
            .filter_map(|format| {
                let name = format.file_name(&report.probe);
                let bytes = fs::read(lies_in.join(&name)).ok()?;
                let points = load(format, &bytes).ok()?.record().set_points;
                Some((name, (points.refill_count.into(), points.stop_count.into())))
            })
            .filter(|(_, held)| *held != counts(set))
            .collect();
        // Files of one probe that differ from each other are told by `verify`.
        let (_, held) = other.first()?;
        let names: Vec<&str> = other
            .iter()
            .filter(|(_, one)| one == held)
            .map(|(name, _)| name.as_str())
            .collect();
        let (refill, stop) = held;
        let other_stage = report.stages.iter().find(|row| {
            row.set_points
                .as_ref()
                .is_some_and(|set| counts(set) == *held)
        });
        Some(Warning {
            place: report.probe.clone(),
            what: format!(
                "the controller {} {refill}/{stop}{}, and refill/stop are {}/{} now",
                match names.as_slice() {
                    [one] => format!("file {one} still holds"),
                    more => format!("files {} still hold", more.join(", ")),
                },
                other_stage.map_or_else(String::new, |row| format!(
                    ", those of stage {}",
                    row.span.name
                )),
                set.refill_count,
                set.stop_count
            ),
            why: "the controller switches at what its file holds, whatever is printed here"
                .to_owned(),
            advice: match other_stage {
                None => format!("run `{again}` (and load it again)"),
                Some(row) => format!(
                    "while the crop is in stage {}, leave it; otherwise run `{again}` (and load it again)",
                    row.span.name
                ),
            },
        })
    };
    reports.iter().filter_map(one).collect()
}

/// The command that writes the files anew.
fn export(folder: &Path, out: Option<&Path>, stage: Option<&str>) -> String {
    let mut command = format!("ovendry export {}", folder.display());
    if let Some(out) = out {
        command.push_str(&format!(" --out {}", out.display()));
    }
    if let Some(stage) = stage {
        command.push_str(&format!(" --stage \"{stage}\""));
    }
    command + " --force"
}
