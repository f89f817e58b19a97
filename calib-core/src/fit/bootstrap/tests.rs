use super::*;
use crate::curve::CurveKind;
use crate::fit::{fit_curve, quadratic_form};
use crate::quantity::{Celsius, Estimate, Quantity, Vwc};
use crate::uncertainty::Budget;

const COUNTS: [f64; 3] = [310.0, 500.0, 690.0];

fn parametric(replicates: usize) -> Bootstrap {
    Bootstrap {
        resampling: Resampling::Parametric,
        replicates,
        seed: 7,
        coverage_factor: 2.0,
    }
}

fn cases(replicates: usize) -> Bootstrap {
    Bootstrap {
        resampling: Resampling::Cases,
        ..parametric(replicates)
    }
}

/// Cores along `truth`, of which those at the wet end scatter `wet` times as much.
fn bed(truth: fn(f64) -> f64, levels: usize, cores: usize, wet: f64) -> Vec<Observation> {
    let mut rng = ChaCha8Rng::seed_from_u64(40);
    let mut draw = |u: f64| -> f64 {
        let e: f64 = StandardNormal.sample(&mut rng);
        u * e
    };
    let mut observations = Vec::new();
    for level in 0..levels {
        let share = level as f64 / (levels - 1) as f64;
        for core in 0..cores {
            let count = 300.0 + 400.0 * share + draw(6.0);
            let scatter = 0.006 * if share < 0.5 { wet } else { 1.0 };
            observations.push(Observation {
                sample: format!("s{level}-{core}"),
                level: level.to_string(),
                count: Estimate::new(count + draw(0.8), 0.8),
                temperature: Celsius::new(12.0 + f64::from((7 * level + 5 * core) as u32 % 11))
                    .ok(),
                theta_v: Estimate::new(Vwc::new(truth(count) + draw(scatter)).unwrap(), 0.001),
                budget: Budget::default(),
                relative_volume_u: 0.005,
            });
        }
    }
    observations
}

fn line(count: f64) -> f64 {
    0.25 - 0.0005 * (count - 500.0)
}

fn fitted(observations: &[Observation], kind: CurveKind, loss: Loss) -> ModelFit {
    fit_curve(observations, kind, None, loss).unwrap()
}

fn first_order(fit: &ModelFit, count: f64) -> f64 {
    let mut g = vec![0.0; fit.curve.parameters.len()];
    fit.curve.gradient(count, &mut g);
    quadratic_form(&fit.covariance, &g).sqrt()
}

#[test]
fn parametric_standard_deviations_are_those_of_the_covariance() {
    let bent: fn(f64) -> f64 = |count| 60.0 / count + 0.05;
    for (kind, truth, within) in [
        // 4000 replicates know a standard deviation to 1.1 %: four of those.
        (CurveKind::StraightLine, line as fn(f64) -> f64, 0.045),
        // Its parameters enter as exponents: first order is only so good.
        (CurveKind::MonotoneSpline, bent, 0.15),
    ] {
        let observations = bed(truth, 7, 3, 1.0);
        let fit = fitted(&observations, kind, Loss::Squares);
        let drawn = parametric(4000)
            .run(&observations, &fit, &COUNTS, &|_| {})
            .unwrap();
        // sqrt(0.02275 0.97725/4000) / (0.05399 x 2), twice.
        assert!((drawn.numerical - 0.0437).abs() < 1e-4);
        assert!(drawn.trusted && drawn.without_fit == 0, "{drawn:?}");
        for interval in drawn.intervals {
            let ratio = interval.standard / first_order(&fit, interval.count);
            assert!((ratio - 1.0).abs() < within, "{kind} {interval:?}: {ratio}");
            // Two standard deviations to either side, give or take what the
            // outermost 2.3 % of 4000 are worth.
            let middle = fit.curve.value(interval.count);
            for end in [middle - interval.low, interval.high - middle] {
                let reach = end / interval.standard;
                assert!((reach - 2.0).abs() < 0.3, "{kind} {interval:?}: {reach}");
            }
        }
    }
}

#[test]
fn cases_follow_cores_that_scatter_unequally_where_the_covariance_does_not() {
    let observations = bed(line, 60, 10, 4.0);
    let fit = fitted(&observations, CurveKind::StraightLine, Loss::Squares);
    let drawn = cases(4000)
        .run(&observations, &fit, &COUNTS, &|_| {})
        .unwrap();
    // For equal weights the bootstrap of cases tends to (X'X)^-1 (sum r^2 x x')
    // (X'X)^-1 (White 1980, Econometrica 48:817; recalled from memory). The counts'
    // own errors matter nothing beside this scatter.
    let n = observations.len() as f64;
    let z: Vec<f64> = fit
        .residuals
        .iter()
        .map(|r| fit.curve.axis.z(r.count))
        .collect();
    let mean = z.iter().sum::<f64>() / n;
    let spread: f64 = z.iter().map(|z| (z - mean).powi(2)).sum();
    for interval in drawn.intervals {
        let at = fit.curve.axis.z(interval.count);
        let variance: f64 = z
            .iter()
            .zip(&fit.residuals)
            .map(|(z, r)| {
                let pull = 1.0 / n + (at - mean) * (z - mean) / spread;
                (pull * r.residual).powi(2)
            })
            .sum();
        let ratio = interval.standard / variance.sqrt();
        // Four times what 4000 replicates know it to.
        assert!((ratio - 1.0).abs() < 0.045, "{interval:?}: {ratio}");
        if interval.count < 400.0 {
            assert!(interval.standard > 1.15 * first_order(&fit, interval.count));
        }
    }
}

#[test]
fn cases_agree_with_the_covariance_where_cores_scatter_alike() {
    let observations = bed(line, 60, 10, 1.0);
    let fit = fitted(&observations, CurveKind::StraightLine, Loss::Squares);
    let drawn = cases(2000)
        .run(&observations, &fit, &COUNTS, &|_| {})
        .unwrap();
    for interval in drawn.intervals {
        let ratio = interval.standard / first_order(&fit, interval.count);
        // 600 cores, of which those at an end decide, know their own spread to
        // about 5 %; three of those.
        assert!((ratio - 1.0).abs() < 0.15, "{interval:?}: {ratio}");
    }
}

#[test]
fn whole_cores_are_resampled_never_one_of_their_readings() {
    // Every core read twice: its rows share a sample, not a count.
    let mut observations = bed(line, 6, 2, 1.0);
    for i in 0..12 {
        let mut again = observations[i].clone();
        again.count.value += 1.5;
        observations.push(again);
    }
    let fit = fitted(&observations, CurveKind::StraightLine, Loss::Squares);
    let refits = Refits::of(&observations, &fit, Resampling::Cases, 3).unwrap();
    let mut repeated = false;
    for number in 0..50 {
        let drawn = refits.replicate(number);
        assert_eq!(drawn.z.len(), 24);
        let mut seen = [[0; 2]; 12];
        for (z, theta) in drawn.z.iter().zip(&drawn.theta_v) {
            let row = (0..24)
                .find(|row| (fit.curve.axis.z(observations[*row].count.value) - z).abs() < 1e-12)
                .unwrap();
            assert_eq!(observations[row].theta_v.value.value(), *theta);
            seen[row % 12][row / 12] += 1;
        }
        assert!(
            seen.iter().all(|[first, second]| first == second),
            "{seen:?}"
        );
        repeated |= seen.iter().any(|[first, _]| *first > 1);
    }
    assert!(repeated);
}

#[test]
fn the_answer_does_not_depend_on_the_number_of_threads() {
    let observations = bed(line, 7, 3, 1.0);
    let warm = fit_curve(
        &observations,
        CurveKind::Quadratic,
        Celsius::new(17.0).ok(),
        Loss::Squares,
    );
    let fits = [
        warm.unwrap(),
        fitted(&observations, CurveKind::StraightLine, Loss::Huber),
    ];
    for fit in &fits {
        for settings in [parametric(300), cases(300)] {
            let on = |threads: usize| {
                let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
                pool.unwrap()
                    .install(|| settings.run(&observations, fit, &COUNTS, &|_| {}).unwrap())
            };
            let alone = on(1);
            assert_eq!(alone.intervals.len(), COUNTS.len());
            assert_eq!(alone, on(2));
            assert_eq!(alone, on(5));
            let other = Bootstrap {
                seed: 8,
                ..settings
            };
            assert_ne!(
                alone,
                other.run(&observations, fit, &COUNTS, &|_| {}).unwrap()
            );
        }
    }
}

#[test]
fn replicates_without_a_fit_are_counted_and_take_the_trust_away() {
    // Five cores drawn from five hold three or fewer of them, which fix no cubic,
    // in 58 % of the draws (1500/3125 hold exactly three, 300 two, 5 one; 1805/3125
    // in all).
    let observations = bed(line, 5, 1, 1.0);
    let fit = fitted(&observations, CurveKind::Cubic, Loss::Squares);
    let drawn = cases(2000)
        .run(&observations, &fit, &COUNTS, &|_| {})
        .unwrap();
    let share = drawn.without_fit as f64 / 2000.0;
    assert!((share - 1805.0 / 3125.0).abs() < 0.045, "{share}");
    assert!(!drawn.trusted);
    assert!(drawn.intervals.iter().all(|i| i.low < i.high));
}

#[test]
fn too_few_replicates_to_place_the_ends_are_not_trusted() {
    let observations = bed(line, 7, 3, 1.0);
    let fit = fitted(&observations, CurveKind::StraightLine, Loss::Squares);
    let few = cases(50)
        .run(&observations, &fit, &COUNTS, &|_| {})
        .unwrap();
    assert!(!few.trusted && few.without_fit == 0);
    let enough = cases(few.replicates_needed)
        .run(&observations, &fit, &COUNTS, &|_| {})
        .unwrap();
    assert!(enough.trusted);
    // Farther out than the normal distribution has it, by the root of 21/19.
    assert!(
        few.tail
            < parametric(50)
                .run(&observations, &fit, &COUNTS, &|_| {})
                .unwrap()
                .tail
    );
}

#[test]
fn nothing_asked_for_or_a_fit_of_other_cores_does_not_panic() {
    let observations = bed(line, 7, 3, 1.0);
    let fit = fitted(&observations, CurveKind::StraightLine, Loss::Squares);
    for replicates in [0, 1] {
        let none = cases(replicates)
            .run(&observations, &fit, &COUNTS, &|_| {})
            .unwrap();
        assert!(none.intervals.is_empty() && !none.trusted);
    }
    assert!(
        parametric(20)
            .run(&observations, &fit, &[], &|_| {})
            .unwrap()
            .intervals
            .is_empty()
    );
    assert!(
        parametric(20)
            .run(&observations[1..], &fit, &COUNTS, &|_| {})
            .is_none()
    );
}
