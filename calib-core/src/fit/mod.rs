//! Fitting: paired observations in, calibration out.

mod observation;

pub use observation::Observation;
