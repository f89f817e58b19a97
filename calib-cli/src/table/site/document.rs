//! site.toml as a document: its tables, found by name.

use super::declaration::{Declaration, Key};
use crate::failure::Complaint;
use crate::findings::{Findings, Refused};
use crate::table::nearest::{listed, nearest};
use crate::table::source::Source;
use toml::de::{DeTable, DeValue};

/// The tables of the file, by key and as they stand there.
const TABLES: [(&str, &str); 12] = [
    ("site", "[site]"),
    ("balance", "[balance]"),
    ("ring", "[ring]"),
    ("readings", "[readings]"),
    ("soil", "[[soil]]"),
    ("probe", "[[probe]]"),
    ("medium", "[[medium]]"),
    ("controller", "[controller]"),
    ("stage", "[[stage]]"),
    ("bed", "[[bed]]"),
    ("plan", "[plan]"),
    ("capture", "[capture]"),
];

/// The document with the text it came from.
pub(super) struct File<'a> {
    pub(super) source: &'a Source,
    pub(super) document: &'a DeTable<'a>,
}

impl<'a> File<'a> {
    /// The table `name`, if it is there.
    pub(super) fn table(
        &self,
        name: &'static str,
        heading: &'static str,
        keys: &'static [Key],
        findings: &mut Findings,
    ) -> Result<Option<Declaration<'a>>, Refused> {
        let Some((key, value)) = self.document.get_key_value(name) else {
            return Ok(None);
        };
        let offset = key.span().start;
        match value.get_ref() {
            DeValue::Table(table) => Ok(Some(Declaration::open(
                self.source,
                heading,
                offset,
                table,
                keys,
                findings,
            ))),
            _ => findings.refuse(self.misshapen(name, heading, offset)),
        }
    }

    /// The tables `name`, at least one.
    pub(super) fn tables(
        &self,
        name: &'static str,
        heading: &'static str,
        keys: &'static [Key],
        findings: &mut Findings,
    ) -> Result<Vec<Declaration<'a>>, Refused> {
        if !self.document.contains_key(name) {
            return findings.refuse(Complaint::about(
                &self.source.file,
                format!("has no {heading}"),
                format!("add a {heading} table for each {name}"),
            ));
        }
        self.tables_if_any(name, heading, keys, findings)
    }

    /// The tables `name`, which may be none.
    pub(super) fn tables_if_any(
        &self,
        name: &'static str,
        heading: &'static str,
        keys: &'static [Key],
        findings: &mut Findings,
    ) -> Result<Vec<Declaration<'a>>, Refused> {
        let Some((key, value)) = self.document.get_key_value(name) else {
            return Ok(Vec::new());
        };
        let misshapen = |offset| self.misshapen(name, heading, offset);
        let DeValue::Array(array) = value.get_ref() else {
            return findings.refuse(misshapen(key.span().start));
        };
        let mut tables = Vec::new();
        for element in array.iter() {
            let offset = element.span().start;
            match element.get_ref() {
                DeValue::Table(table) => tables.push(Declaration::open(
                    self.source,
                    heading,
                    offset,
                    table,
                    keys,
                    findings,
                )),
                _ => return findings.refuse(misshapen(offset)),
            }
        }
        Ok(tables)
    }

    fn misshapen(&self, name: &str, heading: &str, offset: usize) -> Complaint {
        Complaint {
            column: Some(name.to_owned()),
            ..Complaint::about(
                &self.source.file,
                format!("does not stand as a table {heading}"),
                format!("write {heading} on a line of its own and the keys below it"),
            )
            .at_line(self.source.line_of(offset))
        }
    }
}

/// Complains of what TOML does not allow. Keys that stand again below one heading
/// lack the heading between them: that is told once.
pub(super) fn complain_of_syntax(
    source: &Source,
    errors: &[toml::de::Error],
    findings: &mut Findings,
) {
    let mut crowded = Vec::new();
    for error in errors {
        let offset = error.span().map_or(0, |span| span.start);
        let line = source.line_of(offset);
        let written = source
            .text
            .lines()
            .nth(usize::try_from(line - 1).unwrap_or(usize::MAX))
            .unwrap_or_default();
        let mend = if error.message().contains("duplicate key") {
            match heading_above(source, line) {
                Some((name, heading)) if heading.starts_with("[[") => {
                    if crowded.contains(&heading) {
                        continue;
                    }
                    crowded.push(heading);
                    format!("put {heading} before each {name}; below it each key stands once")
                }
                _ => "keep one of the two".to_owned(),
            }
        } else if has_decimal_comma(written) {
            "write the number with a decimal point".to_owned()
        } else {
            "write key = value, with text in quotation marks".to_owned()
        };
        findings.complain(
            Complaint::about(
                &source.file,
                format!(
                    "cannot be understood ({}): {}",
                    error.message(),
                    written.trim()
                ),
                mend,
            )
            .at_line(line),
        );
    }
}

/// The table `line` belongs to, by key and as it stands there.
fn heading_above(source: &Source, line: u64) -> Option<(&'static str, &'static str)> {
    let heading = source
        .text
        .lines()
        .take(usize::try_from(line).unwrap_or(usize::MAX))
        .map(|line| line.split('#').next().unwrap_or_default().trim())
        .filter(|line| line.starts_with('['))
        .last()?;
    TABLES.into_iter().find(|table| table.1 == heading)
}

/// Whether a line reads `key = 1,5`.
fn has_decimal_comma(line: &str) -> bool {
    line.split_once('=').is_some_and(|(_, value)| {
        value.split_once(',').is_some_and(|(before, after)| {
            let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
            let after = after.split('#').next().unwrap_or_default();
            digits(before.trim().trim_start_matches('-')) && digits(after.trim())
        })
    })
}

/// Refuses tables the file must not have.
pub(super) fn refuse_unknown_tables(
    source: &Source,
    document: &DeTable<'_>,
    findings: &mut Findings,
) {
    for (key, value) in document {
        let written = key.get_ref().as_ref();
        if TABLES.iter().any(|(name, _)| *name == written) {
            continue;
        }
        let is_table = matches!(value.get_ref(), DeValue::Table(_) | DeValue::Array(_));
        let what = if is_table {
            "is not a table of site.toml"
        } else {
            "stands before the first table"
        };
        let heading_of = |name| TABLES.iter().find(|t| t.0 == name).map(|t| t.1);
        let mend = match nearest(written, TABLES.iter().map(|t| t.0)).and_then(heading_of) {
            Some(heading) if is_table => format!("rename it to {heading}"),
            _ if is_table => format!(
                "remove it; there may be {}",
                listed(TABLES.iter().map(|t| t.1))
            ),
            _ => "move it below the table it belongs to".to_owned(),
        };
        findings.complain(Complaint {
            column: Some(written.to_owned()),
            ..Complaint::about(&source.file, what, mend).at_line(source.line_of(key.span().start))
        });
    }
}
