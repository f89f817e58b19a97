//! Probes in the order of how far they lie from the shared curve, and how sure that
//! order is.

use super::outlying::{ProbeEstimate, Symmetric, covariance};
use super::statistics_error::{BatchStatisticsError, enough, finite};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Mean of `z` and of its square over the range that matters, `z` being theta_v
/// less the value at which offsets are stated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RangeMoments {
    /// Mean of `z`, m3/m3.
    pub mean: f64,
    /// Mean of its square.
    pub mean_square: f64,
}

impl RangeMoments {
    /// Every value between `low` and `high` alike.
    pub fn even(low: f64, high: f64) -> RangeMoments {
        RangeMoments {
            mean: low.midpoint(high),
            mean_square: (low * low + low * high + high * high) / 3.0,
        }
    }
}

/// What the batch as a whole is like: where each probe's true (offset, gain) comes
/// from, before its own cores are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Population {
    /// Mean of (offset, gain).
    pub centre: [f64; 2],
    /// Their covariance between probes.
    pub spread: [[f64; 2]; 2],
}

/// How the order is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RankingSettings {
    /// Draws; `None` for as many as are worth while.
    pub draws: Option<usize>,
    /// Seed.
    pub seed: u64,
}

impl Default for RankingSettings {
    fn default() -> Self {
        RankingSettings {
            draws: None,
            seed: 1,
        }
    }
}

/// The place of one probe.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Placed {
    /// Root mean square deviation from the shared curve over the range, sampling
    /// error allowed for, m3/m3: the median of the draws.
    pub deviation: f64,
    /// Lower end of its 95 % interval.
    pub deviation_low: f64,
    /// Upper end of its 95 % interval.
    pub deviation_high: f64,
    /// Place by `deviation`, 1 for the probe nearest to the shared curve.
    pub rank: usize,
    /// Lower end of the 95 % interval of its rank.
    pub rank_low: usize,
    /// Upper end of the 95 % interval of its rank.
    pub rank_high: usize,
}

/// Every probe's place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ranking {
    /// In the order given.
    pub probes: Vec<Placed>,
    /// Share of draws in which every rank at once lies in its interval. Each
    /// interval holds its own probe 95 times in a hundred; all together hold less
    /// often, and this is how often.
    pub all_held: f64,
    /// Draws.
    pub draws: usize,
}

/// Draws of every probe at once, probes times draws, kept within this.
const VALUES_DRAWN: usize = 10_000_000;
/// Fewest and most draws.
const DRAWS: (usize, usize) = (1000, 4000);
/// Share of draws left out at either end of an interval.
const OUTSIDE: f64 = 0.025;

/// The order of the probes.
///
/// Each probe's true (offset, gain) is drawn from what its own cores leave open and,
/// where the `population` is given, what the batch as a whole makes likely (a normal
/// distribution shrunk towards its centre). Ranks and deviations of each draw give
/// the intervals. Without a population the deviation that sampling error alone
/// would show is taken off: twice, for it is in the estimate and in the draw.
///
/// Each interval is for one probe. Of many probes some will lie outside theirs:
/// [`Ranking::all_held`] says how often all held at once.
///
/// # Errors
/// Fewer than two probes; figures that are not finite or are no covariance; no draws.
pub fn ranking(
    estimates: &[ProbeEstimate],
    range: &RangeMoments,
    population: Option<&Population>,
    settings: &RankingSettings,
) -> Result<Ranking, BatchStatisticsError> {
    enough("probes", estimates.len(), 2)?;
    finite("mean of the range", 0, range.mean)?;
    finite("mean square of the range", 0, range.mean_square)?;
    let draws = settings
        .draws
        .unwrap_or_else(|| (VALUES_DRAWN / estimates.len()).clamp(DRAWS.0, DRAWS.1));
    enough("draws", draws, 1)?;
    let weigh = Symmetric {
        first: 1.0,
        both: range.mean,
        second: range.mean_square,
    };
    let open = estimates
        .iter()
        .enumerate()
        .map(|(index, estimate)| Open::new(index, estimate, population, weigh))
        .collect::<Result<Vec<Open>, BatchStatisticsError>>()?;
    let drawn: Vec<Draw> = (0..draws)
        .into_par_iter()
        .map(|draw| Draw::new(&open, weigh, settings.seed, draw))
        .collect();
    let place = |share: f64| ((share * draws as f64) as usize).min(draws - 1);
    let places = (place(OUTSIDE), place(0.5), place(1.0 - OUTSIDE));
    let mut probes: Vec<(f32, Placed)> = (0..open.len())
        .into_par_iter()
        .map(|probe| {
            let mut squares: Vec<f32> = drawn.iter().map(|draw| draw.squares[probe]).collect();
            let mut ranks: Vec<u32> = drawn.iter().map(|draw| draw.ranks[probe]).collect();
            squares.sort_unstable_by(f32::total_cmp);
            ranks.sort_unstable();
            let deviation = |place: usize| f64::from(squares[place].max(0.0)).sqrt();
            let placed = Placed {
                deviation: deviation(places.1),
                deviation_low: deviation(places.0),
                deviation_high: deviation(places.2),
                rank: 0,
                rank_low: ranks[places.0] as usize,
                rank_high: ranks[places.2] as usize,
            };
            (squares[places.1], placed)
        })
        .collect();
    let mut order: Vec<usize> = (0..probes.len()).collect();
    order.sort_by(|a, b| probes[*a].0.total_cmp(&probes[*b].0));
    for (rank, probe) in order.into_iter().enumerate() {
        probes[probe].1.rank = rank + 1;
    }
    let probes: Vec<Placed> = probes.into_iter().map(|(_, placed)| placed).collect();
    let all_held = drawn
        .iter()
        .filter(|draw| {
            draw.ranks
                .iter()
                .zip(&probes)
                .all(|(rank, probe)| (probe.rank_low..=probe.rank_high).contains(&(*rank as usize)))
        })
        .count();
    Ok(Ranking {
        probes,
        all_held: all_held as f64 / draws as f64,
        draws,
    })
}

/// What is left open about one probe.
struct Open {
    middle: [f64; 2],
    /// Lower triangle of the root of its covariance.
    root: [f64; 3],
    /// Mean square deviation to take off a draw.
    excess: f64,
}

impl Open {
    fn new(
        index: usize,
        estimate: &ProbeEstimate,
        population: Option<&Population>,
        weigh: Symmetric,
    ) -> Result<Open, BatchStatisticsError> {
        let at = [
            finite("offset", index, estimate.offset)?,
            finite("gain", index, estimate.gain)?,
        ];
        let sampling = covariance(index, estimate.covariance)?;
        let Some(population) = population else {
            let mean_square = weigh.first * sampling.first
                + 2.0 * weigh.both * sampling.both
                + weigh.second * sampling.second;
            return Ok(Open {
                middle: at,
                root: sampling.root(),
                excess: 2.0 * mean_square,
            });
        };
        let spread = covariance(index, population.spread)?;
        let [first, second] = population.centre;
        let centre = [
            finite("mean offset", index, first)?,
            finite("mean gain", index, second)?,
        ];
        let (middle, left) = match (spread + sampling).inverse() {
            Some((inverse, _)) => {
                let pull = spread.times(inverse.times([at[0] - centre[0], at[1] - centre[1]]));
                let left = spread - spread.around(inverse);
                ([centre[0] + pull[0], centre[1] + pull[1]], left)
            }
            // Nothing is open in some direction, neither between probes nor by
            // sampling: the estimate stands.
            None => (at, sampling),
        };
        Ok(Open {
            middle,
            root: left.root(),
            excess: 0.0,
        })
    }
}

/// One draw of all probes.
struct Draw {
    squares: Vec<f32>,
    ranks: Vec<u32>,
}

impl Draw {
    fn new(open: &[Open], weigh: Symmetric, seed: u64, draw: usize) -> Draw {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        random.set_stream(draw as u64 + 1);
        let squares: Vec<f32> = open
            .iter()
            .map(|probe| {
                let [top, side, bottom] = probe.root;
                let first: f64 = StandardNormal.sample(&mut random);
                let second: f64 = StandardNormal.sample(&mut random);
                let at = [
                    probe.middle[0] + top * first,
                    probe.middle[1] + side * first + bottom * second,
                ];
                (weigh.form(at) - probe.excess) as f32
            })
            .collect();
        // Sorted as whole numbers that order like the figures, the probe behind.
        let mut order: Vec<u64> = squares
            .iter()
            .enumerate()
            .map(|(probe, square)| {
                let bits = square.to_bits();
                let ordered = if square.is_sign_negative() {
                    !bits
                } else {
                    bits | (1 << 31)
                };
                (u64::from(ordered) << 32) | probe as u64
            })
            .collect();
        order.sort_unstable();
        let mut ranks = vec![0; squares.len()];
        for (rank, key) in order.into_iter().enumerate() {
            if let Some(place) = ranks.get_mut((key & 0xffff_ffff) as usize) {
                *place = rank as u32 + 1;
            }
        }
        Draw { squares, ranks }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn probe(offset: f64, gain: f64, u: f64) -> ProbeEstimate {
        ProbeEstimate {
            offset,
            gain,
            covariance: [[u * u, 0.0], [0.0, u * u]],
        }
    }

    const RANGE: RangeMoments = RangeMoments {
        mean: 0.0,
        mean_square: 0.01,
    };

    fn ranked(probes: &[ProbeEstimate], population: Option<&Population>) -> Ranking {
        ranking(probes, &RANGE, population, &RankingSettings::default()).expect("a ranking")
    }

    #[test]
    fn probes_known_exactly_have_one_rank_each() {
        let found = ranked(
            &[
                probe(0.03, 0.0, 0.0),
                probe(0.0, 0.1, 0.0),
                probe(-0.02, 0.0, 0.0),
            ],
            None,
        );
        let ranks: Vec<_> = found
            .probes
            .iter()
            .map(|p| (p.rank, p.rank_low, p.rank_high))
            .collect();
        assert_eq!(ranks, [(3, 3, 3), (1, 1, 1), (2, 2, 2)]);
        // 0.1 times the root mean square of z, 0.1.
        assert!((found.probes[1].deviation - 0.01).abs() < 1e-7);
        assert_eq!(found.all_held, 1.0);
    }

    #[test]
    fn probes_that_cannot_be_told_apart_share_all_ranks() {
        let found = ranked(&[probe(0.001, 0.0, 0.02); 4], None);
        for p in &found.probes {
            assert_eq!((p.rank_low, p.rank_high), (1, 4));
        }
    }

    #[test]
    fn a_batch_without_spread_pulls_every_probe_to_its_centre() {
        let population = Population {
            centre: [0.01, 0.0],
            spread: [[0.0; 2]; 2],
        };
        let found = ranked(
            &[probe(0.05, 0.0, 0.02), probe(-0.05, 0.0, 0.02)],
            Some(&population),
        );
        for p in &found.probes {
            assert!((p.deviation - 0.01).abs() < 1e-7, "{p:?}");
        }
    }

    #[test]
    fn what_cannot_be_ranked_is_refused() {
        let refused = |probes: &[ProbeEstimate]| {
            ranking(probes, &RANGE, None, &RankingSettings::default()).is_err()
        };
        assert!(refused(&[probe(0.0, 0.0, 0.1)]));
        assert!(refused(&[probe(f64::NAN, 0.0, 0.1), probe(0.0, 0.0, 0.1)]));
        let mut wrong = probe(0.0, 0.0, 0.1);
        wrong.covariance[0][1] = 1.0;
        wrong.covariance[1][0] = 1.0;
        assert!(refused(&[wrong, probe(0.0, 0.0, 0.1)]));
    }
}
