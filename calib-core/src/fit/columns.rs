//! The observations and a curve of the family as the solver wants them.

use super::observation::Observation;
use super::problem::{Points, Regression};
use crate::curve::{Axis, CurveModel, StartPoint};
use crate::quantity::{Celsius, Quantity};

/// Smallest standard uncertainty of a reference theta_v, m3/m3: keeps a core
/// declared exact from claiming the whole fit.
pub(super) const LEAST_U_THETA: f64 = 1e-5;

/// A curve of the family as the solver sees it: input `z`, parameters those of
/// the curve and then, if `temperature` is there, the coefficient in `z` per
/// degree.
///
/// Points beyond the cores are pulls: each says that one of the parameters the
/// model would have small is zero, give or take the smoothing.
pub(super) struct CurveRegression<'a> {
    model: &'static dyn CurveModel,
    curve_parameters: usize,
    /// First parameter that is pulled to zero.
    first_pulled: usize,
    cores: usize,
    /// `T_i - T_ref` for each core; empty without a temperature term.
    warmth: &'a [f64],
}

impl Regression for CurveRegression<'_> {
    fn parameters(&self) -> usize {
        self.curve_parameters + usize::from(!self.warmth.is_empty())
    }

    fn inputs(&self) -> usize {
        1
    }

    fn evaluate(
        &self,
        point: usize,
        x: &[f64],
        p: &[f64],
        by_parameter: &mut [f64],
        by_input: &mut [f64],
    ) -> f64 {
        if point >= self.cores {
            let pulled = self.first_pulled + point - self.cores;
            by_parameter.fill(0.0);
            by_parameter[pulled] = 1.0;
            by_input[0] = 0.0;
            return p[pulled];
        }
        let (curve, rest) = p.split_at(self.curve_parameters);
        let (by_curve, by_rest) = by_parameter.split_at_mut(self.curve_parameters);
        let mut z = x[0];
        if let (Some(warmth), Some(coefficient)) = (self.warmth.get(point), rest.first()) {
            z -= coefficient * warmth;
        }
        let (value, slope) = self.model.evaluate(z, curve, by_curve);
        by_input[0] = slope;
        if let (Some(warmth), Some(by_coefficient)) = (self.warmth.get(point), by_rest.first_mut())
        {
            *by_coefficient = -slope * warmth;
        }
        value
    }
}

/// The observations as columns on a curve's axis, then the pulls of smoothing.
#[derive(Clone)]
pub(super) struct Columns {
    model: &'static dyn CurveModel,
    /// How many of the rows are cores.
    pub(super) cores: usize,
    pub(super) z: Vec<f64>,
    pub(super) u_z: Vec<f64>,
    pub(super) theta: Vec<f64>,
    pub(super) u_theta: Vec<f64>,
    pub(super) warmth: Vec<f64>,
}

impl Columns {
    pub(super) fn of(
        observations: &[Observation],
        model: &'static dyn CurveModel,
        axis: Axis,
        reference: Option<Celsius>,
    ) -> Self {
        Self {
            model,
            cores: observations.len(),
            z: observations.iter().map(|o| axis.z(o.count.value)).collect(),
            u_z: observations.iter().map(|o| o.count.u / axis.unit).collect(),
            theta: observations
                .iter()
                .map(|o| o.theta_v.value.value())
                .collect(),
            u_theta: observations
                .iter()
                .map(|o| o.theta_v.u.max(LEAST_U_THETA))
                .collect(),
            warmth: reference.map_or_else(Vec::new, |reference| {
                observations
                    .iter()
                    .map(|o| o.temperature.map_or(0.0, |t| t.value() - reference.value()))
                    .collect()
            }),
        }
    }

    /// Takes all rows off; room for them stays.
    pub(super) fn clear(&mut self) {
        for column in [
            &mut self.z,
            &mut self.u_z,
            &mut self.theta,
            &mut self.u_theta,
            &mut self.warmth,
        ] {
            column.clear();
        }
        self.cores = 0;
    }

    /// Adds a row of `other`, which must be of the same curve.
    pub(super) fn take(&mut self, other: &Self, row: usize) {
        self.z.push(other.z[row]);
        self.u_z.push(other.u_z[row]);
        self.theta.push(other.theta[row]);
        self.u_theta.push(other.u_theta[row]);
        // Pulls have no temperature.
        self.warmth.extend(other.warmth.get(row));
    }

    pub(super) fn points(&self) -> Points<'_> {
        Points {
            y: &self.theta,
            u_y: &self.u_theta,
            x: &self.z,
            u_x: &self.u_z,
        }
    }

    /// The curve as the solver sees it on these rows.
    pub(super) fn regression(&self) -> CurveRegression<'_> {
        let curve_parameters = self.model.parameter_names().len();
        CurveRegression {
            model: self.model,
            curve_parameters,
            first_pulled: curve_parameters - self.model.smoothed(),
            cores: self.cores,
            warmth: &self.warmth,
        }
    }

    /// With a pull of `smoothing` on each parameter the model would have small.
    pub(super) fn smoothed(&self, smoothing: f64) -> Self {
        let mut smoothed = self.clone();
        for _ in 0..self.model.smoothed() {
            smoothed.z.push(0.0);
            smoothed.u_z.push(0.0);
            smoothed.theta.push(0.0);
            smoothed.u_theta.push(smoothing);
        }
        smoothed
    }

    /// The cores as start values are sought from.
    pub(super) fn start_points(&self) -> Vec<StartPoint> {
        let rows = self.z.iter().zip(&self.theta).take(self.cores);
        rows.map(|(z, theta)| StartPoint {
            z: *z,
            theta: *theta,
        })
        .collect()
    }

    pub(super) fn without(&self, left_out: usize) -> Self {
        let keep = |values: &[f64]| -> Vec<f64> {
            values
                .iter()
                .enumerate()
                .filter(|(i, _)| *i != left_out)
                .map(|(_, v)| *v)
                .collect()
        };
        Self {
            model: self.model,
            cores: self.cores - usize::from(left_out < self.cores),
            z: keep(&self.z),
            u_z: keep(&self.u_z),
            theta: keep(&self.theta),
            u_theta: keep(&self.u_theta),
            warmth: keep(&self.warmth),
        }
    }
}
