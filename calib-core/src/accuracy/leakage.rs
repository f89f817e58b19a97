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

/// How far around a pair others are looked for, to judge how many are alike by chance:
/// theta_v, m3/m3, and counts.
const AROUND: (f64, f64) = (0.003, 5.0);

/// Rounding of a difference of two numbers as written.
const LEAST: f64 = 1e-9;

/// Most decimals that a number may lack beside the others of its set because they are
/// zeros: 0.25 among three decimals is 0.250.
const ZEROS: u32 = 2;

/// Probability of so many equal values by chance above which they are not held for
/// copies (our choice).
const CHANCE: f64 = 0.001;

/// Cores of `tested` that are among `fitted`, each once, and how many would be alike in
/// values by chance.
pub fn find_shared(fitted: &[Pair], tested: &[Pair]) -> Leakage {
    let mut sorted = written(fitted);
    let written_tested = written(tested);
    sorted.sort_by(|a, b| a.theta.0.total_cmp(&b.theta.0));
    let mut by_name: HashMap<String, Vec<&Written>> = HashMap::new();
    for one in &sorted {
        by_name.entry(name(one.pair)).or_default().push(one);
    }
    let mut shared: Vec<SharedCore> = Vec::new();
    let mut place_of: HashMap<&str, usize> = HashMap::new();
    let mut by_chance = 0.0;
    for own in &written_tested {
        let pair = own.pair;
        let named = by_name.get(&name(pair));
        let (alike, chance) = alike_in_values(&sorted, own);
        if named.is_none() {
            by_chance += chance;
        }
        let recognised = match (named, alike) {
            (Some(others), _) => {
                let same = others.iter().find(|other| same(other.theta, own.theta));
                let how = if same.is_some() {
                    Recognised::ByNameAndValues
                } else {
                    Recognised::ByName
                };
                same.or(others.first()).map(|other| (other.pair, how))
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
    Leakage { shared, by_chance }
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

/// A number with its decimals.
type Number = (f64, u32);

/// A pair as it is written.
struct Written<'a> {
    pair: &'a Pair,
    theta: Number,
    count: Number,
}

/// All of a set, with the decimals of each number. One with a few less than most has
/// zeros at its end.
fn written(pairs: &[Pair]) -> Vec<Written<'_>> {
    let numbers = |of: &dyn Fn(&Pair) -> f64| -> Vec<Number> {
        let numbers: Vec<Number> = pairs
            .iter()
            .map(|pair| (of(pair), decimals(of(pair))))
            .collect();
        let mut sorted: Vec<u32> = numbers.iter().map(|number| number.1).collect();
        sorted.sort_unstable();
        let usual = sorted.get(sorted.len() / 2).copied().unwrap_or(0);
        numbers
            .into_iter()
            .map(|(value, decimals)| {
                let zeros = usual.saturating_sub(decimals) <= ZEROS;
                (value, if zeros { decimals.max(usual) } else { decimals })
            })
            .collect()
    };
    let thetas = numbers(&theta);
    let counts = numbers(&|pair| pair.observation.count.value);
    pairs
        .iter()
        .zip(thetas.into_iter().zip(counts))
        .map(|(pair, (theta, count))| Written { pair, theta, count })
        .collect()
}

/// Unit of the last decimal of the one written with fewer.
fn unit(a: Number, b: Number) -> f64 {
    10_f64.powi(-i32::try_from(a.1.min(b.1)).unwrap_or(0))
}

/// Whether `a` and `b` may be one value, written with more decimals or with fewer.
/// Halves may be rounded up or down.
fn same(a: Number, b: Number) -> bool {
    let apart = (a.0 - b.0).abs();
    if a.1 == b.1 {
        apart <= 1e-6 * unit(a, b)
    } else {
        apart <= 0.5 * unit(a, b) * (1.0 + 1e-9) + 1e-12
    }
}

/// The first of `sorted` by theta_v that is alike `own` in values, and how many would be
/// by chance: each of those around it lies as likely in any cell of the last decimals.
fn alike_in_values<'a>(sorted: &[Written<'a>], own: &Written) -> (Option<&'a Pair>, f64) {
    let (theta, count) = (own.theta.0, own.count.0);
    let first = sorted.partition_point(|other| other.theta.0 < theta - AROUND.0 - LEAST);
    let (mut alike, mut chance) = (None, 0.0);
    for other in &sorted[first..] {
        if other.theta.0 > theta + AROUND.0 + LEAST {
            break;
        }
        if same(other.theta, own.theta) && same(other.count, own.count) {
            alike.get_or_insert(other.pair);
        } else if (other.count.0 - count).abs() <= AROUND.1 + LEAST {
            let cell = (unit(other.theta, own.theta), unit(other.count, own.count));
            let around = (2.0 * AROUND.0 + cell.0) * (2.0 * AROUND.1 + cell.1);
            chance += cell.0 * cell.1 / (around - cell.0 * cell.1);
        }
    }
    (alike, chance)
}
