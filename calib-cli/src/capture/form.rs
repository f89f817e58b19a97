//! The declared form of a line, and the fields it gives.
//!
//! Three forms: cells in a fixed order (`csv`), `name=value` pairs (`pairs`), a JSON
//! object a line (`json`). A field that is declared must be there; a line of cells must
//! have exactly as many as declared. Half a line is then almost never of the form, and
//! the few that are never come here (`lines.rs`).

use super::{Fields, When};
use crate::table::names::{COUNT, PROBE_ID, SOIL_TEMPERATURE, SUPPLY, TIMESTAMP};
use crate::table::{listed, nearest};
use clap::ValueEnum;

/// The fields a line may have, by the names of their columns.
pub const FIELDS: [&str; 5] = [TIMESTAMP, PROBE_ID, COUNT, SOIL_TEMPERATURE, SUPPLY];

/// Stands for a cell that is passed over.
const PASSED_OVER: &str = "-";

/// What a line looks like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Form {
    /// Cells in the order of `fields`, parted by `separator`; `None` is passed over.
    Cells {
        /// What stands where, by index into [`FIELDS`].
        fields: Vec<Option<usize>>,
        /// What parts the cells.
        separator: Separator,
    },
    /// `name=value`, parted by blanks, commas or semicolons.
    Pairs(Names),
    /// One JSON object.
    Json(Names),
}

/// What a field is called in a line that names its values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Names([Name; FIELDS.len()]);

#[derive(Debug, Clone, PartialEq, Eq)]
struct Name {
    /// As the line has it.
    written: String,
    /// Whether every line must have it.
    declared: bool,
}

/// What parts the cells of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Separator {
    /// ,
    #[default]
    Comma,
    /// ;
    Semicolon,
    /// A tab
    Tab,
    /// One blank or several
    Blank,
}

/// The kinds of form.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Kind {
    /// Cells in a fixed order
    #[default]
    Csv,
    /// name=value, parted by blanks, commas or semicolons
    Pairs,
    /// One JSON object a line
    Json,
}

/// What was declared, before it has a meaning.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Declared {
    /// Kind of form.
    pub kind: Option<Kind>,
    /// Cells in their order, with commas between.
    pub fields: Option<String>,
    /// `field=name as the line has it`.
    pub named: Vec<String>,
    /// What parts cells.
    pub separator: Option<Separator>,
}

/// What is wrong with a declaration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeclarationFault {
    /// Which part of [`Declared`]: `form`, `fields`, `field` or `separator`.
    pub part: &'static str,
    /// What stands there.
    pub value: String,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub mend: String,
}

impl Declared {
    /// The form that is meant. Undeclared, a line is a count and nothing else.
    ///
    /// # Errors
    /// What is wrong with the declaration.
    pub fn form(&self) -> Result<Form, DeclarationFault> {
        match self.kind.unwrap_or_default() {
            Kind::Csv => {
                if let Some(named) = self.named.first() {
                    return Err(fault(
                        "field",
                        named,
                        "names a value, which the form csv does not do",
                        "say which cell is what with fields, e.g. probe_id,raw_count,soil_temp_c; \
                         or take the form pairs or json",
                    ));
                }
                Ok(Form::Cells {
                    fields: cells(self.fields.as_deref().unwrap_or(COUNT))?,
                    separator: self.separator.unwrap_or_default(),
                })
            }
            kind @ (Kind::Pairs | Kind::Json) => {
                if let Some(fields) = &self.fields {
                    return Err(fault(
                        "fields",
                        fields,
                        "puts cells in order, which only the form csv has",
                        "say what a value is called with field, e.g. raw_count=adc; or take the form csv",
                    ));
                }
                if self.separator.is_some() {
                    return Err(fault(
                        "separator",
                        "",
                        "parts cells, which only the form csv has",
                        "leave it out; or take the form csv",
                    ));
                }
                let names = names(&self.named)?;
                Ok(match kind {
                    Kind::Json => Form::Json(names),
                    _ => Form::Pairs(names),
                })
            }
        }
    }
}

fn fault(
    part: &'static str,
    value: &str,
    what: impl Into<String>,
    mend: impl Into<String>,
) -> DeclarationFault {
    DeclarationFault {
        part,
        value: value.to_owned(),
        what: what.into(),
        mend: mend.into(),
    }
}

/// The index of a field by its name.
fn known(part: &'static str, value: &str, name: &str) -> Result<usize, DeclarationFault> {
    if let Some(index) = FIELDS.iter().position(|field| *field == name) {
        return Ok(index);
    }
    let mend = match nearest(name, FIELDS) {
        Some(near) => format!("write {near}"),
        None => format!("a line may have {}", listed(FIELDS)),
    };
    Err(fault(
        part,
        value,
        format!("names {name}, which is no field"),
        mend,
    ))
}

fn cells(text: &str) -> Result<Vec<Option<usize>>, DeclarationFault> {
    let mut fields: Vec<Option<usize>> = Vec::new();
    for name in text.split(',').map(str::trim) {
        if name == PASSED_OVER {
            fields.push(None);
            continue;
        }
        let index = known("fields", text, name)?;
        if fields.contains(&Some(index)) {
            return Err(fault(
                "fields",
                text,
                format!("names {name} twice"),
                "name each field once, and write - for a cell that is passed over",
            ));
        }
        fields.push(Some(index));
    }
    if !fields.contains(&Some(index_of_count())) {
        return Err(fault(
            "fields",
            text,
            format!("does not say where {COUNT} stands"),
            format!("name {COUNT} among the fields"),
        ));
    }
    Ok(fields)
}

fn index_of_count() -> usize {
    FIELDS
        .iter()
        .position(|field| *field == COUNT)
        .unwrap_or_default()
}

fn names(named: &[String]) -> Result<Names, DeclarationFault> {
    let mut names = FIELDS.map(|field| Name {
        written: field.to_owned(),
        declared: field == COUNT,
    });
    let mut given = [false; FIELDS.len()];
    for text in named {
        let Some((field, written)) = text.split_once('=') else {
            return Err(fault(
                "field",
                text,
                "is not field=name",
                "write the field, =, and what the line calls it: raw_count=adc",
            ));
        };
        let (field, written) = (field.trim(), written.trim());
        let index = known("field", text, field)?;
        if written.is_empty() {
            return Err(fault(
                "field",
                text,
                "does not say what the line calls it",
                format!("write {field}=, and behind it the name as the line has it"),
            ));
        }
        let (Some(name), Some(given)) = (names.get_mut(index), given.get_mut(index)) else {
            continue;
        };
        if std::mem::replace(given, true) {
            return Err(fault(
                "field",
                text,
                format!("says what {field} is called a second time"),
                "say it once for each field",
            ));
        }
        *name = Name {
            written: written.to_owned(),
            declared: true,
        };
    }
    Ok(Names(names))
}

impl Names {
    /// The fields, where `value` looks a name up.
    fn fields(&self, value: impl Fn(&str) -> Option<String>) -> Result<Fields, String> {
        let mut texts: [Option<String>; FIELDS.len()] = Default::default();
        for (text, name) in texts.iter_mut().zip(&self.0) {
            *text = value(&name.written);
            if text.is_none() && name.declared {
                return Err(format!("has no {}", name.written));
            }
        }
        Ok(gathered(texts))
    }
}

/// Texts in the order of [`FIELDS`].
fn gathered(texts: [Option<String>; FIELDS.len()]) -> Fields {
    let [time, probe_id, raw_count, soil_temp_c, supply_mv] = texts;
    Fields {
        time: time.map_or(When::Arrival, When::Written),
        probe_id,
        raw_count,
        soil_temp_c,
        supply_mv,
    }
}

impl Form {
    /// The fields of `line`.
    ///
    /// # Errors
    /// Why it is not of this form.
    pub fn fields(&self, line: &str) -> Result<Fields, String> {
        match self {
            Form::Cells { fields, separator } => {
                let written = separator.parted(line)?;
                if written.len() != fields.len() {
                    let noun = if written.len() == 1 { "cell" } else { "cells" };
                    let declared = match fields.len() {
                        1 => "1 is".to_owned(),
                        many => format!("{many} are"),
                    };
                    let other = separator.that_gives(line, fields.len());
                    return Err(format!(
                        "has {} {noun} where {declared} declared{}",
                        written.len(),
                        other.map_or_else(String::new, |other| format!(
                            "; --separator {other} would give {}",
                            fields.len()
                        ))
                    ));
                }
                let mut texts: [Option<String>; FIELDS.len()] = Default::default();
                for (place, text) in fields.iter().zip(written) {
                    if let Some(slot) = place.and_then(|index| texts.get_mut(index)) {
                        *slot = Some(text);
                    }
                }
                Ok(gathered(texts))
            }
            Form::Pairs(names) => {
                let pairs = pairs(line)?;
                names.fields(|name| {
                    pairs
                        .iter()
                        .find(|(key, _)| key == name)
                        .map(|(_, value)| value.clone())
                })
            }
            Form::Json(names) => {
                let object: serde_json::Map<String, serde_json::Value> =
                    serde_json::from_str(line).map_err(|_| "is no JSON object".to_owned())?;
                names.fields(|name| looked_up(&object, name).map(as_text))
            }
        }
    }

    /// Whether lines of this form carry `field`, as far as is declared.
    pub fn declares(&self, field: &str) -> bool {
        let Some(index) = FIELDS.iter().position(|known| *known == field) else {
            return false;
        };
        match self {
            Form::Cells { fields, .. } => fields.contains(&Some(index)),
            Form::Pairs(names) | Form::Json(names) => {
                names.0.get(index).is_some_and(|name| name.declared)
            }
        }
    }
}

impl Separator {
    /// The name of another one that parts `line` into so many cells, more than one.
    fn that_gives(self, line: &str, cells: usize) -> Option<String> {
        let other = Self::value_variants().iter().find(|other| {
            **other != self
                && cells > 1
                && other.parted(line).is_ok_and(|parts| parts.len() == cells)
        })?;
        Some(other.to_possible_value()?.get_name().to_owned())
    }

    fn parted(self, line: &str) -> Result<Vec<String>, String> {
        let delimiter = match self {
            Separator::Comma => b',',
            Separator::Semicolon => b';',
            Separator::Tab => b'\t',
            Separator::Blank => return Ok(line.split_whitespace().map(str::to_owned).collect()),
        };
        if line.bytes().filter(|byte| *byte == b'"').count() % 2 == 1 {
            return Err("has a quotation mark that is never closed".to_owned());
        }
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .from_reader(line.as_bytes());
        let mut record = csv::StringRecord::new();
        match reader.read_record(&mut record) {
            Ok(true) => Ok(record.iter().map(|cell| cell.trim().to_owned()).collect()),
            _ => Err("has no cells".to_owned()),
        }
    }
}

/// The pairs of a line. A value in quotation marks may hold blanks.
fn pairs(line: &str) -> Result<Vec<(String, String)>, String> {
    let parts = |c: char| c.is_whitespace() || matches!(c, ',' | ';');
    let mut pairs: Vec<(String, String)> = Vec::new();
    let mut rest = line.trim_start_matches(parts);
    while !rest.is_empty() {
        let end = rest.find(|c| parts(c) || c == '=').unwrap_or(rest.len());
        let (name, after) = rest.split_at(end);
        let Some(after) = after.strip_prefix('=') else {
            return Err(format!("has \"{name}\" without a value"));
        };
        let (value, after) = match after.strip_prefix('"') {
            Some(quoted) => quoted
                .split_once('"')
                .ok_or("has a quotation mark that is never closed")?,
            None => after.split_at(after.find(parts).unwrap_or(after.len())),
        };
        if !after.is_empty() && !after.starts_with(parts) {
            return Err(format!("has more behind the value of {name}"));
        }
        if pairs.iter().any(|(known, _)| known == name) {
            return Err(format!("has {name} twice"));
        }
        pairs.push((name.to_owned(), value.to_owned()));
        rest = after.trim_start_matches(parts);
    }
    Ok(pairs)
}

/// The value at `name`, or along the path that its full stops part.
fn looked_up<'v>(
    object: &'v serde_json::Map<String, serde_json::Value>,
    name: &str,
) -> Option<&'v serde_json::Value> {
    if let Some(value) = object.get(name) {
        return Some(value);
    }
    let mut steps = name.split('.');
    let first = object.get(steps.next()?)?;
    steps.try_fold(first, |value, step| value.get(step))
}

/// A value as a cell has it: nothing for null, and JSON for what no cell can hold, which
/// is then refused by name.
fn as_text(value: &serde_json::Value) -> String {
    match value {
        serde_json::Value::Null => String::new(),
        serde_json::Value::String(text) => text.trim().to_owned(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn csv(fields: &str) -> Form {
        declared(Kind::Csv, Some(fields), &[]).form().unwrap()
    }

    fn declared(kind: Kind, fields: Option<&str>, named: &[&str]) -> Declared {
        Declared {
            kind: Some(kind),
            fields: fields.map(str::to_owned),
            named: named.iter().map(|text| (*text).to_owned()).collect(),
            separator: None,
        }
    }

    /// time|probe|count|temperature|supply
    fn shown(fields: &Result<Fields, String>) -> String {
        match fields {
            Err(why) => format!("! {why}"),
            Ok(fields) => {
                let time = match &fields.time {
                    When::Written(text) => text.clone(),
                    _ => "?".to_owned(),
                };
                let or = |text: &Option<String>| text.clone().unwrap_or("?".to_owned());
                format!(
                    "{time}|{}|{}|{}|{}",
                    or(&fields.probe_id),
                    or(&fields.raw_count),
                    or(&fields.soil_temp_c),
                    or(&fields.supply_mv)
                )
            }
        }
    }

    #[test]
    fn undeclared_a_line_is_a_count() {
        let form = Declared::default().form().unwrap();
        assert_eq!(shown(&form.fields(" 663 ")), "?|?|663|?|?");
        assert_eq!(
            shown(&form.fields("663,16.5")),
            "! has 2 cells where 1 is declared"
        );
    }

    #[test]
    fn a_separator_that_would_give_the_declared_cells_is_named() {
        let form = csv("probe_id,raw_count,soil_temp_c");
        assert_eq!(
            shown(&form.fields("P1;500;16,5")),
            "! has 2 cells where 3 are declared; --separator semicolon would give 3"
        );
        assert_eq!(
            shown(&form.fields("P1;500")),
            "! has 1 cell where 3 are declared"
        );
    }

    #[test]
    fn cells_are_taken_in_their_order_and_some_are_passed_over() {
        let form = csv("timestamp,-,probe_id,raw_count,soil_temp_c");
        assert_eq!(
            shown(&form.fields("2026-05-04T08:10:00Z,\"a, b\",P1, 663,")),
            "2026-05-04T08:10:00Z|P1|663||?"
        );
        assert_eq!(
            shown(&form.fields("04T08:10:00Z,P1,663,16.5")),
            "! has 4 cells where 5 are declared"
        );
        let blank = Declared {
            separator: Some(Separator::Blank),
            ..declared(Kind::Csv, Some("probe_id,raw_count"), &[])
        };
        assert_eq!(
            shown(&blank.form().unwrap().fields("  P1   663")),
            "?|P1|663|?|?"
        );
    }

    #[test]
    fn pairs_come_in_any_order_with_names_of_their_own() {
        let form = declared(Kind::Pairs, None, &["raw_count=adc", "timestamp=at"])
            .form()
            .unwrap();
        assert_eq!(
            shown(&form.fields("soil_temp_c=16.5, adc=663; at=\"4.5.2026 08:10\" x=1")),
            "4.5.2026 08:10|?|663|16.5|?"
        );
        assert_eq!(shown(&form.fields("adc=663 t=1")), "! has no at");
        assert_eq!(
            shown(&form.fields("c=663 at=1")),
            "! has no adc",
            "the rest of a line"
        );
        assert_eq!(shown(&form.fields("at=1 adc=1 adc=2")), "! has adc twice");
        assert_eq!(
            shown(&form.fields("boot ok")),
            "! has \"boot\" without a value"
        );
        assert_eq!(
            shown(&form.fields("adc=\"6\"7 at=1")),
            "! has more behind the value of adc"
        );
    }

    #[test]
    fn a_json_line_may_nest_its_values() {
        let form = declared(
            Kind::Json,
            None,
            &["raw_count=sensor.adc", "soil_temp_c=t.c"],
        )
        .form()
        .unwrap();
        assert_eq!(
            shown(&form.fields(r#"{"probe_id":"P1","sensor":{"adc":663},"t.c":16.5}"#)),
            "?|P1|663|16.5|?"
        );
        assert_eq!(
            shown(&form.fields(r#"{"sensor":{"adc":663},"t":{"c":null}}"#)),
            "?|?|663||?"
        );
        assert_eq!(
            shown(&form.fields(r#"{"sensor":{}}"#)),
            "! has no sensor.adc"
        );
        assert_eq!(shown(&form.fields("663")), "! is no JSON object");
        assert_eq!(
            shown(&form.fields(r#"{"sensor":{"adc":66"#)),
            "! is no JSON object"
        );
    }

    #[test]
    fn a_declaration_that_cannot_be_followed_says_what_to_write() {
        let says = |declared: Declared, what: &str, mend: &str| {
            let fault = declared.form().unwrap_err();
            assert_eq!((fault.what.as_str(), fault.mend.as_str()), (what, mend));
        };
        says(
            declared(Kind::Csv, Some("raw_cuont"), &[]),
            "names raw_cuont, which is no field",
            "write raw_count",
        );
        says(
            declared(Kind::Csv, Some("probe_id,-"), &[]),
            "does not say where raw_count stands",
            "name raw_count among the fields",
        );
        says(
            declared(Kind::Csv, Some("raw_count,raw_count"), &[]),
            "names raw_count twice",
            "name each field once, and write - for a cell that is passed over",
        );
        says(
            declared(Kind::Json, None, &["raw_count"]),
            "is not field=name",
            "write the field, =, and what the line calls it: raw_count=adc",
        );
        says(
            declared(Kind::Json, None, &["raw_count=a", "raw_count=b"]),
            "says what raw_count is called a second time",
            "say it once for each field",
        );
        let crossed = declared(Kind::Json, Some("raw_count"), &[]);
        assert_eq!(crossed.form().unwrap_err().part, "fields");
        let crossed = declared(Kind::Csv, None, &["raw_count=a"]);
        assert_eq!(crossed.form().unwrap_err().part, "field");
    }
}
