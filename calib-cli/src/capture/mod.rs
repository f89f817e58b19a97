//! Readings as they come: from a serial port, a pipe, a growing file or a logger's
//! database, onto the end of readings.csv.
//!
//! A [`Source`] says what came, line by line or row by row ([`Said`]); a declared
//! [`Form`](form::Form) parts a line into [`Fields`]; `table::heard` gives them their
//! meaning, by the rules that hold for readings.csv; a [`Sink`](sink::Sink) appends
//! them durably and remembers how far each source was read; a
//! [`Recording`](recording::Recording) runs the loop and tells what happens as
//! [`Event`](event::Event)s.

mod again;
pub mod database;
pub mod event;
pub mod form;
mod growing;
mod layout;
mod lines;
mod lock;
mod mark;
mod pipe;
mod port;
mod probe;
pub mod recording;
mod refused;
pub mod show;
pub mod sink;

pub use growing::GrowingFile;
pub use pipe::Pipe;
pub use port::Port;
pub use refused::RefusedLog;

use crate::failure::{Complaint, Failure};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::Path;
use std::time::Duration;

/// What one reading says, as text, before it has a meaning. What is `None` was not
/// said; what is empty was said to be nothing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fields {
    /// When it was read.
    pub time: When,
    /// The probe.
    pub probe_id: Option<String>,
    /// What the converter said.
    pub raw_count: Option<String>,
    /// Soil temperature, C.
    pub soil_temp_c: Option<String>,
    /// Supply voltage, mV.
    pub supply_mv: Option<String>,
}

impl Fields {
    /// What was said, as a person would read it in a row.
    pub fn shown(&self) -> String {
        let time = match &self.time {
            When::Written(text) => Some(text.clone()),
            When::At(time) => Some(time.to_string()),
            When::Arrival => None,
        };
        let said = [
            &time,
            &self.probe_id,
            &self.raw_count,
            &self.soil_temp_c,
            &self.supply_mv,
        ];
        let said: Vec<&str> = said.into_iter().flatten().map(String::as_str).collect();
        said.join(",")
    }
}

/// Why nothing else may write to `target` now: a capture is appending to it, or was
/// broken off and counts on what it left there. What is given holds off a capture until
/// it is dropped.
///
/// # Errors
/// [`Failure::Input`] with the reason, [`Failure::Machine`] if the folder cannot be
/// written to.
pub fn hold_off(target: &Path) -> Result<impl Sized + use<>, Failure> {
    let lock = lock::Lock::take(&sink::beside(target, ".lock"), target)?;
    let marks = mark::Marks::read(&sink::beside(target, ".capture"));
    match marks.running {
        None => Ok(lock),
        Some(_) => Err(Complaint::about(
            target,
            "a capture into it was broken off, and goes by what it left there",
            "run that capture once more and end it with Ctrl-C; then run this again",
        )
        .into()),
    }
}

/// How the time of a reading is known.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum When {
    /// It was not said: the time at which the reading came is taken.
    #[default]
    Arrival,
    /// As the line writes it: RFC 3339, or as `time_format` of site.toml says.
    Written(String),
    /// Known to the source.
    #[allow(dead_code)]
    At(jiff::Timestamp),
}

/// What a source says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// A whole line without its end, and when it came.
    Line(Vec<u8>, jiff::Timestamp),
    #[allow(dead_code)]
    /// A reading that needs no parting into fields, and when it came.
    Row(Fields, jiff::Timestamp),
    /// Something that is no reading, already known to be none.
    Refused {
        /// What came, as far as it can be shown.
        bytes: Vec<u8>,
        /// Why it is none.
        why: Refusal,
    },
    /// The source is gone and will be looked for again.
    Lost(String),
    /// It is there again.
    Back,
    /// Something the person should know, e.g. that a file was begun anew.
    Note(String),
    /// Likewise; and rows come again from the first, those among them that were said
    /// before.
    Anew(String),
    /// It has no more to say.
    End,
}

/// Why something that came is not a reading, in kinds that are counted.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Refusal {
    /// Bytes that are not text: noise, a wrong baud rate, a power failure.
    NotText,
    /// More bytes than a line may have, without its end.
    TooLong,
    /// Cut off: the source went away, or ended, before the line did.
    CutOff,
    /// Text, but not of the declared form.
    NotTheForm,
    /// Of the form, but a field is not what it must be.
    FieldRefused,
    /// Earlier than the reading of this probe before it.
    OutOfOrder,
}

impl Refusal {
    /// In a few words.
    pub fn words(self) -> &'static str {
        match self {
            Refusal::NotText => "not text",
            Refusal::TooLong => "too long",
            Refusal::CutOff => "cut off",
            Refusal::NotTheForm => "not of the form",
            Refusal::FieldRefused => "a field refused",
            Refusal::OutOfOrder => "out of order",
        }
    }
}

/// Where readings come from.
pub trait Source {
    /// Its name, as the person gave it.
    fn name(&self) -> String;

    /// What its cursor is kept under between runs; `None` if it cannot be read from
    /// where it was left.
    fn key(&self) -> Option<String> {
        None
    }

    /// Goes on from where an earlier run left it. Called once, before the first
    /// [`poll`](Self::poll), with what [`cursor`](Self::cursor) gave then. A cursor that
    /// no longer fits is told by a [`Said::Note`] from the next poll.
    ///
    /// # Errors
    /// [`Failure::Input`] if going on would lose or double readings unseen.
    fn resume(&mut self, _cursor: &serde_json::Value) -> Result<(), Failure> {
        Ok(())
    }

    /// What came since the last call; waits no longer than `wait` for the first of it.
    /// Nothing is an empty list. Trouble that may pass is [`Said::Lost`].
    ///
    /// # Errors
    /// What cannot be mended by waiting.
    fn poll(&mut self, wait: Duration) -> Result<Vec<Said>, Failure>;

    /// Where to go on if nothing after what [`poll`](Self::poll) has given were kept.
    fn cursor(&self) -> Option<serde_json::Value> {
        None
    }
}
