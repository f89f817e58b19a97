//! A core and a probe that was read beside it, with where and when: what the
//! studies of many probes, of accuracy and of drift are made from.
//!
//! The fit needs only the [`Observation`]. A study also asks which probe of which
//! batch it was, in which soil, whether two pairs share a core or a place, and when.

use crate::fit::Observation;
use crate::quantity::Timestamp;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One core beside one probe. Several probes may have been read beside the same
/// core: their pairs then carry the same `observation.sample`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pair {
    /// The probe's identifier.
    pub probe: String,
    /// The soil's identifier.
    pub soil: String,
    /// Batch the probe was made or bought in, where stated.
    pub batch: Option<String>,
    /// Where the core was taken (a bed, a plot, a container): pairs of one place
    /// resemble one another. Where none is stated, each core is a place of its own.
    pub place: Option<String>,
    /// When the core was taken, where stated.
    pub taken_at: Option<Timestamp>,
    /// Count and reference theta_v. `observation.theta_v.u` is standard, m3/m3.
    pub observation: Observation,
}

impl Pair {
    /// The core's identifier.
    pub fn core(&self) -> &str {
        &self.observation.sample
    }

    /// What this pair is alike with: its place, or its core where none is stated.
    pub fn cluster(&self) -> &str {
        self.place.as_deref().unwrap_or_else(|| self.core())
    }
}

/// Counts of one probe in two media that every probe of its kind was read in, for
/// bringing probes onto one scale (two-point normalisation).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TwoPoints {
    /// Count in the medium of the lower permittivity, e.g. air.
    pub low: f64,
    /// Count in the medium of the higher permittivity, e.g. water.
    pub high: f64,
}
