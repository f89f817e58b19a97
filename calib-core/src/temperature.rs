//! The temperature term: what soil temperature does to the raw count, and the
//! reference temperature at which the curve holds.
//!
//! The term acts on the count, where the physics is (the electronics and the
//! permittivity of water shift what the converter sees), and before the curve:
//!
//! `count_ref = count - coefficient (T - T_ref)`, `theta_v = f(count_ref)`.

use crate::quantity::{Celsius, Quantity};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A fitted temperature term.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TemperatureTerm {
    /// Temperature at which counts need no correction.
    pub reference: Celsius,
    /// Counts by which the reading rises per degree Celsius.
    pub coefficient: f64,
}

impl TemperatureTerm {
    /// The count that would have been read at the reference temperature.
    pub fn count_at_reference(&self, count: f64, temperature: Celsius) -> f64 {
        count - self.coefficient * (temperature.value() - self.reference.value())
    }
}

/// The count at the reference temperature of `term`; as read where there is no
/// term or no temperature.
pub(crate) fn count_at_reference(
    term: Option<TemperatureTerm>,
    count: f64,
    temperature: Option<Celsius>,
) -> f64 {
    match (term, temperature) {
        (Some(term), Some(t)) => term.count_at_reference(count, t),
        _ => count,
    }
}

/// By how much theta_v reads apart, m3/m3, for one wetness in soils `span` C apart
/// when nothing corrects for it: `|d theta_v / d count| x |counts per C| x span`,
/// to first order.
pub fn uncorrected_difference(slope: f64, counts_per_c: f64, span: f64) -> f64 {
    (slope * counts_per_c * span).abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uncorrected_readings_lie_as_far_apart_as_the_line_says() {
        let slope = -0.0008;
        let term = TemperatureTerm {
            reference: Celsius::new(20.0).unwrap(),
            coefficient: 1.25,
        };
        let at = |t: f64| 0.3 + slope * term.count_at_reference(500.0, Celsius::new(t).unwrap());
        let found = uncorrected_difference(slope, term.coefficient, 27.0 - 8.0);
        assert!((found - (at(27.0) - at(8.0)).abs()).abs() < 1e-12);
        assert!((found - 0.019).abs() < 1e-12);
    }

    #[test]
    fn a_warm_reading_is_brought_down_to_the_reference() {
        let term = TemperatureTerm {
            reference: Celsius::new(20.0).unwrap(),
            coefficient: 0.8,
        };
        let corrected = term.count_at_reference(504.0, Celsius::new(25.0).unwrap());
        assert!((corrected - 500.0).abs() < 1e-12);
    }
}
