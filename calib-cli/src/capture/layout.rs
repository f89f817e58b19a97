//! How the rows of the file that is appended to are laid out: its own columns in their
//! order, what parts its cells, its decimal mark and line ends.

use crate::failure::{Complaint, Failure};
use crate::findings::Findings;
use crate::table::READING_COLUMNS;
use crate::table::heard::{Heard, Listener, Sheeted};
use crate::table::names::{COUNT, PROBE_ID, SAMPLE_ID, SOIL_TEMPERATURE, SUPPLY, TIMESTAMP};
use calib_core::quantity::Quantity;
use std::collections::HashMap;
use std::path::Path;

/// How far apart readings of a burst are stamped at least.
const BURST_STEP: jiff::SignedDuration = jiff::SignedDuration::from_micros(1);

/// The layout of a file of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// The header line, without its end.
    pub header: String,
    /// Where each of the columns of readings.csv stands, if it does.
    places: Vec<(&'static str, Option<usize>)>,
    /// Cells of a row.
    width: usize,
    delimiter: u8,
    decimal_comma: bool,
    crlf: bool,
}

impl Layout {
    /// The layout of the file at `path`, of which `text` is the head and the end; and
    /// the last time of each probe there.
    ///
    /// # Errors
    /// [`Failure::Input`] if it is no table of readings, or has no place for one of
    /// `columns`.
    pub fn of(
        path: &Path,
        text: &str,
        columns: &[&'static str],
        listener: &Listener,
    ) -> Result<(Self, HashMap<String, jiff::Timestamp>), Failure> {
        let mut findings = Findings::default();
        let sheeted = Sheeted::read(path, text, &mut findings);
        let (complaints, _) = findings.finish(&[]);
        let Some(sheeted) = sheeted.filter(|_| complaints.is_empty()) else {
            return Err(Failure::Input(complaints));
        };
        let missing: Vec<Complaint> = columns
            .iter()
            .filter(|name| !sheeted.places.contains_key(*name))
            .map(|name| Complaint {
                column: Some((*name).to_owned()),
                ..Complaint::about(
                    path,
                    "the column is missing, and what comes has something for it",
                    format!(
                        "add {name} at the end of the header line and of every row, or append to \
                         another file with --into"
                    ),
                )
                .at_line(sheeted.header_line)
            })
            .collect();
        if !missing.is_empty() {
            return Err(Failure::Input(missing));
        }
        let layout = Self {
            header: sheeted.header.clone(),
            places: READING_COLUMNS
                .iter()
                .map(|column| (column.name, sheeted.places.get(column.name).copied()))
                .collect(),
            width: sheeted.width,
            delimiter: sheeted.delimiter,
            decimal_comma: sheeted.decimal_comma,
            crlf: text.lines().count() > 0 && text.contains("\r\n"),
        };
        let mut latest: HashMap<String, jiff::Timestamp> = HashMap::new();
        for (probe, _, time) in listener.rows(text) {
            if let Some(time) = time {
                let entry = latest.entry(probe).or_insert(time);
                *entry = time.max(*entry);
            }
        }
        Ok((layout, latest))
    }

    /// The columns the file has, of those of readings.csv.
    pub fn columns(&self) -> Vec<&'static str> {
        self.places
            .iter()
            .filter(|(_, index)| index.is_some())
            .map(|(name, _)| *name)
            .collect()
    }

    /// The header line of another text, to be compared with this one's.
    pub fn header_of(&self, text: &str) -> String {
        Sheeted::read(Path::new("file"), text, &mut Findings::default())
            .map(|sheeted| sheeted.header)
            .unwrap_or_default()
    }

    /// The time to write for `reading`: its own, exactly; that of its arrival in whole
    /// seconds, or in milliseconds where the reading before it has that second already;
    /// of a burst, each a little later than the one before, so that none seems to stand
    /// twice.
    pub fn stamp(&self, reading: &Heard, latest: Option<jiff::Timestamp>) -> jiff::Timestamp {
        if !reading.stamped {
            return reading.time;
        }
        let rounded_down = |nanoseconds: i128| {
            let whole = reading.time.as_nanosecond();
            jiff::Timestamp::from_nanosecond(whole - whole.rem_euclid(nanoseconds))
                .unwrap_or(reading.time)
        };
        let second = rounded_down(1_000_000_000);
        match latest {
            Some(latest) if second <= latest => {
                let after = latest.checked_add(BURST_STEP).unwrap_or(latest);
                rounded_down(1_000_000).max(after)
            }
            _ => second,
        }
    }

    /// The row of `reading`, with its end; columns of the person's own stay empty.
    pub fn row(&self, reading: &Heard, time: jiff::Timestamp, sample: Option<&str>) -> Vec<u8> {
        let mut cells = vec![String::new(); self.width];
        let number = |value: f64| {
            let text = value.to_string();
            if self.decimal_comma {
                text.replace('.', ",")
            } else {
                text
            }
        };
        for (name, index) in &self.places {
            let Some(cell) = index.and_then(|index| cells.get_mut(index)) else {
                continue;
            };
            *cell = match *name {
                TIMESTAMP => time.to_string(),
                PROBE_ID => reading.probe.clone(),
                COUNT => reading.count.to_string(),
                SOIL_TEMPERATURE => reading
                    .soil_temperature
                    .map(|temperature| number(temperature.value()))
                    .unwrap_or_default(),
                SUPPLY => reading.supply_mv.map(number).unwrap_or_default(),
                SAMPLE_ID => sample.unwrap_or_default().to_owned(),
                _ => String::new(),
            };
        }
        let mut writer = csv::WriterBuilder::new()
            .delimiter(self.delimiter)
            .terminator(if self.crlf {
                csv::Terminator::CRLF
            } else {
                csv::Terminator::Any(b'\n')
            })
            .from_writer(Vec::new());
        // Writing into memory meets no fault.
        let _ = writer.write_record(&cells);
        writer.into_inner().unwrap_or_default()
    }
}
