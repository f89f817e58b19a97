//! The observations and a curve of the family as the solver wants them.

use super::observation::Observation;
use super::problem::{Points, Regression};
use crate::curve::{Axis, CurveModel};
use crate::quantity::{Celsius, Quantity};

/// Smallest standard uncertainty of a reference theta_v, m3/m3: keeps a core
/// declared exact from claiming the whole fit.
pub(super) const LEAST_U_THETA: f64 = 1e-5;

/// A curve of the family as the solver sees it: input `z`, parameters those of
/// the curve and then, if `temperature` is there, the coefficient in `z` per
/// degree.
pub(super) struct CurveRegression<'a> {
    pub(super) model: &'static dyn CurveModel,
    /// `T_i - T_ref` for each point; empty without a temperature term.
    pub(super) warmth: &'a [f64],
}

impl Regression for CurveRegression<'_> {
    fn parameters(&self) -> usize {
        self.model.parameter_names().len() + usize::from(!self.warmth.is_empty())
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
        let curve_parameters = self.model.parameter_names().len();
        let (curve, rest) = p.split_at(curve_parameters);
        let (by_curve, by_rest) = by_parameter.split_at_mut(curve_parameters);
        let mut z = x[0];
        if let (Some(warmth), Some(coefficient)) = (self.warmth.get(point), rest.first()) {
            z -= coefficient * warmth;
        }
        let slope = self.model.slope(z, curve);
        by_input[0] = slope;
        if let (Some(warmth), Some(by_coefficient)) = (self.warmth.get(point), by_rest.first_mut())
        {
            *by_coefficient = -slope * warmth;
        }
        self.model.gradient(z, curve, by_curve);
        self.model.value(z, curve)
    }
}

/// The observations as columns on a curve's axis.
pub(super) struct Columns {
    pub(super) z: Vec<f64>,
    u_z: Vec<f64>,
    pub(super) theta: Vec<f64>,
    pub(super) u_theta: Vec<f64>,
    pub(super) warmth: Vec<f64>,
}

impl Columns {
    pub(super) fn of(observations: &[Observation], axis: Axis, reference: Option<Celsius>) -> Self {
        Self {
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

    pub(super) fn points(&self) -> Points<'_> {
        Points {
            y: &self.theta,
            u_y: &self.u_theta,
            x: &self.z,
            u_x: &self.u_z,
        }
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
            z: keep(&self.z),
            u_z: keep(&self.u_z),
            theta: keep(&self.theta),
            u_theta: keep(&self.u_theta),
            warmth: keep(&self.warmth),
        }
    }
}
