//! The covariance of the parameters, taken apart by source.
//!
//! With rows `G_i / sqrt(S_i)` the error of the parameters is, to first order,
//! `C sum_i G_i e_i / S_i`, where `e_i` is the error of point i, its variance
//! `S_i` and `C = (sum_i G_i G_i' / S_i)^-1`. The part `u_si^2` of `S_i` that
//! source s accounts for therefore gives the covariance
//!
//! `C_s = C (sum_i G_i G_i' u_si^2 / S_i^2) C`,
//!
//! and since the parts of every `S_i` add up to it, `sum_s C_s = C`.

use super::columns::LEAST_U_THETA;
use super::observation::Observation;
use super::scatter::Scattered;
use crate::uncertainty::Source;
use nalgebra::DMatrix;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The part of the parameters' covariance that one source gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CovariancePart {
    /// The source.
    pub source: Source,
    /// Its covariance, in the order and units of the whole.
    pub covariance: Vec<Vec<f64>>,
}

/// The variance one source gives each point, m3/m3 squared.
type Variances = Vec<f64>;

/// Takes the covariance of a fit, before any factor of its loss, apart; nothing
/// where there is none.
pub(super) fn covariance_parts(
    scattered: &Scattered,
    observations: &[Observation],
) -> Vec<CovariancePart> {
    let solution = &scattered.solution;
    let Some(covariance) = solution.covariance() else {
        return Vec::new();
    };
    let parameters = covariance.len();
    let whole = DMatrix::from_fn(parameters, parameters, |i, j| covariance[i][j]);
    variances_by_source(scattered, observations)
        .into_iter()
        .filter(|(_, variances)| variances.iter().any(|v| *v > 0.0))
        .map(|(source, variances)| {
            let mut middle = DMatrix::zeros(parameters, parameters);
            let points = solution
                .gradients
                .chunks_exact(parameters)
                .zip(&solution.variances)
                .zip(&variances);
            for ((row, all), part) in points {
                let weight = part / (all * all);
                for (i, a) in row.iter().enumerate() {
                    for (j, b) in row.iter().enumerate() {
                        middle[(i, j)] += weight * a * b;
                    }
                }
            }
            let part = &whole * middle * &whole;
            CovariancePart {
                source,
                covariance: (0..parameters)
                    .map(|i| (0..parameters).map(|j| part[(i, j)]).collect())
                    .collect(),
            }
        })
        .collect()
}

/// What each source gives each point; at every point they add up to its
/// effective variance. A core of less than full weight counts as one that much
/// less certain in everything.
fn variances_by_source(
    scattered: &Scattered,
    observations: &[Observation],
) -> Vec<(Source, Variances)> {
    let (solution, tau) = (&scattered.solution, scattered.tau);
    let mut parts: Vec<(Source, Variances)> = Vec::new();
    let mut give = |source: Source, point: usize, variance: f64| {
        let place = parts
            .iter()
            .position(|(of, _)| *of == source)
            .unwrap_or_else(|| {
                parts.push((source, vec![0.0; solution.variances.len()]));
                parts.len() - 1
            });
        if let Some(value) = parts[place].1.get_mut(point) {
            *value += variance;
        }
    };
    for (i, (observation, all)) in observations.iter().zip(&solution.variances).enumerate() {
        let weight = scattered.weights[i];
        let mut give = |source, variance: f64| give(source, i, variance / weight);
        let stated = observation.theta_v.u.max(LEAST_U_THETA).powi(2);
        let itemised: f64 = observation
            .budget
            .lines
            .iter()
            .map(|line| line.u.powi(2))
            .sum();
        // Lines that claim more than the whole are cut to it in proportion.
        let scale = if itemised > stated {
            stated / itemised
        } else {
            1.0
        };
        for line in &observation.budget.lines {
            give(line.source, scale * line.u.powi(2));
        }
        give(Source::ReferenceValue, stated - scale * itemised);
        give(Source::CoreScatter, tau * tau);
        give(Source::WindowReadings, all * weight - stated - tau * tau);
    }
    let pulls = solution
        .variances
        .iter()
        .enumerate()
        .skip(observations.len());
    for (i, all) in pulls {
        give(Source::Smoothing, i, *all);
    }
    // Differences that rounding leaves are none.
    for (source, variances) in &mut parts {
        if matches!(source, Source::ReferenceValue | Source::WindowReadings) {
            for (value, all) in variances.iter_mut().zip(&solution.variances) {
                if *value < 1e-12 * all {
                    *value = 0.0;
                }
            }
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::CurveKind;
    use crate::fit::{Loss, fit_curve};
    use crate::quantity::{Celsius, Estimate, Quantity, Vwc};
    use crate::uncertainty::Budget;
    use proptest::prelude::*;

    /// Cores along a gentle curve, read warm and cool, off by `departures`.
    fn cores(departures: &[f64], budget: impl Fn(usize) -> Budget) -> Vec<Observation> {
        departures
            .iter()
            .enumerate()
            .map(|(i, departure)| {
                let count = 340.0 + 22.0 * i as f64;
                let celsius = [12.0, 26.0, 19.0][i % 3];
                let theta = 0.12 + 0.28 * (520.0 / count - 1.0) + departure;
                let budget = budget(i);
                Observation {
                    sample: i.to_string(),
                    level: (i / 2).to_string(),
                    count: Estimate::new(
                        count + 0.9 * (celsius - 19.0),
                        0.4 + 0.1 * (i % 4) as f64,
                    ),
                    temperature: Celsius::new(celsius).ok(),
                    theta_v: Estimate::new(Vwc::new(theta).unwrap(), budget.standard()),
                    budget,
                    relative_volume_u: 0.005,
                }
            })
            .collect()
    }

    fn itemised(i: usize) -> Budget {
        let mut budget = Budget::default();
        budget.add_known(Source::Balance, 0.0004 + 0.0001 * (i % 3) as f64);
        if i.is_multiple_of(2) {
            budget.add_known(Source::IncompleteDrying, 0.0008);
        }
        budget
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]

        #[test]
        fn the_parts_of_the_covariance_add_up_to_it(
            departures in prop::collection::vec(-0.01..0.01_f64, 14),
            quiet in any::<bool>(),
            warm in any::<bool>(),
        ) {
            let size = if quiet { 0.05 } else { 1.0 };
            let departures: Vec<f64> = departures.iter().map(|d| size * d).collect();
            let reference = warm.then(|| Celsius::new(19.0).unwrap());
            let fit = fit_curve(&cores(&departures, itemised), CurveKind::Hyperbolic, reference, Loss::Squares);
            let fit = fit.unwrap();
            let sources: Vec<Source> = fit.covariance_parts.iter().map(|p| p.source).collect();
            prop_assert_eq!(sources.contains(&Source::CoreScatter), fit.core_scatter > 0.0);
            prop_assert!(sources.contains(&Source::Balance));
            prop_assert!(sources.contains(&Source::IncompleteDrying));
            prop_assert!(sources.contains(&Source::WindowReadings));
            prop_assert!(!sources.contains(&Source::ReferenceValue), "{:?}", sources);
            for (i, row) in fit.covariance.iter().enumerate() {
                for (j, whole) in row.iter().enumerate() {
                    let sum: f64 = fit.covariance_parts.iter().map(|p| p.covariance[i][j]).sum();
                    let scale = (fit.covariance[i][i] * fit.covariance[j][j]).sqrt();
                    prop_assert!((sum - whole).abs() < 1e-9 * scale, "{} {}", sum, whole);
                }
            }
        }
    }

    #[test]
    fn a_part_is_what_errors_of_that_size_do_to_the_parameters() {
        // Cores closer to the curve than weighing explains need no scatter, so a
        // refit after a small error of one core shows what that error does.
        let kind = CurveKind::StraightLine;
        let line = |shifted: Option<usize>| {
            let mut cores = cores(&[0.0; 14], itemised);
            for (i, core) in cores.iter_mut().enumerate() {
                let error = if shifted == Some(i) { 1e-5 } else { 0.0 };
                let theta = 0.2 - 0.0005 * (core.count.value - 480.0) + error;
                core.theta_v.value = Vwc::new(theta).unwrap();
            }
            (fit_curve(&cores, kind, None, Loss::Squares).unwrap(), cores)
        };
        let (fit, cores) = line(None);
        assert_eq!(fit.core_scatter, 0.0);
        for source in [Source::Balance, Source::IncompleteDrying] {
            let part = fit.covariance_parts.iter().find(|p| p.source == source);
            let part = &part.unwrap().covariance;
            let mut by_refits = [[0.0; 2]; 2];
            for (i, core) in cores.iter().enumerate() {
                let u = core.budget.only(|s| s == source).standard();
                let moved = line(Some(i)).0.curve.parameters;
                let by: Vec<f64> = moved
                    .iter()
                    .zip(&fit.curve.parameters)
                    .map(|(a, b)| u * (a - b) / 1e-5)
                    .collect();
                for (j, row) in by_refits.iter_mut().enumerate() {
                    for (k, sum) in row.iter_mut().enumerate() {
                        *sum += by[j] * by[k];
                    }
                }
            }
            for (j, row) in by_refits.iter().enumerate() {
                for (k, sum) in row.iter().enumerate() {
                    let scale = (part[j][j] * part[k][k]).sqrt();
                    assert!((sum - part[j][k]).abs() < 1e-3 * scale, "{source}: {sum}");
                }
            }
        }
    }

    #[test]
    fn what_is_not_itemised_stays_with_the_reference_value() {
        let departures: Vec<f64> = (0..14).map(|i| 0.004 * f64::from(i % 3 - 1)).collect();
        let mut cores = cores(&departures, itemised);
        let of = |cores: &[Observation], source| {
            let fit = fit_curve(cores, CurveKind::Hyperbolic, None, Loss::Squares).unwrap();
            let mut parts = fit.covariance_parts.into_iter();
            let part = parts.find(|part| part.source == source);
            part.map_or(0.0, |part| part.covariance[0][0])
        };
        let balance = of(&cores, Source::Balance) + of(&cores, Source::IncompleteDrying);
        for core in &mut cores {
            core.budget = Budget::default();
        }
        let stated = of(&cores, Source::ReferenceValue);
        assert!(balance > 0.0 && (stated / balance - 1.0).abs() < 1e-9);
        assert_eq!(of(&cores, Source::Balance), 0.0);
    }

    #[test]
    fn lines_that_claim_more_than_the_whole_are_cut_to_it() {
        let departures: Vec<f64> = (0..14).map(|i| 0.004 * f64::from(i % 3 - 1)).collect();
        let mut cores = cores(&departures, itemised);
        for core in &mut cores {
            core.theta_v.u *= 0.5;
        }
        let fit = fit_curve(&cores, CurveKind::Hyperbolic, None, Loss::Squares).unwrap();
        let sum: f64 = fit
            .covariance_parts
            .iter()
            .map(|p| p.covariance[0][0])
            .sum();
        assert!((sum / fit.covariance[0][0] - 1.0).abs() < 1e-9);
    }
}
