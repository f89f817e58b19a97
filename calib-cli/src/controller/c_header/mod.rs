//! The table as a C header: its image as bytes in program memory.
//!
//! `ovendry_reader.h`, the same for every probe, reads the image; it is written
//! beside the headers, which include it. Several probes can share it.

use super::heading::{self, CAUTION};
use super::{Companion, ControllerFormat, FileError, Seal, identifier};
use calib_core::controller::{ControllerRecord, ControllerTable};

/// The C header.
pub(super) struct CHeader;

/// The reader every header includes.
const READER: Companion = Companion {
    file_name: "ovendry_reader.h",
    text: include_str!("ovendry_reader.h"),
};

/// What begins the name of a table in C; no name of the reader begins so, whatever
/// the probe is called.
const PREFIX: &str = "ovendry_table_";
/// What begins a line of the heading.
const MARK: &str = " * ";
/// Bytes of the image on a line.
const ON_A_LINE: usize = 12;

impl ControllerFormat for CHeader {
    fn name(&self) -> &'static str {
        "C header"
    }

    fn file_name(&self, probe: &str) -> String {
        format!("{probe}.h")
    }

    fn companion(&self) -> Option<Companion> {
        Some(READER)
    }

    fn seal(&self) -> Seal {
        Seal {
            sha256: ("/* sha256: ", " */\n"),
            crc32: ("/* crc32: ", " */\n"),
        }
    }

    fn body(&self, table: &ControllerTable) -> String {
        let record = table.record();
        let id = format!("{PREFIX}{}", identifier(&record.probe));
        let upper = id.to_ascii_uppercase();
        let version = record.version;
        let image = table.image();
        let rows: Vec<String> = image
            .chunks(ON_A_LINE)
            .map(|row| {
                let bytes: Vec<String> = row.iter().map(|byte| format!("0x{byte:02x}")).collect();
                format!("    {}", bytes.join(", "))
            })
            .collect();
        let mut text = String::from(
            "/*\n * Controller table of one soil moisture probe: from raw count to volumetric\n * water content theta_v, in integers only. C99, or C++11 and later.\n *\n",
        );
        let mut comment = |line: &str| {
            text.push_str(format!("{MARK}{line}").trim_end());
            text.push('\n');
        };
        for line in heading::lines(table) {
            comment(&line);
        }
        comment("");
        for line in usage(&id, &upper) {
            comment(&line);
        }
        comment("");
        for line in CAUTION {
            comment(line);
        }
        text.push_str(&format!(
            " */\n#ifndef {upper}_H\n#define {upper}_H\n\n#include \"ovendry_reader.h\"\n\n#if OVENDRY_READER_VERSION != {version}\n#error \"this table needs ovendry_reader.h of version {version}; export both again\"\n#endif\n\n#define {upper}_LENGTH {}u\n\nstatic const uint8_t {id}[{upper}_LENGTH] OVENDRY_FLASH = {{\n{}\n}};\n\n#endif\n",
            image.len(),
            rows.join(",\n")
        ));
        text
    }

    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError> {
        heading::read(text, MARK, &image(text)?)
    }
}

/// How to use the header.
fn usage(id: &str, upper: &str) -> [String; 10] {
    [
        "Do not edit: `ovendry verify` refuses the file if a byte has changed.".to_owned(),
        String::new(),
        "  static ovendry_pump pump;".to_owned(),
        "  int16_t answer;  theta_v in m3/m3 times 10 000, or a fault".to_owned(),
        String::new(),
        format!("  at start: sound = ovendry_is_sound({id}, {upper}_LENGTH);"),
        "            ovendry_pump_start(&pump, now_s);".to_owned(),
        "  at each reading, temperature in hundredths of a degree Celsius:".to_owned(),
        "  on = sound && ovendry_pump_step(".to_owned(),
        format!("      &pump, {id}, now_s, count, temperature_centi, &answer);"),
    ]
}

/// The bytes between the braces.
fn image(text: &str) -> Result<Vec<u8>, FileError> {
    let mut image = Vec::new();
    let mut inside = false;
    for (i, line) in text.lines().enumerate() {
        if inside && line == "};" {
            return Ok(image);
        }
        if inside {
            for byte in line
                .split(',')
                .map(str::trim)
                .filter(|byte| !byte.is_empty())
            {
                let byte = byte
                    .strip_prefix("0x")
                    .and_then(|digits| u8::from_str_radix(digits, 16).ok())
                    .ok_or_else(|| FileError::Content {
                        line: i as u64 + 1,
                        what: format!("\"{byte}\" is not a byte"),
                    })?;
                image.push(byte);
            }
        }
        inside = inside || line.ends_with("] OVENDRY_FLASH = {");
    }
    Err(FileError::Content {
        line: 1,
        what: "there are no bytes of a table, or they do not end".into(),
    })
}
