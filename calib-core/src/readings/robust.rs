//! Centre and spread that a few wild values do not move.

/// Standard deviation of a normal distribution over its median absolute
/// deviation: 1 over its upper quartile.
pub(crate) const PER_MAD: f64 = 1.482_602_218_505_602;

/// Half a count: how far a whole-number reading may lie from what was measured.
const HALF_COUNT: f64 = 0.5;

/// The median; `None` of nothing. Reorders `values`.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some(lower.midpoint(upper))
}

/// Robust standard deviation of counts about `centre`: the scaled median
/// absolute deviation, with half a count added to the deviation.
///
/// Whole counts hide up to half a count, so a deviation of 0 (more than half of
/// the readings alike) still allows a standard deviation of 0.74, which is the
/// value given then. Never zero; half a count matters little to a noisy
/// converter.
pub(super) fn spread(counts: &[f64], centre: f64) -> f64 {
    let mut deviations: Vec<f64> = counts.iter().map(|count| (count - centre).abs()).collect();
    PER_MAD * (median(&mut deviations).unwrap_or(0.0) + HALF_COUNT)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    #[test]
    fn the_median_of_an_even_number_lies_halfway() {
        assert_eq!(median(&mut [4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median(&mut [9.0, 1.0, 3.0]), Some(3.0));
        assert_eq!(median(&mut []), None);
    }

    #[test]
    fn the_scale_factor_is_that_of_the_normal_distribution() {
        let quartile = Normal::standard().inverse_cdf(0.75);
        assert!((PER_MAD * quartile - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_quiet_converter_still_has_a_spread() {
        assert!((spread(&[500.0; 12], 500.0) - 0.7413).abs() < 1e-4);
    }
}
