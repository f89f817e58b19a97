//! Why there is no plan.

use crate::gravimetry::GravimetryError;
use crate::quantity::QuantityError;
use std::ops::RangeInclusive;

/// Why a plan cannot be made. `Display` says what is wrong, [`mend`](Self::mend)
/// what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// A count is out of bounds.
    #[error("{} outside {fewest} to {most}", counted(*.count, .what))]
    Count {
        /// What is counted.
        what: &'static str,
        /// How many were asked for.
        count: usize,
        /// Fewest allowed.
        fewest: usize,
        /// Most allowed.
        most: usize,
    },
    /// Dry bulk density no soil has.
    #[error("a dry bulk density of {density} g/cm3 lies outside {low} to {high} g/cm3")]
    BulkDensity {
        /// g/cm3.
        density: f64,
        /// g/cm3.
        low: f64,
        /// g/cm3.
        high: f64,
    },
    /// Bulk density as high as the grains'.
    #[error(
        "a dry bulk density of {density} g/cm3 leaves no pores between grains of {particle_density} g/cm3"
    )]
    NoPores {
        /// Dry bulk density, g/cm3.
        density: f64,
        /// Particle density, g/cm3.
        particle_density: f64,
    },
    /// More headroom than can be meant.
    #[error("a headroom of {:.0} % leaves too little of the container for soil; {:.0} % at most", 100.0 * share, 100.0 * most)]
    Headroom {
        /// Share of the container's volume.
        share: f64,
        /// Largest share taken as meant.
        most: f64,
    },
    /// The stock is wetter than a target: water can be added, not taken away.
    #[error(
        "theta_v {target:.3} m3/m3 is drier than the stock itself, which packs to {stock:.3} m3/m3 with the {:.1} % of water in it", 100.0 * stock_water
    )]
    DrierThanStock {
        /// The target, m3/m3.
        target: f64,
        /// The stock as packed, m3/m3.
        stock: f64,
        /// Water in the stock, g/g.
        stock_water: f64,
    },
    /// The stock leaves no room for levels above it.
    #[error(
        "the stock packs to theta_v {stock:.3} m3/m3 already, too near the wettest level ({highest:.3} m3/m3) for levels between"
    )]
    StockTooWet {
        /// The stock as packed, m3/m3.
        stock: f64,
        /// The wettest level, m3/m3.
        highest: f64,
    },
    /// A target above what the pores hold.
    #[error(
        "theta_v {target:.3} m3/m3 is more than the pores hold: {porosity:.3} m3/m3 at this density"
    )]
    AbovePorosity {
        /// The target, m3/m3.
        target: f64,
        /// Porosity, m3/m3.
        porosity: f64,
    },
    /// Two targets that cannot be told apart.
    #[error(
        "theta_v {first:.3} and {second:.3} m3/m3 are closer than {least} m3/m3, less than a level can be hit"
    )]
    TooClose {
        /// m3/m3.
        first: f64,
        /// m3/m3.
        second: f64,
        /// m3/m3.
        least: f64,
    },
    /// The cores of a level take more soil than can be made good.
    #[error(
        "{cores} cores of {core_cm3:.0} cm3 take {:.0} % of the {packed_ml:.0} ml of soil; {:.0} % at most", 100.0 * share, 100.0 * most
    )]
    CoresTakeTooMuch {
        /// Cores a level.
        cores: usize,
        /// Volume of one, cm3.
        core_cm3: f64,
        /// Soil in the container, ml.
        packed_ml: f64,
        /// Share of the soil that they take.
        share: f64,
        /// Largest share allowed.
        most: f64,
    },
    /// The ring is higher than the soil is deep.
    #[error("the ring is {ring_cm:.1} cm high and the soil only {soil_cm:.1} cm deep")]
    RingHigherThanSoil {
        /// cm.
        ring_cm: f64,
        /// cm.
        soil_cm: f64,
    },
    /// The water's temperature is outside the density formula.
    #[error(transparent)]
    Water(#[from] GravimetryError),
    /// A result that is no plausible quantity.
    #[error(transparent)]
    Implausible(#[from] QuantityError),
}

impl PlanError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            PlanError::Count { .. } => "ask for a number between the two",
            PlanError::BulkDensity { .. } => {
                "take it from a ring core of the field: oven-dry mass over the ring's volume, in g/cm3"
            }
            PlanError::NoPores { .. } => {
                "check both densities; mineral grains have about 2.65 g/cm3"
            }
            PlanError::Headroom { .. } => {
                "leave about a tenth of the container empty for mixing and pouring"
            }
            PlanError::DrierThanStock { .. } => {
                "spread the stock thinly and let it dry in the air before sieving, or leave that level out"
            }
            PlanError::StockTooWet { .. } => {
                "spread the stock thinly, let it dry in the air, and measure its water again"
            }
            PlanError::AbovePorosity { .. } => {
                "lower the target, or check the bulk density: denser soil has fewer pores"
            }
            PlanError::TooClose { .. } => {
                "give each level its own water content, 0.01 m3/m3 apart or more"
            }
            PlanError::CoresTakeTooMuch { .. } => {
                "take a larger container, a smaller ring or fewer cores a level"
            }
            PlanError::RingHigherThanSoil { .. } => {
                "take a deeper container or a lower ring; a core must lie within the soil"
            }
            PlanError::Water(error) => error.mend(),
            PlanError::Implausible(_) => {
                "check container, densities and targets for slipped digits"
            }
        }
    }
}

/// "2 levels are", "1 level is".
fn counted(count: usize, what: &str) -> String {
    if count != 1 {
        return format!("{count} {what} are");
    }
    match what.split_once(' ') {
        Some((noun, rest)) => format!("1 {} {rest} is", noun.trim_end_matches('s')),
        None => format!("1 {} is", what.trim_end_matches('s')),
    }
}

/// Refuses a count outside `limits`.
pub(super) fn within(
    what: &'static str,
    count: usize,
    limits: RangeInclusive<usize>,
) -> Result<(), PlanError> {
    if limits.contains(&count) {
        Ok(())
    } else {
        Err(PlanError::Count {
            what,
            count,
            fewest: *limits.start(),
            most: *limits.end(),
        })
    }
}
