//! What normal theory says of the share of differences within a target.
//!
//! The share within +-T of a normal distribution depends on its mean and its standard
//! deviation. A bound is found from what these may be given the sample (the fiducial or
//! generalised pivotal distribution; Krishnamoorthy and Mathew 2009, Statistical
//! Tolerance Regions, chapters 2 and 5, recalled from memory): exact for one side of
//! independent differences, where it is the bound by the noncentral t. For both sides it
//! is nearly exact where the bias carries one side. Where there is no bias, a mean that
//! is off by chance and may be farther off still counts twice (a square of it has lost
//! its centre): cautious for a share that is met, but not for one that is missed. What is
//! said to be no more than a share must therefore be so with the mean known, too, its
//! chance taken off its square.
//! Where clusters have several pairs, each mean square has its own chi-square.

use super::class::{Share, Verdict};
use super::spread::{Possible, Spread};
use statrs::distribution::{ContinuousCDF, Normal};

/// Normal theory of one sample.
#[derive(Debug, Clone)]
pub(super) struct ByTheory {
    spread: Spread,
    possible: Vec<Possible>,
    normal: Normal,
}

impl ByTheory {
    pub(super) fn of(spread: Spread) -> Self {
        Self {
            possible: spread.possible(),
            spread,
            normal: Normal::standard(),
        }
    }

    /// Had there been `factor` times as many clusters like these.
    pub(super) fn grown(&self, factor: f64) -> Self {
        Self::of(self.spread.grown(factor))
    }

    /// Probability, given the sample, that no more than `share` is within +-`target`.
    fn no_more_than(&self, share: f64, target: f64) -> f64 {
        self.possible
            .iter()
            .map(|may| {
                let sigma = may.standard_deviation;
                // No mean leaves so large a share inside.
                let Some(reach) = self.farthest_mean(target / sigma, share) else {
                    return may.probability;
                };
                let beyond =
                    |mean: f64| self.normal.cdf((mean - reach * sigma) / may.standard_error);
                may.probability * (beyond(self.spread.mean) + beyond(-self.spread.mean))
            })
            .sum()
    }

    /// As [`no_more_than`](Self::no_more_than), and at most what it is with the mean
    /// known: its square is that seen less what chance may well have put in, the square of
    /// two standard errors.
    fn surely_no_more_than(&self, share: f64, target: f64) -> f64 {
        let by_chance: f64 = self
            .possible
            .iter()
            .map(|may| may.probability * may.standard_error.powi(2))
            .sum();
        let mean = (self.spread.mean.powi(2) - 4.0 * by_chance).max(0.0).sqrt();
        let with_mean_known: f64 = self
            .possible
            .iter()
            .filter(|may| {
                let sigma = may.standard_deviation;
                self.farthest_mean(target / sigma, share)
                    .is_none_or(|reach| mean >= reach * sigma)
            })
            .map(|may| may.probability)
            .sum();
        self.no_more_than(share, target).min(with_mean_known)
    }

    /// The largest mean, in standard deviations, at which `share` is still within
    /// +-`target` standard deviations.
    fn farthest_mean(&self, target: f64, share: f64) -> Option<f64> {
        let cdf = |z: f64| self.normal.cdf(z);
        let inside = |mean: f64| cdf(target - mean) - cdf(-target - mean);
        if inside(0.0) <= share {
            return None;
        }
        let (mut low, mut high) = (0.0, target - self.normal.inverse_cdf(share));
        let mut mean = high;
        for _ in 0..60 {
            let off = inside(mean) - share;
            if off > 0.0 {
                low = mean;
            } else {
                high = mean;
            }
            let fall = density(target - mean) - density(-target - mean);
            let newton = mean + off / fall;
            let next = if newton > low && newton < high {
                newton
            } else {
                0.5 * (low + high)
            };
            let moved = (next - mean).abs();
            mean = next;
            if moved < 1e-10 {
                break;
            }
        }
        Some(mean)
    }

    pub(super) fn verdict(&self, target: f64, share: f64, confidence: f64) -> Verdict {
        if self.no_more_than(share, target) <= 1.0 - confidence {
            Verdict::Meets
        } else if self.surely_no_more_than(share, target) >= confidence {
            Verdict::DoesNotMeet
        } else {
            Verdict::NotSettled
        }
    }

    pub(super) fn share(&self, target: f64, confidence: f64) -> Share {
        let (mean, s) = (self.spread.mean, self.spread.standard_deviation);
        let bound = |is: &dyn Fn(f64) -> bool| halved(0.0, 1.0, 1e-6, is);
        Share {
            estimate: self.normal.cdf((target - mean) / s) - self.normal.cdf((-target - mean) / s),
            lower: bound(&|share| self.no_more_than(share, target) >= 1.0 - confidence),
            upper: bound(&|share| self.surely_no_more_than(share, target) >= confidence),
        }
    }

    /// The half width at which `share` is met with `confidence` and no more.
    pub(super) fn just_met(&self, share: f64, confidence: f64) -> f64 {
        let met = |target: f64| self.no_more_than(share, target) <= 1.0 - confidence;
        let mut high = self.spread.mean.abs() + 2.0 * self.spread.standard_deviation;
        for _ in 0..60 {
            if met(high) {
                break;
            }
            high *= 2.0;
        }
        halved(0.0, high, 1e-6 * high, met)
    }
}

/// Where `beyond` becomes true between `low` and `high`, to `tolerance`.
fn halved(mut low: f64, mut high: f64, tolerance: f64, beyond: impl Fn(f64) -> bool) -> f64 {
    while high - low > tolerance {
        let middle = 0.5 * (low + high);
        if beyond(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// Of the standard normal distribution.
fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}
