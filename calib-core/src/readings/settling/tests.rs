use super::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

const FULL_SCALE: u32 = 1023;

fn rule() -> SettlingRule {
    SettlingRule::for_full_scale(FULL_SCALE)
}

/// A probe read every `pace` seconds, whose count without noise at a time is `truth`.
fn settling(
    pace: i64,
    readings: i64,
    truth: impl Fn(f64) -> f64,
    noise: f64,
    random: &mut ChaCha8Rng,
) -> Settling {
    let mut settling = Settling::new(rule());
    let normal = Normal::new(0.0, noise).unwrap();
    for reading in 0..readings {
        let time = reading * pace;
        let count = (truth(time as f64) + normal.sample(random))
            .round()
            .max(0.0);
        settling.take(Timestamp(time), count as u32);
    }
    settling
}

fn motion(settling: &mut Settling) -> Motion {
    let now = settling
        .window
        .back()
        .map_or(Timestamp(0), |(time, _)| *time);
    settling.look(now).motion
}

/// How often each motion is said of 2000 probes.
fn shares(pace: i64, truth: impl Fn(f64) -> f64, noise: f64, seed: u64) -> impl Fn(Motion) -> f64 {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let said: Vec<Motion> = (0..2000)
        .map(|_| motion(&mut settling(pace, 1200 / pace, &truth, noise, &mut random)))
        .collect();
    move |motion| said.iter().filter(|m| **m == motion).count() as f64 / said.len() as f64
}

#[test]
fn a_probe_at_rest_is_seldom_called_moving() {
    // Readings a minute and every ten seconds, from a quiet converter to a noisy one.
    for (pace, noise) in [(60, 0.2), (60, 1.0), (10, 0.5), (10, 1.5)] {
        let share = shares(pace, |_| 612.3, noise, 7);
        assert!(
            share(Motion::Moving) < 0.03,
            "pace {pace} s, noise {noise}: {}",
            share(Motion::Moving)
        );
        let least = if noise <= 1.0 { 0.8 } else { 0.7 };
        assert!(
            share(Motion::Steady) > least,
            "pace {pace} s, noise {noise}: {}",
            share(Motion::Steady)
        );
    }
}

#[test]
fn a_probe_that_moves_more_than_allowed_is_seldom_called_steady() {
    for (pace, noise) in [(60, 0.3_f64), (60, 1.0), (10, 1.0)] {
        // At the limit itself one in twenty may be, by the test; beyond it none.
        let allowed = rule().allowed(noise.max(0.3));
        let limit = shares(pace, |t| 500.0 + allowed * t / 600.0, noise, 8);
        let beyond = shares(pace, |t| 500.0 + 2.0 * allowed * t / 600.0, noise, 9);
        assert!(
            limit(Motion::Steady) < 0.12,
            "pace {pace} s, noise {noise}: {}",
            limit(Motion::Steady)
        );
        assert!(beyond(Motion::Steady) < 0.002, "{}", beyond(Motion::Steady));
        assert!(beyond(Motion::Moving) > 0.9, "{}", beyond(Motion::Moving));
    }
}

#[test]
fn a_probe_that_sways_without_a_slope_moves() {
    let swaying = |t: f64| 500.0 + 6.0 * (std::f64::consts::TAU * t / 300.0).sin();
    let share = shares(10, swaying, 1.0, 10);
    assert!(share(Motion::Moving) > 0.99, "{}", share(Motion::Moving));
}

#[test]
fn a_probe_that_comes_to_rest_is_called_steady_when_it_has() {
    // 40 counts to go, half of it every five minutes, read every ten seconds.
    let truth = |t: f64| 600.0 + 40.0 * 0.5_f64.powf(t / 300.0);
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let normal = Normal::new(0.0, 1.0).unwrap();
    for _ in 0..200 {
        let mut settling = Settling::new(rule());
        let first = (0..720).map(|reading| reading * 10).find(|time| {
            let count = truth(*time as f64) + normal.sample(&mut random);
            settling.take(Timestamp(*time), count.round() as u32);
            settling.look(Timestamp(*time)).motion == Motion::Steady
        });
        let time = first.expect("it comes to rest within two hours") as f64;
        let to_go = truth(time) - 600.0;
        assert!(to_go < 4.0, "{to_go:.1} counts to go after {time} s");
        assert!(time < 3600.0, "only after {time} s");
    }
}

#[test]
fn a_converter_that_is_too_noisy_for_so_few_readings_is_not_judged() {
    let share = shares(60, |_| 500.0, 8.0, 12);
    assert!(share(Motion::Steady) < 0.05, "{}", share(Motion::Steady));
    assert!(share(Motion::Unsure) > 0.9, "{}", share(Motion::Unsure));
}

#[test]
fn one_spike_does_not_upset_a_steady_probe_and_a_step_does() {
    let mut random = ChaCha8Rng::seed_from_u64(13);
    let mut steady = settling(10, 80, |_| 612.0, 0.5, &mut random);
    assert_eq!(motion(&mut steady), Motion::Steady);
    steady.take(Timestamp(800), 900);
    for reading in 81..90 {
        steady.take(Timestamp(reading * 10), 612);
    }
    assert_eq!(motion(&mut steady), Motion::Steady);
    for reading in 90..100 {
        steady.take(Timestamp(reading * 10), 640);
    }
    assert_eq!(motion(&mut steady), Motion::Moving);
}

#[test]
fn a_probe_is_judged_only_by_enough_readings_over_enough_time() {
    let mut quick = Settling::new(rule());
    for reading in 0..300 {
        quick.take(Timestamp(reading), 500);
    }
    assert_eq!(
        motion(&mut quick),
        Motion::Filling,
        "five minutes of seconds"
    );
    let mut slow = Settling::new(rule());
    for reading in 0..11 {
        slow.take(Timestamp(reading * 900), 500);
    }
    assert_eq!(
        motion(&mut slow),
        Motion::Filling,
        "eleven quarters of an hour"
    );
    slow.take(Timestamp(11 * 900), 500);
    assert_eq!(motion(&mut slow), Motion::Steady);
}

#[test]
fn one_old_reading_does_not_make_a_few_new_ones_cover_a_day() {
    let mut probe = Settling::new(rule());
    probe.take(Timestamp(0), 500);
    for reading in 0..20 {
        probe.take(Timestamp(86_400 + reading), 500);
    }
    assert_eq!(motion(&mut probe), Motion::Filling);
}

#[test]
fn silence_and_rails_are_told_and_a_long_pause_begins_anew() {
    let mut probe = Settling::new(rule());
    assert_eq!(probe.look(Timestamp(0)).motion, Motion::NoSignal);
    for reading in 0..20 {
        probe.take(Timestamp(reading * 60), 500);
    }
    assert_eq!(probe.look(Timestamp(19 * 60)).motion, Motion::Steady);
    assert_eq!(
        probe.look(Timestamp(19 * 60 + 301)).motion,
        Motion::NoSignal
    );
    probe.take(Timestamp(19 * 60 + 900), 500);
    assert_eq!(motion(&mut probe), Motion::Filling);
    let mut wet = Settling::new(rule());
    for reading in 0..20 {
        wet.take(
            Timestamp(reading * 60),
            if reading % 3 == 0 { 500 } else { FULL_SCALE },
        );
    }
    assert_eq!(motion(&mut wet), Motion::Saturated);
    wet.take(Timestamp(0), 500);
    assert_eq!(wet.window.len(), 1, "a clock set back begins anew");
}

#[test]
fn what_is_shown_are_the_slope_and_the_noise() {
    let mut random = ChaCha8Rng::seed_from_u64(14);
    let mut probe = settling(10, 100, |t| 500.0 - 36.0 * t / 3600.0, 1.0, &mut random);
    let settled = probe.look(Timestamp(990));
    assert!(
        (settled.counts_per_hour.unwrap() + 36.0).abs() < 6.0,
        "{settled:?}"
    );
    assert!((settled.noise.unwrap() - 1.04).abs() < 0.25, "{settled:?}");
    assert_eq!((settled.readings, settled.span_s), (61, 600));
}
