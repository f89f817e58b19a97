//! Offset and gain of the calibration as the checks leave them, with the calibration's own
//! covariance as what was known before.
//!
//! The departure of the soil from the calibration, at a count and a time, is the error the
//! curve had from the beginning and what has come to it since:
//!
//! `d(c, t) = e(c) + A_t + B_t x(c)`,
//!
//! where `x` is the calibration's water content less that in the middle of its range, and
//! offset and gain start at zero on the day of the calibration and wander from there as a
//! random walk in continuous time: `var A_t = q^2 t`, `B` such that each end of the range
//! wanders by [`WanderAssumed::at_the_ends`] of that against the middle. All is normal given the
//! scatter of the cores and the rate q, so the posterior is that of the linear filter
//! (Kalman 1960), reckoned from the joint covariance of all checks at once; scatter and
//! rate are averaged over with the weights the checks leave them. The rate is taken from a
//! stated assumption, which gives way as checks come in.
//!
//! A departure is that from cores cut with the ring of the calibration: what that ring's
//! volume is off by no such core can tell, and it stays in the budget of a reading.

use super::error::DriftError;
use super::mixture::Mixture;
use super::posterior::{Component, Subject, functional};
use super::study::Place;
use crate::calibration::COVERAGE;
use crate::quantity::{Quantity, Timestamp, Vwc};
use nalgebra::{DVector, SymmetricEigen};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use schemars::JsonSchema;
use serde::Serialize;

/// Counts over the range at which departures are looked at.
const GRID: usize = 15;
/// Draws from which the chance of an error anywhere in the range is counted.
const DRAWS: usize = 8000;
/// Share of the prior's spread (of the logarithm of the rate) that the posterior's may
/// have, for the rate to count as seen in the checks (our choice).
const SEEN: f64 = 0.7;

/// How fast calibrations wander, before any check.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WanderAssumed {
    /// Rates thought of, m3/m3 in the first year (growing with the root of time), each with
    /// its weight.
    pub rates: Vec<(f64, f64)>,
    /// By how much either end of the range wanders against the middle, as a share of what
    /// the middle does.
    pub at_the_ends: f64,
}

impl Default for WanderAssumed {
    /// Our assumption, from no publication: about 0.004 m3/m3 in a year, a factor of two
    /// either way in two of three cases; the ends half as much against the middle.
    fn default() -> Self {
        let rates = (-4..=8)
            .map(|step| {
                let octaves = 0.5 * f64::from(step);
                (0.004 * octaves.exp2(), (-0.5 * octaves * octaves).exp())
            })
            .collect();
        Self {
            rates,
            at_the_ends: 0.5,
        }
    }
}

/// A figure with the interval that holds it in 95 of 100 cases.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Interval {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub standard: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    fn of(mixture: &Mixture) -> Self {
        Self {
            value: mixture.mean(),
            standard: mixture.sd(),
            low: mixture.quantile(0.5 * (1.0 - COVERAGE)),
            high: mixture.quantile(0.5 * (1.0 + COVERAGE)),
        }
    }
}

/// The rate at which the calibration wanders.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Wander {
    /// Middle of its distribution, m3/m3 in the first year.
    pub rate: f64,
    /// 5 % lie below.
    pub low: f64,
    /// 5 % lie above.
    pub high: f64,
    /// Whether the checks say more of it than was assumed; otherwise the assumption is all
    /// there is.
    pub from_checks: bool,
    /// Middle of what was assumed before any check, m3/m3 in the first year.
    pub assumed: f64,
}

/// The calibration's answer at a count, as it was and as the checks leave it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Answer {
    /// What the place is called; empty for one of the range.
    pub name: String,
    /// Count at the reference temperature.
    pub count: f64,
    /// Water content by the calibration as it stands, m3/m3.
    pub before: f64,
    /// Standard uncertainty of the curve there before any check, m3/m3.
    pub before_u: f64,
    /// Water content with the departure added, m3/m3.
    pub after: Interval,
    /// Chance that the calibration as it stands is off by more than what is allowed.
    pub beyond_allowed: f64,
}

/// What the checks leave of the calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct Update {
    /// The time it is for: that of the last check, or of the calibration without one.
    pub at: Timestamp,
    /// Water content in the middle of the range, m3/m3.
    pub middle: f64,
    /// Departure in the middle of the range, m3/m3.
    pub offset: Interval,
    /// Departure per m3/m3 of water content above the middle.
    pub gain: Interval,
    /// The offset at the calibration and at each check, by all checks together.
    pub course: Vec<(Timestamp, Interval)>,
    /// How fast it wanders.
    pub wander: Wander,
    /// Answers at five counts from one end of the range to the other.
    pub range: Vec<Answer>,
    /// Answers at the places asked for.
    pub places: Vec<Answer>,
    /// Chance that the error is beyond what is allowed somewhere in the range.
    pub beyond_anywhere: f64,
    /// Draws of the departure over the range.
    pub(super) draws: Vec<Draw>,
    /// By how much the departure moves with the gain, at each count of the range.
    pub(super) gain_at: Vec<f64>,
}

/// One way the departure may lie, and how it may go on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Draw {
    /// Departure over the range, m3/m3.
    pub values: Vec<f64>,
    /// Rate of wandering, m3/m3 in a year.
    pub rate: f64,
    /// Standard normal values of the steps of offset and gain.
    pub steps: [f64; 2],
}

/// What the checks of `subject` leave of its calibration, held against an error of `allow`
/// m3/m3, at the time `at`, which is that of the last check or later; `seed` chooses the
/// draws.
pub(super) fn update(
    subject: &Subject<'_>,
    places: &[Place],
    at: Timestamp,
    (allow, seed): (f64, u64),
) -> Result<Update, DriftError> {
    let calibration = subject.calibration;
    let domain = calibration.domain;
    let share = |i: usize| domain.low + (domain.high - domain.low) * i as f64 / (GRID - 1) as f64;
    let middle = Vwc::new(subject.middle())
        .ok()
        .and_then(|theta| calibration.count_at(theta).ok())
        .unwrap_or(domain.middle());
    let mut times: Vec<Timestamp> = vec![subject.calibrated_at];
    times.extend(subject.checks.iter().map(|check| check.taken_at));
    times.push(at);
    times.dedup();
    let mut asked: Vec<(f64, Timestamp)> = (0..GRID).map(|i| (share(i), at)).collect();
    asked.extend(places.iter().map(|place| (place.count, at)));
    let from_middle = asked.len();
    asked.extend(times.iter().map(|time| (middle, *time)));
    let targets = subject.targets(&asked);
    let components = subject.components(&targets)?;
    let only = |i: usize| {
        let mut weights = DVector::zeros(asked.len());
        weights[i] = 1.0;
        functional(&components, &weights)
    };
    let before = calibration.errors_together(&targets.at);
    let before = before.parameters() + before.known();
    let answer = |i: usize, name: &str| {
        let departure = only(i);
        let theta = calibration.curve.value(targets.at[i].count);
        let found = Interval::of(&departure);
        Answer {
            name: name.to_owned(),
            count: targets.at[i].count,
            before: theta,
            before_u: before[(i, i)].max(0.0).sqrt(),
            after: Interval {
                value: theta + found.value,
                standard: found.standard,
                low: theta + found.low,
                high: theta + found.high,
            },
            beyond_allowed: departure.beyond(allow),
        }
    };
    let draws = draws(&components, seed);
    let gain = slope_through(&targets.gain_at[..GRID], asked.len());
    let course: Vec<(Timestamp, Interval)> = times
        .iter()
        .enumerate()
        .map(|(i, time)| (*time, Interval::of(&only(from_middle + i))))
        .collect();
    let (low, high) = subject.ends();
    let half_range = (0.5 * (high - low)).max(f64::MIN_POSITIVE);
    let beyond = draws
        .iter()
        .filter(|draw| draw.values.iter().any(|value| value.abs() > allow))
        .count();
    Ok(Update {
        at,
        middle: subject.middle(),
        offset: Interval::of(&only(asked.len() - 1)),
        gain: Interval::of(&functional(&components, &(gain / half_range))),
        course,
        wander: wander(&components, subject.wander),
        range: (0..5).map(|i| answer(i * (GRID - 1) / 4, "")).collect(),
        places: places
            .iter()
            .enumerate()
            .map(|(i, place)| answer(GRID + i, &place.name))
            .collect(),
        beyond_anywhere: beyond as f64 / draws.len().max(1) as f64,
        draws,
        gain_at: targets.gain_at[..GRID]
            .iter()
            .map(|gain| gain * subject.wander.at_the_ends)
            .collect(),
    })
}

/// Weights that give the slope of the line nearest to values at `x`, in a vector of
/// `size`.
fn slope_through(x: &[f64], size: usize) -> DVector<f64> {
    let mean = x.iter().sum::<f64>() / x.len() as f64;
    let spread: f64 = x.iter().map(|x| (x - mean).powi(2)).sum();
    let mut slope = DVector::zeros(size);
    for (i, x) in x.iter().enumerate() {
        slope[i] = (x - mean) / spread.max(f64::MIN_POSITIVE);
    }
    slope
}

/// [`DRAWS`] draws over the range, as many of each component as its weight asks for.
fn draws(components: &[Component], seed: u64) -> Vec<Draw> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let normal = |rng: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(rng) };
    let mut draws = Vec::with_capacity(DRAWS);
    // Evenly along the weights added up, from a place drawn once (systematic sampling).
    let offset: f64 = rng.random();
    let (mut sum, mut taken) = (0.0, 0_usize);
    for one in components {
        sum += one.ln_weight.exp() * DRAWS as f64;
        let number = ((sum - offset).ceil().max(0.0) as usize).min(DRAWS) - taken;
        taken += number;
        if number == 0 {
            continue;
        }
        let own = one.covariance.view((0, 0), (GRID, GRID)).into_owned();
        let eigen = SymmetricEigen::new(own);
        let mut root = eigen.eigenvectors;
        for (mut column, value) in root.column_iter_mut().zip(eigen.eigenvalues.iter()) {
            column *= value.max(0.0).sqrt();
        }
        for _ in 0..number {
            let normals = DVector::from_fn(GRID, |_, _| normal(&mut rng));
            let values = one.mean.rows(0, GRID) + &root * normals;
            draws.push(Draw {
                values: values.iter().copied().collect(),
                rate: one.rate,
                steps: [normal(&mut rng), normal(&mut rng)],
            });
        }
    }
    draws
}

/// The rate's posterior beside what was assumed.
fn wander(components: &[Component], assumed: &WanderAssumed) -> Wander {
    let total: f64 = assumed.rates.iter().map(|(_, weight)| weight).sum();
    let prior: Vec<(f64, f64)> = assumed
        .rates
        .iter()
        .map(|(rate, weight)| (*rate, weight / total))
        .collect();
    let posterior: Vec<(f64, f64)> = prior
        .iter()
        .map(|(rate, _)| {
            let weights = components
                .iter()
                .filter(|one| one.rate == *rate)
                .map(|one| one.ln_weight.exp());
            (*rate, weights.sum())
        })
        .collect();
    Wander {
        rate: quantile(&posterior, 0.5),
        low: quantile(&posterior, 0.05),
        high: quantile(&posterior, 0.95),
        assumed: quantile(&prior, 0.5),
        from_checks: spread(&posterior) < SEEN * spread(&prior),
    }
}

/// The first rate with at least `share` of the weight at or below it.
fn quantile(rates: &[(f64, f64)], share: f64) -> f64 {
    let mut sum = 0.0;
    let found = rates.iter().find(|(_, weight)| {
        sum += weight;
        sum >= share
    });
    found.or(rates.last()).map_or(0.0, |(rate, _)| *rate)
}

/// Standard deviation of the logarithm of a rate.
fn spread(rates: &[(f64, f64)]) -> f64 {
    let of = |f: &dyn Fn(f64) -> f64| -> f64 {
        rates
            .iter()
            .map(|(rate, weight)| weight * f(rate.max(f64::MIN_POSITIVE).ln()))
            .sum()
    };
    let mean = of(&|ln| ln);
    of(&|ln| (ln - mean).powi(2)).sqrt()
}
