//! First-order propagation that keeps apart what each input contributes.

use crate::uncertainty::{Budget, Source};
use std::array;
use std::ops::{Add, Div, Mul, Sub};

/// The independent inputs of a reduced core.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Input {
    Tare,
    Wet,
    Dry,
    WaterLeft,
    Diameter,
    Height,
    StatedVolume,
    WaterTemperature,
    ParticleDensity,
}

impl Input {
    const ALL: [Input; 9] = [
        Input::Tare,
        Input::Wet,
        Input::Dry,
        Input::WaterLeft,
        Input::Diameter,
        Input::Height,
        Input::StatedVolume,
        Input::WaterTemperature,
        Input::ParticleDensity,
    ];

    fn source(self) -> Source {
        match self {
            Input::Tare | Input::Wet | Input::Dry => Source::Balance,
            Input::WaterLeft => Source::IncompleteDrying,
            Input::Diameter => Source::RingDiameter,
            Input::Height => Source::RingHeight,
            Input::StatedVolume => Source::CoreVolume,
            Input::WaterTemperature => Source::WaterDensity,
            Input::ParticleDensity => Source::ParticleDensity,
        }
    }
}

/// A number that carries, for each independent input, the signed standard
/// uncertainty that input gives it: `parts[i] = (df/dx_i) u(x_i)`.
///
/// Arithmetic applies the chain rule, so that two results which share an input
/// stay correlated through it without a covariance being written anywhere. The
/// combined standard uncertainty is then the root of the sum of squares over
/// the inputs: JCGM 100:2008, 5.1.2, equation (10), on inputs that are
/// independent of one another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Carried {
    pub(super) value: f64,
    parts: [f64; Input::ALL.len()],
}

impl Carried {
    /// A number without uncertainty.
    pub(super) fn exact(value: f64) -> Self {
        Self {
            value,
            parts: [0.0; Input::ALL.len()],
        }
    }

    /// The estimate of one input.
    pub(super) fn input(input: Input, value: f64, u: f64) -> Self {
        Self {
            value,
            parts: Input::ALL.map(|each| if each == input { u } else { 0.0 }),
        }
    }

    /// Combined standard uncertainty.
    pub(super) fn u(&self) -> f64 {
        self.parts
            .iter()
            .map(|part| part * part)
            .sum::<f64>()
            .sqrt()
    }

    /// The contributions by source, those of one source combined, in the order
    /// of the inputs; sources that contribute nothing are left out.
    pub(super) fn budget(&self) -> Budget {
        let mut squares: Vec<(Source, f64)> = Vec::new();
        for (input, part) in Input::ALL.iter().zip(self.parts) {
            match squares
                .iter_mut()
                .find(|(source, _)| *source == input.source())
            {
                Some((_, square)) => *square += part * part,
                None => squares.push((input.source(), part * part)),
            }
        }
        let mut budget = Budget::default();
        for (source, square) in squares {
            if square > 0.0 {
                budget.add_known(source, square.sqrt());
            }
        }
        budget
    }

    /// `value` with parts `a` times those of `self` and `b` times those of
    /// `other`: the chain rule for two arguments.
    fn combine(self, a: f64, other: Self, b: f64, value: f64) -> Self {
        Self {
            value,
            parts: array::from_fn(|i| a * self.parts[i] + b * other.parts[i]),
        }
    }
}

impl Add for Carried {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        self.combine(1.0, other, 1.0, self.value + other.value)
    }
}

impl Sub for Carried {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self.combine(1.0, other, -1.0, self.value - other.value)
    }
}

impl Mul for Carried {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        self.combine(other.value, other, self.value, self.value * other.value)
    }
}

impl Div for Carried {
    type Output = Self;
    /// Meaningful only where `other` is not zero; [`reduce`](super::reduce())
    /// checks every divisor first.
    fn div(self, other: Self) -> Self {
        let quotient = self.value / other.value;
        self.combine(1.0 / other.value, other, -quotient / other.value, quotient)
    }
}

impl Add<f64> for Carried {
    type Output = Self;
    fn add(self, other: f64) -> Self {
        self + Carried::exact(other)
    }
}

impl Mul<f64> for Carried {
    type Output = Self;
    fn mul(self, other: f64) -> Self {
        self * Carried::exact(other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_two_results_share_cancels_in_their_difference() {
        let dry = Carried::input(Input::Dry, 10.0, 0.1);
        let wet = Carried::input(Input::Wet, 12.0, 0.2);
        let water = wet - dry;
        let back = water + dry;
        assert!((back.u() - 0.2).abs() < 1e-15);
        assert_eq!((back - wet).u(), 0.0);
    }

    #[test]
    fn products_and_quotients_follow_the_relative_rule() {
        let a = Carried::input(Input::Diameter, 5.0, 0.05);
        let b = Carried::input(Input::Height, 4.0, 0.08);
        let expected = f64::hypot(0.01, 0.02);
        assert!(((a * b).u() / 20.0 - expected).abs() < 1e-15);
        assert!(((a / b).u() / 1.25 - expected).abs() < 1e-15);
        assert!(((a * a).u() / 25.0 - 0.02).abs() < 1e-15);
    }

    #[test]
    fn weighings_of_one_balance_make_one_line() {
        let water = Carried::input(Input::Wet, 12.0, 0.3) - Carried::input(Input::Dry, 10.0, 0.4);
        let budget = water.budget();
        assert_eq!(budget.lines.len(), 1);
        assert_eq!(budget.lines[0].source, Source::Balance);
        assert!((budget.lines[0].u - 0.5).abs() < 1e-15);
    }
}
