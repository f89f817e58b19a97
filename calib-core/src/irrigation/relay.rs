//! How long a relay lasts at a number of starts a day.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Electrical operations a small power relay is commonly rated for at its full
/// load. Common practice; the maker's sheet comes before it, and a motor load
/// wears contacts faster than the resistive load most sheets speak of.
pub const RATED_OPERATIONS: u32 = 100_000;

/// Days a year the pump may be wanted, where none are stated: half a year. Our
/// choice.
pub const SEASON_DAYS: u32 = 180;

/// What a relay is rated for, and how long it works a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RelayLife {
    /// Operations it is rated for; one is closing and opening once, which is one
    /// start of the pump.
    pub rated_operations: u32,
    /// Days of a season; one season a year.
    pub season_days: u32,
}

impl Default for RelayLife {
    fn default() -> Self {
        Self {
            rated_operations: RATED_OPERATIONS,
            season_days: SEASON_DAYS,
        }
    }
}

/// What starts do to a relay.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RelayWear {
    /// Operations in a season.
    pub operations_per_season: f64,
    /// Years until the rated operations are used up; `None` where the pump never
    /// starts.
    pub years: Option<f64>,
}

impl RelayLife {
    /// Wear at so many starts a day.
    pub fn wear(&self, starts_per_day: f64) -> RelayWear {
        let operations_per_season = starts_per_day * f64::from(self.season_days);
        RelayWear {
            operations_per_season,
            years: (operations_per_season > 0.0)
                .then(|| f64::from(self.rated_operations) / operations_per_season),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn starts_a_day_use_a_relay_up() {
        let life = RelayLife {
            rated_operations: 90_000,
            season_days: 150,
        };
        let wear = life.wear(60.0);
        assert_eq!(wear.operations_per_season, 9000.0);
        assert_eq!(wear.years, Some(10.0));
    }

    #[test]
    fn a_pump_that_never_starts_wears_nothing_out() {
        assert_eq!(RelayLife::default().wear(0.0).years, None);
    }
}
