//! Why an accuracy study, or a part of one, could not be made.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What was asked for and could not be answered. `Display` says what is wrong,
/// [`mend`](AccuracyError::mend) what to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, thiserror::Error, JsonSchema)]
#[serde(tag = "reason", rename_all = "kebab-case")]
pub enum AccuracyError {
    /// Fewer pairs of reading and reference than the answer needs.
    #[error("{pairs} readings beside cores are too few: at least {needed} are needed")]
    TooFewPairs {
        /// Pairs given.
        pairs: usize,
        /// Pairs needed.
        needed: usize,
    },
    /// Fewer independent places (or cores) than the answer needs.
    #[error(
        "{clusters} independent places or cores are too few for {purpose}: at least {needed} are needed"
    )]
    TooFewClusters {
        /// Clusters given.
        clusters: usize,
        /// Clusters needed.
        needed: usize,
        /// What they are needed for.
        purpose: String,
    },
    /// All references are the same, so nothing can be said of how readings follow them.
    #[error("all cores have the same water content: how readings follow it cannot be seen")]
    ConstantReference,
    /// The reference's stated error explains all of the differences between cores.
    #[error(
        "the cores differ by {spread:.4} m3/m3 (standard deviation), no more than their own uncertainty of {u:.4} m3/m3"
    )]
    ReferenceAllError {
        /// Standard deviation of the references, m3/m3.
        spread: f64,
        /// Root mean square of their standard uncertainties, m3/m3.
        u: f64,
    },
    /// All differences are the same: their scatter has no size.
    #[error("all readings differ from their cores by the same amount: nothing scatters")]
    NoScatter,
    /// A number that is none.
    #[error(
        "core {core} beside probe {probe} has a water content or uncertainty that is no number"
    )]
    NotFinite {
        /// The core.
        core: String,
        /// The probe.
        probe: String,
    },
    /// A target that no probe has.
    #[error("a target of {target} m3/m3 is not between 0 and 1")]
    Target {
        /// The target given, m3/m3.
        target: f64,
    },
    /// A share or a confidence that is none.
    #[error("{value} for the {what} is not between 0.5 and 0.999")]
    Level {
        /// Which of them.
        what: String,
        /// What was given.
        value: f64,
    },
    /// Cuts that do not rise.
    #[error("the cuts of the {what} must be finite and rise")]
    Cuts {
        /// Of what.
        what: String,
    },
    /// Fewer replicates than place the ends of an interval.
    #[error("{replicates} replicates are too few: at least {needed} are needed")]
    TooFewReplicates {
        /// Replicates asked for.
        replicates: usize,
        /// Replicates needed.
        needed: usize,
    },
    /// Cores to be tested on were among those the calibration was fitted to.
    #[error(
        "{} of the cores to test on were fitted too: {}",
        cores.len(),
        cores.join(", ")
    )]
    Leaked {
        /// The cores, as named among those to test on.
        cores: Vec<String>,
    },
    /// Only one group, so that leaving it out leaves nothing.
    #[error("with {groups} {what} there is nothing to leave out and something to fit to")]
    TooFewGroups {
        /// What is left out.
        what: String,
        /// How many there are.
        groups: usize,
    },
}

impl AccuracyError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            AccuracyError::TooFewPairs { .. } | AccuracyError::TooFewClusters { .. } => {
                "take more cores beside the probe, each at another place"
            }
            AccuracyError::ConstantReference | AccuracyError::ReferenceAllError { .. } => {
                "take cores from dry to wet soil"
            }
            AccuracyError::NoScatter => {
                "check that the readings and the cores come from different columns: a reading is seldom off by the same amount every time"
            }
            AccuracyError::NotFinite { .. } => "correct that row, or leave it out",
            AccuracyError::Target { .. } => {
                "give the target as volumetric water content, e.g. 0.03 for 0.03 m3/m3"
            }
            AccuracyError::Level { .. } => "give it as a fraction, e.g. 0.95",
            AccuracyError::Cuts { .. } => "give them from the lowest to the highest",
            AccuracyError::TooFewReplicates { .. } => "ask for more replicates",
            AccuracyError::Leaked { .. } => {
                "test on cores that were not fitted, or cross-validate the workbench's own cores; where only the names are alike, rename one set"
            }
            AccuracyError::TooFewGroups { .. } => {
                "leave out something else, or read more probes or soils"
            }
        }
    }
}
