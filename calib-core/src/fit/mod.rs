//! Fit.
