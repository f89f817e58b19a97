//! The curve family: volumetric water content as a function of the raw count.
//!
//! One file a model. Every model works on the dimensionless count
//! `z = (count - origin) / unit` of its [`Axis`], so that its parameters are of
//! order one, nearly uncorrelated, and readable: `a` is always theta_v at the
//! origin. Adding a model means one new file with a [`CurveModel`] and one line
//! in [`CurveKind::ALL`] and [`CurveKind::model`].

mod axis;
mod cubic;
mod exponential;
mod hyperbolic;
mod quadratic;
mod start;
mod straight_line;

pub use axis::Axis;
pub use start::StartPoint;

use argmin::core::{CostFunction, Executor};
use argmin::solver::brent::BrentRoot;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Most parameters any curve of the family has.
pub const MAX_CURVE_PARAMETERS: usize = 4;

/// Why a curve could not be started or inverted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// The points do not fix the curve's parameters.
    #[error(
        "{given} points at {distinct} distinct counts cannot fix the {needed} parameters of the {kind}"
    )]
    NotDetermined {
        /// The curve.
        kind: CurveKind,
        /// Points given.
        given: usize,
        /// Distinct counts among them.
        distinct: usize,
        /// Parameters to fix.
        needed: usize,
    },
    /// A count is not a number, or the curve has no value at it: the hyperbolic
    /// curve has none at 0.
    #[error("the {kind} has no value at one of the counts")]
    NoValue {
        /// The curve.
        kind: CurveKind,
    },
    /// The water content asked for is not reached inside the count range.
    #[error("theta_v {theta:.4} m3/m3 lies outside the curve's range {low:.4} to {high:.4} m3/m3")]
    NotReached {
        /// The water content asked for.
        theta: f64,
        /// Lowest water content the curve reaches between the counts given.
        low: f64,
        /// Highest water content the curve reaches between the counts given.
        high: f64,
    },
    /// The curve rises and falls between the two counts, so it has no inverse.
    #[error("the {kind} turns at {turning:.1} counts, inside {low:.1} to {high:.1}")]
    NotMonotone {
        /// The curve.
        kind: CurveKind,
        /// Count at which the curve turns.
        turning: f64,
        /// Lower end of the range asked for.
        low: f64,
        /// Upper end of the range asked for.
        high: f64,
    },
}

/// The models on offer, simplest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CurveKind {
    /// `a + b z`
    StraightLine,
    /// `a + b (origin/count - 1)`
    Hyperbolic,
    /// `a + b z + c z^2`
    Quadratic,
    /// `a + b (exp(k z) - 1)/k`
    Exponential,
    /// `a + b z + c z^2 + d z^3`
    Cubic,
}

impl CurveKind {
    /// Every model, simplest first.
    pub const ALL: [CurveKind; 5] = [
        CurveKind::StraightLine,
        CurveKind::Hyperbolic,
        CurveKind::Quadratic,
        CurveKind::Exponential,
        CurveKind::Cubic,
    ];

    /// The model's mathematics.
    pub fn model(self) -> &'static dyn CurveModel {
        match self {
            CurveKind::StraightLine => &straight_line::StraightLine,
            CurveKind::Hyperbolic => &hyperbolic::Hyperbolic,
            CurveKind::Quadratic => &quadratic::Quadratic,
            CurveKind::Exponential => &exponential::Exponential,
            CurveKind::Cubic => &cubic::Cubic,
        }
    }

    /// The name as files and the command line write it, e.g. `straight-line`.
    pub fn key(self) -> &'static str {
        match self {
            CurveKind::StraightLine => "straight-line",
            CurveKind::Hyperbolic => "hyperbolic",
            CurveKind::Quadratic => "quadratic",
            CurveKind::Exponential => "exponential",
            CurveKind::Cubic => "cubic",
        }
    }

    /// Number of curve parameters.
    pub fn parameters(self) -> usize {
        self.model().parameter_names().len()
    }
}

impl fmt::Display for CurveKind {
    /// The name in prose, e.g. `straight line`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            CurveKind::StraightLine => "straight line",
            CurveKind::Hyperbolic => "hyperbolic curve",
            CurveKind::Quadratic => "quadratic",
            CurveKind::Exponential => "exponential with offset",
            CurveKind::Cubic => "cubic",
        })
    }
}

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

    /// theta_v in m3/m3 at `z`.
    fn value(&self, z: f64, p: &[f64]) -> f64;

    /// d theta_v / d z at `z`.
    fn slope(&self, z: f64, p: &[f64]) -> f64;

    /// d theta_v / d p at `z`, written to `out` (length: parameters).
    fn gradient(&self, z: f64, p: &[f64], out: &mut [f64]);

    /// The `z` at which the curve turns from rising to falling or back;
    /// at most two, ascending, `None` where there is none.
    fn turning_points(&self, p: &[f64]) -> [Option<f64>; 2];

    /// Start values from points in `z`.
    ///
    /// # Errors
    /// [`CurveError::NotDetermined`] if the points do not fix the parameters.
    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError>;
}

/// A model with numbers in it: theta_v (m3/m3) at any count.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Curve {
    /// Which model.
    pub kind: CurveKind,
    /// How counts become `z`.
    pub axis: Axis,
    /// The parameters, in the model's order.
    pub parameters: Vec<f64>,
}

impl Curve {
    /// theta_v in m3/m3 at `count`.
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

    /// The count between `low` and `high` at which the curve gives `theta`.
    ///
    /// # Errors
    /// [`CurveError::NotMonotone`] if the curve turns inside the range,
    /// [`CurveError::NotReached`] if `theta` is not between its end values.
    pub fn count_at(&self, theta: f64, low: f64, high: f64) -> Result<f64, CurveError> {
        if let Some(turning) = self.turning_point_within(low, high) {
            return Err(CurveError::NotMonotone {
                kind: self.kind,
                turning,
                low,
                high,
            });
        }
        let (at_low, at_high) = (self.value(low), self.value(high));
        let not_reached = CurveError::NotReached {
            theta,
            low: at_low.min(at_high),
            high: at_low.max(at_high),
        };
        if theta == at_low {
            return Ok(low);
        }
        if theta == at_high {
            return Ok(high);
        }
        if !((at_low < theta && theta < at_high) || (at_high < theta && theta < at_low)) {
            return Err(not_reached);
        }
        // Brent (1973), Algorithms for Minimization without Derivatives, ch. 4,
        // as argmin carries it; the bracket was checked above.
        let search = Executor::new(
            Crossing { curve: self, theta },
            BrentRoot::new(low, high, 1e-11 * (high - low)),
        )
        .configure(|state| state.max_iters(200))
        .run();
        match search {
            Ok(found) => found.state.best_param.ok_or(not_reached),
            Err(_) => Err(not_reached),
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn example(kind: CurveKind) -> Vec<f64> {
        match kind {
            CurveKind::StraightLine => vec![0.25, -0.12],
            CurveKind::Hyperbolic => vec![0.25, 0.3],
            CurveKind::Quadratic => vec![0.25, -0.12, 0.03],
            CurveKind::Exponential => vec![0.25, -0.12, -0.6],
            CurveKind::Cubic => vec![0.25, -0.12, 0.03, -0.02],
        }
    }

    fn example_curve(kind: CurveKind) -> Curve {
        Curve {
            kind,
            axis: kind.model().axis(300.0, 700.0),
            parameters: example(kind),
        }
    }

    #[test]
    fn gradients_agree_with_central_differences() {
        for kind in CurveKind::ALL {
            let model = kind.model();
            let p = example(kind);
            for z in [-0.9, -0.4, 0.0, 0.3, 0.8] {
                let mut g = vec![0.0; p.len()];
                model.gradient(z, &p, &mut g);
                for j in 0..p.len() {
                    let h = 1e-6;
                    let (mut up, mut down) = (p.clone(), p.clone());
                    up[j] += h;
                    down[j] -= h;
                    let difference = (model.value(z, &up) - model.value(z, &down)) / (2.0 * h);
                    assert!(
                        (g[j] - difference).abs() < 1e-8,
                        "{kind} p{j} at z {z}: {} vs {difference}",
                        g[j]
                    );
                }
            }
        }
    }

    #[test]
    fn slopes_agree_with_central_differences() {
        for kind in CurveKind::ALL {
            let curve = example_curve(kind);
            for count in [310.0, 420.0, 500.0, 650.0] {
                let h = 1e-3;
                let difference = (curve.value(count + h) - curve.value(count - h)) / (2.0 * h);
                assert!(
                    (curve.slope(count) - difference).abs() < 1e-9,
                    "{kind} at {count}"
                );
            }
        }
    }

    #[test]
    fn a_count_found_for_a_water_content_gives_that_water_content_back() {
        for kind in CurveKind::ALL {
            let curve = example_curve(kind);
            for count in [301.0, 355.5, 500.0, 699.0] {
                let back = curve.count_at(curve.value(count), 300.0, 700.0).unwrap();
                assert!((back - count).abs() < 1e-6, "{kind}: {back} vs {count}");
            }
        }
    }

    #[test]
    fn a_water_content_beyond_the_curve_is_refused_with_its_range() {
        let curve = example_curve(CurveKind::StraightLine);
        let error = curve.count_at(0.5, 300.0, 700.0).unwrap_err();
        assert_eq!(
            error.to_string(),
            "theta_v 0.5000 m3/m3 lies outside the curve's range 0.1300 to 0.3700 m3/m3"
        );
    }

    #[test]
    fn a_curve_that_turns_inside_the_range_has_no_inverse() {
        let curve = Curve {
            kind: CurveKind::Quadratic,
            axis: Axis::centred(300.0, 700.0),
            parameters: vec![0.2, 0.01, 0.1],
        };
        let turning = curve.turning_point_within(300.0, 700.0).unwrap();
        assert!(curve.slope(turning).abs() < 1e-12);
        assert!(matches!(
            curve.count_at(0.21, 300.0, 700.0),
            Err(CurveError::NotMonotone { .. })
        ));
    }

    #[test]
    fn start_values_reproduce_noise_free_curves() {
        for kind in CurveKind::ALL {
            let model = kind.model();
            let p = example(kind);
            let points: Vec<StartPoint> = (0..9)
                .map(|i| {
                    let z = -1.0 + 0.25 * f64::from(i);
                    let z = if kind == CurveKind::Hyperbolic {
                        z * 0.4
                    } else {
                        z
                    };
                    StartPoint {
                        z,
                        theta: model.value(z, &p),
                    }
                })
                .collect();
            let start = model.start(&points).unwrap();
            for (found, expected) in start.iter().zip(&p) {
                assert!(
                    (found - expected).abs() < 1e-3,
                    "{kind}: {start:?} vs {p:?}"
                );
            }
        }
    }

    #[test]
    fn a_count_without_a_value_is_refused_not_a_panic() {
        for (hole, others) in [(f64::NAN, true), (f64::INFINITY, true), (-1.0, false)] {
            let points: Vec<StartPoint> = [hole, -0.5, -0.1, 0.2, 0.6, 1.0]
                .into_iter()
                .map(|z| StartPoint { z, theta: 0.2 })
                .collect();
            for kind in CurveKind::ALL {
                let start = kind.model().start(&points);
                if others || kind == CurveKind::Hyperbolic {
                    assert_eq!(start, Err(CurveError::NoValue { kind }));
                } else {
                    assert!(start.is_ok());
                }
            }
        }
    }

    #[test]
    fn identical_counts_fix_no_curve() {
        let points = vec![
            StartPoint { z: 0.2, theta: 0.1 },
            StartPoint { z: 0.2, theta: 0.3 },
        ];
        for kind in CurveKind::ALL {
            assert!(matches!(
                kind.model().start(&points),
                Err(CurveError::NotDetermined { .. })
            ));
        }
    }
}
