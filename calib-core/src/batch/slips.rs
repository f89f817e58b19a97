//! Pairs that lie far from all others: a slip of the count or of the mass, most likely.
//!
//! They are looked for before any curve is drawn by least squares, for one such pair
//! spoils that curve and with it the scatter that the pair would be judged by. Counts
//! are taken apart by medians: what a core has of its own where several probes share
//! it, else a robust curve by theta_v; then each probe's own line. What is left of a
//! pair is held against the median of what is left of the pairs next to it in wetness.
//! How large the largest such ratio becomes by chance is simulated for the same probes
//! and cores, so that the chance of any alarm is that of the whole batch.

use super::member::Member;
use super::robust::{MAD_TO_SD, clipped_centre, local_scales, median, probe_lines, robust_curve};
use crate::quantity::Quantity;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Chance of any alarm in a batch without slips.
pub const FALSE_ALARMS: f64 = 0.05;

/// Standard deviations nearer than which nothing is called far, whatever chance says
/// (our choice): scatter is seldom as normal as the simulation's.
pub const LEAST_TIMES: f64 = 10.0;

/// Fewest pairs among which one can be told to lie far from the others.
const FEWEST: usize = 12;

/// Fewest pairs of a probe, and probes beside a core, whose median one cannot spoil.
const FEWEST_FOR_MEDIAN: usize = 3;

/// Most that are named; where there are more it is no slip.
const MOST_FOUND: usize = 10;

/// Rounds of taking cores and probes off in turn.
const ROUNDS: usize = 6;

/// Most batches simulated, and most pairs in all of them.
const DRAWS: usize = 799;
const PAIRS_DRAWN: usize = 150_000;

/// Pairs next to one in wetness, and the share of its own distance at which they are said
/// to lie off as it does.
const NEIGHBOURS: usize = 2;
const ALIKE: f64 = 0.4;

/// Most pairs simulated at once, and by how much the limit is widened where there are
/// more (our choice).
const MOST_SIMULATED: usize = 5_000;
const WIDENED: f64 = 1.5;

/// Rounds of taking cores and probes off in turn where there are more than
/// [`MOST_SIMULATED`] pairs: what they have in common is then all but known from the first.
const ROUNDS_OF_MANY: usize = 2;

/// A pair, or a core beside all its probes, far from the others.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Slip {
    /// The probe; `None` where the core is far off beside all its probes.
    pub probe: Option<String>,
    /// The core.
    pub core: String,
    /// How far, in standard deviations of the pairs about it in wetness.
    pub times: f64,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Slips {
    /// The farthest first.
    pub found: Vec<Slip>,
    /// Times the scatter beyond which a pair is named.
    pub limit: f64,
    /// Pairs that could be judged: not those of a probe of fewer than three.
    pub judged: usize,
}

/// Looks for pairs, and for cores that probes share, far from all others; `None` where
/// there are too few to tell.
pub fn slips(members: &[Member], seed: u64) -> Option<Slips> {
    let (layout, counts, names) = Layout::of(members);
    let cores = layout.cores_alone(&counts);
    let level = FALSE_ALARMS / if cores.is_some() { 2.0 } else { 1.0 };
    let mut found = Vec::new();
    let mut limit = 0.0_f64;
    let mut judged = 0;
    let both = [
        Some((&layout, &counts, false)),
        cores.as_ref().map(|(l, c)| (l, c, true)),
    ];
    for (layout, counts, of_cores) in both.into_iter().flatten() {
        let Some(cut) = layout.limit(level, seed) else {
            continue;
        };
        let Some(beyond) = layout.beyond(counts, cut) else {
            continue;
        };
        limit = limit.max(cut);
        judged += layout.points.iter().filter(|p| layout.is_judged(p)).count();
        if beyond.is_empty() {
            continue;
        }
        let left = layout.parts(counts).left;
        for (point, times) in beyond {
            if !layout.lies_alone(&left, &point) {
                continue;
            }
            found.push(Slip {
                probe: (!of_cores)
                    .then(|| members.get(point.probe).map(|member| member.probe.clone()))
                    .flatten(),
                core: names.get(point.core).cloned().unwrap_or_default(),
                times,
            });
        }
    }
    found.sort_by(|a, b| b.times.total_cmp(&a.times));
    (judged > 0).then_some(Slips {
        found,
        limit,
        judged,
    })
}

/// Where a pair belongs.
#[derive(Debug, Clone, Copy)]
struct Point {
    probe: usize,
    core: usize,
    theta: f64,
}

/// Everything but the counts.
#[derive(Debug, Clone)]
struct Layout {
    points: Vec<Point>,
    probes: Vec<Vec<usize>>,
    cores: Vec<Vec<usize>>,
    /// Whether cores are taken off by their medians, else by a curve.
    shared: bool,
    /// Whether probes have lines of their own.
    lines: bool,
}

impl Layout {
    fn of(members: &[Member]) -> (Self, Vec<f64>, Vec<String>) {
        let mut places: BTreeMap<&str, usize> = BTreeMap::new();
        let mut names = Vec::new();
        let mut points = Vec::new();
        let mut counts = Vec::new();
        for (probe, member) in members.iter().enumerate() {
            for seen in &member.observations {
                let core = *places.entry(seen.sample.as_str()).or_insert_with(|| {
                    names.push(seen.sample.clone());
                    names.len() - 1
                });
                counts.push(seen.count.value);
                points.push(Point {
                    probe,
                    core,
                    theta: seen.theta_v.value.value(),
                });
            }
        }
        (Self::from(points, true), counts, names)
    }

    fn from(points: Vec<Point>, lines: bool) -> Self {
        let grouped = |of: fn(&Point) -> usize| {
            let many = points.iter().map(|p| of(p) + 1).max().unwrap_or(0);
            let mut groups = vec![Vec::new(); many];
            for (i, point) in points.iter().enumerate() {
                groups[of(point)].push(i);
            }
            groups
        };
        let (probes, cores) = (grouped(|p| p.probe), grouped(|p| p.core));
        let in_shared: usize = cores
            .iter()
            .map(Vec::len)
            .filter(|many| *many >= FEWEST_FOR_MEDIAN)
            .sum();
        Self {
            shared: 10 * in_shared >= 9 * points.len() && lines,
            points,
            probes,
            cores,
            lines,
        }
    }

    /// The cores of a layout that shares them, each with the median of its counts.
    fn cores_alone(&self, counts: &[f64]) -> Option<(Self, Vec<f64>)> {
        if !self.shared {
            return None;
        }
        let parts = self.parts(counts);
        let mut points = Vec::new();
        let mut own = Vec::new();
        for (core, pairs) in self.cores.iter().enumerate() {
            let Some(first) = pairs.first().filter(|_| pairs.len() >= FEWEST_FOR_MEDIAN) else {
                continue;
            };
            points.push(Point {
                probe: 0,
                core,
                theta: self.points[*first].theta,
            });
            own.push(parts.common[*first]);
        }
        (points.len() >= FEWEST).then(|| (Self::from(points, false), own))
    }

    /// What every pair has in common with its core or wetness, and what is left when
    /// that and the probe's line are taken off.
    fn parts(&self, counts: &[f64]) -> Parts {
        let theta: Vec<f64> = self.points.iter().map(|point| point.theta).collect();
        let mut parts = Parts {
            common: vec![0.0; counts.len()],
            left: counts.to_vec(),
        };
        let mut own = vec![0.0; counts.len()];
        let rounds = match (self.lines, counts.len() > MOST_SIMULATED) {
            (false, _) => 1,
            (true, false) => ROUNDS,
            (true, true) => ROUNDS_OF_MANY,
        };
        for _ in 0..rounds {
            let less_own: Vec<f64> = counts.iter().zip(&own).map(|(x, o)| x - o).collect();
            if self.shared {
                for pairs in &self.cores {
                    let middle = median(pairs.iter().map(|i| less_own[*i]).collect());
                    for i in pairs {
                        parts.common[*i] = middle;
                    }
                }
            } else {
                parts.common = robust_curve(&theta, &less_own);
            }
            if self.lines {
                // A gain acts on wetness as the counts of all probes show it.
                let (centre, spread) = clipped_centre(&parts.common);
                let row = |i: &usize| {
                    let z = (parts.common[*i] - centre).clamp(-spread, spread);
                    (z, counts[*i] - parts.common[*i])
                };
                let rows: Vec<Vec<(f64, f64)>> = self
                    .probes
                    .iter()
                    .map(|pairs| pairs.iter().map(row).collect())
                    .collect();
                for (pairs, line) in self.probes.iter().zip(probe_lines(&rows)) {
                    for i in pairs {
                        own[*i] = line.0 + line.1 * row(i).0;
                    }
                }
            }
        }
        for (i, left) in parts.left.iter_mut().enumerate() {
            *left = counts[i] - own[i] - parts.common[i];
        }
        parts
    }

    /// Whether a pair's own probe and core leave it to be judged.
    fn is_judged(&self, point: &Point) -> bool {
        let beside = |group: &[usize]| group.len() >= FEWEST_FOR_MEDIAN;
        (!self.lines || beside(&self.probes[point.probe]))
            && (!self.shared || beside(&self.cores[point.core]))
    }

    /// What is left of each pair over the scatter about it; `None` for one that cannot
    /// be judged, and for all where they are too few or do not scatter.
    fn ratios(&self, counts: &[f64]) -> Option<Vec<Option<f64>>> {
        if self.points.len() < FEWEST {
            return None;
        }
        let parts = self.parts(counts);
        let theta: Vec<f64> = self.points.iter().map(|point| point.theta).collect();
        let scales = local_scales(&theta, &parts.left)?;
        Some(
            self.points
                .iter()
                .zip(parts.left.iter().zip(scales))
                .map(|(point, (left, scale))| {
                    self.is_judged(point)
                        .then(|| left.abs() / (MAD_TO_SD * scale))
                })
                .collect(),
        )
    }

    /// The pairs beyond the limit, one after the other, each taken out before the next
    /// is looked for: what a slip does to the line of its own probe is no slip. `None`
    /// where nothing can be judged.
    fn beyond(&self, counts: &[f64], limit: f64) -> Option<Vec<(Point, f64)>> {
        let mut found = Vec::new();
        let (mut left, mut counts) = (self.clone(), counts.to_vec());
        let mut ratios = left.ratios(&counts)?;
        while found.len() < MOST_FOUND {
            let places = ratios.iter().enumerate();
            let farthest = places
                .filter_map(|(i, ratio)| Some((i, (*ratio)?)))
                .max_by(|a, b| a.1.total_cmp(&b.1));
            let Some((place, times)) = farthest.filter(|(_, times)| *times > limit) else {
                break;
            };
            found.push((left.points.remove(place), times));
            counts.remove(place);
            left = Self::from(left.points, left.lines);
            ratios = left.ratios(&counts).unwrap_or_default();
        }
        Some(found)
    }

    /// Whether the pairs next to this one in wetness do not lie off the same way: where
    /// they do, it is the curve that does not follow, and no slip.
    fn lies_alone(&self, left: &[f64], of: &Point) -> bool {
        let is_it = |p: &Point| p.probe == of.probe && p.core == of.core;
        let Some(own) = self.points.iter().position(is_it) else {
            return true;
        };
        let sign = left[own].signum();
        let mut near: Vec<(f64, f64)> = self
            .points
            .iter()
            .zip(left)
            .enumerate()
            .filter(|(i, (p, _))| *i != own && (!self.shared || p.probe == of.probe))
            .map(|(_, (p, left))| ((p.theta - of.theta).abs(), left * sign))
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        near.truncate(NEIGHBOURS);
        near.iter()
            .all(|(_, along)| *along < ALIKE * left[own].abs())
    }

    fn largest(&self, counts: &[f64]) -> f64 {
        let ratios = self.ratios(counts).unwrap_or_default();
        ratios.into_iter().flatten().fold(0.0, f64::max)
    }

    /// The ratio that the largest of a sound batch exceeds with this chance, at least
    /// [`LEAST_TIMES`].
    ///
    /// Of more than [`MOST_SIMULATED`] pairs those of some probes are simulated, evenly
    /// taken, and the limit widened: for normal scatter the largest of forty times as many
    /// lies a seventh farther out, and a slip lies many times farther.
    fn limit(&self, level: f64, seed: u64) -> Option<f64> {
        if self.points.len() > MOST_SIMULATED {
            let every = self.points.len().div_ceil(MOST_SIMULATED);
            let part = self
                .points
                .iter()
                .filter(|point| point.probe.is_multiple_of(every));
            let part = Self::from(part.copied().collect(), self.lines);
            return part
                .simulated_limit(level, seed)
                .map(|limit| WIDENED * limit);
        }
        self.simulated_limit(level, seed)
    }

    fn simulated_limit(&self, level: f64, seed: u64) -> Option<f64> {
        let draws = (PAIRS_DRAWN / self.points.len().max(1)).clamp(39, DRAWS);
        let mut largest: Vec<f64> = (0..draws)
            .into_par_iter()
            .map(|draw| self.largest(&self.sound(seed, draw as u64)))
            .collect();
        largest.sort_by(f64::total_cmp);
        // Of n draws, the k-th largest is exceeded with chance k/(n + 1).
        let above = ((draws + 1) as f64 * level).floor().max(1.0) as usize;
        let limit = largest.get(draws.checked_sub(above)?)?;
        Some(limit.max(LEAST_TIMES))
    }

    /// Counts of a batch without slips: a straight line by theta_v, and chance.
    fn sound(&self, seed: u64, draw: u64) -> Vec<f64> {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        random.set_stream(draw + 1);
        self.points
            .iter()
            .map(|point| {
                let noise: f64 = StandardNormal.sample(&mut random);
                // Chance is a hundredth of what 0.5 m3/m3 make of the counts.
                200.0 * point.theta + noise
            })
            .collect()
    }
}

/// What [`Layout::parts`] takes apart.
struct Parts {
    common: Vec<f64>,
    left: Vec<f64>,
}

#[cfg(test)]
#[path = "slips_tests.rs"]
mod tests;
