//! Whether the counts were still moving over the window.

use super::robust::{median, spread};

/// A trend that is there and matters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Drift {
    /// Counts per second.
    pub per_second: f64,
    /// Counts over the whole window.
    pub total: f64,
    /// Robust standard deviation of one reading about the trend, counts.
    pub noise: f64,
}

/// Most points the pairwise slopes are taken between; longer windows are first
/// brought down to this many block medians, so that the work stays linear.
const BLOCKS: usize = 60;

/// Two-sided 99.9 % point of the normal distribution.
const SIGNIFICANT: f64 = 3.290_526_731;

/// The trend of `points` (seconds, counts; in order of time) where it is both
/// significant and so large that the end of the window lies further from its
/// centre than the noise of one reading; `None` otherwise.
///
/// The slope is the median of all pairwise slopes (Theil and Sen) and its
/// significance that of Kendall's score between time and count, allowing for
/// ties: a few wild readings move neither. Both recalled from memory, not
/// checked against their papers. Readings are taken as independent about the
/// trend; fewer than eight cannot be significant.
pub(super) fn drift(points: &[(f64, f64)]) -> Option<Drift> {
    let (first, last) = (points.first()?, points.last()?);
    let thinned = thin(points);
    if kendall_z(&thinned) < SIGNIFICANT {
        return None;
    }
    let mut slopes: Vec<f64> = pairs(&thinned)
        .filter(|(a, b)| a.0 != b.0)
        .map(|(a, b)| (b.1 - a.1) / (b.0 - a.0))
        .collect();
    let per_second = median(&mut slopes)?;
    let total = per_second * (last.0 - first.0);
    let mut residuals = residuals(points, per_second);
    let centre = median(&mut residuals)?;
    let noise = spread(&residuals, centre);
    (total.abs() > 2.0 * noise).then_some(Drift {
        per_second,
        total,
        noise,
    })
}

/// Counts with the trend taken off.
pub(super) fn residuals(points: &[(f64, f64)], per_second: f64) -> Vec<f64> {
    points.iter().map(|(t, y)| y - per_second * t).collect()
}

fn pairs(points: &[(f64, f64)]) -> impl Iterator<Item = ((f64, f64), (f64, f64))> + '_ {
    points
        .iter()
        .enumerate()
        .flat_map(|(i, a)| points.iter().skip(i + 1).map(move |b| (*a, *b)))
}

fn thin(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    if points.len() <= BLOCKS {
        return points.to_vec();
    }
    points
        .chunks(points.len().div_ceil(BLOCKS))
        .filter_map(|block| {
            let mut times: Vec<f64> = block.iter().map(|point| point.0).collect();
            let mut counts: Vec<f64> = block.iter().map(|point| point.1).collect();
            Some((median(&mut times)?, median(&mut counts)?))
        })
        .collect()
}

/// Kendall's score in standard deviations, with continuity correction.
fn kendall_z(points: &[(f64, f64)]) -> f64 {
    let score = kendall_score(points).abs();
    let variance = kendall_variance(points);
    if score > 1.0 && variance > 0.0 {
        (score - 1.0) / variance.sqrt()
    } else {
        0.0
    }
}

/// Pairs that move the same way in time and count, less those that move
/// oppositely.
fn kendall_score(points: &[(f64, f64)]) -> f64 {
    let sign = |x: f64| if x == 0.0 { 0.0 } else { x.signum() };
    pairs(points)
        .map(|(a, b)| sign(b.0 - a.0) * sign(b.1 - a.1))
        .sum()
}

/// Variance of the score if counts were in random order, with ties in either.
fn kendall_variance(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    if n < 3.0 {
        return 0.0;
    }
    let times = tie_sums(points.iter().map(|point| point.0));
    let counts = tie_sums(points.iter().map(|point| point.1));
    let whole = n * (n - 1.0) * (2.0 * n + 5.0);
    (whole - times.cubic - counts.cubic) / 18.0
        + times.pairs * counts.pairs / (2.0 * n * (n - 1.0))
        + times.triples * counts.triples / (9.0 * n * (n - 1.0) * (n - 2.0))
}

/// Sums over groups of `t` equal values.
#[derive(Default)]
struct TieSums {
    /// `t (t - 1)`
    pairs: f64,
    /// `t (t - 1) (t - 2)`
    triples: f64,
    /// `t (t - 1) (2 t + 5)`
    cubic: f64,
}

fn tie_sums(values: impl Iterator<Item = f64>) -> TieSums {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let mut sums = TieSums::default();
    for group in values.chunk_by(|a, b| a == b) {
        let t = group.len() as f64;
        sums.pairs += t * (t - 1.0);
        sums.triples += t * (t - 1.0) * (t - 2.0);
        sums.cubic += t * (t - 1.0) * (2.0 * t + 5.0);
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    fn each_second(counts: impl IntoIterator<Item = f64>) -> Vec<(f64, f64)> {
        counts
            .into_iter()
            .enumerate()
            .map(|(i, count)| (i as f64, count))
            .collect()
    }

    /// Every order of `values`, by Heap's method.
    fn orders(values: &mut Vec<f64>, k: usize, found: &mut Vec<Vec<f64>>) {
        if k <= 1 {
            found.push(values.clone());
            return;
        }
        for i in 0..k {
            orders(values, k - 1, found);
            values.swap(if k.is_multiple_of(2) { i } else { 0 }, k - 1);
        }
    }

    #[test]
    fn the_variance_of_the_score_is_that_over_all_orders() {
        let times = [0.0, 1.0, 1.0, 2.0, 2.0, 2.0, 3.0];
        let mut counts = vec![5.0, 5.0, 5.0, 6.0, 6.0, 7.0, 8.0];
        let n = counts.len();
        let mut all = Vec::new();
        orders(&mut counts, n, &mut all);
        let scores: Vec<f64> = all
            .iter()
            .map(|order| {
                let points: Vec<_> = times.iter().copied().zip(order.iter().copied()).collect();
                kendall_score(&points)
            })
            .collect();
        let mean_square = scores.iter().map(|s| s * s).sum::<f64>() / scores.len() as f64;
        let points: Vec<_> = times.iter().copied().zip(all[0].iter().copied()).collect();
        assert_eq!(scores.len(), 5040);
        assert!((mean_square - kendall_variance(&points)).abs() < 1e-9);
    }

    #[test]
    fn a_steady_slope_is_found_past_a_wild_reading() {
        let mut points = each_second((0..20).map(|i| 500.0 + 2.0 * f64::from(i)));
        points[7].1 = 900.0;
        let drift = drift(&points).unwrap();
        assert!((drift.per_second - 2.0).abs() < 0.05);
        assert!((drift.total - 38.0).abs() < 1.0);
    }

    #[test]
    fn a_slope_smaller_than_the_noise_is_let_be() {
        // one step of a quiet converter, as slow settling within a count gives
        let points = each_second((0..40).map(|i| if i < 20 { 500.0 } else { 501.0 }));
        assert_eq!(drift(&points), None);
    }

    #[test]
    fn a_long_window_keeps_its_slope_when_thinned() {
        let points = each_second((0..100_000).map(|i| (f64::from(i) * 0.001).round()));
        let drift = drift(&points).unwrap();
        assert!((drift.total - 100.0).abs() < 2.0, "{drift:?}");
    }

    #[test]
    fn readings_all_at_one_moment_have_no_slope() {
        let points: Vec<_> = (0..30).map(|i| (0.0, 500.0 + f64::from(i))).collect();
        assert_eq!(drift(&points), None);
    }
}
