//! `[[stage]]`: how deep roots reach as the crop grows.

use super::all_or_refused;
use super::controller::{read_depth, read_evapotranspiration, read_share};
use super::declaration::{Declaration, Key};
use super::document::File;
use crate::findings::{Findings, Refused};
use crate::workbench::GrowthStage;

/// A stage longer than this many days was meant otherwise.
const LONGEST_DAYS: f64 = 730.0;

pub(super) const KEYS: &[Key] = &[
    Key::new("name", "\"development\": what the stage is called"),
    Key::new("days", "30: days it lasts"),
    Key::new("root_depth_mm", "250: root depth in it, mm"),
    Key::new(
        "allowed_depletion",
        "0.3: share of the available water the crop may use up in it",
    ),
    Key::new(
        "evapotranspiration_mm_per_day",
        "5: water the crop uses up in it, mm a day",
    ),
];

/// Reads every stage, in the order of the file.
pub(super) fn read_all(
    file: &File<'_>,
    findings: &mut Findings,
) -> Result<Vec<GrowthStage>, Refused> {
    let tables = file.tables_if_any("stage", "[[stage]]", KEYS, findings)?;
    let mut taken: Vec<(String, u64)> = Vec::new();
    all_or_refused(
        tables
            .iter()
            .map(|table| read(table, &mut taken, findings))
            .collect(),
    )
}

fn read(
    table: &Declaration<'_>,
    taken: &mut Vec<(String, u64)>,
    findings: &mut Findings,
) -> Result<GrowthStage, Refused> {
    let name = table.text("name", findings);
    let name = table.needed("name", name, findings);
    let days = table.number("days", findings);
    let days = match table.needed("days", days, findings) {
        Ok(entry) if entry.value.fract() == 0.0 && (1.0..=LONGEST_DAYS).contains(&entry.value) => {
            Ok(entry.value as u32)
        }
        Ok(entry) => findings.refuse(entry.cell.complaint(
            format!("is not a whole number of days from 1 to {LONGEST_DAYS}"),
            "write how many days the stage lasts, e.g. 30",
        )),
        Err(Refused) => Err(Refused),
    };
    let root_depth = read_depth(table, "root_depth_mm", findings);
    let root_depth = table.needed("root_depth_mm", root_depth, findings);
    let allowed_depletion = read_share(table, "allowed_depletion", findings);
    let evapotranspiration = read_evapotranspiration(table, findings);
    let name = name?;
    let bare = name.value.to_lowercase();
    if let Some((_, line)) = taken.iter().find(|(other, _)| *other == bare) {
        return findings.refuse(name.cell.complaint(
            format!("is taken already in line {line}"),
            "give each stage its own name, in the order they follow one another",
        ));
    }
    taken.push((bare, name.cell.line));
    Ok(GrowthStage {
        name: name.value.to_owned(),
        days: days?,
        root_depth: root_depth?,
        allowed_depletion: allowed_depletion?,
        evapotranspiration: evapotranspiration?,
        line: table.line,
    })
}
