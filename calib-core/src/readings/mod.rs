//! Logged readings: what the converter said, when, and at what soil temperature.
//!
//! [`summarise`] screens the readings of one window (those that belong to one
//! core) and gives their centre with its uncertainty, the noise of a single
//! reading, and flags for what looks wrong. [`pool_noise`] puts the noise of
//! many windows together; [`stuck_since`] compares windows that should differ.
//! [`Settling`] follows a probe while its readings come in and says when it is steady.

mod drift;
mod flag;
mod noise;
mod robust;
mod rule;
mod screen;
mod settling;
mod stuck;
mod summary;

pub use flag::Flag;
pub use noise::pool_noise;
pub(crate) use robust::{PER_MAD, median};
pub use rule::WindowRule;
pub use settling::{Motion, Settled, Settling, SettlingRule};
pub use stuck::stuck_since;
pub use summary::{ReadingError, WindowSummary, summarise};

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
