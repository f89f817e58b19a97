//! Logged readings: what the converter said, when, and at what soil temperature.

use crate::quantity::{Celsius, Timestamp};

/// One logged reading of one probe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// When it was taken.
    pub time: Timestamp,
    /// What the converter said.
    pub count: u32,
    /// Soil temperature, where logged.
    pub soil_temperature: Option<Celsius>,
    /// Supply or reference voltage in millivolts, where logged.
    pub supply_mv: Option<f64>,
}
