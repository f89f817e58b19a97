use super::parts::{Parts, Role};
use super::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution};

fn parts() -> Parts {
    Parts {
        theta_v: 0.2,
        probes: 12.0,
        between: 1e-4,
        core: 0.0,
        residual: 3.6e-5,
        curve: 9e-6,
        volume: 1e-6,
        sampling: 0.125,
        core_sampling: 1.0,
        own: 0.25,
        residual_freedom: 70.0,
        core_freedom: 94.0,
        curve_by_probes: true,
    }
}

#[test]
fn the_figure_is_the_sum_of_squares_by_hand() {
    let shared = parts().bounds(Role::Shared, 1).figure();
    let k = 1.959_963_984_540_054;
    assert!((shared.value - k * (1e-4 + 3.6e-5 + 9e-6 + 1e-6_f64).sqrt()).abs() < 1e-12);
    let own = parts().bounds(Role::Own, 1).figure();
    assert!((own.value - k * (3.6e-5 * 1.25 + 1e-6_f64).sqrt()).abs() < 1e-12);
    assert!(own.low < own.value && own.value < own.high);
}

#[test]
fn the_same_seed_gives_the_same_interval_and_another_nearly_so() {
    let figure = |seed| parts().bounds(Role::Shared, seed).figure();
    assert_eq!(figure(4), figure(4));
    assert_ne!(figure(4), figure(5));
    assert!((figure(4).high / figure(5).high - 1.0).abs() < 0.03);
}

/// 95 % within what 1,000 studies leave to chance, three standard errors and a little
/// for the draws; the truth is a study's mean squares, each its expectation times
/// chi-square over its degrees of freedom.
#[test]
fn the_interval_holds_the_true_uncertainty_nineteen_times_in_twenty() {
    let truth = parts();
    let k = coverage();
    for (probes, residual_freedom) in [(5.0, 20.0), (12.0, 70.0), (40.0, 700.0)] {
        let mut draws = ChaCha8Rng::seed_from_u64(20_261_125);
        let mut chance =
            |freedom: f64| ChiSquared::new(freedom).unwrap().sample(&mut draws) / freedom;
        for role in [Role::Shared, Role::Own] {
            let mut held = 0;
            let studies = 1_000;
            for study in 0..studies {
                let residual = truth.residual * chance(residual_freedom);
                let mean_square =
                    (truth.between + truth.sampling * truth.residual) * chance(probes - 1.0);
                let seen = Parts {
                    probes,
                    residual_freedom,
                    residual,
                    between: (mean_square - truth.sampling * residual).max(0.0),
                    curve: 0.0,
                    volume: 0.0,
                    ..truth
                };
                let true_figure = match role {
                    Role::Own => k * (truth.residual * (1.0 + truth.own)).sqrt(),
                    _ => k * (truth.between + truth.residual).sqrt(),
                };
                let figure = seen.bounds(role, study).figure();
                held += usize::from(figure.low <= true_figure && true_figure <= figure.high);
            }
            let share = held as f64 / f64::from(studies as u32);
            assert!(
                (0.927..0.973).contains(&share),
                "{probes} probes, {role:?}: {share}"
            );
        }
    }
}

fn coverage() -> f64 {
    crate::uncertainty::coverage_factor(crate::calibration::COVERAGE, None)
}

#[test]
fn more_probes_narrow_the_interval_and_the_fewest_that_settle_it_are_told() {
    let asked = Circumstances {
        target: 0.030,
        minutes_per_core: 20.0,
        minutes_per_medium: 5.0,
        hourly_cost: None,
        root_depth_mm: 300.0,
        relative_volume_u: 0.0,
        seed: 7,
    };
    let one = Considered::new(
        Way::OneCurve,
        Role::Shared,
        &[(Wetness::Middle, parts())],
        asked.seed,
    );
    let figure = one.bounds.figure();
    assert!(figure.value < asked.target && asked.target < figure.high);
    let Firmness::WithMoreProbes {
        way,
        probes,
        within,
    } = one.more_probes(asked)
    else {
        panic!("{:?}", one.more_probes(asked));
    };
    assert!(within && way == Way::OneCurve);
    let high = |more: usize| {
        let parts = parts().with_probes(12.0 + more as f64);
        parts.bounds(Role::Shared, asked.seed).figure().high
    };
    assert!(high(probes) <= asked.target && high(probes - 1) > asked.target);
    // A target on the figure itself is not settled by any number.
    let near = Circumstances {
        target: figure.value,
        ..asked
    };
    assert_eq!(
        one.more_probes(near),
        Firmness::TooNear { way: Way::OneCurve }
    );
}
