//! log.csv: what the probes said through a season, whether the pump ran and how
//! much it rained. Read in blocks, so that a log of any length needs no more memory
//! than a short one.

use super::delimited::{Row, Sheet};
use super::header::{Column, Place};
use super::names::{
    COUNT, LOG, PROBE_ID, PUMP_ON, RAIN, SITE, SOIL_TEMPERATURE, SUPPLY, TIMESTAMP,
};
use super::readings::{Reader, SilentThermometer};
use super::site::{self, SiteFile};
use super::source::{Source, decode, shown_path};
use crate::failure::{Complaint, Failure, Warning};
use crate::findings::{Findings, Refused};
use crate::meant;
use crate::workbench::SourceFile;
use calib_core::quantity::{Celsius, Timestamp};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};

/// Bytes read at a time, and then on to the end of the line.
const BLOCK: u64 = 1 << 20;

/// More rain than this between two rows is a slip of unit or a running total, mm.
const MOST_RAIN_MM: f64 = 300.0;

/// The columns of log.csv.
pub const COLUMNS: [Column; 7] = [
    Column::required(TIMESTAMP, "when it was read"),
    Column::required(PROBE_ID, "id of the probe in site.toml"),
    Column::required(COUNT, "what the converter said"),
    Column::optional(SOIL_TEMPERATURE, "soil temperature, C"),
    Column::optional(SUPPLY, "supply or reference voltage, mV"),
    Column::optional(PUMP_ON, "1 while the pump runs, 0 while it rests"),
    Column::optional(RAIN, "rain since the row before, mm"),
];

/// One row of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct LogRow {
    /// When.
    pub time: Timestamp,
    /// The probe.
    pub probe: String,
    /// The converter's code.
    pub count: u32,
    /// Soil temperature, where there is one.
    pub temperature: Option<Celsius>,
    /// Whether the pump ran, where the log says so.
    pub pump_on: Option<bool>,
    /// Rain since the row before, mm, where the log says so.
    pub rain_mm: Option<f64>,
    /// Line of the file.
    pub line: u64,
}

/// What else there is to say of a log that was read.
#[derive(Debug)]
pub struct LogRead {
    /// The file.
    pub file: PathBuf,
    /// Rows read.
    pub rows: u64,
    /// Name and hash.
    pub stamp: SourceFile,
    /// What was noticed and did not stop the work.
    pub warnings: Vec<Warning>,
}

/// Reads `log`, or else the log.csv of `folder`, and gives each row to `with_row`.
///
/// # Errors
/// [`Failure::Input`] with every fault found in site.toml or the log; what
/// `with_row` was given until then is then of no use.
pub fn each_log_row(
    folder: &Path,
    log: Option<&Path>,
    with_row: impl FnMut(LogRow),
) -> Result<LogRead, Failure> {
    let mut findings = Findings::default();
    let site = match Source::read(folder, SITE, &mut findings) {
        Ok(source) => site::read(&source, &mut findings),
        Err(Refused) => site::UNREADABLE,
    };
    let file = log.map_or_else(|| shown_path(folder, LOG), Path::to_owned);
    let read = if site.site.is_some() {
        read(&file, &site, &mut findings, with_row).ok()
    } else {
        None
    };
    let site_file = shown_path(folder, SITE);
    let (complaints, warnings) = findings.finish(&[&site_file, &file]);
    match read {
        Some((rows, stamp)) if complaints.is_empty() => Ok(LogRead {
            file,
            rows,
            stamp,
            warnings,
        }),
        _ => Err(Failure::Input(complaints)),
    }
}

fn read(
    file: &Path,
    site: &SiteFile,
    findings: &mut Findings,
    mut with_row: impl FnMut(LogRow),
) -> Result<(u64, SourceFile), Refused> {
    let mut blocks = Blocks::open(file, findings)?;
    let first = blocks.next(findings)?.unwrap_or_default();
    if first.trim().is_empty() {
        return findings.refuse(Complaint::about(
            file,
            "is empty",
            "log the probes for a while, with one row a reading",
        ));
    }
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    // Only the first block goes by the name of a source; the hash is of them all.
    let source = Source {
        file: file.to_owned(),
        text: first,
        stamp: SourceFile {
            name: name.clone().into_owned(),
            sha256: String::new(),
        },
    };
    let sheet = Sheet::open(&source, &COLUMNS, findings)?;
    let mut reader = LogReader {
        reader: Reader::of(&sheet, site, SilentThermometer::Counted),
        pump_on: sheet.place(PUMP_ON),
        rain: sheet.place(RAIN),
    };
    let mut each = |row: Row<'_>, findings: &mut Findings| {
        if let Ok(row) = reader.row(&row, findings) {
            with_row(row);
        }
    };
    let mut rows = sheet.rows(findings, &mut each);
    loop {
        let before = blocks.lines;
        let Some(block) = blocks.next(findings)? else {
            break;
        };
        let text = format!("{}\n{block}", sheet.header_line());
        rows += sheet.over(&text, before).rows(findings, &mut each);
    }
    if rows == 0 {
        sheet.complain_of_no_rows(findings);
    }
    if reader.reader.silences > 0 {
        findings.warn(Warning {
            place: file.display().to_string(),
            what: format!(
                "{} -127 or 85 C, which is what a one-wire thermometer says when it does not answer",
                match reader.reader.silences {
                    1 => "1 reading has".to_owned(),
                    many => format!("{many} readings have"),
                }
            ),
            why: "they are read as having no temperature; a probe that needs one has no answer there"
                .to_owned(),
            advice: "mend the thermometer's wiring; the controller keeps the pump off meanwhile".to_owned(),
        });
    }
    Ok((rows, SourceFile::digested(&name, blocks.digest)))
}

/// A file in blocks that end where a line ends.
struct Blocks<'a> {
    file: &'a Path,
    from: BufReader<File>,
    digest: Sha256,
    /// Lines handed out so far.
    lines: u64,
}

impl<'a> Blocks<'a> {
    fn open(file: &'a Path, findings: &mut Findings) -> Result<Self, Refused> {
        match File::open(file) {
            Ok(from) => Ok(Self {
                file,
                from: BufReader::new(from),
                digest: Sha256::new(),
                lines: 0,
            }),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                findings.refuse(Complaint::about(
                    file,
                    "is missing",
                    meant::mend(
                        file,
                        "put the log of the season there, or name it with --log",
                    ),
                ))
            }
            Err(error) => findings.refuse(unreadable(file, &error)),
        }
    }

    /// The next block; `None` after the last.
    fn next(&mut self, findings: &mut Findings) -> Result<Option<String>, Refused> {
        let mut bytes = Vec::new();
        let read = (&mut self.from)
            .take(BLOCK)
            .read_to_end(&mut bytes)
            .and_then(|_| self.from.read_until(b'\n', &mut bytes));
        if let Err(error) = read {
            return findings.refuse(unreadable(self.file, &error));
        }
        if bytes.is_empty() {
            return Ok(None);
        }
        self.digest.update(&bytes);
        let first_line = self.lines + 1;
        self.lines += bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
        decode(self.file, bytes, first_line, findings).map(Some)
    }
}

fn unreadable(file: &Path, error: &std::io::Error) -> Complaint {
    Complaint::about(
        file,
        format!("cannot be read: {error}"),
        "check that it is a file and that you may read it",
    )
}

struct LogReader<'a> {
    reader: Reader<'a>,
    pump_on: Place,
    rain: Place,
}

impl LogReader<'_> {
    fn row(&mut self, row: &Row<'_>, findings: &mut Findings) -> Result<LogRow, Refused> {
        let read = self.reader.reading(row, findings);
        let pump = row.cell(self.pump_on);
        let pump_on = match pump.text {
            "" => Ok(None),
            "0" => Ok(Some(false)),
            "1" => Ok(Some(true)),
            _ => findings.refuse(pump.complaint(
                "is neither 0 nor 1",
                "write 1 while the pump runs and 0 while it rests, or leave the cell empty",
            )),
        };
        let cell = row.cell(self.rain);
        let rain = match self.reader.numbers.read_if_any(cell, findings)? {
            Some(depth) if !(0.0..=MOST_RAIN_MM).contains(&depth) => {
                findings.refuse(cell.complaint(
                    format!("lies outside 0 to {MOST_RAIN_MM} mm"),
                    "write the rain since the row before, in millimetres; not a running total",
                ))
            }
            rain => Ok(rain),
        };
        let (read, pump_on, rain_mm) = (read?, pump_on?, rain?);
        Ok(LogRow {
            time: read.reading.time,
            probe: read.probe,
            count: read.reading.count,
            temperature: read.reading.soil_temperature,
            pump_on,
            rain_mm,
            line: read.line,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fmt::Write;
    use std::fs;

    const SITE_TEXT: &str = "[site]\nname = \"S\"\n[balance]\nresolution_g = 0.01\n[ring]\ndiameter_cm = 5\nheight_cm = 5\n[[soil]]\nid = \"loam\"\ntexture = \"loam\"\n[[probe]]\nid = \"P1\"\nadc_bits = 10\nsoil = \"loam\"\n";

    fn read_log(log: &str) -> (Vec<LogRow>, Result<LogRead, Failure>) {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(SITE), SITE_TEXT).unwrap();
        fs::write(folder.path().join(LOG), log).unwrap();
        let mut rows = Vec::new();
        let read = each_log_row(folder.path(), None, |row| rows.push(row));
        (rows, read)
    }

    fn complaints(read: Result<LogRead, Failure>) -> Vec<Complaint> {
        match read {
            Err(Failure::Input(complaints)) => complaints,
            other => panic!("{other:?}"),
        }
    }

    /// As many rows as fill more than two blocks, a minute apart.
    fn long_log(rows: usize) -> String {
        let mut text = String::from("timestamp,probe_id,raw_count,rain_mm\n");
        for row in 0..rows {
            let time = jiff::Timestamp::from_second(1_780_000_000 + 60 * row as i64).unwrap();
            writeln!(text, "{time},P1,{},{}", row % 1000, (row % 7) as f64 / 10.0).unwrap();
        }
        text
    }

    #[test]
    fn pump_rain_and_a_silent_thermometer_are_read() {
        let (rows, read) = read_log(
            "timestamp;probe_id;raw_count;soil_temp_c;pump_on;rain_mm\n2026-06-01T00:00:00Z;P1;512;18,5;1;0,4\n2026-06-01T00:10:00Z;P1;513;-127;0;\n",
        );
        let read = read.unwrap();
        assert_eq!((read.rows, rows.len()), (2, 2));
        assert_eq!(rows[0].pump_on, Some(true));
        assert_eq!(rows[0].rain_mm, Some(0.4));
        assert_eq!((rows[1].temperature, rows[1].rain_mm), (None, None));
        assert_eq!(read.warnings.len(), 1);
        assert_eq!(read.stamp.sha256.len(), 64);
    }

    #[test]
    fn blocks_lose_no_row_and_give_the_hash_of_the_whole() {
        let text = long_log(80_000);
        assert!(text.len() as u64 > 2 * BLOCK);
        let (rows, read) = read_log(&text);
        let read = read.unwrap();
        assert_eq!(rows.len(), 80_000);
        for (index, row) in rows.iter().enumerate() {
            assert_eq!(row.line, index as u64 + 2);
            assert_eq!(row.count as usize, index % 1000);
        }
        let whole = SourceFile::digested(LOG, Sha256::new().chain_update(text.as_bytes()));
        assert_eq!(read.stamp, whole);
    }

    #[test]
    fn a_fault_far_down_is_named_by_its_line() {
        let mut text = long_log(80_000);
        text.push_str("2027-06-01T00:00:00Z,P1,many,0\n2027-06-01T00:01:00Z,P1,5,-3\n");
        let found = complaints(read_log(&text).1);
        assert_eq!(found.len(), 2, "{found:?}");
        assert_eq!(found[0].line, Some(80_002));
        assert_eq!(found[1].line, Some(80_003));
        assert!(found[1].what.contains("outside 0 to 300 mm"));
    }

    #[test]
    fn a_log_that_runs_back_or_has_no_rows_is_refused() {
        let back = complaints(
            read_log(
                "timestamp,probe_id,raw_count\n2026-06-01T00:10:00Z,P1,512\n2026-06-01T00:00:00Z,P1,513\n",
            )
            .1,
        );
        assert!(back[0].what.contains("is earlier than"), "{back:?}");
        let none = complaints(read_log("timestamp,probe_id,raw_count\n").1);
        assert_eq!(none[0].what, "holds a header and no rows");
        let empty = complaints(read_log("").1);
        assert_eq!(empty[0].what, "is empty");
    }

    #[test]
    fn a_pump_that_is_neither_on_nor_off_is_refused() {
        let found = complaints(
            read_log("timestamp,probe_id,raw_count,pump_on\n2026-06-01T00:10:00Z,P1,512,yes\n").1,
        );
        assert_eq!(found[0].what, "is neither 0 nor 1");
        assert_eq!(found[0].line, Some(2));
    }
}
