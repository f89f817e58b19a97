//! Rules side by side over the same seeded seasons.

use super::{Scenario, ScenarioError, SeasonOutcome};
use crate::irrigation::replay::Side;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

/// A figure over several seasons.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Spread {
    /// Mean.
    pub mean: f64,
    /// Standard deviation between seasons; 0 for one season.
    pub standard_deviation: f64,
    /// Lowest.
    pub lowest: f64,
    /// Highest.
    pub highest: f64,
}

impl Spread {
    fn of(values: &[f64]) -> Self {
        let count = values.len().max(1) as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let (lowest, highest) = crate::quantity::lowest_and_highest(values.iter().copied());
        Self {
            mean,
            standard_deviation: (squares / (count - 1.0).max(1.0)).sqrt(),
            lowest,
            highest,
        }
    }
}

/// What became of one rule's seasons; hours, mm and litres are those of one season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RuleSeasons {
    /// Starts of the pump a day.
    pub starts_per_day: Spread,
    /// Hours on a day.
    pub hours_on_per_day: Spread,
    /// Driest the root zone became, m3/m3.
    pub minimum_theta_v: Spread,
    /// Its mean, m3/m3.
    pub mean_theta_v: Spread,
    /// Hours below refill.
    pub hours_below_refill: Spread,
    /// Hours above field capacity.
    pub hours_above_field_capacity: Spread,
    /// Hours without an answer of the calibration.
    pub hours_without_answer: Spread,
    /// Those of them below refill.
    pub hours_without_answer_too_dry: Spread,
    /// Water pumped, mm.
    pub applied_mm: Spread,
    /// Water pumped, L.
    pub applied_l: Spread,
    /// Water drained below the roots, mm.
    pub drained_mm: Spread,
    /// Water drained below the roots, L.
    pub drained_l: Spread,
    /// Water the crop asked for and did not get, mm.
    pub unmet_mm: Spread,
    /// Stops at the longest time on.
    pub stops_at_maximum: Spread,
    /// Each season.
    #[serde(skip)]
    pub seasons: Vec<SeasonOutcome>,
}

impl RuleSeasons {
    fn of(scenario: &Scenario, seasons: Vec<SeasonOutcome>) -> Self {
        let spread = |figure: fn(&SeasonOutcome) -> f64| {
            Spread::of(&seasons.iter().map(figure).collect::<Vec<f64>>())
        };
        let drained_mm = spread(|season| season.drained_mm);
        let area = crate::quantity::Quantity::value(scenario.pumping.area);
        Self {
            starts_per_day: spread(|season| season.duty.starts_per_day()),
            hours_on_per_day: spread(|season| season.duty.hours_per_day()),
            minimum_theta_v: spread(|season| season.minimum_theta_v),
            mean_theta_v: spread(|season| season.mean_theta_v),
            hours_below_refill: spread(|season| season.hours_below_refill),
            hours_above_field_capacity: spread(|season| season.hours_above_field_capacity),
            hours_without_answer: spread(|season| season.hours_without_answer),
            hours_without_answer_too_dry: spread(|season| season.hours_without_answer_too_dry),
            applied_mm: spread(|season| season.applied_mm),
            applied_l: spread(|season| season.applied_l),
            drained_mm,
            drained_l: Spread {
                mean: drained_mm.mean * area,
                standard_deviation: drained_mm.standard_deviation * area,
                lowest: drained_mm.lowest * area,
                highest: drained_mm.highest * area,
            },
            unmet_mm: spread(|season| season.unmet_mm),
            stops_at_maximum: spread(|season| season.stops_at_maximum as f64),
            seasons,
        }
    }
}

/// Every side over the same `seasons` seasons, seeded with `seed`, `seed + 1` and so
/// on. Runs on all cores; the result does not depend on how many there are. `progress`
/// is told of each season done, from any of them.
///
/// # Errors
/// [`ScenarioError::NoSeasons`] for none, otherwise as [`Scenario::check`].
pub fn compare<const SIDES: usize>(
    scenario: &Scenario,
    sides: &[Side; SIDES],
    seed: u64,
    seasons: u32,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<[RuleSeasons; SIDES], ScenarioError> {
    if seasons == 0 {
        return Err(ScenarioError::NoSeasons);
    }
    scenario.check()?;
    // Side by side, season by season: each core takes what comes next.
    let runs: Result<Vec<SeasonOutcome>, ScenarioError> = sides
        .iter()
        .flat_map(|side| (0..seasons).map(move |number| (side, number)))
        .collect::<Vec<_>>()
        .into_par_iter()
        .map(|(side, number)| {
            let outcome = scenario.season(side, seed.wrapping_add(u64::from(number)), |_| {});
            progress(1);
            outcome
        })
        .collect();
    let mut runs = runs?.into_iter();
    Ok(std::array::from_fn(|_| {
        RuleSeasons::of(scenario, runs.by_ref().take(seasons as usize).collect())
    }))
}
