//! Minutes and money.

use super::{Circumstances, Way};
use crate::batch::pool::Pool;
use schemars::JsonSchema;
use serde::Serialize;

/// What a way asks for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Work {
    /// Cores to take and dry.
    pub cores: usize,
    /// Readings in a medium.
    pub media: usize,
    /// Minutes of work.
    pub minutes: f64,
    /// What the minutes cost, where an hour's cost is stated.
    pub cost: Option<f64>,
}

impl Work {
    fn of(cores: usize, media: usize, asked: Circumstances) -> Self {
        let minutes =
            cores as f64 * asked.minutes_per_core + media as f64 * asked.minutes_per_medium;
        Self {
            cores,
            media,
            minutes,
            cost: asked.hourly_cost.map(|cost| cost * minutes / 60.0),
        }
    }

    /// For one more probe that gets `cores` cores where it gets its own.
    pub(super) fn for_one(way: Way, cores: usize, asked: Circumstances) -> Self {
        match way {
            Way::OneCurve => Self::of(0, 0, asked),
            Way::TwoMedia => Self::of(0, 2, asked),
            Way::OwnCores => Self::of(cores, 0, asked),
        }
    }

    /// For as many probes as the pool has, sharing cores as those do.
    pub(super) fn for_all(way: Way, pool: &Pool, asked: Circumstances) -> Self {
        match way {
            Way::OneCurve => Self::of(0, 0, asked),
            Way::TwoMedia => Self::of(0, 2 * pool.probes.len(), asked),
            Way::OwnCores => Self::of(pool.cores.len(), 0, asked),
        }
    }
}
