//! What a calibration says of its own errors at several readings at once: the budget of
//! [`Calibration::predict`], with what the readings share.

use super::Calibration;
use super::prediction::Spot;
use crate::curve::Curve;
use crate::quantity::Celsius;
use crate::temperature::count_at_reference;
use nalgebra::DMatrix;

/// Where the calibration is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ReadAt {
    /// Count as read.
    pub count: f64,
    /// Soil temperature; the reference where there is none.
    pub temperature: Option<Celsius>,
}

/// Covariances of the calibration's errors between readings, m3/m3 squared.
#[derive(Debug, Clone)]
pub(crate) struct ErrorsTogether {
    /// From the parameters of the curve and its rivals: grows as the scatter of the cores
    /// does (`covariance_scale` of a scatter draw).
    pub parameters: DMatrix<f64>,
    /// From not knowing which curve is the true one, and from what the instrument shares
    /// over all readings (supply, which probe of its type): as it stands.
    pub known: DMatrix<f64>,
    /// By how much the rivals' scatter of the cores exceeds that of the curve taken,
    /// weighted; at least zero. It is of one core and stands between no two.
    pub more_scatter: f64,
}

/// A rival at every reading.
struct Rivalled<'a> {
    weight: f64,
    /// By how much it lies above the curve taken; none where it has no value.
    above: Vec<Option<f64>>,
    spots: Vec<Spot>,
    covariance: &'a [Vec<f64>],
}

impl Calibration {
    /// The covariances of its errors at `readings`. On the diagonal they are the squares
    /// of the lines `CurveParameters`, `CurveChoice`, `SupplyReference` and `ProbeToProbe`
    /// of [`predict`](Self::predict), the scatter within `CurveChoice` kept apart.
    pub(crate) fn errors_together(&self, readings: &[ReadAt]) -> ErrorsTogether {
        let size = readings.len();
        let spots = |curve, term| -> Vec<Spot> {
            readings
                .iter()
                .map(|at| Spot::of(curve, term, at.count, at.temperature))
                .collect()
        };
        let taken = spots(&self.curve, self.temperature);
        let rivals: Vec<Rivalled<'_>> = self
            .rivals
            .iter()
            .map(|rival| Rivalled {
                weight: rival.weight,
                above: readings
                    .iter()
                    .map(|at| {
                        let value = |curve: &Curve, term| {
                            curve.value(count_at_reference(term, at.count, at.temperature))
                        };
                        let above = value(&rival.curve, rival.temperature)
                            - value(&self.curve, self.temperature);
                        // A curve that ends before here is no rival here.
                        Some(above).filter(|above| above.is_finite())
                    })
                    .collect(),
                spots: spots(&rival.curve, rival.temperature),
                covariance: &rival.covariance,
            })
            .collect();
        let (mut parameters, mut known) = (DMatrix::zeros(size, size), DMatrix::zeros(size, size));
        for i in 0..size {
            for j in 0..=i {
                let here = taken[i].together(&taken[j], &self.covariance);
                let mut by_parameters = here;
                let mut by_choice = self.shared_by_instrument(&readings[i], &readings[j]);
                for rival in &rivals {
                    let (Some(a), Some(b)) = (rival.above[i], rival.above[j]) else {
                        continue;
                    };
                    let there = rival.spots[i].together(&rival.spots[j], rival.covariance);
                    by_parameters += rival.weight * (there - here);
                    by_choice += rival.weight * a * b;
                }
                for (matrix, value) in [(&mut parameters, by_parameters), (&mut known, by_choice)] {
                    matrix[(i, j)] = value;
                    matrix[(j, i)] = value;
                }
            }
        }
        let more_scatter = self
            .rivals
            .iter()
            .map(|rival| rival.weight * (rival.core_scatter.powi(2) - self.core_scatter.powi(2)))
            .sum::<f64>()
            .max(0.0);
        ErrorsTogether {
            parameters,
            known,
            more_scatter,
        }
    }

    /// |d theta_v / d count| at a reading.
    pub(crate) fn slope_at(&self, at: &ReadAt) -> f64 {
        let count = count_at_reference(self.temperature, at.count, at.temperature);
        self.curve.slope(count)
    }

    /// What supply and the probe of its type add to two readings at once: the lines of
    /// [`add_instrument_lines`](Self::add_instrument_lines), multiplied.
    fn shared_by_instrument(&self, here: &ReadAt, there: &ReadAt) -> f64 {
        if self.supply_relative_u == 0.0 && self.probe_to_probe == 0.0 {
            return 0.0;
        }
        let slopes = self.slope_at(here) * self.slope_at(there);
        let supply = self.supply_relative_u.powi(2) * here.count * there.count;
        slopes * (supply + self.probe_to_probe.powi(2))
    }
}
