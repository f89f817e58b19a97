//! Soil.
