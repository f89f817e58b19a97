//! Drift: is a calibration made long ago still good, judged by a core now and then?
//!
//! Every spot check is a core dug beside the probe, dried and weighed, beside what the
//! calibration says of the count read there. The room asks three questions of the
//! differences, in order of time.
//!
//! 1. *Are they larger than the calibration itself allows?* [`innovations`] foretells each
//!    from the calibration's own covariance and from the checks before it, and turns it
//!    into a score. While the calibration holds, scores are independent standard normal
//!    values. [`sequential`] adds them up and raises an alarm with a probability known
//!    beforehand, however often one looks.
//! 2. *How far off is it, and how far may it be?* [`update`] takes the calibration's
//!    covariance as what is known before any check and lets offset and gain wander.
//! 3. *When to look again?* [`schedule`] lets that wandering go on until the chance of
//!    an error beyond what is allowed reaches a stated risk.
//!
//! A *departure* is always the water content of the oven less that of the probe, m3/m3:
//! above zero, the soil is wetter than the probe says and the probe reads too dry. What a
//! person is shown has the other sign, probe less oven, as errors of a reading have.

mod check;
mod error;
pub mod innovations;
mod mixture;
mod one_off;
mod posterior;
pub mod power;
mod scatter;
pub mod schedule;
pub mod sequential;
mod study;
pub mod update;

pub use check::{Check, CheckFault, LeftOut, Visit, choose_checks};
pub use error::DriftError;
pub use one_off::OneOff;
pub use study::{LEAST_CHECKS, Place, Settings, Standing, Study, study};

#[cfg(test)]
mod tests;
