//! Symmetric matrices of two rows, all that offsets and gains need.

use std::ops::{Add, Mul, Sub};

/// `[[first, both], [both, second]]`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::batch) struct Symmetric {
    pub first: f64,
    pub both: f64,
    pub second: f64,
}

/// A determinant below this share of the product of the variances is rounding.
const ROUNDING: f64 = 1e-13;

impl Symmetric {
    pub fn new(rows: [[f64; 2]; 2]) -> Symmetric {
        Symmetric {
            first: rows[0][0],
            both: 0.5 * (rows[0][1] + rows[1][0]),
            second: rows[1][1],
        }
    }

    /// `v v'`.
    pub fn square_of(v: [f64; 2]) -> Symmetric {
        Symmetric {
            first: v[0] * v[0],
            both: v[0] * v[1],
            second: v[1] * v[1],
        }
    }

    pub fn rows(self) -> [[f64; 2]; 2] {
        [[self.first, self.both], [self.both, self.second]]
    }

    /// The determinant; `None` where it is not above zero.
    pub fn determinant(self) -> Option<f64> {
        let product = self.first * self.second;
        let determinant = product - self.both * self.both;
        (self.first > 0.0 && determinant > ROUNDING * product && determinant.is_normal())
            .then_some(determinant)
    }

    /// Inverse and determinant.
    pub fn inverse(self) -> Option<(Symmetric, f64)> {
        let determinant = self.determinant()?;
        let inverse = Symmetric {
            first: self.second / determinant,
            both: -self.both / determinant,
            second: self.first / determinant,
        };
        Some((inverse, determinant))
    }

    pub fn times(self, v: [f64; 2]) -> [f64; 2] {
        [
            self.first * v[0] + self.both * v[1],
            self.both * v[0] + self.second * v[1],
        ]
    }

    /// `v' M v`.
    pub fn form(self, v: [f64; 2]) -> f64 {
        self.first * v[0] * v[0] + 2.0 * self.both * v[0] * v[1] + self.second * v[1] * v[1]
    }

    /// `M other M`.
    pub fn around(self, other: Symmetric) -> Symmetric {
        let Symmetric {
            first: a,
            both: b,
            second: c,
        } = self;
        let Symmetric {
            first: x,
            both: y,
            second: z,
        } = other;
        Symmetric {
            first: a * a * x + 2.0 * a * b * y + b * b * z,
            both: a * b * x + (a * c + b * b) * y + b * c * z,
            second: b * b * x + 2.0 * b * c * y + c * c * z,
        }
    }

    /// The lower triangle whose product with its transpose is this matrix:
    /// `[[l0, 0], [l1, l2]]`. What rounding makes negative counts as zero.
    pub fn root(self) -> [f64; 3] {
        let top = self.first.max(0.0).sqrt();
        let side = if top > 0.0 { self.both / top } else { 0.0 };
        [top, side, (self.second - side * side).max(0.0).sqrt()]
    }

    /// The nearest matrix without negative variances, distances measured where
    /// `unit` is the unit matrix (or as they stand, if it has no inverse).
    pub fn without_negative(self, unit: Symmetric) -> Symmetric {
        let triangle = match unit.determinant() {
            Some(_) => unit.root(),
            None => [1.0, 0.0, 1.0],
        };
        let seen = self.seen_from(triangle);
        if seen.eigenvalues().0 >= 0.0 {
            return self;
        }
        seen.mapped(|value| value.max(0.0)).carried_by(triangle)
    }

    /// `L^-1 M L^-T`.
    pub fn seen_from(self, [top, side, bottom]: [f64; 3]) -> Symmetric {
        let ratio = side / top;
        Symmetric {
            first: self.first / (top * top),
            both: (self.both - ratio * self.first) / (top * bottom),
            second: (self.second - 2.0 * ratio * self.both + ratio * ratio * self.first)
                / (bottom * bottom),
        }
    }

    /// `L M L'`.
    pub fn carried_by(self, [top, side, bottom]: [f64; 3]) -> Symmetric {
        Symmetric {
            first: top * top * self.first,
            both: top * (side * self.first + bottom * self.both),
            second: side * side * self.first
                + 2.0 * side * bottom * self.both
                + bottom * bottom * self.second,
        }
    }

    /// The smaller and the larger eigenvalue.
    fn eigenvalues(self) -> (f64, f64) {
        let middle = self.first.midpoint(self.second);
        let radius = (0.5 * (self.first - self.second)).hypot(self.both);
        (middle - radius, middle + radius)
    }

    /// The matrix with each eigenvalue replaced.
    pub fn mapped(self, map: impl Fn(f64) -> f64) -> Symmetric {
        let (low, high) = self.eigenvalues();
        let one = Symmetric {
            first: 1.0,
            both: 0.0,
            second: 1.0,
        };
        if high - low <= f64::EPSILON * high.abs() {
            return one * map(high);
        }
        // Onto the direction of the larger, and what is left.
        let onto = (self - one * low) * (1.0 / (high - low));
        onto * map(high) + (one - onto) * map(low)
    }
}

impl Add for Symmetric {
    type Output = Symmetric;
    fn add(self, other: Symmetric) -> Symmetric {
        Symmetric {
            first: self.first + other.first,
            both: self.both + other.both,
            second: self.second + other.second,
        }
    }
}

impl Sub for Symmetric {
    type Output = Symmetric;
    fn sub(self, other: Symmetric) -> Symmetric {
        self + other * -1.0
    }
}

impl Mul<f64> for Symmetric {
    type Output = Symmetric;
    fn mul(self, factor: f64) -> Symmetric {
        Symmetric {
            first: self.first * factor,
            both: self.both * factor,
            second: self.second * factor,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNIT: Symmetric = Symmetric {
        first: 2.0,
        both: 0.6,
        second: 0.5,
    };

    #[test]
    fn the_inverse_undoes_the_matrix() {
        let (inverse, determinant) = UNIT.inverse().expect("an inverse");
        assert!((determinant - 0.64).abs() < 1e-15);
        let back = inverse.times(UNIT.times([0.3, -0.7]));
        assert!((back[0] - 0.3).abs() < 1e-15 && (back[1] + 0.7).abs() < 1e-15);
        assert!((inverse.around(UNIT) - inverse).form([1.0, 1.0]).abs() < 1e-14);
    }

    #[test]
    fn a_matrix_below_zero_in_one_direction_keeps_the_other() {
        // L diag(3, -1) L' becomes L diag(3, 0) L'.
        let [top, side, _] = UNIT.root();
        let kept = Symmetric::square_of([top, side]) * 3.0;
        let bottom = Symmetric::square_of([0.0, UNIT.root()[2]]);
        let got = (kept - bottom).without_negative(UNIT);
        for v in [[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]] {
            assert!((got.form(v) - kept.form(v)).abs() < 1e-14, "{got:?}");
        }
        assert_eq!((UNIT * -1.0).without_negative(UNIT), Symmetric::default());
        assert_eq!(UNIT.without_negative(UNIT), UNIT);
    }
}
