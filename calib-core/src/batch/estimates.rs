//! What each probe's own pairs say of it, other probes left aside.

use super::equivalence::ProbeMean;
use super::mixed::Mixed;
use super::outlying::ProbeEstimate;
use super::pool::{Design, Pool};

/// Share of what a straight line's two columns span below which a gain is not told
/// from an offset.
const TOLD_APART: f64 = 1e-9;

/// Offset and gain of each probe by least squares of its own deviations from the mean
/// probe's curve, in the pool's order, with the covariance that a residual standard deviation of
/// `residual_sd` (of a pair of weight 1, m3/m3) gives them. Where probes share cores,
/// what a core's probes have in common is taken off first. A probe whose pairs do not
/// tell a gain from an offset has none, as uncertain as probes differ.
pub fn own_estimates(pool: &Pool, mixed: &Mixed, residual_sd: f64) -> Vec<ProbeEstimate> {
    let gain_sd = mixed.gain_sd.map_or(0.0, |gain| gain.value);
    let variance = residual_sd * residual_sd;
    let common = in_common(pool);
    let mut sums = vec![Sums::default(); pool.probes.len()];
    for pair in &pool.deviations {
        let (mean, probes) = common.get(pair.core).copied().unwrap_or((0.0, 1.0));
        if let Some(sums) = sums.get_mut(pair.probe) {
            // Where a core's mean is taken off, the curve's correction goes with it.
            let correction: f64 = if probes > 1.0 {
                mean
            } else {
                pair.gradient
                    .iter()
                    .zip(&mixed.fixed)
                    .map(|(g, c)| g * c)
                    .sum()
            };
            sums.add(pair.z, pair.deviation - correction, pair.weight);
            // The mean of a core's probes holds this probe too.
            sums.share += if probes > 1.0 {
                1.0 - 1.0 / probes
            } else {
                1.0
            };
        }
    }
    sums.iter()
        .map(|sums| sums.estimate(variance, gain_sd * gain_sd))
        .collect()
}

/// Whether each probe's own pairs tell an offset from a gain: three or more, not all
/// at one wetness. What [`own_estimates`] gives of the others is mostly the batch's.
pub fn tells_gain(pool: &Pool) -> Vec<bool> {
    let mut sums = vec![Sums::default(); pool.probes.len()];
    for pair in &pool.deviations {
        if let Some(sums) = sums.get_mut(pair.probe) {
            sums.add(pair.z, pair.deviation, pair.weight);
        }
    }
    sums.iter().map(Sums::tells_gain).collect()
}

/// The mean deviation of each core and the number of its probes; zero where each
/// probe has cores of its own.
fn in_common(pool: &Pool) -> Vec<(f64, f64)> {
    let mut common = vec![(0.0, 0.0); pool.cores.len()];
    if pool.design == Design::OwnCores {
        return common;
    }
    for pair in &pool.deviations {
        if let Some((sum, probes)) = common.get_mut(pair.core) {
            *sum += pair.deviation;
            *probes += 1.0;
        }
    }
    for (sum, probes) in &mut common {
        if *probes > 1.0 {
            *sum /= *probes;
        } else {
            *sum = 0.0;
        }
    }
    common
}

/// Weighted sums over the pairs of a probe.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    one: f64,
    z: f64,
    zz: f64,
    d: f64,
    zd: f64,
    pairs: f64,
    share: f64,
}

impl Sums {
    fn add(&mut self, z: f64, deviation: f64, weight: f64) {
        self.one += weight;
        self.z += weight * z;
        self.zz += weight * z * z;
        self.d += weight * deviation;
        self.zd += weight * z * deviation;
        self.pairs += 1.0;
    }

    fn determinant(&self) -> f64 {
        self.one * self.zz - self.z * self.z
    }

    fn tells_gain(&self) -> bool {
        self.determinant() > TOLD_APART * self.one * self.zz && self.pairs > 2.0
    }

    fn estimate(&self, variance: f64, gain_variance: f64) -> ProbeEstimate {
        let variance = variance * self.share / self.pairs.max(1.0);
        if self.tells_gain() {
            let determinant = self.determinant();
            return ProbeEstimate {
                offset: (self.zz * self.d - self.z * self.zd) / determinant,
                gain: (self.one * self.zd - self.z * self.d) / determinant,
                covariance: [
                    [self.zz, -self.z].map(|sum| variance * sum / determinant),
                    [-self.z, self.one].map(|sum| variance * sum / determinant),
                ],
            };
        }
        let one = self.one.max(f64::MIN_POSITIVE);
        let z = self.z / one;
        ProbeEstimate {
            offset: self.d / one,
            gain: 0.0,
            covariance: [
                [variance / one + z * z * gain_variance, -z * gain_variance],
                [-z * gain_variance, gain_variance],
            ],
        }
    }
}

/// An estimate at `z` from the centre, as the comparison of batches takes it. The
/// sampling variance counts as part of the spread of the batch.
pub fn mean_at(estimate: &ProbeEstimate, z: f64) -> ProbeMean {
    ProbeMean {
        value: estimate.offset + z * estimate.gain,
        variance: 0.0,
    }
}
