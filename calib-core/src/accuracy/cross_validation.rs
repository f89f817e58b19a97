//! Readings foretold by a fit that had not seen them.

use super::sample::Sample;
use crate::curve::CurveKind;
use serde::{Deserialize, Serialize};

/// What is left out, and what the fit to the rest is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "leave-out")]
pub enum LeaveOut {
    /// Each probe in each soil; one curve is fitted to the other probes of that soil.
    /// Says how good a shared curve is for a probe that was never calibrated.
    Probe,
    /// Each soil; one curve is fitted to all pairs in the other soils. Says how good
    /// the curve is in a soil that was never sampled.
    Soil,
    /// Groups of places (cores where none is stated) of each probe in each soil; the
    /// curve of that probe and soil is fitted to the others. Says how good the probe's
    /// own calibration is.
    Core {
        /// Number of groups; as many as there are places where that is fewer.
        groups: usize,
    },
}

/// A reading left out that the fit to the others has no value for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unforetold {
    /// The core.
    pub core: String,
    /// The probe.
    pub probe: String,
    /// The soil.
    pub soil: String,
    /// Count as read.
    pub count: f64,
    /// Why, in words.
    pub why: String,
    /// Whether the count lies outside those of the cores fitted.
    pub extrapolated: bool,
}

/// One part left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fold {
    /// What was left out, e.g. a probe's name.
    pub left_out: String,
    /// Pairs fitted.
    pub fitted: usize,
    /// Cores left out that the fit saw beside another probe: their errors of
    /// reference are in the fit, which flatters it a little.
    pub cores_seen: usize,
    /// The curve taken; `None` where the fit failed.
    pub curve: Option<CurveKind>,
    /// Why it failed.
    pub failure: Option<String>,
    /// Readings left out and foretold.
    pub foretold: usize,
    /// Root mean square of foretold minus reference, m3/m3; `None` where none was.
    pub rmse: Option<f64>,
    /// Their mean, m3/m3.
    pub bias: Option<f64>,
}

/// Every reading foretold by a fit that had not seen it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CrossValidation {
    /// What was left out.
    pub leave_out: LeaveOut,
    /// The parts, in order of name.
    pub folds: Vec<Fold>,
    /// Readings foretold: what a study is made of.
    pub samples: Vec<Sample>,
    /// Readings that had no value.
    pub unforetold: Vec<Unforetold>,
    /// Readings of parts whose fit failed.
    pub in_failed_folds: usize,
}
