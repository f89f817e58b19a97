//! Fitting: paired observations in, calibration out.

mod bootstrap;
mod choice;
mod columns;
mod drying_order;
mod error;
mod fitting;
mod influence;
mod lack_of_fit;
mod left_out;
mod linearised;
mod loss;
mod model_fit;
mod observation;
mod parts;
mod problem;
mod residual;
mod restart;
mod rival;
mod scatter;
mod solution;
mod solver;
#[cfg(test)]
mod tests;
mod triangle;
mod warmth;

pub use bootstrap::{
    Bootstrap, Bootstrapped, CurveInterval, MOST_WITHOUT_FIT, Refits, Replicate, Resampling,
};
pub use choice::{Candidate, Choice, LACK_OF_FIT_LEVEL, Request, Standing, choose};
pub use drying_order::{DryingOrder, PATTERN_LEVEL, drying_order};
pub use error::FitError;
pub use influence::{
    DECISIVE_DISTANCE, DECISIVE_LEVERAGE, Influence, NOTABLE_DISTANCE, Without, influence,
    usual_leverage, without_each,
};
pub use lack_of_fit::LackOfFit;
pub use loss::Loss;
pub use model_fit::{CONDITION_LIMIT, ModelFit, fit_curve};
pub use observation::Observation;
pub use parts::CovariancePart;
pub use problem::{MAX_INPUTS, Points, Regression};
pub use residual::Residual;
pub(crate) use restart::Corner;
pub use restart::solve_from;
pub use rival::Rival;
pub use scatter::ScatterDraw;
pub use solution::{Conditioning, Ending, Solution};
pub(crate) use solution::{bilinear_form, quadratic_form};
pub use solver::{Settings, solve};
pub use triangle::MAX_PARAMETERS;
pub use warmth::{LARGEST_INFLATION, LEAST_GAIN, LEAST_SPAN, TemperatureDecision};
