//! The same by moisture, soil, probe and temperature.
//!
//! A range of the *reference* is what a person means by dry or wet; choosing by it
//! takes along cores whose own error made them fall in that range, by some `u^2` over
//! the range's width, which for cores is little.

use super::bias::Bias;
use super::error::AccuracyError;
use super::limits::Limits;
use super::measures::Measures;
use super::sample::{Sample, cluster_numbers};
use crate::quantity::{Quantity, lowest_and_highest};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What the samples are divided by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Division {
    /// The reference's water content.
    Moisture,
    /// The soil.
    Soil,
    /// The probe.
    Probe,
    /// The soil temperature.
    Temperature,
}

/// The samples of one stratum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Stratum {
    /// What was divided by.
    pub division: Division,
    /// Soil or probe; `None` for a range.
    pub name: Option<String>,
    /// Lower end of the range (m3/m3 or C), inclusive; `None` for a name.
    pub low: Option<f64>,
    /// Upper end, exclusive but for the last range; `None` for a name.
    pub high: Option<f64>,
    /// Pairs in it.
    pub pairs: usize,
    /// Clusters in it.
    pub clusters: usize,
    /// Measures; `None` where there are too few pairs (see `missing`). R2 and
    /// Nash-Sutcliffe fall in a narrow range of themselves, with no worse a probe.
    pub measures: Option<Measures>,
    /// Mean difference with interval and test; `None` as above.
    pub bias: Option<Bias>,
    /// Limits of agreement; `None` as above.
    pub limits: Option<Limits>,
    /// Why parts are missing.
    pub missing: Vec<AccuracyError>,
}

impl Stratum {
    /// What can be told of `samples`; where that is not all, why.
    fn of(division: Division, samples: &[Sample], confidence: f64) -> Self {
        let mut missing = Vec::new();
        let measures = kept(Measures::of(samples), &mut missing);
        let bias = kept(Bias::of(samples, confidence), &mut missing);
        let limits = kept(Limits::of(samples, confidence), &mut missing);
        Self {
            division,
            name: None,
            low: None,
            high: None,
            pairs: samples.len(),
            clusters: cluster_numbers(samples).1,
            measures,
            bias,
            limits,
            missing,
        }
    }
}

/// The value, or `None` with its reason among the `missing`, once.
fn kept<T>(found: Result<T, AccuracyError>, missing: &mut Vec<AccuracyError>) -> Option<T> {
    match found {
        Ok(value) => Some(value),
        Err(error) => {
            if !missing.contains(&error) {
                missing.push(error);
            }
            None
        }
    }
}

/// By soil or by probe, in order of name; empty where there is only one.
pub(super) fn by_name(
    samples: &[Sample],
    division: Division,
    name: fn(&Sample) -> &str,
    confidence: f64,
) -> Vec<Stratum> {
    let mut groups: BTreeMap<&str, Vec<Sample>> = BTreeMap::new();
    for sample in samples {
        groups.entry(name(sample)).or_default().push(sample.clone());
    }
    if groups.len() < 2 {
        return Vec::new();
    }
    groups
        .into_iter()
        .map(|(name, group)| Stratum {
            name: Some(name.to_owned()),
            ..Stratum::of(division, &group, confidence)
        })
        .collect()
}

/// By moisture or by temperature, between `cuts` or terciles where there are none;
/// samples without the value are left out. Empty where there is only one range.
///
/// # Errors
/// [`AccuracyError::Cuts`] for cuts that do not rise.
pub(super) fn by_range(
    samples: &[Sample],
    division: Division,
    cuts: &[f64],
    confidence: f64,
) -> Result<Vec<Stratum>, AccuracyError> {
    let what = match division {
        Division::Temperature => "temperature",
        _ => "moisture",
    };
    let rising = cuts.windows(2).all(|pair| pair[0] < pair[1]);
    if !rising || cuts.iter().any(|cut| !cut.is_finite()) {
        return Err(AccuracyError::Cuts { what: what.into() });
    }
    let value = |sample: &Sample| match division {
        Division::Temperature => sample.temperature.map(Quantity::value),
        _ => Some(sample.reference_value()),
    };
    let valued: Vec<(f64, &Sample)> = samples
        .iter()
        .filter_map(|sample| Some((value(sample)?, sample)))
        .collect();
    let (low, high) = lowest_and_highest(valued.iter().map(|(value, _)| *value));
    if high <= low || valued.is_empty() {
        return Ok(Vec::new());
    }
    let cuts = if cuts.is_empty() {
        terciles(valued.iter().map(|(value, _)| *value).collect())
    } else {
        cuts.to_vec()
    };
    let inner: Vec<f64> = cuts
        .into_iter()
        .filter(|cut| *cut > low && *cut <= high)
        .collect();
    if inner.is_empty() {
        return Ok(Vec::new());
    }
    let starts = std::iter::once(low).chain(inner.iter().copied());
    let ends = inner.iter().copied().chain(std::iter::once(f64::INFINITY));
    Ok(starts
        .zip(ends)
        .map(|(start, end)| {
            let group: Vec<Sample> = valued
                .iter()
                .filter(|(value, _)| *value >= start && *value < end)
                .map(|(_, sample)| (*sample).clone())
                .collect();
            Stratum {
                low: Some(start),
                high: Some(end.min(high)),
                ..Stratum::of(division, &group, confidence)
            }
        })
        .collect())
}

/// The two values that leave a third of all below, and two thirds.
fn terciles(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    let at = |part: usize| values[part * values.len() / 3];
    let mut cuts = vec![at(1), at(2)];
    cuts.dedup();
    cuts
}
