//! `[[bed]]`: probes at several depths that speak for one root zone.

use super::all_or_refused;
use super::declaration::{Declaration, Key};
use super::document::File;
use super::id::read_id;
use super::probe::known_probe;
use crate::findings::{Findings, Refused};
use crate::workbench::{Bed, Probe};
use calib_core::irrigation::Weighting;

pub(super) const KEYS: &[Key] = &[
    Key::new("id", "\"bed-1\": the bed's identifier"),
    Key::new(
        "probes",
        "[\"P1\", \"P2\"]: its probes, each with a depth_mm",
    ),
    Key::new(
        "weight_by",
        "\"depth\": \"depth\" or \"roots\", what the probes' weights go by",
    ),
];

/// Reads every bed. A probe can only be called unknown if all `probes` are known.
pub(super) fn read_all(
    file: &File<'_>,
    probes: Option<&[Probe]>,
    findings: &mut Findings,
) -> Result<Vec<Bed>, Refused> {
    let tables = file.tables_if_any("bed", "[[bed]]", KEYS, findings)?;
    let mut taken = Vec::new();
    all_or_refused(
        tables
            .iter()
            .map(|table| read(table, &mut taken, probes, findings))
            .collect(),
    )
}

fn read(
    table: &Declaration<'_>,
    taken: &mut Vec<(String, u64)>,
    probes: Option<&[Probe]>,
    findings: &mut Findings,
) -> Result<Bed, Refused> {
    let id = read_id(table, taken, findings);
    let named = table.texts("probes", findings);
    let weighting = match table.text("weight_by", findings) {
        Ok(None) => Ok(Weighting::default()),
        Ok(Some(entry)) => match entry.value {
            "depth" => Ok(Weighting::Slices),
            "roots" => Ok(Weighting::RootUptake),
            _ => findings.refuse(entry.cell.complaint(
                "is neither \"depth\" nor \"roots\"",
                "write \"depth\" to weigh each probe by the slice of soil nearest to it, or \
                 \"roots\" to weigh it by what roots draw from that slice",
            )),
        },
        Err(Refused) => Err(Refused),
    };
    let named = named?;
    if named.is_empty() {
        return table.needed("probes", Ok(None), findings);
    }
    let mut ids: Vec<String> = Vec::new();
    for entry in &named {
        if ids.iter().any(|id| id == entry.value) {
            return findings.refuse(
                entry
                    .cell
                    .complaint("stands twice in the bed", "name each probe once"),
            );
        }
        if let Some(probes) = probes {
            let probe = known_probe(entry.cell, probes, findings)?;
            if probe.depth.is_none() {
                return findings.refuse(entry.cell.complaint(
                    format!(
                        "has no depth_mm (its [[probe]] stands in line {})",
                        probe.line
                    ),
                    "add depth_mm = 150 (how deep it lies, mm) to that [[probe]]",
                ));
            }
        }
        ids.push(entry.value.to_owned());
    }
    Ok(Bed {
        id: id?,
        probes: ids,
        weighting: weighting?,
        line: table.line,
    })
}
