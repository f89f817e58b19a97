//! Newtypes for the quantities that get confused, each with its unit and its
//! limits in one place.
//!
//! A limit here is a *plausibility* limit: what a value of this kind can be at
//! all. Whether a plausible value is also right is for the room that uses it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a kind of quantity is called, what it is measured in, and how far it
/// can go. Used alike by checks, messages and documentation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The name a person uses, for messages.
    pub name: &'static str,
    /// Unit, as printed behind a number; empty for a pure number.
    pub unit: &'static str,
    /// Smallest plausible value.
    pub min: f64,
    /// Largest plausible value.
    pub max: f64,
}

/// A number that is not a plausible value of its quantity.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// The number is NaN or infinite.
    #[error("{} must be a finite number", limits.name)]
    NotFinite {
        /// The quantity's limits.
        limits: Limits,
    },
    /// The number lies outside the plausible range.
    #[error("{} {} lies outside {} to {}", limits.name, with_unit(*value, limits.unit), with_unit(limits.min, ""), with_unit(limits.max, limits.unit))]
    OutOfRange {
        /// The number given.
        value: f64,
        /// The quantity's limits.
        limits: Limits,
    },
}

fn with_unit(value: f64, unit: &str) -> String {
    if unit.is_empty() {
        format!("{value}")
    } else {
        format!("{value} {unit}")
    }
}

/// A quantity that wraps one finite number inside [`Limits`].
pub trait Quantity: Copy + fmt::Debug {
    /// Name, unit and plausible range.
    const LIMITS: Limits;

    /// Checks that `value` is finite and inside [`Self::LIMITS`].
    ///
    /// # Errors
    /// [`QuantityError`] naming the quantity, the value and its range.
    fn new(value: f64) -> Result<Self, QuantityError>;

    /// The bare number, in the unit of [`Self::LIMITS`].
    fn value(self) -> f64;
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $human:literal, $unit:literal, $min:expr, $max:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        impl Quantity for $name {
            const LIMITS: Limits = Limits { name: $human, unit: $unit, min: $min, max: $max };

            fn new(value: f64) -> Result<Self, QuantityError> {
                let limits = Self::LIMITS;
                if !value.is_finite() {
                    Err(QuantityError::NotFinite { limits })
                } else if value < limits.min || value > limits.max {
                    Err(QuantityError::OutOfRange { value, limits })
                } else {
                    Ok(Self(value))
                }
            }

            fn value(self) -> f64 {
                self.0
            }
        }

        impl TryFrom<f64> for $name {
            type Error = QuantityError;
            fn try_from(value: f64) -> Result<Self, QuantityError> {
                Self::new(value)
            }
        }

        impl From<$name> for f64 {
            fn from(quantity: $name) -> f64 {
                quantity.0
            }
        }
    };
}

quantity!(
    /// Raw reading of the analogue-to-digital converter. A single reading is a
    /// whole number; a centre of many, or a temperature-corrected count, is not.
    Count, "raw count", "counts", -65_536.0, 131_072.0
);
quantity!(
    /// Volumetric water content theta_v: volume of water per volume of soil,
    /// m3/m3. Slightly negative values occur as measurement noise near dryness.
    Vwc, "volumetric water content", "m3/m3", -0.2, 1.2
);
quantity!(
    /// Gravimetric water content w: mass of water per mass of dry soil, g/g.
    Gravimetric, "gravimetric water content", "g/g", 0.0, 10.0
);
quantity!(
    /// Temperature, degrees Celsius, in the range soil and its sensors see.
    Celsius, "temperature", "C", -40.0, 85.0
);
quantity!(
    /// A mass on a laboratory balance, grams.
    Gram, "mass", "g", 0.0, 50_000.0
);
quantity!(
    /// A length of a sampling ring, centimetres.
    Centimetre, "length", "cm", 0.1, 100.0
);
quantity!(
    /// Volume of a core, cubic centimetres.
    CubicCentimetre, "core volume", "cm3", 1.0, 50_000.0
);
quantity!(
    /// Volume of a container that soil is packed into, millilitres: from a beaker
    /// to more than a person can mix.
    Millilitre, "container volume", "ml", 200.0, 50_000.0
);
quantity!(
    /// Density (bulk, particle or water), g/cm3.
    Density, "density", "g/cm3", 0.01, 6.0
);
quantity!(
    /// Depth of water or of soil, millimetres.
    Millimetre, "depth", "mm", 0.0, 10_000.0
);
quantity!(
    /// Area irrigated, square metres.
    SquareMetre, "area", "m2", 0.001, 10_000_000.0
);
quantity!(
    /// Water flow of the pump or valve, litres per minute.
    LitrePerMinute, "flow", "L/min", 0.001, 100_000.0
);
quantity!(
    /// Relative permittivity, real or apparent: 1 for nothing, 88 for water just
    /// above freezing. Noise may take one measured in air a little below 1.
    Permittivity, "relative permittivity", "", 0.5, 120.0
);
quantity!(
    /// A share between nothing and all of something.
    Fraction, "fraction", "", 0.0, 1.0
);

/// A value with its standard uncertainty, both in the quantity's own unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Estimate<Q> {
    /// Best estimate.
    pub value: Q,
    /// Standard uncertainty (one standard deviation), never negative.
    pub u: f64,
}

impl<Q> Estimate<Q> {
    /// Pairs a value with its standard uncertainty.
    pub fn new(value: Q, u: f64) -> Self {
        Self { value, u }
    }
}

/// Seconds since 1970-01-01T00:00:00Z.
///
/// The core only orders times and takes differences; reading and printing
/// calendars is the program's business.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
pub struct Timestamp(pub i64);

impl Timestamp {
    /// Seconds from `earlier` to `self`; negative if `self` came first.
    pub fn seconds_since(self, earlier: Timestamp) -> i64 {
        self.0.saturating_sub(earlier.0)
    }
}

/// Lowest and highest of `values`; infinities the wrong way round for none.
pub(crate) fn lowest_and_highest(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_outside_its_range_names_quantity_value_and_range() {
        let error = Celsius::new(127.0).unwrap_err();
        assert_eq!(
            error.to_string(),
            "temperature 127 C lies outside -40 to 85 C"
        );
    }

    #[test]
    fn nan_is_refused_with_its_own_message() {
        let error = Gram::new(f64::NAN).unwrap_err();
        assert_eq!(error.to_string(), "mass must be a finite number");
    }

    #[test]
    fn limits_themselves_are_allowed() {
        assert_eq!(Fraction::new(1.0).unwrap().value(), 1.0);
        assert_eq!(Fraction::new(0.0).unwrap().value(), 0.0);
    }
}
