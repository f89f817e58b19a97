//! The proof that a table still says what it said: read before and after by the rules of
//! the readers, number by number, time by time, letter by letter.

use super::super::header::{Column, recognise_delimiter, records, skip_to_header};
use super::super::number::Numbers;
use super::super::time::Clock;
use super::cells::{NONE, is_doubtful, without_own_unit};
use super::columns::{Content, Named, understand};
use super::sheet::last_filled;
use crate::findings::{Cell, Findings};
use csv::StringRecord;
use std::path::Path;

/// A table as a reader of it has it.
struct Table {
    header: Vec<String>,
    columns: Vec<Named>,
    rows: Vec<Vec<String>>,
    /// What each cell of a column of numbers is read as, cell by cell; `None` where it
    /// is refused or empty.
    numbers: Vec<Vec<Option<f64>>>,
    /// Whether a number in it is written with a comma.
    commas: bool,
    /// Whether every mark in its numbers can only be the decimal one.
    settled: bool,
}

impl Table {
    fn read(text: &str, known: &[Column]) -> Option<Self> {
        let (body, _, declared) = skip_to_header(text);
        let delimiter = declared.unwrap_or_else(|| recognise_delimiter(body, known));
        let mut reader = records(body, delimiter);
        let mut record = StringRecord::new();
        reader.read_record(&mut record).ok()?;
        let named = last_filled(&record)?;
        let header: Vec<&str> = record.iter().take(named + 1).collect();
        let columns = understand(&header, known)?;
        let header: Vec<String> = header.into_iter().map(str::to_owned).collect();
        let mut reads = Numbers::in_file_parted_by(delimiter);
        let (mut rows, mut numbers) = (Vec::new(), Vec::new());
        let (mut commas, mut points) = (false, false);
        let width = columns.len();
        while reader.read_record(&mut record).ok()? {
            let Some(last) = last_filled(&record) else {
                continue;
            };
            let mut cells: Vec<String> = record.iter().map(str::to_owned).collect();
            if last >= width || cells.len() < width {
                numbers.push(Vec::new());
                rows.push(cells);
                continue;
            }
            cells.truncate(width);
            let of_row = cells.iter().zip(&columns).map(|(cell, column)| {
                let text = cell.trim();
                if !matches!(column.content, Content::Number { .. }) || text.is_empty() {
                    return None;
                }
                commas |= text.contains(',');
                points |= text.contains('.');
                let cell = Cell {
                    file: Path::new(""),
                    line: 0,
                    column: &column.name,
                    text,
                };
                reads.read(cell, &mut Findings::default()).ok()
            });
            numbers.push(of_row.collect());
            rows.push(cells);
        }
        Some(Self {
            header,
            columns,
            rows,
            numbers,
            commas,
            settled: !commas || (delimiter != b',' && !points),
        })
    }
}

/// Whether both texts are the same table, of which `after` is the plain form.
pub(super) fn same(before: &str, after: &str, known: &[Column], clock: Option<&Clock>) -> bool {
    let (Some(before), Some(after)) = (Table::read(before, known), Table::read(after, known))
    else {
        return false;
    };
    let names = before.columns.iter().map(|column| &column.name);
    if before.columns != after.columns
        || !names.eq(after.header.iter())
        || before.rows.len() != after.rows.len()
    {
        return false;
    }
    let rows = before.rows.iter().zip(&after.rows);
    let numbers = before.numbers.iter().zip(&after.numbers);
    rows.zip(numbers).all(|((was, is), (was_read, is_read))| {
        if was_read.is_empty() || is_read.is_empty() {
            return was == is && was_read.len() == is_read.len();
        }
        let read = was_read.iter().zip(is_read);
        let mut cells = was.iter().zip(is).zip(read).zip(&before.columns);
        was.len() == is.len()
            && cells.all(|(((was, is), read), column)| match column.content {
                Content::Own => was == is,
                Content::Text => was.trim() == is,
                Content::Time => same_time(was.trim(), is, clock),
                Content::Number { optional } => {
                    same_number(was.trim(), is, &column.name, optional, before.commas)
                        && same_reading(was.trim(), read, &column.name, before.settled)
                }
            })
    })
}

fn same_time(was: &str, is: &str, clock: Option<&Clock>) -> bool {
    let meant = |text| clock.and_then(|clock| clock.time(text));
    was == is || (meant(was).is_some() && meant(was) == meant(is))
}

/// Whether the same letters stand there, but for a decimal comma, the column's own unit
/// and a word for nothing.
fn same_number(was: &str, is: &str, column: &str, optional: bool, commas: bool) -> bool {
    let number = without_own_unit(was, column);
    was == is
        || number == is
        || (commas && number.replace(',', ".") == is)
        || (optional && is.is_empty() && NONE.contains(&was.to_lowercase().as_str()))
}

/// Whether what was read is read again, to the last bit, and what was refused is read
/// only where it can mean but one number.
fn same_reading(
    was: &str,
    (was_read, is_read): (&Option<f64>, &Option<f64>),
    column: &str,
    settled: bool,
) -> bool {
    match (was_read, is_read) {
        (Some(was), Some(is)) => was.to_bits() == is.to_bits(),
        (Some(_), None) => false,
        (None, None) => true,
        (None, Some(_)) => settled || !is_doubtful(without_own_unit(was, column)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::{readings, samples};
    use super::*;

    const BEFORE: &str =
        "sample_id;soil;level;tare_g;wet_g;dry_g;mood\nA1;loam;1;38,42;184,45;178,28; fine\n";
    const AFTER: &str =
        "sample_id,soil,level,tare_g,wet_g,dry_g,mood\nA1,loam,1,38.42,184.45,178.28, fine\n";

    #[test]
    fn the_plain_form_of_a_table_is_the_same_and_any_other_digit_or_letter_is_not() {
        assert!(same(BEFORE, AFTER, &samples::COLUMNS, None));
        let texts = [
            ("38.42", "38.43"),
            ("38.42", "38.420"),
            ("38.42", "3842"),
            ("184.45,178.28", "178.28,184.45"),
            ("178.28", ""),
            ("A1", "A2"),
            ("loam,1", "loam,2"),
            (" fine", "fine"),
            ("wet_g,dry_g", "dry_g,wet_g"),
            ("mood", "note"),
            ("A1,", "A1,loam,1,38.42,184.45,178.28, fine\nA1,"),
            ("A1,loam,1,38.42,184.45,178.28, fine\n", ""),
        ];
        for (from, to) in texts {
            let other = AFTER.replacen(from, to, 1);
            assert_ne!(other, AFTER);
            assert!(!same(BEFORE, &other, &samples::COLUMNS, None), "{other}");
        }
    }

    #[test]
    fn a_number_that_was_refused_is_not_read_by_guessing() {
        let before = "timestamp;probe_id;raw_count;soil_temp_c\nx;P1;512;18,5\nx;P1;1.234;18,6\n";
        let after = "timestamp,probe_id,raw_count,soil_temp_c\nx,P1,512,18.5\nx,P1,1.234,18.6\n";
        assert!(!same(before, after, &readings::COLUMNS, None));
    }

    #[test]
    fn a_time_may_be_written_otherwise_and_mean_no_other() {
        let clock = Clock {
            patterns: vec!["%d/%m/%Y %H:%M".to_owned()],
            offset: Some(jiff::tz::Offset::UTC),
        };
        let table = |time: &str| format!("timestamp,probe_id,raw_count\n{time},P1,5\n");
        let same = |is| {
            let was = table("05/04/2026 08:10");
            same(&was, &table(is), &readings::COLUMNS, Some(&clock))
        };
        assert!(same("2026-04-05T08:10:00Z"));
        assert!(!same("2026-05-04T08:10:00Z"));
        assert!(!same("2026-04-05T08:10:01Z"));
    }
}
