//! The band against simulated days of readings, and its parts one by one.

use super::super::example::line;
use super::*;
use crate::fit::Rival;
use crate::quantity::{Celsius, Quantity};
use crate::temperature::TemperatureTerm;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::f64::consts::PI;

fn calibration(noise: f64, degrees_of_freedom: f64) -> Calibration {
    let mut made = line(noise);
    made.noise.degrees_of_freedom = degrees_of_freedom;
    made
}

fn day(read_every_s: u32, false_start_probability: f64) -> DayOfReadings {
    DayOfReadings {
        read_every_s,
        false_start_probability,
        temperature_swing_c: 0.0,
        ..DayOfReadings::default()
    }
}

/// A simulated probe and pump: counts fall as soil gets wetter, stop is count 500.
#[derive(Clone, Copy)]
struct Garden {
    noise: f64,
    /// Counts by which the soil wets from reading to reading while the pump runs.
    wetting: f64,
    readings: u32,
}

impl Garden {
    /// Whether the pump, stopped by its own readings, starts again within a day
    /// although the soil has not dried; `warmth` moves each reading of the day.
    fn starts_by_itself(
        self,
        band: f64,
        warmth: impl Fn(u32) -> f64,
        random: &mut ChaCha8Rng,
    ) -> bool {
        let read = |soil: f64, random: &mut ChaCha8Rng| {
            (soil + self.noise * random.sample::<f64, _>(StandardNormal)).round()
        };
        let mut soil = 500.0 + 7.0 * self.noise + self.wetting * random.random::<f64>();
        while read(soil, random) > 500.0 {
            soil -= self.wetting;
        }
        (0..self.readings).any(|i| read(soil + warmth(i), random) >= 500.0 + band)
    }
}

fn false_starts(days: u32, each: impl Fn(&mut ChaCha8Rng) -> bool) -> f64 {
    let mut random = ChaCha8Rng::seed_from_u64(41);
    f64::from((0..days).filter(|_| each(&mut random)).count() as u32) / f64::from(days)
}

/// Three standard deviations of a share of so many days.
fn tolerance(share: f64, days: u32) -> f64 {
    3.0 * (share * (1.0 - share) / f64::from(days)).sqrt()
}

#[test]
fn simulated_days_start_the_pump_by_themselves_as_seldom_as_stated_and_hardly_more_seldom() {
    // With more noise than a count, rounding and whole counts cost little.
    for (noise, wetting, read_every_s, probability, days) in [
        (8.0, 8.0, 600, 0.05, 20_000),
        (8.0, 0.8, 600, 0.05, 20_000),
        (8.0, 1.6, 3600, 0.01, 60_000),
        (12.0, 3.6, 60, 0.1, 4_000),
        (1.5, 0.5, 600, 0.05, 20_000),
        // A front that passes at once errs on the safe side.
        (8.0, 40.0, 600, 0.05, 20_000),
    ] {
        let mut asked = day(read_every_s, probability);
        // 0.001 m3/m3 a count.
        asked.wetting_per_s = Some(0.001 * wetting / f64::from(read_every_s));
        let band = least_band(&calibration(noise, 1e7), 500.0, &asked)
            .counts()
            .ceil();
        let garden = Garden {
            noise,
            wetting,
            readings: asked.readings(),
        };
        let share = false_starts(days, |random| {
            garden.starts_by_itself(band, |_| 0.0, random)
        });
        let case = format!("noise {noise}, wetting {wetting}, {probability}: {share}");
        assert!(
            share <= probability + tolerance(probability, days),
            "{case}"
        );
        let least = match (noise > 5.0, wetting <= noise) {
            (true, true) => 0.5,
            (false, true) => 0.1,
            (_, false) => 0.0,
        };
        assert!(share >= least * probability, "{case}");
    }
}

#[test]
fn a_band_of_what_two_readings_resolve_would_start_the_pump_far_oftener() {
    // What two readings resolve, 1.96 sqrt(2) standard deviations, one pair in forty
    // exceeds; a day has 1440 readings.
    let garden = Garden {
        noise: 8.0,
        wetting: 8.0,
        readings: 1440,
    };
    let share = false_starts(500, |random| {
        garden.starts_by_itself(2.77 * 8.0, |_| 0.0, random)
    });
    assert!(share > 0.5, "{share}");
}

#[test]
fn a_day_that_cools_by_the_whole_swing_is_covered() {
    // 0.8 counts per C known, no term: from the warmest hour, in which the pump
    // stopped, to the coolest the reading moves 0.8 x 6 counts towards dry.
    let asked = DayOfReadings {
        temperature_swing_c: 6.0,
        counts_per_c: Some(-0.8),
        ..day(600, 0.05)
    };
    let least = least_band(&calibration(8.0, 1e7), 500.0, &asked);
    assert_eq!(least.temperature_basis, TemperatureBasis::Stated);
    assert!((least.temperature_counts - 4.8).abs() < 1e-12);
    let days = 20_000;
    let cooling = |i: u32| 2.4 * (1.0 - (f64::from(i) / 144.0 * 2.0 * PI).cos());
    let garden = Garden {
        noise: 8.0,
        wetting: 8.0,
        readings: 144,
    };
    let share = |band: f64| {
        false_starts(days, |random| {
            garden.starts_by_itself(band.ceil(), cooling, random)
        })
    };
    let with = share(least.counts());
    assert!(with <= 0.05 + tolerance(0.05, days), "{with}");
    assert!(with > 0.01, "{with}");
    let without = share(least.counts() - least.temperature_counts);
    assert!(without > 0.05 + tolerance(0.05, days), "{without}");
}

#[test]
fn a_corrected_probe_keeps_what_is_not_known_of_its_correction() {
    let mut corrected = calibration(1.0, 60.0);
    corrected.temperature = Some(TemperatureTerm {
        reference: Celsius::new(20.0).unwrap(),
        coefficient: 0.5,
    });
    corrected.covariance = vec![vec![0.0; 3], vec![0.0; 3], vec![0.0, 0.0, 0.01]];
    let asked = DayOfReadings {
        temperature_swing_c: 6.0,
        ..DayOfReadings::default()
    };
    let least = least_band(&corrected, 500.0, &asked);
    // t(12) = 2.179; 0.1 counts/C x 6 C and sqrt(2) x 0.5 counts/C x 0.5 C.
    let by_hand = 2.1788 * (0.6_f64.powi(2) + 2.0 * 0.25_f64.powi(2)).sqrt();
    assert!((least.temperature_counts - by_hand).abs() < 1e-3);
    assert_eq!(least.temperature_basis, TemperatureBasis::Corrected);
}

#[test]
fn without_a_correction_the_largest_effect_the_cores_leave_possible_is_taken() {
    let mut uncorrected = calibration(1.0, 60.0);
    let unknown = least_band(&uncorrected, 500.0, &DayOfReadings::default());
    assert_eq!(unknown.temperature_basis, TemperatureBasis::Unknown);
    assert_eq!(unknown.temperature_counts, 0.0);
    let rival = |weight, coefficient| Rival {
        weight,
        curve: uncorrected.curve.clone(),
        temperature: Some(TemperatureTerm {
            reference: Celsius::new(20.0).unwrap(),
            coefficient,
        }),
        covariance: vec![vec![0.0; 3], vec![0.0; 3], vec![0.0, 0.0, 0.01]],
        core_scatter: 0.006,
    };
    uncorrected.rivals = vec![rival(0.1, 3.0), rival(0.2, -0.3)];
    let possible = least_band(&uncorrected, 500.0, &DayOfReadings::default());
    assert_eq!(possible.temperature_basis, TemperatureBasis::LeftPossible);
    // The likelier one: 0.3 + t(12) x 0.1, times 5 C.
    assert!((possible.temperature_counts - 5.0 * (0.3 + 0.21788)).abs() < 1e-3);
}

#[test]
fn drift_is_added_and_noise_known_from_few_readings_is_taken_wider() {
    let steady = least_band(&calibration(2.0, 1e7), 500.0, &day(60, 0.01));
    let drifting = DayOfReadings {
        drift_counts: 3.0,
        ..day(60, 0.01)
    };
    let drifted = least_band(&calibration(2.0, 1e7), 500.0, &drifting);
    assert!((drifted.counts() - steady.counts() - 3.0).abs() < 1e-12);
    let few = least_band(&calibration(2.0, 20.0), 500.0, &day(60, 0.01));
    assert!(few.noise_counts > 1.1 * steady.noise_counts);
}

#[test]
fn more_readings_and_fewer_false_starts_ask_for_more() {
    let margins: Vec<f64> = [
        (1, 0.1),
        (24, 0.1),
        (24, 0.01),
        (1440, 0.01),
        (86_400, 1e-6),
    ]
    .into_iter()
    .map(|(n, p)| noise_margin(n, p, 1.0))
    .collect();
    assert!(margins.is_sorted(), "{margins:?}");
    assert!(margins[4] < 12.0, "{margins:?}");
    // No number is taken as wetting that does not matter.
    assert_eq!(
        noise_margin(24, 0.01, f64::NAN),
        noise_margin(24, 0.01, 1.0)
    );
}
