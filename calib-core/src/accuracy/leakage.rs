//! Cores that were fitted and tested on: such a test flatters.
//!
//! A core is recognised by its identifier (letters large or small, blanks around it
//! left out), and by equal theta_v beside an equal count, should it have been renamed.
//! Equal means equal as far as the one written with fewer decimals says: 0.2513 and
//! 0.251294 are equal, 0.2513 and 0.2514 are not.
//!
//! Equal values may be chance. How many are expected to be alike so closely is told from
//! how many lie near one another: few where many decimals agree, fewer still where both
//! were taken at a time that few were. Those that chance does not explain are refused.

use super::error::AccuracyError;
use crate::pair::Pair;
use crate::quantity::Quantity;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{DiscreteCDF, Poisson};
use std::collections::{BTreeMap, HashMap};

/// How a core was recognised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
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
    /// Whether chance does not explain it: always so for equal names.
    pub is_copy: bool,
}

/// Cores in both sets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
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
    // How many are alike by chance, by the decimals that they share.
    let mut chances: BTreeMap<u32, f64> = BTreeMap::new();
    let mut by_values: Vec<ByValues> = Vec::new();
    for own in &written_tested {
        let pair = own.pair;
        let named = by_name.get(&name(pair));
        let (recognised, other) = if let Some(others) = named {
            let same = others.iter().find(|other| same(other.theta, own.theta));
            match (same, others.first()) {
                (Some(other), _) => (Recognised::ByNameAndValues, other.pair),
                (None, Some(other)) => (Recognised::ByName, other.pair),
                (None, None) => continue,
            }
        } else {
            let Some(alike) = alike_in_values(&sorted, own, &mut chances) else {
                continue;
            };
            by_values.push(ByValues {
                core: pair.core(),
                decimals: alike.decimals(own),
                at_that_time: at_that_time(fitted, pair, alike.pair),
            });
            (Recognised::ByValues, alike.pair)
        };
        let found = SharedCore {
            tested: pair.core().to_owned(),
            fitted: other.core().to_owned(),
            recognised,
            theta_v: theta(pair),
            count: pair.observation.count.value,
            is_copy: recognised != Recognised::ByValues,
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
    for core in copies(by_values, &chances) {
        if let Some(place) = place_of.get(core) {
            shared[*place].is_copy = true;
        }
    }
    Leakage {
        shared,
        by_chance: chances.values().sum(),
    }
}

/// A pair whose values are those of one that was fitted.
struct ByValues<'a> {
    core: &'a str,
    /// Decimals of theta_v and count that both share.
    decimals: u32,
    /// Part of those fitted that were taken when both were; 1 where that is not known.
    at_that_time: f64,
}

/// Part of `fitted` taken at the time of both; 1 where the times differ or none is stated.
fn at_that_time(fitted: &[Pair], one: &Pair, other: &Pair) -> f64 {
    if one.taken_at.is_none() || one.taken_at != other.taken_at {
        return 1.0;
    }
    let then = fitted.iter().filter(|pair| pair.taken_at == one.taken_at);
    then.count() as f64 / fitted.len() as f64
}

/// The cores that chance does not explain: the closest so many, where as many so close
/// are less likely than [`CHANCE`].
fn copies<'a>(found: Vec<ByValues<'a>>, chances: &BTreeMap<u32, f64>) -> Vec<&'a str> {
    let expected = |one: &ByValues| -> f64 {
        let as_close: f64 = chances
            .range(one.decimals..)
            .map(|(_, chance)| chance)
            .sum();
        as_close * one.at_that_time
    };
    let mut closest: Vec<(f64, &str)> = found.iter().map(|one| (expected(one), one.core)).collect();
    closest.sort_by(|a, b| a.0.total_cmp(&b.0));
    let many = (1..=closest.len())
        .rev()
        .find(|many| as_many_by_chance(*many, closest[many - 1].0) < CHANCE);
    closest.truncate(many.unwrap_or(0));
    closest.into_iter().map(|(_, core)| core).collect()
}

/// Probability of `many` or more where `expected` are.
fn as_many_by_chance(many: usize, expected: f64) -> f64 {
    match Poisson::new(expected) {
        Ok(chance) => chance.sf(many.saturating_sub(1) as u64),
        Err(_) => 0.0,
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

    /// Whether some recognised by values alone are more than chance explains.
    pub fn values_are_copies(&self) -> bool {
        self.copies()
            .any(|core| core.recognised == Recognised::ByValues)
    }

    /// Those that cannot be tested on: equal names, and values that are equal more
    /// closely, or more often, than chance explains.
    pub fn copies(&self) -> impl Iterator<Item = &SharedCore> {
        self.shared.iter().filter(|core| core.is_copy)
    }

    /// Those whose equal values may be chance.
    pub fn doubtful(&self) -> impl Iterator<Item = &SharedCore> {
        self.shared.iter().filter(|core| !core.is_copy)
    }

    /// Refuses a test on cores that were fitted: those of equal names, and those of
    /// equal values unless chance explains them.
    ///
    /// # Errors
    /// [`AccuracyError::Leaked`] with the cores.
    pub fn refuse(&self) -> Result<(), AccuracyError> {
        let cores: Vec<String> = self
            .copies()
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

impl Written<'_> {
    /// Decimals of theta_v and count that this and `other` share.
    fn decimals(&self, other: &Written) -> u32 {
        self.theta.1.min(other.theta.1) + self.count.1.min(other.count.1)
    }
}

/// The first of `sorted` by theta_v that is alike `own` in values. Adds to `chances` how
/// many would be by chance: each of those around it lies as likely in any cell of the
/// last decimals.
fn alike_in_values<'a, 'b>(
    sorted: &'b [Written<'a>],
    own: &Written,
    chances: &mut BTreeMap<u32, f64>,
) -> Option<&'b Written<'a>> {
    let (theta, count) = (own.theta.0, own.count.0);
    let first = sorted.partition_point(|other| other.theta.0 < theta - AROUND.0 - LEAST);
    let mut alike = None;
    for other in &sorted[first..] {
        if other.theta.0 > theta + AROUND.0 + LEAST {
            break;
        }
        if same(other.theta, own.theta) && same(other.count, own.count) {
            alike.get_or_insert(other);
        }
        if (other.count.0 - count).abs() <= AROUND.1 + LEAST {
            let cell = (unit(other.theta, own.theta), unit(other.count, own.count));
            let around = (2.0 * AROUND.0 + cell.0) * (2.0 * AROUND.1 + cell.1);
            *chances.entry(other.decimals(own)).or_default() += cell.0 * cell.1 / around;
        }
    }
    alike
}
