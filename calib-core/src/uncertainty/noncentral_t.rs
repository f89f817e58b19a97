//! The noncentral t distribution: what tolerance factors, limits of agreement and
//! quantiles of a normal sample have exact intervals by.
//!
//! `T = (Z + delta) / W` with `Z` standard normal and `nu W^2` chi-square with `nu`
//! degrees of freedom, so `P(T <= t) = E[Phi(t W - delta)]` (Johnson, Kotz and
//! Balakrishnan 1995, Continuous Univariate Distributions 2, chapter 31; recalled
//! from memory). With `W = e^s` the integrand is smooth and falls off fast on both
//! sides, and the trapezoidal rule is then right to all but the last digits.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};
use statrs::function::gamma::ln_gamma;

/// Logarithm of what is left out of the density at either end.
const NEGLIGIBLE: f64 = -45.0;

/// Steps within the narrower of what varies in the integrand.
const STEPS_A_WIDTH: f64 = 4.0;

/// Widest step in `s`: the density of `s` has no singularity within a quarter turn of
/// the real axis, so that the rule's error is some `exp(-pi^2 / (2 step))`.
const WIDEST_STEP: f64 = 0.12;

/// The noncentral t distribution.
#[derive(Debug, Clone)]
pub struct NoncentralT {
    delta: f64,
    degrees_of_freedom: f64,
    /// Values of `W` with their probability.
    nodes: Vec<(f64, f64)>,
    normal: Normal,
}

impl NoncentralT {
    /// With `degrees_of_freedom` (above 0, any fraction) and noncentrality `delta`.
    /// `None` where either is no finite number, there are no degrees of freedom, or
    /// `delta` is beyond 10,000.
    pub fn new(degrees_of_freedom: f64, delta: f64) -> Option<Self> {
        let nu = degrees_of_freedom;
        let sensible = nu.is_finite() && nu > 0.05 && nu < 1e10 && delta.abs() <= 1e4;
        if !sensible {
            return None;
        }
        let width = (1.0 / (2.0 * nu).sqrt()).min(1.0 / delta.abs().max(1.0));
        let nodes = scale_nodes(nu, width / STEPS_A_WIDTH);
        Some(Self {
            delta,
            degrees_of_freedom: nu,
            nodes,
            normal: Normal::standard(),
        })
    }

    /// Probability of a value up to `t`.
    pub fn cdf(&self, t: f64) -> f64 {
        self.nodes
            .iter()
            .map(|(w, weight)| weight * self.normal.cdf(t * w - self.delta))
            .sum()
    }

    fn pdf(&self, t: f64) -> f64 {
        self.nodes
            .iter()
            .map(|(w, weight)| weight * w * self.normal.pdf(t * w - self.delta))
            .sum()
    }

    /// The value below which a share `p` lies; `None` unless `p` is between 0 and 1.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let z = self.normal.inverse_cdf(p);
        let spread = (1.0 + self.delta.powi(2) / (2.0 * self.degrees_of_freedom)).sqrt();
        let mut t = self.delta + z * spread;
        let (mut low, mut high) = (t - spread, t + spread);
        let mut reach = spread;
        while self.cdf(low) > p {
            reach *= 2.0;
            low -= reach;
        }
        reach = spread;
        while self.cdf(high) < p {
            reach *= 2.0;
            high += reach;
        }
        // Newton's steps, halving where one would leave the bracket.
        for _ in 0..200 {
            let off = self.cdf(t) - p;
            if off > 0.0 {
                high = t;
            } else {
                low = t;
            }
            let newton = t - off / self.pdf(t);
            let next = if newton > low && newton < high {
                newton
            } else {
                0.5 * (low + high)
            };
            let moved = (next - t).abs();
            t = next;
            if moved <= 1e-14 * t.abs().max(1.0) || high - low <= 1e-14 * t.abs().max(1.0) {
                break;
            }
        }
        Some(t)
    }
}

/// Values of `W`, the root of chi-square over its degrees of freedom `nu`, with their
/// probabilities, a `step` apart in `ln W` or closer: for integrals over what a standard
/// deviation may be.
pub(crate) fn scale_nodes(nu: f64, step: f64) -> Vec<(f64, f64)> {
    let step = step.min(WIDEST_STEP);
    // ln of the density of s = ln W, with its peak at s = 0.
    let ln_constant =
        std::f64::consts::LN_2 + 0.5 * nu * (0.5 * nu).ln() - ln_gamma(0.5 * nu) - 0.5 * nu;
    let fall = |s: f64| nu * (s - 0.5 * (2.0 * s).exp_m1());
    let mut nodes = vec![(1.0, step * ln_constant.exp())];
    for side in [-step, step] {
        let mut steps = 1.0;
        loop {
            let s = side * steps;
            let fallen = fall(s);
            if fallen < NEGLIGIBLE {
                break;
            }
            nodes.push((s.exp(), step * (ln_constant + fallen).exp()));
            steps += 1.0;
        }
    }
    // The weights add up to one but for rounding in the constant.
    let total: f64 = nodes.iter().map(|(_, weight)| weight).sum();
    for (_, weight) in &mut nodes {
        *weight /= total;
    }
    nodes
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::StudentsT;

    #[test]
    fn without_noncentrality_it_is_students_t() {
        for nu in [0.7, 1.0, 2.5, 9.0, 40.0, 2_000.0] {
            let ours = NoncentralT::new(nu, 0.0).unwrap();
            let theirs = StudentsT::new(0.0, 1.0, nu).unwrap();
            for t in [-30.0, -3.0, -0.4, 0.0, 1.1, 7.0] {
                assert!((ours.cdf(t) - theirs.cdf(t)).abs() < 1e-11, "{nu} {t}");
            }
        }
    }

    #[test]
    fn a_quantile_has_the_probability_it_was_asked_for() {
        for (nu, delta) in [
            (1.0, 3.0),
            (4.0, -8.0),
            (16.0, 8.0),
            (999.0, 62.0),
            (3.3, 0.1),
        ] {
            let it = NoncentralT::new(nu, delta).unwrap();
            for p in [0.001, 0.025, 0.5, 0.95, 0.999] {
                let t = it.quantile(p).unwrap();
                assert!((it.cdf(t) - p).abs() < 1e-12, "{nu} {delta} {p}: {t}");
            }
        }
    }

    #[test]
    fn its_mean_is_the_textbooks() {
        // E T = delta sqrt(nu/2) Gamma((nu-1)/2) / Gamma(nu/2); from the cdf by parts.
        let (nu, delta) = (7.0, 1.5);
        let it = NoncentralT::new(nu, delta).unwrap();
        let step = 0.01;
        let mean: f64 = (0..6_000)
            .map(|i| {
                let t = (f64::from(i) + 0.5) * step;
                (1.0 - it.cdf(t) - it.cdf(-t)) * step
            })
            .sum();
        let textbook = delta * (nu / 2.0).sqrt() * (ln_gamma(3.0) - ln_gamma(3.5)).exp();
        assert!((mean - textbook).abs() < 1e-5, "{mean} {textbook}");
    }

    #[test]
    fn what_is_no_distribution_is_none() {
        assert!(NoncentralT::new(0.0, 1.0).is_none());
        assert!(NoncentralT::new(f64::NAN, 1.0).is_none());
        assert!(NoncentralT::new(5.0, f64::INFINITY).is_none());
        assert!(NoncentralT::new(5.0, 1.0).unwrap().quantile(1.0).is_none());
    }
}
