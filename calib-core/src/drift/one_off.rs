//! An alarm that hangs on one check: a core weighed, dried or labelled wrongly, rather than
//! a calibration gone.

use super::check::Check;
use super::error::DriftError;
use super::innovations::{Foreteller, ends_of};
use super::posterior::Subject;
use super::sequential::Run;
use crate::calibration::Calibration;
use schemars::JsonSchema;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// Probability below which no check so far off is expected among all of them, from chance
/// or from a drift as sudden as is assumed at most (our choice).
const NOT_BY_CHANCE: f64 = 0.001;

/// Probability of later checks this far towards the alarm, were there no change, above
/// which they are said to agree (our choice).
const AGREE: f64 = 0.05;

/// The one check that an alarm hangs on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct OneOff {
    /// The check, counted from 0.
    pub check: usize,
    /// Its departure (oven less probe) less what all other checks and a drift lead one to
    /// expect there, m3/m3.
    pub off: f64,
    /// Where it lies in what they lead one to expect, as a standard normal value.
    pub score: f64,
    /// Whether later checks agree with the calibration; `false` if it is the last one, and
    /// only another core can tell whether it is wrong or the calibration is gone.
    pub later_agree: bool,
}

/// `checks` without the one of index `left`.
pub(super) fn without(checks: &[Check], left: usize) -> Vec<Check> {
    let others = checks.iter().enumerate().filter(|(i, _)| *i != left);
    others.map(|(_, check)| check.clone()).collect()
}

/// The check that the alarm of `run` hangs on, if it is one alone: without it there is no
/// alarm, it lies where neither chance nor drift brings one check, and the checks after it,
/// if there are any, are not off the same way. A change that stays is thus told from it by
/// the next check.
///
/// # Errors
/// As [`Foreteller::new`].
pub(super) fn one_off(
    subject: &Subject<'_>,
    run: &Run,
    scores: &[f64],
) -> Result<Option<OneOff>, DriftError> {
    let Some(alarm) = run.alarm else {
        return Ok(None);
    };
    let ends = ends_of(subject.calibration, subject.checks);
    // How far each speaks for the alarm.
    let until: Vec<f64> = scores
        .iter()
        .zip(&ends)
        .take(alarm.check + 1)
        .map(|(score, end)| alarm.side.sign(*end) * score)
        .collect();
    let farthest = until.iter().enumerate();
    let Some((check, _)) = farthest.max_by(|a, b| a.1.total_cmp(b.1)) else {
        return Ok(None);
    };
    let sign = alarm.side.sign(ends[check]);
    let others = without(subject.checks, check);
    let rest = scores_of(subject.calibration, &others, subject.other_ring)?;
    let rest_ends = ends_of(subject.calibration, &others);
    if run.plan.alarm_at(&rest, &rest_ends).is_some() {
        return Ok(None);
    }
    let normal = Normal::standard();
    let later = &rest[check..];
    // Each as it speaks for the alarm; those that say nothing of it are left aside.
    let speaking: Vec<f64> = later
        .iter()
        .zip(&rest_ends[check..])
        .map(|(score, end)| alarm.side.sign(*end) * score)
        .filter(|score| *score != 0.0)
        .collect();
    let together = speaking.iter().sum::<f64>() / (speaking.len().max(1) as f64).sqrt();
    if normal.cdf(-together) < AGREE {
        return Ok(None);
    }
    let expected = Subject {
        checks: &others,
        ..*subject
    }
    .foretells(&subject.checks[check])?;
    let departure = subject.checks[check].departure();
    let score = expected.score(departure);
    let chance = 2.0 * normal.cdf(-sign * score) * subject.checks.len() as f64;
    Ok((chance < NOT_BY_CHANCE).then(|| OneOff {
        check,
        off: departure - expected.mean(),
        score,
        later_agree: !later.is_empty(),
    }))
}

fn scores_of(
    calibration: &Calibration,
    checks: &[Check],
    other_ring: bool,
) -> Result<Vec<f64>, DriftError> {
    if checks.is_empty() {
        return Ok(Vec::new());
    }
    let departures: Vec<f64> = checks.iter().map(Check::departure).collect();
    Ok(Foreteller::new(calibration, checks, other_ring)?.scores(&departures))
}
