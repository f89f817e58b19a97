//! Many probes of one kind: do they share a curve, how far do they differ, and what
//! is a calibration of each one's own worth?
//!
//! Everything is stated in m3/m3, as *deviations*: one curve through all pairs says
//! what theta_v each probe's count means, and what it says less the core's own
//! theta_v is the deviation of that pair. Where all probes follow one curve the
//! deviations scatter; where they do not, those of one probe go together.
//!
//! ```text
//! pairs -> members -> pool (one curve, deviations) -> one_curve (F tests)
//!                                                  -> mixed (variances, each probe)
//! ```
//!
//! One soil at a time; [`soils_one_curve`] asks whether several may be taken as one.

pub mod anova;
mod arrow;
mod columns;
mod decision;
mod distribution;
pub mod equivalence;
mod error;
mod estimates;
#[cfg(test)]
mod example;
pub mod interval;
mod media;
mod member;
mod mixed;
mod next_probe;
mod one_curve;
pub mod outlying;
mod pool;
pub mod precision;
mod precision_at;
pub mod ranking;
mod robust;
mod shared_curve;
mod slips;
mod soils;
mod statistics_error;
#[cfg(test)]
mod tests;
pub mod tolerance;

pub use decision::{
    AtWetness, Bounded, Circumstances, Decision, Firmness, Judged, Own, Study, Way, WayFound,
    Wetness, Work, decide,
};
pub use error::BatchError;
pub use estimates::{mean_at, own_estimates, tells_gain};
pub use media::media_run_one_way;
pub use member::{Member, members, soils};
pub use mixed::{Boundary, Component, IntervalMethod, Mixed, ProbeEffect, mixed};
pub use next_probe::next_probe_at;
pub use one_curve::{LEVEL, OneCurve, Sharing, SharingTest, Stage, one_curve};
pub use pool::{Design, Deviation, MOST_FOR_CURVE, Pool, normalised, pool};
pub use precision_at::{PrecisionAt, precision_at};
pub use shared_curve::shared_curve;
pub use slips::{FALSE_ALARMS, Slip, Slips, slips};
pub use soils::{SoilsOneCurve, soils_one_curve};
pub use statistics_error::BatchStatisticsError;
