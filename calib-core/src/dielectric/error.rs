//! Why there is no permittivity, or no water content from it.

use crate::quantity::QuantityError;

/// Why there is no permittivity, or no water content from it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DielectricError {
    /// The result is not a plausible value of its quantity.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// A count or an uncertainty is not a usable number.
    #[error("{what} must be a finite number, and not negative if it is an uncertainty")]
    NotANumber {
        /// Which number.
        what: &'static str,
    },
    /// The counts do not move one way as the media's permittivities rise.
    #[error(
        "counts {counts:?} at permittivities {permittivities:?} do not all rise, or all fall, from one medium to the next: measure the media again"
    )]
    MediaOutOfOrder {
        /// The counts, in order of permittivity.
        counts: [f64; 3],
        /// The permittivities, ascending.
        permittivities: [f64; 3],
    },
    /// A count that lies outside those of the reference media.
    #[error(
        "count {count:.1} lies outside {low:.1} to {high:.1}, the counts in the reference media; the response is not extended"
    )]
    OutsideMedia {
        /// The count.
        count: f64,
        /// Lowest count among the media.
        low: f64,
        /// Highest count among the media.
        high: f64,
    },
    /// A permittivity that lies outside those of the reference media.
    #[error(
        "permittivity {permittivity:.2} lies outside {low:.2} to {high:.2}, those of the reference media; the response is not extended"
    )]
    PermittivityOutsideMedia {
        /// The permittivity.
        permittivity: f64,
        /// Lowest permittivity among the media.
        low: f64,
        /// Highest permittivity among the media.
        high: f64,
    },
    /// Water temperature outside the range of the formula.
    #[error("water at {celsius} C lies outside {low} to {high} C, the range of the formula")]
    WaterTemperature {
        /// The temperature.
        celsius: f64,
        /// Lowest temperature of the formula.
        low: f64,
        /// Highest temperature of the formula.
        high: f64,
    },
    /// The soil is stated to be denser than the mineral it is made of.
    #[error(
        "bulk density {bulk} g/cm3 leaves no pores in particles of {particle} g/cm3: check both"
    )]
    NoPores {
        /// Bulk density, g/cm3.
        bulk: f64,
        /// Particle density, g/cm3.
        particle: f64,
    },
    /// Water of a permittivity no higher than air's cannot be told from it.
    #[error("water with permittivity {permittivity} cannot be told from air")]
    WaterLikeAir {
        /// The permittivity stated for water.
        permittivity: f64,
    },
    /// More water than the pores hold.
    #[error(
        "theta_v {theta:.4} m3/m3 is more than the pores hold, {porosity:.4} m3/m3: the bulk density or the mixing model does not suit this soil"
    )]
    AbovePorosity {
        /// The water content, m3/m3.
        theta: f64,
        /// Porosity, m3/m3.
        porosity: f64,
    },
    /// Less water than none, by more than the relation can be off.
    #[error("theta_v {theta:.4} m3/m3 has no permittivity in this relation")]
    NoPermittivity {
        /// The water content, m3/m3.
        theta: f64,
    },
    /// A line that does not rise with permittivity.
    #[error(
        "a line theta_v = {intercept} + {slope} sqrt(permittivity) does not rise: water raises permittivity"
    )]
    LineNotRising {
        /// theta_v at permittivity zero, m3/m3.
        intercept: f64,
        /// Rise per unit of the root of permittivity, m3/m3.
        slope: f64,
    },
    /// The pairs do not fix a line.
    #[error(
        "{pairs} pairs of permittivity and water content do not fix a line with its uncertainty: it takes 3 or more, at different permittivities"
    )]
    LineNotDetermined {
        /// Pairs given.
        pairs: usize,
    },
}
