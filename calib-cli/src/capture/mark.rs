//! What a capture remembers beside the file it appends to: how far each source was
//! read, and whether the last capture came to its end.
//!
//! The order makes every reading stand exactly once. Rows are written and brought to
//! disk first, then the mark with the source's cursor and the file's length. After a
//! crash the rows beyond that length are those the source will say again from that
//! cursor: as many are skipped.

use crate::table::heard::Heard;
use crate::table::sha256_of;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, VecDeque};
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;

/// Bytes before a length that a mark knows the file by.
const KNOWN_BY: u64 = 256;

/// The marks of one file.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Marks {
    /// Each source that can be read on, by its key.
    #[serde(default)]
    pub sources: BTreeMap<String, Mark>,
    /// The capture that is running, or one that was broken off.
    #[serde(default)]
    pub running: Option<Running>,
}

/// How far a source was read.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    /// What the source gave as its cursor.
    pub cursor: Option<serde_json::Value>,
    /// Rows beyond it that are in the file already.
    #[serde(default)]
    pub there: VecDeque<Row>,
    /// Lines or rows before it that were refused.
    #[serde(default)]
    pub refused: u64,
    /// Whether it was read from its beginning once more: rows that stand in the file
    /// are then known by their times.
    #[serde(default)]
    pub again: bool,
}

/// A row as far as it says which reading it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Row {
    /// The probe.
    pub probe: String,
    /// The count.
    pub count: u32,
    /// Its time in RFC 3339 form, where that could be read.
    #[serde(default)]
    pub time: Option<String>,
}

impl Row {
    /// Whether it is the row of `reading`, whatever the time that was stamped with.
    pub fn is_of(&self, reading: &Heard) -> bool {
        let same_time = |time: &String| *time == reading.time.to_string();
        self.probe == reading.probe
            && self.count == reading.count
            && (reading.stamped || self.time.as_ref().is_none_or(same_time))
    }
}

/// A capture under way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Running {
    /// Key of its source, if it can be read on.
    pub source: Option<String>,
    /// Length of the file at the source's cursor, bytes.
    pub length: u64,
    /// What the file is known again by: the bytes before that length.
    sha256: String,
}

impl Running {
    /// For `file` as long as `length`.
    ///
    /// # Errors
    /// That the file cannot be read.
    pub fn at(file: &mut File, source: Option<&str>, length: u64) -> io::Result<Self> {
        Ok(Self {
            source: source.map(str::to_owned),
            length,
            sha256: known_by(file, length)?,
        })
    }

    /// Whether `file` still begins as it did then.
    pub fn fits(&self, file: &mut File) -> bool {
        known_by(file, self.length).is_ok_and(|sha256| sha256 == self.sha256)
    }
}

fn known_by(file: &mut File, length: u64) -> io::Result<String> {
    if file.metadata()?.len() < length {
        return Err(io::Error::other("shorter than it was"));
    }
    let from = length.saturating_sub(KNOWN_BY);
    file.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    file.take(length - from).read_to_end(&mut bytes)?;
    Ok(sha256_of(&bytes))
}

impl Marks {
    /// The marks at `path`; none where there are none, or none that can be read.
    pub fn read(path: &Path) -> Self {
        std::fs::read(path)
            .ok()
            .and_then(|bytes| serde_json::from_slice(&bytes).ok())
            .unwrap_or_default()
    }

    /// Puts the marks at `path`, whole; where there is nothing to remember, nothing.
    ///
    /// # Errors
    /// That the folder does not take them.
    pub fn write(&self, path: &Path) -> io::Result<()> {
        if *self == Self::default() {
            return match std::fs::remove_file(path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
                _ => Ok(()),
            };
        }
        let text = serde_json::to_vec_pretty(self).map_err(io::Error::other)?;
        // Beside it and under one name: whoever writes holds the lock, and a crash
        // leaves no more than one.
        let staged = super::sink::beside(path, ".new");
        let mut file = File::create(&staged)?;
        file.write_all(&text)?;
        file.sync_all()?;
        std::fs::rename(&staged, path)?;
        Ok(())
    }
}
