//! One-way analysis of variance: do groups differ more than their members do?

use super::statistics_error::{BatchStatisticsError, enough, finite};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// A line of the table of an analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SumOfSquares {
    /// Sum of squares, in the unit of the values squared.
    pub sum: f64,
    /// Degrees of freedom.
    pub freedom: usize,
    /// Sum over degrees of freedom.
    pub mean: f64,
}

/// A one-way analysis of variance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OneWay {
    /// Groups with at least one value.
    pub groups: usize,
    /// Values.
    pub observations: usize,
    /// Mean of all values.
    pub mean: f64,
    /// Between groups.
    pub between: SumOfSquares,
    /// Within groups.
    pub within: SumOfSquares,
    /// Ratio of the mean squares; `None` where members of a group do not differ.
    pub f: Option<f64>,
    /// Probability of a ratio this large if groups do not differ.
    pub p_value: Option<f64>,
    /// Share of the sum of squares that lies between groups; `None` where all
    /// values are alike.
    pub r_squared: Option<f64>,
    /// Square root of the mean square within groups.
    pub residual_sd: f64,
    /// What takes the place of the number of members where groups are of unequal
    /// size: `(N - sum n_i^2 / N) / (groups - 1)`.
    pub effective_members: f64,
}

/// Values that differ by less than this many roundings of the largest are taken
/// for alike.
const ROUNDINGS: f64 = 4.0;

/// The analysis of groups of any sizes; empty ones are passed over.
///
/// Everything is reckoned from differences to the first value, which are exact
/// where values lie near each other, and then about means, in two passes
/// (Chan, Golub and LeVeque 1983; recalled from memory).
///
/// # Errors
/// Fewer than two groups, no group of two, a value that is not finite or too large
/// to be squared.
pub fn one_way<G: AsRef<[f64]>>(groups: &[G]) -> Result<OneWay, BatchStatisticsError> {
    let groups: Vec<&[f64]> = groups
        .iter()
        .map(AsRef::as_ref)
        .filter(|group| !group.is_empty())
        .collect();
    enough("groups", groups.len(), 2)?;
    let values = || groups.iter().copied().flatten().copied();
    for (index, value) in values().enumerate() {
        finite("value", index, value)?;
    }
    let observations = groups.iter().map(|group| group.len()).sum();
    enough("values", observations, groups.len() + 1)?;
    let n = observations as f64;
    let origin = values().next().unwrap_or(0.0);
    let largest = values().fold(0.0, |most: f64, v| most.max(v.abs()));

    let mean = mean_of(values().map(|v| v - origin), n);
    let (mut between_sum, mut within_sum, mut squared_sizes) = (0.0, 0.0, 0.0);
    for group in &groups {
        let size = group.len() as f64;
        let shifted = || group.iter().map(|v| v - origin);
        let middle = mean_of(shifted(), size);
        within_sum += shifted().map(|v| (v - middle).powi(2)).sum::<f64>();
        between_sum += size * (middle - mean).powi(2);
        squared_sizes += size * size;
    }
    finite("sum of squares", 0, between_sum + within_sum)?;
    let between = SumOfSquares::new(between_sum, groups.len() - 1);
    let within = SumOfSquares::new(within_sum, observations - groups.len());

    let rounding = n * (ROUNDINGS * f64::EPSILON * largest).powi(2);
    let f = (within_sum > rounding).then(|| between.mean / within.mean);
    let total = between_sum + within_sum;
    Ok(OneWay {
        groups: groups.len(),
        observations,
        mean: origin + mean,
        between,
        within,
        f,
        p_value: f.and_then(|f| {
            FisherSnedecor::new(between.freedom as f64, within.freedom as f64)
                .ok()
                .map(|distribution| distribution.sf(f))
        }),
        r_squared: (total > rounding).then(|| between_sum / total),
        residual_sd: within.mean.sqrt(),
        effective_members: (n - squared_sizes / n) / between.freedom as f64,
    })
}

impl SumOfSquares {
    fn new(sum: f64, freedom: usize) -> SumOfSquares {
        SumOfSquares {
            sum,
            freedom,
            mean: sum / freedom as f64,
        }
    }
}

/// The mean, the rounding of a first pass taken off by a second.
fn mean_of(values: impl Iterator<Item = f64> + Clone, n: f64) -> f64 {
    let first = values.clone().sum::<f64>() / n;
    first + values.map(|v| v - first).sum::<f64>() / n
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_of_unequal_size_give_the_sums_worked_out_by_hand() {
        // Means 2, 5 and 7; of all (8 + 5 + 21) / 8 = 4.25.
        let found = one_way(&[
            vec![1.0, 2.0, 2.0, 3.0],
            vec![5.0],
            vec![],
            vec![6.0, 7.0, 8.0],
        ])
        .expect("an analysis");
        assert_eq!((found.groups, found.observations), (3, 8));
        assert!((found.mean - 4.25).abs() < 1e-15);
        let between = 4.0 * 2.25_f64.powi(2) + 0.75_f64.powi(2) + 3.0 * 2.75_f64.powi(2);
        assert!((found.between.sum - between).abs() < 1e-13);
        assert!((found.within.sum - 4.0).abs() < 1e-14);
        assert_eq!((found.between.freedom, found.within.freedom), (2, 5));
        // For 2 and m degrees of freedom P = (1 + 2 F / m)^(-m / 2).
        let f = (between / 2.0) / (4.0 / 5.0);
        let p = (1.0 + 2.0 * f / 5.0).powf(-2.5);
        assert!((found.p_value.expect("a P value") - p).abs() < 1e-12);
        assert!((found.effective_members - (8.0 - 26.0 / 8.0) / 2.0).abs() < 1e-15);
    }

    #[test]
    fn members_that_do_not_differ_give_no_ratio() {
        let found = one_way(&[[0.3, 0.3], [0.1 + 0.2, 0.1 + 0.2]]).expect("an analysis");
        assert_eq!(
            (found.f, found.p_value, found.r_squared),
            (None, None, None)
        );
        let apart = one_way(&[[1.0, 1.0], [2.0, 2.0]]).expect("an analysis");
        assert_eq!((apart.f, apart.r_squared), (None, Some(1.0)));
    }

    #[test]
    fn what_cannot_be_analysed_is_refused_with_numbers() {
        let refused = |groups: &[Vec<f64>]| one_way(groups).expect_err("a refusal").to_string();
        assert_eq!(
            refused(&[vec![1.0, 2.0], vec![]]),
            "1 group is too few: at least 2 are needed"
        );
        assert_eq!(
            refused(&[vec![1.0], vec![2.0]]),
            "2 values are too few: at least 3 are needed"
        );
        assert_eq!(
            refused(&[vec![1.0], vec![2.0, f64::NAN]]),
            "value number 3 is NaN, not a number to reckon with"
        );
        assert!(one_way(&[[1e200, -1e200], [0.0, 1.0]]).is_err());
        assert!(one_way(&[[f64::MAX, -f64::MAX], [0.0, 1.0]]).is_err());
    }
}
