//! The files of a workbench brought to their plainest form, and nothing but their
//! form: UTF-8 without a mark, lines that end alike, cells parted by commas, decimal
//! points, times as RFC 3339 has them. No digit is ever changed: what a cell says is
//! read before and after ([`same`]), and a file that would not say the same is left.

mod cells;
mod columns;
mod declaration;
mod same;
mod sheet;

use super::header::Column;
use super::names::{LOG, READINGS, SAMPLES, SITE, WEATHER};
use super::site;
use super::source::{Source, shown_path};
use super::time::Clock;
use super::{log, readings, samples, weather};
use crate::findings::Findings;
use std::fs;
use std::path::{Path, PathBuf};

/// One kind of change to the form of a file.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
pub struct Change {
    /// What was done.
    pub what: String,
    /// Lines of the file as it was; empty where the whole file is meant.
    pub lines: Vec<u64>,
    /// Whether the file could not be read for it.
    pub mends: bool,
}

/// A file in its plainest form.
#[derive(Debug)]
pub struct Tidied {
    /// The file, as the person would name it.
    pub file: PathBuf,
    /// Its bytes as they are.
    pub bytes: Vec<u8>,
    /// Its text as it is, lines ending alike, to compare with `after`.
    pub before: String,
    /// Its text as it would be.
    pub after: String,
    /// What differs. Never empty.
    pub changes: Vec<Change>,
}

/// What became of one file.
#[derive(Debug)]
pub enum Outcome {
    /// It has its plainest form already, or is not there.
    AsItShouldBe,
    /// It can be brought to it.
    Tidied(Box<Tidied>),
    /// It is left, and why; `check` says what is wrong with it.
    Left {
        /// The file.
        file: PathBuf,
        /// Why it is left.
        why: String,
    },
}

/// Why the form of a file cannot be mended without guessing.
type Left = String;

/// Looks at every file of the workbench in `folder`. Nothing is written.
pub fn look_at(folder: &Path) -> Vec<Outcome> {
    let clock = clock(folder);
    let tables: [(&str, &[Column]); 4] = [
        (SAMPLES, &samples::COLUMNS),
        (READINGS, &readings::COLUMNS),
        (LOG, &log::COLUMNS),
        (WEATHER, &weather::COLUMNS),
    ];
    let mut outcomes = vec![look_at_file(folder, SITE, declaration::tidy)];
    for (name, columns) in tables {
        outcomes.push(look_at_file(folder, name, |text, changes| {
            sheet::tidy(text, columns, clock.as_ref(), changes)
        }));
    }
    outcomes
}

/// How times are written here, if site.toml says so without fault.
fn clock(folder: &Path) -> Option<Clock> {
    let mut unheard = Findings::default();
    let source = Source::read(folder, SITE, &mut unheard).ok()?;
    site::read(&source, &mut unheard).clock
}

fn look_at_file(
    folder: &Path,
    name: &str,
    tidy: impl FnOnce(&str, &mut Changes) -> Result<String, Left>,
) -> Outcome {
    let file = shown_path(folder, name);
    // What is missing or cannot be read is told by `check`.
    let Ok(bytes) = fs::read(folder.join(name)) else {
        return Outcome::AsItShouldBe;
    };
    let mut changes = Changes::default();
    let tidied = decode(&bytes, &mut changes).and_then(|text| {
        let before = with_line_feeds(text, &mut changes)?;
        tidy(&before, &mut changes).map(|after| (before, after))
    });
    match tidied {
        Err(why) => Outcome::Left { file, why },
        Ok((_, after)) if after.as_bytes() == bytes => Outcome::AsItShouldBe,
        Ok((before, after)) => Outcome::Tidied(Box::new(Tidied {
            file,
            bytes,
            before,
            after,
            changes: changes.0,
        })),
    }
}

/// Changes as they are made.
#[derive(Debug, Default)]
struct Changes(Vec<Change>);

impl Changes {
    /// A change of the whole file.
    fn whole(&mut self, what: impl Into<String>, mends: bool) {
        self.0.push(Change {
            what: what.into(),
            lines: Vec::new(),
            mends,
        });
    }

    /// A change in a line, told together with others of its kind.
    fn at(&mut self, line: u64, what: &str, mends: bool) {
        match self.0.iter_mut().find(|change| change.what == what) {
            Some(change) => {
                change.mends |= mends;
                if change.lines.last() != Some(&line) {
                    change.lines.push(line);
                }
            }
            None => self.0.push(Change {
                what: what.to_owned(),
                lines: vec![line],
                mends,
            }),
        }
    }
}

/// The text of a file, where that needs no guess.
fn decode(bytes: &[u8], changes: &mut Changes) -> Result<String, Left> {
    let two_bytes = |from_bytes: fn([u8; 2]) -> u16, bytes: &[u8]| {
        let units = bytes.chunks(2).map(|pair| match pair {
            [first, second] => Some(from_bytes([*first, *second])),
            _ => None,
        });
        let units: Option<Vec<u16>> = units.collect();
        units.and_then(|units| String::from_utf16(&units).ok())
    };
    let text = match bytes {
        [0xFF, 0xFE, rest @ ..] => two_bytes(u16::from_le_bytes, rest),
        [0xFE, 0xFF, rest @ ..] => two_bytes(u16::from_be_bytes, rest),
        [0xEF, 0xBB, 0xBF, rest @ ..] => {
            changes.whole("the byte order mark is taken off", false);
            String::from_utf8(rest.to_vec()).ok()
        }
        _ => String::from_utf8(bytes.to_vec()).ok(),
    };
    if matches!(bytes, [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..]) {
        changes.whole("UTF-16 text is written as UTF-8", true);
    }
    match text {
        Some(text) if !text.contains('\0') => Ok(text),
        _ => Err("it is not text that can be read without guessing".to_owned()),
    }
}

/// The text with each line ending in a line feed alone.
fn with_line_feeds(text: String, changes: &mut Changes) -> Result<String, Left> {
    if !text.contains('\r') {
        return Ok(text);
    }
    let plain = text.replace("\r\n", "\n");
    if !plain.contains('\r') {
        changes.whole("lines end in a line feed alone (LF, not CR LF)", false);
        return Ok(plain);
    }
    if plain.contains('\n') {
        return Err("some of its lines end in a carriage return alone".to_owned());
    }
    changes.whole("lines end in a line feed (LF, not CR)", true);
    Ok(plain.replace('\r', "\n"))
}
