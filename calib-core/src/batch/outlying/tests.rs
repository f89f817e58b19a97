use super::*;

/// Sound probes of spread 0.01 m3/m3 and 0.1, as unsure as `u` times that, every
/// fourth three times as unsure.
fn batch(probes: usize, u: f64, seed: u64) -> Vec<ProbeEstimate> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    (0..probes)
        .map(|i| {
            let u = if i % 4 == 3 { 3.0 * u } else { u };
            ProbeEstimate {
                offset: 0.01 * (normal() + u * normal()),
                gain: 0.1 * (normal() + u * normal()),
                covariance: [[1e-4 * u * u, 0.0], [0.0, 1e-2 * u * u]],
            }
        })
        .collect()
}

fn settings() -> OutlyingSettings {
    OutlyingSettings {
        draws: Some(199),
        ..OutlyingSettings::default()
    }
}

#[test]
fn three_bad_probes_in_ten_do_not_hide_one_another() {
    for probes in [20, 40, 200, 2000] {
        let mut estimates = batch(probes, 0.3, 5);
        for estimate in estimates.iter_mut().step_by(10) {
            estimate.offset += 0.2;
        }
        for estimate in estimates.iter_mut().skip(1).step_by(5) {
            estimate.gain -= 2.0;
        }
        let found = outlying(&estimates, &settings()).expect("distances");
        for (i, probe) in found.probes.iter().enumerate() {
            assert_eq!(probe.outlying, i % 10 == 0 || i % 5 == 1, "{probes}: {i}");
        }
    }
}

#[test]
fn a_probe_of_few_cores_is_not_taken_for_a_bad_one() {
    let mut estimates = batch(40, 0.3, 6);
    // Ten times as far out as any, and that unsure.
    estimates[7].offset = 0.3;
    estimates[7].covariance[0][0] = 0.04;
    let found = outlying(&estimates, &settings()).expect("distances");
    assert!(!found.probes[7].outlying, "{:?}", found.probes[7]);
    estimates[7].covariance[0][0] = 1e-5;
    let found = outlying(&estimates, &settings()).expect("distances");
    assert!(found.probes[7].outlying);
    assert!(found.probes[7].p_value <= 0.005 + 1e-12);
}

#[test]
fn turning_and_stretching_the_axes_leaves_the_distances() {
    let estimates = batch(30, 0.5, 7);
    let [[a, b], [c, d]] = [[2.0, -0.3], [11.0, 0.7]];
    let turned: Vec<ProbeEstimate> = estimates
        .iter()
        .map(|e| {
            let [[v, w], [_, x]] = e.covariance;
            let both = a * c * v + (a * d + b * c) * w + b * d * x;
            ProbeEstimate {
                offset: a * e.offset + b * e.gain + 5.0,
                gain: c * e.offset + d * e.gain - 3.0,
                covariance: [
                    [a * a * v + 2.0 * a * b * w + b * b * x, both],
                    [both, c * c * v + 2.0 * c * d * w + d * d * x],
                ],
            }
        })
        .collect();
    let before = outlying(&estimates, &settings()).expect("distances");
    let after = outlying(&turned, &settings()).expect("distances");
    for (one, other) in before.probes.iter().zip(&after.probes) {
        let ratio = one.distance / other.distance;
        assert!((ratio - 1.0).abs() < 1e-4, "{one:?} {other:?}");
    }
}

#[test]
fn the_same_batch_gives_the_same_answer() {
    let estimates = batch(25, 0.5, 8);
    let once = outlying(&estimates, &settings()).expect("distances");
    assert_eq!(outlying(&estimates, &settings()), Ok(once));
}

#[test]
fn a_batch_that_sampling_error_explains_has_no_spread() {
    let estimates: Vec<OffsetEstimate> = (0..30)
        .map(|i| OffsetEstimate {
            offset: 0.001 * f64::from(i % 5),
            variance: 1e-4,
        })
        .collect();
    let found = outlying_offsets(&estimates, &settings()).expect("distances");
    assert_eq!(found.spread, [[0.0; 2]; 2]);
    assert!((found.centre[0] - 0.002).abs() < 1e-4, "{:?}", found.centre);
    assert!(found.probes.iter().all(|probe| !probe.outlying));
}

#[test]
fn offsets_alone_and_estimates_of_single_probes_agree_with_hand_work() {
    // Deviations 0.01, 0.02, 0.03 at z = -0.1, 0, 0.1: gain 0.1, offset 0.02.
    let rows = [
        (-0.1, 0.01, 1.0),
        (0.0, 0.02, 1.0),
        (0.1, 0.03, 1.0),
        (5.0, 9.0, 0.0),
    ];
    let found = own_estimate(&rows, 0.004).expect("an estimate");
    assert!((found.offset - 0.02).abs() < 1e-12 && (found.gain - 0.1).abs() < 1e-12);
    assert!((found.covariance[0][0] - 1.6e-5 / 3.0).abs() < 1e-15);
    assert!((found.covariance[1][1] - 1.6e-5 / 0.02).abs() < 1e-12);
    assert!(own_estimate(&rows[..1], 0.004).is_err());
    assert!(own_estimate(&[(0.1, 0.0, 1.0), (0.1, 0.2, 1.0)], 0.004).is_err());
}

#[test]
fn what_cannot_be_judged_is_refused() {
    let refused = |estimates: &[ProbeEstimate], settings: &OutlyingSettings| {
        outlying(estimates, settings).is_err()
    };
    let sound = batch(12, 0.3, 9);
    assert!(refused(&sound[..4], &settings()));
    let mut alike = sound.clone();
    alike.fill(ProbeEstimate {
        offset: 0.01,
        gain: 0.0,
        covariance: [[0.0; 2]; 2],
    });
    assert!(matches!(
        outlying(&alike, &settings()),
        Err(BatchStatisticsError::NoSpread { .. })
    ));
    let mut wrong = sound.clone();
    wrong[3].gain = f64::NAN;
    assert!(refused(&wrong, &settings()));
    wrong[3].gain = 0.0;
    wrong[3].covariance[0][0] = -1.0;
    assert!(refused(&wrong, &settings()));
    let few = OutlyingSettings {
        draws: Some(18),
        ..OutlyingSettings::default()
    };
    assert!(refused(&sound, &few));
    let none = OutlyingSettings {
        sampling_freedom: Some(0.0),
        ..settings()
    };
    assert!(refused(&sound, &none));
}
