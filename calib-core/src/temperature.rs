//! The temperature term: what soil temperature does to the raw count, and the
//! reference temperature at which the curve holds.
//!
//! The term acts on the count, where the physics is (the electronics and the
//! permittivity of water shift what the converter sees), and before the curve:
//!
//! `count_ref = count - coefficient (T - T_ref)`, `theta_v = f(count_ref)`.

use crate::quantity::{Celsius, Quantity};
use serde::{Deserialize, Serialize};

/// A fitted temperature term.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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

#[cfg(test)]
mod tests {
    use super::*;

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
