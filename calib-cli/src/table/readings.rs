//! readings.csv: one reading a row, in the order it was logged.

use super::delimited::{Row, Sheet};
use super::header::{Column, Place};
use super::names::{COUNT, PROBE_ID, SAMPLE_ID, SOIL_TEMPERATURE, SUPPLY, TIMESTAMP};
use super::number::{Numbers, quantity};
use super::site::{SiteFile, known_probe, millivolts};
use super::source::Source;
use super::time::{Times, whole_seconds};
use crate::failure::Warning;
use crate::findings::{Cell, Findings, Refused};
use crate::workbench::LoggedReading;
use calib_core::quantity::Celsius;
use calib_core::readings::Reading;

/// What one-wire temperature sensors say when they are not answering. Common
/// practice.
const SENSOR_ABSENT_C: f64 = -127.0;
/// What one-wire temperature sensors hold from power-on until they have measured.
/// Common practice.
const POWER_ON_C: f64 = 85.0;

/// The columns of readings.csv.
pub const COLUMNS: [Column; 6] = [
    Column::required(TIMESTAMP, "when it was read"),
    Column::required(PROBE_ID, "id of the probe in site.toml"),
    Column::required(COUNT, "what the converter said"),
    Column::optional(SOIL_TEMPERATURE, "soil temperature, C"),
    Column::optional(SUPPLY, "supply or reference voltage, mV"),
    Column::optional(SAMPLE_ID, "core the reading belongs to"),
];

/// Reads readings.csv.
pub fn read(
    source: &Source,
    site: &SiteFile,
    findings: &mut Findings,
) -> Result<Vec<LoggedReading>, Refused> {
    let sheet = Sheet::open(source, &COLUMNS, findings)?;
    let mut reader = Reader::of(&sheet, site, SilentThermometer::Refused);
    let mut readings = Vec::new();
    let mut sound = true;
    sheet.each_row(findings, |row, findings| {
        match reader.reading(&row, findings) {
            Ok(reading) => readings.push(reading),
            Err(Refused) => sound = false,
        }
    });
    for latest in &reader.latest {
        latest.warn_of_repeats(source, findings);
    }
    if sound { Ok(readings) } else { Err(Refused) }
}

/// What becomes of a reading whose thermometer did not answer and said so by the
/// number that stands for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SilentThermometer {
    /// It is complained about: beside a core, a temperature is to be had again.
    Refused,
    /// It is read without a temperature, and counted: in a season's log it happens.
    Counted,
}

/// Reads the rows of readings.csv, and the columns of log.csv that are the same.
pub(super) struct Reader<'a> {
    site: &'a SiteFile,
    pub(super) numbers: Numbers,
    silent: SilentThermometer,
    /// Readings whose thermometer did not answer.
    pub(super) silences: u64,
    times: Option<Times<'a>>,
    timestamp: Place,
    probe_id: Place,
    raw_count: Place,
    soil_temp_c: Place,
    supply_mv: Place,
    sample_id: Place,
    /// The latest reading of each probe so far.
    latest: Vec<Latest>,
}

/// The latest reading of one probe, as far as order and repetition go.
struct Latest {
    time: jiff::Timestamp,
    written: String,
    probe: String,
    line: u64,
    /// Readings that carry the same time as the one before, and the first's line.
    repeats: u64,
    first_repeat: u64,
}

impl<'a> Reader<'a> {
    pub(super) fn of(sheet: &'a Sheet<'a>, site: &'a SiteFile, silent: SilentThermometer) -> Self {
        let [
            timestamp,
            probe_id,
            raw_count,
            soil_temp_c,
            supply_mv,
            sample_id,
        ] = COLUMNS.map(|column| sheet.place(column.name));
        Reader {
            site,
            numbers: Numbers::in_file_parted_by(sheet.delimiter()),
            silent,
            silences: 0,
            times: site
                .clock
                .as_ref()
                .map(|clock| Times::in_column(clock, sheet, timestamp)),
            timestamp,
            probe_id,
            raw_count,
            soil_temp_c,
            supply_mv,
            sample_id,
            latest: Vec::new(),
        }
    }

    /// The exact time of a row that is otherwise read in whole seconds; a fault in it is
    /// left for [`reading`](Self::reading) to tell.
    pub(super) fn time(&self, row: &Row<'_>) -> Option<jiff::Timestamp> {
        let times = self.times.as_ref()?;
        times
            .read(row.cell(self.timestamp), &mut Findings::default())
            .ok()
    }

    pub(super) fn reading(
        &mut self,
        row: &Row<'_>,
        findings: &mut Findings,
    ) -> Result<LoggedReading, Refused> {
        let time_cell = row.cell(self.timestamp);
        let probe_cell = row.cell(self.probe_id);
        let time = match &self.times {
            Some(times) => times.read(time_cell, findings),
            None => Err(Refused),
        };
        let bits = self.probe_bits(probe_cell, findings);
        let count = self.count(row.cell(self.raw_count), bits, probe_cell.text, findings);
        let temperature = self.temperature(row.cell(self.soil_temp_c), findings);
        let supply = self.supply(row.cell(self.supply_mv), findings);
        let sample = match row.cell(self.sample_id).text {
            "" => None,
            id => Some(id.to_owned()),
        };
        bits?;
        let (time, count, soil_temperature, supply_mv) = (time?, count?, temperature?, supply?);
        self.in_order(time_cell, probe_cell.text, time, findings)?;
        Ok(LoggedReading {
            probe: probe_cell.text.to_owned(),
            reading: Reading {
                time: whole_seconds(time),
                count,
                soil_temperature,
                supply_mv,
            },
            sample,
            line: row.line,
        })
    }

    /// Bits of the probe's converter; `None` where site.toml was refused.
    fn probe_bits(&self, cell: Cell<'_>, findings: &mut Findings) -> Result<Option<u8>, Refused> {
        if cell.text.is_empty() {
            return findings
                .refuse(cell.complaint("is empty", "write the id of a probe of site.toml"));
        }
        match &self.site.probes {
            None => Ok(None),
            Some(probes) => known_probe(cell, probes, findings).map(|probe| Some(probe.adc_bits)),
        }
    }

    fn count(
        &mut self,
        cell: Cell<'_>,
        bits: Result<Option<u8>, Refused>,
        probe: &str,
        findings: &mut Findings,
    ) -> Result<u32, Refused> {
        let value = self.numbers.read(cell, findings)?;
        if value < 0.0 {
            return findings.refuse(cell.complaint(
                "is negative",
                "log the converter's own code, without an offset taken off",
            ));
        }
        if value.fract() != 0.0 {
            return findings.refuse(cell.complaint(
                "is not a whole number",
                "log the converter's own code: no mean, no voltage, no thousands separator",
            ));
        }
        // Where the probe is not known, the widest converter this program reads.
        let known = bits.ok().flatten();
        let bits = known.unwrap_or(16);
        let largest = f64::from((1_u32 << bits.min(16)) - 1);
        if value > largest {
            let whose = match known {
                Some(_) => format!("the {bits} bits of {probe}"),
                None => "16 bits".to_owned(),
            };
            return findings.refuse(cell.complaint(
                format!("is above {largest}, the largest code of {whose}"),
                "correct adc_bits of the probe in site.toml, or remove the reading",
            ));
        }
        Ok(value as u32)
    }

    fn temperature(
        &mut self,
        cell: Cell<'_>,
        findings: &mut Findings,
    ) -> Result<Option<Celsius>, Refused> {
        let Some(value) = self.numbers.read_if_any(cell, findings)? else {
            return Ok(None);
        };
        if self.silent == SilentThermometer::Counted
            && (value == SENSOR_ABSENT_C || value == POWER_ON_C)
        {
            self.silences += 1;
            return Ok(None);
        }
        celsius(cell, value, findings).map(Some)
    }

    fn supply(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<Option<f64>, Refused> {
        match self.numbers.read_if_any(cell, findings)? {
            None => Ok(None),
            Some(value) => millivolts(cell, value, findings).map(Some),
        }
    }

    /// Checks that the probe's times do not run back and no row stands twice.
    fn in_order(
        &mut self,
        cell: Cell<'_>,
        probe: &str,
        time: jiff::Timestamp,
        findings: &mut Findings,
    ) -> Result<(), Refused> {
        let Some(latest) = self.latest.iter_mut().find(|latest| latest.probe == probe) else {
            self.latest.push(Latest {
                time,
                written: cell.text.to_owned(),
                probe: probe.to_owned(),
                line: cell.line,
                repeats: 0,
                first_repeat: 0,
            });
            return Ok(());
        };
        if time < latest.time {
            return findings.refuse(cell.complaint(
                format!(
                    "is earlier than the reading of {probe} before it ({} in line {})",
                    latest.written, latest.line
                ),
                "sort the file by time; if the clock was set back, correct the times before it",
            ));
        }
        if time == latest.time {
            if latest.repeats == 0 {
                latest.first_repeat = cell.line;
            }
            latest.repeats += 1;
        }
        latest.time = time;
        latest.written.clear();
        latest.written.push_str(cell.text);
        latest.line = cell.line;
        Ok(())
    }
}

/// A soil temperature, wherever it is given: not what stands for a thermometer that
/// does not answer.
pub(super) fn celsius(
    cell: Cell<'_>,
    value: f64,
    findings: &mut Findings,
) -> Result<Celsius, Refused> {
    if value == SENSOR_ABSENT_C {
        return findings.refuse(cell.complaint(
            "is what a one-wire temperature sensor says when it does not answer, not a temperature",
            "mend its wiring; leave the cell empty where it gave no temperature",
        ));
    }
    if value == POWER_ON_C {
        return findings.refuse(cell.complaint(
            "is what a one-wire temperature sensor holds before its first measurement, not a temperature",
            "wait for the conversion before reading it; leave the cell empty where it gave no temperature",
        ));
    }
    quantity(
        cell,
        value,
        "write it in degrees Celsius, or leave the cell empty",
        findings,
    )
}

impl Latest {
    fn warn_of_repeats(&self, source: &Source, findings: &mut Findings) {
        if self.repeats == 0 {
            return;
        }
        let noun = if self.repeats == 1 {
            "reading carries"
        } else {
            "readings carry"
        };
        findings.warn(Warning {
            place: format!("{}:{}", source.file.display(), self.first_repeat),
            what: format!(
                "{} {noun} the same time as the one before, of probe {}",
                self.repeats, self.probe
            ),
            why: "a reading that stands twice makes the centre of its window look surer than it is"
                .to_owned(),
            advice: "nothing, if the logger prints times more coarsely than it reads; otherwise \
                     remove the rows that stand twice"
                .to_owned(),
        });
    }
}
