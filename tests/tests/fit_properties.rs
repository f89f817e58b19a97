//! What must hold of every fit, whatever the cores: how it answers to a change
//! of scale, origin, order or number of its data, and where it must agree with
//! formulas that need no search.

use calib_core::curve::CurveKind;
use calib_core::fit::{FitError, Loss, ModelFit, Observation, fit_curve};
use calib_core::quantity::{Celsius, Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use ovendry_tests::simulation::{Truth, World, truth_of};
use proptest::prelude::*;

/// One core before it becomes an observation.
#[derive(Debug, Clone, Copy)]
struct Core {
    count: f64,
    u_count: f64,
    theta: f64,
    u_theta: f64,
    temperature: f64,
}

/// Cores about the truth of `kind`, between 320 and 680 counts, six or more at
/// as many levels. `reach` is how far errors go, in standard uncertainties.
fn cores(kind: CurveKind, reach: f64) -> impl Strategy<Value = Vec<Core>> {
    let core = (
        -1.0..1.0_f64,
        -1.0..1.0_f64,
        0.3..3.0_f64,
        5e-4..4e-3_f64,
        8.0..28.0_f64,
    );
    prop::collection::vec(core, 6..18).prop_map(move |drawn| {
        let last = drawn.len() as f64 - 1.0;
        drawn
            .iter()
            .enumerate()
            .map(|(i, (along, across, u_count, u_theta, temperature))| {
                let count = 320.0 + 360.0 * i as f64 / last;
                Core {
                    count: count + reach * u_count * along,
                    u_count: *u_count,
                    theta: truth_of(kind)(count) + reach * u_theta * across,
                    u_theta: *u_theta,
                    temperature: *temperature,
                }
            })
            .collect()
    })
}

/// A curve and cores about its truth.
fn any_curve(reach: f64) -> impl Strategy<Value = (CurveKind, Vec<Core>)> {
    prop::sample::select(CurveKind::USUAL.to_vec())
        .prop_flat_map(move |kind| (Just(kind), cores(kind, reach)))
}

/// A curve linear in its parameters and cores about its truth.
fn any_polynomial(reach: f64) -> impl Strategy<Value = (CurveKind, Vec<Core>)> {
    let kinds = [
        CurveKind::StraightLine,
        CurveKind::Quadratic,
        CurveKind::Cubic,
    ];
    prop::sample::select(kinds.to_vec()).prop_flat_map(move |kind| (Just(kind), cores(kind, reach)))
}

fn observed(cores: &[Core]) -> Vec<Observation> {
    cores
        .iter()
        .enumerate()
        .map(|(i, core)| Observation {
            sample: format!("core {i}"),
            level: i.to_string(),
            count: Estimate::new(core.count, core.u_count),
            temperature: Celsius::new(core.temperature).ok(),
            theta_v: Estimate::new(Vwc::new(core.theta).expect("a water content"), core.u_theta),
            budget: Budget::default(),
            relative_volume_u: 0.005,
        })
        .collect()
}

fn fit(cores: &[Core], kind: CurveKind, reference: Option<f64>) -> Result<ModelFit, FitError> {
    let reference = reference.and_then(|t| Celsius::new(t).ok());
    fit_curve(&observed(cores), kind, reference, Loss::Squares)
}

fn map(cores: &[Core], change: impl Fn(&mut Core)) -> Vec<Core> {
    let mut cores = cores.to_vec();
    cores.iter_mut().for_each(change);
    cores
}

/// theta_v and its standard uncertainty from the parameters alone, at a count
/// read at `temperature`.
fn foretold(fit: &ModelFit, count: f64, temperature: f64) -> (f64, f64) {
    let n = fit.curve.parameters.len();
    let mut sensitivity = vec![0.0; n];
    let mut at_reference = count;
    let mut warmth = None;
    if let Some(term) = fit.temperature {
        at_reference =
            term.count_at_reference(count, Celsius::new(temperature).expect("a temperature"));
        warmth = Some(temperature - term.reference.value());
    }
    fit.curve.gradient(at_reference, &mut sensitivity);
    if let Some(warmth) = warmth {
        sensitivity.push(-fit.curve.slope(at_reference) * warmth);
    }
    let mut variance = 0.0;
    for (row, a) in fit.covariance.iter().zip(&sensitivity) {
        for (c, b) in row.iter().zip(&sensitivity) {
            variance += a * c * b;
        }
    }
    (fit.curve.value(at_reference), variance.sqrt())
}

const COUNTS: [f64; 4] = [330.0, 441.0, 500.0, 662.0];

#[track_caller]
fn near(what: &str, got: f64, expected: f64, tolerance: f64) -> Result<(), TestCaseError> {
    prop_assert!(
        (got - expected).abs() <= tolerance,
        "{what}: got {got}, expected {expected}"
    );
    Ok(())
}

fn closely(what: &str, got: f64, expected: f64) -> Result<(), TestCaseError> {
    near(what, got, expected, 1e-6 * expected.abs() + 1e-9)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn water_contents_in_another_unit_give_the_same_curve_in_that_unit(
        (kind, cores) in any_curve(2.0),
        scale in 0.4..1.6_f64,
    ) {
        let scaled = map(&cores, |core| {
            core.theta *= scale;
            core.u_theta *= scale;
        });
        let (Ok(here), Ok(there)) = (fit(&cores, kind, None), fit(&scaled, kind, None)) else {
            return Err(TestCaseError::reject("refused"));
        };
        closely("scatter", there.core_scatter, scale * here.core_scatter)?;
        for count in COUNTS {
            let (theta, u) = foretold(&here, count, 20.0);
            let (scaled_theta, scaled_u) = foretold(&there, count, 20.0);
            closely("theta", scaled_theta, scale * theta)?;
            closely("u", scaled_u, scale * u)?;
        }
    }

    #[test]
    fn counts_from_another_zero_give_the_same_curve_there(
        (kind, cores) in any_curve(2.0),
        shift in 0_u32..60_000,
    ) {
        prop_assume!(kind != CurveKind::Hyperbolic);
        let shift = f64::from(shift);
        let shifted = map(&cores, |core| core.count += shift);
        let (Ok(here), Ok(there)) = (fit(&cores, kind, None), fit(&shifted, kind, None)) else {
            return Err(TestCaseError::reject("refused"));
        };
        for count in COUNTS {
            let (theta, u) = foretold(&here, count, 20.0);
            let (shifted_theta, shifted_u) = foretold(&there, count + shift, 20.0);
            closely("theta", shifted_theta, theta)?;
            closely("u", shifted_u, u)?;
        }
    }

    #[test]
    fn a_probe_wired_the_other_way_gives_the_mirrored_curve(
        (kind, cores) in any_curve(2.0),
    ) {
        prop_assume!(kind != CurveKind::Hyperbolic);
        let mirrored = map(&cores, |core| core.count = 1000.0 - core.count);
        let (Ok(here), Ok(there)) = (fit(&cores, kind, None), fit(&mirrored, kind, None)) else {
            return Err(TestCaseError::reject("refused"));
        };
        prop_assert_ne!(here.direction, there.direction);
        for count in COUNTS {
            let (theta, u) = foretold(&here, count, 20.0);
            let (mirrored_theta, mirrored_u) = foretold(&there, 1000.0 - count, 20.0);
            closely("theta", mirrored_theta, theta)?;
            closely("u", mirrored_u, u)?;
        }
    }

    #[test]
    fn the_order_of_the_cores_does_not_matter(
        (kind, cores) in any_curve(2.0),
        turn in 1_usize..17,
    ) {
        let mut turned = cores.clone();
        turned.rotate_left(turn % cores.len());
        turned.swap(0, 1);
        let (Ok(here), Ok(there)) = (fit(&cores, kind, None), fit(&turned, kind, None)) else {
            return Err(TestCaseError::reject("refused"));
        };
        for (a, b) in here.curve.parameters.iter().zip(&there.curve.parameters) {
            closely("parameter", *b, *a)?;
        }
        closely("scatter", there.core_scatter, here.core_scatter)?;
        near("left out", there.left_out_rmse.unwrap(), here.left_out_rmse.unwrap(), 1e-7)?;
        match (here.aicc, there.aicc) {
            (Some(here), Some(there)) => closely("aicc", there, here)?,
            (here, there) => prop_assert_eq!(here, there),
        }
    }

    #[test]
    fn every_core_twice_halves_the_covariance(
        // Errors this small need no scatter to explain them.
        (kind, cores) in any_curve(0.3),
    ) {
        let twice: Vec<Core> = cores.iter().chain(&cores).copied().collect();
        let (Ok(once), Ok(twice)) = (fit(&cores, kind, None), fit(&twice, kind, None)) else {
            return Err(TestCaseError::reject("refused"));
        };
        prop_assert_eq!((once.core_scatter, twice.core_scatter), (0.0, 0.0));
        closely("sum of squares", twice.chi_square, 2.0 * once.chi_square)?;
        for (a, b) in once.curve.parameters.iter().zip(&twice.curve.parameters) {
            closely("parameter", *b, *a)?;
        }
        for (a, b) in once.covariance.iter().flatten().zip(twice.covariance.iter().flatten()) {
            near("covariance", *b, 0.5 * a, 1e-6 * a.abs() + 1e-14)?;
        }
    }

    #[test]
    fn exact_counts_give_the_weighted_line_of_the_textbook(
        cores in cores(CurveKind::StraightLine, 2.0),
    ) {
        let exact = map(&cores, |core| core.u_count = 0.0);
        let found = fit(&exact, CurveKind::StraightLine, None).unwrap();
        let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for core in &exact {
            let weight = 1.0 / (core.u_theta.powi(2) + found.core_scatter.powi(2));
            let x = found.curve.axis.z(core.count);
            w += weight;
            wx += weight * x;
            wy += weight * core.theta;
            wxx += weight * x * x;
            wxy += weight * x * core.theta;
        }
        let determinant = w * wxx - wx * wx;
        closely("a", found.curve.parameters[0], (wxx * wy - wx * wxy) / determinant)?;
        closely("b", found.curve.parameters[1], (w * wxy - wx * wy) / determinant)?;
        let covariance = [
            [wxx / determinant, -wx / determinant],
            [-wx / determinant, w / determinant],
        ];
        for (got, expected) in found.covariance.iter().flatten().zip(covariance.iter().flatten()) {
            near("covariance", *got, *expected, 1e-9 * expected.abs() + 1e-15)?;
        }
    }

    #[test]
    fn counts_all_but_exact_give_the_fit_of_exact_counts(
        (kind, cores) in any_curve(2.0),
    ) {
        let exact = map(&cores, |core| core.u_count = 0.0);
        let nearly = map(&cores, |core| core.u_count = 1e-5);
        let (Ok(exact), Ok(nearly)) = (fit(&exact, kind, None), fit(&nearly, kind, None)) else {
            return Err(TestCaseError::reject("refused"));
        };
        for count in COUNTS {
            let (theta, u) = foretold(&exact, count, 20.0);
            let (nearly_theta, nearly_u) = foretold(&nearly, count, 20.0);
            closely("theta", nearly_theta, theta)?;
            closely("u", nearly_u, u)?;
        }
    }

    #[test]
    fn leaving_a_core_out_agrees_with_the_leverage_formula(
        (kind, cores) in any_polynomial(2.0),
    ) {
        // Exact for curves linear in their parameters with exact counts:
        // e_(i) = e_i / (1 - h_i).
        let exact = map(&cores, |core| core.u_count = 0.0);
        let Ok(found) = fit(&exact, kind, None) else {
            return Err(TestCaseError::reject("refused"));
        };
        let total: f64 = found.residuals.iter().map(|r| r.leverage).sum();
        closely("sum of leverages", total, kind.parameters() as f64)?;
        if exact.len() < kind.parameters() + 2 {
            prop_assert_eq!(found.left_out_rmse, None);
            return Ok(());
        }
        let mut sum = 0.0;
        for residual in &found.residuals {
            let expected = residual.residual / (1.0 - residual.leverage);
            // Fits without a core are not taken to the last digits.
            near("left out", residual.left_out_error.unwrap(), expected, 1e-6 * expected.abs() + 1e-7)?;
            sum += expected * expected;
        }
        near("rmse", found.left_out_rmse.unwrap(), (sum / exact.len() as f64).sqrt(), 1e-7)?;
    }

    #[test]
    fn the_corrected_aic_is_that_of_ordinary_least_squares_where_only_scatter_counts(
        (kind, cores) in any_polynomial(2.0),
    ) {
        let scattered = map(&cores, |core| {
            core.u_count = 0.0;
            core.u_theta = 1e-5;
        });
        let Ok(found) = fit(&scattered, kind, None) else {
            return Err(TestCaseError::reject("refused"));
        };
        let n = scattered.len() as f64;
        let k = kind.parameters() as f64 + 1.0;
        let square: f64 = found.residuals.iter().map(|r| r.residual.powi(2)).sum();
        prop_assume!(square / n > 1e-8);
        match found.aicc {
            None => prop_assert!(n - k - 1.0 <= 0.0),
            Some(aicc) => {
                let expected = n * ((std::f64::consts::TAU * square / n).ln() + 1.0)
                    + 2.0 * k
                    + 2.0 * k * (k + 1.0) / (n - k - 1.0);
                // The stated uncertainty still adds (1e-5)^2 to every variance.
                near("aicc", aicc, expected, 1e-6)?;
            }
        }
    }

    #[test]
    fn the_reference_temperature_does_not_change_what_is_foretold(
        (kind, cores) in any_curve(1.0),
        coefficient in -1.5..1.5_f64,
    ) {
        // The value tests the sign of the term, the uncertainty also the sign and
        // the size of its covariance with the curve.
        prop_assume!(kind != CurveKind::Hyperbolic);
        let warm = map(&cores, |core| core.count += coefficient * (core.temperature - 18.0));
        let (Ok(cool), Ok(hot)) = (fit(&warm, kind, Some(10.0)), fit(&warm, kind, Some(25.0)))
        else {
            return Err(TestCaseError::reject("refused"));
        };
        let (a, b) = (cool.temperature.unwrap(), hot.temperature.unwrap());
        closely("coefficient", b.coefficient, a.coefficient)?;
        let last = cool.covariance.len() - 1;
        closely("its u", hot.covariance[last][last].sqrt(), cool.covariance[last][last].sqrt())?;
        for count in COUNTS {
            for temperature in [9.0, 18.0, 27.0] {
                let (theta, u) = foretold(&cool, count, temperature);
                let (same, same_u) = foretold(&hot, count, temperature);
                near("theta", same, theta, 1e-6 * u)?;
                near("u", same_u, u, 1e-5 * u)?;
            }
        }
    }

    #[test]
    fn a_coarser_degree_gives_a_larger_coefficient_in_proportion(
        (kind, cores) in any_curve(1.0),
        coefficient in -1.5..1.5_f64,
    ) {
        let warm = map(&cores, |core| core.count += coefficient * (core.temperature - 18.0));
        let stretched = map(&warm, |core| core.temperature = 18.0 + 2.0 * (core.temperature - 18.0));
        let (Ok(here), Ok(there)) = (fit(&warm, kind, Some(18.0)), fit(&stretched, kind, Some(18.0)))
        else {
            return Err(TestCaseError::reject("refused"));
        };
        let (a, b) = (here.temperature.unwrap(), there.temperature.unwrap());
        closely("coefficient", 2.0 * b.coefficient, a.coefficient)?;
        for (i, (row, other)) in here.covariance.iter().zip(&there.covariance).enumerate() {
            let last = row.len() - 1;
            for (j, (here, there)) in row.iter().zip(other).enumerate() {
                let scale = [i, j].into_iter().filter(|k| *k == last).fold(1.0, |s, _| 2.0 * s);
                let u = (here.abs() + 1e-12).max(
                    (here * here).max(row[j] * row[j]).sqrt(),
                );
                near("covariance", scale * there, *here, 1e-5 * u)?;
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn more_noise_never_makes_a_reading_less_uncertain(
        kind in prop::sample::select(CurveKind::USUAL.to_vec()),
        seed in 0_u64..1000,
        noise in 0.3..4.0_f64,
        more in 1.0..5.0_f64,
    ) {
        let truth = Truth {
            theta_v: truth_of(kind),
            coefficient: 0.0,
            scatter: 0.006,
            noise: 1.0,
            weighing: 0.002,
            ring: 0.005,
            thermometer: 0.3,
            warm: false,
        };
        let Some((mut calibration, _)) = World::new(truth, seed).calibrate(7, 2, Some(kind)) else {
            return Err(TestCaseError::reject("refused"));
        };
        // Of the standard uncertainty only: by Welch and Satterthwaite's formula more
        // noise also means more degrees of freedom, and a smaller coverage factor.
        let mut at = |noise: f64| {
            calibration.noise.standard_deviation = noise;
            let standard: Vec<f64> = COUNTS
                .iter()
                .filter_map(|count| calibration.predict(*count, None).ok())
                .map(|prediction| prediction.expanded.standard)
                .collect();
            let resolved: Vec<f64> = COUNTS
                .iter()
                .map(|count| calibration.resolvable_change(*count))
                .collect();
            (standard, resolved)
        };
        let (quiet, quiet_resolved) = at(noise);
        let (loud, loud_resolved) = at(noise * more);
        prop_assert!(!quiet.is_empty() && quiet.len() == loud.len());
        for (quiet, loud) in quiet.iter().zip(&loud).chain(quiet_resolved.iter().zip(&loud_resolved)) {
            prop_assert!(loud >= quiet, "{quiet} then {loud}");
        }
    }
}
