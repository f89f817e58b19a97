//! What a model has to supply.

use super::{Axis, CurveError, CurveKind, StartPoint};

/// The mathematics of one model in the dimensionless count `z`.
///
/// Slices of parameters have the length and order of
/// [`parameter_names`](CurveModel::parameter_names).
pub trait CurveModel: Sync {
    /// Which model this is.
    fn kind(&self) -> CurveKind;

    /// Parameter names in the order every slice uses.
    fn parameter_names(&self) -> &'static [&'static str];

    /// The equation as a person reads it.
    fn equation(&self) -> &'static str;

    /// The axis this model wants for counts between `low` and `high`.
    fn axis(&self, low: f64, high: f64) -> Axis {
        Axis::centred(low, high)
    }

    /// The open interval of `z` on which the curve is defined; `None` where `p`
    /// makes no curve of this kind. Everywhere by default.
    fn extent(&self, _p: &[f64]) -> Option<(f64, f64)> {
        Some((f64::NEG_INFINITY, f64::INFINITY))
    }

    /// theta_v in m3/m3 at `z`; infinite outside the curve's
    /// [`extent`](CurveModel::extent).
    fn value(&self, z: f64, p: &[f64]) -> f64;

    /// d theta_v / d z at `z`; zero outside the extent.
    fn slope(&self, z: f64, p: &[f64]) -> f64;

    /// d theta_v / d p at `z`, written to `out` (length: parameters); zeros
    /// outside the extent.
    fn gradient(&self, z: f64, p: &[f64], out: &mut [f64]);

    /// Value and slope at `z`, and the gradient written to `out`, at once: for
    /// models where the three share work.
    fn evaluate(&self, z: f64, p: &[f64], out: &mut [f64]) -> (f64, f64) {
        self.gradient(z, p, out);
        (self.value(z, p), self.slope(z, p))
    }

    /// How many parameters, the last ones, are held small by as much smoothing as
    /// cross-validation asks for; without all of them the curve is straight.
    fn smoothed(&self) -> usize {
        0
    }

    /// The `z` at which the curve turns from rising to falling or back;
    /// at most two, ascending, `None` where there is none.
    fn turning_points(&self, p: &[f64]) -> [Option<f64>; 2];

    /// The `z` between the ends of `within`, where the curve does not turn, at
    /// which it gives `theta`; `None` where the model has no closed form for it.
    fn inverse(&self, _theta: f64, _p: &[f64], _within: (f64, f64)) -> Option<f64> {
        None
    }

    /// Which parameter is the `z` of a break between two pieces of the curve, if
    /// the curve has one.
    fn break_parameter(&self) -> Option<usize> {
        None
    }

    /// Start values from points in `z`.
    ///
    /// # Errors
    /// [`CurveError::NotDetermined`] if the points do not fix the parameters,
    /// [`CurveError::NoValue`] if one of them is not a number,
    /// [`CurveError::CountsNotPositive`] if the model needs counts above zero.
    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError>;

    /// Several starts, the likeliest first, where one alone may lead to a minimum
    /// that is not the lowest; just [`start`](CurveModel::start) by default.
    ///
    /// # Errors
    /// As [`start`](CurveModel::start).
    fn starts(&self, points: &[StartPoint]) -> Result<Vec<Vec<f64>>, CurveError> {
        Ok(vec![self.start(points)?])
    }
}
