//! What a calibration says of its own errors at several readings at once: the budget of
//! [`Calibration::predict`], with what the readings share.

use super::Calibration;
use super::prediction::Spot;
use crate::curve::Curve;
use crate::quantity::Celsius;
use crate::temperature::count_at_reference;
use nalgebra::{DMatrix, DVector};

/// Where the calibration is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ReadAt {
    /// Count as read.
    pub count: f64,
    /// Soil temperature; the reference where there is none.
    pub temperature: Option<Celsius>,
}

/// What the calibration says of its errors at some readings.
#[derive(Debug, Clone)]
pub(crate) struct ErrorsTogether {
    /// The curve taken, then its rivals; their weights add up to 1.
    pub curves: Vec<ErrorsOfCurve>,
    /// Covariance between readings of what the instrument shares over all of them (supply,
    /// which probe of its type), m3/m3 squared.
    pub instrument: DMatrix<f64>,
}

/// Errors if this curve is the true one.
#[derive(Debug, Clone)]
pub(crate) struct ErrorsOfCurve {
    /// How likely it is.
    pub weight: f64,
    /// By how much it lies above the curve taken at each reading, m3/m3.
    pub above: DVector<f64>,
    /// Covariance between readings from its parameters, m3/m3 squared: grows as the scatter
    /// of the cores does (`covariance_scale` of a scatter draw).
    pub parameters: DMatrix<f64>,
    /// By how much the variance of the cores about it exceeds that about the curve taken,
    /// m3/m3 squared; less where below zero.
    pub more_scatter: f64,
}

impl ErrorsTogether {
    /// Covariance from parameters, the curves averaged by weight.
    pub(crate) fn parameters(&self) -> DMatrix<f64> {
        let size = self.instrument.nrows();
        self.curves
            .iter()
            .fold(DMatrix::zeros(size, size), |sum, curve| {
                sum + &curve.parameters * curve.weight
            })
    }

    /// Covariance from not knowing which curve is the true one, and from the instrument.
    pub(crate) fn known(&self) -> DMatrix<f64> {
        self.curves
            .iter()
            .fold(self.instrument.clone(), |sum, curve| {
                sum + &curve.above * curve.above.transpose() * curve.weight
            })
    }

    /// The variance by which the rivals' scatter exceeds that about the curve taken, by
    /// weight; at least zero. It is of one core and stands between no two.
    pub(crate) fn more_scatter(&self) -> f64 {
        self.curves
            .iter()
            .map(|curve| curve.weight * curve.more_scatter)
            .sum::<f64>()
            .max(0.0)
    }
}

impl Calibration {
    /// What it says of its errors at `readings`. Averaged over the curves, the diagonal
    /// holds the squares of the lines `CurveParameters`, `CurveChoice`, `SupplyReference`
    /// and `ProbeToProbe` of [`predict`](Self::predict), the scatter within `CurveChoice`
    /// kept apart. A curve that ends before one of the readings is no rival.
    pub(crate) fn errors_together(&self, readings: &[ReadAt]) -> ErrorsTogether {
        let size = readings.len();
        let of = |curve: &Curve, term, covariance: &[Vec<f64>]| {
            let spots: Vec<Spot> = readings
                .iter()
                .map(|at| Spot::of(curve, term, at.count, at.temperature))
                .collect();
            let theta = readings
                .iter()
                .map(|at| curve.value(count_at_reference(term, at.count, at.temperature)));
            let theta = DVector::from_iterator(size, theta);
            let parameters = symmetric(size, |i, j| spots[i].together(&spots[j], covariance));
            (theta, parameters)
        };
        let (taken, parameters) = of(&self.curve, self.temperature, &self.covariance);
        let mut curves = vec![ErrorsOfCurve {
            weight: 1.0,
            above: DVector::zeros(size),
            parameters,
            more_scatter: 0.0,
        }];
        for rival in &self.rivals {
            let (theta, parameters) = of(&rival.curve, rival.temperature, &rival.covariance);
            let above = theta - &taken;
            if above.iter().all(|above| above.is_finite()) {
                curves[0].weight -= rival.weight;
                curves.push(ErrorsOfCurve {
                    weight: rival.weight,
                    above,
                    parameters,
                    more_scatter: rival.core_scatter.powi(2) - self.core_scatter.powi(2),
                });
            }
        }
        let instrument = symmetric(size, |i, j| {
            self.shared_by_instrument(&readings[i], &readings[j])
        });
        ErrorsTogether { curves, instrument }
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

/// A symmetric matrix whose entry `i`, `j` is `at(i, j)`.
fn symmetric(size: usize, at: impl Fn(usize, usize) -> f64) -> DMatrix<f64> {
    let mut matrix = DMatrix::zeros(size, size);
    for i in 0..size {
        for j in 0..=i {
            let value = at(i, j);
            matrix[(i, j)] = value;
            matrix[(j, i)] = value;
        }
    }
    matrix
}
