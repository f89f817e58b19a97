//! The table as JSON, for controllers that can read it and for people.
//!
//! One key a line in a fixed order, one knot a line, two spaces of indent, line
//! feeds; whole numbers only. The last two keys seal the file. The JSON Schema
//! (draft 2020-12) is `schema/controller.schema.json`.

use super::document::{Document, FORMAT, Stamp};
use super::{ControllerFormat, FileError, Seal};
use calib_core::controller::{ControllerRecord, ControllerTable};
use serde_json::Value;

/// The JSON format.
pub(super) struct Json;

impl ControllerFormat for Json {
    fn name(&self) -> &'static str {
        "JSON"
    }

    fn file_name(&self, probe: &str) -> String {
        format!("{probe}.controller.json")
    }

    fn seal(&self) -> Seal {
        Seal {
            sha256: ("  \"sha256\": \"", "\",\n"),
            crc32: ("  \"crc32\": \"", "\"\n}\n"),
        }
    }

    fn body(&self, table: &ControllerTable) -> String {
        let mut text = String::from("{\n");
        for (key, value) in keys(table, "  ") {
            text.push_str(&format!("  \"{key}\": {value},\n"));
        }
        text
    }

    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError> {
        let fault = |error: serde_json::Error| FileError::Content {
            line: error.line() as u64,
            what: format!("cannot be understood: {error}"),
        };
        let content = |key: &str, what: &str| FileError::Content {
            line: line_of(text, key),
            what: format!("{key}: {what}"),
        };
        let stamp: Stamp = serde_json::from_str(text).map_err(fault)?;
        stamp.is(FORMAT, || line_of(text, "format"))?;
        serde_json::from_str::<Document>(text)
            .map_err(fault)?
            .record()
            .map_err(|unusable| content(unusable.key, unusable.what))
    }
}

/// The keys of a table and their values as JSON text, for an object whose keys
/// stand behind `indent`.
pub(super) fn keys(table: &ControllerTable, indent: &str) -> Vec<(String, String)> {
    let Ok(Value::Object(keys)) = serde_json::to_value(Document::of(table)) else {
        return Vec::new();
    };
    let text = |value: &Value| match value {
        Value::Array(items) => {
            let items: Vec<String> = items
                .iter()
                .map(|item| format!("{indent}  {}", on_one_line(item)))
                .collect();
            format!("[\n{}\n{indent}]", items.join(",\n"))
        }
        value => on_one_line(value),
    };
    keys.iter()
        .map(|(key, value)| (key.clone(), text(value)))
        .collect()
}

/// A value with one space after each colon and comma.
pub(super) fn on_one_line(value: &Value) -> String {
    match value {
        Value::Object(keys) => {
            let keys: Vec<String> = keys
                .iter()
                .map(|(key, value)| format!("\"{key}\": {}", on_one_line(value)))
                .collect();
            format!("{{{}}}", keys.join(", "))
        }
        value => value.to_string(),
    }
}

/// The line `key` stands on, counted from 1.
pub(super) fn line_of(text: &str, key: &str) -> u64 {
    let start = format!("  \"{key}\":");
    text.lines()
        .position(|line| line.starts_with(&start))
        .map_or(1, |index| index as u64 + 1)
}
