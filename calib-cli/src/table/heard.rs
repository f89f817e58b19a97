//! A reading that comes while it is listened to: given its meaning by the rules that
//! hold for the rows of readings.csv, one at a time.

use super::delimited::Sheet;
use super::how_long;
use super::names::{COUNT, PROBE_ID, SITE, SOIL_TEMPERATURE};
use super::readings::{COLUMNS, Reader, SilentThermometer};
use super::site::{self, SiteFile};
use super::source::{Source, shown_path};
use crate::capture::{Fields, When};
use crate::failure::{Complaint, Failure};
use crate::findings::Findings;
use crate::workbench::{LoggedReading, Site, SourceFile};
use calib_core::quantity::{Celsius, Timestamp};
use std::collections::BTreeMap;
use std::path::Path;

/// How far before the reading before it the clock may put one that is stamped on
/// arrival, s: a clock that is brought into step now and then.
const CLOCK_STEP_S: i64 = 5;
/// A reading so far before the one before it comes from another log rather than from a
/// clock that was set back, s.
const OLDER_LOG_S: i64 = 7200;
/// Cells looked at for the decimal mark.
const LOOKED_AT: usize = 500;

/// A reading with its meaning.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// The probe.
    pub probe: String,
    /// When it was read.
    pub time: jiff::Timestamp,
    /// Whether the time is that of its arrival.
    pub stamped: bool,
    /// What the converter said.
    pub count: u32,
    /// Soil temperature, where there is one.
    pub soil_temperature: Option<Celsius>,
    /// Supply voltage, mV, where there is one.
    pub supply_mv: Option<f64>,
    /// Whether the thermometer said by -127 or 85 C that it did not answer.
    pub thermometer_silent: bool,
}

/// Gives readings their meaning.
#[derive(Debug)]
pub struct Listener {
    site: SiteFile,
    /// The site, sound.
    known: Site,
    /// The probe where none is said.
    probe: Option<String>,
}

impl Listener {
    /// For the workbench in `folder`. `probe` is taken where a reading names none;
    /// where the workbench has one probe only, that one.
    ///
    /// # Errors
    /// [`Failure::Input`] with every fault of site.toml.
    pub fn of(folder: &Path) -> Result<Self, Failure> {
        if let Some(complaint) = super::no_workbench(folder) {
            return Err(complaint.into());
        }
        let mut findings = Findings::default();
        let site = Source::read(folder, SITE, &mut findings).map_or(site::UNREADABLE, |source| {
            site::read(&source, &mut findings)
        });
        let (complaints, _) = findings.finish(&[&shown_path(folder, SITE)]);
        match &site.site {
            Some(known) if complaints.is_empty() => Ok(Self {
                known: known.clone(),
                site,
                probe: None,
            }),
            _ => Err(Failure::Input(complaints)),
        }
    }

    /// The site.
    pub fn site(&self) -> &Site {
        &self.known
    }

    /// Takes `probe` for readings that name none.
    pub fn assume_probe(&mut self, probe: &str) {
        self.probe = Some(probe.to_owned());
    }

    /// The meaning of `fields`, which came at `arrival`.
    ///
    /// # Errors
    /// The column that is refused, what stands there and why, in one line.
    pub fn meaning(&self, fields: &Fields, arrival: jiff::Timestamp) -> Result<Heard, String> {
        let probe = match (&fields.probe_id, &self.probe) {
            (Some(said), _) => said,
            (None, Some(assumed)) => assumed,
            (None, None) => return Err(format!("{PROBE_ID}: is not said")),
        };
        let time = match &fields.time {
            When::Written(text) => text.clone(),
            When::At(time) => time.to_string(),
            When::Arrival => arrival.to_string(),
        };
        let or_empty = |text: &Option<String>| text.clone().unwrap_or_default();
        let cells = [
            time,
            probe.clone(),
            or_empty(&fields.raw_count),
            or_empty(&fields.soil_temp_c),
            or_empty(&fields.supply_mv),
            String::new(),
        ];
        let source = one_row(&cells);
        let mut findings = Findings::default();
        let read = Sheet::open(&source, &COLUMNS, &mut findings)
            .ok()
            .and_then(|sheet| {
                let mut reader = Reader::of(&sheet, &self.site, SilentThermometer::Counted);
                let mut read: Option<(LoggedReading, Option<jiff::Timestamp>)> = None;
                sheet.rows(&mut findings, |row, findings| {
                    let exact = reader.time(&row);
                    if let Ok(reading) = reader.reading(&row, findings) {
                        read = Some((reading, exact));
                    }
                });
                read.map(|read| (read, reader.silences > 0))
            });
        let (complaints, _) = findings.finish(&[]);
        match (read, complaints.first()) {
            (Some(((logged, Some(time)), thermometer_silent)), None) => Ok(Heard {
                probe: logged.probe,
                time,
                stamped: fields.time == When::Arrival,
                count: logged.reading.count,
                soil_temperature: logged.reading.soil_temperature,
                supply_mv: logged.reading.supply_mv,
                thermometer_silent,
            }),
            (_, complaint) => Err(complaint.map_or_else(String::new, in_one_line)),
        }
    }
}

impl Listener {
    /// The rows of a table of readings as far as they can be understood: probe, count
    /// and time. What is wrong with the others is for `check` to say.
    pub fn rows(&self, text: &str) -> Vec<(String, u32, Option<jiff::Timestamp>)> {
        let source = source(Path::new("rows"), text);
        let mut unheard = Findings::default();
        let Ok(sheet) = Sheet::open(&source, &COLUMNS, &mut unheard) else {
            return Vec::new();
        };
        let reader = Reader::of(&sheet, &self.site, SilentThermometer::Counted);
        let (probe, count) = (sheet.place(PROBE_ID), sheet.place(COUNT));
        let mut rows = Vec::new();
        sheet.rows(&mut unheard, |row, _| {
            if let Ok(count) = row.cell(count).text.parse() {
                rows.push((row.cell(probe).text.to_owned(), count, reader.time(&row)));
            }
        });
        rows
    }
}

/// How a table of readings is written.
#[derive(Debug, Clone)]
pub struct Sheeted {
    /// The header line, without its end.
    pub header: String,
    /// Where that stands.
    pub header_line: u64,
    /// Cells of a row.
    pub width: usize,
    /// What parts them.
    pub delimiter: u8,
    /// Where the columns of readings.csv stand that are there.
    pub places: BTreeMap<&'static str, usize>,
    /// Whether numbers are written with a decimal comma.
    pub decimal_comma: bool,
}

impl Sheeted {
    /// Of `text`, which is the file at `path`; `None` with complaints where it is no
    /// table of readings.
    pub fn read(path: &Path, text: &str, findings: &mut Findings) -> Option<Self> {
        let source = source(path, text);
        let sheet = Sheet::open(&source, &COLUMNS, findings).ok()?;
        let places = COLUMNS
            .iter()
            .filter_map(|column| Some((column.name, sheet.place(column.name).index?)));
        let temperatures = sheet.first_cells(sheet.place(SOIL_TEMPERATURE), LOOKED_AT);
        let commas = temperatures.iter().any(|cell| cell.contains(','));
        Some(Self {
            header: sheet.header_line().to_owned(),
            header_line: sheet.first_line(),
            width: sheet.width(),
            delimiter: sheet.delimiter(),
            places: places.collect(),
            decimal_comma: commas && sheet.delimiter() != b',',
        })
    }
}

fn source(path: &Path, text: &str) -> Source {
    Source {
        file: path.to_owned(),
        text: text.to_owned(),
        stamp: SourceFile {
            name: String::new(),
            sha256: String::new(),
        },
    }
}

/// `raw_count = "70000": is above 1023, the largest code of the 10 bits of P1`.
fn in_one_line(complaint: &Complaint) -> String {
    match (&complaint.column, &complaint.value) {
        (Some(column), Some(value)) => format!("{column} = \"{value}\": {}", complaint.what),
        (Some(column), None) => format!("{column}: {}", complaint.what),
        _ => complaint.what.clone(),
    }
}

/// A sheet with one row, parted by tabs, which no cell has.
fn one_row(cells: &[String; COLUMNS.len()]) -> Source {
    let header = COLUMNS.map(|column| column.name).join("\t");
    let row = cells
        .each_ref()
        .map(|cell| {
            format!(
                "\"{}\"",
                cell.replace('"', "\"\"").replace(['\t', '\n', '\r'], " ")
            )
        })
        .join("\t");
    source(Path::new("line"), &format!("{header}\n{row}\n"))
}

impl Heard {
    /// Brings the reading into order behind `latest`, the time of this probe's reading
    /// before it: one that is stamped on arrival may have been put a little too early
    /// by a clock that was brought into step, and gets the time of the one before.
    ///
    /// # Errors
    /// Why it cannot be appended.
    pub fn in_order_after(mut self, latest: Option<jiff::Timestamp>) -> Result<Self, String> {
        let Some(latest) = latest.filter(|latest| self.time < *latest) else {
            return Ok(self);
        };
        let behind = (latest.as_second() - self.time.as_second()).max(1);
        if self.stamped && behind <= CLOCK_STEP_S {
            self.time = latest;
            return Ok(self);
        }
        let (what, mend) = if self.stamped {
            ("this machine's clock stands", "set the clock")
        } else {
            let mend = match behind {
                ..OLDER_LOG_S => "set the logger's clock",
                _ => {
                    "append an older log to a file of its own with --into; or set the logger's clock"
                }
            };
            ("its time is", mend)
        };
        Err(format!(
            "{what} {} before the reading of {} before it ({latest}); {mend}",
            how_long(behind),
            self.probe
        ))
    }
}

/// The time as the core counts it.
pub fn in_seconds(time: jiff::Timestamp) -> Timestamp {
    super::time::whole_seconds(time)
}
