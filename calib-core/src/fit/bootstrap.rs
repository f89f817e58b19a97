//! How far the curve might have come out elsewhere, by fitting it again to data
//! drawn anew: the bootstrap.
//!
//! Efron and Tibshirani (1993), An Introduction to the Bootstrap: chapter 6 for
//! the parametric one, 9 for cases, 13 for percentile intervals. Percentiles of
//! few cores are too narrow, by as much as normal quantiles are narrower than the
//! factor first order uses and by the root of cores over degrees of freedom; they
//! are taken as much farther out (Hesterberg 2015, The American Statistician
//! 69:371). Both recalled from memory.
//!
//! Every replicate has a random stream of its own, chosen by seed and number: the
//! answer is the same on any number of threads.

use super::columns::Columns;
use super::fitting::solve_columns;
use super::linearised::Measured;
use super::loss::Loss;
use super::model_fit::{CONDITION_LIMIT, ModelFit};
use super::observation::Observation;
use super::problem::Regression;
use super::solver::{Search, Settings};
use crate::curve::{Axis, CurveModel};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Share of replicates that may give no fit before the interval is not to be
/// trusted (common practice).
pub const MOST_WITHOUT_FIT: f64 = 0.05;

/// Fewest replicates beyond either end of an interval worth the name (common
/// practice).
const FEWEST_BEYOND: f64 = 10.0;

/// Fewest replicates handed to a thread at once.
const AT_ONCE: usize = 32;

/// What is drawn anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Resampling {
    /// Counts and reference values about the fitted curve, from their stated
    /// uncertainties and the fitted scatter of the cores, all normal.
    Parametric,
    /// Which cores: as many as there are, with replacement, each with its readings
    /// as they are. Nothing is assumed of how they scatter.
    Cases,
}

/// How a curve is to be bootstrapped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bootstrap {
    /// What is drawn anew.
    pub resampling: Resampling,
    /// How often.
    pub replicates: usize,
    /// Chooses the random streams.
    pub seed: u64,
    /// Standard deviations from the estimate to the end of the interval where all
    /// is normal: the factor first order uses for the curve.
    pub coverage_factor: f64,
}

/// The curve at one count.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CurveInterval {
    /// The count, at the reference temperature where there is a term.
    pub count: f64,
    /// Standard deviation of theta_v over the replicates, m3/m3.
    pub standard: f64,
    /// Lower end of the interval, m3/m3.
    pub low: f64,
    /// Upper end of the interval, m3/m3.
    pub high: f64,
}

/// What the replicates come to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Bootstrapped {
    /// What was drawn anew.
    pub resampling: Resampling,
    /// How often.
    pub replicates: usize,
    /// How many of these gave no fit.
    pub without_fit: usize,
    /// The seed.
    pub seed: u64,
    /// Share of the replicates below each interval, and above it.
    pub tail: f64,
    /// Replicates of which enough lie beyond the ends to place them.
    pub replicates_needed: usize,
    /// How well chance places an end: twice its standard deviation, as a share of
    /// the half width, were all normal.
    pub numerical: f64,
    /// Whether no more than [`MOST_WITHOUT_FIT`] gave no fit, and replicates were
    /// as many as needed.
    pub trusted: bool,
    /// One entry a count asked for; empty where hardly a replicate gave a fit.
    pub intervals: Vec<CurveInterval>,
}

/// The data of one replicate, as another program could fit them.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Replicate {
    /// Counts on the curve's axis.
    pub z: Vec<f64>,
    /// Standard uncertainty of each.
    pub u_z: Vec<f64>,
    /// Reference theta_v, m3/m3.
    pub theta_v: Vec<f64>,
    /// Standard uncertainty of each, scatter of the cores included, m3/m3.
    pub u_theta_v: Vec<f64>,
}

/// A fitted curve, ready to be fitted again and again.
///
/// The same curve is sought, from the parameters of the whole fit, with the same
/// smoothing. Under least squares the scatter of the cores is held as fitted: it
/// only balances the cores against each other, while the spread of the replicates
/// is that of the data. Under a robust loss, scatter and weights are found anew.
pub struct Refits {
    resampling: Resampling,
    rng: ChaCha8Rng,
    model: &'static dyn CurveModel,
    axis: Axis,
    curve_parameters: usize,
    start: Vec<f64>,
    loss: Loss,
    /// The cores as they are fitted, then pulls of smoothing.
    data: Columns,
    /// Rows of each core.
    cores: Vec<Vec<usize>>,
    /// Every row on the curve, and how far it strays.
    truth: Vec<Truth>,
    degrees_of_freedom: f64,
}

/// Where a row would lie without errors.
struct Truth {
    z: f64,
    theta: f64,
    scatter: f64,
}

/// What one thread works with.
struct Room {
    data: Columns,
    search: Search<1>,
}

impl Refits {
    /// Makes `fit`, which must be that of `observations`, ready; `None` if it is
    /// not (other cores, or no minimum from its own parameters).
    pub fn of(
        observations: &[Observation],
        fit: &ModelFit,
        resampling: Resampling,
        seed: u64,
    ) -> Option<Self> {
        let model = fit.curve.kind.model();
        let axis = fit.curve.axis;
        let reference = fit.temperature.map(|term| term.reference);
        let mut data = Columns::of(observations, model, axis, reference);
        if let Some(smoothing) = fit.smoothing {
            data = data.smoothed(smoothing);
        }
        let mut start = fit.curve.parameters.clone();
        start.extend(fit.temperature.map(|term| term.coefficient / axis.unit));
        if data.regression().parameters() != start.len() || fit.residuals.len() != data.cores {
            return None;
        }
        let whole = solve_columns(&data, &[start], fit.loss, &Settings::default())?;
        if !whole.solution.found_minimum() {
            return None;
        }
        let start = whole.solution.parameters;
        let mut truth = Vec::with_capacity(data.z.len());
        for (i, adjustment) in whole.solution.adjustments.iter().enumerate() {
            let z = data.z[i] + adjustment;
            let (mut g, mut v) = ([0.0; super::MAX_PARAMETERS], [0.0]);
            let regression = data.regression();
            let scatter = if i < data.cores { whole.tau } else { 0.0 };
            truth.push(Truth {
                z,
                theta: regression.evaluate(i, &[z], &start, &mut g[..start.len()], &mut v),
                scatter: data.u_theta[i].hypot(scatter),
            });
        }
        if fit.loss == Loss::Squares {
            for (u, truth) in data.u_theta.iter_mut().zip(&truth) {
                *u = truth.scatter;
            }
        }
        Some(Self {
            resampling,
            rng: ChaCha8Rng::seed_from_u64(seed),
            model,
            axis,
            curve_parameters: fit.curve.parameters.len(),
            start,
            loss: fit.loss,
            data,
            cores: rows_by_core(observations),
            truth,
            degrees_of_freedom: fit.degrees_of_freedom,
        })
    }

    fn room(&self) -> Room {
        Room {
            data: self.data.clone(),
            search: Search::new(),
        }
    }

    /// Draws the data of replicate `number` into `data`.
    fn draw(&self, number: usize, data: &mut Columns) {
        let mut rng = self.rng.clone();
        rng.set_stream(number as u64);
        match self.resampling {
            Resampling::Parametric => {
                let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
                for (i, truth) in self.truth.iter().enumerate() {
                    data.z[i] = truth.z + self.data.u_z[i] * normal();
                    data.theta[i] = truth.theta + truth.scatter * normal();
                }
            }
            Resampling::Cases => {
                data.clear();
                for _ in 0..self.cores.len() {
                    let core = &self.cores[rng.random_range(0..self.cores.len())];
                    for row in core {
                        data.take(&self.data, *row);
                    }
                }
                data.cores = data.z.len();
                for pull in self.data.cores..self.data.z.len() {
                    data.take(&self.data, pull);
                }
            }
        }
    }

    /// The data of replicate `number`, pulls of smoothing left out.
    pub fn replicate(&self, number: usize) -> Replicate {
        let mut data = self.data.clone();
        self.draw(number, &mut data);
        let of_cores = |values: &[f64]| values[..data.cores].to_vec();
        Replicate {
            z: of_cores(&data.z),
            u_z: of_cores(&data.u_z),
            theta_v: of_cores(&data.theta),
            u_theta_v: of_cores(&data.u_theta),
        }
    }

    /// Writes theta_v of replicate `number` at every `z`; whether there is a fit
    /// with a value at all of them.
    fn refit(&self, number: usize, room: &mut Room, z: &[f64], out: &mut [f64]) -> bool {
        let Room { data, search } = room;
        self.draw(number, data);
        // A replicate's curve lies near that of the whole fit.
        let quick = Settings {
            first_damping: 1e-7,
            ..Settings::quick()
        };
        let anew;
        let parameters = if self.loss == Loss::Squares {
            let points = data.points();
            let found = search.run(
                &data.regression(),
                &Measured::of(&points),
                &self.start,
                &quick,
            );
            if !found.is_minimum() || found.least_sine() * CONDITION_LIMIT < 1.0 {
                return false;
            }
            search.parameters()
        } else {
            let starts = std::slice::from_ref(&self.start);
            let Some(found) = solve_columns(data, starts, self.loss, &quick) else {
                return false;
            };
            anew = found.solution;
            if !anew.found_minimum() || anew.conditioning().number > CONDITION_LIMIT {
                return false;
            }
            &anew.parameters
        };
        let curve = &parameters[..self.curve_parameters];
        for (out, z) in out.iter_mut().zip(z) {
            *out = self.model.value(*z, curve);
        }
        out.iter().all(|theta| theta.is_finite())
    }

    /// theta_v of replicates 0 to `replicates - 1` at `counts` (at the reference
    /// temperature), replicate after replicate; NaN where one has no fit. `progress` is
    /// told of each replicate done.
    fn values(
        &self,
        counts: &[f64],
        replicates: usize,
        progress: &(dyn Fn(usize) + Sync),
    ) -> Vec<f64> {
        let z: Vec<f64> = counts.iter().map(|count| self.axis.z(*count)).collect();
        let mut values = vec![0.0; replicates * z.len()];
        values
            .par_chunks_mut(z.len().max(1))
            .with_min_len(AT_ONCE)
            .enumerate()
            .for_each_init(
                || self.room(),
                |room, (number, out)| {
                    if !self.refit(number, room, &z, out) {
                        out.fill(f64::NAN);
                    }
                    progress(1);
                },
            );
        values
    }

    /// theta_v of each of the first `replicates` at `counts` (at the reference
    /// temperature), m3/m3; `None` where a replicate has no fit with a value there.
    pub fn curves(&self, counts: &[f64], replicates: usize) -> Vec<Option<Vec<f64>>> {
        self.values(counts, replicates, &|_| {})
            .chunks(counts.len().max(1))
            .map(|values| {
                let fitted = values.iter().all(|value| value.is_finite());
                fitted.then(|| values.to_vec())
            })
            .collect()
    }

    /// How many standard deviations of the replicates out the ends lie where all is
    /// normal.
    fn reach(&self, coverage_factor: f64) -> f64 {
        let cores = self.data.cores as f64;
        let widened = match self.resampling {
            // Drawn with a scatter that already allows for the parameters.
            Resampling::Parametric => 1.0,
            Resampling::Cases => (cores / self.degrees_of_freedom.max(1.0)).sqrt(),
        };
        coverage_factor * widened
    }
}

/// Rows by core, cores in the order they first come in.
fn rows_by_core(observations: &[Observation]) -> Vec<Vec<usize>> {
    let mut places = std::collections::BTreeMap::new();
    let mut cores: Vec<Vec<usize>> = Vec::new();
    for (row, observation) in observations.iter().enumerate() {
        let place = *places
            .entry(observation.sample.as_str())
            .or_insert_with(|| {
                cores.push(Vec::new());
                cores.len() - 1
            });
        cores[place].push(row);
    }
    cores
}

impl Bootstrap {
    /// Intervals of the curve of `fit`, which must be that of `observations`, at
    /// `counts` (at the reference temperature where there is a term); `None` as
    /// [`Refits::of`] has it. `progress` is told of each replicate done, from any thread.
    ///
    /// What all cores share (ring volume), and not knowing which curve is the true
    /// one, is no part of it, as it is none of the fit's covariance.
    pub fn run(
        &self,
        observations: &[Observation],
        fit: &ModelFit,
        counts: &[f64],
        progress: &(dyn Fn(usize) + Sync),
    ) -> Option<Bootstrapped> {
        let refits = Refits::of(observations, fit, self.resampling, self.seed)?;
        let values = refits.values(counts, self.replicates, progress);
        let fitted: Vec<&[f64]> = values
            .chunks(counts.len().max(1))
            .filter(|values| values.iter().all(|value| value.is_finite()))
            .collect();
        let reach = refits.reach(self.coverage_factor);
        let normal = Normal::standard();
        let tail = normal.cdf(-reach);
        let without_fit = self.replicates.saturating_sub(fitted.len());
        let replicates_needed = (FEWEST_BEYOND / tail).ceil() as usize;
        let mut column = Vec::with_capacity(fitted.len());
        let intervals = counts
            .iter()
            .enumerate()
            .filter_map(|(place, count)| {
                column.clear();
                column.extend(fitted.iter().map(|values| values[place]));
                interval(*count, &mut column, tail)
            })
            .collect();
        Some(Bootstrapped {
            resampling: self.resampling,
            replicates: self.replicates,
            without_fit,
            seed: self.seed,
            tail,
            replicates_needed,
            numerical: 2.0 * (tail * (1.0 - tail) / self.replicates.max(1) as f64).sqrt()
                / (normal.pdf(reach) * reach),
            trusted: without_fit as f64 <= MOST_WITHOUT_FIT * self.replicates as f64
                && self.replicates >= replicates_needed,
            intervals,
        })
    }
}

/// Of the values at one count, which are put in order; `None` of fewer than two.
fn interval(count: f64, values: &mut [f64], tail: f64) -> Option<CurveInterval> {
    values.sort_unstable_by(f64::total_cmp);
    let n = values.len();
    let mean = values.iter().sum::<f64>() / n as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    // The (n + 1) tail-th from either end, the outermost where that is none.
    let beyond = (((n + 1) as f64 * tail) as usize).max(1);
    let low = *values.get(beyond - 1).filter(|_| n > 1)?;
    let high = *values.get(n.checked_sub(beyond)?)?;
    Some(CurveInterval {
        count,
        standard: (squares / (n as f64 - 1.0)).sqrt(),
        low,
        high,
    })
}

#[cfg(test)]
mod tests;
