//! The curve family: volumetric water content as a function of the raw count.
//!
//! One file a model. Every model works on the dimensionless count
//! `z = (count - origin) / unit` of its [`Axis`], so that its parameters are of
//! order one, nearly uncorrelated, and readable: `a` is theta_v at the origin
//! (for the two-segment line, at its break). Adding a model means one new file
//! with a [`CurveModel`], its lines in [`CurveKind`], and its textbook form
//! among the tests, which check value, slope and gradient against it.

mod axis;
mod bend;
mod cubic;
mod error;
mod exponential;
mod hyperbolic;
mod inverted_logistic;
mod kind;
mod model;
mod monotone_spline;
mod power;
mod quadratic;
mod start;
mod straight_line;
#[cfg(test)]
mod tests;
mod two_segment;

pub use axis::Axis;
pub use error::CurveError;
pub use kind::CurveKind;
pub use model::CurveModel;
pub use start::StartPoint;

use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentRoot;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Most parameters any curve of the family has.
pub const MAX_CURVE_PARAMETERS: usize = 5;

/// Share of the range of theta_v by which a closed-form inverse may miss before
/// a search takes its place.
const CLOSE: f64 = 1e-10;

/// A model with numbers in it: theta_v (m3/m3) at any count.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Curve {
    /// Which model.
    pub kind: CurveKind,
    /// How counts become `z`.
    pub axis: Axis,
    /// The parameters, in the model's order.
    pub parameters: Vec<f64>,
}

impl Curve {
    /// theta_v in m3/m3 at `count`; infinite where the curve is not defined.
    pub fn value(&self, count: f64) -> f64 {
        self.kind
            .model()
            .value(self.axis.z(count), &self.parameters)
    }

    /// d theta_v / d count, m3/m3 per count.
    pub fn slope(&self, count: f64) -> f64 {
        self.kind
            .model()
            .slope(self.axis.z(count), &self.parameters)
            / self.axis.unit
    }

    /// d theta_v / d p at `count`, written to `out` (length: parameters).
    pub fn gradient(&self, count: f64, out: &mut [f64]) {
        self.kind
            .model()
            .gradient(self.axis.z(count), &self.parameters, out);
    }

    /// The first count strictly inside `low..high` at which the curve turns.
    pub fn turning_point_within(&self, low: f64, high: f64) -> Option<f64> {
        self.kind
            .model()
            .turning_points(&self.parameters)
            .into_iter()
            .flatten()
            .map(|z| self.axis.count(z))
            .find(|count| *count > low && *count < high)
    }

    /// Checks that the curve has a finite value at every count from `low` to
    /// `high`.
    ///
    /// # Errors
    /// [`CurveError::NotOfItsShape`] if its parameters make no curve of its kind,
    /// [`CurveError::EndsInside`] if it runs off to infinity on the way.
    pub fn check_defined(&self, low: f64, high: f64) -> Result<(), CurveError> {
        let kind = self.kind;
        let (first, last) = kind
            .model()
            .extent(&self.parameters)
            .map(|(first, last)| (self.axis.count(first), self.axis.count(last)))
            .ok_or(CurveError::NotOfItsShape { kind })?;
        let ends = |end: f64| CurveError::EndsInside {
            kind,
            end,
            low,
            high,
        };
        if low <= first {
            return Err(ends(first));
        }
        if high >= last {
            return Err(ends(last));
        }
        Ok(())
    }

    /// The count between `low` and `high` at which the curve gives `theta`: in
    /// closed form where the model has one, by search where it has not.
    ///
    /// # Errors
    /// [`CurveError::NotMonotone`] if the curve turns inside the range,
    /// [`CurveError::NotReached`] if `theta` is not between its end values, and
    /// those of [`check_defined`](Self::check_defined).
    pub fn count_at(&self, theta: f64, low: f64, high: f64) -> Result<f64, CurveError> {
        self.check_defined(low, high)?;
        if let Some(turning) = self.turning_point_within(low, high) {
            return Err(CurveError::NotMonotone {
                kind: self.kind,
                turning,
                low,
                high,
            });
        }
        let (at_low, at_high) = (self.value(low), self.value(high));
        if theta == at_low {
            return Ok(low);
        }
        if theta == at_high {
            return Ok(high);
        }
        let between = (at_low < theta && theta < at_high) || (at_high < theta && theta < at_low);
        between
            .then(|| {
                self.closed_form(theta, low, high)
                    .or_else(|| self.search(theta, low, high))
            })
            .flatten()
            .ok_or(CurveError::NotReached {
                theta,
                low: at_low.min(at_high),
                high: at_low.max(at_high),
            })
    }

    /// The model's own inverse, unless rounding has spoilt it.
    fn closed_form(&self, theta: f64, low: f64, high: f64) -> Option<f64> {
        let within = (self.axis.z(low), self.axis.z(high));
        let z = self.kind.model().inverse(theta, &self.parameters, within)?;
        let count = self.axis.count(z).max(low).min(high);
        let range = (self.value(high) - self.value(low)).abs();
        ((self.value(count) - theta).abs() <= CLOSE * range).then_some(count)
    }

    /// Brent (1973), Algorithms for Minimization without Derivatives, ch. 4, as
    /// argmin carries it. `theta` must lie between the values at `low` and
    /// `high`.
    fn search(&self, theta: f64, low: f64, high: f64) -> Option<f64> {
        Executor::new(
            Crossing { curve: self, theta },
            BrentRoot::new(low, high, 1e-11 * (high - low)),
        )
        .configure(|state| state.max_iters(200))
        .run()
        .ok()?
        .state
        .best_param
    }
}

struct Crossing<'a> {
    curve: &'a Curve,
    theta: f64,
}

impl CostFunction for Crossing<'_> {
    type Param = f64;
    type Output = f64;
    fn cost(&self, count: &f64) -> Result<f64, argmin::core::Error> {
        Ok(self.curve.value(*count) - self.theta)
    }
}
