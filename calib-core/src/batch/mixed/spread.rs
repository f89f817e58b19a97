//! The spread of the probes in m3/m3, and each probe's own place in it.

use super::super::arrow::BlockEffect;
use super::intervals::Surroundings;
use super::likelihood::Places;
use super::{Component, ProbeEffect};
use crate::quantity::Estimate;

/// The spread of offsets and gains.
pub(super) struct Spread {
    pub(super) offset: Component,
    pub(super) gain: Option<Component>,
    /// `[[v, c], [c, w]]`.
    pub(super) covariance: [[f64; 2]; 2],
    /// Covariance of the estimates of v, c and w.
    pub(super) uncertainty: Option<[[f64; 3]; 3]>,
}

impl Spread {
    /// `z_unit`: what z was divided by in the column of the gain, m3/m3.
    pub(super) fn of<F: Fn(&[f64]) -> f64>(
        places: &Places,
        numbers: &[f64],
        around: &Surroundings<'_, F>,
        z_unit: f64,
    ) -> Self {
        let offset = around.standard_deviation(places.offset);
        let a = numbers[places.offset];
        let (Some(gain), Some(angle)) = (places.gain, places.angle) else {
            let slope = [(places.offset, [2.0 * a, 0.0, 0.0])];
            return Self {
                offset,
                gain: None,
                covariance: [[a * a, 0.0], [0.0, 0.0]],
                uncertainty: carried(around, &slope),
            };
        };
        let g = numbers[gain];
        let (sine, cosine) = numbers[angle].sin_cos();
        let in_gain = |x: f64| x / z_unit;
        let component = around.standard_deviation(gain);
        let c = in_gain(a * g * sine);
        let slopes = [
            (places.offset, [2.0 * a, in_gain(g * sine), 0.0]),
            (gain, [0.0, in_gain(a * sine), 2.0 * in_gain(in_gain(g))]),
            (angle, [0.0, in_gain(a * g * cosine), 0.0]),
        ];
        Self {
            offset,
            gain: Some(Component {
                value: in_gain(component.value),
                low: component.low.map(in_gain),
                high: component.high.map(in_gain),
                method: component.method,
            }),
            covariance: [[a * a, c], [c, in_gain(g).powi(2)]],
            uncertainty: carried(around, &slopes),
        }
    }
}

/// Covariance of v, c and w by their slopes along the numbers.
fn carried<F: Fn(&[f64]) -> f64>(
    around: &Surroundings<'_, F>,
    slopes: &[(usize, [f64; 3])],
) -> Option<[[f64; 3]; 3]> {
    let mut covariance = [[0.0; 3]; 3];
    for (i, by_i) in slopes {
        for (j, by_j) in slopes {
            let of_numbers = around.covariance(*i, *j)?;
            for (row, x) in covariance.iter_mut().zip(by_i) {
                for (sum, y) in row.iter_mut().zip(by_j) {
                    *sum += x * of_numbers * y;
                }
            }
        }
    }
    Some(covariance)
}

impl ProbeEffect {
    /// From an effect in units of the columns, the residual variance being
    /// `variance`.
    pub(super) fn of(
        block: &BlockEffect,
        z_unit: f64,
        variance: f64,
        probe: &str,
        batch: Option<&String>,
        pairs: usize,
    ) -> Self {
        let k = block.values.len();
        let covariance = |i: usize, j: usize| {
            if i < k && j < k {
                variance * block.covariance[i * k + j]
            } else {
                0.0
            }
        };
        let value = |i: usize| block.values.get(i).copied().unwrap_or(0.0);
        let u = |i: usize| covariance(i, i).max(0.0).sqrt();
        Self {
            probe: probe.to_owned(),
            batch: batch.cloned(),
            pairs,
            offset: Estimate::new(value(0), u(0)),
            gain: Estimate::new(value(1) / z_unit, u(1) / z_unit),
            covariance: covariance(0, 1) / z_unit,
        }
    }
}
