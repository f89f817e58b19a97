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
mod csv_table;
mod document;
mod fleet;
mod heading;
mod json;
mod micropython;
mod seal;
mod sql;

use calib_core::controller::{ControllerError, ControllerRecord, ControllerTable};
use std::collections::BTreeMap;
use std::path::Path;

pub use fleet::{FLEET_FILE, is_fleet, load_fleet, render_fleet};
pub use seal::{Seal, sha256};

/// Every format, in the order they are written.
pub const FORMATS: [&dyn ControllerFormat; 5] = [
    &json::Json,
    &csv_table::CsvTable,
    &c_header::CHeader,
    &micropython::MicroPython,
    &sql::Sql,
];

/// A file that is the same for every probe and that files of a format need beside
/// them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Companion {
    /// Its name.
    pub file_name: &'static str,
    /// What it holds.
    pub text: &'static str,
}

/// How a table is written down and read back.
pub trait ControllerFormat: Sync {
    /// What a person calls it, e.g. `JSON`.
    fn name(&self) -> &'static str;

    /// The name of a probe's file; its extension is the format's own.
    fn file_name(&self, probe: &str) -> String;

    /// The file its files need beside them, if any.
    fn companion(&self) -> Option<Companion> {
        None
    }

    /// The digests at the very end of the file.
    fn seal(&self) -> Seal;

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
    /// The SHA-256 of the bytes is another.
    #[error("its SHA-256 is not that of its bytes: the file was changed")]
    FileSha256,
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
    #[error("the numbers are sound, but this line is not as version 2 of the format writes it")]
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
    format.seal().close(format.body(table))
}

/// Reads a file of `format`: its seal, its numbers with their CRC-32, every
/// check of the core, and that writing the table again gives the same bytes.
///
/// # Errors
/// The first [`FileError`] found.
pub fn load(format: &dyn ControllerFormat, bytes: &[u8]) -> Result<ControllerTable, FileError> {
    format.seal().check(format.name(), bytes)?;
    let text = utf8(bytes)?;
    let (record, stated) = format.read(text)?;
    let table = ControllerTable::check_with_crc(record, stated)?;
    same_text(&render(format, &table), text)?;
    Ok(table)
}

fn utf8(bytes: &[u8]) -> Result<&str, FileError> {
    std::str::from_utf8(bytes).map_err(|_| FileError::Content {
        line: 1,
        what: "is not UTF-8 text".into(),
    })
}

/// Refuses a text that is not the one written for the same numbers.
fn same_text(again: &str, text: &str) -> Result<(), FileError> {
    if again == text {
        return Ok(());
    }
    let same = again
        .lines()
        .zip(text.lines())
        .take_while(|(a, b)| a == b)
        .count();
    Err(FileError::OtherText {
        line: same as u64 + 1,
    })
}

/// What a former version of a file is named, when a new one takes its place.
pub const PREVIOUS: &str = ".previous";

/// The name a file was written under, for one that was kept too.
fn name_when_written(path: &Path) -> Option<&str> {
    let name = path.file_name()?.to_str()?;
    Some(name.strip_suffix(PREVIOUS).unwrap_or(name))
}

/// Every file that formats need beside theirs.
pub fn companions() -> impl Iterator<Item = Companion> {
    FORMATS.into_iter().filter_map(|format| format.companion())
}

/// The format of a file, by the extension of its name; a former version that was
/// kept is of the format it was.
pub fn format_of(path: &Path) -> Option<&'static dyn ControllerFormat> {
    let name = Path::new(name_when_written(path)?);
    FORMATS
        .into_iter()
        .find(|format| Path::new(&format.file_name("probe")).extension() == name.extension())
}

/// A probe's name as part of an identifier in a program: ASCII letters in lower
/// case and digits stay, every other byte becomes an underscore.
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

/// Two probes of `probes` whose identifiers would be the same, if any.
pub fn clashing<'a>(probes: impl IntoIterator<Item = &'a str>) -> Option<(&'a str, &'a str)> {
    let mut seen = BTreeMap::new();
    probes
        .into_iter()
        .find_map(|probe| match seen.insert(identifier(probe), probe) {
            Some(earlier) if earlier != probe => Some((earlier, probe)),
            _ => None,
        })
}
