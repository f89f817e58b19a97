//! Least squares by orthogonal reflections, a block of rows at a time.
//!
//! Rows of a design matrix are reflected into an upper triangle as they come
//! (Householder reflections of the triangle with a block of rows beneath it:
//! Golub and Van Loan, Matrix Computations, 4th ed. 2013, sections 5.1.2 and
//! 5.2.2; section numbers recalled from memory), so a problem of any length
//! needs only the triangle and one block, both on the stack, and the normal
//! equations, which would square the condition number, are never formed.

use nalgebra::DMatrix;

/// Most parameters a regression may have.
pub const MAX_PARAMETERS: usize = 12;

/// Rows reflected in at once.
pub(super) const BLOCK: usize = 32;

/// A block of rows of a design matrix with their targets, column by column.
#[derive(Debug, Clone)]
pub(super) struct Block {
    columns: [[f64; BLOCK]; MAX_PARAMETERS],
    targets: [f64; BLOCK],
    rows: usize,
}

impl Block {
    /// A block without rows.
    pub(super) fn new() -> Self {
        Self {
            columns: [[0.0; BLOCK]; MAX_PARAMETERS],
            targets: [0.0; BLOCK],
            rows: 0,
        }
    }

    /// Adds `scale row x = scale target`; a row too many is not taken.
    pub(super) fn push(&mut self, row: &[f64], target: f64, scale: f64) {
        if self.rows < BLOCK {
            for (column, value) in self.columns.iter_mut().zip(row) {
                column[self.rows] = value * scale;
            }
            self.targets[self.rows] = target * scale;
            self.rows += 1;
        }
    }

    pub(super) fn is_full(&self) -> bool {
        self.rows == BLOCK
    }
}

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

/// The length of a vector, with the same care.
fn norm(values: &[f64]) -> f64 {
    let square = dot(values, values);
    if (1e-280..1e280).contains(&square) {
        square.sqrt()
    } else {
        values.iter().fold(0.0, |sum, value| length(sum, *value))
    }
}

/// Four sums side by side, so that one does not wait for the other.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<4>(), b.as_chunks::<4>());
    let mut sums = [0.0; 4];
    for (a, b) in a.iter().zip(b) {
        for k in 0..4 {
            sums[k] += a[k] * b[k];
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + rest
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

    /// Reflects the rows of `block` in and leaves it empty.
    pub(super) fn absorb(&mut self, block: &mut Block) {
        let rows = std::mem::take(&mut block.rows);
        let n = self.size;
        for j in 0..n {
            let (done, ahead) = block.columns.split_at_mut(j + 1);
            let below = &done[j][..rows];
            let above = self.r[j][j];
            let radius = length(above, norm(below));
            if radius == 0.0 {
                continue;
            }
            // The reflection that takes (above, below) to (-+radius, 0); the
            // sign is the one that cancels nothing.
            let diagonal = -radius.copysign(above);
            let lead = above - diagonal;
            let scale = 1.0 / (lead * radius.copysign(above));
            self.r[j][j] = diagonal;
            let reflect = |up: &mut f64, down: &mut [f64]| {
                let share = (lead * *up + dot(below, down)) * scale;
                *up -= share * lead;
                for (down, below) in down.iter_mut().zip(below) {
                    *down -= share * below;
                }
            };
            for (up, down) in self.r[j][j + 1..n].iter_mut().zip(ahead) {
                reflect(up, &mut down[..rows]);
            }
            reflect(&mut self.c[j], &mut block.targets[..rows]);
        }
        let targets = &block.targets[..rows];
        self.rest += dot(targets, targets);
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
        self.back(&self.c)
    }

    /// The `x` of `R x = c`.
    fn back(&self, c: &[f64; MAX_PARAMETERS]) -> Option<[f64; MAX_PARAMETERS]> {
        let mut x = [0.0; MAX_PARAMETERS];
        for i in (0..self.size).rev() {
            let known: f64 = (i + 1..self.size).map(|k| self.r[i][k] * x[k]).sum();
            if self.r[i][i] == 0.0 {
                return None;
            }
            x[i] = (c[i] - known) / self.r[i][i];
            if !x[i].is_finite() {
                return None;
            }
        }
        Some(x)
    }

    /// The `x` of `R'R x = g`, or `None` where a diagonal element vanishes.
    pub(super) fn solve_normal(&self, g: &[f64; MAX_PARAMETERS]) -> Option<[f64; MAX_PARAMETERS]> {
        self.back(&self.forward(g))
    }

    /// The `z` of `R' z = g`.
    fn forward(&self, g: &[f64]) -> [f64; MAX_PARAMETERS] {
        let mut z = [0.0; MAX_PARAMETERS];
        for (i, g) in g.iter().enumerate().take(self.size) {
            let known: f64 = (0..i).map(|k| self.r[k][i] * z[k]).sum();
            z[i] = (g - known) / self.r[i][i];
        }
        z
    }

    /// `g' (R'R)^-1 g`: the variance of `g x` for rows of unit variance.
    pub(super) fn variance(&self, g: &[f64]) -> f64 {
        self.forward(g).iter().map(|z| z * z).sum()
    }

    /// Whether there is a covariance.
    pub(super) fn is_regular(&self) -> bool {
        // A diagonal element squared and inverted must be a number.
        (0..self.size).all(|i| {
            let inverse = 1.0 / self.r[i][i];
            (inverse * inverse).is_finite()
        })
    }

    /// Sine of the least angle between a column and those before it.
    pub(super) fn least_sine(&self) -> f64 {
        (0..self.size)
            .map(|j| self.r[j][j].abs() / self.column_norm(j).max(f64::MIN_POSITIVE))
            .fold(1.0, f64::min)
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
        let mut block = Block::new();
        for (row, target) in rows {
            block.push(row, *target, 1.0);
        }
        triangle.absorb(&mut block);
        triangle
    }

    #[test]
    fn reflected_rows_give_the_least_squares_line() {
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
