//! Delimited text: a header line, then one row a line, cells parted by comma,
//! semicolon or tab.
//!
//! Column order is free and names are compared without case or surrounding
//! blanks. Columns the program does not know stay in the file and are reported.
//! Every cell knows its line and column.

use super::header::{Column, Header, Place, records};
use super::source::Source;
use crate::failure::Complaint;
use crate::findings::{Cell, Findings, Refused};
use csv::StringRecord;
use std::path::Path;

/// A file whose header has been understood.
#[derive(Debug)]
pub struct Sheet<'a> {
    file: &'a Path,
    header: Header<'a>,
}

/// One row with something in it.
#[derive(Debug)]
pub struct Row<'r> {
    file: &'r Path,
    /// Line of the file.
    pub line: u64,
    record: &'r StringRecord,
}

impl<'r> Row<'r> {
    /// The cell in the column at `place`; empty if the file has no such column.
    pub fn cell(&self, place: Place) -> Cell<'r> {
        Cell {
            file: self.file,
            line: self.line,
            column: place.name,
            text: place
                .index
                .and_then(|index| self.record.get(index))
                .unwrap_or("")
                .trim(),
        }
    }
}

impl<'a> Sheet<'a> {
    /// Opens `source`, which may hold `columns`.
    pub fn open(
        source: &'a Source,
        columns: &[Column],
        findings: &mut Findings,
    ) -> Result<Self, Refused> {
        Ok(Self {
            file: &source.file,
            header: Header::read(source, columns, findings)?,
        })
    }

    /// The same sheet over a later part of the file: `text` opens with the header
    /// line again, and what follows it stands in the file from the line after
    /// `first_line`.
    pub fn over<'b>(&'b self, text: &'b str, first_line: u64) -> Sheet<'b> {
        Sheet {
            file: self.file,
            header: self.header.over(text, first_line),
        }
    }

    /// The header line, without what ends it.
    pub fn header_line(&self) -> &'a str {
        self.header.text.lines().next().unwrap_or_default()
    }

    /// Line of the file on which the header stands.
    pub fn first_line(&self) -> u64 {
        self.header.first_line
    }

    /// Cells of a row, up to the last that the header names.
    pub fn width(&self) -> usize {
        self.header.width
    }

    /// The character between cells.
    pub fn delimiter(&self) -> u8 {
        self.header.delimiter
    }

    /// Where the column called `name` stands.
    pub fn place(&self, name: &'static str) -> Place {
        self.header.place(name)
    }

    /// Calls `with_row` for each row that has something in it. Rows that do not
    /// fit the header are complained about and left out; so is a sheet without any.
    pub fn each_row(&self, findings: &mut Findings, with_row: impl FnMut(Row<'_>, &mut Findings)) {
        if self.rows(findings, with_row) == 0 {
            self.complain_of_no_rows(findings);
        }
    }

    /// As [`each_row`](Self::each_row), for a part of a sheet that may hold none;
    /// tells how many there were.
    pub fn rows(
        &self,
        findings: &mut Findings,
        mut with_row: impl FnMut(Row<'_>, &mut Findings),
    ) -> u64 {
        let mut rows = 0_u64;
        self.walk(|extent, record| {
            if record.iter().all(|cell| cell.trim().is_empty()) {
                return true;
            }
            rows += 1;
            match self.misfit(extent, record) {
                Some(complaint) => findings.complain(complaint),
                None => with_row(
                    Row {
                        file: self.file,
                        line: extent.first,
                        record,
                    },
                    findings,
                ),
            }
            true
        });
        rows
    }

    /// Complains of a header alone.
    pub fn complain_of_no_rows(&self, findings: &mut Findings) {
        findings.complain(
            Complaint::about(
                self.file,
                "holds a header and no rows",
                "add a row for each thing measured",
            )
            .at_line(self.header.first_line),
        );
    }

    /// The cells of one column, at most `most` of them, without the empty ones.
    pub fn first_cells(&self, place: Place, most: usize) -> Vec<String> {
        let mut cells = Vec::new();
        self.walk(|_, record| {
            let text = place.index.and_then(|i| record.get(i)).unwrap_or("").trim();
            if !text.is_empty() {
                cells.push(text.to_owned());
            }
            cells.len() < most
        });
        cells
    }

    /// Visits the records after the header, while `visit` says so.
    fn walk(&self, mut visit: impl FnMut(Extent, &StringRecord) -> bool) {
        let bytes = self.header.text.as_bytes();
        let mut lines = Lines {
            bytes,
            at: 0,
            line: self.header.first_line,
        };
        let mut reader = records(self.header.text, self.header.delimiter);
        let mut record = StringRecord::new();
        let mut header = true;
        while let Ok(true) = reader.read_record(&mut record) {
            if std::mem::take(&mut header) {
                continue;
            }
            let from = record.position().map_or(0, |p| p.byte() as usize);
            // The reader passes over empty lines without saying so.
            let blank = bytes
                .get(from..)
                .unwrap_or_default()
                .iter()
                .take_while(|byte| matches!(byte, b'\r' | b'\n'))
                .count();
            let first = lines.line_at(from + blank);
            let breaks = record
                .iter()
                .map(|cell| cell.bytes().filter(|b| *b == b'\n').count() as u64)
                .sum::<u64>();
            let closed = breaks == 0 || {
                let end = reader.position().byte() as usize;
                let written = bytes.get(from..end).unwrap_or_default();
                written.iter().filter(|byte| **byte == b'"').count() % 2 == 0
            };
            let extent = Extent {
                first,
                last: first + breaks,
                closed,
            };
            if !visit(extent, &record) {
                break;
            }
        }
    }

    /// Why a row does not fit the header, if it does not.
    fn misfit(&self, extent: Extent, record: &StringRecord) -> Option<Complaint> {
        let about = |what: String, mend: &str| {
            Some(Complaint::about(self.file, what, mend).at_line(extent.first))
        };
        if !extent.closed {
            return about(
                "a quotation mark opened here is never closed".to_owned(),
                "close it on the same line",
            );
        }
        if extent.last > extent.first {
            return about(
                format!(
                    "a quotation mark opened here holds the text up to line {}",
                    extent.last
                ),
                "close it on the same line, and keep each note on one line",
            );
        }
        let filled = record
            .iter()
            .enumerate()
            .filter(|(_, cell)| !cell.trim().is_empty())
            .last()
            .map_or(0, |(last, _)| last + 1);
        let (cells, named) = (record.len(), self.header.width);
        if filled > named {
            let mend = if self.header.delimiter == b',' {
                "write decimal points, and put a text with a comma into quotation marks; \
                 or export with semicolons between the cells"
            } else {
                "remove the surplus cells, or name their columns in the header"
            };
            return about(
                format!("the row has {filled} cells where the header names {named}"),
                mend,
            );
        }
        if cells < named {
            return about(
                format!("the row has {cells} cells where the header names {named}"),
                "complete the row, or remove it if the log was cut off while writing it",
            );
        }
        None
    }
}

/// Where a record stands.
#[derive(Debug, Clone, Copy)]
struct Extent {
    /// Its first line.
    first: u64,
    /// Its last line, further down if a cell in quotation marks holds line breaks.
    last: u64,
    /// Whether its quotation marks come in pairs.
    closed: bool,
}

/// Counts lines up to positions that only ever grow.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    fn line_at(&mut self, position: usize) -> u64 {
        let between = self.bytes.get(self.at..position).unwrap_or_default();
        self.line += between.iter().filter(|byte| **byte == b'\n').count() as u64;
        self.at = self.at.max(position);
        self.line
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workbench::SourceFile;

    const COLUMNS: [Column; 3] = [
        Column::required("sample_id", "the core's identifier"),
        Column::required("dry_g", "container with the oven-dry soil, g"),
        Column::optional("note", "free text"),
    ];

    fn source(text: &str) -> Source {
        Source {
            file: "samples.csv".into(),
            text: text.to_owned(),
            stamp: SourceFile {
                name: "samples.csv".to_owned(),
                sha256: String::new(),
            },
        }
    }

    /// Each row as `line: sample_id|dry_g|note`, then complaints and warnings.
    fn read(text: &str) -> (Vec<String>, Vec<String>, Vec<String>) {
        let source = source(text);
        let mut findings = Findings::default();
        let mut rows = Vec::new();
        if let Ok(sheet) = Sheet::open(&source, &COLUMNS, &mut findings) {
            let [id, dry, note] = COLUMNS.map(|column| sheet.place(column.name));
            sheet.each_row(&mut findings, |row, _| {
                let text = |place| row.cell(place).text.to_owned();
                rows.push(format!(
                    "{}: {}|{}|{}",
                    row.line,
                    text(id),
                    text(dry),
                    text(note)
                ));
            });
        }
        let (complaints, warnings) = findings.finish(&[&source.file]);
        (
            rows,
            complaints.iter().map(Complaint::to_string).collect(),
            warnings.iter().map(|w| w.what.clone()).collect(),
        )
    }

    fn rows(text: &str) -> Vec<String> {
        let (rows, complaints, _) = read(text);
        assert_eq!(complaints, Vec::<String>::new(), "{text}");
        rows
    }

    #[test]
    fn comma_semicolon_and_tab_are_recognised_from_the_header() {
        for delimiter in [",", ";", "\t"] {
            let text = "sample_id,note,dry_g\nA1,wet end,180\n".replace(',', delimiter);
            assert_eq!(rows(&text), ["2: A1|180|wet end"]);
        }
    }

    #[test]
    fn a_semicolon_file_may_hold_commas_in_its_header() {
        assert_eq!(
            rows("sample_id;dry_g;\"weather, wind, mood\"\nA1;180,5;x\n"),
            ["2: A1|180,5|"]
        );
    }

    #[test]
    fn a_spreadsheets_separator_line_is_honoured_and_counted() {
        assert_eq!(
            rows("sep=;\r\nsample_id;dry_g\r\nA1;180\r\n"),
            ["3: A1|180|"]
        );
    }

    #[test]
    fn lines_are_counted_through_crlf_empty_lines_and_empty_rows() {
        assert_eq!(
            rows("Sample_ID , DRY_G\r\n\r\nA1,180\r\n , \r\n\r\n\r\nA2,181\r\n,\r\n"),
            ["3: A1|180|", "7: A2|181|"]
        );
    }

    #[test]
    fn trailing_empty_cells_of_a_spreadsheet_do_no_harm() {
        assert_eq!(rows("sample_id,dry_g,,\nA1,180,,\n"), ["2: A1|180|"]);
        assert_eq!(rows("sample_id,dry_g,,\nA1,180\n"), ["2: A1|180|"]);
        assert_eq!(rows("sample_id,dry_g\nA1,180,,\n"), ["2: A1|180|"]);
    }

    #[test]
    fn a_missing_column_is_named_with_the_one_probably_meant() {
        let (_, complaints, _) = read("sample_id,Dry weight (g)\nA1,180\n");
        assert_eq!(
            complaints,
            ["samples.csv:1: dry_g: the column is missing\n  \
              mend: rename the column `Dry weight (g)` to `dry_g`"]
        );
        let (_, complaints, _) = read("sample_id,mood\nA1,180\n");
        assert_eq!(
            complaints,
            ["samples.csv:1: dry_g: the column is missing\n  \
              mend: add a column `dry_g`: container with the oven-dry soil, g"]
        );
    }

    #[test]
    fn a_decimal_comma_in_a_comma_file_is_seen_as_a_cell_too_many() {
        let (rows, complaints, _) = read("sample_id,dry_g\nA1,180,5\nA2,181\n");
        assert_eq!(rows, ["3: A2|181|"]);
        assert_eq!(complaints.len(), 1);
        assert!(complaints[0].starts_with(
            "samples.csv:2: the row has 3 cells where the header names 2\n  mend: write decimal points"
        ));
    }

    #[test]
    fn a_quotation_mark_that_swallows_lines_is_refused() {
        let complaint = |text| {
            let (rows, complaints, _) = read(text);
            assert!(rows.is_empty());
            complaints.join("").lines().next().unwrap().to_owned()
        };
        assert_eq!(
            complaint("sample_id,dry_g,note\nA1,180,\"open\nA2,181,x\n"),
            "samples.csv:2: a quotation mark opened here is never closed"
        );
        assert_eq!(
            complaint("sample_id,dry_g,note\nA1,180,\"open\nA2,181,\"\n"),
            "samples.csv:2: a quotation mark opened here holds the text up to line 3"
        );
    }

    #[test]
    fn unknown_columns_are_reported_and_do_not_stop_the_work() {
        let (rows, complaints, warnings) = read("sample_id,mood,dry_g,sky,notes\nA1,x,180,y,z\n");
        assert_eq!(rows, ["2: A1|180|"]);
        assert!(complaints.is_empty());
        assert_eq!(
            warnings,
            [
                "the column `notes` is not one this program reads",
                "the columns `mood` and `sky` are not ones this program reads"
            ]
        );
    }
}
