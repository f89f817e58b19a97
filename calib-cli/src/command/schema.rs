//! `ovendry schema`: what the JSON of every command looks like, as JSON Schema
//! (draft 2020-12), made from the types themselves.

use super::check;
use crate::calibration_file::CalibrationFile;
use crate::failure::{Failure, Told, Verdict};
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
    Document::of::<check::Report<'_>>("check", 1, "What `ovendry check --json` prints"),
    Document::of::<CalibrationFile>(
        "calibration",
        1,
        "A saved calibration, PROBE.calibration.json",
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
            format!("choose one of: {}", known.join(", ")),
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
