//! What a sampling plan will be worth, by simulation.
//!
//! The whole calibration is made many times over against a [`Truth`] that is known:
//! cores are dug at the plan's levels, readings logged beside them, the readings
//! reduced as those of a workbench are, a curve chosen and fitted as `fit` does it. Then
//! new readings are taken, and what the calibration says of them is held against the
//! truth. Nothing here knows a shorter way to the answer, so whatever the fit is good or
//! bad at shows.
//!
//! What it cannot know is the truth: a foretelling is as good as the [`Truth`] it was
//! given, and [`Truth::assumptions`] says what that was.

mod cores;
mod error;
mod middle;
mod simulation;
#[cfg(test)]
mod tests;
mod truth;
mod world;

#[cfg(test)]
pub(crate) use world::World;

pub use cores::{
    Alternatives, CoresPoint, CurveOfCores, LEAST_GAIN, MOST_CORES_PER_LEVEL, Step, curve_of_cores,
};
pub use error::ForetellError;
pub use middle::{Middle, Share};
pub use simulation::{
    ChosenCurve, Foretold, ForetoldPlace, LEAST_RUNS, NEW_READINGS, Place, PlaceName, Sampling,
    Settings, foretell,
};
pub use truth::{Basis, TrueCurve, Truth};
