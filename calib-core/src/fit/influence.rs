//! How much of a fit hangs on one core.

use super::model_fit::ModelFit;
use super::residual::{ALL_BUT_ONE, Residual};
use schemars::JsonSchema;
use serde::Serialize;

/// Cook's distance above which one core decides the fit: 1 (common practice).
pub const DECISIVE_DISTANCE: f64 = 1.0;

/// Cook's distance worth a second look, times the number of cores: 4, so that
/// the limit is 4/n (common practice). A sound fit has a core or two above it.
pub const NOTABLE_DISTANCE: f64 = 4.0;

/// Leverage above which the curve beside a core follows that core more than all
/// others together: one half.
pub const DECISIVE_LEVERAGE: f64 = 0.5;

/// What one core has to say in the fit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Influence {
    /// The core.
    pub sample: String,
    /// Diagonal of the hat matrix, 0 to 1; all cores' add up to the number of
    /// parameters.
    pub leverage: f64,
    /// Cook's distance; `None` for a core the curve cannot miss.
    pub cooks_distance: Option<f64>,
}

/// Leverage and Cook's distance of every core, in the order of the fit.
pub fn influence(fit: &ModelFit) -> Vec<Influence> {
    let parameters = fit.covariance.len();
    fit.residuals
        .iter()
        .map(|core| Influence {
            sample: core.sample.clone(),
            leverage: core.leverage,
            cooks_distance: cooks_distance(core, parameters),
        })
        .collect()
}

/// Twice the mean leverage, above which it is called high (common practice).
pub fn usual_leverage(parameters: usize, cores: usize) -> f64 {
    2.0 * parameters as f64 / cores.max(1) as f64
}

/// How far the parameters move when a core is left out, in units of their own
/// covariance: `D = t^2 h / (p (1 - h))` with `t` the standardised residual, `h`
/// the leverage and `p` the number of parameters (Cook 1977, Technometrics 19:15;
/// recalled from memory).
///
/// Residuals and leverages are those of the effective variances of the fit, in
/// which the uncertainty of counts and the scatter of cores are contained, so no
/// further mean square is divided by. Exact for a straight line with exact
/// counts, the variances held; to first order otherwise.
fn cooks_distance(core: &Residual, parameters: usize) -> Option<f64> {
    (core.leverage < ALL_BUT_ONE && parameters > 0).then(|| {
        core.standardised.powi(2) / parameters as f64 * core.leverage / (1.0 - core.leverage)
    })
}

/// What becomes of one point of the curve when a core is left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
pub enum Without {
    /// It moves.
    Moved {
        /// By how many counts the same theta_v lies elsewhere.
        counts: f64,
        /// By how much theta_v at the same count differs, m3/m3.
        theta_v: f64,
    },
    /// The curve without the core does not reach its theta_v within the
    /// calibrated counts.
    NotReached {
        /// By how much theta_v at the same count differs, m3/m3.
        theta_v: f64,
    },
    /// The other cores fix no curve of this kind.
    NoCurve,
}

/// What the curve says at `count` (at the reference temperature) when each core
/// in turn is left out, in the order of the fit. `None` where no core can be left
/// out, for they are too few, or `count` lies outside the calibrated ones.
///
/// The kind of curve, its temperature reference and the scatter of cores are held.
pub fn without_each(fit: &ModelFit, count: f64) -> Option<Vec<Without>> {
    if !fit.domain.contains(count) || fit.residuals.iter().all(|r| r.curve_without.is_none()) {
        return None;
    }
    let theta = fit.curve.value(count);
    let outcomes = fit.residuals.iter().map(|core| {
        let Some(curve) = &core.curve_without else {
            return Without::NoCurve;
        };
        let theta_v = curve.value(count) - theta;
        if !theta_v.is_finite() {
            return Without::NoCurve;
        }
        match curve.count_at(theta, fit.domain.low, fit.domain.high) {
            Ok(found) => Without::Moved {
                counts: found - count,
                theta_v,
            },
            Err(_) => Without::NotReached { theta_v },
        }
    });
    Some(outcomes.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::CurveKind;
    use crate::fit::{Loss, Observation, fit_curve};
    use crate::quantity::{Estimate, Quantity, Vwc};
    use crate::uncertainty::Budget;

    /// Cores of unequal uncertainty beside a falling line, counts exact.
    fn cores() -> Vec<Observation> {
        [
            (310.0, 0.402, 0.004),
            (360.0, 0.351, 0.006),
            (400.0, 0.330, 0.003),
            (480.0, 0.247, 0.005),
            (520.0, 0.232, 0.009),
            (600.0, 0.161, 0.004),
            (640.0, 0.139, 0.007),
        ]
        .iter()
        .enumerate()
        .map(|(i, (count, theta, u))| Observation {
            sample: format!("c{i}"),
            level: i.to_string(),
            count: Estimate::new(*count, 0.0),
            temperature: None,
            theta_v: Estimate::new(Vwc::new(*theta).unwrap(), *u),
            relative_volume_u: 0.0,
            budget: Budget::default(),
        })
        .collect()
    }

    /// Weighted least squares by the normal equations, written out: parameters
    /// and the matrix they are found with.
    fn line(z: &[f64], y: &[f64], w: &[f64]) -> ([f64; 2], [[f64; 2]; 2]) {
        let sum = |f: &dyn Fn(usize) -> f64| (0..z.len()).map(|i| w[i] * f(i)).sum::<f64>();
        let (s0, s1, s2) = (sum(&|_| 1.0), sum(&|i| z[i]), sum(&|i| z[i] * z[i]));
        let (t0, t1) = (sum(&|i| y[i]), sum(&|i| z[i] * y[i]));
        let determinant = s0 * s2 - s1 * s1;
        let parameters = [
            (s2 * t0 - s1 * t1) / determinant,
            (s0 * t1 - s1 * t0) / determinant,
        ];
        (parameters, [[s0, s1], [s1, s2]])
    }

    #[test]
    fn cooks_distance_is_that_of_a_direct_refit_without_the_core() {
        let cores = cores();
        let fit = fit_curve(&cores, CurveKind::StraightLine, None, Loss::Squares).unwrap();
        let z: Vec<f64> = cores
            .iter()
            .map(|o| fit.curve.axis.z(o.count.value))
            .collect();
        let y: Vec<f64> = cores.iter().map(|o| o.theta_v.value.value()).collect();
        let w: Vec<f64> = cores
            .iter()
            .map(|o| 1.0 / (o.theta_v.u.powi(2) + fit.core_scatter.powi(2)))
            .collect();
        let (all, information) = line(&z, &y, &w);
        assert!(fit.core_scatter > 0.0, "the scatter is part of the test");
        for (i, found) in influence(&fit).iter().enumerate() {
            let mut without = w.clone();
            without[i] = 0.0;
            let (parameters, _) = line(&z, &y, &without);
            let moved = [parameters[0] - all[0], parameters[1] - all[1]];
            let mut expected = 0.0;
            for (row, m) in information.iter().zip(moved) {
                expected += m * (row[0] * moved[0] + row[1] * moved[1]);
            }
            let distance = found.cooks_distance.unwrap();
            assert!(
                (distance / (expected / 2.0) - 1.0).abs() < 1e-6,
                "{i}: {distance} {expected}"
            );
            // And the curve kept from the fit is that refit.
            let kept = fit.residuals[i].curve_without.as_ref().unwrap();
            assert!((kept.parameters[0] - parameters[0]).abs() < 1e-9);
            assert!((kept.parameters[1] - parameters[1]).abs() < 1e-9);
        }
    }

    #[test]
    fn leverages_share_out_the_parameters() {
        let fit = fit_curve(&cores(), CurveKind::Quadratic, None, Loss::Squares).unwrap();
        let sum: f64 = influence(&fit).iter().map(|i| i.leverage).sum();
        assert!((sum - 3.0).abs() < 1e-9);
        assert!((usual_leverage(3, 7) - 6.0 / 7.0).abs() < 1e-12);
    }

    #[test]
    fn a_point_moves_as_the_two_lines_differ() {
        let fit = fit_curve(&cores(), CurveKind::StraightLine, None, Loss::Squares).unwrap();
        let count = 450.0;
        let theta = fit.curve.value(count);
        for (core, outcome) in fit.residuals.iter().zip(without_each(&fit, count).unwrap()) {
            let other = core.curve_without.as_ref().unwrap();
            let Without::Moved { counts, theta_v } = outcome else {
                panic!("{outcome:?}");
            };
            assert!((other.value(count + counts) - theta).abs() < 1e-9);
            // On a line, along the curve is down the slope.
            assert!((theta_v + other.slope(count) * counts).abs() < 1e-9);
        }
        assert_eq!(without_each(&fit, 300.0), None);
    }

    #[test]
    fn a_core_that_alone_holds_the_curve_is_told_apart() {
        let mut cores = cores();
        // All wet but one: without it there is one count only.
        for core in cores.iter_mut().take(6) {
            core.count.value = 330.0;
            core.theta_v.value = Vwc::new(0.38).unwrap();
        }
        cores[0].theta_v.value = Vwc::new(0.387).unwrap();
        let fit = fit_curve(&cores, CurveKind::StraightLine, None, Loss::Squares).unwrap();
        let outcomes = without_each(&fit, 400.0).unwrap();
        assert_eq!(outcomes[6], Without::NoCurve);
        assert!(matches!(outcomes[0], Without::Moved { .. }));
        assert_eq!(influence(&fit)[6].cooks_distance, None);
        assert!(influence(&fit)[6].leverage > DECISIVE_LEVERAGE);
    }

    #[test]
    fn too_few_cores_to_leave_one_out_say_nothing() {
        let fit = fit_curve(&cores()[..3], CurveKind::StraightLine, None, Loss::Squares).unwrap();
        assert_eq!(without_each(&fit, 350.0), None);
    }
}
