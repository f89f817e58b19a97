//! A table in its plainest form: cells parted by commas, no empty rows or columns, names
//! as they are known.

use super::super::header::{Column, recognise_delimiter, records, skip_to_header};
use super::super::number::parse;
use super::super::time::Clock;
use super::cells::{Marks, MarksSeen, plain};
use super::columns::{Content, Named, is_number, understand};
use super::same::same;
use super::{Changes, Left};
use csv::StringRecord;

/// A row of the table, or its header.
struct Row {
    line: u64,
    cells: Vec<String>,
    /// Whether it has as many cells as the header names.
    fits: bool,
}

/// The table as it stands.
struct Sheet<'a> {
    delimiter: u8,
    columns: Vec<Named>,
    header: Vec<&'a str>,
    header_line: u64,
    rows: Vec<Row>,
    /// Lines with nothing in them.
    empty: Vec<u64>,
}

/// The text in its plainest form.
pub(super) fn tidy(
    text: &str,
    known: &[Column],
    clock: Option<&Clock>,
    changes: &mut Changes,
) -> Result<String, Left> {
    let (body, header_line, declared) = skip_to_header(text);
    let delimiter = declared.unwrap_or_else(|| recognise_delimiter(body, known));
    let mut empty = Vec::new();
    for (line, above) in (1..header_line).zip(text.split('\n')) {
        if above.trim().is_empty() {
            empty.push(line);
        } else {
            changes.at(line, "the line that names the separator is left out", false);
        }
    }
    let lines = lines_of(body, delimiter, header_line, &mut empty)?;
    let Some(((_, first), rest)) = lines.split_first() else {
        return Err("it is empty".to_owned());
    };
    let named = last_filled(first);
    let width = named.map_or(0, |last| last + 1);
    let header: Vec<&str> = first.iter().take(width).collect();
    let columns = understand(&header, known)
        .ok_or("its header names none of the columns, or one of them twice")?;

    let mut sheet = Sheet {
        delimiter,
        columns,
        header,
        header_line,
        rows: Vec::new(),
        empty,
    };
    sheet.rows.reserve(rest.len());
    let mut surplus = first.len() > width;
    for (line, record) in rest {
        let filled = last_filled(record);
        let Some(last) = filled else {
            sheet.empty.push(*line);
            continue;
        };
        let fits = last < width && record.len() >= width;
        surplus |= fits && record.len() > width;
        let most = if fits { width } else { record.len() };
        sheet.rows.push(Row {
            line: *line,
            cells: record.iter().take(most).map(str::to_owned).collect(),
            fits,
        });
    }
    if surplus {
        changes.whole("empty columns at the end are left out", false);
    }
    if let Some(why) = sheet.unnamed_commas(known) {
        return Err(why);
    }
    let after = sheet.plain(clock, text.ends_with('\n'), changes)?;
    if !same(text, &after, known, clock) {
        return Err("in its plainest form it would not say the same".to_owned());
    }
    if after != text && changes.0.is_empty() {
        changes.whole("quotation marks that part nothing are left out", false);
    }
    Ok(after)
}

/// Place of the last cell with something in it.
pub(super) fn last_filled(record: &StringRecord) -> Option<usize> {
    (0..record.len()).rev().find(|place| {
        record
            .get(*place)
            .is_some_and(|cell| !cell.trim().is_empty())
    })
}

/// The records of the table with their lines, each on one line of its own.
fn lines_of(
    body: &str,
    delimiter: u8,
    first_line: u64,
    empty: &mut Vec<u64>,
) -> Result<Vec<(u64, StringRecord)>, Left> {
    let over_lines = || "a quotation mark in it holds text of more than one line".to_owned();
    let mut whole = records(body, delimiter);
    let mut record = StringRecord::new();
    let mut lines = Vec::new();
    for (line, text) in (first_line..).zip(body.split_terminator('\n')) {
        if text.is_empty() {
            empty.push(line);
            continue;
        }
        let mut alone = StringRecord::new();
        let read = records(text, delimiter).read_record(&mut alone);
        let read_too = whole.read_record(&mut record);
        if !(matches!((read, read_too), (Ok(true), Ok(true))) && alone == record) {
            return Err(over_lines());
        }
        // A quotation mark never closed on the last line reads the same both ways.
        if text.bytes().filter(|byte| *byte == b'"').count() % 2 == 1 {
            return Err(format!(
                "line {line} has a quotation mark without its other half"
            ));
        }
        lines.push((line, alone));
    }
    match whole.read_record(&mut record) {
        Ok(false) => Ok(lines),
        _ => Err(over_lines()),
    }
}

impl Sheet<'_> {
    fn plain(
        &self,
        clock: Option<&Clock>,
        ends_with_a_line: bool,
        changes: &mut Changes,
    ) -> Result<String, Left> {
        let marks = self.marks();
        // Commas that may be decimal cannot stand among commas that part cells.
        let delimiter = match marks {
            Marks::Unsettled => self.delimiter,
            _ => b',',
        };
        if delimiter != self.delimiter {
            let were = if self.delimiter == b'\t' {
                "tabs"
            } else {
                "semicolons"
            };
            changes.whole(format!("cells are parted by commas, not {were}"), false);
        }
        let mut empty = self.empty.clone();
        empty.sort_unstable();
        for line in &empty {
            changes.at(*line, "empty lines and rows are left out", false);
        }
        let mut writer = csv::WriterBuilder::new()
            .delimiter(delimiter)
            .flexible(true)
            .from_writer(Vec::new());
        let failed = |_: csv::Error| "it cannot be written as a table".to_owned();
        for (written, column) in self.header.iter().zip(&self.columns) {
            if column.content != Content::Own && *written != column.name {
                let slip = written.trim().to_lowercase() != column.name;
                let what = format!("the column `{written}` is named `{}`", column.name);
                changes.at(self.header_line, &what, slip);
            }
        }
        let names = self.columns.iter().map(|column| &column.name);
        writer.write_record(names).map_err(failed)?;
        for row in &self.rows {
            if !row.fits {
                writer.write_record(&row.cells).map_err(failed)?;
                continue;
            }
            let cells = row.cells.iter().zip(&self.columns).map(|(cell, column)| {
                let (plain, done) = plain(cell, column, marks, clock);
                for (what, mends) in done {
                    changes.at(row.line, what, mends);
                }
                plain
            });
            let cells: Vec<String> = cells.collect();
            writer.write_record(&cells).map_err(failed)?;
        }
        let bytes = writer
            .into_inner()
            .map_err(|_| "it cannot be written as a table")?;
        let mut text = String::from_utf8(bytes).map_err(|_| "it is not text")?;
        // Whether the last row is whole is nothing to guess at.
        if !ends_with_a_line {
            text.truncate(text.trim_end_matches('\n').len());
        }
        Ok(text)
    }

    /// Why the file must wait for a name: a column that it must have is missing, and one
    /// that is not known holds numbers with decimal commas, which would stay behind.
    fn unnamed_commas(&self, known: &[Column]) -> Option<Left> {
        let named = |name: &str| self.columns.iter().any(|column| column.name == name);
        let missing = known
            .iter()
            .find(|column| column.required && is_number(column) && !named(column.name))?;
        let place = (0..self.columns.len()).find(|place| {
            let cells = || {
                let rows = self.rows.iter().filter(|row| row.fits);
                rows.filter_map(|row| row.cells.get(*place).map(|cell| cell.trim()))
                    .filter(|cell| !cell.is_empty())
            };
            self.columns[*place].content == Content::Own
                && cells().all(|cell| parse(cell).is_ok())
                && cells().any(|cell| cell.contains(','))
        })?;
        Some(format!(
            "its column `{}` holds numbers with decimal commas and is not known, while {} is \
             missing: give it the name that is meant, then run this again",
            self.header.get(place)?,
            missing.name
        ))
    }

    fn marks(&self) -> Marks {
        let mut seen = MarksSeen::default();
        for row in self.rows.iter().filter(|row| row.fits) {
            for (cell, column) in row.cells.iter().zip(&self.columns) {
                if matches!(column.content, Content::Number { .. }) {
                    seen.look_at(cell, &column.name);
                }
            }
        }
        seen.settled(self.delimiter)
    }
}
