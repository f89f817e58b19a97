//! `ovendry schema`: what the JSON of every command looks like, as JSON Schema
//! (draft 2020-12), made from the types themselves.

use super::{
    accuracy, batch, calibrate, check, compare, drift, export, fit, pair, plan, replay, report,
    setpoints, soil, start, status, verify,
};
use crate::calibration_file::CalibrationFile;
use crate::capture::event::Line;
use crate::drift_file::DriftFile;
use crate::failure::{Failure, Told, Verdict};
use crate::meant;
use crate::output::{self, OutputSet};
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde_json::{Map, Value};
use std::path::{Path, PathBuf};

/// Which schema.
#[derive(Debug, clap::Args)]
pub struct SchemaCommand {
    /// Name of the document; all names are listed if none is given
    #[arg(value_name = "NAME")]
    name: Option<String>,
    /// Write the schemas of all documents, NAME.schema.json each, into this folder
    #[arg(long, value_name = "FOLDER", conflicts_with = "name")]
    out: Option<PathBuf>,
    /// Overwrite schemas of an earlier run
    #[arg(long, requires = "out")]
    force: bool,
}

/// A kind of JSON document that the program writes.
struct Document {
    /// The command that prints it, and what its `format` key says after `ovendry`.
    name: &'static str,
    /// What its `version` key says. Raised when a key goes or changes its meaning;
    /// keys may be added under the same version.
    version: u32,
    /// Which document it is, in a line.
    title: &'static str,
    root: fn() -> Schema,
}

impl Document {
    /// The document that a value of `T` becomes.
    const fn of<T: JsonSchema>(name: &'static str, version: u32, title: &'static str) -> Self {
        Self {
            name,
            version,
            title,
            root: root::<T>,
        }
    }

    fn file_name(&self) -> String {
        format!("{}.schema.json", self.name)
    }

    /// The schema as text.
    fn text(&self) -> Result<String, Failure> {
        let mut schema = (self.root)();
        schema.insert("title".to_owned(), self.title.into());
        if let Some(keys) = schema.get_mut("properties").and_then(Value::as_object_mut) {
            keys.insert(
                "format".to_owned(),
                stated(format!("ovendry {}", self.name), "Which document this is."),
            );
            keys.insert(
                "version".to_owned(),
                stated(self.version, "Version of the format."),
            );
        }
        let mut text = serde_json::to_string_pretty(&schema)
            .map_err(|error| Failure::Internal(format!("cannot write a schema: {error}")))?;
        text.push('\n');
        Ok(text)
    }
}

/// A key that always holds the same.
fn stated(value: impl Into<Value>, description: &str) -> Value {
    let mut key = Map::new();
    key.insert("description".to_owned(), description.into());
    key.insert("const".to_owned(), value.into());
    Value::Object(key)
}

/// Every kind of document, in the order of the commands.
const DOCUMENTS: &[Document] = &[
    Document::of::<status::Answer>("status", 1, "What `ovendry status --json` prints"),
    Document::of::<start::Answer<'_>>("start", 1, "What `ovendry start --json` prints"),
    Document::of::<plan::Answer>("plan", 1, "What `ovendry plan --json` prints"),
    Document::of::<plan::NextAnswer>(
        "plan-next",
        1,
        "What `ovendry plan DIR --next --json` prints",
    ),
    Document::of::<check::Report<'_>>("check", 1, "What `ovendry check --json` prints"),
    Document::of::<Line<'_>>(
        "capture",
        1,
        "A line of what `ovendry capture --json` prints",
    ),
    Document::of::<calibrate::Answer<'_>>("calibrate", 1, "What `ovendry calibrate --json` prints"),
    Document::of::<fit::Answer>("fit", 1, "What `ovendry fit --json` prints"),
    Document::of::<pair::Answer<'_>>("pair", 1, "What `ovendry pair --json` prints"),
    Document::of::<accuracy::Answer>("accuracy", 1, "What `ovendry accuracy --json` prints"),
    Document::of::<soil::Answer>("soil", 1, "What `ovendry soil --json` prints"),
    Document::of::<batch::Answer>("batch", 1, "What `ovendry batch --json` prints"),
    Document::of::<setpoints::Answer>("setpoints", 1, "What `ovendry setpoints --json` prints"),
    Document::of::<setpoints::Explanation>(
        "setpoints-explain",
        1,
        "What `ovendry setpoints --explain MARK --json` prints",
    ),
    Document::of::<replay::Answer>("replay", 1, "What `ovendry replay --json` prints"),
    Document::of::<report::Answer<'_>>("report", 1, "What `ovendry report --json` prints"),
    Document::of::<drift::Answer>("drift", 1, "What `ovendry drift --json` prints"),
    Document::of::<export::Answer<'_>>("export", 1, "What `ovendry export --json` prints"),
    Document::of::<verify::Answer<'_>>("verify", 1, "What `ovendry verify --json` prints"),
    Document::of::<compare::Answer<'_>>("compare", 1, "What `ovendry compare --json` prints"),
    Document::of::<CalibrationFile>(
        "calibration",
        1,
        "A saved calibration, PROBE.calibration.json",
    ),
    Document::of::<DriftFile>(
        "drift-verdict",
        1,
        "What drift found of a saved calibration, PROBE.drift.json",
    ),
    Document::of::<Told<'_>>(
        "failure",
        1,
        "What any command given --json prints if it fails",
    ),
];

fn root<T: JsonSchema>() -> Schema {
    SchemaSettings::draft2020_12()
        .for_serialize()
        .with_transform(plain_words)
        .into_generator()
        .into_root_schema_for::<T>()
}

/// Takes out of descriptions what only source code needs, links and ends of lines, and
/// the widths of this machine's numbers, which JSON does not know.
fn plain_words(schema: &mut Schema) {
    if let Some(Value::String(words)) = schema.get_mut("description") {
        let plain = words.replace("[`", "`").replace("`]", "`");
        let paragraphs: Vec<String> = plain
            .split("\n\n")
            .map(|paragraph| paragraph.replace('\n', " "))
            .collect();
        *words = paragraphs.join("\n\n");
    }
    if schema.get("format").is_some_and(Value::is_string) {
        schema.remove("format");
    }
    schemars::transform::transform_subschemas(&mut plain_words, schema);
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] if there is no such document or the folder holds other schemas.
pub fn run(command: &SchemaCommand) -> Result<Verdict, Failure> {
    if let Some(folder) = &command.out {
        return write(folder, command.force);
    }
    let Some(name) = &command.name else {
        let width = DOCUMENTS
            .iter()
            .map(|one| one.name.len())
            .max()
            .unwrap_or(0);
        let lines: Vec<String> = DOCUMENTS
            .iter()
            .map(|one| format!("{:width$}  {}\n", one.name, one.title))
            .collect();
        output::print(&lines.concat())?;
        return Ok(Verdict::Good);
    };
    let found = DOCUMENTS.iter().find(|one| one.name == name);
    let Some(document) = found else {
        let known: Vec<&str> = DOCUMENTS.iter().map(|one| one.name).collect();
        return Err(super::soil::command_line(
            "NAME",
            name,
            "is no document of this program",
            meant::choose(name, known),
        )
        .into());
    };
    output::print(&document.text()?)?;
    Ok(Verdict::Good)
}

fn write(folder: &Path, force: bool) -> Result<Verdict, Failure> {
    let mut outputs = OutputSet::default();
    for document in DOCUMENTS {
        outputs.add(folder.join(document.file_name()), document.text()?);
    }
    let written: Vec<String> = outputs
        .paths()
        .map(|path| format!("wrote {}\n", path.display()))
        .collect();
    outputs.write(force)?;
    output::print(&written.concat())?;
    Ok(Verdict::Good)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::Cli;
    use clap::CommandFactory;

    /// Commands that answer with something other than a report, and what.
    const NO_REPORT: [(&str, &str); 3] = [
        ("schema", "a schema, which is JSON itself"),
        ("completions", "a script for a shell"),
        ("man", "pages for man"),
    ];

    #[test]
    fn every_command_that_reports_takes_json_and_has_a_schema() {
        for command in Cli::command().get_subcommands() {
            let name = command.get_name();
            let takes_json = command
                .get_arguments()
                .any(|argument| argument.get_long() == Some("json"));
            let described = DOCUMENTS.iter().any(|document| document.name == name);
            let excused = NO_REPORT.iter().any(|(other, _)| *other == name);
            assert_eq!(takes_json, described, "{name}");
            assert_ne!(takes_json, excused, "{name}");
        }
    }

    #[test]
    fn every_document_says_which_it_is_and_how_it_was_judged() {
        for document in DOCUMENTS {
            let schema: Value = serde_json::from_str(&document.text().unwrap()).unwrap();
            let required: Vec<&str> = schema["required"]
                .as_array()
                .unwrap()
                .iter()
                .filter_map(Value::as_str)
                .collect();
            let mut head = vec!["format", "version"];
            if !["calibration", "capture", "drift-verdict", "failure"].contains(&document.name) {
                head.push("verdict");
            }
            assert_eq!(required[..head.len()], head, "{}", document.name);
        }
    }

    /// Ends of keys that are a unit, or say that there is none.
    const UNITS: [&str; 12] = [
        "_g", "_s", "_c", "_mm", "_cm", "_m2", "_kpa", "_percent", "_count", "_counts", "theta_v",
        "p_value",
    ];

    #[test]
    fn every_number_says_in_its_key_or_beside_it_what_it_is() {
        fn look(place: &str, schema: &Value, found: &mut Vec<String>) {
            for (key, part) in schema["properties"].as_object().into_iter().flatten() {
                let numbers = [&part["type"], &part["items"]["type"]];
                let is_number = numbers
                    .iter()
                    .any(|kind| kind.to_string().contains("\"number\""));
                let said =
                    part["description"].is_string() || UNITS.iter().any(|unit| key.ends_with(unit));
                if is_number && !said {
                    found.push(format!("{place}: {key}"));
                }
            }
            for several in ["oneOf", "anyOf", "allOf"] {
                for part in schema[several].as_array().into_iter().flatten() {
                    look(place, part, found);
                }
            }
        }
        let mut found = Vec::new();
        for document in DOCUMENTS {
            let schema: Value = serde_json::from_str(&document.text().unwrap()).unwrap();
            look(document.name, &schema, &mut found);
            for (name, part) in schema["$defs"].as_object().into_iter().flatten() {
                let place = format!("{}, {name}", document.name);
                look(&place, part, &mut found);
            }
        }
        assert!(found.is_empty(), "{}", found.join("\n"));
    }
}
