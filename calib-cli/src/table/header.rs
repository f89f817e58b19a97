//! The header line: which column stands where, and what parts the cells.

use super::names::NOTE;
use super::nearest::{listed, nearest, other_unit, slip_of};
use super::source::Source;
use crate::failure::{Complaint, Warning};
use crate::findings::{Findings, Refused};
use csv::StringRecord;

/// A column a file may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Its name in the header.
    pub name: &'static str,
    /// What stands in it, with its unit, for messages.
    pub meaning: &'static str,
    /// Whether the file must have it.
    pub required: bool,
}

impl Column {
    /// A column the file must have.
    pub const fn required(name: &'static str, meaning: &'static str) -> Self {
        Self {
            name,
            meaning,
            required: true,
        }
    }

    /// A column the file may lack.
    pub const fn optional(name: &'static str, meaning: &'static str) -> Self {
        Self {
            name,
            meaning,
            required: false,
        }
    }
}

/// Where a known column stands in this file, if it does.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    /// Its name.
    pub name: &'static str,
    /// Its place in a row, from 0.
    pub index: Option<usize>,
}

impl Place {
    /// Whether the file has this column.
    pub fn is_there(&self) -> bool {
        self.index.is_some()
    }
}

/// A header that has been understood.
#[derive(Debug)]
pub struct Header<'a> {
    /// Everything from the header line on.
    pub text: &'a str,
    /// Line of the file on which `text` starts.
    pub first_line: u64,
    /// The character between cells.
    pub delimiter: u8,
    /// Cells up to the last that is named.
    pub width: usize,
    places: Vec<Place>,
}

impl<'a> Header<'a> {
    /// Understands the header of `source`, which may hold `columns`.
    pub fn read(
        source: &'a Source,
        columns: &[Column],
        findings: &mut Findings,
    ) -> Result<Self, Refused> {
        let (text, first_line, declared) = skip_to_header(&source.text);
        let delimiter = declared.unwrap_or_else(|| recognise_delimiter(text, columns));
        let mut header = StringRecord::new();
        // Reading from memory meets no I/O fault, and the text is UTF-8 already.
        let _ = records(text, delimiter).read_record(&mut header);
        let at_header = |what: String, mend: String| {
            Complaint::about(&source.file, what, mend).at_line(first_line)
        };

        let names: Vec<&str> = header.iter().map(str::trim).collect();
        let index_of = |column: &Column| {
            let mut found = (0..names.len()).filter(|i| same_name(names[*i], column.name));
            (found.next(), found.next())
        };
        if !columns.iter().any(|column| index_of(column).0.is_some()) {
            let required = columns.iter().filter(|c| c.required).map(|c| c.name);
            return findings.refuse(at_header(
                "is not a header: it names none of the columns".to_owned(),
                format!(
                    "let the first line name the columns: at least {}",
                    listed(required)
                ),
            ));
        }

        let strangers: Vec<&str> = names
            .iter()
            .copied()
            .filter(|name| !name.is_empty() && !columns.iter().any(|c| same_name(name, c.name)))
            .collect();
        let mut sound = true;
        let mut places = Vec::with_capacity(columns.len());
        for column in columns {
            let (index, again) = index_of(column);
            if again.is_some() {
                sound = false;
                findings.complain(Complaint {
                    column: Some(column.name.to_owned()),
                    ..at_header(
                        "stands in the header twice".to_owned(),
                        "rename or remove one of the two columns".to_owned(),
                    )
                });
            }
            if index.is_none() && column.required {
                sound = false;
                let mend = match likely(column, &strangers, columns) {
                    Some(name) => rename(name, column.name),
                    None => format!("add a column `{}`: {}", column.name, column.meaning),
                };
                findings.complain(Complaint {
                    column: Some(column.name.to_owned()),
                    ..at_header("the column is missing".to_owned(), mend)
                });
            } else if index.is_none()
                && let Some(name) = likely(column, &strangers, columns)
                // Nothing is reckoned from a note, so a name like it costs nothing.
                && column.name != NOTE
                && slip_of(name, column.name)
            {
                sound = false;
                findings.complain(Complaint {
                    column: Some(name.to_owned()),
                    ..at_header(
                        format!(
                            "looks like the column `{}`, which is not there",
                            column.name
                        ),
                        format!(
                            "{}, or give a column of your own another name",
                            rename(name, column.name)
                        ),
                    )
                });
            }
            places.push(Place {
                name: column.name,
                index,
            });
        }
        if !sound {
            return Err(Refused);
        }
        let absent = places.iter().filter(|p| !p.is_there()).map(|p| p.name);
        report_strangers(source, first_line, &strangers, absent, findings);
        Ok(Self {
            text,
            first_line,
            delimiter,
            width: names
                .iter()
                .rposition(|name| !name.is_empty())
                .map_or(0, |last| last + 1),
            places,
        })
    }

    /// The same header over another part of the file, from `first_line` on.
    pub fn over<'b>(&self, text: &'b str, first_line: u64) -> Header<'b> {
        Header {
            text,
            first_line,
            delimiter: self.delimiter,
            width: self.width,
            places: self.places.clone(),
        }
    }

    /// Where the column called `name` stands.
    pub fn place(&self, name: &'static str) -> Place {
        self.places
            .iter()
            .copied()
            .find(|place| place.name == name)
            .unwrap_or(Place { name, index: None })
    }
}

/// The records of `text`, the header among them.
pub fn records(text: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
}

/// Passes over empty lines and a spreadsheet's `sep=;` line; gives the text from
/// the header on, its line, and the delimiter if one was declared.
pub(super) fn skip_to_header(text: &str) -> (&str, u64, Option<u8>) {
    let mut rest = text;
    let mut line = 1;
    let mut declared = None;
    while let Some(end) = rest.find('\n') {
        let first = rest[..end].trim();
        match first.as_bytes() {
            [] => {}
            [b's', b'e', b'p', b'=', delimiter @ (b',' | b';')] => declared = Some(*delimiter),
            _ => break,
        }
        rest = &rest[end + 1..];
        line += 1;
    }
    (rest, line, declared)
}

/// The delimiter that makes most known names of the header line; among equals,
/// the one that makes most cells.
pub(super) fn recognise_delimiter(text: &str, columns: &[Column]) -> u8 {
    let mut best = (b',', (0, 0));
    for delimiter in [b',', b';', b'\t'] {
        let mut header = StringRecord::new();
        let _ = records(text, delimiter).read_record(&mut header);
        let known = header
            .iter()
            .filter(|name| columns.iter().any(|column| same_name(name, column.name)))
            .count();
        let score = (known, header.len());
        if score > best.1 {
            best = (delimiter, score);
        }
    }
    best.0
}

fn same_name(written: &str, name: &str) -> bool {
    written.trim().to_lowercase() == name
}

/// The stranger that was probably meant as `column`, if that is the column it is
/// most like.
fn likely<'s>(column: &Column, strangers: &[&'s str], columns: &[Column]) -> Option<&'s str> {
    let name = nearest(column.name, strangers.iter().copied())?;
    (nearest(name, columns.iter().map(|c| c.name)) == Some(column.name)).then_some(name)
}

/// How a column under another name gets the known one.
fn rename(name: &str, known: &str) -> String {
    match other_unit(name, known) {
        Some((from, to)) => {
            format!("convert the column `{name}` from {from} to {to} and name it `{known}`")
        }
        None => format!("rename the column `{name}` to `{known}`"),
    }
}

fn report_strangers<'n>(
    source: &Source,
    line: u64,
    strangers: &[&str],
    absent: impl Iterator<Item = &'n str> + Clone,
    findings: &mut Findings,
) {
    let warning = |what: String, advice: String| Warning {
        place: format!("{}:{line}", source.file.display()),
        what,
        why: "its cells stay in the file and are not used".to_owned(),
        advice,
    };
    let mut plain = Vec::new();
    for stranger in strangers {
        match nearest(stranger, absent.clone()) {
            Some(name) => findings.warn(warning(
                format!("the column `{stranger}` is not one this program reads"),
                format!("if it holds what belongs in `{name}`, rename it so"),
            )),
            None => plain.push(format!("`{stranger}`")),
        }
    }
    if let [one] = plain.as_slice() {
        findings.warn(warning(
            format!("the column {one} is not one this program reads"),
            "nothing, if it is for your own use".to_owned(),
        ));
    } else if !plain.is_empty() {
        findings.warn(Warning {
            why: "their cells stay in the file and are not used".to_owned(),
            ..warning(
                format!(
                    "the columns {} are not ones this program reads",
                    listed(plain.iter().map(String::as_str))
                ),
                "nothing, if they are for your own use".to_owned(),
            )
        });
    }
}
