//! Simulated calibrations whose truth is known, for coverage and property tests.

use calib_core::calibration::{Calibration, Instrument, ReadingNoise};
use calib_core::curve::CurveKind;
use calib_core::fit::{Choice, Observation, Regression, Request, choose};
use calib_core::quantity::{Celsius, Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A made-up probe in a made-up soil.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    /// theta_v at a count at the reference temperature.
    pub theta_v: fn(f64) -> f64,
    /// Counts per degree from 18 C.
    pub coefficient: f64,
    /// Standard deviation of theta_v from place to place, m3/m3.
    pub scatter: f64,
    /// Standard deviation of one reading, counts.
    pub noise: f64,
    /// Standard uncertainty of weighing and drying, m3/m3.
    pub weighing: f64,
    /// Relative standard uncertainty of the ring volume.
    pub ring: f64,
    /// Standard uncertainty of the soil thermometer, C.
    pub thermometer: f64,
    /// Whether soil temperature varies from core to core.
    pub warm: bool,
}

impl Truth {
    /// A probe like many, in soil that scatters by `scatter` about a curve that
    /// one of the family can follow exactly.
    pub fn of(kind: CurveKind, scatter: f64) -> Self {
        Self {
            theta_v: truth_of(kind),
            coefficient: 0.6,
            scatter,
            noise: 1.5,
            weighing: 0.0015,
            ring: 0.006,
            thermometer: 0.3,
            warm: true,
        }
    }
}

/// Counts between which cores are taken.
pub const COUNTS: (f64, f64) = (320.0, 680.0);
/// Readings beside each core.
pub const READINGS: usize = 12;
/// Reference temperature of the truth, C.
pub const REFERENCE: f64 = 18.0;

/// A curve of the family as the solver takes it, in the dimensionless count.
#[derive(Debug, Clone, Copy)]
pub struct OfCurve(pub CurveKind);

impl Regression for OfCurve {
    fn parameters(&self) -> usize {
        self.0.parameters()
    }
    fn inputs(&self) -> usize {
        1
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        let (value, slope) = self.0.model().evaluate(x[0], p, g);
        v[0] = slope;
        value
    }
}

/// How far from zero on the dimensionless axis a curve of the kind is itself.
pub fn reach(kind: CurveKind) -> f64 {
    match kind {
        // Count zero is z = -1 on the axis of these.
        CurveKind::Hyperbolic | CurveKind::Power => 0.6,
        // Its levels lie a little beyond 1, and the knots of the other at 1, past
        // which a spline elsewhere does not go on straight.
        CurveKind::InvertedLogistic | CurveKind::MonotoneSpline => 0.8,
        _ => 1.0,
    }
}

/// A truth that a curve of the family can follow exactly.
pub fn truth_of(kind: CurveKind) -> fn(f64) -> f64 {
    match kind {
        CurveKind::StraightLine => |c| 0.25 - 0.0009 * (c - 500.0),
        CurveKind::Hyperbolic => |c| 190.0 / c - 0.19,
        CurveKind::Quadratic => |c| {
            let z = (c - 500.0) / 180.0;
            0.22 - 0.15 * z + 0.05 * z * z
        },
        CurveKind::Exponential => |c| 0.04 + 0.36 * (-0.007 * (c - 320.0)).exp(),
        CurveKind::Cubic => |c| {
            let z = (c - 500.0) / 180.0;
            0.22 - 0.09 * z + 0.02 * z * z - 0.06 * z * z * z
        },
        CurveKind::Power => |c| 0.02 + 0.34 * (c / 320.0).powf(-2.5),
        CurveKind::TwoSegment => |c| 0.20 - (0.0014 * (c - 470.0)).min(0.0005 * (c - 470.0)),
        CurveKind::InvertedLogistic => |c| 0.24 - 0.07 * ((c - 250.0) / (730.0 - c)).ln(),
        // The knots are at the ends of the counts dug, which vary; it follows
        // this closely, not exactly.
        CurveKind::MonotoneSpline => |c| {
            let z = (c - 500.0) / 180.0;
            let p = [0.2, -0.15, -1.5, 0.8, 0.7];
            CurveKind::MonotoneSpline.model().value(z, &p)
        },
    }
}

/// One simulated world: cores dug, and new readings to foretell.
#[derive(Debug)]
pub struct World {
    truth: Truth,
    ring_error: f64,
    wrong_cores: f64,
    rng: ChaCha8Rng,
}

impl World {
    /// A world of its own for every `seed`.
    pub fn new(truth: Truth, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let error: f64 = StandardNormal.sample(&mut rng);
        Self {
            truth,
            ring_error: truth.ring * error,
            wrong_cores: 0.0,
            rng,
        }
    }

    /// With this share of cores grossly wrong: a slip of mass or label puts them 5
    /// to 10 standard deviations off.
    pub fn with_wrong_cores(mut self, share: f64) -> Self {
        self.wrong_cores = share;
        self
    }

    fn slip(&mut self) -> f64 {
        if self.wrong_cores == 0.0 || !self.rng.random_bool(self.wrong_cores) {
            return 0.0;
        }
        let size = self.truth.scatter.hypot(self.truth.weighing);
        let side = if self.rng.random_bool(0.5) { 1.0 } else { -1.0 };
        side * size * self.rng.random_range(5.0..10.0)
    }

    fn normal(&mut self, sd: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.rng);
        sd * z
    }

    fn temperature(&mut self) -> f64 {
        if self.truth.warm {
            self.rng.random_range(8.0..28.0)
        } else {
            REFERENCE
        }
    }

    fn read(&mut self, count: f64, temperature: f64) -> f64 {
        (count + self.truth.coefficient * (temperature - REFERENCE) + self.normal(self.truth.noise))
            .round()
    }

    /// Digs `levels` x `cores` and reads the probe beside each.
    ///
    /// # Panics
    /// If the truth leaves the plausible range.
    pub fn dig(&mut self, levels: usize, cores: usize) -> Vec<Observation> {
        let (low, high) = COUNTS;
        let mut observations = Vec::new();
        for level in 0..levels {
            let aim = low + (high - low) * level as f64 / (levels - 1) as f64;
            for core in 0..cores {
                let count = (aim + self.normal(8.0)).clamp(low - 30.0, high + 30.0);
                let mut core = self.core(count, format!("{level}-{core}"));
                core.level = level.to_string();
                observations.push(core);
            }
        }
        observations
    }

    /// Digs one core where the probe reads about `count` and reads the probe beside it.
    fn core(&mut self, count: f64, sample: String) -> Observation {
        let temperature = self.temperature();
        let mut readings: Vec<f64> = (0..READINGS)
            .map(|_| self.read(count, temperature))
            .collect();
        readings.sort_by(f64::total_cmp);
        let median = (readings[READINGS / 2 - 1] + readings[READINGS / 2]) / 2.0;
        let theta = (self.truth.theta_v)(count) + self.normal(self.truth.scatter);
        let weighed =
            theta * (1.0 + self.ring_error) + self.normal(self.truth.weighing) + self.slip();
        let seen = temperature + self.normal(self.truth.thermometer);
        Observation {
            level: sample.clone(),
            sample,
            count: Estimate::new(
                median,
                // The median of n normal values has pi/2 times the
                // variance of their mean, and is rounded.
                (std::f64::consts::FRAC_PI_2 * self.truth.noise.powi(2) / READINGS as f64
                    + 1.0 / 12.0)
                    .sqrt(),
            ),
            temperature: Some(Celsius::new(seen).expect("a temperature")),
            theta_v: Estimate::new(
                Vwc::new(weighed).expect("a water content"),
                self.truth.weighing,
            ),
            budget: Budget::default(),
            relative_volume_u: self.truth.ring,
        }
    }

    /// A core dug later, anywhere in the range of counts, where the soil is by `drift`
    /// m3/m3 wetter than it was at this count.
    ///
    /// # Panics
    /// If the drift leaves the plausible range.
    pub fn spot_check(&mut self, drift: f64, sample: String) -> Observation {
        let (low, high) = COUNTS;
        let count = self.rng.random_range(low..high);
        let mut core = self.core(count, sample);
        let theta = core.theta_v.value.value() + drift;
        core.theta_v.value = Vwc::new(theta).expect("a water content");
        core
    }

    /// Calibrates on freshly dug cores; `None` where the fit refuses.
    pub fn calibrate(
        &mut self,
        levels: usize,
        cores: usize,
        request: impl Into<Request>,
    ) -> Option<(Calibration, Choice)> {
        let observations = self.dig(levels, cores);
        let choice = choose(&observations, request).ok()?;
        let instrument = Instrument {
            probe: "p".into(),
            soil: "s".into(),
            adc_bits: 10,
            noise: ReadingNoise {
                standard_deviation: self.truth.noise,
                degrees_of_freedom: (levels * cores * (READINGS - 1)) as f64,
            },
            temperature_u: self.truth.thermometer,
            supply_relative_u: 0.0,
            probe_to_probe: 0.0,
        };
        let calibration = Calibration::new(instrument, &choice, &observations);
        Some((calibration, choice))
    }

    /// Reads the probe at a new place and tells whether the calibration's
    /// interval holds the true theta_v there; `None` if the calibration has no
    /// answer (outside its domain).
    pub fn foretells(&mut self, calibration: &Calibration) -> Option<Foretold> {
        let (low, high) = COUNTS;
        let count = self.rng.random_range(low..high);
        let temperature = self.temperature();
        let reading = self.read(count, temperature);
        let theta = (self.truth.theta_v)(count) + self.normal(self.truth.scatter);
        let seen = temperature + self.normal(self.truth.thermometer);
        let prediction = calibration.predict(reading, Celsius::new(seen).ok()).ok()?;
        let half_width = prediction.expanded.expanded;
        Some(Foretold {
            held: (prediction.theta_v.value() - theta).abs() <= half_width,
            half_width,
        })
    }
}

/// What a calibration said of a new reading.
#[derive(Debug, Clone, Copy)]
pub struct Foretold {
    /// Whether its interval holds the truth.
    pub held: bool,
    /// Half the width of the interval, m3/m3.
    pub half_width: f64,
}
