//! The log of one probe, told.

use super::figure::{round, years};
use super::season::SeasonReport;
use super::{DAY_S, OPEN_LOOP, RULES, RuleName};
use crate::command::replay::log::LONGEST_GAP_S;
use crate::table::rfc_3339;
use crate::text_table::{Column, TextTable};
use calib_core::irrigation::{Duty, RelayWear, Replayed, SideOutcome};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// One rule on the log.
#[derive(Serialize, JsonSchema)]
struct RuleOnLog {
    rule: RuleName,
    /// Starts of the pump a day.
    starts_per_day: f64,
    /// Hours of pumping a day.
    hours_on_per_day: f64,
    /// Water pumped in that time, mm a day; `None` for a rule that only asked for it.
    applied_mm_per_day: Option<f64>,
    relay: RelayWear,
}

impl RuleOnLog {
    fn new(rule: RuleName, duty: &Duty, season: &SeasonReport) -> Self {
        let gross_mm_per_h = 3600.0 * season.scenario.pumping.gross_mm_per_s;
        Self {
            rule,
            starts_per_day: duty.starts_per_day(),
            hours_on_per_day: duty.hours_per_day(),
            applied_mm_per_day: (rule == RuleName::PumpAsRecorded)
                .then(|| gross_mm_per_h * duty.hours_per_day()),
            relay: season.relay.wear(duty.starts_per_day()),
        }
    }
}

/// The sums of one rule on the log.
#[derive(Serialize, JsonSchema)]
struct NamedSide {
    rule: RuleName,
    #[serde(flatten)]
    outcome: SideOutcome,
}

/// First and last row of the log, RFC 3339.
#[derive(Serialize, JsonSchema)]
struct Span {
    first: String,
    last: String,
}

/// The log replayed.
#[derive(Serialize, JsonSchema)]
pub(super) struct LogReport {
    rows: u64,
    span: Option<Span>,
    /// Time the log covers, s, without its gaps.
    pub(super) counted_s: f64,
    gaps: u64,
    /// Time in gaps, s.
    pub(super) gap_s: f64,
    longest_gap_s: u32,
    /// Time with readings that the calibration does not answer, s.
    pub(super) unanswered_s: f64,
    /// Time below refill, s.
    below_refill_s: f64,
    /// Time above field capacity, s.
    above_field_capacity_s: f64,
    /// Rain in the log, mm, where it says.
    rain_mm: Option<f64>,
    /// What the pump really did, if the log says.
    recorded: Option<Duty>,
    sides: Vec<NamedSide>,
    /// The pump as recorded, if the log says, then each rule.
    rules: Vec<RuleOnLog>,
}

impl LogReport {
    pub(super) fn new(replayed: &Replayed, season: &SeasonReport) -> Self {
        let recorded = replayed
            .recorded
            .map(|duty| RuleOnLog::new(RuleName::PumpAsRecorded, &duty, season));
        let sides = replayed.sides.iter().zip(RULES);
        let rules = sides.map(|(side, rule)| RuleOnLog::new(rule, &side.duty, season));
        Self {
            rules: recorded.into_iter().chain(rules).collect(),
            longest_gap_s: LONGEST_GAP_S,
            rows: replayed.rows,
            span: replayed.span.map(|(first, last)| Span {
                first: rfc_3339(first),
                last: rfc_3339(last),
            }),
            counted_s: replayed.counted_s,
            gaps: replayed.gaps,
            gap_s: replayed.gap_s,
            unanswered_s: replayed.unanswered_s,
            below_refill_s: replayed.below_refill_s,
            above_field_capacity_s: replayed.above_field_capacity_s,
            rain_mm: replayed.rain_mm,
            recorded: replayed.recorded,
            sides: RULES
                .into_iter()
                .zip(&replayed.sides)
                .map(|(rule, outcome)| NamedSide {
                    rule,
                    outcome: *outcome,
                })
                .collect(),
        }
    }
}

impl fmt::Display for LogReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let log = self;
        writeln!(
            f,
            "The log: {} rows, {} days counted; {} gap{} longer than {} h, {} days in all, not counted.",
            log.rows,
            round(log.counted_s / DAY_S),
            log.gaps,
            if log.gaps == 1 { "" } else { "s" },
            self.longest_gap_s / 3600,
            round(log.gap_s / DAY_S)
        )?;
        writeln!(f, "{OPEN_LOOP}")?;
        let mut table = TextTable::new([
            Column::words("on the log"),
            Column::numbers("starts", "a day"),
            Column::numbers("on", "h a day"),
            Column::numbers("pumped", "mm a day"),
            Column::numbers("relay operations", "a season"),
            Column::numbers("relay lasts", "years"),
        ]);
        for rule in &self.rules {
            table.push([
                rule.rule.words().to_owned(),
                round(rule.starts_per_day),
                round(rule.hours_on_per_day),
                rule.applied_mm_per_day
                    .map_or_else(|| "-".to_owned(), round),
                round(rule.relay.operations_per_season),
                years(rule.relay.years),
            ]);
        }
        write!(f, "{table}")?;
        writeln!(
            f,
            "In the log as it was, whatever ran the pump, the bed was below refill for {} h, above field capacity for {} h, and without an answer for {} h.",
            round(log.below_refill_s / 3600.0),
            round(log.above_field_capacity_s / 3600.0),
            round(log.unanswered_s / 3600.0)
        )?;
        if let Some(rain) = log.rain_mm {
            writeln!(f, "{rain:.0} mm of rain were logged.")?;
        }
        if log.recorded.is_none() {
            writeln!(f, "The log does not say when the pump ran (pump_on).")?;
        }
        writeln!(
            f,
            "What the pump does between two rows goes unseen: starts are at least so many."
        )
    }
}
