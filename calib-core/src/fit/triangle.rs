//! Least squares by orthogonal rotations, one row at a time.
//!
//! Rows of a design matrix are rotated into an upper triangle as they come
//! (Givens rotations: Golub and Van Loan, Matrix Computations, 4th ed. 2013,
//! sections 5.1.8 and 5.2.5; section numbers recalled from memory), so a problem of any
//! length needs only the triangle, held on the stack, and the normal equations,
//! which would square the condition number, are never formed.

use nalgebra::DMatrix;

/// Most parameters a regression may have.
pub const MAX_PARAMETERS: usize = 12;

/// The triangle `R` and right-hand side `c` of `R x = c` for the rows absorbed
/// so far, with the sum of squares that no `x` can remove.
#[derive(Debug, Clone)]
pub(super) struct Triangle {
    size: usize,
    r: [[f64; MAX_PARAMETERS]; MAX_PARAMETERS],
    c: [f64; MAX_PARAMETERS],
    rest: f64,
}

/// The length of (a, b): the plain root where its squares neither overflow nor
/// vanish, several times as fast as `hypot`, which takes over otherwise.
fn length(a: f64, b: f64) -> f64 {
    let square = a * a + b * b;
    if (1e-280..1e280).contains(&square) {
        square.sqrt()
    } else {
        a.hypot(b)
    }
}

impl Triangle {
    /// An empty triangle for `size` unknowns, at most [`MAX_PARAMETERS`].
    pub(super) fn new(size: usize) -> Self {
        Self {
            size: size.min(MAX_PARAMETERS),
            r: [[0.0; MAX_PARAMETERS]; MAX_PARAMETERS],
            c: [0.0; MAX_PARAMETERS],
            rest: 0.0,
        }
    }

    /// Rotates `row x = target` in. `row` is used as scratch.
    pub(super) fn absorb(&mut self, row: &mut [f64; MAX_PARAMETERS], target: f64) {
        let mut target = target;
        let n = self.size;
        for j in 0..n {
            let below = row[j];
            if below == 0.0 {
                continue;
            }
            let above = self.r[j][j];
            let radius = length(above, below);
            let (cosine, sine) = (above / radius, below / radius);
            self.r[j][j] = radius;
            let pivot = &mut self.r[j];
            for k in j + 1..n {
                let (up, down) = (pivot[k], row[k]);
                pivot[k] = cosine * up + sine * down;
                row[k] = cosine * down - sine * up;
            }
            let (up, down) = (self.c[j], target);
            self.c[j] = cosine * up + sine * down;
            target = cosine * down - sine * up;
        }
        self.rest += target * target;
    }

    /// Norm of column `j`.
    pub(super) fn column_norm(&self, j: usize) -> f64 {
        (0..=j.min(self.size.saturating_sub(1)))
            .map(|i| self.r[i][j] * self.r[i][j])
            .sum::<f64>()
            .sqrt()
    }

    /// The `x` of least squares, or `None` where a diagonal element vanishes.
    pub(super) fn solve(&self) -> Option<[f64; MAX_PARAMETERS]> {
        let mut x = [0.0; MAX_PARAMETERS];
        for i in (0..self.size).rev() {
            let known: f64 = (i + 1..self.size).map(|k| self.r[i][k] * x[k]).sum();
            if self.r[i][i] == 0.0 {
                return None;
            }
            x[i] = (self.c[i] - known) / self.r[i][i];
            if !x[i].is_finite() {
                return None;
            }
        }
        Some(x)
    }

    /// The `x` of `R'R x = g`, or `None` where a diagonal element vanishes.
    #[allow(
        clippy::needless_range_loop,
        reason = "rows and columns as the formula has them"
    )]
    pub(super) fn solve_normal(&self, g: &[f64; MAX_PARAMETERS]) -> Option<[f64; MAX_PARAMETERS]> {
        let mut forward = self.clone();
        for (i, g) in g.iter().enumerate().take(self.size) {
            let known: f64 = (0..i).map(|k| self.r[k][i] * forward.c[k]).sum();
            forward.c[i] = (g - known) / self.r[i][i];
        }
        forward.solve()
    }

    /// Sum of squares that no `x` can remove.
    pub(super) fn rest(&self) -> f64 {
        self.rest
    }

    /// Sum of squares left over at `x`.
    pub(super) fn sum_of_squares_at(&self, x: &[f64; MAX_PARAMETERS]) -> f64 {
        let mut sum = self.rest;
        for i in 0..self.size {
            let fitted: f64 = (i..self.size).map(|k| self.r[i][k] * x[k]).sum();
            sum += (self.c[i] - fitted).powi(2);
        }
        sum
    }

    /// `(R'R)^-1`, the covariance for rows of unit variance; `None` where a
    /// diagonal element vanishes.
    #[allow(
        clippy::needless_range_loop,
        reason = "rows and columns as the formula has them"
    )]
    pub(super) fn covariance(&self) -> Option<Vec<Vec<f64>>> {
        let n = self.size;
        // Columns of the inverse of R, each as long as it reaches down.
        let mut columns: Vec<Vec<f64>> = Vec::with_capacity(n);
        for j in 0..n {
            if self.r[j][j] == 0.0 {
                return None;
            }
            let mut column = vec![0.0; j + 1];
            column[j] = 1.0 / self.r[j][j];
            for i in (0..j).rev() {
                let sum: f64 = (i + 1..=j).map(|k| self.r[i][k] * column[k]).sum();
                column[i] = -sum / self.r[i][i];
            }
            columns.push(column);
        }
        let product = |a: usize, b: usize| -> f64 {
            let reaching = columns.iter().skip(a.max(b));
            reaching.map(|column| column[a] * column[b]).sum()
        };
        let covariance: Vec<Vec<f64>> = (0..n)
            .map(|a| (0..n).map(|b| product(a, b)).collect())
            .collect();
        covariance
            .iter()
            .flatten()
            .all(|v| v.is_finite())
            .then_some(covariance)
    }

    /// Condition number with every column scaled to unit length, and the column
    /// that takes the largest part in the weakest direction.
    ///
    /// Scaling first makes the number one about the *design*, not about the
    /// units of the parameters (van der Sluis 1969: within a factor of the root
    /// of their number, no other column scaling does better; recalled from memory).
    pub(super) fn condition(&self) -> (f64, usize) {
        let n = self.size;
        if n == 0 {
            return (1.0, 0);
        }
        let norms: Vec<f64> = (0..n).map(|j| self.column_norm(j)).collect();
        if let Some(dead) = norms
            .iter()
            .position(|norm| *norm == 0.0 || !norm.is_finite())
        {
            return (f64::INFINITY, dead);
        }
        let scaled = DMatrix::from_fn(
            n,
            n,
            |i, j| {
                if i <= j { self.r[i][j] / norms[j] } else { 0.0 }
            },
        );
        let svd = scaled.svd(false, true);
        let (largest, smallest) = (svd.singular_values.max(), svd.singular_values.min());
        let weakest = svd.singular_values.imin();
        let parameter = svd
            .v_t
            .map_or(0, |v_t| v_t.row(weakest).transpose().iamax());
        (largest / smallest, parameter)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn absorb_all(rows: &[([f64; 2], f64)]) -> Triangle {
        let mut triangle = Triangle::new(2);
        for (row, target) in rows {
            let mut wide = [0.0; MAX_PARAMETERS];
            wide[..2].copy_from_slice(row);
            triangle.absorb(&mut wide, *target);
        }
        triangle
    }

    #[test]
    fn rotated_rows_give_the_least_squares_line() {
        // y = 1, 3, 4, 4 at x = 0, 1, 2, 3: intercept 1.5, slope 1, rest 1.
        let t = absorb_all(&[
            ([1.0, 0.0], 1.0),
            ([1.0, 1.0], 3.0),
            ([1.0, 2.0], 4.0),
            ([1.0, 3.0], 4.0),
        ]);
        let x = t.solve().unwrap();
        assert!((x[0] - 1.5).abs() < 1e-14 && (x[1] - 1.0).abs() < 1e-14);
        assert!((t.sum_of_squares_at(&x) - 1.0).abs() < 1e-14);
        // (X'X)^-1 = [[0.7, -0.3], [-0.3, 0.2]]
        let c = t.covariance().unwrap();
        assert!((c[0][0] - 0.7).abs() < 1e-14);
        assert!((c[0][1] + 0.3).abs() < 1e-14);
        assert!((c[1][1] - 0.2).abs() < 1e-14);
    }

    #[test]
    fn a_repeated_column_shows_as_an_infinite_or_huge_condition() {
        let t = absorb_all(&[([1.0, 1.0], 1.0), ([2.0, 2.0], 2.0), ([3.0, 3.0], 1.0)]);
        assert!(t.condition().0 > 1e14);
    }

    #[test]
    fn a_column_of_zeros_is_named() {
        let t = absorb_all(&[([1.0, 0.0], 1.0), ([2.0, 0.0], 2.0)]);
        assert_eq!(t.condition(), (f64::INFINITY, 1));
        assert!(t.solve().is_none());
    }
}
