//! One table of site.toml, read key by key: unknown keys are refused, every value
//! knows its line.

use super::tables_with;
use crate::failure::Complaint;
use crate::findings::{Cell, Findings, Refused};
use crate::table::nearest::{listed, nearest, other_unit};
use crate::table::number::quantity;
use crate::table::source::Source;
use calib_core::quantity::Quantity;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A key a table may have.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// How it is written, for messages: value and meaning.
    pub written: &'static str,
}

impl Key {
    /// A key and an example of its value with its meaning.
    pub const fn new(name: &'static str, written: &'static str) -> Self {
        Self { name, written }
    }
}

/// A table of the file.
#[derive(Debug)]
pub struct Declaration<'a> {
    source: &'a Source,
    /// As it stands in the file, e.g. `[[probe]]`.
    heading: &'static str,
    /// Line it starts on.
    pub line: u64,
    table: &'a DeTable<'a>,
    keys: &'static [Key],
    /// Known keys that an unknown one was probably meant to be.
    misspelt: Vec<&'static str>,
}

/// A value and where it stands.
#[derive(Debug, Clone, Copy)]
pub struct Entry<'a, T> {
    /// Where.
    pub cell: Cell<'a>,
    /// What it means.
    pub value: T,
}

impl<'a> Declaration<'a> {
    /// A table that starts at `offset`, after refusing the keys it must not have.
    pub fn open(
        source: &'a Source,
        heading: &'static str,
        offset: usize,
        table: &'a DeTable<'a>,
        keys: &'static [Key],
        findings: &mut Findings,
    ) -> Self {
        let mut declaration = Self {
            source,
            heading,
            line: source.line_of(offset),
            table,
            keys,
            misspelt: Vec::new(),
        };
        for key in table.keys() {
            let written = key.get_ref().as_ref();
            if keys.iter().any(|known| known.name == written) {
                continue;
            }
            let absent = keys
                .iter()
                .map(|known| known.name)
                .filter(|name| !table.contains_key(*name));
            let elsewhere = tables_with(written);
            let mend = match nearest(written, absent) {
                _ if !elsewhere.is_empty() => {
                    format!("move it below {}", elsewhere.join(" or "))
                }
                Some(name) => {
                    declaration.misspelt.push(name);
                    match other_unit(written, name) {
                        Some((from, to)) => format!(
                            "convert the number from {from} to {to} and rename it to {name}"
                        ),
                        None => format!("rename it to {name}"),
                    }
                }
                None => format!(
                    "remove it; {heading} may have {}",
                    listed(keys.iter().map(|known| known.name))
                ),
            };
            findings.complain(Complaint {
                column: Some(written.to_owned()),
                ..Complaint::about(&source.file, format!("is not a key of {heading}"), mend)
                    .at_line(source.line_of(key.span().start))
            });
        }
        declaration
    }

    /// A complaint about the table as a whole.
    pub fn complaint(&self, what: impl Into<String>, mend: impl Into<String>) -> Complaint {
        Complaint::about(&self.source.file, what, mend).at_line(self.line)
    }

    fn find(&self, key: &'static str) -> Option<(Cell<'a>, &'a Spanned<DeValue<'a>>)> {
        let value = self.table.get(key)?;
        let written = self.source.text.get(value.span()).unwrap_or_default();
        let text = match value.get_ref() {
            DeValue::String(text) => text.as_ref().trim(),
            _ => written.lines().next().unwrap_or_default(),
        };
        let cell = Cell {
            file: &self.source.file,
            line: self.source.line_of(value.span().start),
            column: key,
            text,
        };
        Some((cell, value))
    }

    /// `value`, or a complaint that `key` is missing.
    pub fn needed<T>(
        &self,
        key: &'static str,
        value: Result<Option<T>, Refused>,
        findings: &mut Findings,
    ) -> Result<T, Refused> {
        match value {
            Ok(Some(value)) => Ok(value),
            Ok(None) if self.misspelt.contains(&key) => Err(Refused),
            Ok(None) => {
                let written = self
                    .keys
                    .iter()
                    .find(|known| known.name == key)
                    .map_or("...", |known| known.written);
                findings.refuse(Complaint {
                    column: Some(key.to_owned()),
                    ..self.complaint(
                        format!("is missing from {}", self.heading),
                        format!("add {key} = {written}"),
                    )
                })
            }
            Err(Refused) => Err(Refused),
        }
    }

    /// The text at `key`.
    pub fn text(
        &self,
        key: &'static str,
        findings: &mut Findings,
    ) -> Result<Option<Entry<'a, &'a str>>, Refused> {
        let Some((cell, value)) = self.find(key) else {
            return Ok(None);
        };
        match value.get_ref() {
            DeValue::String(_) if cell.text.is_empty() => {
                findings.refuse(cell.complaint("is empty", "write it between the quotation marks"))
            }
            DeValue::String(_) => Ok(Some(Entry {
                cell,
                value: cell.text,
            })),
            _ => findings.refuse(cell.complaint("is not text", "put it into quotation marks")),
        }
    }

    /// The texts at `key`: one, or a list of them in brackets; none if it is not
    /// there.
    pub fn texts(
        &self,
        key: &'static str,
        findings: &mut Findings,
    ) -> Result<Vec<Entry<'a, &'a str>>, Refused> {
        let Some((cell, value)) = self.find(key) else {
            return Ok(Vec::new());
        };
        let DeValue::Array(list) = value.get_ref() else {
            return Ok(self.text(key, findings)?.into_iter().collect());
        };
        let mut texts = Vec::new();
        for element in list.iter() {
            let DeValue::String(text) = element.get_ref() else {
                return findings.refuse(cell.complaint(
                    "is not a list of texts",
                    "put each into quotation marks, with commas between them",
                ));
            };
            let text = text.as_ref().trim();
            let line = self.source.line_of(element.span().start);
            texts.push(Entry {
                cell: Cell { line, text, ..cell },
                value: text,
            });
        }
        Ok(texts)
    }

    /// The number at `key`.
    pub fn number(
        &self,
        key: &'static str,
        findings: &mut Findings,
    ) -> Result<Option<Entry<'a, f64>>, Refused> {
        let Some((cell, value)) = self.find(key) else {
            return Ok(None);
        };
        Ok(Some(Entry {
            cell,
            value: as_number(value.get_ref(), cell, findings)?,
        }))
    }

    /// The numbers of the list at `key`, which is not empty; `None` if it is not
    /// there.
    pub fn numbers(
        &self,
        key: &'static str,
        findings: &mut Findings,
    ) -> Result<Option<Vec<Entry<'a, f64>>>, Refused> {
        let Some((cell, value)) = self.find(key) else {
            return Ok(None);
        };
        let DeValue::Array(list) = value.get_ref() else {
            return findings.refuse(cell.complaint(
                "is not a list of numbers",
                "put them into brackets, with commas between them",
            ));
        };
        if list.is_empty() {
            return findings
                .refuse(cell.complaint("is an empty list", "fill it, or remove the line"));
        }
        let mut numbers = Vec::new();
        for element in list.iter() {
            let written = self.source.text.get(element.span()).unwrap_or_default();
            let cell = Cell {
                line: self.source.line_of(element.span().start),
                text: written.trim_matches('"'),
                ..cell
            };
            numbers.push(Entry {
                cell,
                value: as_number(element.get_ref(), cell, findings)?,
            });
        }
        Ok(Some(numbers))
    }

    /// The number at `key` as a quantity; outside its limits it is refused with
    /// `mend`.
    pub fn quantity<Q: Quantity>(
        &self,
        key: &'static str,
        mend: &str,
        findings: &mut Findings,
    ) -> Result<Option<Q>, Refused> {
        match self.number(key, findings)? {
            None => Ok(None),
            Some(entry) => quantity(entry.cell, entry.value, mend, findings).map(Some),
        }
    }

    /// A standard uncertainty at `key`, or `assumed` where there is none: above
    /// zero, and not above `most`.
    pub fn uncertainty(
        &self,
        key: &'static str,
        assumed: f64,
        most: f64,
        findings: &mut Findings,
    ) -> Result<f64, Refused> {
        match self.number(key, findings)? {
            None => Ok(assumed),
            Some(entry) if entry.value > 0.0 && entry.value <= most => Ok(entry.value),
            Some(entry) => findings.refuse(entry.cell.complaint(
                format!("is not a standard uncertainty above 0 and up to {most}"),
                format!(
                    "write it in the key's own unit; {assumed} is assumed where it is left out"
                ),
            )),
        }
    }
}

/// The finite number that stands at `cell`.
fn as_number(value: &DeValue<'_>, cell: Cell<'_>, findings: &mut Findings) -> Result<f64, Refused> {
    let number = match value {
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
            .ok()
            .map(|integer| integer as f64),
        DeValue::Float(float) => float.as_str().parse().ok(),
        DeValue::String(_) => {
            return findings.refuse(cell.complaint(
                "is text, not a number",
                "write the number without quotation marks and with a decimal point",
            ));
        }
        _ => None,
    };
    match number {
        Some(value) if f64::is_finite(value) => Ok(value),
        Some(_) => findings.refuse(cell.complaint(
            "stands for no number",
            "write the number, or remove the line if it is not known",
        )),
        None => {
            findings.refuse(cell.complaint("is not a number", "write the number alone, e.g. 0.01"))
        }
    }
}
