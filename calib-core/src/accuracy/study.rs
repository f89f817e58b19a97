//! The whole study.

use super::bias::Bias;
use super::bootstrap::Bootstrapped;
use super::class::{Basis, ClassStatement};
use super::limits::Limits;
use super::measures::Measures;
use super::notice::Notice;
use super::proportional::ProportionalBias;
use super::reference_error::ReferenceError;
use super::strata::Stratum;
use serde::{Deserialize, Serialize};

/// What is asked of a study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StudyRequest {
    /// The user's target, m3/m3.
    pub target: Option<f64>,
    /// Share of readings that must be within it.
    pub share: f64,
    /// Confidence of intervals (two-sided) and of bounds (one-sided).
    pub confidence: f64,
    /// What class and verdict rest on.
    pub basis: Basis,
    /// Cuts between moisture ranges, m3/m3; terciles of the reference where empty.
    pub moisture_cuts: Vec<f64>,
    /// Cuts between temperature ranges, C; terciles where empty.
    pub temperature_cuts: Vec<f64>,
    /// Bootstrap replicates.
    pub replicates: usize,
    /// Seed of the bootstrap.
    pub seed: u64,
}

/// How good the readings are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AccuracyStudy {
    /// What was asked.
    pub request: StudyRequest,
    /// Pairs.
    pub pairs: usize,
    /// Clusters.
    pub clusters: usize,
    /// Probes, in order of name.
    pub probes: Vec<String>,
    /// Soils, in order of name.
    pub soils: Vec<String>,
    /// Measures of agreement.
    pub measures: Measures,
    /// The mean difference and its test.
    pub bias: Option<Bias>,
    /// Limits of agreement.
    pub limits: Option<Limits>,
    /// Whether the difference changes with the water content.
    pub proportional: Option<ProportionalBias>,
    /// What is the reference's own error.
    pub reference_error: Option<ReferenceError>,
    /// Intervals of the measures by clusters.
    pub bootstrap: Option<Bootstrapped>,
    /// Class and target.
    pub class: Option<ClassStatement>,
    /// By moisture, soil, probe, temperature; a division with one stratum is left out.
    pub strata: Vec<Stratum>,
    /// What to know before using these figures; says too why a part is `None`.
    pub notices: Vec<Notice>,
}
