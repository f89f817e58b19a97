//! What `verify` found, for machines.

use super::finding::{Examined, Finding, celsius};
use crate::failure::{Complaint, Verdict, Warning};
use calib_core::calibration::Direction;
use calib_core::controller::{
    Disagreement, IntegerTemperature, LargestDifference, LiveCodes, OpenCircuit, Timing,
    celsius_from_centi, counts_from_sixteenths, theta_v_from_units,
};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};

/// Controller files, whether they are whole and whether they give their curve.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct Answer<'a> {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// One entry a table: a fleet has several.
    files: Vec<FileReport<'a>>,
    /// Readers in C that are as this program writes them.
    readers: &'a [ReaderReport],
    /// Files that cannot be used, and why.
    problems: &'a [Complaint],
    warnings: &'a [Warning],
}

impl<'a> Answer<'a> {
    pub(super) fn new(
        examined: &'a Examined,
        readers: &'a [ReaderReport],
        problems: &'a [Complaint],
        warnings: &'a [Warning],
    ) -> Self {
        Self {
            format: "ovendry verify",
            version: 1,
            verdict: if problems.is_empty() {
                examined.verdict()
            } else {
                Verdict::Faulty
            },
            files: examined.reports(),
            readers,
            problems,
            warnings,
        }
    }
}

/// A reader in C that is as this program writes it.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct ReaderReport {
    /// The file.
    pub(super) file: PathBuf,
    /// Version of the tables it reads.
    pub(super) version: u8,
}

impl fmt::Display for ReaderReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{}: the reader of version {}, as this program writes it",
            self.file.display(),
            self.version
        )
    }
}

/// A sound table, what it says, and how it compares with its calibration.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct FileReport<'a> {
    file: &'a Path,
    /// SHA-256 of the file, hexadecimal.
    sha256: &'a str,
    /// The controller format the file is in.
    format: &'static str,
    /// Version of the table.
    version: u8,
    probe: &'a str,
    soil: &'a str,
    /// Day of the last reading behind the calibration, YYYY-MM-DD.
    calibrated_on: String,
    /// Day by which it should be checked again, YYYY-MM-DD.
    recheck_by: String,
    /// CRC-32 of the table's image, eight hexadecimal digits; the same in every format.
    table_crc32: String,
    /// How many knots the table has.
    knots: usize,
    /// Bits of the converter the counts come from.
    adc_bits: u8,
    /// Which way the count moves as the soil gets wetter.
    direction: Direction,
    /// Lowest count with an answer, at the reference temperature.
    lowest_count: f64,
    /// Highest count with an answer, at the reference temperature.
    highest_count: f64,
    /// Absent where the calibration does not look at the soil temperature.
    temperature: Option<TemperatureUsed>,
    live: Live,
    /// Largest difference from the curve that the file states of itself, m3/m3.
    bound_theta_v: f64,
    set_points: SetPointsHeld,
    pump: PumpTimes,
    /// How it compares with its calibration; `null` where none was given or lies beside it.
    calibration: Option<Compared<'a>>,
}

impl<'a> From<&'a Finding> for FileReport<'a> {
    fn from(finding: &'a Finding) -> Self {
        let table = finding.table();
        let record = table.record();
        let points = record.set_points;
        Self {
            file: &finding.file,
            sha256: &finding.sha256,
            format: finding.format,
            version: record.version,
            probe: &record.probe,
            soil: &record.soil,
            calibrated_on: record.dates.calibrated_on.to_string(),
            recheck_by: record.dates.recheck_by.to_string(),
            table_crc32: format!("{:08x}", table.crc32()),
            knots: record.knots.len(),
            adc_bits: record.adc_bits,
            direction: record.direction,
            lowest_count: counts_from_sixteenths(record.domain_low),
            highest_count: counts_from_sixteenths(record.domain_high),
            temperature: record.temperature.as_ref().map(TemperatureUsed::from),
            live: record.live.into(),
            bound_theta_v: finding.bound(),
            set_points: SetPointsHeld {
                refill_theta_v: theta_v_from_units(points.refill),
                stop_theta_v: theta_v_from_units(points.stop),
                refill_count: points.refill_count,
                stop_count: points.stop_count,
            },
            pump: record.timing.into(),
            calibration: finding.against.as_ref().map(|(path, comparison)| Compared {
                file: path,
                within_bound: finding.is_good(),
                readings_compared: comparison.compared,
                largest_difference: comparison.largest.as_ref().map(Largest::from),
                only_table_answers: comparison.table_only.as_ref().map(OnlyOne::from),
                only_curve_answers: comparison.curve_only.as_ref().map(OnlyOne::from),
            }),
        }
    }
}

/// The soil temperatures a table takes, C.
#[derive(Debug, Serialize, JsonSchema)]
struct TemperatureUsed {
    /// Where counts need no correction, C.
    reference_c: f64,
    /// Lowest with an answer, C.
    lowest_c: f64,
    /// Highest with an answer, C.
    highest_c: f64,
}

impl From<&IntegerTemperature> for TemperatureUsed {
    fn from(term: &IntegerTemperature) -> Self {
        Self {
            reference_c: celsius_from_centi(term.reference_centi),
            lowest_c: celsius_from_centi(term.lowest_centi),
            highest_c: celsius_from_centi(term.highest_centi),
        }
    }
}

/// Raw counts of a probe that is alive; beyond them the wire is broken or shorted.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct Live {
    lowest_count: u16,
    highest_count: u16,
    open_circuit: OpenCircuit,
}

impl From<LiveCodes> for Live {
    fn from(live: LiveCodes) -> Self {
        Self {
            lowest_count: live.low,
            highest_count: live.high,
            open_circuit: live.open_circuit,
        }
    }
}

/// Where the pump starts and stops.
#[derive(Debug, Serialize, JsonSchema)]
struct SetPointsHeld {
    /// The pump starts here, m3/m3.
    refill_theta_v: f64,
    /// The pump stops here, m3/m3.
    stop_theta_v: f64,
    /// Refill as a raw count at the reference temperature.
    refill_count: u16,
    /// Stop as a raw count at the reference temperature.
    stop_count: u16,
}

/// The times a controller keeps, seconds.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct PumpTimes {
    /// Shortest run, s.
    minimum_on_s: u32,
    /// Shortest rest, s.
    minimum_off_s: u32,
    /// Longest run, s.
    maximum_on_s: u32,
    /// A count unchanged for this long is a stuck probe, s; 0 if that is not watched.
    stuck_after_s: u32,
}

impl From<Timing> for PumpTimes {
    fn from(timing: Timing) -> Self {
        Self {
            minimum_on_s: timing.minimum_on_s,
            minimum_off_s: timing.minimum_off_s,
            maximum_on_s: timing.maximum_on_s,
            stuck_after_s: timing.stuck_after_s,
        }
    }
}

/// A table beside the curve it was made from.
#[derive(Debug, Serialize, JsonSchema)]
struct Compared<'a> {
    /// The calibration.
    file: &'a Path,
    /// Whether the table gives the curve within its bound at every code.
    within_bound: bool,
    /// Readings, a count and a temperature each, that both answer.
    readings_compared: u64,
    largest_difference: Option<Largest>,
    /// Readings that only the table answers; there must be none.
    only_table_answers: Option<OnlyOne>,
    /// Readings that only the curve answers; harmless at the very ends.
    only_curve_answers: Option<OnlyOne>,
}

/// Where table and curve differ most.
#[derive(Debug, Serialize, JsonSchema)]
struct Largest {
    count: u32,
    /// Soil temperature, C; `null` where none is looked at.
    temperature_c: Option<f64>,
    /// By the table, m3/m3.
    table_theta_v: f64,
    /// By the curve, m3/m3.
    curve_theta_v: f64,
    /// Table less curve, m3/m3; above 0 the table reads wetter.
    difference_theta_v: f64,
}

impl From<&LargestDifference> for Largest {
    fn from(largest: &LargestDifference) -> Self {
        Self {
            count: largest.code,
            temperature_c: celsius(largest.temperature_centi),
            table_theta_v: largest.table,
            curve_theta_v: largest.curve,
            difference_theta_v: largest.difference(),
        }
    }
}

/// Readings that one answers and the other refuses.
#[derive(Debug, Serialize, JsonSchema)]
struct OnlyOne {
    /// How many.
    readings: u64,
    /// The one farthest inside the calibrated counts.
    count: u32,
    /// Its soil temperature, C; `null` where none is looked at.
    temperature_c: Option<f64>,
    /// How far inside the calibrated counts it lies, counts.
    counts_inside_domain: f64,
}

impl From<&Disagreement> for OnlyOne {
    fn from(found: &Disagreement) -> Self {
        Self {
            readings: found.number,
            count: found.code,
            temperature_c: celsius(found.temperature_centi),
            counts_inside_domain: found.counts_inside,
        }
    }
}
