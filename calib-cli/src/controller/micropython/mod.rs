//! The table as a MicroPython module, which Python 3 runs too: its image as bytes,
//! and the reader, the pump's state machine and the checks around it.
//!
//! `module.py` is the text with gaps for what belongs to one probe. It is one file
//! a probe, since a person copies it to a board by hand.

use super::heading::{self, CAUTION};
use super::{ControllerFormat, FileError, Seal, identifier};
use calib_core::controller::{ControllerRecord, ControllerTable};

/// The MicroPython module.
pub(super) struct MicroPython;

const MODULE: &str = include_str!("module.py");

/// What opens and closes the rows of the image.
const OPENS: &str = "TABLE = (";
const CLOSES: &str = ")";
/// What begins and ends the bytes of a row; a comment may follow.
const ROW: (&str, char) = ("    b\"", '"');
/// Knots on a row.
const ON_A_ROW: usize = 8;

/// Bytes of each row before the knots, and what they say.
const ROWS: [(usize, &str); 12] = [
    (4, "version, flags, temperature shift, number of knots"),
    (2, "full scale of the converter"),
    (4, "lowest and highest count of a live probe"),
    (6, "reference, lowest and highest temperature"),
    (4, "temperature coefficient"),
    (8, "lowest and highest corrected count, sixteenths"),
    (4, "refill and stop, theta_v"),
    (4, "refill and stop, raw counts"),
    (2, "largest difference from the fitted curve"),
    (12, "shortest on, shortest off, longest on, s"),
    (4, "stuck after, s"),
    (8, "calibrated on, check again by, YYYYMMDD"),
];
/// What the numbers of each knot are, one after the other for all knots.
const COLUMNS: [&str; 3] = ["counts of the knots", "theta_v", "expanded uncertainty"];

impl ControllerFormat for MicroPython {
    fn name(&self) -> &'static str {
        "MicroPython module"
    }

    fn file_name(&self, probe: &str) -> String {
        format!("{}.py", module(probe))
    }

    fn seal(&self) -> Seal {
        Seal {
            sha256: ("# sha256: ", "\n"),
            crc32: ("# crc32: ", "\n"),
        }
    }

    fn body(&self, table: &ControllerTable) -> String {
        let record = table.record();
        MODULE
            .replace("@caution@", &CAUTION.join("\n"))
            .replace("@module@", &module(&record.probe))
            .replace("@rows@", &rows(&table.image(), record.knots.len()))
            .replace("@heading@", &heading::lines(table).join("\n"))
    }

    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError> {
        heading::read(text, "", &image(text)?)
    }
}

/// The name a program imports.
fn module(probe: &str) -> String {
    format!("ovendry_{}", identifier(probe))
}

/// The image as bytes literals with what they say.
fn rows(image: &[u8], knots: usize) -> String {
    let row = |bytes: &[u8], says: &str| {
        let digits: String = bytes.iter().map(|byte| format!("\\x{byte:02x}")).collect();
        format!("{}{digits}{}  # {says}", ROW.0, ROW.1)
    };
    let mut rows = Vec::new();
    let mut rest = image;
    for (length, says) in ROWS {
        let (bytes, after) = rest.split_at(length.min(rest.len()));
        rows.push(row(bytes, says));
        rest = after;
    }
    for says in COLUMNS {
        let (bytes, after) = rest.split_at((2 * knots).min(rest.len()));
        rows.extend(bytes.chunks(2 * ON_A_ROW).map(|bytes| row(bytes, says)));
        rest = after;
    }
    rows.push(row(rest, "CRC-32"));
    rows.join("\n")
}

/// The bytes of the rows.
fn image(text: &str) -> Result<Vec<u8>, FileError> {
    let mut lines = (1..).zip(text.lines());
    let fault = |line: u64, what: &str| FileError::Content {
        line,
        what: what.to_owned(),
    };
    lines
        .find(|(_, line)| *line == OPENS)
        .ok_or_else(|| fault(1, "there are no bytes of a table"))?;
    let mut image = Vec::new();
    for (number, line) in lines {
        if line == CLOSES {
            return Ok(image);
        }
        let bytes = line
            .strip_prefix(ROW.0)
            .and_then(|rest| rest.split_once(ROW.1))
            .and_then(|(digits, _)| bytes(digits))
            .ok_or_else(|| fault(number, "is no row of bytes"))?;
        image.extend(bytes);
    }
    Err(fault(1, "the bytes of the table do not end"))
}

/// The bytes of `\x02\x03`.
fn bytes(digits: &str) -> Option<Vec<u8>> {
    digits
        .strip_prefix("\\x")?
        .split("\\x")
        .map(|pair| u8::from_str_radix(pair, 16).ok())
        .collect()
}
