//! The table as JSON, for controllers that can read it and for people.
//!
//! One key a line in a fixed order, one knot a line, two spaces of indent, line
//! feeds; whole numbers only. The last key `crc32` seals the file. The JSON
//! Schema (draft 2020-12) is `schema/controller.schema.json`.

use super::{ControllerFormat, FileError, hexadecimal};
use calib_core::calibration::Direction;
use calib_core::controller::{
    ControllerError, ControllerRecord, ControllerTable, Dates, IntegerSetPoints,
    IntegerTemperature, Knot, Timing, VERSION,
};
use jiff::civil::Date;
use serde::Deserialize;

/// What the `format` key says.
const FORMAT: &str = "ovendry controller table";

/// The JSON format.
pub(super) struct Json;

/// The keys that say whether the rest can be read at all.
#[derive(Deserialize)]
struct Stamp {
    format: String,
    version: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Document {
    #[serde(rename = "format")]
    _format: String,
    version: u32,
    probe: String,
    soil: String,
    calibrated_on: String,
    recheck_by: String,
    adc_bits: u8,
    direction: Direction,
    domain_sixteenths: DomainKeys,
    temperature: Option<TemperatureKeys>,
    max_error_e4: u16,
    knots: Vec<KnotKeys>,
    set_points: SetPointKeys,
    pump: PumpKeys,
    table_crc32: String,
    #[serde(rename = "crc32")]
    _crc32: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DomainKeys {
    low: i32,
    high: i32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TemperatureKeys {
    reference_centi: i16,
    lowest_centi: i16,
    highest_centi: i16,
    coefficient: i32,
    divisor: i32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KnotKeys {
    count: u16,
    theta_v_e4: i16,
    expanded_uncertainty_e4: u16,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SetPointKeys {
    refill_theta_v_e4: i16,
    stop_theta_v_e4: i16,
    refill_count: u16,
    stop_count: u16,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PumpKeys {
    minimum_on_s: u32,
    minimum_off_s: u32,
    maximum_on_s: u32,
}

impl ControllerFormat for Json {
    fn name(&self) -> &'static str {
        "JSON"
    }

    fn suffix(&self) -> &'static str {
        ".controller.json"
    }

    fn seal(&self) -> (&'static str, &'static str) {
        ("  \"crc32\": \"", "\"\n}\n")
    }

    fn body(&self, table: &ControllerTable) -> String {
        let record = table.record();
        let temperature = match &record.temperature {
            None => "null".to_owned(),
            Some(term) => format!(
                "{{\"reference_centi\": {}, \"lowest_centi\": {}, \"highest_centi\": {}, \"coefficient\": {}, \"divisor\": {}}}",
                term.reference_centi,
                term.lowest_centi,
                term.highest_centi,
                term.coefficient,
                term.divisor
            ),
        };
        let knots: Vec<String> = record
            .knots
            .iter()
            .map(|knot| {
                format!(
                    "    {{\"count\": {}, \"theta_v_e4\": {}, \"expanded_uncertainty_e4\": {}}}",
                    knot.count, knot.theta_v, knot.expanded_uncertainty
                )
            })
            .collect();
        let points = record.set_points;
        let timing = record.timing;
        let lines = [
            ("format", quoted(FORMAT)),
            ("version", record.version.to_string()),
            ("probe", quoted(&record.probe)),
            ("soil", quoted(&record.soil)),
            (
                "calibrated_on",
                quoted(&record.dates.calibrated_on.to_string()),
            ),
            ("recheck_by", quoted(&record.dates.recheck_by.to_string())),
            ("adc_bits", record.adc_bits.to_string()),
            ("direction", quoted(direction_key(record.direction))),
            (
                "domain_sixteenths",
                format!(
                    "{{\"low\": {}, \"high\": {}}}",
                    record.domain_low, record.domain_high
                ),
            ),
            ("temperature", temperature),
            ("max_error_e4", record.max_error.to_string()),
            ("knots", format!("[\n{}\n  ]", knots.join(",\n"))),
            (
                "set_points",
                format!(
                    "{{\"refill_theta_v_e4\": {}, \"stop_theta_v_e4\": {}, \"refill_count\": {}, \"stop_count\": {}}}",
                    points.refill, points.stop, points.refill_count, points.stop_count
                ),
            ),
            (
                "pump",
                format!(
                    "{{\"minimum_on_s\": {}, \"minimum_off_s\": {}, \"maximum_on_s\": {}}}",
                    timing.minimum_on_s, timing.minimum_off_s, timing.maximum_on_s
                ),
            ),
            ("table_crc32", quoted(&format!("{:08x}", table.crc32()))),
        ];
        let mut text = String::from("{\n");
        for (key, value) in lines {
            text.push_str(&format!("  \"{key}\": {value},\n"));
        }
        text
    }

    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError> {
        let fault = |error: serde_json::Error| FileError::Content {
            line: error.line() as u64,
            what: format!("cannot be understood: {error}"),
        };
        let content = |key: &str, what: &str| FileError::Content {
            line: line_of(text, key),
            what: format!("{key}: {what}"),
        };
        let stamp: Stamp = serde_json::from_str(text).map_err(fault)?;
        if stamp.format != FORMAT {
            return Err(content("format", &format!("is not \"{FORMAT}\"")));
        }
        if stamp.version != VERSION {
            return Err(ControllerError::Version {
                found: stamp.version,
            }
            .into());
        }
        let document: Document = serde_json::from_str(text).map_err(fault)?;
        let date = |key: &str, value: &str| {
            value
                .parse::<Date>()
                .map_err(|_| content(key, "is not a date as YYYY-MM-DD"))
        };
        let stated = hexadecimal(&document.table_crc32)
            .ok_or_else(|| content("table_crc32", "is not eight hexadecimal digits"))?;
        let record = ControllerRecord {
            version: document.version,
            dates: Dates {
                calibrated_on: date("calibrated_on", &document.calibrated_on)?,
                recheck_by: date("recheck_by", &document.recheck_by)?,
            },
            probe: document.probe,
            soil: document.soil,
            adc_bits: document.adc_bits,
            direction: document.direction,
            domain_low: document.domain_sixteenths.low,
            domain_high: document.domain_sixteenths.high,
            temperature: document.temperature.map(|term| IntegerTemperature {
                reference_centi: term.reference_centi,
                lowest_centi: term.lowest_centi,
                highest_centi: term.highest_centi,
                coefficient: term.coefficient,
                divisor: term.divisor,
            }),
            max_error: document.max_error_e4,
            knots: document
                .knots
                .into_iter()
                .map(|knot| Knot {
                    count: knot.count,
                    theta_v: knot.theta_v_e4,
                    expanded_uncertainty: knot.expanded_uncertainty_e4,
                })
                .collect(),
            set_points: IntegerSetPoints {
                refill: document.set_points.refill_theta_v_e4,
                stop: document.set_points.stop_theta_v_e4,
                refill_count: document.set_points.refill_count,
                stop_count: document.set_points.stop_count,
            },
            timing: Timing {
                minimum_on_s: document.pump.minimum_on_s,
                minimum_off_s: document.pump.minimum_off_s,
                maximum_on_s: document.pump.maximum_on_s,
            },
        };
        Ok((record, stated))
    }
}

/// The direction as its key says it in every file of the program.
fn direction_key(direction: Direction) -> &'static str {
    match direction {
        Direction::RisesWhenWetter => "rises-when-wetter",
        Direction::FallsWhenWetter => "falls-when-wetter",
    }
}

/// A JSON string.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

/// The line `key` stands on, counted from 1.
fn line_of(text: &str, key: &str) -> u64 {
    let start = format!("  \"{key}\":");
    text.lines()
        .position(|line| line.starts_with(&start))
        .map_or(1, |index| index as u64 + 1)
}
