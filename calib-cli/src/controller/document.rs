//! A table as keys and whole numbers, for the formats that are read key by key.

use super::FileError;
use super::seal::hexadecimal;
use calib_core::calibration::Direction;
use calib_core::controller::{
    ControllerError, ControllerRecord, ControllerTable, Dates, IntegerSetPoints,
    IntegerTemperature, Knot, LiveCodes, OpenCircuit, Timing, VERSION,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the `format` key says.
pub(super) const FORMAT: &str = "ovendry controller table";

/// The keys that say whether the rest can be read at all.
#[derive(Deserialize)]
pub(super) struct Stamp {
    format: String,
    version: u32,
}

impl Stamp {
    /// Refuses another format than `expected`, whose key stands on the line given,
    /// and another version.
    pub(super) fn is(self, expected: &str, line: impl FnOnce() -> u64) -> Result<(), FileError> {
        if self.format != expected {
            return Err(FileError::Content {
                line: line(),
                what: format!("format: is not \"{expected}\""),
            });
        }
        if self.version != u32::from(VERSION) {
            return Err(ControllerError::Version {
                found: self.version,
            }
            .into());
        }
        Ok(())
    }
}

/// Every key, in the order they are written.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Document {
    format: String,
    version: u8,
    probe: String,
    soil: String,
    calibrated_on: String,
    recheck_by: String,
    adc_bits: u8,
    direction: Direction,
    live_codes: LiveKeys,
    domain_sixteenths: DomainKeys,
    temperature: Option<TemperatureKeys>,
    max_error_e4: u16,
    knots: Vec<KnotKeys>,
    set_points: SetPointKeys,
    pump: PumpKeys,
    table_crc32: String,
    #[serde(rename = "sha256", default, skip_serializing)]
    _sha256: String,
    #[serde(rename = "crc32", default, skip_serializing)]
    _crc32: String,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct LiveKeys {
    low: u16,
    high: u16,
    open_circuit: OpenCircuit,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct DomainKeys {
    low: i32,
    high: i32,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct TemperatureKeys {
    reference_centi: i16,
    lowest_centi: i16,
    highest_centi: i16,
    coefficient: i32,
    divisor: i32,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct KnotKeys {
    count: u16,
    theta_v_e4: i16,
    expanded_uncertainty_e4: u16,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct SetPointKeys {
    refill_theta_v_e4: i16,
    stop_theta_v_e4: i16,
    refill_count: u16,
    stop_count: u16,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct PumpKeys {
    minimum_on_s: u32,
    minimum_off_s: u32,
    maximum_on_s: u32,
    stuck_after_s: u32,
}

/// A key whose value cannot be taken.
pub(super) struct Unusable {
    pub(super) key: &'static str,
    pub(super) what: &'static str,
}

impl Document {
    pub(super) fn of(table: &ControllerTable) -> Self {
        let record = table.record();
        let points = record.set_points;
        let timing = record.timing;
        Self {
            format: FORMAT.to_owned(),
            version: record.version,
            probe: record.probe.clone(),
            soil: record.soil.clone(),
            calibrated_on: record.dates.calibrated_on.to_string(),
            recheck_by: record.dates.recheck_by.to_string(),
            adc_bits: record.adc_bits,
            direction: record.direction,
            live_codes: LiveKeys {
                low: record.live.low,
                high: record.live.high,
                open_circuit: record.live.open_circuit,
            },
            domain_sixteenths: DomainKeys {
                low: record.domain_low,
                high: record.domain_high,
            },
            temperature: record.temperature.as_ref().map(|term| TemperatureKeys {
                reference_centi: term.reference_centi,
                lowest_centi: term.lowest_centi,
                highest_centi: term.highest_centi,
                coefficient: term.coefficient,
                divisor: term.divisor(),
            }),
            max_error_e4: record.max_error,
            knots: record
                .knots
                .iter()
                .map(|knot| KnotKeys {
                    count: knot.count,
                    theta_v_e4: knot.theta_v,
                    expanded_uncertainty_e4: knot.expanded_uncertainty,
                })
                .collect(),
            set_points: SetPointKeys {
                refill_theta_v_e4: points.refill,
                stop_theta_v_e4: points.stop,
                refill_count: points.refill_count,
                stop_count: points.stop_count,
            },
            pump: PumpKeys {
                minimum_on_s: timing.minimum_on_s,
                minimum_off_s: timing.minimum_off_s,
                maximum_on_s: timing.maximum_on_s,
                stuck_after_s: timing.stuck_after_s,
            },
            table_crc32: format!("{:08x}", table.crc32()),
            _sha256: String::new(),
            _crc32: String::new(),
        }
    }

    /// What the keys say, and the `table_crc32` they state.
    pub(super) fn record(self) -> Result<(ControllerRecord, u32), Unusable> {
        let date = |key: &'static str, value: &str| {
            value.parse().map_err(|_| Unusable {
                key,
                what: "is not a date as YYYY-MM-DD",
            })
        };
        let stated = hexadecimal(self.table_crc32.as_bytes())
            .filter(|digits| digits.len() == 8)
            .and_then(|digits| u32::from_str_radix(digits, 16).ok())
            .ok_or(Unusable {
                key: "table_crc32",
                what: "is not eight hexadecimal digits",
            })?;
        let temperature = match self.temperature {
            None => None,
            Some(term) => Some(IntegerTemperature {
                reference_centi: term.reference_centi,
                lowest_centi: term.lowest_centi,
                highest_centi: term.highest_centi,
                coefficient: term.coefficient,
                shift: shift(term.divisor).ok_or(Unusable {
                    key: "temperature",
                    what: "has a divisor other than 1, 256 or 65536",
                })?,
            }),
        };
        let record = ControllerRecord {
            version: self.version,
            dates: Dates {
                calibrated_on: date("calibrated_on", &self.calibrated_on)?,
                recheck_by: date("recheck_by", &self.recheck_by)?,
            },
            probe: self.probe,
            soil: self.soil,
            adc_bits: self.adc_bits,
            direction: self.direction,
            live: LiveCodes {
                low: self.live_codes.low,
                high: self.live_codes.high,
                open_circuit: self.live_codes.open_circuit,
            },
            domain_low: self.domain_sixteenths.low,
            domain_high: self.domain_sixteenths.high,
            temperature,
            max_error: self.max_error_e4,
            knots: self
                .knots
                .into_iter()
                .map(|knot| Knot {
                    count: knot.count,
                    theta_v: knot.theta_v_e4,
                    expanded_uncertainty: knot.expanded_uncertainty_e4,
                })
                .collect(),
            set_points: IntegerSetPoints {
                refill: self.set_points.refill_theta_v_e4,
                stop: self.set_points.stop_theta_v_e4,
                refill_count: self.set_points.refill_count,
                stop_count: self.set_points.stop_count,
            },
            timing: Timing {
                minimum_on_s: self.pump.minimum_on_s,
                minimum_off_s: self.pump.minimum_off_s,
                maximum_on_s: self.pump.maximum_on_s,
                stuck_after_s: self.pump.stuck_after_s,
            },
        };
        Ok((record, stated))
    }
}

/// The power of two a divisor is, if it is one.
fn shift(divisor: i32) -> Option<u8> {
    (divisor > 0 && divisor.count_ones() == 1)
        .then(|| u8::try_from(divisor.trailing_zeros()).ok())
        .flatten()
}
