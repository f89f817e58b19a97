//! Fitting: paired observations in, calibration out.

mod choice;
mod columns;
mod error;
mod lack_of_fit;
mod linearised;
mod model_fit;
mod observation;
mod parts;
mod problem;
mod scatter;
mod solver;
#[cfg(test)]
mod tests;
mod triangle;
mod warmth;

pub use choice::Rival;
pub use choice::{Candidate, Choice, LACK_OF_FIT_LEVEL, Standing, choose};
pub use error::FitError;
pub use lack_of_fit::LackOfFit;
pub use model_fit::{CONDITION_LIMIT, ModelFit, Residual, fit_curve};
pub use observation::Observation;
pub use parts::CovariancePart;
pub use problem::{MAX_INPUTS, Points, Regression};
pub use scatter::ScatterDraw;
pub(crate) use solver::quadratic_form;
pub use solver::{Ending, Settings, Solution, solve};
pub use triangle::MAX_PARAMETERS;
pub use warmth::{LARGEST_INFLATION, LEAST_GAIN, LEAST_SPAN, TemperatureDecision};
