//! Controller files, one module a format.
//!
//! Every format writes down the same [`ControllerTable`]; its numbers, checks
//! and arithmetic are the core's ([`calib_core::controller`]). A format says how
//! a table becomes text and how that text is read; sealing, damage and the rest
//! are the same for all and live here. What a firmware author needs to know is
//! in `schema/CONTROLLER-FILE.md`.
//!
//! Adding a format: one module with a [`ControllerFormat`] and one line in
//! [`FORMATS`]. The text of a format is frozen for each
//! [`VERSION`](calib_core::controller::VERSION), since a file is accepted only if
//! it is written the same way again: the example under `schema/` pins it, and
//! changing it means a new version.

mod c_header;
mod json;

use calib_core::controller::{ControllerError, ControllerRecord, ControllerTable};
use std::collections::BTreeMap;
use std::path::Path;

pub use c_header::identifier;

/// Every format, in the order they are written.
pub const FORMATS: [&dyn ControllerFormat; 2] = [&json::Json, &c_header::CHeader];

/// How a table is written down and read back.
pub trait ControllerFormat: Sync {
    /// What a person calls it, e.g. `JSON`.
    fn name(&self) -> &'static str;

    /// How its file names end, e.g. `.h`.
    fn suffix(&self) -> &'static str;

    /// What stands before and after the eight hexadecimal digits of the file's
    /// CRC-32 at its very end. The CRC is taken over every byte before `.0`.
    fn seal(&self) -> (&'static str, &'static str);

    /// The text before the seal.
    fn body(&self, table: &ControllerTable) -> String;

    /// What a whole text says, and the `table_crc32` it states. Only ever given
    /// text whose seal is right; need not be strict, since the result is
    /// written again and must give the same bytes.
    ///
    /// # Errors
    /// [`FileError::Content`] naming line and fault, or [`FileError::Table`] for
    /// another version.
    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError>;
}

/// Why a file was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FileError {
    /// No seal at the end: cut short, or not such a file.
    #[error(
        "does not end with its CRC-32: it was cut short, added to, or is no {format} controller file"
    )]
    SealMissing {
        /// Name of the format expected.
        format: &'static str,
    },
    /// The CRC-32 of the bytes is another.
    #[error(
        "its CRC-32 is stated as {stated:08x}, but its bytes give {computed:08x}: the file was changed or damaged"
    )]
    FileCrc {
        /// CRC-32 stated at the end.
        stated: u32,
        /// CRC-32 of the bytes.
        computed: u32,
    },
    /// Some tool turned line feeds into carriage return and line feed.
    #[error("its line ends were changed to carriage return and line feed on the way here")]
    LineEnds,
    /// It does not say what a controller file says.
    #[error("{what}")]
    Content {
        /// Line, counted from 1.
        line: u64,
        /// What is wrong.
        what: String,
    },
    /// The numbers are no valid table.
    #[error(transparent)]
    Table(#[from] ControllerError),
    /// The numbers are sound, but the text is not how this format writes them.
    #[error("the numbers are sound, but this line is not as version 1 of the format writes it")]
    OtherText {
        /// First line that differs, counted from 1.
        line: u64,
    },
}

impl FileError {
    /// The line it is about, where there is one.
    pub fn line(&self) -> Option<u64> {
        match self {
            FileError::Content { line, .. } | FileError::OtherText { line } => Some(*line),
            _ => None,
        }
    }

    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            FileError::Table(error @ ControllerError::Version { .. }) => error.mend(),
            FileError::LineEnds => {
                "copy the file as binary, or tell the version control system to leave it as it is"
            }
            _ => "do not load it; copy it again, or export it again from its calibration",
        }
    }
}

/// The file of `table` in `format`. The same table always gives the same bytes.
pub fn render(format: &dyn ControllerFormat, table: &ControllerTable) -> String {
    let mut text = format.body(table);
    let crc = crc32fast::hash(text.as_bytes());
    let (before, after) = format.seal();
    text.push_str(&format!("{before}{crc:08x}{after}"));
    text
}

/// Reads a file of `format`: its seal, its numbers with their CRC-32, every
/// check of the core, and that writing the table again gives the same bytes.
///
/// # Errors
/// The first [`FileError`] found.
pub fn load(format: &dyn ControllerFormat, bytes: &[u8]) -> Result<ControllerTable, FileError> {
    unseal(format, bytes)?;
    let text = std::str::from_utf8(bytes).map_err(|_| FileError::Content {
        line: 1,
        what: "is not UTF-8 text".into(),
    })?;
    let (record, stated) = format.read(text)?;
    let table = ControllerTable::check_with_crc(record, stated)?;
    let again = render(format, &table);
    if again != text {
        let same = again
            .lines()
            .zip(text.lines())
            .take_while(|(a, b)| a == b)
            .count();
        return Err(FileError::OtherText {
            line: same as u64 + 1,
        });
    }
    Ok(table)
}

/// Checks the seal.
fn unseal(format: &dyn ControllerFormat, bytes: &[u8]) -> Result<(), FileError> {
    let missing = FileError::SealMissing {
        format: format.name(),
    };
    let (before, after) = format.seal();
    let sealed = bytes
        .strip_suffix(after.as_bytes())
        .and_then(|rest| rest.split_last_chunk::<8>())
        .and_then(|(rest, digits)| Some((rest.strip_suffix(before.as_bytes())?, digits)));
    let Some((body, digits)) = sealed else {
        return Err(if bytes.ends_with(b"\r\n") {
            FileError::LineEnds
        } else {
            missing
        });
    };
    let stated = std::str::from_utf8(digits)
        .ok()
        .and_then(hexadecimal)
        .ok_or(missing)?;
    let computed = crc32fast::hash(body);
    if stated != computed {
        return Err(FileError::FileCrc { stated, computed });
    }
    Ok(())
}

/// Eight lower-case hexadecimal digits.
fn hexadecimal(digits: &str) -> Option<u32> {
    let plain = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
    (digits.len() == 8 && digits.bytes().all(plain))
        .then(|| u32::from_str_radix(digits, 16).ok())
        .flatten()
}

/// The format of a file, by the extension of its name.
pub fn format_of(path: &Path) -> Option<&'static dyn ControllerFormat> {
    let extension = path.extension();
    FORMATS
        .into_iter()
        .find(|format| Path::new(&file_name(*format, "probe")).extension() == extension)
}

/// The name of a probe's file in `format`.
pub fn file_name(format: &dyn ControllerFormat, probe: &str) -> String {
    format!("{probe}{}", format.suffix())
}

/// Two probes of `probes` whose C identifiers would be the same, if any.
pub fn clashing<'a>(probes: impl IntoIterator<Item = &'a str>) -> Option<(&'a str, &'a str)> {
    let mut seen = BTreeMap::new();
    probes
        .into_iter()
        .find_map(|probe| match seen.insert(identifier(probe), probe) {
            Some(earlier) if earlier != probe => Some((earlier, probe)),
            _ => None,
        })
}
