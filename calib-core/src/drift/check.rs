//! A spot check: which cores can be held against a calibration, in which order.

use super::error::DriftError;
use crate::accuracy::find_shared;
use crate::calibration::{Calibration, ConvertError};
use crate::fit::Observation;
use crate::pair::Pair;
use crate::quantity::{Quantity, Timestamp};
use schemars::JsonSchema;
use serde::Serialize;

/// Most checks of one probe looked at together.
const MOST_CHECKS: usize = 200;

/// Readings of one visit are at most this far apart, seconds.
const ONE_VISIT_S: i64 = 24 * 3600;

/// A core that can be held against the calibration.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Check {
    /// The core's identifier.
    pub core: String,
    /// When it was taken.
    pub taken_at: Timestamp,
    /// Which visit it belongs to, counted from 0: cores of one day read at one count and
    /// temperature share that reading's error.
    pub visit: usize,
    /// Count as read, with its standard uncertainty.
    pub count: f64,
    /// Standard uncertainty of the count.
    pub count_u: f64,
    /// Soil temperature, C, where logged.
    pub temperature_c: Option<f64>,
    /// Water content by the oven, m3/m3.
    pub reference: f64,
    /// Its standard uncertainty from weighing and drying, m3/m3.
    pub reference_u: f64,
    /// Relative standard uncertainty of the volume of this core's ring.
    pub relative_volume_u: f64,
    /// Water content by the calibration as it stands, m3/m3.
    pub calibrated: f64,
}

impl Check {
    /// Oven less probe, m3/m3.
    pub fn departure(&self) -> f64 {
        self.reference - self.calibrated
    }
}

/// Why a core says nothing about the calibration.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CheckFault {
    /// It is not known when it was taken.
    #[error("it is not known when it was taken")]
    NoTime,
    /// It was taken before the calibration.
    #[error("it was taken before the calibration was made")]
    BeforeCalibration,
    /// The reading has no water content.
    #[error(transparent)]
    Convert(#[from] ConvertError),
    /// Its uncertainties are negative or no numbers.
    #[error("its count, water content or uncertainty is no usable number")]
    NoNumber,
}

impl CheckFault {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            CheckFault::NoTime => "write when the core was taken in taken_at",
            CheckFault::BeforeCalibration => {
                "correct taken_at if it is wrong; only later cores can tell whether the calibration still holds"
            }
            CheckFault::Convert(ConvertError::TemperatureMissing) => {
                "log the soil temperature beside the probe and write it in soil_temp_c"
            }
            CheckFault::Convert(ConvertError::OutsideDomain { .. }) => {
                "take cores at this wetness and run `ovendry fit` again, or check when the soil is as wet or dry as it was then"
            }
            CheckFault::Convert(ConvertError::Implausible(_)) => {
                "look whether this count belongs to this probe"
            }
            CheckFault::NoNumber => "correct count_u, theta_v and theta_v_u",
        }
    }
}

/// A core left out, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// The core's identifier.
    pub core: String,
    /// When it was taken, where stated.
    pub taken_at: Option<Timestamp>,
    /// Why.
    pub fault: CheckFault,
}

/// One visit: the reading that its cores share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit {
    /// When.
    pub at: Timestamp,
    /// Count as read.
    pub count: f64,
    /// Soil temperature, C.
    pub temperature_c: Option<f64>,
}

impl Visit {
    fn holds(&self, check: &Check) -> bool {
        check.taken_at.seconds_since(self.at) <= ONE_VISIT_S
            && check.count == self.count
            && check.temperature_c == self.temperature_c
    }
}

/// The checks of `pairs` that can be held against the calibration, in order of time and
/// sorted into visits, and those that cannot, each with its reason. `pairs` are those of
/// the calibration's probe and soil; `fitted` are the cores it was made from.
///
/// # Errors
/// [`DriftError::UsedInFit`] if a check is one of `fitted`, as [`find_shared`] has it; [`DriftError::Twice`] if a core stands there twice;
/// [`DriftError::TooMany`] beyond what can be looked at together.
pub fn choose_checks(
    calibration: &Calibration,
    calibrated_at: Timestamp,
    fitted: &[Observation],
    pairs: &[Pair],
) -> Result<(Vec<Check>, Vec<LeftOut>), DriftError> {
    refuse_leaks(fitted, pairs)?;
    let (mut checks, mut left_out) = (Vec::new(), Vec::new());
    for pair in pairs {
        match check_of(calibration, calibrated_at, pair) {
            Ok(check) => checks.push(check),
            Err(fault) => left_out.push(LeftOut {
                core: pair.core().to_owned(),
                taken_at: pair.taken_at,
                fault,
            }),
        }
    }
    if checks.len() > MOST_CHECKS {
        return Err(DriftError::TooMany {
            checks: checks.len(),
            most: MOST_CHECKS,
        });
    }
    checks.sort_by(|a, b| {
        (a.taken_at, &a.core)
            .cmp(&(b.taken_at, &b.core))
            .then(a.count.total_cmp(&b.count))
    });
    let mut visits: Vec<Visit> = Vec::new();
    for check in &mut checks {
        let known = visits.iter().rposition(|visit| visit.holds(check));
        check.visit = known.unwrap_or_else(|| {
            visits.push(Visit {
                at: check.taken_at,
                count: check.count,
                temperature_c: check.temperature_c,
            });
            visits.len() - 1
        });
    }
    Ok((checks, left_out))
}

fn check_of(
    calibration: &Calibration,
    calibrated_at: Timestamp,
    pair: &Pair,
) -> Result<Check, CheckFault> {
    let seen = &pair.observation;
    let taken_at = pair.taken_at.ok_or(CheckFault::NoTime)?;
    if taken_at < calibrated_at {
        return Err(CheckFault::BeforeCalibration);
    }
    let uncertainties = [seen.count.u, seen.theta_v.u, seen.relative_volume_u];
    if !seen.count.value.is_finite() || uncertainties.iter().any(|u| !(u.is_finite() && *u >= 0.0))
    {
        return Err(CheckFault::NoNumber);
    }
    let calibrated = calibration.theta_v(seen.count.value, seen.temperature)?;
    Ok(Check {
        core: pair.core().to_owned(),
        taken_at,
        visit: 0,
        count: seen.count.value,
        count_u: seen.count.u,
        temperature_c: seen.temperature.map(Quantity::value),
        reference: seen.theta_v.value.value(),
        reference_u: seen.theta_v.u,
        relative_volume_u: seen.relative_volume_u,
        calibrated: calibrated.value(),
    })
}

/// Refuses cores that the calibration was made from, and cores given twice.
fn refuse_leaks(fitted: &[Observation], pairs: &[Pair]) -> Result<(), DriftError> {
    let cores: Vec<Pair> = fitted
        .iter()
        .map(|core| Pair {
            probe: String::new(),
            soil: String::new(),
            batch: None,
            place: None,
            taken_at: None,
            observation: core.clone(),
        })
        .collect();
    let leaks: Vec<String> = find_shared(&cores, pairs)
        .copies()
        .map(|core| core.tested.clone())
        .collect();
    if !leaks.is_empty() {
        return Err(DriftError::UsedInFit { cores: leaks });
    }
    let mut names: Vec<&str> = pairs.iter().map(Pair::core).collect();
    names.sort_unstable();
    match names.windows(2).find(|two| two[0] == two[1]) {
        Some(two) => Err(DriftError::Twice {
            core: two[0].to_owned(),
        }),
        None => Ok(()),
    }
}
