use super::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// A layer that drains by `k theta^m` and loses water by day: physics the fitted
/// curve does not know.
#[derive(Clone, Copy)]
struct Layer {
    /// theta_v two days after full saturation, with nothing taken.
    capacity: f64,
    exponent: f64,
    taken_per_day: f64,
    noise: f64,
}

const MINUTES: usize = 10;

impl Layer {
    /// Fall of theta_v in an hour, m3/m3, at `hour` of the day.
    fn fall(&self, theta: f64, hour: f64) -> f64 {
        // From far above, theta^(1 - m) = (m - 1) k t.
        let k = self.capacity.powf(1.0 - self.exponent) / ((self.exponent - 1.0) * 48.0);
        let sun = if (6.0..18.0).contains(&hour) {
            (std::f64::consts::PI * (hour - 6.0) / 12.0).sin().powi(2) / 6.0
        } else {
            0.0
        };
        k * theta.powf(self.exponent) + self.taken_per_day * sun
    }

    /// Dry for a day, then soaked to `wettest` at `hour` of the second day, then left
    /// alone for `hours`.
    fn soak(&self, log: &mut Hours, start: i64, wettest: f64, hours: usize, seed: u64) {
        let mut draw = ChaCha8Rng::seed_from_u64(seed);
        let noise = Normal::new(0.0, self.noise).unwrap();
        let steps_an_hour = 60 / MINUTES;
        let mut theta = 0.9 * self.capacity;
        for step in 0..(24 + 12 + 3 + hours) * steps_an_hour {
            let hour = step as f64 / steps_an_hour as f64;
            let wetting = (36.0..39.0).contains(&hour);
            if wetting {
                theta += (wettest - 0.9 * self.capacity) / (3 * steps_an_hour) as f64;
            } else if hour >= 39.0 {
                theta -= self.fall(theta, hour % 24.0) / steps_an_hour as f64;
            }
            log.push(LoggedWater {
                time: Timestamp(start + 60 * (MINUTES * step) as i64),
                theta_v: Some(theta + noise.sample(&mut draw)),
                pump_on: Some(false),
                rain_mm: Some(if wetting { 2.0 } else { 0.0 }),
            });
        }
    }
}

const LOAM: Layer = Layer {
    capacity: 0.28,
    exponent: 15.0,
    taken_per_day: 0.001,
    noise: 0.002,
};

fn events_of(layer: &Layer, soakings: usize, seed: u64) -> LogWater {
    let mut log = Hours::default();
    for soaking in 0..soakings {
        let start = 86_400 * 10 * soaking as i64;
        layer.soak(
            &mut log,
            start,
            1.3 * layer.capacity,
            120,
            seed + soaking as u64,
        );
    }
    from_log(&log.finish())
}

#[test]
fn field_capacity_of_a_soil_that_drains_by_its_own_law_is_found_again() {
    for (capacity, exponent) in [(0.12, 9.0), (0.18, 12.0), (0.28, 15.0), (0.36, 22.0)] {
        let layer = Layer {
            capacity,
            exponent,
            ..LOAM
        };
        let found = events_of(&layer, 2, 7).field_capacity.unwrap();
        let estimate = found.estimate();
        assert_eq!(found.events, 2);
        assert!(
            (estimate.value - capacity).abs() < 2.0 * estimate.u,
            "{capacity}: {estimate:?}"
        );
        assert!(
            (estimate.value - capacity).abs() < 0.004,
            "{capacity}: {found:?}"
        );
    }
}

/// The stated uncertainty, definition included, holds the truth at least as often as
/// two standard uncertainties should, over soils and weathers drawn at random.
#[test]
fn the_stated_uncertainty_holds_the_truth() {
    use rand::RngExt;
    let mut draw = ChaCha8Rng::seed_from_u64(20_260_525);
    let (mut answered, mut held) = (0, 0);
    for trial in 0..150 {
        let layer = Layer {
            capacity: draw.random_range(0.1..0.38),
            exponent: draw.random_range(8.0..22.0),
            taken_per_day: draw.random_range(0.0..0.006),
            noise: draw.random_range(0.0005..0.003),
        };
        let Some(found) = events_of(&layer, 1, 1000 + trial).field_capacity else {
            continue;
        };
        let estimate = found.estimate();
        answered += 1;
        held += usize::from((estimate.value - layer.capacity).abs() < 2.0 * estimate.u);
    }
    assert!(answered > 120, "{answered}");
    assert!(
        held as f64 >= 0.93 * f64::from(answered),
        "{held} of {answered}"
    );
}

fn only_fault(log: Hours) -> EventFault {
    let found = from_log(&log.finish());
    assert!(found.field_capacity.is_none(), "{found:?}");
    match found.events[..] {
        [
            DrainageEvent {
                outcome: Outcome::Refused(fault),
                ..
            },
        ] => fault,
        ref other => panic!("{other:?}"),
    }
}

#[test]
fn a_thirsty_crop_spoils_it_and_is_named() {
    let mut log = Hours::default();
    let thirsty = Layer {
        taken_per_day: 0.03,
        ..LOAM
    };
    thirsty.soak(&mut log, 0, 0.31, 100, 3);
    let fault = only_fault(log);
    assert!(matches!(fault, EventFault::Evaporation { .. }), "{fault}");
    assert!(fault.mend().starts_with("cover the soaked bed"));
}

#[test]
fn a_wetting_below_field_capacity_shows_no_drainage() {
    let mut log = Hours::default();
    let dry = Layer {
        taken_per_day: 0.0,
        ..LOAM
    };
    // From 0.252 to 0.273, below the 0.28 at which it would still drain.
    dry.soak(&mut log, 0, 0.274, 100, 3);
    let fault = only_fault(log);
    assert!(
        matches!(fault, EventFault::NotAboveFieldCapacity { .. }),
        "{fault}"
    );
}

#[test]
fn a_soaking_cut_short_says_after_how_long_and_by_what() {
    let mut log = Hours::default();
    LOAM.soak(&mut log, 0, 0.36, 30, 3);
    let fault = only_fault(log);
    assert_eq!(
        fault,
        EventFault::CutShort {
            hours: 29,
            by: EndedBy::LogEnd
        }
    );
    assert_eq!(
        fault.to_string(),
        "only 29 h were left alone, then the log ends"
    );
}

/// A probe read once an hour with a noise as large as the rise that would tell of
/// water must not see water in it.
#[test]
fn a_noisy_probe_does_not_end_a_drainage_by_its_noise() {
    for seed in 0..20 {
        let mut log = Hours::default();
        let noisy = Layer {
            noise: 0.012,
            ..LOAM
        };
        noisy.soak(&mut log, 0, 0.40, 120, seed);
        let found = from_log(&log.finish());
        assert_eq!(found.events.len(), 1, "{seed}: {found:?}");
        assert_eq!(found.events[0].hours, 96, "{seed}: {found:?}");
    }
}

fn drained(field_capacity: f64, u: f64) -> Drained {
    Drained {
        field_capacity,
        u,
        exponent: 0.1,
        taken_per_day: 0.0,
        residual: 0.001,
    }
}

#[test]
fn events_that_agree_narrow_the_mean_and_events_that_do_not_widen_it() {
    let agree = combine(&[drained(0.300, 0.004), drained(0.302, 0.004)]).unwrap();
    assert!((agree.theta_v - 0.301).abs() < 1e-12);
    assert!((agree.u_events - 0.004 / 2.0_f64.sqrt()).abs() < 1e-12);
    // 0.32 and 0.28: Birge ratio sqrt(2 x 0.02^2 / 0.004^2) = 5 sqrt 2.
    let differ = combine(&[drained(0.32, 0.004), drained(0.28, 0.004)]).unwrap();
    assert!((differ.u_events - 0.02).abs() < 1e-12, "{differ:?}");
    assert!(combine(&[]).is_none());
}

#[test]
fn what_is_meant_by_field_capacity_is_part_of_its_uncertainty() {
    // (24/48)^-0.1 - (72/48)^-0.1 = 1.07177 - 0.96026; times 0.3, half of it over
    // the root of three.
    let found = combine(&[drained(0.3, 0.004)]).unwrap();
    assert!((found.u_definition - 0.3 * 0.11151 / 2.0 / 3.0_f64.sqrt()).abs() < 1e-6);
    let with = found.with_calibration(0.006).estimate().u;
    let by_hand = (0.004_f64.powi(2) + found.u_definition.powi(2) + 0.006_f64.powi(2)).sqrt();
    assert!((with - by_hand).abs() < 1e-12);
    let same = found.with_calibration(0.006).for_the_same_probe().u;
    assert!((same - found.u_definition.hypot(0.004)).abs() < 1e-12);
}
