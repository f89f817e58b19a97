//! How far each core lies from the curve, in every unit that tells something.

use super::loss::Loss;
use super::observation::Observation;
use super::scatter::Scattered;
use crate::curve::Curve;
use crate::quantity::Quantity;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Leverage from which a core alone fixes something of the curve: the other cores
/// leave it open, whatever a search among them ends at.
pub(super) const ALL_BUT_ONE: f64 = 1.0 - 1e-9;

/// How far one core lies from the curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Residual {
    /// The core.
    pub sample: String,
    /// Its moisture level.
    pub level: String,
    /// Its count, at the reference temperature where there is a term.
    pub count: f64,
    /// Its oven-dry theta_v, m3/m3.
    pub theta_v: f64,
    /// What the curve gives at its count, m3/m3.
    pub fitted: f64,
    /// `theta_v - fitted`, m3/m3.
    pub residual: f64,
    /// The residual in units of its own standard deviation, which allows for
    /// the pull the core has on the curve.
    pub standardised: f64,
    /// The same in units of the standard deviation that the other cores show, where
    /// their scatter is estimated: a core far out would else hide in the scatter
    /// that it makes (Cook and Weisberg 1982, Residuals and Influence in Regression,
    /// section 2.2; recalled from memory).
    pub studentised: f64,
    /// Probability that the farthest of so many cores would lie as far out as this,
    /// did all belong to the curve; Bonferroni's bound, at most 1.
    pub chance: f64,
    /// Diagonal of the hat matrix: the core's pull on the curve, 0 to 1.
    pub leverage: f64,
    /// The share of its pull that a robust loss leaves the core, above 0 to 1.
    pub weight: f64,
    /// `theta_v` less what the curve fitted without this core gives, m3/m3.
    pub left_out_error: Option<f64>,
    /// The curve fitted without this core, on the axis of the whole fit; `None`
    /// where the other cores fix none, or are too few to try.
    #[serde(skip)]
    pub curve_without: Option<Curve>,
}

pub(super) fn residuals(
    observations: &[Observation],
    at_reference: &[f64],
    curve: &Curve,
    scattered: &Scattered,
) -> Vec<Residual> {
    let leverages = scattered.solution.leverages();
    observations
        .iter()
        .zip(at_reference)
        .zip(scattered.standardised())
        .enumerate()
        .map(|(i, ((o, count), standardised))| {
            let theta_v = o.theta_v.value.value();
            let fitted = curve.value(*count);
            let leverage = leverages[i].clamp(0.0, 1.0);
            let standardised = if leverage < 1.0 {
                standardised / (1.0 - leverage).sqrt()
            } else {
                0.0
            };
            let (studentised, chance) = studentised(standardised, scattered);
            Residual {
                sample: o.sample.clone(),
                level: o.level.clone(),
                count: *count,
                theta_v,
                fitted,
                residual: theta_v - fitted,
                standardised,
                studentised,
                chance,
                leverage,
                weight: scattered.weights[i],
                left_out_error: None,
                curve_without: None,
            }
        })
        .collect()
}

/// Most standard deviations told of a core: beyond, the others lie on the curve.
const FARTHEST: f64 = 1e3;

/// A standardised residual in units of what the other cores scatter, and how likely
/// the farthest of as many cores is to lie so far out by chance.
fn studentised(standardised: f64, scattered: &Scattered) -> (f64, f64) {
    let (t, freedom) = (standardised, scattered.freedom);
    let cores = scattered.weights.len() as f64;
    let estimated = scattered.tau > 0.0 && scattered.loss == Loss::Squares;
    if !estimated {
        let beyond = 2.0 * Normal::standard().sf(t.abs());
        return (t, (cores * beyond).min(1.0));
    }
    let Ok(student) = StudentsT::new(0.0, 1.0, freedom - 1.0) else {
        return (t, 1.0);
    };
    let rest = freedom - t * t;
    let without = if rest > 0.0 {
        (t * ((freedom - 1.0) / rest).sqrt()).clamp(-FARTHEST, FARTHEST)
    } else {
        FARTHEST.copysign(t)
    };
    (without, (cores * 2.0 * student.sf(without.abs())).min(1.0))
}
