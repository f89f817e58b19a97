//! An old table or calibration against a new one, reading by reading.
//!
//! Both are asked at every code of the converter and at the lowest, reference and
//! highest temperature of either that both accept. Nothing is judged here beyond
//! what the two state of themselves: their uncertainties and, for tables, their
//! largest error.

mod answers;
mod settings;

pub use answers::{Answers, Stated};
pub use settings::{Changed, SetPointMove, Settings, TemperatureUse};

use super::compare::EDGE_COUNTS;
use crate::calibration::Direction;
use std::ops::RangeInclusive;

/// A new uncertainty so many times the old is no chance of the cores (our own limit).
const MUCH_WIDER: f64 = 1.5;
/// Rows of [`Delta::rows`].
const ROWS: u32 = 9;

/// Why two cannot be compared count by count.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotComparable {
    /// Converters of different sizes give different counts for one voltage.
    #[error("the old one is for a converter of {old} bits, the new one for {new} bits")]
    AdcBits {
        /// Bits of the old one's converter.
        old: u8,
        /// Bits of the new one's converter.
        new: u8,
    },
    /// Counts mean the opposite.
    #[error("with the old one {old}, with the new one {new}")]
    Direction {
        /// Direction of the old one.
        old: Direction,
        /// Direction of the new one.
        new: Direction,
    },
}

/// One reading that both answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// Code of the converter.
    pub code: u32,
    /// Soil temperature, C x 100, where either needs one.
    pub temperature_centi: Option<i16>,
    /// What the old one says.
    pub old: Stated,
    /// What the new one says.
    pub new: Stated,
}

impl Difference {
    /// New minus old, m3/m3; positive where the new one reads wetter.
    pub fn difference(&self) -> f64 {
        self.new.theta_v - self.old.theta_v
    }

    /// Both expanded uncertainties together, m3/m3: the root of the sum of their
    /// squares, as for results that share no error.
    pub fn both_uncertainties(&self) -> f64 {
        self.old.expanded.hypot(self.new.expanded)
    }

    /// The difference as a share of both uncertainties, without its sign; above 1
    /// it is more than they explain. (The E_n number of interlaboratory
    /// comparisons, ISO 13528; recalled from memory.)
    pub fn share(&self) -> f64 {
        let difference = self.difference().abs();
        if difference > 0.0 {
            difference / self.both_uncertainties()
        } else {
            0.0
        }
    }
}

/// Codes that one of the two answers and the other does not, at some temperature
/// looked at.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OnlyOne {
    /// The codes, rising.
    pub ranges: Vec<RangeInclusive<u32>>,
    /// Most codes in a row at one temperature.
    pub most_in_a_row: u32,
}

/// What differs between an old and a new one.
#[derive(Debug, Clone, PartialEq)]
pub struct Delta {
    /// The temperatures looked at, C x 100: `None` alone if neither needs one;
    /// none at all if both accept none in common.
    pub temperatures_centi: Vec<Option<i16>>,
    /// Readings (code and temperature) both answer.
    pub compared: u64,
    /// Mean of the differences, new minus old, m3/m3; 0 if nothing was compared.
    pub mean: f64,
    /// Where the new one reads the most wetter, if it does anywhere.
    pub wetter: Option<Difference>,
    /// Where the new one reads the most drier, if it does anywhere.
    pub drier: Option<Difference>,
    /// Some codes over the range both answer, at the temperature nearest the new
    /// one's reference.
    pub rows: Vec<Difference>,
    /// The difference that is the largest share of both uncertainties.
    pub least_explained: Option<Difference>,
    /// Codes only the old one answers.
    pub only_old: OnlyOne,
    /// Codes only the new one answers.
    pub only_new: OnlyOne,
    /// Largest difference that what the two state of themselves allows for where
    /// they mean the same, m3/m3.
    pub bound: f64,
    /// What else differs.
    pub settings: Settings,
}

impl Delta {
    /// Compares two tables, two calibrations, or one of each.
    ///
    /// # Errors
    /// [`NotComparable`] if one count means different things to them.
    pub fn between(old: &dyn Answers, new: &dyn Answers) -> Result<Self, NotComparable> {
        if old.adc_bits() != new.adc_bits() {
            return Err(NotComparable::AdcBits {
                old: old.adc_bits(),
                new: new.adc_bits(),
            });
        }
        if old.direction() != new.direction() {
            return Err(NotComparable::Direction {
                old: old.direction(),
                new: new.direction(),
            });
        }
        let temperatures_centi = temperatures(old, new);
        let mut walk = Walk::default();
        for centi in &temperatures_centi {
            walk.at_temperature(old, new, *centi);
        }
        let shown_at = row_temperature(&temperatures_centi, old, new);
        Ok(Self {
            compared: walk.compared,
            mean: if walk.compared > 0 {
                walk.sum / walk.compared as f64
            } else {
                0.0
            },
            wetter: walk.wetter,
            drier: walk.drier,
            rows: rows(old, new, shown_at),
            least_explained: walk.least_explained,
            only_old: walk.only_old.finish(),
            only_new: walk.only_new.finish(),
            bound: old.bound() + new.bound(),
            settings: Settings::between(old, new),
            temperatures_centi,
        })
    }

    /// The largest difference without its sign, m3/m3; 0 if nothing differs.
    pub fn largest(&self) -> f64 {
        [self.wetter, self.drier]
            .into_iter()
            .flatten()
            .map(|place| place.difference().abs())
            .fold(0.0, f64::max)
    }

    /// Whether one may stand for the other at every reading: no difference
    /// exceeds what they state, and only at the very ends does one answer alone.
    pub fn readings_agree(&self) -> bool {
        // A millionth of a unit for the last bit of binary fractions.
        let close = self.largest() <= self.bound + 1e-10;
        let edge = |only: &OnlyOne| f64::from(only.most_in_a_row) <= EDGE_COUNTS;
        self.compared > 0 && close && edge(&self.only_old) && edge(&self.only_new)
    }

    /// Whether a controller would do the same with either: the readings agree and
    /// nothing that governs the pump or the faults differs. Names and dates do not
    /// count.
    pub fn is_the_same(&self) -> bool {
        self.readings_agree() && self.settings.govern_alike()
    }

    /// Whether the new one is so much less sure that its uncertainty explains most
    /// changes away.
    pub fn is_much_less_sure(&self) -> bool {
        self.widened().is_some_and(|ratio| ratio > MUCH_WIDER)
    }

    /// How much wider the new one's uncertainty is, by the rows: the median of new
    /// over old; `None` if nothing was compared.
    pub fn widened(&self) -> Option<f64> {
        let mut ratios: Vec<f64> = self
            .rows
            .iter()
            .filter(|row| row.old.expanded > 0.0)
            .map(|row| row.new.expanded / row.old.expanded)
            .collect();
        ratios.sort_by(f64::total_cmp);
        ratios.get(ratios.len() / 2).copied()
    }
}

/// The temperatures both accept among the lowest, reference and highest of either.
fn temperatures(old: &dyn Answers, new: &dyn Answers) -> Vec<Option<i16>> {
    let uses = [old.temperature(), new.temperature()];
    if uses.iter().all(Option::is_none) {
        return vec![None];
    }
    let mut all: Vec<i16> = uses
        .iter()
        .flatten()
        .flat_map(|used| [used.lowest_centi, used.reference_centi, used.highest_centi])
        .filter(|centi| uses.iter().flatten().all(|used| used.accepts(*centi)))
        .collect();
    all.sort_unstable();
    all.dedup();
    all.into_iter().map(Some).collect()
}

/// Of the temperatures looked at, the one nearest the new one's reference, or the
/// old one's if only that has one; `None` if there are none.
fn row_temperature(
    temperatures: &[Option<i16>],
    old: &dyn Answers,
    new: &dyn Answers,
) -> Option<Option<i16>> {
    let reference = new
        .temperature()
        .or(old.temperature())
        .map_or(0, |used| i32::from(used.reference_centi));
    temperatures
        .iter()
        .copied()
        .min_by_key(|centi| (i32::from(centi.unwrap_or(0)) - reference).abs())
}

fn difference_at(
    old: &dyn Answers,
    new: &dyn Answers,
    code: u32,
    temperature_centi: Option<i16>,
) -> Option<Difference> {
    Some(Difference {
        code,
        temperature_centi,
        old: old.stated(code, temperature_centi)?,
        new: new.stated(code, temperature_centi)?,
    })
}

/// Some codes from the first to the last that both answer.
fn rows(old: &dyn Answers, new: &dyn Answers, at: Option<Option<i16>>) -> Vec<Difference> {
    let Some(centi) = at else {
        return Vec::new();
    };
    let both = |code: &u32| difference_at(old, new, *code, centi).is_some();
    let codes = 0..=new.largest_code();
    let (Some(first), Some(last)) = (codes.clone().find(both), codes.rev().find(both)) else {
        return Vec::new();
    };
    let span = last - first;
    let mut shown: Vec<u32> = (0..ROWS)
        .map(|row| first + (span * row + (ROWS - 1) / 2) / (ROWS - 1))
        .collect();
    shown.dedup();
    shown
        .into_iter()
        .filter_map(|code| difference_at(old, new, code, centi))
        .collect()
}

/// What is gathered on the way over the codes.
#[derive(Default)]
struct Walk {
    compared: u64,
    sum: f64,
    wetter: Option<Difference>,
    drier: Option<Difference>,
    least_explained: Option<Difference>,
    only_old: Alone,
    only_new: Alone,
}

impl Walk {
    fn at_temperature(&mut self, old: &dyn Answers, new: &dyn Answers, centi: Option<i16>) {
        for code in 0..=new.largest_code() {
            let answers = (old.stated(code, centi), new.stated(code, centi));
            self.only_old.note(code, matches!(answers, (Some(_), None)));
            self.only_new.note(code, matches!(answers, (None, Some(_))));
            if let (Some(old), Some(new)) = answers {
                self.both(Difference {
                    code,
                    temperature_centi: centi,
                    old,
                    new,
                });
            }
        }
        self.only_old.in_a_row = 0;
        self.only_new.in_a_row = 0;
    }

    fn both(&mut self, here: Difference) {
        let difference = here.difference();
        let so_far = |place: Option<Difference>| place.map_or(0.0, |place| place.difference());
        self.compared += 1;
        self.sum += difference;
        if difference > so_far(self.wetter) {
            self.wetter = Some(here);
        }
        if difference < so_far(self.drier) {
            self.drier = Some(here);
        }
        if self
            .least_explained
            .is_none_or(|place| here.share() > place.share())
        {
            self.least_explained = Some(here);
        }
    }
}

/// Codes that one answers alone, as they come by.
#[derive(Default)]
struct Alone {
    /// For every code, whether it was one at any temperature.
    codes: Vec<bool>,
    in_a_row: u32,
    most_in_a_row: u32,
}

impl Alone {
    fn note(&mut self, code: u32, alone: bool) {
        let place = code as usize;
        if place >= self.codes.len() {
            self.codes.resize(place + 1, false);
        }
        if alone {
            self.in_a_row += 1;
            self.most_in_a_row = self.most_in_a_row.max(self.in_a_row);
            if let Some(known) = self.codes.get_mut(place) {
                *known = true;
            }
        } else {
            self.in_a_row = 0;
        }
    }

    fn finish(self) -> OnlyOne {
        let mut ranges: Vec<RangeInclusive<u32>> = Vec::new();
        for (code, _) in (0_u32..).zip(&self.codes).filter(|(_, alone)| **alone) {
            match ranges.last_mut() {
                Some(range) if range.end() + 1 == code => *range = *range.start()..=code,
                _ => ranges.push(code..=code),
            }
        }
        OnlyOne {
            ranges,
            most_in_a_row: self.most_in_a_row,
        }
    }
}

#[cfg(test)]
mod tests;
