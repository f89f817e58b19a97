//! Simulated batches of probes whose spread is known.

use calib_core::fit::Observation;
use calib_core::pair::{Pair, TwoPoints};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::collections::BTreeMap;

/// A made-up batch in made-up soil.
#[derive(Debug, Clone, Copy)]
pub struct Batch {
    /// Probes.
    pub probes: usize,
    /// Cores a probe was read beside.
    pub cores: usize,
    /// Whether all probes were read beside the same cores.
    pub shared: bool,
    /// theta_v at a count, for the mean probe.
    pub theta_v: fn(f64) -> f64,
    /// Standard deviation of the probes' offsets in theta_v, m3/m3.
    pub offset: f64,
    /// Standard deviation of the probes' gains, m3/m3 per m3/m3: on the water where
    /// cores are shared, on what the probe says of it where they are its own, as a
    /// study sees them.
    pub gain: f64,
    /// Correlation of offset and gain.
    pub correlation: f64,
    /// Standard deviation between the soil in the ring and the soil a probe feels
    /// that is common to all probes beside the core, m3/m3.
    pub core: f64,
    /// The same that differs from probe to probe, m3/m3.
    pub place: f64,
    /// Standard deviation of a count, counts.
    pub noise: f64,
    /// Standard deviation of theta_v by weighing, m3/m3.
    pub weighing: f64,
}

/// A straight line that falls with the count.
pub fn line(count: f64) -> f64 {
    0.25 - 0.0009 * (count - 500.0)
}

/// A curve of the family that bends.
pub fn quadratic(count: f64) -> f64 {
    let z = (count - 500.0) / 180.0;
    0.22 - 0.15 * z + 0.02 * z * z
}

impl Batch {
    /// A batch of probes that all follow one straight line, as real data scatter.
    pub fn alike(probes: usize, cores: usize, shared: bool) -> Self {
        Self {
            probes,
            cores,
            shared,
            theta_v: line,
            offset: 0.0,
            gain: 0.0,
            correlation: 0.0,
            core: 0.008,
            place: 0.006,
            noise: 2.0,
            weighing: 0.002,
        }
    }

    /// Its pairs; the same for the same seed.
    ///
    /// # Panics
    /// If a theta_v drawn is none that soil can have.
    pub fn pairs(&self, seed: u64) -> Vec<Pair> {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(seed));
        let shared: Vec<Core> = (0..self.cores)
            .map(|i| Core::dug(self, i, &mut draw))
            .collect();
        let mut pairs = Vec::with_capacity(self.probes * self.cores);
        for probe in 0..self.probes {
            let first = draw.normal(1.0);
            let second = draw.normal(1.0);
            let offset = self.offset * first;
            let along = (1.0 - self.correlation * self.correlation).sqrt();
            let gain = self.gain * (self.correlation * first + along * second);
            for (i, core) in shared.iter().enumerate() {
                let core = if self.shared {
                    *core
                } else {
                    Core::dug(self, i, &mut draw)
                };
                let felt = core.felt + draw.normal(self.place);
                let middle = (self.theta_v)(500.0);
                let apparent = if self.shared {
                    felt + offset + gain * (felt - middle)
                } else {
                    // The same with the gain on what the probe says.
                    middle + (felt - middle + offset) / (1.0 - gain)
                };
                let count = self.count_at(apparent) + draw.normal(self.noise);
                let sample = if self.shared {
                    format!("c{i}")
                } else {
                    format!("c{probe}-{i}")
                };
                pairs.push(Pair {
                    probe: format!("p{probe}"),
                    soil: "bed".to_owned(),
                    batch: None,
                    place: None,
                    taken_at: None,
                    observation: Observation {
                        sample,
                        level: format!("l{}", i * 7 / self.cores.max(7)),
                        count: Estimate::new(count, self.noise.max(0.2887)),
                        temperature: None,
                        theta_v: Estimate::new(
                            Vwc::new(core.weighed).expect("a water content"),
                            self.weighing,
                        ),
                        budget: Budget::default(),
                        relative_volume_u: 0.0,
                    },
                });
            }
        }
        pairs
    }

    /// The count at which the mean probe's curve gives `theta`, by halving.
    fn count_at(&self, theta: f64) -> f64 {
        let (mut wet, mut dry) = (0.0, 900.0);
        for _ in 0..60 {
            let middle = 0.5 * (wet + dry);
            if (self.theta_v)(middle) > theta {
                wet = middle;
            } else {
                dry = middle;
            }
        }
        0.5 * (wet + dry)
    }
}

/// Counts in two media for probes that differ in nothing but their scale.
pub fn media(probes: usize) -> BTreeMap<String, TwoPoints> {
    (0..probes)
        .map(|i| {
            let two = TwoPoints {
                low: 650.0,
                high: 250.0,
            };
            (format!("p{i}"), two)
        })
        .collect()
}

#[derive(Debug, Clone, Copy)]
struct Core {
    felt: f64,
    weighed: f64,
}

impl Core {
    /// The i-th of a probe's cores, from dry to wet.
    fn dug(batch: &Batch, i: usize, draw: &mut Draw) -> Self {
        let step = i as f64 / (batch.cores.max(2) - 1) as f64;
        let theta = 0.14 + 0.22 * step + draw.0.random_range(-0.01..0.01);
        Self {
            felt: theta,
            weighed: theta + draw.normal(batch.core) + draw.normal(batch.weighing),
        }
    }
}

struct Draw(ChaCha8Rng);

impl Draw {
    fn normal(&mut self, sd: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.0);
        sd * z
    }
}
