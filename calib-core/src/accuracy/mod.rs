//! How good a calibrated probe really is: its readings against cores that the
//! calibration never saw.
//!
//! ```text
//! Pair + Calibration -> Sample (reading, reference, cluster)
//!     | measures          bias, RMSE, ..., concordance
//!     | bias, limits      test of the mean difference; limits of agreement
//!     | proportional      slope of reading on reference, reference's error taken off
//!     | reference_error   what is left when the reference's own error is taken off
//!     | bootstrap         an interval for every measure, by clusters
//!     | class             share of readings within a target, and what is not settled
//!     | strata            the same by moisture, soil, probe, temperature
//!     v
//! AccuracyStudy
//! ```
//!
//! A *difference* is always reading minus reference, m3/m3. A *cluster* is a place,
//! or a core where no place is stated: pairs of one cluster resemble one another
//! and do not count as so many independent ones. Every interval and every test
//! allows for that.
//!
//! All speak of the probes that were read. With one probe nothing is said of others
//! of its kind; with many, cluster by probe ([`ClusterBy::Probe`]) to speak of the
//! kind, as cross-validation by probe does.

mod bias;
mod bootstrap;
mod by_theory;
mod class;
mod clustered;
mod cross_validation;
mod error;
#[cfg(test)]
mod example;
mod leakage;
mod limits;
mod measures;
mod notice;
mod proportional;
mod reference_error;
mod sample;
mod spread;
mod strata;
mod study;
#[cfg(test)]
mod tests;

pub use bias::{Bias, FEWEST_FOR_BIAS};
pub use bootstrap::{
    Bootstrap, Bootstrapped, FEWEST_CLUSTERS, FEWEST_REPLICATES, Measure, MeasureInterval,
};
pub use class::{
    Basis, ClassRequest, ClassStatement, FEWEST_FOR_CLASS, LADDER, MOST_MORE, Share,
    TargetStatement, Verdict,
};
pub use cross_validation::{
    CrossValidation, CrossValidationRequest, Fold, LeaveOut, MOST_FITTED, Unforetold,
    cross_validate,
};
pub use error::AccuracyError;
pub use leakage::{Leakage, Recognised, SharedCore, find_shared};
pub use limits::{FEWEST_FOR_LIMITS, LIMIT_FACTOR, Limit, Limits, standard_error_1986};
pub use measures::{Concordance, FEWEST_PAIRS, Measures, concordance_of};
pub use notice::Notice;
pub use proportional::{FEWEST_FOR_SLOPE, LEAST_RELIABILITY, ProportionalBias, Slope};
pub use reference_error::{Corrected, ReferenceError};
pub use sample::{ClusterBy, Interval, Sample};
pub use strata::{Division, Stratum};
pub use study::{AccuracyStudy, StudyRequest, study};
