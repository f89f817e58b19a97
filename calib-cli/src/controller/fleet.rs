//! Many probes in one file: the tables as JSON, behind an index.
//!
//! For a computer that hands each controller its table: the index tells, without
//! reading the tables, which probe and soil each is for, when it is to be checked
//! again, and by which `table_crc32` a controller's copy is known to be the same.

use super::document::{Document, Stamp};
use super::json::{Json, keys, line_of, on_one_line};
use super::{ControllerFormat, FileError, Seal};
use calib_core::controller::{ControllerTable, VERSION};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::path::Path;

/// The name of the file.
pub const FLEET_FILE: &str = "fleet.json";

const FORMAT: &str = "ovendry controller fleet";
const NAME: &str = "fleet";

/// Whether a file's name is that of a fleet, or of a former version that was kept.
pub fn is_fleet(path: &Path) -> bool {
    super::name_when_written(path).is_some_and(|name| name.ends_with(FLEET_FILE))
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Entry {
    probe: String,
    soil: String,
    recheck_by: String,
    table_crc32: String,
    /// Which of `tables`, from 0.
    table: usize,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Fleet {
    #[serde(rename = "format")]
    _format: String,
    #[serde(rename = "version")]
    _version: u32,
    #[serde(rename = "index")]
    _index: Vec<Entry>,
    tables: Vec<Document>,
    #[serde(rename = "sha256")]
    _sha256: String,
    #[serde(rename = "crc32")]
    _crc32: String,
}

fn seal() -> Seal {
    Json.seal()
}

/// The file of `tables`, in their order. The same tables always give the same
/// bytes.
pub fn render_fleet(tables: &[ControllerTable]) -> String {
    let entries: Vec<String> = tables
        .iter()
        .enumerate()
        .map(|(number, table)| {
            let record = table.record();
            let entry = Entry {
                probe: record.probe.clone(),
                soil: record.soil.clone(),
                recheck_by: record.dates.recheck_by.to_string(),
                table_crc32: format!("{:08x}", table.crc32()),
                table: number,
            };
            let value = serde_json::to_value(entry).unwrap_or_default();
            format!("    {}", on_one_line(&value))
        })
        .collect();
    let objects: Vec<String> = tables
        .iter()
        .map(|table| {
            let keys: Vec<String> = keys(table, "      ")
                .into_iter()
                .map(|(key, value)| format!("      \"{key}\": {value}"))
                .collect();
            format!("    {{\n{}\n    }}", keys.join(",\n"))
        })
        .collect();
    seal().close(format!(
        "{{\n  \"format\": \"{FORMAT}\",\n  \"version\": {VERSION},\n  \"index\": [\n{}\n  ],\n  \"tables\": [\n{}\n  ],\n",
        entries.join(",\n"),
        objects.join(",\n")
    ))
}

/// Reads a fleet: its digests, every table with every check of the core, and that
/// writing it again gives the same bytes, the index with it.
///
/// # Errors
/// The first [`FileError`] found.
pub fn load_fleet(bytes: &[u8]) -> Result<Vec<ControllerTable>, FileError> {
    seal().check(NAME, bytes)?;
    let text = super::utf8(bytes)?;
    let fault = |error: serde_json::Error| FileError::Content {
        line: error.line() as u64,
        what: format!("cannot be understood: {error}"),
    };
    let stamp: Stamp = serde_json::from_str(text).map_err(fault)?;
    stamp.is(FORMAT, || line_of(text, "format"))?;
    let fleet: Fleet = serde_json::from_str(text).map_err(fault)?;
    let tables = fleet
        .tables
        .into_iter()
        .map(|document| {
            let (record, stated) = document.record().map_err(|unusable| FileError::Content {
                line: line_of(text, "tables"),
                what: format!("{}: {}", unusable.key, unusable.what),
            })?;
            Ok(ControllerTable::check_with_crc(record, stated)?)
        })
        .collect::<Result<Vec<_>, FileError>>()?;
    let mut probes = BTreeSet::new();
    if let Some(twice) = tables
        .iter()
        .find(|table| !probes.insert(&table.record().probe))
    {
        return Err(FileError::Content {
            line: line_of(text, "index"),
            what: format!("index: names probe {} twice", twice.record().probe),
        });
    }
    super::same_text(&render_fleet(&tables), text)?;
    Ok(tables)
}
