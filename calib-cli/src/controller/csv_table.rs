//! The table as CSV (RFC 4180), for spreadsheets, databases and small readers
//! without JSON: one number a row, `key,index,value`.
//!
//! The keys are those of the JSON format, joined by dots; `index` counts the knots
//! from 0 and is empty elsewhere. A calibration without a temperature term has no
//! row of it.

use super::document::{Document, FORMAT, Stamp};
use super::{ControllerFormat, FileError, Seal};
use calib_core::controller::{ControllerRecord, ControllerTable};
use serde_json::{Map, Value};

/// The CSV format.
pub(super) struct CsvTable;

/// Keys whose values are text even where they look like numbers.
const TEXTS: [&str; 10] = [
    "format",
    "probe",
    "soil",
    "calibrated_on",
    "recheck_by",
    "direction",
    "live_codes.open_circuit",
    "table_crc32",
    "sha256",
    "crc32",
];

impl ControllerFormat for CsvTable {
    fn name(&self) -> &'static str {
        "CSV"
    }

    fn file_name(&self, probe: &str) -> String {
        format!("{probe}.table.csv")
    }

    fn seal(&self) -> Seal {
        Seal {
            sha256: ("sha256,,", "\n"),
            crc32: ("crc32,,", "\n"),
        }
    }

    fn body(&self, table: &ControllerTable) -> String {
        let mut text = String::from("key,index,value\n");
        if let Ok(Value::Object(keys)) = serde_json::to_value(Document::of(table)) {
            for (key, value) in &keys {
                match value {
                    Value::Array(knots) => {
                        for (index, knot) in knots.iter().enumerate() {
                            rows(key, &index.to_string(), knot, &mut text);
                        }
                    }
                    value => rows(key, "", value, &mut text),
                }
            }
        }
        text
    }

    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError> {
        let (document, lines) = document(text)?;
        let line_of = |key: &str| {
            let found = lines.iter().position(|found| found == key);
            found.map_or(1, |index| index as u64 + 2)
        };
        let whole = Value::Object(document);
        let fault = |error: serde_json::Error| FileError::Content {
            line: 1,
            what: format!("cannot be understood: {error}"),
        };
        let stamp: Stamp = serde_json::from_value(whole.clone()).map_err(fault)?;
        stamp.is(FORMAT, || line_of("format"))?;
        serde_json::from_value::<Document>(whole)
            .map_err(fault)?
            .record()
            .map_err(|unusable| FileError::Content {
                line: line_of(unusable.key),
                what: format!("{}: {}", unusable.key, unusable.what),
            })
    }
}

/// The rows of one value: its own, or one for each key below it.
fn rows(key: &str, index: &str, value: &Value, text: &mut String) {
    match value {
        Value::Object(keys) => {
            for (below, value) in keys {
                rows(&format!("{key}.{below}"), index, value, text);
            }
        }
        Value::Null => {}
        Value::String(words) => text.push_str(&format!("{key},{index},{}\n", field(words))),
        number => text.push_str(&format!("{key},{index},{number}\n")),
    }
}

/// Text as a field, in quotes where RFC 4180 asks for them.
fn field(text: &str) -> String {
    if text.contains([',', '"']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// The rows as nested keys, and the key of every row.
fn document(text: &str) -> Result<(Map<String, Value>, Vec<String>), FileError> {
    let mut keys = Map::new();
    keys.insert("temperature".to_owned(), Value::Null);
    keys.insert("knots".to_owned(), Value::Array(Vec::new()));
    let mut found = Vec::new();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    for (row, record) in reader.records().enumerate() {
        let fault = |what: String| FileError::Content {
            line: row as u64 + 2,
            what,
        };
        let record =
            record.map_err(|error| fault(format!("is no row of three fields: {error}")))?;
        let (Some(key), Some(index), Some(value), 3) =
            (record.get(0), record.get(1), record.get(2), record.len())
        else {
            return Err(fault("is no row of three fields".to_owned()));
        };
        let value = if TEXTS.contains(&key) {
            Value::from(value)
        } else {
            Value::from(
                value
                    .parse::<i64>()
                    .map_err(|_| fault(format!("{key} = {value:?} is not a whole number")))?,
            )
        };
        put(&mut keys, key, index, value)
            .ok_or_else(|| fault(format!("{key} does not belong here, with index {index:?}")))?;
        found.push(key.to_owned());
    }
    Ok((keys, found))
}

/// Puts a value where its key says; `None` if it has no place there.
fn put(keys: &mut Map<String, Value>, key: &str, index: &str, value: Value) -> Option<()> {
    let Some((outer, inner)) = key.split_once('.') else {
        return (index.is_empty() && keys.insert(key.to_owned(), value).is_none()).then_some(());
    };
    let place = keys.entry(outer).or_insert(Value::Null);
    let place = match place {
        Value::Array(knots) => {
            let index: usize = index.parse().ok()?;
            if index == knots.len() {
                knots.push(Value::Null);
            }
            knots.get_mut(index)?
        }
        place if index.is_empty() => place,
        _ => return None,
    };
    if place.is_null() {
        *place = Value::Object(Map::new());
    }
    let fields = place.as_object_mut()?;
    fields
        .insert(inner.to_owned(), value)
        .is_none()
        .then_some(())
}
