//! Cores that were fitted and tested on: such a test flatters.
//!
//! A core is recognised by its identifier (letters large or small, blanks around it
//! left out), and by equal theta_v beside an equal count, should it have been renamed.
//! Equal means equal as far as the one written with fewer decimals says: 0.2513 and
//! 0.251294 are equal, 0.2513 and 0.2514 are not.

use super::error::AccuracyError;
use crate::pair::Pair;
use crate::quantity::Quantity;
use serde::{Deserialize, Serialize};
use statrs::distribution::{DiscreteCDF, Poisson};
use std::collections::HashMap;

/// How a core was recognised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Recognised {
    /// Same identifier, same values.
    ByNameAndValues,
    /// Same identifier, other values: perhaps another core of that name.
    ByName,
    /// Another identifier, but equal theta_v beside an equal count.
    ByValues,
}

/// A core among those to test on that was fitted too.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SharedCore {
    /// As named among those to test on.
    pub tested: String,
    /// As named among those fitted.
    pub fitted: String,
    /// How it was recognised.
    pub recognised: Recognised,
    /// theta_v of the one to test on, m3/m3.
    pub theta_v: f64,
    /// Count beside it.
    pub count: f64,
}

/// Cores in both sets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Leakage {
    /// Each core to test on that was fitted, once.
    pub shared: Vec<SharedCore>,
    /// How many would be alike in values by chance, judged by how many are nearly so.
    pub by_chance: f64,
}

/// Most decimals looked at.
const MOST_DECIMALS: u32 = 9;

/// How much wider than equal values lie is looked for pairs alike by chance.
const WIDER: f64 = 30.0;

/// Probability of so many equal values by chance above which they are not held for
/// copies (our choice).
const CHANCE: f64 = 0.01;

/// Cores of `tested` that are among `fitted`, each once, and how many would be alike in
/// values by chance.
pub fn find_shared(fitted: &[Pair], tested: &[Pair]) -> Leakage {
    let mut by_name: HashMap<String, Vec<&Pair>> = HashMap::new();
    for pair in fitted {
        by_name.entry(name(pair)).or_default().push(pair);
    }
    let mut sorted: Vec<&Pair> = fitted.iter().collect();
    sorted.sort_by(|a, b| theta(a).total_cmp(&theta(b)));
    let mut shared: Vec<SharedCore> = Vec::new();
    let mut place_of: HashMap<&str, usize> = HashMap::new();
    let mut near_by_chance = 0.0;
    for pair in tested {
        let named = by_name.get(&name(pair));
        let (alike, near) = alike_in_values(&sorted, pair);
        if named.is_none() {
            near_by_chance += near / WIDER.powi(2);
        }
        let recognised = match (named, alike) {
            (Some(others), _) => {
                let same = others.iter().find(|other| same_theta(other, pair));
                let how = if same.is_some() {
                    Recognised::ByNameAndValues
                } else {
                    Recognised::ByName
                };
                same.or(others.first()).map(|other| (*other, how))
            }
            (None, Some(other)) => Some((other, Recognised::ByValues)),
            (None, None) => None,
        };
        let Some((other, recognised)) = recognised else {
            continue;
        };
        let found = SharedCore {
            tested: pair.core().to_owned(),
            fitted: other.core().to_owned(),
            recognised,
            theta_v: theta(pair),
            count: pair.observation.count.value,
        };
        match place_of.get(pair.core()) {
            // Where several pairs of a core are recognised, the surest is told.
            Some(place) => {
                if recognised == Recognised::ByNameAndValues {
                    shared[*place] = found;
                }
            }
            None => {
                place_of.insert(pair.core(), shared.len());
                shared.push(found);
            }
        }
    }
    Leakage {
        shared,
        by_chance: near_by_chance,
    }
}

impl Leakage {
    /// How many were recognised by their values alone.
    pub fn by_values(&self) -> usize {
        self.shared
            .iter()
            .filter(|core| core.recognised == Recognised::ByValues)
            .count()
    }

    /// Whether those recognised by values alone are more than chance explains.
    pub fn values_are_copies(&self) -> bool {
        let found = self.by_values();
        found > 0
            && match Poisson::new(self.by_chance) {
                // Probability of as many or more.
                Ok(chance) => chance.sf(found as u64 - 1) < CHANCE,
                Err(_) => true,
            }
    }

    /// Refuses a test on cores that were fitted: those of equal names, and those of
    /// equal values unless chance explains them.
    ///
    /// # Errors
    /// [`AccuracyError::Leaked`] with the cores.
    pub fn refuse(&self) -> Result<(), AccuracyError> {
        let copies = self.values_are_copies();
        let cores: Vec<String> = self
            .shared
            .iter()
            .filter(|core| copies || core.recognised != Recognised::ByValues)
            .map(|core| match core.recognised {
                Recognised::ByNameAndValues => core.tested.clone(),
                Recognised::ByName => format!("{} (same name, other theta_v)", core.tested),
                Recognised::ByValues => {
                    format!("{} (the same values as {})", core.tested, core.fitted)
                }
            })
            .collect();
        if cores.is_empty() {
            Ok(())
        } else {
            Err(AccuracyError::Leaked { cores })
        }
    }
}

fn name(pair: &Pair) -> String {
    pair.core().trim().to_lowercase()
}

fn theta(pair: &Pair) -> f64 {
    pair.observation.theta_v.value.value()
}

/// Decimals that `value` is written with, at most [`MOST_DECIMALS`].
fn decimals(value: f64) -> u32 {
    let mut decimals = 0;
    let mut power = 1.0;
    while decimals < MOST_DECIMALS && ((value * power).round() / power - value).abs() > 1e-12 {
        decimals += 1;
        power *= 10.0;
    }
    decimals
}

/// By how much `a` and `b` may differ and be one value, rounded differently. Halves may
/// be rounded up or down.
fn rounding(a: f64, b: f64) -> f64 {
    let fewest = decimals(a).min(decimals(b));
    let unit = 10_f64.powi(-i32::try_from(fewest).unwrap_or(0));
    if decimals(a) == decimals(b) {
        // Both written alike: equal or not.
        1e-6 * unit
    } else {
        0.5 * unit * (1.0 + 1e-9) + 1e-12
    }
}

fn same_theta(a: &Pair, b: &Pair) -> bool {
    (theta(a) - theta(b)).abs() <= rounding(theta(a), theta(b))
}

/// The first of `sorted` by theta_v that is alike `pair` in values, and how many are
/// nearly so.
fn alike_in_values<'a>(sorted: &[&'a Pair], pair: &Pair) -> (Option<&'a Pair>, f64) {
    let (own, count) = (theta(pair), pair.observation.count.value);
    let theta_reach = WIDER * LEAST_THETA;
    let first = sorted.partition_point(|other| theta(other) < own - theta_reach);
    let mut alike = None;
    let mut near = 0.0;
    for other in &sorted[first..] {
        let far = theta(other) - own;
        if far > theta_reach {
            break;
        }
        let other_count = other.observation.count.value;
        let apart = (other_count - count).abs();
        let same_count = apart <= rounding(other_count, count);
        if same_theta(other, pair) && same_count {
            alike.get_or_insert(*other);
        } else if apart <= WIDER * 0.5 {
            near += 1.0;
        }
    }
    (alike, near)
}

/// Half a unit of the fourth decimal, m3/m3: theta_v is seldom written with fewer.
const LEAST_THETA: f64 = 0.000_05;
