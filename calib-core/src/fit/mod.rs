//! Fitting: paired observations in, calibration out.

mod observation;
mod problem;
mod solver;
mod triangle;

pub use observation::Observation;
pub use problem::{MAX_INPUTS, Points, Regression};
pub(crate) use solver::quadratic_form;
pub use solver::{Ending, Settings, Solution, solve};
pub use triangle::MAX_PARAMETERS;
