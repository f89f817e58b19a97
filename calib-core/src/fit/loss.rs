//! What a residual costs: its square, or less than that where it is so large
//! that its core may not belong to the rest.
//!
//! M-estimation by iteratively reweighted least squares (Huber 1981, Robust
//! Statistics, chapter 7; Beaton and Tukey 1974, Technometrics 16:147; references
//! recalled from memory). `r` is a residual in units of its standard deviation.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};
use std::fmt;

/// Where Huber's cost turns from the square to the straight line: 95 % as
/// efficient as least squares where every residual is normal (recalled from
/// memory; a test checks it).
const HUBER: f64 = 1.345;

/// Where Tukey's cost stops growing: 95 % as efficient, likewise.
const TUKEY: f64 = 4.685;

/// Least weight, so that a core left out altogether still has an uncertainty.
const LEAST_WEIGHT: f64 = 1e-6;

/// What residuals cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Loss {
    /// Their squares: least squares.
    #[default]
    Squares,
    /// Squares near the curve, in proportion beyond (Huber): no single core can
    /// pull the curve by more than a fixed amount.
    Huber,
    /// Nothing more beyond some distance (Tukey's biweight): a core far from all
    /// others has no pull at all.
    Tukey,
}

impl fmt::Display for Loss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Loss::Squares => "least squares",
            Loss::Huber => "Huber's loss",
            Loss::Tukey => "Tukey's biweight",
        })
    }
}

impl Loss {
    /// Every loss.
    pub const ALL: [Loss; 3] = [Loss::Squares, Loss::Huber, Loss::Tukey];

    /// The name as the command line writes it.
    pub fn key(self) -> &'static str {
        match self {
            Loss::Squares => "squares",
            Loss::Huber => "huber",
            Loss::Tukey => "tukey",
        }
    }

    /// The share of its pull that a core at residual `r` keeps, above 0 to 1:
    /// `psi(r)/r`, `psi` being the derivative of the cost.
    pub fn weight(self, r: f64) -> f64 {
        let r = r.abs();
        match self {
            Loss::Huber if r > HUBER => HUBER / r,
            Loss::Tukey if r >= TUKEY => LEAST_WEIGHT,
            Loss::Tukey => (1.0 - (r / TUKEY).powi(2)).powi(2).max(LEAST_WEIGHT),
            Loss::Squares | Loss::Huber => 1.0,
        }
    }

    /// The cost of a residual, `r^2/2` near zero.
    pub(super) fn cost(self, r: f64) -> f64 {
        let r = r.abs();
        match self {
            Loss::Huber if r > HUBER => HUBER * (r - 0.5 * HUBER),
            Loss::Tukey => {
                let inside = 1.0 - (r / TUKEY).powi(2).min(1.0);
                TUKEY * TUKEY / 6.0 * (1.0 - inside.powi(3))
            }
            Loss::Squares | Loss::Huber => 0.5 * r * r,
        }
    }

    /// Derivative of `psi` at `r`.
    fn psi_slope(self, r: f64) -> f64 {
        let r = r.abs();
        match self {
            Loss::Huber => f64::from(u8::from(r <= HUBER)),
            Loss::Tukey if r >= TUKEY => 0.0,
            Loss::Tukey => {
                let q = (r / TUKEY).powi(2);
                (1.0 - q) * (1.0 - 5.0 * q)
            }
            Loss::Squares => 1.0,
        }
    }

    /// The square of a residual as the scatter is estimated from it: cut off at
    /// Huber's limit for either robust loss (Huber's proposal 2, 1981, section
    /// 6.4; recalled from memory), with the share of the mean square of a normal
    /// residual that the cut leaves.
    pub(super) fn square_for_scale(self) -> (f64, f64) {
        match self {
            Loss::Squares => (f64::INFINITY, 1.0),
            Loss::Huber | Loss::Tukey => {
                let normal = Normal::standard();
                let tail = 1.0 - normal.cdf(HUBER);
                let inside = 1.0 - 2.0 * tail - 2.0 * HUBER * normal.pdf(HUBER);
                (HUBER * HUBER, inside + 2.0 * HUBER * HUBER * tail)
            }
        }
    }

    /// By how much the covariance of the weighted fit is to grow for residuals `r`
    /// of `parameters` parameters: `K^2 mean(psi^2) mean(w) / mean(psi')^2`,
    /// `K = 1 + (p/n) var(psi')/mean(psi')^2`. `None` where so many cores lie far out
    /// that it has no meaning.
    ///
    /// Huber (1981, equation 6.5 of chapter 7; recalled from memory) has the same
    /// factor but for `mean(w)`, times the covariance of least squares with the
    /// weights left away. `mean(w) (X'WX)^-1` stands for that `(X'X)^-1`: the same
    /// where weights have nothing to do with the place on the curve, and where a
    /// core has lost its pull the covariance of a curve without it.
    pub(super) fn covariance_scale(self, r: &[f64], parameters: f64) -> Option<f64> {
        if self == Loss::Squares {
            return Some(1.0);
        }
        let n = r.len() as f64;
        let slopes = || r.iter().map(|r| self.psi_slope(*r));
        let mean = slopes().sum::<f64>() / n;
        let variance = slopes().map(|s| (s - mean).powi(2)).sum::<f64>() / n;
        let square =
            r.iter().map(|r| (r * self.weight(*r)).powi(2)).sum::<f64>() / (n - parameters);
        let correction = 1.0 + parameters / n * variance / (mean * mean);
        let weight = r.iter().map(|r| self.weight(*r)).sum::<f64>() / n;
        let scale = correction * correction * square * weight / (mean * mean);
        (mean > 0.2 && scale > 0.0 && scale.is_finite()).then_some(scale)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean over the standard normal distribution, by the midpoint rule.
    fn normal_mean(f: impl Fn(f64) -> f64) -> f64 {
        let step = 1e-3;
        (-8000..8000)
            .map(|i| (f64::from(i) + 0.5) * step)
            .map(|r| f(r) * Normal::standard().pdf(r) * step)
            .sum()
    }

    #[test]
    fn both_are_ninety_five_per_cent_efficient_where_residuals_are_normal() {
        for loss in [Loss::Huber, Loss::Tukey] {
            let slope = normal_mean(|r| loss.psi_slope(r));
            let square = normal_mean(|r| (r * loss.weight(r)).powi(2));
            let efficiency = slope * slope / square;
            assert!((efficiency - 0.95).abs() < 5e-4, "{loss}: {efficiency}");
        }
    }

    #[test]
    fn the_share_of_the_square_that_the_cut_leaves_is_its_mean() {
        let (limit, share) = Loss::Huber.square_for_scale();
        assert!((normal_mean(|r| (r * r).min(limit)) - share).abs() < 1e-6);
    }

    #[test]
    fn the_cost_has_the_weighted_residual_for_derivative() {
        for loss in Loss::ALL {
            for r in [-6.0, -2.0, -0.4, 0.7, 1.3, 1.4, 4.0, 4.6, 9.0] {
                let slope = (loss.cost(r + 1e-6) - loss.cost(r - 1e-6)) / 2e-6;
                assert!((slope - r * loss.weight(r)).abs() < 1e-5, "{loss} at {r}");
                let curvature =
                    (loss.cost(r + 1e-4) - 2.0 * loss.cost(r) + loss.cost(r - 1e-4)) / 1e-8;
                assert!(
                    (curvature - loss.psi_slope(r)).abs() < 1e-3,
                    "{loss} at {r}"
                );
            }
        }
    }
}
