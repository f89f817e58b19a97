//! Middles and shares over simulated calibrations, with how sure the simulation is.

use schemars::JsonSchema;
use serde::Serialize;

/// The middle one of many values, and how far they spread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Middle {
    /// Median.
    pub median: f64,
    /// Standard error of the median, from the simulation being finite: half the
    /// distance between the order statistics one standard deviation of a count of
    /// values below the median to either side (the binomial's, `sqrt(n)/2`; common
    /// practice).
    pub standard_error: f64,
    /// Eight in ten values lie above this and below `high`: the tenth percentile.
    pub low: f64,
    /// The ninetieth percentile.
    pub high: f64,
    /// Values.
    pub values: usize,
}

impl Middle {
    /// Of `values`, in any order; `None` of fewer than two.
    pub(super) fn of(mut values: Vec<f64>) -> Option<Self> {
        let n = values.len();
        if n < 2 {
            return None;
        }
        values.sort_by(f64::total_cmp);
        let last = (n - 1) as f64;
        // Between the order statistics, straight.
        let at = |place: f64| {
            let place = place.clamp(0.0, last);
            let below = place.floor();
            let low = values.get(below as usize).copied().unwrap_or(f64::NAN);
            let high = values.get(below as usize + 1).copied().unwrap_or(low);
            low + (place - below) * (high - low)
        };
        let middle = 0.5 * last;
        let one = 0.5 * (n as f64).sqrt();
        Some(Self {
            median: at(middle),
            standard_error: 0.5 * (at(middle + one) - at(middle - one)),
            low: at(0.1 * last),
            high: at(0.9 * last),
            values: n,
        })
    }
}

/// A share of simulated calibrations or of the readings by them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Share {
    /// The share, 0 to 1.
    pub share: f64,
    /// Its standard error from the simulation being finite. Where one calibration gives
    /// several readings, calibrations count, not readings.
    pub standard_error: f64,
}

impl Share {
    /// The mean of the shares that single calibrations show; `None` of fewer than two.
    pub(super) fn of(shares: &[f64]) -> Option<Self> {
        let (share, variance) = mean_and_variance(shares)?;
        Some(Self {
            share,
            standard_error: (variance / shares.len() as f64).sqrt(),
        })
    }
}

/// Mean, and variance of single values about it; `None` of fewer than two.
pub(super) fn mean_and_variance(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
    Some((mean, variance))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn the_middle_of_a_row_of_numbers_is_theirs() {
        let middle = Middle::of((0..=100).map(f64::from).collect()).unwrap();
        assert_eq!((middle.median, middle.low, middle.high), (50.0, 10.0, 90.0));
        assert!(Middle::of(vec![1.0]).is_none());
    }

    #[test]
    fn the_standard_error_of_a_median_is_what_medians_scatter_by() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let found: Vec<Middle> = (0..400)
            .map(|_| {
                let values = (0..200).map(|_| StandardNormal.sample(&mut rng)).collect();
                Middle::of(values).unwrap()
            })
            .collect();
        let medians: Vec<f64> = found.iter().map(|m| m.median).collect();
        let (_, variance) = mean_and_variance(&medians).unwrap();
        let stated = found.iter().map(|m| m.standard_error).sum::<f64>() / 400.0;
        // 400 medians fix their spread to 3.5 %; three of those.
        assert!(
            (stated / variance.sqrt() - 1.0).abs() < 0.11,
            "{stated} {variance}"
        );
    }
}
