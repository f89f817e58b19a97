//! The study of one probe: checks in, what became of the calibration out.

use super::check::{Check, LeftOut, choose_checks};
use super::error::DriftError;
use super::innovations::{Foreteller, Score};
use super::one_off::{OneOff, one_off, without};
use super::posterior::Subject;
use super::power::{Power, power};
use super::schedule::Schedule;
use super::sequential::{Plan, Run};
use super::update::{Update, WanderAssumed, update};
use crate::calibration::Calibration;
use crate::fit::Observation;
use crate::pair::Pair;
use crate::quantity::Timestamp;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Fewest checks from which anything is said of a calibration that raises no alarm (our
/// choice).
pub const LEAST_CHECKS: usize = 3;

/// Chance above which an error is more likely there than not.
const MORE_LIKELY_THAN_NOT: f64 = 0.5;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Largest error that is allowed, m3/m3.
    pub allow: f64,
    /// Checks planned over which the chance of a false alarm is kept; the number present
    /// if that is larger.
    pub planned_checks: usize,
    /// Whether the checks were cut with another ring than the cores of the calibration, so
    /// that the errors of both volumes stand between them.
    pub other_ring: bool,
    /// How fast calibrations wander, before any check.
    pub wander: WanderAssumed,
    /// Chance of an error beyond what is allowed at which to check again.
    pub check_at_risk: f64,
    /// Chance of such an error at which to calibrate anew unless checks have said
    /// otherwise.
    pub recalibrate_at_risk: f64,
    /// Chooses the random numbers.
    pub seed: u64,
}

impl Default for Settings {
    /// Our choices: 0.02 m3/m3 allowed, 12 checks, one ring, 1 in 20 and 1 in 5 risked.
    fn default() -> Self {
        Self {
            allow: 0.02,
            planned_checks: 12,
            other_ring: false,
            wander: WanderAssumed::default(),
            check_at_risk: 0.05,
            recalibrate_at_risk: 0.20,
            seed: 1,
        }
    }
}

/// A count at which an error would matter most, such as refill.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Place {
    /// What it is called.
    pub name: String,
    /// Count at the reference temperature.
    pub count: f64,
}

/// What became of the calibration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// No alarm, and the chance of an error beyond what is allowed is small.
    Holds,
    /// No alarm, but such an error cannot be ruled out yet.
    HoldsSoFar,
    /// An alarm, but the error is more likely within what is allowed than not.
    DriftedWithinAllowed,
    /// An alarm, and the error is more likely beyond what is allowed than not.
    NoLongerHolds,
    /// An alarm that one check raised alone: without it there is none, neither chance nor
    /// drift brings a check so far off, and later checks, if any, agree with the
    /// calibration.
    OneCheckOff,
    /// No alarm, but the error is more likely beyond what is allowed than not.
    MoreLikelyOff,
    /// Too few checks to say anything.
    TooFewChecks,
}

impl Standing {
    /// Whether the calibration may be used on without a person looking: not where it no
    /// longer holds, where one check must be looked at, or where nothing can be said.
    pub fn is_fit(self) -> bool {
        match self {
            Standing::Holds | Standing::HoldsSoFar | Standing::DriftedWithinAllowed => true,
            Standing::NoLongerHolds
            | Standing::OneCheckOff
            | Standing::MoreLikelyOff
            | Standing::TooFewChecks => false,
        }
    }
}

/// What spot checks say of one calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// The checks used, in order of time.
    pub checks: Vec<Check>,
    /// The cores left out, in the order given.
    pub left_out: Vec<LeftOut>,
    /// The score of each check.
    pub scores: Vec<Score>,
    /// The sequential test.
    pub run: Run,
    /// The one check that the alarm hangs on, if it is one alone. Where later checks
    /// agree, power, update and schedule are reckoned without it.
    pub one_off: Option<OneOff>,
    /// How long drifts of some sizes stay unseen.
    pub power: Vec<Power>,
    /// Offset and gain with the calibration as what was known before.
    pub update: Update,
    /// When to look again.
    pub schedule: Schedule,
    /// What became of the calibration.
    pub standing: Standing,
}

/// Holds the calibration against spot checks. `pairs` are those of its probe and soil;
/// `fitted` are the cores it was made from; `places` are counts at which an error would
/// matter most.
///
/// # Errors
/// As [`choose_checks`]; [`DriftError::Allowance`] if what is allowed is no positive
/// number; [`DriftError::Calibration`] if the calibration's own figures cannot be used.
pub fn study(
    calibration: &Calibration,
    calibrated_at: Timestamp,
    fitted: &[Observation],
    pairs: &[Pair],
    places: &[Place],
    settings: &Settings,
) -> Result<Study, DriftError> {
    let allow = settings.allow;
    if !(allow.is_finite() && allow > 0.0) {
        return Err(DriftError::Allowance { allow });
    }
    let (checks, left_out) = choose_checks(calibration, calibrated_at, fitted, pairs)?;
    let departures: Vec<f64> = checks.iter().map(Check::departure).collect();
    let foreteller = Foreteller::new(calibration, &checks, settings.other_ring)?;
    let scores = foreteller.foretell(&departures);
    let plan = Plan::new(settings.planned_checks).extended(checks.len());
    let values: Vec<f64> = scores.iter().map(|one| one.score).collect();
    let run = plan.run(&values, foreteller.ends());
    let subject = Subject {
        calibration,
        calibrated_at,
        checks: &checks,
        other_ring: settings.other_ring,
        wander: &settings.wander,
    };
    let one_off = one_off(&subject, &run, &values)?;
    let believed = match one_off {
        Some(one) if one.later_agree => without(&checks, one.check),
        _ => checks.clone(),
    };
    let subject = Subject {
        checks: &believed,
        ..subject
    };
    let at = checks.last().map_or(calibrated_at, |last| last.taken_at);
    let update = update(&subject, places, at, (allow, settings.seed))?;
    let mut schedule = Schedule::new(
        &update,
        allow,
        settings.check_at_risk,
        settings.recalibrate_at_risk,
    );
    if one_off.is_some_and(|one| !one.later_agree) {
        schedule.at_once();
    }
    let power = power(
        calibration,
        &believed,
        settings.other_ring,
        &plan,
        settings.seed,
    )?;
    let standing = match one_off {
        Some(_) => Standing::OneCheckOff,
        None => standing(&run, checks.len(), update.beyond_anywhere, settings),
    };
    Ok(Study {
        checks,
        left_out,
        scores,
        run,
        one_off,
        power,
        update,
        schedule,
        standing,
    })
}

fn standing(run: &Run, checks: usize, beyond: f64, settings: &Settings) -> Standing {
    match (run.alarm, checks) {
        (Some(_), _) if beyond > MORE_LIKELY_THAN_NOT => Standing::NoLongerHolds,
        (Some(_), _) => Standing::DriftedWithinAllowed,
        (None, checks) if checks < LEAST_CHECKS => Standing::TooFewChecks,
        (None, _) if beyond > MORE_LIKELY_THAN_NOT => Standing::MoreLikelyOff,
        (None, _) if beyond <= settings.check_at_risk => Standing::Holds,
        (None, _) => Standing::HoldsSoFar,
    }
}
