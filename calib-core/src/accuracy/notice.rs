//! What a study noticed beside its figures.

use super::error::AccuracyError;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Something a person should know before using a figure of the study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, thiserror::Error, JsonSchema)]
#[serde(tag = "notice", rename_all = "kebab-case")]
pub enum Notice {
    /// A part of the study is missing.
    #[error("no {part}: {why}")]
    Withheld {
        /// Which part.
        part: String,
        /// Why.
        why: AccuracyError,
    },
    /// Several pairs share a place or a core; intervals are wider than pairs alone
    /// would give.
    #[error(
        "{pairs} readings come from {clusters} independent places or cores; intervals allow for that"
    )]
    Clustered {
        /// Pairs.
        pairs: usize,
        /// Clusters.
        clusters: usize,
    },
    /// The reference's stated uncertainty is larger than the differences seen.
    #[error(
        "the cores' stated uncertainty ({u:.4} m3/m3) is larger than the scatter seen ({seen:.4} m3/m3): nothing is left to the probe, or the statement is too large"
    )]
    ReferenceExplainsAll {
        /// Root mean square of the stated uncertainties, m3/m3.
        u: f64,
        /// The unbiased RMSE seen, m3/m3.
        seen: f64,
    },
    /// The reference takes up a large part of what was seen.
    #[error(
        "the cores' own uncertainty makes {percent:.0} % of the mean square difference: better cores would say more of the probe than more cores"
    )]
    ReferenceDominates {
        /// Part of the mean square difference, percent.
        percent: f64,
    },
    /// The differences do not look normal, which the limits and the class assume.
    #[error(
        "the differences do not look normal (skewness {skewness:.1}, excess kurtosis {kurtosis:.1}): trust the counted share more than limits and class by normal theory"
    )]
    NotNormal {
        /// Skewness of the differences.
        skewness: f64,
        /// Excess kurtosis of the differences.
        kurtosis: f64,
    },
    /// Differences seem to come from few probes; nothing is said of others.
    #[error(
        "{}: nothing here speaks of other probes of the kind",
        if *probes == 1 { "one probe was read".to_owned() } else { format!("{probes} probes were read") }
    )]
    FewProbes {
        /// Probes read.
        probes: usize,
    },
    /// Nothing was stated of the reference's uncertainty.
    #[error("the cores state no uncertainty of their own: all differences are laid to the probe")]
    ReferenceUncertaintyMissing,
}
