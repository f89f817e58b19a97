//! Square roots of small matrices, columns that others explain left out.

/// Share of a column's square that must be left after taking the columns before it
/// off, for it to count as one more: an angle of 3e-5. Rounding leaves 1e-13 or less.
const LEAST_LEFT: f64 = 1e-9;

/// Replaces the lower triangle of the n x n matrix `a` by that of its root. A column
/// of which nothing is left, measured by `before` (its square before anything was
/// taken off), becomes zero. Gives the logarithm of the determinant and the rank of
/// what is left.
pub(super) fn root(a: &mut [f64], n: usize, before: &[f64]) -> (f64, usize) {
    let (mut log_determinant, mut rank) = (0.0, 0);
    for i in 0..n {
        for j in 0..=i {
            let (row_i, row_j) = (&a[i * n..i * n + j], &a[j * n..j * n + j]);
            let left = a[i * n + j] - dot(row_i, row_j);
            a[i * n + j] = if i > j {
                let pivot = a[j * n + j];
                if pivot > 0.0 { left / pivot } else { 0.0 }
            } else if left > LEAST_LEFT * before[i] && left > 0.0 {
                log_determinant += left.ln();
                rank += 1;
                left.sqrt()
            } else {
                0.0
            };
        }
    }
    (log_determinant, rank)
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Solves `root x = b` in place for each of the `m` columns of the n x m matrix `b`;
/// a column left out gets zero.
pub(super) fn forward(root: &[f64], n: usize, b: &mut [f64], m: usize) {
    for i in 0..n {
        let (done, rest) = b.split_at_mut(i * m);
        let Some(row) = rest.get_mut(..m) else { return };
        for (j, done) in done.chunks_exact(m.max(1)).enumerate() {
            let r = root[i * n + j];
            if r != 0.0 {
                for (x, d) in row.iter_mut().zip(done) {
                    *x -= r * d;
                }
            }
        }
        let pivot = root[i * n + i];
        for x in row {
            *x = if pivot > 0.0 { *x / pivot } else { 0.0 };
        }
    }
}

/// Solves `root' x = b` in place, as [`forward`].
pub(super) fn backward(root: &[f64], n: usize, b: &mut [f64], m: usize) {
    for i in (0..n).rev() {
        let (head, rest) = b.split_at_mut((i + 1) * m);
        let Some(row) = head.get_mut(i * m..) else {
            return;
        };
        for (j, later) in rest.chunks_exact(m.max(1)).take(n - i - 1).enumerate() {
            let r = root[(i + 1 + j) * n + i];
            if r != 0.0 {
                for (x, d) in row.iter_mut().zip(later) {
                    *x -= r * d;
                }
            }
        }
        let pivot = root[i * n + i];
        for x in row {
            *x = if pivot > 0.0 { *x / pivot } else { 0.0 };
        }
    }
}

/// The inverse of `root root'`, zero in columns left out.
pub(super) fn inverse(root: &[f64], n: usize) -> Vec<f64> {
    let mut inverse = vec![0.0; n * n];
    for i in 0..n {
        inverse[i * n + i] = 1.0;
    }
    forward(root, n, &mut inverse, n);
    backward(root, n, &mut inverse, n);
    inverse
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_root_gives_back_its_matrix_and_solves_it() {
        let a = [4.0, 2.0, 0.6, 2.0, 5.0, 1.0, 0.6, 1.0, 3.0];
        let mut r = a;
        let (log_determinant, rank) = root(&mut r, 3, &[4.0, 5.0, 3.0]);
        assert_eq!(rank, 3);
        let determinant = 4.0 * (15.0 - 1.0) - 2.0 * (6.0 - 0.6) + 0.6 * (2.0 - 3.0);
        assert!((log_determinant - f64::ln(determinant)).abs() < 1e-12);
        let inverse = inverse(&r, 3);
        for i in 0..3 {
            for j in 0..3 {
                let product: f64 = (0..3).map(|k| a[i * 3 + k] * inverse[k * 3 + j]).sum();
                assert!((product - f64::from(u8::from(i == j))).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn a_column_that_others_explain_is_left_out() {
        // The third is the sum of the first two.
        let mut r = [2.0, 0.0, 2.0, 0.0, 3.0, 3.0, 2.0, 3.0, 5.0];
        let (_, rank) = root(&mut r, 3, &[2.0, 3.0, 5.0]);
        assert_eq!((rank, r[8]), (2, 0.0));
        let mut b = [2.0, 3.0, 5.0];
        forward(&r, 3, &mut b, 1);
        backward(&r, 3, &mut b, 1);
        assert!((b[0] - 1.0).abs() < 1e-12 && (b[1] - 1.0).abs() < 1e-12 && b[2] == 0.0);
    }
}
