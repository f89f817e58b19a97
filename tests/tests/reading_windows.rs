//! Windows of readings with known truth, drawn from seeded noise: what
//! `readings::summarise` claims about its centre, its noise and its flags must
//! hold as often as it says.

use calib_core::calibration::QUANTISATION;
use calib_core::quantity::{Celsius, Quantity, Timestamp};
use calib_core::readings::{Flag, Reading, WindowRule, WindowSummary, pool_noise, summarise};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

const WINDOWS: usize = 2000;
const NOISES: [f64; 6] = [0.02, 0.2, 0.5, 1.0, 5.0, 30.0];
const LENGTHS: [i64; 3] = [12, 60, 300];

/// A window of `length` readings, ten seconds apart, about `truth` and moving by
/// `drift` counts over the window.
fn window(
    random: &mut ChaCha8Rng,
    truth: f64,
    noise: f64,
    drift: f64,
    length: i64,
) -> WindowSummary {
    let noise = Normal::new(0.0, noise).unwrap();
    let readings: Vec<Reading> = (0..length)
        .map(|i| {
            let along = i as f64 / (length - 1) as f64 - 0.5;
            let count = truth + drift * along + noise.sample(random);
            Reading {
                time: Timestamp(10 * i),
                count: count.round() as u32,
                soil_temperature: Celsius::new(15.0).ok(),
                supply_mv: None,
            }
        })
        .collect();
    summarise(&readings, &WindowRule::for_converter(12)).unwrap()
}

fn windows(noise: f64, length: i64) -> Vec<(f64, WindowSummary)> {
    let mut random = ChaCha8Rng::seed_from_u64(length as u64);
    (0..WINDOWS)
        .map(|_| {
            let truth = random.random_range(1000.0..3000.0);
            (truth, window(&mut random, truth, noise, 0.0, length))
        })
        .collect()
}

#[test]
fn the_centre_lies_within_twice_its_uncertainty_as_often_as_that_should_be() {
    for noise in NOISES {
        for length in LENGTHS {
            let within = windows(noise, length)
                .iter()
                .filter(|(truth, found)| (found.count.value - truth).abs() <= 2.0 * found.count.u)
                .count();
            let share = within as f64 / WINDOWS as f64;
            // 95.4 % for a normal centre and 94.7 % at 12 readings, whose spread
            // is itself rough; 2000 windows tell it to 0.5 %, three of which
            // are allowed for.
            assert!(
                share > 0.932,
                "noise {noise}, {length} readings: only {share:.3} within twice u"
            );
        }
    }
}

#[test]
fn a_reading_is_off_by_noise_and_one_rounding() {
    let mut random = ChaCha8Rng::seed_from_u64(2);
    for noise in NOISES {
        let normal = Normal::new(0.0, noise).unwrap();
        let draws = 40_000;
        let mut squares = 0.0;
        for _ in 0..draws {
            let truth = random.random_range(500.0..600.0);
            let read = (truth + normal.sample(&mut random)).round();
            squares += (read - truth).powi(2);
        }
        let off = (squares / f64::from(draws)).sqrt();
        assert!(
            (off / noise.hypot(QUANTISATION) - 1.0).abs() < 0.015,
            "{noise}: {off}"
        );
    }
}

#[test]
fn the_pooled_noise_and_one_rounding_tell_how_far_off_a_reading_is() {
    for noise in NOISES {
        for length in LENGTHS {
            let pooled = pool_noise(windows(noise, length).iter().map(|(_, w)| w.noise)).unwrap();
            let stated = pooled.standard_deviation.hypot(QUANTISATION);
            let expected = noise.hypot(QUANTISATION);
            let context =
                format!("noise {noise}, {length} readings: stated {stated}, off {expected}");
            if noise >= 0.5 {
                assert!((stated / expected - 1.0).abs() < 0.03, "{context}");
            } else {
                // Where noise is less than the rounding, a window may see none of it,
                // or one code in two: never less than the truth by 3 %, nor more by a
                // quarter.
                assert!(
                    (expected * 0.97..expected * 1.25).contains(&stated),
                    "{context}"
                );
            }
        }
    }
}

#[test]
fn good_windows_are_seldom_flagged() {
    for noise in NOISES {
        for length in LENGTHS {
            let flags: Vec<Flag> = windows(noise, length)
                .into_iter()
                .flat_map(|(_, window)| window.flags)
                .collect();
            assert!(
                flags.len() * 200 <= WINDOWS,
                "noise {noise}, {length} readings: {} flags in {WINDOWS} windows, e.g. {:?}",
                flags.len(),
                flags.first()
            );
        }
    }
}

#[test]
fn a_drift_of_eight_times_the_noise_is_nearly_always_found() {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    for noise in [1.0, 5.0, 30.0] {
        let found = (0..WINDOWS)
            .filter(|_| {
                window(&mut random, 2000.0, noise, 8.0 * noise, 30)
                    .flags
                    .iter()
                    .any(|flag| matches!(flag, Flag::StillDrifting { .. }))
            })
            .count();
        assert!(
            found * 100 >= WINDOWS * 99,
            "noise {noise}: {found} of {WINDOWS}"
        );
    }
}
