//! Which probes are not of the same kind as the rest of their batch.
//!
//! Each probe's distance from a middle that bad probes cannot move is compared with
//! the farthest probe of sound batches: simulated ones of as many probes, as unsure
//! each, scattered as these are. So the chance of any false alarm is that of the
//! whole batch, however many probes it has, and a probe of few cores is not taken
//! for a bad one.
//!
//! What 10,000 simulated sound batches gave at 5 %: 3.9 to 6.1 of a hundred from 40
//! probes on, where sampling variances differ up to fivefold, whatever the spread
//! between probes, none included; of fewer than 40 probes 0 to 5. Of 2,000 batches of
//! 40 whose sampling variances differ 25-fold about that spread: 7.5.

mod middle;
mod plane;

use super::distribution::{chi_square_point, chi_square_upper};
use super::statistics_error::{BatchStatisticsError, between, enough, finite};
use middle::{Middle, Point, Search};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub(super) use plane::Symmetric;

/// What the cores of one probe say of its deviation from the shared curve. Not
/// shrunk towards the other probes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProbeEstimate {
    /// Offset, m3/m3.
    pub offset: f64,
    /// Gain: change of the deviation by 1 m3/m3.
    pub gain: f64,
    /// Sampling covariance of (offset, gain): from the probe's own cores.
    pub covariance: [[f64; 2]; 2],
}

/// The same where no gain is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OffsetEstimate {
    /// Offset, m3/m3.
    pub offset: f64,
    /// Its sampling variance.
    pub variance: f64,
}

/// How outlying probes are looked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutlyingSettings {
    /// Probability that a batch without any outlying probe raises an alarm.
    pub false_alarms: f64,
    /// Batches to simulate for the cut-off; `None` for as many as are worth while.
    pub draws: Option<usize>,
    /// Seed of the simulation.
    pub seed: u64,
    /// Degrees of freedom of the residual scatter that the sampling covariances
    /// were reckoned from; `None` where it is as good as known.
    pub sampling_freedom: Option<f64>,
}

impl Default for OutlyingSettings {
    /// 5 % of batches.
    fn default() -> Self {
        OutlyingSettings {
            false_alarms: 0.05,
            draws: None,
            seed: 1,
            sampling_freedom: None,
        }
    }
}

/// One probe as seen from the middle of its batch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProbeDistance {
    /// Robust distance, in standard deviations, its own sampling error allowed for.
    pub distance: f64,
    /// Probability that the farthest probe of a sound batch lies this far out or
    /// farther.
    pub p_value: f64,
    /// Whether it lies beyond the cut-off.
    pub outlying: bool,
}

/// Where the cut-off comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CutOffSource {
    /// The same estimator on simulated batches with these sampling covariances.
    Simulated,
    /// The distribution that the distances of a large batch approach.
    Approximated,
}

/// Every probe's distance from the middle of the batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Outlying {
    /// In the order given.
    pub probes: Vec<ProbeDistance>,
    /// Distance beyond which a probe is outlying.
    pub cut_off: f64,
    /// Probability of any alarm in a sound batch.
    pub false_alarms: f64,
    /// Robust middle of (offset, gain); the gain is 0 where none is asked for.
    pub centre: [f64; 2],
    /// Robust covariance of the probes' true (offset, gain), sampling error taken
    /// off; zero where sampling error explains all.
    pub spread: [[f64; 2]; 2],
    /// Where the cut-off comes from.
    pub cut_off_source: CutOffSource,
    /// Batches simulated; 0 where none were.
    pub draws: usize,
}

/// Fewest probes among which an outlying one can be told.
pub const FEWEST_PROBES: usize = 5;

/// Batches simulated at most for a cut-off; one more is a multiple of 20.
const MOST_DRAWS: usize = 1999;
/// Probes simulated in all, so that larger batches are simulated fewer times.
const PROBES_DRAWN: usize = 400_000;
/// Batches of more probes than this are not simulated.
const LARGE: usize = 1500;
/// Outlying probes by offset and gain together.
///
/// # Errors
/// Fewer than [`FEWEST_PROBES`]; figures that are not finite or are no covariance;
/// half of the probes or more alike to the last digit; settings out of range.
pub fn outlying(
    estimates: &[ProbeEstimate],
    settings: &OutlyingSettings,
) -> Result<Outlying, BatchStatisticsError> {
    let points = estimates
        .iter()
        .enumerate()
        .map(|(index, estimate)| {
            Ok(Point {
                at: [
                    finite("offset", index, estimate.offset)?,
                    finite("gain", index, estimate.gain)?,
                ],
                sampling: covariance(index, estimate.covariance)?,
            })
        })
        .collect::<Result<Vec<Point>, BatchStatisticsError>>()?;
    judge(&points, 2, settings)
}

/// Outlying probes by offset alone.
///
/// # Errors
/// As [`outlying`].
pub fn outlying_offsets(
    estimates: &[OffsetEstimate],
    settings: &OutlyingSettings,
) -> Result<Outlying, BatchStatisticsError> {
    let points = estimates
        .iter()
        .enumerate()
        .map(|(index, estimate)| {
            // A second figure that is always 0 and known to 1: it adds nothing.
            Ok(Point {
                at: [finite("offset", index, estimate.offset)?, 0.0],
                sampling: covariance(index, [[estimate.variance, 0.0], [0.0, 1.0]])?,
            })
        })
        .collect::<Result<Vec<Point>, BatchStatisticsError>>()?;
    judge(&points, 1, settings)
}

/// A probe's own estimate: least squares of its deviations on 1 and `z`, each row
/// `(z, deviation, weight)`. `residual_sd` is the scatter of a deviation of weight one.
/// Where probes share cores, the mean deviation of a core's probes should be taken
/// off first.
///
/// # Errors
/// Fewer than two rows of a weight above zero, all at one `z`, or figures that are
/// not finite.
pub fn own_estimate(
    rows: &[(f64, f64, f64)],
    residual_sd: f64,
) -> Result<ProbeEstimate, BatchStatisticsError> {
    finite("residual scatter", 0, residual_sd)?;
    for (index, (z, deviation, weight)) in rows.iter().enumerate() {
        finite("water content", index, *z)?;
        finite("deviation", index, *deviation)?;
        finite("weight", index, *weight)?;
    }
    let rows = || rows.iter().filter(|(_, _, weight)| *weight > 0.0);
    enough("cores of a probe", rows().count(), 2)?;
    let total: f64 = rows().map(|(_, _, w)| w).sum();
    let mean = |of: fn(&(f64, f64, f64)) -> f64| rows().map(|r| r.2 * of(r)).sum::<f64>() / total;
    let (mean_z, mean_deviation) = (mean(|r| r.0), mean(|r| r.1));
    let squares: f64 = rows().map(|(z, _, w)| w * (z - mean_z).powi(2)).sum();
    let products: f64 = rows()
        .map(|(z, d, w)| w * (z - mean_z) * (d - mean_deviation))
        .sum();
    if squares <= f64::EPSILON * total * mean_z * mean_z {
        return Err(BatchStatisticsError::NoSpread {
            what: "water contents of a probe's cores",
            alike: rows().count(),
            given: rows().count(),
        });
    }
    let gain = products / squares;
    let variance = residual_sd * residual_sd;
    let both = -variance * mean_z / squares;
    let offset_variance = variance / total - both * mean_z;
    Ok(ProbeEstimate {
        offset: finite("offset", 0, mean_deviation - gain * mean_z)?,
        gain: finite("gain", 0, gain)?,
        covariance: [
            [finite("variance", 0, offset_variance)?, both],
            [both, finite("variance", 0, variance / squares)?],
        ],
    })
}

/// The covariance of probe number `index`, if it is one.
pub(super) fn covariance(
    index: usize,
    rows: [[f64; 2]; 2],
) -> Result<Symmetric, BatchStatisticsError> {
    let matrix = Symmetric::new(rows);
    let (first, second) = (matrix.first, matrix.second);
    let sound = [first, second, matrix.both].iter().all(|v| v.is_finite())
        && first >= 0.0
        && second >= 0.0
        && matrix.both * matrix.both <= first * second * (1.0 + 1e-9);
    if sound {
        Ok(matrix)
    } else {
        Err(BatchStatisticsError::NotACovariance {
            place: index + 1,
            first,
            second,
            covariance: matrix.both,
        })
    }
}

fn judge(
    points: &[Point],
    dimension: usize,
    settings: &OutlyingSettings,
) -> Result<Outlying, BatchStatisticsError> {
    enough("probes", points.len(), FEWEST_PROBES)?;
    let false_alarms = between("the share of false alarms", settings.false_alarms, 0.0, 1.0)?;
    if let Some(freedom) = settings.sampling_freedom {
        if freedom == 0.0 {
            return Err(BatchStatisticsError::NothingLeft);
        }
        between("the degrees of freedom", freedom, 0.0, f64::INFINITY)?;
    }
    if let Some(draws) = settings.draws {
        enough("draws", draws, (1.0 / false_alarms).ceil() as usize - 1)?;
    }
    let none = BatchStatisticsError::NoSpread {
        what: "probes",
        alike: points.len().div_ceil(2),
        given: points.len(),
    };
    let search = Search::new(points.len(), dimension);
    let middle = search.middle(points).ok_or(none.clone())?;
    let squared = points
        .iter()
        .map(|point| middle.squared_distance(point))
        .collect::<Option<Vec<f64>>>()
        .ok_or(none)?;
    let farthest = if points.len() > LARGE && settings.draws.is_none() {
        Farthest::Approximated {
            probes: points.len() as f64,
            dimension: dimension as f64,
        }
    } else {
        let draws = settings.draws.unwrap_or_else(|| {
            (PROBES_DRAWN / points.len() / 20 * 20).clamp(20, MOST_DRAWS + 1) - 1
        });
        simulate(&search, points, &middle, settings, draws)
    };
    let cut_off = farthest.cut_off(false_alarms);
    let probes = squared
        .into_iter()
        .map(|squared| ProbeDistance {
            distance: squared.sqrt(),
            p_value: farthest.probability(squared),
            outlying: squared > cut_off,
        })
        .collect();
    Ok(Outlying {
        probes,
        cut_off: cut_off.sqrt(),
        false_alarms,
        centre: middle.centre,
        spread: middle.spread.rows(),
        cut_off_source: farthest.source(),
        draws: farthest.draws(),
    })
}

/// How far the farthest probe of a sound batch lies, squared.
enum Farthest {
    /// Of each simulated batch, in order.
    Simulated(Vec<f64>),
    /// Of probes independent of one another whose spread is as good as known: each
    /// squared distance is chi-square.
    Approximated { probes: f64, dimension: f64 },
}

impl Farthest {
    fn source(&self) -> CutOffSource {
        match self {
            Farthest::Simulated(_) => CutOffSource::Simulated,
            Farthest::Approximated { .. } => CutOffSource::Approximated,
        }
    }

    fn draws(&self) -> usize {
        match self {
            Farthest::Simulated(sorted) => sorted.len(),
            Farthest::Approximated { .. } => 0,
        }
    }

    /// Probability that it lies as far as this or farther. Simulated, never less
    /// than one over one more than the draws.
    fn probability(&self, squared: f64) -> f64 {
        match self {
            Farthest::Simulated(sorted) => {
                let nearer = sorted.partition_point(|draw| *draw < squared);
                (sorted.len() - nearer + 1) as f64 / (sorted.len() + 1) as f64
            }
            Farthest::Approximated { probes, dimension } => {
                let one = chi_square_upper(*dimension, squared);
                -(probes * (-one).ln_1p()).exp_m1()
            }
        }
    }

    /// Squared distance that it exceeds with the probability asked for.
    fn cut_off(&self, false_alarms: f64) -> f64 {
        match self {
            Farthest::Simulated(sorted) => {
                let allowed = false_alarms * (sorted.len() + 1) as f64 + 1e-9;
                let place = sorted.len().saturating_sub(allowed as usize);
                sorted.get(place).copied().unwrap_or(f64::MAX)
            }
            Farthest::Approximated { dimension, .. } => {
                let mut low = 0.0;
                let mut high = chi_square_point(*dimension, 1e-16);
                for _ in 0..80 {
                    let middle = f64::midpoint(low, high);
                    if self.probability(middle) > false_alarms {
                        low = middle;
                    } else {
                        high = middle;
                    }
                }
                high
            }
        }
    }
}

/// Below this many probes the spread is known too badly to be taken for the true one
/// (20 probes of unequal precision would raise an alarm in 9 sound batches of a
/// hundred). Cut-offs are then also those of probes without sampling error, which do
/// not depend on it, and the wider one counts: alarms in at most 5 of a hundred, in
/// fewer where sampling error is most of what is seen.
const FEW: usize = 40;

/// The farthest probe of simulated batches of these probes, all of them sound.
fn simulate(
    search: &Search,
    points: &[Point],
    middle: &Middle,
    settings: &OutlyingSettings,
    draws: usize,
) -> Farthest {
    let search = &search.of_sound_batches();
    let mut sorted = farthest_of_each(search, points, middle.spread, settings, draws);
    if points.len() < FEW {
        let exact: Vec<Point> = points.iter().map(|point| search.exactly(point)).collect();
        let spread = middle.spread + search.typical_sampling(points, middle);
        let others = farthest_of_each(search, &exact, spread, settings, draws);
        for (one, other) in sorted.iter_mut().zip(others) {
            *one = one.max(other);
        }
    }
    Farthest::Simulated(sorted)
}

/// Squared distance of the farthest probe of each simulated batch, in order.
fn farthest_of_each(
    search: &Search,
    points: &[Point],
    spread: Symmetric,
    settings: &OutlyingSettings,
    draws: usize,
) -> Vec<f64> {
    let one_batch = |draw: usize| {
        let mut random = ChaCha8Rng::seed_from_u64(settings.seed);
        random.set_stream(draw as u64 + 1);
        // By how much the sampling covariances are over- or underestimated.
        let factor = settings
            .sampling_freedom
            .and_then(|freedom| Some(ChiSquared::new(freedom).ok()?.sample(&mut random) / freedom))
            .unwrap_or(1.0);
        let batch = sound_batch(search, points, spread, factor, &mut random);
        let found = search.middle(&batch)?;
        batch
            .iter()
            .map(|point| found.squared_distance(point))
            .try_fold(0.0, |most: f64, squared| Some(most.max(squared?)))
    };
    let mut sorted: Vec<f64> = (0..draws)
        .into_par_iter()
        // A simulated batch without a middle counts as one with an alarm.
        .map(|draw| one_batch(draw).unwrap_or(f64::MAX))
        .collect();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted
}

/// Probes as unsure as these, with this spread and nothing wrong. Their sampling
/// covariances are stated too large by `factor`.
fn sound_batch(
    search: &Search,
    points: &[Point],
    spread: Symmetric,
    factor: f64,
    random: &mut ChaCha8Rng,
) -> Vec<Point> {
    points
        .iter()
        .map(|point| {
            let [top, side, bottom] = (spread + point.sampling).root();
            let first: f64 = StandardNormal.sample(random);
            let second: f64 = if search.dimension() == 2 {
                StandardNormal.sample(random)
            } else {
                0.0
            };
            Point {
                at: [top * first, side * first + bottom * second],
                sampling: search.inflated(point, factor),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests;
