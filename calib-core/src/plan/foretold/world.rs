//! One simulated calibration: cores dug, readings logged, and new readings to foretell.

use super::Truth;
use crate::calibration::{Calibration, Instrument, ReadingNoise};
use crate::fit::{Choice, FitError, Observation, Request, choose};
use crate::quantity::{Celsius, Estimate, Quantity, Timestamp, Vwc};
use crate::readings::{Reading, WindowRule, pool_noise, summarise};
use crate::uncertainty::Budget;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Seconds between readings of a window.
const STEP_S: i64 = 30;

/// A world of its own for every number, whichever thread it falls to.
pub(crate) struct World<'a> {
    truth: &'a Truth,
    rule: WindowRule,
    /// Relative error of the ring.
    ring_error: f64,
    /// Relative error that the supply of all later readings has.
    supply_error: f64,
    /// Counts by which the probe that is used differs from the one calibrated.
    probe_error: f64,
    rng: ChaCha8Rng,
}

/// A new reading, and the water that was really there.
pub(crate) struct NewReading {
    /// Count as read.
    pub(crate) count: f64,
    /// Soil temperature as the thermometer has it.
    pub(crate) temperature: Option<Celsius>,
    /// theta_v of the soil there, m3/m3.
    pub(crate) theta_v: f64,
}

impl<'a> World<'a> {
    /// World `number` of those that `seed` gives.
    pub(crate) fn new(truth: &'a Truth, seed: u64, number: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(number);
        let mut world = Self {
            truth,
            rule: WindowRule::for_converter(truth.adc_bits),
            ring_error: 0.0,
            supply_error: 0.0,
            probe_error: 0.0,
            rng,
        };
        world.ring_error = world.normal(truth.relative_volume_u);
        world.supply_error = world.normal(truth.supply_relative_u);
        world.probe_error = world.normal(truth.probe_to_probe_counts);
        world
    }

    fn normal(&mut self, sd: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.rng);
        sd * z
    }

    fn temperature(&mut self) -> f64 {
        let (low, high) = self.truth.soil_temperature_c;
        if high > low {
            self.rng.random_range(low..high)
        } else {
            low
        }
    }

    fn seen(&mut self, temperature: f64) -> Option<Celsius> {
        let error = self.normal(self.truth.temperature_u);
        Celsius::new(temperature + error).ok()
    }

    /// What a probe shows where it should show `count` at the reference temperature.
    fn shown(&mut self, count: f64, temperature: f64) -> f64 {
        let warmth = self.truth.temperature.map_or(0.0, |term| {
            term.coefficient * (temperature - term.reference.value())
        });
        count + warmth + self.normal(self.truth.noise_counts)
    }

    /// As the converter has it.
    fn code(&self, count: f64) -> u32 {
        count.round().clamp(0.0, f64::from(self.rule.full_scale)) as u32
    }

    /// Digs a core where the soil beside the probe holds `theta_v` and reads the probe;
    /// `None` if its readings or its masses are of no use.
    pub(crate) fn core(
        &mut self,
        theta_v: f64,
        level: &str,
        number: usize,
    ) -> Option<(Observation, ReadingNoise)> {
        let truth = self.truth;
        let count = truth.curve.count(theta_v);
        let temperature = self.temperature();
        let seen = self.seen(temperature);
        let readings: Vec<Reading> = (0..truth.readings_per_core)
            .map(|i| Reading {
                time: Timestamp(STEP_S * i as i64),
                count: {
                    let shown = self.shown(count, temperature);
                    self.code(shown)
                },
                soil_temperature: seen,
                supply_mv: None,
            })
            .collect();
        let held = theta_v + self.normal(truth.core_scatter);
        let weighed = held * (1.0 + self.ring_error) + self.normal(truth.reference_u);
        let window = summarise(&readings, &self.rule).ok()?;
        let observation = Observation {
            sample: format!("{level}-{}", number + 1),
            level: level.to_owned(),
            count: window.count,
            temperature: window.temperature,
            theta_v: Estimate::new(Vwc::new(weighed).ok()?, truth.reference_u),
            budget: Budget::default(),
            relative_volume_u: truth.relative_volume_u,
        };
        Some((observation, window.noise))
    }

    /// Digs `cores_per_level` cores at every level (m3/m3) and reads the probe beside
    /// each; with the noise of the readings, pooled.
    pub(crate) fn dig(
        &mut self,
        levels: &[f64],
        cores_per_level: usize,
    ) -> (Vec<Observation>, Option<ReadingNoise>) {
        let (mut observations, mut noises) = (Vec::new(), Vec::new());
        for (place, level) in levels.iter().enumerate() {
            let name = (place + 1).to_string();
            for number in 0..cores_per_level {
                let theta = (level + self.normal(self.truth.level_spread)).max(0.0);
                if let Some((observation, noise)) = self.core(theta, &name, number) {
                    observations.push(observation);
                    noises.push(noise);
                }
            }
        }
        (observations, pool_noise(noises))
    }

    /// The calibration that these cores give.
    pub(crate) fn calibration(
        &self,
        observations: &[Observation],
        noise: Option<ReadingNoise>,
        request: Request,
    ) -> Result<(Calibration, Choice), FitError> {
        let truth = self.truth;
        let choice = choose(observations, request)?;
        let instrument = Instrument {
            probe: String::new(),
            soil: String::new(),
            adc_bits: truth.adc_bits,
            noise: noise.unwrap_or(ReadingNoise {
                standard_deviation: truth.noise_counts,
                degrees_of_freedom: f64::INFINITY,
            }),
            temperature_u: truth.temperature_u,
            supply_relative_u: truth.supply_relative_u,
            probe_to_probe: truth.probe_to_probe_counts,
        };
        let calibration = Calibration::new(instrument, &choice, observations);
        Ok((calibration, choice))
    }

    /// A new reading later on, where the probe feels `theta_v` (m3/m3): the soil about
    /// it differs as a core's would.
    pub(crate) fn reading(&mut self, theta_v: f64) -> NewReading {
        let truth = self.truth;
        let temperature = self.temperature();
        let as_calibrated = self.shown(truth.curve.count(theta_v), temperature);
        let shown = (as_calibrated + self.probe_error) * (1.0 + self.supply_error);
        NewReading {
            count: f64::from(self.code(shown)),
            temperature: self.seen(temperature),
            theta_v: theta_v + self.normal(truth.core_scatter),
        }
    }

    /// The count of an undisturbed probe there, at the reference temperature.
    pub(crate) fn undisturbed(&self, theta_v: f64) -> (f64, Option<Celsius>) {
        let reference = self.truth.temperature.map(|term| term.reference);
        let (low, high) = self.truth.soil_temperature_c;
        let middle = Celsius::new(0.5 * (low + high)).ok();
        (self.truth.curve.count(theta_v), reference.or(middle))
    }
}
