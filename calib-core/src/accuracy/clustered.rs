//! Least squares on a constant, or on a constant and one quantity, with standard
//! errors that allow for pairs alike within a cluster and for scatter that differs
//! from place to place.
//!
//! The standard error is the cluster-robust one with Bell and McCaffrey's
//! adjustment (2002, Survey Methodology 28:169), its degrees of freedom theirs; for the
//! mean with a component of variance common to a cluster, as Imbens and Kolesar have it
//! (2016, Review of Economics and Statistics 98:701). Both recalled from memory. With
//! that component the slope's test would be too cautious, without it the mean's a little
//! too bold where clusters are very uneven. Where every
//! cluster is of one size the mean's are the textbook's: Student's t on the cluster
//! means, clusters less one.

use super::sample::Interval;
use nalgebra::{Matrix2, Matrix4, Vector2, Vector4};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Largest part of a coefficient that one cluster may decide.
const ALL_FROM_ONE: f64 = 1.0 - 1e-9;

/// An estimate with what its t is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Coefficient {
    pub(super) value: f64,
    pub(super) standard_error: f64,
    pub(super) degrees_of_freedom: f64,
}

impl Coefficient {
    /// Half width of the two-sided interval.
    pub(super) fn half_width(&self, confidence: f64) -> f64 {
        t_quantile(0.5 + 0.5 * confidence, self.degrees_of_freedom) * self.standard_error
    }

    pub(super) fn interval(&self, confidence: f64) -> Interval {
        let half = self.half_width(confidence);
        Interval {
            low: self.value - half,
            high: self.value + half,
            confidence,
        }
    }

    /// Two-sided probability of an estimate so far from `hypothesis` were it true.
    pub(super) fn p_value(&self, hypothesis: f64) -> f64 {
        let off = (self.value - hypothesis).abs();
        if off == 0.0 {
            return 1.0;
        }
        let Ok(t) = StudentsT::new(0.0, 1.0, self.degrees_of_freedom) else {
            return 1.0;
        };
        // The lower tail, where small numbers keep their digits.
        2.0 * t.cdf(-off / self.standard_error)
    }

    /// The same for the estimate multiplied by `factor`, above zero.
    pub(super) fn scaled(self, factor: f64) -> Self {
        Self {
            value: self.value * factor,
            standard_error: self.standard_error * factor,
            ..self
        }
    }
}

/// Quantile of Student's t for any degrees of freedom, kept at one or more.
pub(super) fn t_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, degrees_of_freedom.max(1.0))
        .map_or(f64::INFINITY, |t| t.inverse_cdf(p))
}

/// The mean of `y`; `None` with fewer than two clusters or nothing to scatter.
pub(super) fn mean(y: &[f64], cluster: &[usize], clusters: usize) -> Option<Coefficient> {
    let n = y.len() as f64;
    let rows = vec![Vector2::new(1.0 / n.sqrt(), 0.0); y.len()];
    let found = last_coefficient(&rows, Vector2::new(1.0, 0.0), true, y, cluster, clusters)?;
    Some(found.scaled(1.0 / n.sqrt()))
}

/// The slope of `y` on `x`; `None` where `x` is constant, fewer than three clusters
/// carry it, or nothing scatters.
pub(super) fn slope(
    x: &[f64],
    y: &[f64],
    cluster: &[usize],
    clusters: usize,
) -> Option<Coefficient> {
    let n = x.len() as f64;
    let centre = x.iter().sum::<f64>() / n;
    let square: f64 = x.iter().map(|x| (x - centre).powi(2)).sum();
    if clusters < 3 || square <= 0.0 {
        return None;
    }
    let rows: Vec<Vector2<f64>> = x
        .iter()
        .map(|x| Vector2::new(1.0 / n.sqrt(), (x - centre) / square.sqrt()))
        .collect();
    let found = last_coefficient(&rows, Vector2::new(0.0, 1.0), false, y, cluster, clusters)?;
    Some(found.scaled(1.0 / square.sqrt()))
}

/// What is gathered of one cluster.
#[derive(Debug, Clone, Default)]
struct Gathered {
    rows: f64,
    /// `sum of z z'`
    square: Matrix2<f64>,
    /// `sum of z`
    sum: Vector2<f64>,
    /// Sum of residuals.
    residual: f64,
    /// Sum of `c`, of `c^2`, of `c e`, where `c` is the row's part in the estimate.
    c: f64,
    c_square: f64,
    score: f64,
}

/// Least squares on orthonormal columns (a column of zeros counts for nothing) and the
/// coefficient `wanted` picks. `common`: whether the degrees of freedom are reckoned
/// with a component of variance common to a cluster.
fn last_coefficient(
    rows: &[Vector2<f64>],
    wanted: Vector2<f64>,
    common: bool,
    y: &[f64],
    cluster: &[usize],
    clusters: usize,
) -> Option<Coefficient> {
    if clusters < 2 {
        return None;
    }
    let coefficients: Vector2<f64> = rows.iter().zip(y).map(|(z, y)| z * *y).sum();
    let residuals: Vec<f64> = rows
        .iter()
        .zip(y)
        .map(|(z, y)| y - z.dot(&coefficients))
        .collect();
    let mut gathered = vec![Gathered::default(); clusters];
    for ((z, e), g) in rows.iter().zip(&residuals).zip(cluster) {
        let one = &mut gathered[*g];
        one.rows += 1.0;
        one.square += z * z.transpose();
        one.sum += z;
        one.residual += e;
    }
    let parts: Vec<Vector2<f64>> = gathered
        .iter()
        .map(|one| inverse_root_of_rest(&one.square).map(|root| root * wanted))
        .collect::<Option<_>>()?;
    for ((z, e), g) in rows.iter().zip(&residuals).zip(cluster) {
        let c = z.dot(&parts[*g]);
        let one = &mut gathered[*g];
        one.c += c;
        one.c_square += c * c;
        one.score += c * e;
    }
    let variance: f64 = gathered.iter().map(|one| one.score.powi(2)).sum();
    // Rounding of equal values is no scatter.
    let scatter: f64 = residuals.iter().map(|e| e * e).sum();
    let largest = y.iter().fold(0.0, |most: f64, y| most.max(y.abs()));
    let rounding = y.len() as f64 * (1e-14 * largest).powi(2);
    if scatter <= rounding || variance <= 0.0 || !variance.is_finite() {
        return None;
    }
    let ratio = if common {
        common_to_within(&residuals, cluster, &gathered)
    } else {
        0.0
    };
    Some(Coefficient {
        value: coefficients.dot(&wanted),
        standard_error: variance.sqrt(),
        degrees_of_freedom: degrees_of_freedom(&gathered, &parts, ratio)?,
    })
}

/// `(I - square)^(-1/2)`; `None` where one cluster decides a coefficient alone.
fn inverse_root_of_rest(square: &Matrix2<f64>) -> Option<Matrix2<f64>> {
    let eigen = square.symmetric_eigen();
    if eigen.eigenvalues.max() > ALL_FROM_ONE {
        return None;
    }
    let roots = eigen
        .eigenvalues
        .map(|value| 1.0 / (1.0 - value.max(0.0)).sqrt());
    let vectors = eigen.eigenvectors;
    Some(vectors * Matrix2::from_diagonal(&roots) * vectors.transpose())
}

/// Variance common to a cluster over that within one, by the analysis of variance of
/// the residuals; zero where clusters have one pair each.
fn common_to_within(residuals: &[f64], cluster: &[usize], gathered: &[Gathered]) -> f64 {
    let (n, clusters) = (residuals.len() as f64, gathered.len() as f64);
    if n <= clusters {
        return 0.0;
    }
    let within: f64 = residuals
        .iter()
        .zip(cluster)
        .map(|(e, g)| (e - gathered[*g].residual / gathered[*g].rows).powi(2))
        .sum::<f64>()
        / (n - clusters);
    let between: f64 = gathered
        .iter()
        .map(|one| one.residual.powi(2) / one.rows)
        .sum::<f64>()
        / (clusters - 1.0);
    let squares: f64 = gathered.iter().map(|one| one.rows.powi(2)).sum();
    let size = (n - squares / n) / (clusters - 1.0);
    let common = ((between - within) / size).max(0.0);
    if common == 0.0 {
        0.0
    } else {
        (common / within).min(1e6)
    }
}

/// Satterthwaite's degrees of freedom of the sum of squared scores, `(tr K)^2 /
/// tr(K^2)`, where `K` is the scores' covariance. With one diagonal entry and rank
/// four besides, both traces are sums over clusters.
fn degrees_of_freedom(gathered: &[Gathered], parts: &[Vector2<f64>], ratio: f64) -> Option<f64> {
    let common: Matrix2<f64> = gathered
        .iter()
        .map(|one| one.square + ratio * one.sum * one.sum.transpose())
        .sum();
    let mut link = Matrix4::zeros();
    link.fixed_view_mut::<2, 2>(0, 0).copy_from(&common);
    link.fixed_view_mut::<2, 2>(0, 2)
        .copy_from(&-Matrix2::identity());
    link.fixed_view_mut::<2, 2>(2, 0)
        .copy_from(&-Matrix2::identity());
    let (mut trace, mut trace_of_square) = (0.0, 0.0);
    let mut products = Matrix4::zeros();
    for (one, part) in gathered.iter().zip(parts) {
        let own = one.c_square + ratio * one.c.powi(2);
        let p = one.square * part;
        let q = p + ratio * one.c * one.sum;
        let r = Vector4::new(p[0], p[1], q[0], q[1]);
        let linked = r.dot(&(link * r));
        trace += own + linked;
        trace_of_square += own.powi(2) + 2.0 * own * linked;
        products += r * r.transpose();
    }
    let twice = link * products;
    trace_of_square += (twice * twice).trace();
    let found = trace.powi(2) / trace_of_square;
    (found.is_finite() && found > 0.0).then(|| found.max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn single(n: usize) -> Vec<usize> {
        (0..n).collect()
    }

    #[test]
    fn the_mean_of_single_pairs_is_the_textbooks() {
        let y = [1.0, 4.0, 2.0, 8.0, 5.0, 7.0];
        let found = mean(&y, &single(6), 6).unwrap();
        let m = 27.0 / 6.0;
        let s2 = y.iter().map(|v| (v - m) * (v - m)).sum::<f64>() / 5.0;
        assert!((found.value - m).abs() < 1e-12);
        assert!((found.standard_error - (s2 / 6.0).sqrt()).abs() < 1e-12);
        assert!((found.degrees_of_freedom - 5.0).abs() < 1e-9);
    }

    #[test]
    fn clusters_of_one_size_count_as_their_means() {
        let y = [1.0, 1.5, 4.0, 4.2, 2.0, 1.7, 8.0, 8.8];
        let cluster = [0, 0, 1, 1, 2, 2, 3, 3];
        let means = [1.25, 4.1, 1.85, 8.4];
        let (all, by_means) = (
            mean(&y, &cluster, 4).unwrap(),
            mean(&means, &single(4), 4).unwrap(),
        );
        assert!((all.value - by_means.value).abs() < 1e-12);
        assert!((all.standard_error - by_means.standard_error).abs() < 1e-12);
        assert!((all.degrees_of_freedom - 3.0).abs() < 1e-9);
    }

    /// The whole matrices written out, as the definition has them.
    #[test]
    fn the_short_sums_equal_the_definition() {
        use nalgebra::{DMatrix, DVector};
        let x = [
            0.1, 0.12, 0.2, 0.22, 0.25, 0.31, 0.36, 0.4, 0.41, 0.45, 0.47,
        ];
        let y = [0.3, 0.1, 0.5, 0.4, 0.2, 0.9, 0.8, 0.4, 0.6, 1.0, 0.7];
        let cluster = [0, 0, 1, 1, 1, 2, 3, 3, 4, 4, 4];
        let n = x.len();
        let design = DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { x[i] });
        let inverse = (design.transpose() * &design).try_inverse().unwrap();
        let hat = &design * &inverse * design.transpose();
        let rest = DMatrix::identity(n, n) - &hat;
        let target = DVector::from_vec(y.to_vec());
        let beta = &inverse * design.transpose() * &target;
        let e = &rest * &target;
        let found = slope(&x, &y, &cluster, 5).unwrap();
        assert!((found.value - beta[1]).abs() < 1e-12);
        let mut variance = 0.0;
        let mut columns: Vec<DVector<f64>> = Vec::new();
        for g in 0..5 {
            let mine: Vec<usize> = (0..n).filter(|i| cluster[*i] == g).collect();
            let block = DMatrix::from_fn(mine.len(), mine.len(), |a, b| rest[(mine[a], mine[b])]);
            let eigen = block.symmetric_eigen();
            let root = &eigen.eigenvectors
                * DMatrix::from_diagonal(&eigen.eigenvalues.map(|v| v.powf(-0.5)))
                * eigen.eigenvectors.transpose();
            let xs = DMatrix::from_fn(mine.len(), 2, |a, j| design[(mine[a], j)]);
            let c = &root * xs * &inverse * DVector::from_vec(vec![0.0, 1.0]);
            let score: f64 = mine.iter().enumerate().map(|(a, i)| c[a] * e[*i]).sum();
            variance += score * score;
            let mut column = DVector::zeros(n);
            for (a, i) in mine.iter().enumerate() {
                column += rest.column(*i) * c[a];
            }
            columns.push(column);
        }
        assert!((found.standard_error - variance.sqrt()).abs() < 1e-12);
        // The component common to a cluster, from the residuals as the code takes it.
        let mut gathered = vec![Gathered::default(); 5];
        for i in 0..n {
            gathered[cluster[i]].rows += 1.0;
            gathered[cluster[i]].residual += e[i];
        }
        let ratio = common_to_within(e.as_slice(), &cluster, &gathered);
        assert!(ratio >= 0.0);
        for ratio in [ratio, 0.7] {
            let omega = DMatrix::from_fn(n, n, |i, j| {
                f64::from(u8::from(i == j)) + ratio * f64::from(u8::from(cluster[i] == cluster[j]))
            });
            let k = DMatrix::from_fn(5, 5, |a, b| {
                (columns[a].transpose() * &omega * &columns[b])[0]
            });
            let expected = k.trace().powi(2) / (&k * &k).trace();
            let ours = slope_freedom(&x, &cluster, ratio);
            assert!(
                (ours - expected).abs() < 1e-8 * expected,
                "{ours} {expected}"
            );
        }
    }

    /// Degrees of freedom of the slope's standard error with a stated ratio.
    fn slope_freedom(x: &[f64], cluster: &[usize], ratio: f64) -> f64 {
        let n = x.len() as f64;
        let centre = x.iter().sum::<f64>() / n;
        let square: f64 = x.iter().map(|x| (x - centre).powi(2)).sum();
        let mut gathered = vec![Gathered::default(); 5];
        let row = |x: f64| Vector2::new(1.0 / n.sqrt(), (x - centre) / square.sqrt());
        for (x, g) in x.iter().zip(cluster) {
            gathered[*g].square += row(*x) * row(*x).transpose();
            gathered[*g].sum += row(*x);
        }
        let parts: Vec<Vector2<f64>> = gathered
            .iter()
            .map(|one| inverse_root_of_rest(&one.square).unwrap() * Vector2::new(0.0, 1.0))
            .collect();
        for (x, g) in x.iter().zip(cluster) {
            let c = row(*x).dot(&parts[*g]);
            gathered[*g].c += c;
            gathered[*g].c_square += c * c;
        }
        degrees_of_freedom(&gathered, &parts, ratio).unwrap()
    }

    #[test]
    fn one_cluster_that_decides_all_is_refused() {
        let x = [0.1, 0.1, 0.1, 0.5];
        assert!(slope(&x, &[1.0, 2.0, 3.0, 4.0], &[0, 1, 2, 3], 4).is_none());
        assert!(mean(&[1.0, 2.0], &[0, 0], 1).is_none());
        assert!(mean(&[1.0, 1.0, 1.0], &[0, 1, 2], 3).is_none());
    }
}
