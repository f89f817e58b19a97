//! The variances that the uncertainty of a reading is made of, and how far each may
//! be off.
//!
//! In a balanced design the mean squares between probes, between cores and within
//! are independent and each is its expectation times chi-square over its degrees of
//! freedom. Drawing those, and solving for the variances, gives generalised confidence
//! intervals (Weerahandi 1993, J. American Statistical Association 88:899; recalled
//! from memory). Where the design is not balanced the same is taken as near enough;
//! a test says how near.

use super::own::Own;
use super::{Bounded, Study, Wetness};
use crate::batch::error::BatchError;
use crate::batch::one_curve::Sharing;
use crate::batch::pool::{Design, Pool};
use crate::calibration::COVERAGE;
use crate::uncertainty::coverage_factor;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution};

/// Draws behind an interval: its ends then move by a hundredth or so from seed to seed.
const DRAWS: usize = 10_000;

/// What a way leaves of the parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Everything.
    Shared,
    /// Everything that normalisation left.
    Normalised,
    /// No differences between probes, but a curve from few cores.
    Own,
}

/// The variances at one place, (m3/m3)^2, and their degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Parts {
    /// The place, m3/m3.
    pub theta_v: f64,
    /// Probes.
    pub probes: f64,
    /// Between probes.
    pub between: f64,
    /// What is peculiar to a core, where cores are shared.
    pub core: f64,
    /// The rest of a pair.
    pub residual: f64,
    /// Of the shared curve.
    pub curve: f64,
    /// Of the cores' volume.
    pub volume: f64,
    /// Variance of one probe's own offset and gain at the place, in units of
    /// `residual`, averaged over the probes.
    pub sampling: f64,
    /// Variance of a core's mean over its probes beyond `core`, in units of
    /// `residual`.
    pub core_sampling: f64,
    /// Variance of an own calibration, in units of `core + residual`.
    pub own: f64,
    /// Degrees of freedom of `residual`.
    pub residual_freedom: f64,
    /// Degrees of freedom between cores.
    pub core_freedom: f64,
    /// Whether the shared curve's variance comes down with more probes.
    pub curve_by_probes: bool,
}

impl Parts {
    /// The parts of a study at a place.
    ///
    /// # Errors
    /// [`BatchError::OutsideCurve`].
    pub fn at(
        wetness: Wetness,
        study: Study<'_>,
        relative_volume_u: f64,
    ) -> Result<Self, BatchError> {
        let Study {
            pool,
            one_curve,
            mixed,
        } = study;
        let theta_v = wetness.theta_v(pool);
        let z = theta_v - mixed.centre;
        let mut gradient = vec![0.0; pool.columns];
        let fit = &pool.choice.fit;
        let parameters = fit.curve.parameters.len().min(pool.columns);
        fit.curve
            .gradient(count_at(pool, theta_v)?, &mut gradient[..parameters]);
        let freedom = |sharing: Sharing| {
            let mut stages = one_curve.stages.iter();
            stages
                .find(|stage| stage.sharing == sharing)
                .map(|stage| stage.freedom)
        };
        let residual_freedom = mixed
            .gain_sd
            .and_then(|_| freedom(Sharing::OwnOffsetAndGain))
            .or_else(|| freedom(Sharing::OwnOffset))
            .unwrap_or(1.0);
        let pairs = pool.deviations.len() as f64;
        let cores = pool.cores.len() as f64;
        let shared = pool.design == Design::SharedCores;
        Ok(Self {
            theta_v,
            probes: pool.probes.len() as f64,
            between: mixed.between_sd(theta_v).powi(2),
            core: mixed.core_sd.map_or(0.0, |core| core.value.powi(2)),
            residual: mixed.residual_sd.value.powi(2),
            curve: mixed.mean_deviation(theta_v)?.u.powi(2),
            volume: (relative_volume_u * theta_v).powi(2),
            sampling: sampling(pool, z, mixed.gain_sd.is_some()),
            core_sampling: cores / pairs,
            own: Own::of(pool).leverage(pool, &gradient, z),
            residual_freedom: residual_freedom.max(1.0),
            core_freedom: (cores - pool.columns as f64).max(1.0),
            curve_by_probes: !shared,
        })
    }

    /// The same, had there been so many probes.
    pub fn with_probes(self, probes: f64) -> Self {
        let more = probes / self.probes;
        Self {
            probes,
            residual_freedom: self.residual_freedom * more,
            core_sampling: if self.curve_by_probes {
                self.core_sampling
            } else {
                self.core_sampling / more
            },
            curve: if self.curve_by_probes {
                self.curve / more
            } else {
                self.curve
            },
            ..self
        }
    }

    /// The variance of a reading, given those of its parts.
    fn variance(&self, role: Role, between: f64, core: f64, residual: f64) -> f64 {
        let scatter = core + residual;
        match role {
            Role::Shared | Role::Normalised => {
                let now = self.between + self.core + self.residual;
                let scale = if now > 0.0 {
                    (between + scatter) / now
                } else {
                    1.0
                };
                between + scatter + self.curve * scale + self.volume
            }
            Role::Own => scatter * (1.0 + self.own) + self.volume,
        }
    }

    /// The expanded uncertainty with what it may be.
    pub fn bounds(&self, role: Role, seed: u64) -> Bounds {
        let k = coverage_factor(COVERAGE, None);
        let value = k * self
            .variance(role, self.between, self.core, self.residual)
            .sqrt();
        let residuals = ratios(self.residual_freedom, seed);
        let cores = ratios(self.core_freedom, seed.wrapping_add(1));
        // What normalisation leaves of the probes is taken as other than what it took.
        let own_stream = if role == Role::Normalised { 3 } else { 2 };
        let probes = ratios(self.probes - 1.0, seed.wrapping_add(own_stream));
        let mean_square = self.between + self.sampling * self.residual;
        let core_mean_square = self.core + self.core_sampling * self.residual;
        let drawn = residuals
            .iter()
            .zip(&cores)
            .zip(&probes)
            .map(|((residual, core), probe)| {
                let residual = self.residual * residual;
                let between = (mean_square * probe - self.sampling * residual).max(0.0);
                let core = if self.core > 0.0 {
                    (core_mean_square * core - self.core_sampling * residual).max(0.0)
                } else {
                    0.0
                };
                k * self.variance(role, between, core, residual).sqrt()
            })
            .collect();
        Bounds { value, drawn }
    }
}

/// An expanded uncertainty and what it may be, draw by draw.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bounds {
    value: f64,
    drawn: Vec<f64>,
}

impl Bounds {
    /// The figure with its 95 % interval.
    pub fn figure(&self) -> Bounded {
        bounded(self.value, self.drawn.clone())
    }

    /// By how much `other` is less, draw by draw.
    pub fn less(&self, other: &Bounds) -> Bounded {
        let differences = self.drawn.iter().zip(&other.drawn).map(|(a, b)| a - b);
        bounded(self.value - other.value, differences.collect())
    }
}

fn bounded(value: f64, mut drawn: Vec<f64>) -> Bounded {
    drawn.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let place = (share * drawn.len().saturating_sub(1) as f64).round() as usize;
        drawn.get(place).copied().unwrap_or(value)
    };
    let tail = (1.0 - COVERAGE) / 2.0;
    Bounded {
        value,
        low: at(tail).min(value),
        high: at(1.0 - tail).max(value),
    }
}

/// What a true variance may be, as multiples of its estimate.
fn ratios(freedom: f64, seed: u64) -> Vec<f64> {
    let freedom = freedom.max(1.0);
    let mut draws = ChaCha8Rng::seed_from_u64(seed);
    match ChiSquared::new(freedom) {
        Ok(chi_square) => (0..DRAWS)
            .map(|_| freedom / chi_square.sample(&mut draws).max(f64::MIN_POSITIVE))
            .collect(),
        Err(_) => vec![1.0; DRAWS],
    }
}

/// Variance of a probe's own offset (and gain) at `z` from the centre, in units of the
/// residual variance, averaged over the probes.
fn sampling(pool: &Pool, z: f64, with_gain: bool) -> f64 {
    let mut sums = vec![[0.0_f64; 3]; pool.probes.len()];
    for pair in &pool.deviations {
        if let Some([one, first, second]) = sums.get_mut(pair.probe) {
            *one += pair.weight;
            *first += pair.weight * pair.z;
            *second += pair.weight * pair.z * pair.z;
        }
    }
    let of_probe = |[one, first, second]: &[f64; 3]| {
        let determinant = one * second - first * first;
        if with_gain && determinant > 1e-9 * one * second {
            (second - 2.0 * z * first + z * z * one) / determinant
        } else {
            1.0 / one
        }
    };
    let usable = sums.iter().filter(|[one, ..]| *one > 0.0);
    let (sum, probes) = usable
        .map(of_probe)
        .fold((0.0, 0.0), |(sum, n), variance| (sum + variance, n + 1.0));
    if probes > 0.0 { sum / probes } else { 0.0 }
}

/// The count at which the shared curve gives `theta_v`.
///
/// # Errors
/// [`BatchError::OutsideCurve`].
pub fn count_at(pool: &Pool, theta_v: f64) -> Result<f64, BatchError> {
    let fit = &pool.choice.fit;
    let outside = || {
        let ends = [fit.domain.low, fit.domain.high].map(|count| fit.curve.value(count));
        BatchError::OutsideCurve {
            theta: theta_v,
            low: ends[0].min(ends[1]),
            high: ends[0].max(ends[1]),
        }
    };
    fit.curve
        .count_at(theta_v, fit.domain.low, fit.domain.high)
        .map_err(|_| outside())
}
