//! An axis: the values it covers, and the few round numbers named on it.

use plotters::coord::ranged1d::Ranged;

/// A range of values with a few round numbers in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Lowest value shown.
    pub low: f64,
    /// Highest value shown.
    pub high: f64,
    /// Round numbers, ascending.
    pub(super) ticks: Vec<f64>,
    /// Digits behind the point that tell the ticks apart.
    decimals: usize,
    /// What the ticks are called, where their own values are not what is read.
    names: Vec<String>,
}

impl Axis {
    /// From `low` to `high`, widened to at least `least` around their middle,
    /// with at most `most` ticks.
    pub fn covering(low: f64, high: f64, least: f64, most: usize) -> Self {
        let (low, high) = if low.is_finite() && high.is_finite() {
            let middle = (low + high) / 2.0;
            let half = ((high - low).abs() / 2.0).max(least / 2.0);
            (middle - half, middle + half)
        } else {
            (0.0, least)
        };
        let ticks = plotters::coord::types::RangedCoordf64::from(low..high).key_points(most);
        let step = match ticks[..] {
            [first, second, ..] => second - first,
            _ => high - low,
        };
        let decimals = (-(step.log10() + 1e-9).floor()).clamp(0.0, 6.0) as usize;
        Self {
            low,
            high,
            ticks,
            decimals,
            names: Vec::new(),
        }
    }

    /// Logarithms to the base of ten from `low` to `high`, with ticks at `ticks`
    /// (not their logarithms), each called by its own value.
    pub fn logarithmic(low: f64, high: f64, ticks: &[f64]) -> Self {
        Self {
            low: low.log10(),
            high: high.log10(),
            ticks: ticks.iter().map(|tick| tick.log10()).collect(),
            decimals: 0,
            names: ticks.iter().map(ToString::to_string).collect(),
        }
    }

    /// From `low` to `high`, with ticks at the values of `ticks`, each under its name.
    pub fn named(low: f64, high: f64, ticks: &[(f64, String)]) -> Self {
        Self {
            low,
            high,
            ticks: ticks.iter().map(|(at, _)| *at).collect(),
            decimals: 0,
            names: ticks.iter().map(|(_, name)| name.clone()).collect(),
        }
    }

    /// Without ticks that are no whole number: for what is counted.
    pub fn of_whole_numbers(mut self) -> Self {
        self.ticks.retain(|tick| (tick - tick.round()).abs() < 1e-9);
        self.decimals = 0;
        self
    }

    pub(super) fn share(&self, value: f64) -> f64 {
        (value - self.low) / (self.high - self.low)
    }

    pub(super) fn label(&self, tick: f64) -> String {
        let named = self.ticks.iter().zip(&self.names);
        if let Some((_, name)) = named.into_iter().find(|(at, _)| **at == tick) {
            return name.clone();
        }
        let text = format!("{tick:.*}", self.decimals);
        match text.strip_prefix('-') {
            Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
            Some(digits) => format!("\u{2212}{digits}"),
            None => text,
        }
    }
}
