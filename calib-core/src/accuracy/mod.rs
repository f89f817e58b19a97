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
//! kind.

mod bias;
mod bootstrap;
mod class;
mod cross_validation;
mod error;
mod leakage;
mod limits;
mod measures;
mod notice;
mod proportional;
mod reference_error;
mod sample;
mod strata;
mod study;

pub use bias::Bias;
pub use bootstrap::{Bootstrap, Bootstrapped, Measure, MeasureInterval};
pub use class::{Basis, ClassStatement, LADDER, MOST_MORE, Share, TargetStatement, Verdict};
pub use cross_validation::{CrossValidation, Fold, LeaveOut, Unforetold};
pub use error::AccuracyError;
pub use leakage::{Leakage, Recognised, SharedCore};
pub use limits::{Limit, Limits};
pub use measures::{Concordance, Measures};
pub use notice::Notice;
pub use proportional::{ProportionalBias, Slope};
pub use reference_error::{Corrected, ReferenceError};
pub use sample::{ClusterBy, Interval, Sample};
pub use strata::{Division, Stratum};
pub use study::{AccuracyStudy, StudyRequest};
