//! Mean and scatter of differences with the degrees of freedom behind them, for what
//! normal theory says of single differences.

/// Scatter of differences, clusters allowed for.
///
/// Where clusters have several pairs, the variance of a single difference is that
/// between clusters and that within one together: `MSB / m + (1 - 1/m) MSW`, with the
/// mean squares of the one-way analysis of variance and the size `m` for unequal
/// clusters (Bland and Altman 2007, Journal of Biopharmaceutical Statistics 17:571,
/// "the true value varies"; recalled from memory). Its degrees of freedom are
/// Satterthwaite's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    pub(super) pairs: usize,
    pub(super) clusters: usize,
    pub(super) mean: f64,
    /// Of a single difference.
    pub(super) standard_deviation: f64,
    pub(super) degrees_of_freedom: f64,
    /// Variance of a single difference over that of the mean: the number of
    /// independent pairs that would fix the mean as well.
    pub(super) effective: f64,
    /// Standard deviations between clusters and within one, where both can be told.
    pub(super) components: Option<(f64, f64)>,
}

impl Spread {
    /// `None` with fewer than two clusters or no scatter.
    pub(super) fn of(values: &[f64], cluster: &[usize], clusters: usize) -> Option<Self> {
        if clusters < 2 {
            return None;
        }
        let n = values.len() as f64;
        let count = clusters as f64;
        let mean = values.iter().sum::<f64>() / n;
        let mut sums = vec![(0.0_f64, 0.0_f64); clusters];
        for (value, g) in values.iter().zip(cluster) {
            sums[*g].0 += 1.0;
            sums[*g].1 += value - mean;
        }
        let between_square: f64 = sums.iter().map(|(size, sum)| sum * sum / size).sum();
        let mean_square_between = between_square / (count - 1.0);
        let squares: f64 = sums.iter().map(|(size, _)| size * size).sum();
        let size = (n - squares / n) / (count - 1.0);
        let within_freedom = n - count;
        let all_alone = within_freedom < 0.5;
        let mean_square_within = if all_alone {
            0.0
        } else {
            values
                .iter()
                .zip(cluster)
                .map(|(value, g)| (value - mean - sums[*g].1 / sums[*g].0).powi(2))
                .sum::<f64>()
                / within_freedom
        };
        let (part_between, part_within) = (
            mean_square_between / size,
            (1.0 - 1.0 / size) * mean_square_within,
        );
        let variance = part_between + part_within;
        if variance <= 0.0 || !variance.is_finite() {
            return None;
        }
        let between = ((mean_square_between - mean_square_within) / size).max(0.0);
        let (degrees_of_freedom, effective) = if all_alone {
            (count - 1.0, n)
        } else {
            let of_mean = between * squares / (n * n) + mean_square_within / n;
            (
                variance.powi(2)
                    / (part_between.powi(2) / (count - 1.0) + part_within.powi(2) / within_freedom),
                (variance / of_mean).clamp(1.0, n),
            )
        };
        Some(Self {
            pairs: values.len(),
            clusters,
            mean,
            standard_deviation: variance.sqrt(),
            degrees_of_freedom,
            effective,
            components: (!all_alone).then(|| (between.sqrt(), mean_square_within.sqrt())),
        })
    }

    /// The same scatter had there been `factor` times as many clusters.
    pub(super) fn grown(self, factor: f64) -> Self {
        Self {
            degrees_of_freedom: (self.degrees_of_freedom + 1.0) * factor - 1.0,
            effective: self.effective * factor,
            ..self
        }
    }
}
