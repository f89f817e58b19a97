//! The draws: from the scenario's truth to what a person would have written
//! down.

use super::scenario::{
    CORES, LEVEL_DAYS, Plot, READINGS, RING_VOLUME_CM3, SEED, SPIKE_SHARE, STEP_S, WATER_DENSITY,
    WEIGHING_SD, Warmth,
};
use jiff::Timestamp;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Largest code of the 10-bit converter.
const LARGEST_CODE: f64 = 1023.0;

/// One core and the readings logged beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Core {
    /// Identifier, e.g. `terrace-L1a`.
    pub sample: String,
    /// Its soil.
    pub soil: &'static str,
    /// The probe it stood beside.
    pub probe: &'static str,
    /// Moisture level, `L1` the wettest.
    pub level: String,
    /// Mass of the empty tin, g.
    pub tare_g: f64,
    /// Tin with moist soil, g.
    pub wet_g: f64,
    /// Tin with dried soil, g.
    pub dry_g: f64,
    /// Weighed again after four more hours in the oven, g.
    pub dry_again_g: Option<f64>,
    /// When the core was cut.
    pub taken_at: Timestamp,
    /// The readings before it was cut.
    pub readings: Vec<Reading>,
}

/// One logged reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// When.
    pub at: Timestamp,
    /// The converter's code.
    pub count: u32,
    /// Soil temperature, C.
    pub soil_temp_c: f64,
    /// Supply, mV.
    pub supply_mv: u32,
}

/// All cores of all plots, in the order they were cut.
///
/// # Panics
/// Never on the scenario as committed: its times are all representable.
pub fn cores(plots: &[Plot]) -> Vec<Core> {
    let mut draw = Draw::of(SEED);
    let first_day: Timestamp = "2026-04-13T00:00:00Z".parse().expect("a timestamp");
    let mut cores = Vec::new();
    for plot in plots {
        for (index, (mean, day)) in plot.levels.iter().zip(LEVEL_DAYS).enumerate() {
            for replicate in 0..CORES {
                let day = first_day.as_second() + (day + plot.starts_after_days) * 86_400;
                cores.push(core(&mut draw, plot, index, *mean, day, replicate));
            }
        }
    }
    cores.sort_by_key(|core| core.taken_at);
    cores
}

fn core(
    draw: &mut Draw,
    plot: &Plot,
    level: usize,
    level_mean: f64,
    day: i64,
    replicate: usize,
) -> Core {
    let (hour, temperature) = draw.hour_and_temperature(plot.warmth, replicate);
    let theta_probe = level_mean + draw.normal(0.004);
    let theta_core = theta_probe + draw.normal(plot.scatter);

    let dry_soil = (plot.bulk_density + draw.normal(0.025)) * RING_VOLUME_CM3;
    let water = theta_core * WATER_DENSITY * RING_VOLUME_CM3;
    let tare = draw.between(31.0, 36.0);
    // Water the first drying left behind: more where the soil was finer.
    let left = draw.between(0.01, 0.03) * 1.5 / plot.bulk_density;
    let weighed_again = replicate == 1;

    let starts = day + hour * 3600 + i64::from(draw.0.random_range(0..1500_i32));
    let readings = (0..READINGS)
        .map(|i| draw.reading(plot, theta_probe, temperature, starts, i))
        .collect();
    let taken = starts + STEP_S * READINGS as i64 + 60;

    Core {
        sample: format!("{}-L{}{}", plot.soil, level + 1, ['a', 'b', 'c'][replicate]),
        soil: plot.soil,
        probe: plot.probe,
        level: format!("L{}", level + 1),
        tare_g: draw.weigh(tare),
        wet_g: draw.weigh(tare + dry_soil + water),
        dry_g: draw.weigh(tare + dry_soil + left),
        dry_again_g: weighed_again.then(|| draw.weigh(tare + dry_soil)),
        taken_at: second(taken),
        readings,
    }
}

pub(super) struct Draw(ChaCha8Rng);

impl Draw {
    pub(super) fn of(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub(super) fn normal(&mut self, standard_deviation: f64) -> f64 {
        standard_deviation * self.0.sample::<f64, _>(StandardNormal)
    }

    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    fn weigh(&mut self, mass: f64) -> f64 {
        ((mass + self.normal(WEIGHING_SD)) * 100.0).round() / 100.0
    }

    fn hour_and_temperature(&mut self, warmth: Warmth, replicate: usize) -> (i64, f64) {
        let (hour, low, high) = match (warmth, replicate) {
            (Warmth::OpenBed, 0) => (6, 8.2, 12.0),
            (Warmth::OpenBed, 1) => (13, 25.5, 29.8),
            (Warmth::OpenBed, _) => (18, 16.5, 21.0),
            (Warmth::ColdStore, 0) => (8, 13.7, 14.1),
            (Warmth::ColdStore, 1) => (11, 13.8, 14.3),
            (Warmth::ColdStore, _) => (15, 13.9, 14.4),
        };
        (hour, self.between(low, high))
    }

    fn reading(
        &mut self,
        plot: &Plot,
        theta: f64,
        temperature: f64,
        starts: i64,
        index: usize,
    ) -> Reading {
        let temperature = temperature + self.normal(0.04);
        let mut count = plot.response.count(theta)
            + plot.counts_per_c * (temperature - 20.0)
            + self.normal(plot.noise);
        if self.0.random::<f64>() < SPIKE_SHARE {
            let jump = self.between(35.0, 140.0);
            count += if self.0.random::<bool>() { jump } else { -jump };
        }
        Reading {
            at: second(starts + STEP_S * index as i64),
            count: count.round().clamp(0.0, LARGEST_CODE) as u32,
            soil_temp_c: (temperature * 10.0).round() / 10.0,
            supply_mv: (3300.0 + self.normal(2.0)).round() as u32,
        }
    }
}

pub(super) fn second(seconds: i64) -> Timestamp {
    Timestamp::from_second(seconds).expect("a representable time")
}
