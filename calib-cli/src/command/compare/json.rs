//! The comparison for machines.

use super::{Report, Side};
use crate::caution;
use crate::command::verify::{Live, PumpTimes};
use crate::failure::{Verdict, Warning};
use calib_core::controller::{
    Changed, Difference, OnlyOne, SetPointMove, TemperatureUse, celsius_from_centi,
};
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;

/// What a new controller file or calibration says differently from an old one.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct Answer<'a> {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    old: SideReport<'a>,
    new: SideReport<'a>,
    /// Whether a controller would do the same with either.
    same: bool,
    /// Whether both are tables of the same numbers, names and dates.
    every_number_is_the_same: bool,
    readings: Readings,
    /// How the refill point moved; `null` if it did not.
    refill: Option<Moved>,
    /// How the stop point moved; `null` if it did not.
    stop: Option<Moved>,
    changed: Settings,
    warnings: &'a [Warning],
    cautions: Vec<&'static str>,
}

/// One of the two.
#[derive(Debug, Serialize, JsonSchema)]
struct SideReport<'a> {
    file: &'a Path,
    /// `table` or `curve`.
    kind: &'static str,
    probe: &'a str,
    soil: &'a str,
    /// Bits of the converter the counts come from.
    adc_bits: u8,
    /// Day of the last reading behind the calibration, YYYY-MM-DD.
    calibrated_on: String,
    /// Day by which it should be checked again, YYYY-MM-DD.
    recheck_by: String,
    /// CRC-32 of the table's image, eight hexadecimal digits; `null` for a curve.
    table_crc32: Option<String>,
}

/// How readings differ, count by count.
#[derive(Debug, Serialize, JsonSchema)]
struct Readings {
    /// Readings, a count and a temperature each, that both answer.
    compared: u64,
    /// The soil temperatures looked at, C; none where neither looks at them.
    temperatures_c: Vec<f64>,
    /// Whether one may stand for the other at every reading.
    agree: bool,
    /// Largest difference that both allow for where they mean the same, m3/m3.
    bound_theta_v: f64,
    /// Mean of new less old, m3/m3.
    mean_difference_theta_v: f64,
    most_wetter: Option<Place>,
    most_drier: Option<Place>,
    /// Some counts over the range both answer.
    rows: Vec<Place>,
    /// Counts only the old one answers.
    only_old_answers: Vec<Counts>,
    /// Counts only the new one answers.
    only_new_answers: Vec<Counts>,
    /// The difference that is the largest share of both uncertainties.
    least_explained: Option<Place>,
}

/// Both at one count.
#[derive(Debug, Serialize, JsonSchema)]
struct Place {
    count: u32,
    /// Soil temperature, C; `null` where neither looks at it.
    temperature_c: Option<f64>,
    /// By the old one, m3/m3.
    old_theta_v: f64,
    /// By the new one, m3/m3.
    new_theta_v: f64,
    /// New less old, m3/m3; above 0 the new one reads wetter.
    difference_theta_v: f64,
    /// Expanded uncertainty (95 %) of a new reading by the old one, m3/m3.
    old_expanded_theta_v: f64,
    /// Likewise by the new one, m3/m3.
    new_expanded_theta_v: f64,
    /// Both together, m3/m3: the root of the sum of their squares.
    both_expanded_theta_v: f64,
    /// The difference as a share of that; above 1 it is more than they explain.
    share_of_both: f64,
}

/// Counts in a row.
#[derive(Debug, Serialize, JsonSchema)]
struct Counts {
    from_count: u32,
    to_count: u32,
}

/// What was and what is.
#[derive(Debug, Serialize, JsonSchema)]
struct Both<T> {
    /// What it was.
    old: T,
    /// What it is.
    new: T,
}

/// A set point that moved.
#[derive(Debug, Serialize, JsonSchema)]
struct Moved {
    /// Whether the pump switches at another water content.
    moved: bool,
    count: Both<u16>,
    /// m3/m3.
    theta_v: Both<f64>,
    /// How much wetter the soil is there now, as the new one reads, m3/m3.
    wetter_by_new_theta_v: Option<f64>,
}

/// What else changed; `null` where it did not.
#[derive(Debug, Serialize, JsonSchema)]
struct Settings {
    probe: Option<Both<String>>,
    soil: Option<Both<String>>,
    /// Lowest and highest count with an answer.
    domain_counts: Option<Both<(f64, f64)>>,
    temperature: Option<Both<Option<Temperature>>>,
    timing: Option<Both<PumpTimes>>,
    live: Option<Both<Live>>,
}

/// The correction for soil temperature.
#[derive(Debug, Serialize, JsonSchema)]
struct Temperature {
    /// Where counts need none, C.
    reference_c: f64,
    /// Lowest with an answer, C.
    lowest_c: f64,
    /// Highest with an answer, C.
    highest_c: f64,
    /// Counts per degree C.
    counts_per_c: f64,
}

impl Report<'_> {
    pub(super) fn answer(&self) -> Answer<'_> {
        let delta = &self.delta;
        let settings = &delta.settings;
        let temperatures = delta.temperatures_centi.iter().flatten();
        Answer {
            format: "ovendry compare",
            version: 1,
            verdict: self.verdict(),
            old: self.old.into(),
            new: self.new.into(),
            same: delta.is_the_same(),
            every_number_is_the_same: self.every_number_is_the_same(),
            readings: Readings {
                compared: delta.compared,
                temperatures_c: temperatures
                    .map(|centi| celsius_from_centi(*centi))
                    .collect(),
                agree: delta.readings_agree(),
                bound_theta_v: delta.bound,
                mean_difference_theta_v: delta.mean,
                most_wetter: delta.wetter.as_ref().map(Place::from),
                most_drier: delta.drier.as_ref().map(Place::from),
                rows: delta.rows.iter().map(Place::from).collect(),
                only_old_answers: counts(&delta.only_old),
                only_new_answers: counts(&delta.only_new),
                least_explained: delta.least_explained.as_ref().map(Place::from),
            },
            refill: settings.refill.as_ref().map(Moved::from),
            stop: settings.stop.as_ref().map(Moved::from),
            changed: Settings {
                probe: both(&settings.probe, Clone::clone),
                soil: both(&settings.soil, Clone::clone),
                domain_counts: both(&settings.domain, |domain| *domain),
                temperature: both(&settings.temperature, |used| used.map(Temperature::from)),
                timing: both(&settings.timing, |timing| PumpTimes::from(*timing)),
                live: both(&settings.live, |live| Live::from(*live)),
            },
            warnings: &self.warnings,
            cautions: [caution::PUMP, &[caution::LOCAL_RULES]].concat(),
        }
    }
}

impl<'a> From<&'a Side<'_>> for SideReport<'a> {
    fn from(side: &'a Side<'_>) -> Self {
        let answers = side.answers();
        let (calibrated_on, recheck_by) = side.dates();
        Self {
            file: side.path,
            kind: side.noun(),
            probe: answers.probe(),
            soil: answers.soil(),
            adc_bits: answers.adc_bits(),
            calibrated_on,
            recheck_by,
            table_crc32: side.table().map(|table| format!("{:08x}", table.crc32())),
        }
    }
}

impl From<&Difference> for Place {
    fn from(place: &Difference) -> Self {
        Self {
            count: place.code,
            temperature_c: place.temperature_centi.map(celsius_from_centi),
            old_theta_v: place.old.theta_v,
            new_theta_v: place.new.theta_v,
            difference_theta_v: place.difference(),
            old_expanded_theta_v: place.old.expanded,
            new_expanded_theta_v: place.new.expanded,
            both_expanded_theta_v: place.both_uncertainties(),
            share_of_both: place.share(),
        }
    }
}

impl From<&SetPointMove> for Moved {
    fn from(point: &SetPointMove) -> Self {
        Self {
            moved: point.moved(),
            count: Both {
                old: point.count.old,
                new: point.count.new,
            },
            theta_v: Both {
                old: point.theta_v.old,
                new: point.theta_v.new,
            },
            wetter_by_new_theta_v: point.wetter_by,
        }
    }
}

impl From<TemperatureUse> for Temperature {
    fn from(used: TemperatureUse) -> Self {
        Self {
            reference_c: celsius_from_centi(used.reference_centi),
            lowest_c: celsius_from_centi(used.lowest_centi),
            highest_c: celsius_from_centi(used.highest_centi),
            counts_per_c: used.counts_per_degree,
        }
    }
}

fn counts(one: &OnlyOne) -> Vec<Counts> {
    one.ranges
        .iter()
        .map(|range| Counts {
            from_count: *range.start(),
            to_count: *range.end(),
        })
        .collect()
}

fn both<T, S>(changed: &Option<Changed<T>>, say: impl Fn(&T) -> S) -> Option<Both<S>> {
    changed.as_ref().map(|changed| Both {
        old: say(&changed.old),
        new: say(&changed.new),
    })
}
