//! The restricted likelihood as a function of the standard deviations.

use super::super::arrow::{Arrow, Reduced, Scaling};
use std::f64::consts::TAU;

/// Pairs of a batch, to be asked how likely given variances make them.
pub(super) struct Likelihood {
    pub(super) arrow: Arrow,
    /// Columns of a probe: offset, or offset and gain.
    pub(super) own_columns: usize,
    /// Whether cores have effects.
    pub(super) cores: bool,
}

/// Places of the standard deviations among the numbers of [`Likelihood::absolute`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Places {
    pub(super) offset: usize,
    pub(super) gain: Option<usize>,
    /// The angle whose sine is the correlation.
    pub(super) angle: Option<usize>,
    pub(super) core: Option<usize>,
    /// Logarithm of the residual standard deviation.
    pub(super) residual: usize,
}

impl Likelihood {
    pub(super) fn places(&self) -> Places {
        let with_gain = self.own_columns > 1;
        let next = if with_gain { 3 } else { 1 };
        Places {
            offset: 0,
            gain: with_gain.then_some(1),
            angle: with_gain.then_some(2),
            core: self.cores.then_some(next),
            residual: next + usize::from(self.cores),
        }
    }

    /// The scaling for relative factors `[a, (b, c), (core)]`: the lower triangle
    /// `[[a, 0], [b, c]]` for a probe, each as a multiple of the residual standard
    /// deviation.
    pub(super) fn scaling(&self, relative: &[f64]) -> Scaling {
        let at = |i: usize| relative.get(i).copied().unwrap_or(0.0);
        let probe = if self.own_columns > 1 {
            [at(0), at(1), at(2)]
        } else {
            [at(0), 0.0, 0.0]
        };
        let core = if self.cores {
            at(if self.own_columns > 1 { 3 } else { 1 })
        } else {
            0.0
        };
        Scaling::Random { probe, core }
    }

    /// Pairs less shared columns.
    pub(super) fn freedom(&self, reduced: &Reduced) -> f64 {
        self.arrow.pairs().saturating_sub(reduced.rank_shared) as f64
    }

    /// -2 log restricted likelihood at relative factors, the residual variance at
    /// its best (as in Bates, Maechler, Bolker and Walker 2015, J. Stat. Softw.
    /// 67(1), section 3.4; recalled from memory).
    pub(super) fn profiled(&self, relative: &[f64]) -> f64 {
        let reduced = self.arrow.reduce(self.scaling(relative));
        let freedom = self.freedom(&reduced);
        let variance = reduced.sum_of_squares / freedom;
        self.determinants(&reduced) + freedom * (1.0 + (TAU * variance).ln())
    }

    /// The residual variance at its best for relative factors.
    pub(super) fn residual_variance(&self, relative: &[f64]) -> f64 {
        let reduced = self.arrow.reduce(self.scaling(relative));
        reduced.sum_of_squares / self.freedom(&reduced)
    }

    fn determinants(&self, reduced: &Reduced) -> f64 {
        reduced.log_determinant + reduced.log_determinant_shared - self.arrow.log_weights()
    }

    /// The same at standard deviations, correlation angle and log residual standard
    /// deviation, placed as [`places`](Self::places) says.
    pub(super) fn absolute(&self, numbers: &[f64]) -> f64 {
        let places = self.places();
        let sd = numbers[places.residual].exp();
        let reduced = self.arrow.reduce(self.scaling(&self.relative(numbers)));
        let freedom = self.freedom(&reduced);
        self.determinants(&reduced)
            + freedom * (TAU * sd * sd).ln()
            + reduced.sum_of_squares / (sd * sd)
    }

    /// Relative factors from the numbers of [`absolute`](Self::absolute).
    pub(super) fn relative(&self, numbers: &[f64]) -> Vec<f64> {
        let places = self.places();
        let sd = numbers[places.residual].exp();
        let mut relative = vec![numbers[places.offset] / sd];
        if let (Some(gain), Some(angle)) = (places.gain, places.angle) {
            let (sine, cosine) = numbers[angle].sin_cos();
            relative.push(numbers[gain] * sine / sd);
            relative.push(numbers[gain] * cosine / sd);
        }
        relative.extend(places.core.map(|core| numbers[core] / sd));
        relative
    }

    /// The way back, with the residual variance at its best.
    pub(super) fn numbers(&self, relative: &[f64]) -> Vec<f64> {
        let sd = self.residual_variance(relative).sqrt();
        let mut numbers = vec![relative[0].abs() * sd];
        if self.own_columns > 1 {
            let sign = if relative[0] < 0.0 { -1.0 } else { 1.0 };
            numbers.push(relative[1].hypot(relative[2]) * sd);
            numbers.push((sign * relative[1]).atan2(relative[2].abs()));
        }
        if self.cores {
            numbers.extend(relative.last().map(|core| core.abs() * sd));
        }
        numbers.push(sd.ln());
        numbers
    }
}
