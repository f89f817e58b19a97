//! What happens while readings are captured, as values: shown as a table, as lines of
//! text or as lines of JSON.

use super::Refusal;
use crate::failure::Verdict;
use calib_core::readings::Settled;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// One line of what `ovendry capture --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Line<'e> {
    /// Always `ovendry capture`.
    pub format: &'static str,
    /// Version of this document.
    pub version: u32,
    /// When it happened, RFC 3339.
    pub at: String,
    /// What happened.
    #[serde(flatten)]
    pub event: &'e Event,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Event {
    /// Listening begins.
    Opened {
        /// Where readings come from.
        source: String,
        /// The file they are appended to.
        into: PathBuf,
    },
    /// A reading was appended.
    Reading {
        /// The time written, RFC 3339.
        timestamp: String,
        /// The probe.
        probe_id: String,
        /// What the converter said, counts.
        raw_count: u32,
        /// Soil temperature, C.
        soil_temp_c: Option<f64>,
        /// The core it was tagged with.
        sample_id: Option<String>,
    },
    /// A probe does something else than before.
    State {
        /// The probe.
        probe_id: String,
        /// What it does.
        #[serde(flatten)]
        settled: Settled,
    },
    /// Something came that is no reading; it is kept in FILE.refused.
    Refused {
        /// Its kind.
        why: Refusal,
        /// The reason, where there is more to say.
        reason: String,
        /// What came, with escapes for what is not ASCII.
        shown: String,
    },
    /// The source is gone; it is looked for until it is there again.
    Lost {
        /// Why, as the machine says it.
        why: String,
    },
    /// The source is there again.
    Back,
    /// Something to know.
    Note {
        /// What.
        what: String,
    },
    /// The disk refuses; readings wait in memory.
    DiskRefuses {
        /// How many.
        waiting: usize,
        /// Why, as the machine says it.
        why: String,
    },
    /// The disk takes readings again.
    DiskTakes,
    /// The end.
    Ended(Summary),
}

/// What came of it all.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Summary {
    /// What the exit code says: `unfit`, 1, if no reading came in this run, also where
    /// earlier runs took all there was; with --until-steady, if it ended otherwise.
    pub verdict: Verdict,
    /// Why it ended.
    pub ended_by: EndedBy,
    /// The file appended to.
    pub into: PathBuf,
    /// Readings appended.
    pub readings: u64,
    /// Readings that stood there already: from a capture that was broken off, that read
    /// its source before, or before a table was begun anew.
    pub stood_there_already: u64,
    /// Readings whose thermometer said by -127 or 85 C that it did not answer: they have
    /// no temperature.
    pub without_temperature: u64,
    /// What was refused, by kind.
    pub refused: BTreeMap<Refusal, u64>,
    /// How often the source went away.
    pub lost: u64,
    /// Each probe heard, as it was at the end.
    pub probes: Vec<ProbeSummary>,
    /// What to do about it, in sentences.
    pub advice: Vec<String>,
}

/// One probe at the end.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ProbeSummary {
    /// The probe.
    pub probe_id: String,
    /// Readings appended.
    pub readings_appended: u64,
    /// Those of them that carry the core.
    pub readings_tagged: u64,
    /// What it did.
    #[serde(flatten)]
    pub settled: Settled,
}

/// Why it ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EndedBy {
    /// Ctrl-C, or the machine asked the program to end.
    Asked,
    /// The time was up.
    Time,
    /// Every probe heard is steady, and carries enough readings where they are tagged.
    Steady,
    /// The source had no more to say.
    Source,
}
