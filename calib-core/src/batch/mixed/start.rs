//! Where the search for the variances begins.

use super::super::columns::Columns;
use super::super::error::BatchError;
use super::super::one_curve::{ROUNDING, Sharing, Stage, stage};
use super::super::pool::Pool;
use super::likelihood::Likelihood;

/// Least relative factor to begin at: from zero a search would see no slope.
const LEAST: f64 = 0.05;
/// Relative factor of cores to begin at.
const CORE: f64 = 1.0;

/// What sums of squares say of the variances, and how much of a gain there is to
/// see.
pub(super) struct Start {
    /// Offsets, or offsets and gains.
    pub(super) sharing: Sharing,
    offset: f64,
    gain: f64,
}

impl Start {
    pub(super) fn of(pool: &Pool, columns: &Columns) -> Result<Self, BatchError> {
        let weight: f64 = pool.deviations.iter().map(|d| d.weight).sum();
        let one = stage(columns, Sharing::OneCurve)?;
        let offset = stage(columns, Sharing::OwnOffset)?;
        if offset.freedom < 1.0 || one.freedom - offset.freedom < 1.0 {
            return Err(BatchError::NoFreedom {
                pairs: pool.deviations.len(),
                effects: offset.effects,
            });
        }
        let with_gain = Some(Sharing::OwnOffsetAndGain)
            .filter(|sharing| columns.adds_columns(*sharing, Sharing::OwnOffset))
            .map(|sharing| stage(columns, sharing))
            .transpose()?
            .filter(|stage| stage.freedom >= 1.0 && offset.freedom - stage.freedom >= 1.0);
        let last = with_gain.as_ref().unwrap_or(&offset);
        if last.residual_sd <= ROUNDING * pool.largest_deviation() {
            return Err(BatchError::NoScatter {
                residual: last.residual_sd,
            });
        }
        let relative = |small: &Stage, large: &Stage| {
            let variance = last.residual_sd.powi(2);
            let extra = small.sum_of_squares - large.sum_of_squares;
            let chance = (small.freedom - large.freedom) * variance;
            ((extra - chance) / weight / variance)
                .max(0.0)
                .sqrt()
                .max(LEAST)
        };
        Ok(Self {
            sharing: last.sharing,
            offset: relative(&one, &offset),
            gain: with_gain
                .as_ref()
                .map_or(LEAST, |stage| relative(&offset, stage)),
        })
    }

    /// As relative factors of a likelihood.
    pub(super) fn relative(&self, likelihood: &Likelihood) -> Vec<f64> {
        let mut relative = vec![self.offset];
        if likelihood.own_columns > 1 {
            relative.extend([0.0, self.gain]);
        }
        if likelihood.cores {
            relative.push(CORE);
        }
        relative
    }
}
