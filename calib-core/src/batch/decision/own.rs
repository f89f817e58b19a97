//! What a calibration of a probe's own is taken to be.

use crate::batch::pool::{Deviation, Pool};
use nalgebra::{DMatrix, DVector};
use schemars::JsonSchema;
use serde::Serialize;

/// Cores beyond the parameters that a curve of a probe's own takes at least.
const SPARE: usize = 2;

/// A calibration of a probe's own, as the probes studied could have one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Own {
    /// Cores beside the probe: as many as beside the middle one of those studied.
    pub cores: usize,
    /// What they determine: the curve's parameters, or of fewer cores the offset and
    /// gain (2) or the offset (1) of the shared curve.
    pub parameters: usize,
}

impl Own {
    /// What the probes of `pool` could have.
    pub fn of(pool: &Pool) -> Self {
        let mut pairs = vec![0_usize; pool.probes.len()];
        for pair in &pool.deviations {
            if let Some(count) = pairs.get_mut(pair.probe) {
                *count += 1;
            }
        }
        pairs.sort_unstable();
        let cores = pairs.get(pairs.len() / 2).copied().unwrap_or(0);
        let parameters = if cores >= pool.columns + SPARE {
            pool.columns
        } else if cores > 2 {
            2
        } else {
            1
        };
        Self { cores, parameters }
    }

    /// Variance of such a calibration at a place, in units of a core's scatter about
    /// it: the leverage of a new reading (e.g. Draper and Smith, Applied Regression
    /// Analysis, 1998; recalled from memory), with cores spread as those studied.
    /// `gradient` is the curve's there, `z` how far from [`Pool::centre`].
    pub(super) fn leverage(self, pool: &Pool, gradient: &[f64], z: f64) -> f64 {
        let n = self.cores.max(1) as f64;
        let straight = |pair: &Deviation| vec![1.0, pair.z];
        let of_curve =
            |pair: &Deviation| pair.gradient.iter().take(pool.columns).copied().collect();
        let found = if self.parameters == pool.columns {
            spread_over(pool, gradient, of_curve)
        } else if self.parameters == 2 {
            spread_over(pool, &[1.0, z], straight)
        } else {
            Some(1.0)
        };
        found.unwrap_or(self.parameters as f64) / n
    }
}

/// `g' M^-1 g` with M the mean of the outer products of the columns.
fn spread_over(
    pool: &Pool,
    place: &[f64],
    columns: impl Fn(&Deviation) -> Vec<f64>,
) -> Option<f64> {
    let size = place.len();
    let mut moments = DMatrix::<f64>::zeros(size, size);
    for pair in &pool.deviations {
        let row = columns(pair);
        for (i, a) in row.iter().enumerate() {
            for (j, b) in row.iter().enumerate() {
                moments[(i, j)] += pair.weight * a * b;
            }
        }
    }
    let whole: f64 = pool.deviations.iter().map(|pair| pair.weight).sum();
    let place = DVector::from_column_slice(place);
    let solved = moments.cholesky()?.solve(&place);
    Some(whole * place.dot(&solved)).filter(|leverage| leverage.is_finite())
}
