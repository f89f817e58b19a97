//! A season simulated with the loop closed: pump, soil, probe and rule.
//!
//! The root zone is one bucket of evenly moist soil (`root_zone`), the probe sees it
//! late, with noise and a daily swing (`probe`), the rule switches the pump, and the
//! water reaches the bucket. Chance comes from a seed (`season`); a few seasons of
//! each rule stand side by side (`comparison`).
//!
//! A bucket knows no depth and no sideways spread: it tells rules apart, not how wet
//! a bed will be on a given day.

mod comparison;
mod probe;
mod root_zone;
mod season;
#[cfg(test)]
mod tests;

pub use comparison::{RuleSeasons, Spread, compare};
pub use probe::{Lag, PROBE_LAG_S, ProbeModel};
pub use root_zone::{DRAINAGE_TIME_S, Flows, RootZone, Water, stress};
pub use season::{Day, Moment, Pumping, Scenario, SeasonOutcome};

/// Why a season cannot be simulated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ScenarioError {
    /// No day to simulate.
    #[error("there is no day to simulate")]
    NoDays,
    /// Readings that do not meet the day's end.
    #[error("readings every {step_s} s do not divide a day")]
    UnevenStep {
        /// Seconds between readings.
        step_s: u32,
    },
    /// Water contents in the wrong order.
    #[error(
        "wilting point {wilting_point}, field capacity {field_capacity} and saturation {saturation} m3/m3 must rise in this order"
    )]
    Order {
        /// m3/m3.
        wilting_point: f64,
        /// m3/m3.
        field_capacity: f64,
        /// m3/m3.
        saturation: f64,
    },
    /// A figure that must be a number and not below 0, or above 0.
    #[error("{what} {value} is not a number above or at 0, or is 0 where it must not be")]
    Figure {
        /// Which.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// No season asked for.
    #[error("there is no season to simulate")]
    NoSeasons,
}
