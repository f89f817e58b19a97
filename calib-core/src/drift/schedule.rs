//! When to look again: the departure goes on wandering until the chance of an error beyond
//! what is allowed reaches a stated risk.

use super::update::Update;
use crate::quantity::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;

/// Longest time between two checks, days (our choice: a probe is looked at once a season).
pub const LONGEST_WAIT_DAYS: f64 = 365.0;
/// Farthest ahead that is looked, days.
pub const FARTHEST_DAYS: f64 = 5.0 * 365.25;
/// How finely time is looked at, days.
const STEP_DAYS: f64 = 7.0;
/// Days of a year.
const YEAR_DAYS: f64 = 365.25;

/// When to look again.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Schedule {
    /// From when days are counted: the time of the update.
    pub from: Timestamp,
    /// Days until the next check; at most [`LONGEST_WAIT_DAYS`], zero where the risk is
    /// reached already.
    pub next_check_days: f64,
    /// Whether the risk asks for that check, rather than the longest time between two.
    pub asked_by_risk: bool,
    /// Days until the calibration is due anew unless checks have said otherwise; `None`
    /// beyond [`FARTHEST_DAYS`].
    pub recalibrate_days: Option<f64>,
}

impl Schedule {
    /// From what the checks leave of the calibration: the first days on which the chance of
    /// an error beyond `allow` reaches each of the two risks.
    pub(super) fn new(update: &Update, allow: f64, check_at: f64, recalibrate_at: f64) -> Self {
        let (mut check, mut recalibrate) = (None, None);
        let mut days = 0.0;
        while days <= FARTHEST_DAYS && recalibrate.is_none() {
            let chance = beyond_after(update, allow, days);
            if chance >= check_at && check.is_none() {
                check = Some(days);
            }
            if chance >= recalibrate_at {
                recalibrate = Some(days);
            }
            days += STEP_DAYS;
        }
        let asked = check.filter(|days| *days <= LONGEST_WAIT_DAYS);
        Self {
            from: update.at,
            next_check_days: asked.unwrap_or(LONGEST_WAIT_DAYS),
            asked_by_risk: asked.is_some(),
            recalibrate_days: recalibrate,
        }
    }

    /// Asks for the next check now: the last one has to be confirmed.
    pub(super) fn at_once(&mut self) {
        self.next_check_days = 0.0;
        self.asked_by_risk = true;
    }
}

/// Chance of an error beyond `allow` anywhere in the range, so many days after the update.
fn beyond_after(update: &Update, allow: f64, days: f64) -> f64 {
    let root = (days / YEAR_DAYS).sqrt();
    let beyond = update
        .draws
        .iter()
        .filter(|draw| {
            let [offset, gain] = draw.steps.map(|step| step * draw.rate * root);
            draw.values
                .iter()
                .zip(&update.gain_at)
                .any(|(value, at)| (value + offset + gain * at).abs() > allow)
        })
        .count();
    beyond as f64 / update.draws.len().max(1) as f64
}
