//! How far each variance may be off.

use super::likelihood::{Likelihood, Places};
use super::minimise::{Closeness, Counted, Lowest};
use super::{Component, IntervalMethod};
use nalgebra::DMatrix;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::f64::consts::FRAC_PI_2;

/// Most pairs for which the likelihood is profiled: with more, the curvature says
/// the same to two digits and a profile would take seconds (our choice).
const MOST_PROFILED: usize = 5_000;

/// Probability that an interval holds what it is for.
const COVERAGE: f64 = 0.95;

/// How near the likelihood's drop is met, as a share of it.
const NEAR: f64 = 1e-4;

/// The likelihood about its highest point, in absolute standard deviations.
pub(super) struct Surroundings<'a, F> {
    counted: &'a Counted<'a, F>,
    places: Places,
    highest: Vec<f64>,
    value: f64,
    /// Covariance of the numbers free, by their places; `None` at an odd point.
    covariance: Option<DMatrix<f64>>,
    free: Vec<usize>,
    profiled: bool,
    /// Drop of -2 log likelihood at the ends of an interval.
    drop: f64,
}

impl<'a, F: Fn(&[f64]) -> f64> Surroundings<'a, F> {
    pub(super) fn of(
        likelihood: &Likelihood,
        counted: &'a Counted<'a, F>,
        highest: Vec<f64>,
        value: f64,
    ) -> Self {
        let places = likelihood.places();
        let mut free: Vec<usize> = vec![places.residual];
        let has = |place: Option<usize>| place.filter(|i| highest[*i] > 0.0);
        free.extend(has(Some(places.offset)));
        free.extend(has(places.gain));
        if let Some(angle) = places.angle
            && has(places.gain).is_some()
            && has(Some(places.offset)).is_some()
            && highest[angle].abs() < FRAC_PI_2
        {
            free.push(angle);
        }
        free.extend(has(places.core));
        free.sort_unstable();
        let covariance = counted
            .inverse_curvature(&highest, &free)
            .map(|inverse| 2.0 * inverse);
        Self {
            counted,
            places,
            value,
            covariance,
            free,
            profiled: likelihood.arrow.pairs() <= MOST_PROFILED,
            drop: ChiSquared::new(1.0).map_or(3.84, |d| d.inverse_cdf(COVERAGE)),
            highest,
        }
    }

    /// Covariance of two of the numbers, zero where one is held at an edge; `None`
    /// where there is no covariance at all.
    pub(super) fn covariance(&self, a: usize, b: usize) -> Option<f64> {
        let covariance = self.covariance.as_ref()?;
        let find = |place| self.free.iter().position(|i| *i == place);
        Some(match find(a).zip(find(b)) {
            Some((a, b)) => covariance[(a, b)],
            None => 0.0,
        })
    }

    fn standard_error(&self, place: usize) -> Option<f64> {
        self.covariance(place, place)
            .map(f64::sqrt)
            .filter(|se| *se > 0.0)
    }

    /// A standard deviation that is one of the numbers as it is.
    pub(super) fn standard_deviation(&self, place: usize) -> Component {
        let value = self.highest[place];
        let k = self.drop.sqrt();
        if self.profiled || value <= 0.0 {
            let step = match self.standard_error(place) {
                Some(se) => k * se,
                None => 0.5 * value.max(0.2 * self.highest[self.places.residual].exp()),
            };
            return Component {
                value,
                low: if value > 0.0 {
                    self.end(place, -step, 0.0)
                } else {
                    Some(0.0)
                },
                high: self.end(place, step, f64::INFINITY),
                method: IntervalMethod::ProfileLikelihood,
            };
        }
        let ratio = self.standard_error(place).map(|se| (k * se / value).exp());
        Component {
            value,
            low: ratio.map(|ratio| value / ratio),
            high: ratio.map(|ratio| value * ratio),
            method: IntervalMethod::Curvature,
        }
    }

    /// The residual standard deviation.
    pub(super) fn residual(&self) -> Component {
        let place = self.places.residual;
        let value = self.highest[place];
        let se = self.standard_error(place);
        let step = self.drop.sqrt() * se.unwrap_or(0.1);
        let (low, high) = if self.profiled {
            (
                self.end(place, -step, f64::NEG_INFINITY),
                self.end(place, step, f64::INFINITY),
            )
        } else {
            (se.map(|_| value - step), se.map(|_| value + step))
        };
        Component {
            value: value.exp(),
            low: low.map(f64::exp),
            high: high.map(f64::exp),
            method: self.method(),
        }
    }

    /// The correlation of offset and gain, by its angle at `place`.
    pub(super) fn correlation(&self, place: usize) -> Component {
        let value = self.highest[place];
        let se = self.standard_error(place);
        if self.profiled || se.is_none() {
            let step = self.drop.sqrt() * se.unwrap_or(0.3);
            let end = |step: f64, edge: f64| {
                if value == edge {
                    Some(edge)
                } else {
                    self.end(place, step, edge)
                }
            };
            return Component {
                value: value.sin(),
                low: end(-step, -FRAC_PI_2).map(f64::sin),
                high: end(step, FRAC_PI_2).map(f64::sin),
                method: IntervalMethod::ProfileLikelihood,
            };
        }
        // Fisher's z has the derivative 1 / (1 - r^2) by r, and r = sin(angle).
        let half = se.map_or(0.0, |se| self.drop.sqrt() * se / value.cos());
        let z = value.sin().atanh();
        Component {
            value: value.sin(),
            low: Some((z - half).tanh()),
            high: Some((z + half).tanh()),
            method: IntervalMethod::Curvature,
        }
    }

    fn method(&self) -> IntervalMethod {
        if self.profiled {
            IntervalMethod::ProfileLikelihood
        } else {
            IntervalMethod::Curvature
        }
    }

    /// Where, going from the highest point by steps like `step`, the profile has
    /// dropped as far as it may; `edge` where it has not even there, `None` where it
    /// never does.
    fn end(&self, place: usize, step: f64, edge: f64) -> Option<f64> {
        let from = self.highest[place];
        // The square root of the drop is nearly a straight line.
        let (mut inside, mut inside_root) = ((from, self.highest.clone()), 0.0);
        let target = self.drop.sqrt();
        let mut at = clipped(from + step, edge, step);
        let mut outside: Option<(f64, f64)> = None;
        for _ in 0..60 {
            let lowest = self.profile(place, at, &inside.1);
            let root = (lowest.value - self.value).max(0.0).sqrt();
            if (root - target).abs() <= NEAR * target {
                return Some(at);
            }
            if root < target {
                if at == edge {
                    return Some(edge);
                }
                inside = (at, lowest.at);
                inside_root = root;
            } else {
                outside = Some((at, root));
            }
            at = match outside {
                Some((far, far_root)) => {
                    let share = (target - inside_root) / (far_root - inside_root);
                    inside.0 + share.clamp(0.05, 0.95) * (far - inside.0)
                }
                None => {
                    let grown = inside.0 + (inside.0 - from).abs().max(step.abs()) * step.signum();
                    clipped(grown, edge, step)
                }
            };
            if !at.is_finite() {
                return None;
            }
        }
        None
    }

    /// The highest likelihood with one number held at `at`; with very many pairs the
    /// others are held too, for what they would give way is little then.
    fn profile(&self, place: usize, at: f64, start: &[f64]) -> Lowest {
        let mut start = start.to_vec();
        start[place] = at;
        let held: Vec<usize> = if self.profiled {
            vec![place]
        } else {
            (0..start.len()).collect()
        };
        self.counted.newton(&start, &held, Closeness::ForProfile)
    }
}

/// Not beyond the edge.
fn clipped(at: f64, edge: f64, step: f64) -> f64 {
    if step < 0.0 {
        at.max(edge)
    } else {
        at.min(edge)
    }
}
