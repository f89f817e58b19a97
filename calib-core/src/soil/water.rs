//! The water a soil holds against drainage and roots, and what is left of it.

use crate::quantity::{Estimate, Quantity, Vwc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Field capacity and wilting point with their uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SoilWater {
    /// Field capacity, m3/m3.
    pub field_capacity: Estimate<Vwc>,
    /// Wilting point, m3/m3; below field capacity.
    pub wilting_point: Estimate<Vwc>,
    /// Correlation of the two, -1 to 1: sources that put one high tend to put
    /// the other high. Zero where either was measured.
    pub correlation: f64,
}

impl SoilWater {
    /// theta_v once `share` of the available water is used up:
    /// `FC - share (FC - WP)`, m3/m3, with the standard uncertainty both bring
    /// along (JCGM 100:2008, 5.2.2, equation (16), for two correlated inputs).
    /// Share 0 is field capacity itself, share 1 the wilting point.
    pub fn depleted_by(&self, share: f64) -> Estimate<f64> {
        self.combined(1.0 - share, share)
    }

    /// Water between field capacity and wilting point, m3/m3.
    pub fn available(&self) -> Estimate<f64> {
        self.combined(1.0, -1.0)
    }

    fn combined(&self, of_capacity: f64, of_wilting: f64) -> Estimate<f64> {
        let capacity = of_capacity * self.field_capacity.u;
        let wilting = of_wilting * self.wilting_point.u;
        let variance =
            capacity * capacity + wilting * wilting + 2.0 * self.correlation * capacity * wilting;
        Estimate::new(
            of_capacity * self.field_capacity.value.value()
                + of_wilting * self.wilting_point.value.value(),
            variance.max(0.0).sqrt(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn water(correlation: f64) -> SoilWater {
        SoilWater {
            field_capacity: Estimate::new(Vwc::new(0.30).unwrap(), 0.03),
            wilting_point: Estimate::new(Vwc::new(0.10).unwrap(), 0.04),
            correlation,
        }
    }

    #[test]
    fn depletion_runs_from_field_capacity_to_the_wilting_point() {
        let full = water(0.3).depleted_by(0.0);
        let empty = water(0.3).depleted_by(1.0);
        assert!((full.value - 0.30).abs() < 1e-15 && (full.u - 0.03).abs() < 1e-15);
        assert!((empty.value - 0.10).abs() < 1e-15 && (empty.u - 0.04).abs() < 1e-15);
    }

    #[test]
    fn correlation_widens_what_is_in_between_and_narrows_the_difference() {
        // Uncorrelated, the difference has 3-4-5: 0.05. Fully correlated, 0.01,
        // and half way down the mean of both, 0.035.
        assert!((water(0.0).available().u - 0.05).abs() < 1e-12);
        assert!((water(1.0).available().u - 0.01).abs() < 1e-12);
        assert!((water(0.0).depleted_by(0.5).u - 0.025).abs() < 1e-12);
        assert!((water(1.0).depleted_by(0.5).u - 0.035).abs() < 1e-12);
    }

    #[test]
    fn an_uncertainty_is_never_the_root_of_a_rounding_below_nothing() {
        let equal = SoilWater {
            field_capacity: Estimate::new(Vwc::new(0.30).unwrap(), 0.1),
            wilting_point: Estimate::new(Vwc::new(0.10).unwrap(), 0.1),
            correlation: 1.0,
        };
        assert_eq!(equal.available().u, 0.0);
    }
}
