//! Mean and scatter of differences with the degrees of freedom behind them, for what
//! normal theory says of single differences.
//!
//! Where clusters have several pairs, the variance of a single difference is that
//! between clusters and that within one together: `MSB / m + (1 - 1/m) MSW`, with the
//! mean squares of the one-way analysis of variance and the size `m` for unequal
//! clusters (Bland and Altman 2007, Journal of Biopharmaceutical Statistics 17:571,
//! "the true value varies"; recalled from memory).

use crate::uncertainty::scale_nodes;

/// Steps of an integral over a standard deviation, per its own, where there is one and
/// where there are two. By the trapezoidal rule even the coarser leaves nothing to see.
const STEPS: (f64, f64) = (6.0, 1.5);

/// Scatter of differences, clusters allowed for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    pub(super) pairs: usize,
    pub(super) mean: f64,
    /// Of a single difference.
    pub(super) standard_deviation: f64,
    /// Satterthwaite's, of its square.
    pub(super) degrees_of_freedom: f64,
    /// Variance of a single difference over that of the mean: the number of
    /// independent pairs that would fix the mean as well.
    pub(super) effective: f64,
    /// Where clusters have several pairs.
    pub(super) parts: Option<Parts>,
}

/// Both mean squares of the analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Parts {
    between: f64,
    between_freedom: f64,
    within: f64,
    within_freedom: f64,
    /// Size of a cluster, for unequal ones.
    size: f64,
    /// Sum of squared sizes over the square of all pairs.
    concentration: f64,
    pairs: f64,
}

/// What standard deviation and error of the mean may be, given the sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Possible {
    pub(super) probability: f64,
    /// Of a single difference.
    pub(super) standard_deviation: f64,
    /// Of the mean.
    pub(super) standard_error: f64,
}

impl Parts {
    /// Variance of a single difference, from both mean squares.
    fn single(&self, between: f64, within: f64) -> f64 {
        between / self.size + (1.0 - 1.0 / self.size) * within
    }

    /// Component of variance between clusters, never below zero.
    fn component(&self, between: f64, within: f64) -> f64 {
        ((between - within) / self.size).max(0.0)
    }

    /// Variance of the mean of all pairs.
    fn of_mean(&self, between: f64, within: f64) -> f64 {
        self.component(between, within) * self.concentration + within / self.pairs
    }

    /// Standard deviations between clusters and within one.
    pub(super) fn components(&self) -> (f64, f64) {
        (
            self.component(self.between, self.within).sqrt(),
            self.within.sqrt(),
        )
    }
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
        let between = between_square / (count - 1.0);
        let largest = values.iter().fold(0.0, |most: f64, v| most.max(v.abs()));
        // Rounding of equal values is no scatter.
        let real = |variance: f64| variance > (1e-14 * largest).powi(2) && variance.is_finite();
        if values.len() == clusters {
            return real(between).then(|| Self {
                pairs: values.len(),
                mean,
                standard_deviation: between.sqrt(),
                degrees_of_freedom: count - 1.0,
                effective: n,
                parts: None,
            });
        }
        let within = values
            .iter()
            .zip(cluster)
            .map(|(value, g)| (value - mean - sums[*g].1 / sums[*g].0).powi(2))
            .sum::<f64>()
            / (n - count);
        let squares: f64 = sums.iter().map(|(size, _)| size * size).sum();
        let mut parts = Parts {
            between,
            between_freedom: count - 1.0,
            within,
            within_freedom: n - count,
            size: (n - squares / n) / (count - 1.0),
            concentration: squares / (n * n),
            pairs: n,
        };
        parts.between_freedom = between_freedom(&sums, n, parts.component(between, within), within);
        let variance = parts.single(between, within);
        real(variance).then(|| Self {
            pairs: values.len(),
            mean,
            standard_deviation: variance.sqrt(),
            degrees_of_freedom: variance.powi(2)
                / (parts.single(between, 0.0).powi(2) / parts.between_freedom
                    + parts.single(0.0, within).powi(2) / parts.within_freedom),
            effective: (variance / parts.of_mean(between, within)).clamp(1.0, n),
            parts: Some(parts),
        })
    }

    /// The same scatter had there been `factor` times as many clusters.
    pub(super) fn grown(self, factor: f64) -> Self {
        Self {
            degrees_of_freedom: (self.degrees_of_freedom + 1.0) * factor - 1.0,
            effective: self.effective * factor,
            parts: self.parts.map(|parts| Parts {
                between_freedom: (parts.between_freedom + 1.0) * factor - 1.0,
                within_freedom: parts.within_freedom * factor,
                concentration: parts.concentration / factor,
                pairs: parts.pairs * factor,
                ..parts
            }),
            ..self
        }
    }

    /// What the standard deviation may be: each mean square over its expectation is a
    /// chi-square over its degrees of freedom.
    pub(super) fn possible(&self) -> Vec<Possible> {
        let nodes =
            |freedom: f64, steps: f64| scale_nodes(freedom, 1.0 / (2.0 * freedom).sqrt() / steps);
        let Some(parts) = self.parts else {
            let root = self.effective.sqrt();
            return nodes(self.degrees_of_freedom, STEPS.0)
                .into_iter()
                .map(|(w, probability)| Possible {
                    probability,
                    standard_deviation: self.standard_deviation / w,
                    standard_error: self.standard_deviation / w / root,
                })
                .collect();
        };
        let within = nodes(parts.within_freedom, STEPS.1);
        let mut possible = Vec::new();
        for (w, p) in nodes(parts.between_freedom, STEPS.1) {
            for (v, q) in &within {
                let probability = p * q;
                if probability > 1e-12 {
                    let (between, within) = (parts.between / (w * w), parts.within / (v * v));
                    possible.push(Possible {
                        probability,
                        standard_deviation: parts.single(between, within).sqrt(),
                        standard_error: parts.of_mean(between, within).sqrt(),
                    });
                }
            }
        }
        possible
    }
}

/// Degrees of freedom of the mean square between clusters of unequal size, by the mean
/// and the variance of that quadratic form under both components; clusters less one
/// where sizes are equal. `sums` has the size of each cluster first.
fn between_freedom(sums: &[(f64, f64)], n: f64, between: f64, within: f64) -> f64 {
    let (mut trace, mut of_square, mut along) = (0.0, 0.0, 0.0);
    for (size, _) in sums {
        // Of the cluster's mean times the root of its size.
        let variance = size * between + within;
        let part = size / n;
        trace += variance;
        along += variance * part;
        of_square += variance * variance * (1.0 - 2.0 * part);
    }
    let found = (trace - along).powi(2) / (of_square + along * along);
    if found.is_finite() {
        found.clamp(1.0, sums.len() as f64 - 1.0)
    } else {
        sums.len() as f64 - 1.0
    }
}
