//! The table as a C99 header: integer tables, the reader and the set points.
//!
//! The text is put together from three templates beside this file: `opening.txt`
//! (what it is and how to use it), `reader.h` (the reader, the same in every
//! header and guarded, so that several headers can be included together) and
//! `probe.h` (this probe's tables and functions). Numbers stand in macros, one a
//! line, which is also where [`read`] finds them.

mod read;

use super::{ControllerFormat, FileError};
use calib_core::calibration::Direction;
use calib_core::controller::{ControllerRecord, ControllerTable, Dates, day_number};

/// The C header.
pub(super) struct CHeader;

const OPENING: &str = include_str!("opening.txt");
const READER: &str = include_str!("reader.h");
const PROBE: &str = include_str!("probe.h");

impl ControllerFormat for CHeader {
    fn name(&self) -> &'static str {
        "C header"
    }

    fn suffix(&self) -> &'static str {
        ".h"
    }

    fn seal(&self) -> (&'static str, &'static str) {
        ("/* crc32: ", " */\n")
    }

    fn body(&self, table: &ControllerTable) -> String {
        let record = table.record();
        let id = format!("ovendry_{}", identifier(&record.probe));
        let upper = id.to_ascii_uppercase();
        let guard = format!("{upper}_{:08X}_H", table.crc32());
        let column = |number: &dyn Fn(usize) -> String| -> String {
            let numbers: Vec<String> = (0..record.knots.len()).map(number).collect();
            let rows: Vec<String> = numbers
                .chunks(10)
                .map(|row| format!("    {}", row.join(", ")))
                .collect();
            rows.join(",\n")
        };
        let knots = &record.knots;
        let counts = column(&|i| format!("{}u", knots[i].count));
        let thetas = column(&|i| knots[i].theta_v.to_string());
        let uncertainties = column(&|i| format!("{}u", knots[i].expanded_uncertainty));
        let fill = |template: &str| {
            template
                .replace("@checks@", &checks(table))
                .replace("@counts@", &counts)
                .replace("@thetas@", &thetas)
                .replace("@uncertainties@", &uncertainties)
                .replace("@id@", &id)
                .replace("@ID@", &upper)
        };
        [
            fill(OPENING),
            format!("#ifndef {guard}\n#define {guard}\n\n"),
            READER.to_owned(),
            "\n".to_owned(),
            constants(table, &upper),
            "\n".to_owned(),
            fill(PROBE),
        ]
        .concat()
    }

    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError> {
        read::read(text)
    }
}

/// A probe's name as part of a C identifier: ASCII letters in lower case and
/// digits stay, every other byte becomes an underscore.
pub fn identifier(probe: &str) -> String {
    probe
        .bytes()
        .map(|byte| {
            if byte.is_ascii_alphanumeric() {
                char::from(byte.to_ascii_lowercase())
            } else {
                '_'
            }
        })
        .collect()
}

/// The checks and the correction that come before the domain, where they apply.
fn checks(table: &ControllerTable) -> String {
    let record = table.record();
    let mut lines = String::new();
    // With 16 bits the argument's type is the check.
    if record.adc_bits < 16 {
        lines.push_str(&format!(
            "    if (count > {}u) {{\n        return OVENDRY_FAULT_COUNT_ABOVE_FULL_SCALE;\n    }}\n",
            table.full_scale()
        ));
    }
    lines.push_str(if record.temperature.is_some() {
        "    if (temperature_centi == OVENDRY_NO_TEMPERATURE) {
        return OVENDRY_FAULT_TEMPERATURE_MISSING;
    }
    if ((temperature_centi < @ID@_LOWEST_CENTI) || (temperature_centi > @ID@_HIGHEST_CENTI)) {
        return OVENDRY_FAULT_TEMPERATURE_OUTSIDE_RANGE;
    }
    sixteenths -= ovendry_divide_v1(
        @ID@_COEFFICIENT * ((int32_t)temperature_centi - @ID@_REFERENCE_CENTI), @ID@_DIVISOR);"
    } else {
        "    (void)temperature_centi;"
    });
    lines
}

/// The macros: names first, then every number with what it is.
fn constants(table: &ControllerTable, upper: &str) -> String {
    let record = table.record();
    let mut text = format!(
        "#define {upper}_PROBE {}\n#define {upper}_SOIL {}\n",
        c_string(&record.probe),
        c_string(&record.soil)
    );
    let term = record.temperature;
    let of_term = |number: fn(&calib_core::controller::IntegerTemperature) -> i32| {
        i64::from(term.as_ref().map_or(0, number))
    };
    let Dates {
        calibrated_on,
        recheck_by,
    } = record.dates;
    let points = record.set_points;
    let timing = record.timing;
    let falls = record.direction == Direction::FallsWhenWetter;
    let numbers: [(&str, &[(&str, i64)]); 8] = [
        (
            "version of the table's meaning",
            &[("VERSION", i64::from(record.version))],
        ),
        (
            "calibrated on, check again by: YYYYMMDD",
            &[
                ("CALIBRATED_ON", i64::from(day_number(calibrated_on))),
                ("RECHECK_BY", i64::from(day_number(recheck_by))),
            ],
        ),
        (
            "the converter and which way it moves",
            &[
                ("ADC_BITS", i64::from(record.adc_bits)),
                ("COUNTS_FALL_WHEN_WETTER", i64::from(falls)),
            ],
        ),
        (
            "calibrated counts at the reference temperature, sixteenths of a count",
            &[
                ("DOMAIN_LOW", i64::from(record.domain_low)),
                ("DOMAIN_HIGH", i64::from(record.domain_high)),
            ],
        ),
        (
            "temperature: hundredths of a degree; a reading is lowered by\n * COEFFICIENT * (temperature - REFERENCE) / DIVISOR sixteenths of a count",
            &[
                ("TEMPERATURE_TERM", i64::from(term.is_some())),
                ("REFERENCE_CENTI", of_term(|t| i32::from(t.reference_centi))),
                ("LOWEST_CENTI", of_term(|t| i32::from(t.lowest_centi))),
                ("HIGHEST_CENTI", of_term(|t| i32::from(t.highest_centi))),
                ("COEFFICIENT", of_term(|t| t.coefficient)),
                ("DIVISOR", of_term(|t| t.divisor)),
            ],
        ),
        (
            "largest difference from the fitted curve, theta_v x 10 000",
            &[("MAX_ERROR_E4", i64::from(record.max_error))],
        ),
        (
            "start and stop of the pump: theta_v x 10 000, and raw counts at the\n * reference temperature; times in seconds",
            &[
                ("REFILL_E4", i64::from(points.refill)),
                ("STOP_E4", i64::from(points.stop)),
                ("REFILL_COUNT", i64::from(points.refill_count)),
                ("STOP_COUNT", i64::from(points.stop_count)),
                ("MINIMUM_ON_S", i64::from(timing.minimum_on_s)),
                ("MINIMUM_OFF_S", i64::from(timing.minimum_off_s)),
                ("MAXIMUM_ON_S", i64::from(timing.maximum_on_s)),
            ],
        ),
        (
            "the table: counts, theta_v x 10 000 there, and its expanded uncertainty\n * (95 %) x 10 000; straight lines between",
            &[("KNOTS", record.knots.len() as i64)],
        ),
    ];
    text.push_str(&format!(
        "\n/* CRC-32 over every number below */\n#define {upper}_TABLE_CRC32 ((uint32_t)0x{:08x}UL)\n",
        table.crc32()
    ));
    for (meaning, group) in numbers {
        text.push_str(&format!("\n/* {meaning} */\n"));
        for (key, value) in group {
            text.push_str(&format!("#define {upper}_{key} ((int32_t){value}L)\n"));
        }
    }
    text
}

/// A C string literal in plain ASCII: other bytes in octal, and no character
/// that could start a trigraph or end the literal.
fn c_string(text: &str) -> String {
    let mut literal = String::from("\"");
    for byte in text.bytes() {
        match byte {
            b'"' | b'\\' | b'?' => {
                literal.push('\\');
                literal.push(char::from(byte));
            }
            b' '..=b'~' => literal.push(char::from(byte)),
            _ => literal.push_str(&format!("\\{byte:03o}")),
        }
    }
    literal.push('"');
    literal
}
