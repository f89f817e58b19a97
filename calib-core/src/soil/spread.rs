//! What sources that disagree come to: a value, its uncertainty, and how two
//! values vary together.
//!
//! Standard uncertainty of a value `r` recommended from sources `x_i`: their
//! root mean square distance from it, `sqrt(sum (x_i - r)^2 / (n - 1))`, never
//! below [`LEAST_SPREAD`]. It is not divided by `sqrt(n)`: sources that disagree
//! do not become right by being many.

/// Least standard uncertainty of a value from published sources, m3/m3: the
/// last digit to which the class tables are rounded. Our choice; sources that
/// happen to agree do not make a soil known exactly.
pub const LEAST_SPREAD: f64 = 0.01;

/// The median; 0 of none.
pub(super) fn median(values: &[f64]) -> f64 {
    crate::readings::median(&mut values.to_vec()).unwrap_or(0.0)
}

/// Each value less `from`.
pub(super) fn deviations(values: &[f64], from: f64) -> Vec<f64> {
    values.iter().map(|value| value - from).collect()
}

/// The standard uncertainty of `recommended`, by the formula of this module.
pub(super) fn spread(values: &[f64], recommended: f64) -> f64 {
    let squares: f64 = deviations(values, recommended).iter().map(|d| d * d).sum();
    let others = values.len().saturating_sub(1).max(1);
    (squares / others as f64).sqrt().max(LEAST_SPREAD)
}

/// Correlation of two rows of deviations; 0 where one does not vary.
pub(super) fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let product = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
    let scale = (product(a, a) * product(b, b)).sqrt();
    if scale > 0.0 {
        (product(a, b) / scale).clamp(-1.0, 1.0)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_number_is_the_mean_of_the_middle_two() {
        assert_eq!(median(&[4.0, 1.0, 2.0, 10.0]), 3.0);
        assert_eq!(median(&[4.0, 1.0, 2.0]), 2.0);
        assert_eq!(median(&[7.0]), 7.0);
    }

    #[test]
    fn sources_that_agree_do_not_make_a_soil_known_exactly() {
        assert_eq!(spread(&[0.2, 0.2, 0.2], 0.2), LEAST_SPREAD);
        assert_eq!(spread(&[0.2], 0.2), LEAST_SPREAD);
        assert_eq!(spread(&[], 0.0), LEAST_SPREAD);
    }

    #[test]
    fn the_spread_is_the_root_mean_square_distance_from_the_recommended() {
        // (0.09 + 0.01 + 0.01) / 2 = 0.055 about 0.3, not about the mean.
        let found = spread(&[0.0, 0.2, 0.4], 0.3);
        assert!((found - 0.055_f64.sqrt()).abs() < 1e-12, "{found}");
    }

    #[test]
    fn correlation_runs_from_minus_one_to_one_and_is_nothing_without_variation() {
        assert_eq!(correlation(&[1.0, -1.0], &[2.0, -2.0]), 1.0);
        assert_eq!(correlation(&[1.0, -1.0], &[-2.0, 2.0]), -1.0);
        assert_eq!(correlation(&[1.0, -1.0], &[0.0, 0.0]), 0.0);
        assert_eq!(
            correlation(&[1.0, -1.0, 1.0, -1.0], &[1.0, 1.0, -1.0, -1.0]),
            0.0
        );
    }
}
