//! The plan of the bench: one soil packed into a container, wetted level by level
//! from dry to wet, with cores taken at each level, dried and weighed.
//!
//! [`plan()`] takes what is known before the first core and gives the soil to pack,
//! the water to add before each level and the mass the container must then show,
//! the hours to wait, the loads of the oven and a timetable by days. Nothing here
//! has been measured yet: the oven has the last word on every water content.
//!
//! The container is emptied and packed anew at each level while the soil can be
//! sieved; beyond field capacity, where it would smear, water is poured on.

mod container;
mod equilibration;
mod error;
pub mod foretold;
mod levels;
pub mod next_core;
mod notice;
mod oven;
mod timetable;
mod wet_up;

pub use container::{Container, MOST_HEADROOM, Packing, USUAL_HEADROOM};
pub use equilibration::{Grain, wait_h};
pub use error::PlanError;
pub use levels::{LevelsAsked, NEAR_SATURATION, even};
pub use notice::PlanNotice;
pub use oven::{Load, OvenCore};
pub use timetable::{Day, DayPart, DaysOff, Slot, Task, Timetable};
pub use wet_up::{Step, StockNeeded, Warmth, WettingMethod};

use crate::quantity::{
    Celsius, Centimetre, CubicCentimetre, Density, Gravimetric, Quantity, QuantityError, Vwc,
};
use schemars::JsonSchema;
use serde::Serialize;

/// Levels planned where none are asked for: enough for a curve that bends, with a
/// level between any two. Our choice.
pub const USUAL_LEVELS: usize = 6;
/// Cores a level where nothing is asked for: the least that show a slip among
/// them. Our choice.
pub const USUAL_CORES_PER_LEVEL: usize = 3;
/// Places in the oven where none are stated: two shelves of a small oven. Our choice.
pub const USUAL_OVEN_PLACES: usize = 12;
/// Temperature of soil and water where none is stated, C.
pub const USUAL_WATER_TEMPERATURE_C: f64 = 20.0;
/// Fewest and most levels of a plan.
pub const LEVELS: std::ops::RangeInclusive<usize> = 3..=15;
/// Fewest and most cores a level.
pub const CORES_PER_LEVEL: std::ops::RangeInclusive<usize> = 1..=12;
/// Fewest and most places in the oven.
pub const OVEN_PLACES: std::ops::RangeInclusive<usize> = 1..=500;

/// Where the figures of a plan come from, a sentence each.
pub const BASIS: [&str; 6] = [
    "Soil and water to add: conservation of mass; density of water after Tanaka et al. (2001).",
    "Pores: 1 - bulk density / particle density, by definition; nine tenths of them as the \
     wettest level, because trapped air keeps the rest: common practice, from memory.",
    "Field capacity as the wettest soil to sieve, sieve sizes, layers, headroom, wetting from dry to wet: \
     common practice.",
    "Hours to wait after mixing: common practice by texture, not below the standing times of \
     ASTM D698 (from memory, not checked); after pouring twice as long, our choice.",
    "24 h at 105 C: common practice; dry when two weighings 4 h apart differ by 0.1 % of the dry \
     soil: ISO 11465 (from memory, not checked).",
    "Water of air-dry stock where none is stated: 1, 2.5 and 5 % by texture, from memory, not checked.",
];

/// The soil as it is to be packed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilToPack {
    /// Dry bulk density to pack to, that of the field.
    pub bulk_density: Density,
    /// Particle density.
    pub particle_density: Density,
    /// Field capacity, if known.
    pub field_capacity: Option<Vwc>,
    /// Wilting point, if known.
    pub wilting_point: Option<Vwc>,
    /// How fine its grains are, if known.
    pub grain: Option<Grain>,
    /// Water in the air-dry stock, mass of water per mass of dry soil.
    pub stock_water: Gravimetric,
}

/// The ring, or whatever a core is cut with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoreSize {
    /// Volume of a core.
    pub volume: CubicCentimetre,
    /// Inner diameter, where it is a ring.
    pub diameter: Option<Centimetre>,
    /// Height, where it is a ring.
    pub height: Option<Centimetre>,
}

impl CoreSize {
    /// The size of a ring.
    ///
    /// # Errors
    /// [`QuantityError`] if its volume is no plausible core's.
    pub fn ring(diameter: Centimetre, height: Centimetre) -> Result<Self, QuantityError> {
        Ok(Self {
            volume: CubicCentimetre::new(cylinder_ml(diameter, height))?,
            diameter: Some(diameter),
            height: Some(height),
        })
    }
}

/// What a plan is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// The soil.
    pub soil: SoilToPack,
    /// What it is packed into.
    pub container: Container,
    /// What cores are cut with.
    pub core: CoreSize,
    /// Temperature of the water that is added.
    pub water_temperature: Celsius,
    /// The moisture levels.
    pub levels: LevelsAsked,
    /// Cores taken at each level, within [`CORES_PER_LEVEL`].
    pub cores_per_level: usize,
    /// Cores the oven holds at once, within [`OVEN_PLACES`].
    pub oven_places: usize,
    /// Days of the week without work; none by default.
    pub days_off: DaysOff,
}

/// What a core will weigh, the container not counted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct CoreExpected {
    /// Volume, cm3.
    pub volume_cm3: f64,
    /// Oven-dry soil, g.
    pub dry_soil_g: f64,
    /// Largest change between the two dry weighings that counts as dry, g.
    pub constant_mass_g: f64,
}

/// A plan for one soil in one container.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Plan {
    /// What to pack at first.
    pub packing: Packing,
    /// The levels in their order, from dry to wet.
    pub steps: Vec<Step>,
    /// Cores taken at each level.
    pub cores_per_level: usize,
    /// What each core will weigh dry.
    pub core: CoreExpected,
    /// Stock to have ready for all of it.
    pub stock: StockNeeded,
    /// Loads of the oven and what is done on which day.
    pub timetable: Timetable,
    /// What else a person should know.
    pub notices: Vec<PlanNotice>,
}

impl Plan {
    /// Target water contents of the levels, m3/m3, from dry to wet.
    pub fn targets(&self) -> impl Iterator<Item = f64> {
        self.steps.iter().map(|step| step.theta_v)
    }

    /// Cores of the whole plan.
    pub fn cores(&self) -> usize {
        self.steps.len() * self.cores_per_level
    }
}

/// Plans the bench for one soil.
///
/// # Errors
/// [`PlanError`] for a density that leaves no pores, a count outside
/// [`LEVELS`], [`CORES_PER_LEVEL`] or [`OVEN_PLACES`], targets the stock or the
/// pores do not allow, and cores that do not fit the container.
///
/// # Example
/// ```
/// use calib_core::gravimetry::USUAL_PARTICLE_DENSITY;
/// use calib_core::plan::{Container, CoreSize, DaysOff, LevelsAsked, Request, SoilToPack, USUAL_HEADROOM, plan};
/// use calib_core::quantity::*;
/// let request = Request {
///     soil: SoilToPack {
///         bulk_density: Density::new(1.4)?,
///         particle_density: Density::new(USUAL_PARTICLE_DENSITY)?,
///         field_capacity: None,
///         wilting_point: None,
///         grain: None,
///         stock_water: Gravimetric::new(0.03)?,
///     },
///     container: Container::of_volume(Millilitre::new(5000.0)?, Fraction::new(USUAL_HEADROOM)?),
///     core: CoreSize { volume: CubicCentimetre::new(98.2)?, diameter: None, height: None },
///     water_temperature: Celsius::new(20.0)?,
///     levels: LevelsAsked::Targets(vec![Vwc::new(0.10)?, Vwc::new(0.20)?, Vwc::new(0.30)?]),
///     cores_per_level: 3,
///     oven_places: 12,
///     days_off: DaysOff::default(),
/// };
/// let made = plan(&request)?;
/// // 4500 ml at 1.4 g/cm3 are 6300 g of dry soil, which bring 189 g of water along.
/// assert!((made.packing.dry_soil_g - 6300.0).abs() < 1e-9);
/// // 0.10 of 4500 ml is 450 ml of water.
/// let to_add = 450.0 * 0.998_207 - 189.0;
/// assert!((made.steps[0].water_to_add_g - to_add).abs() < 0.01);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn plan(request: &Request) -> Result<Plan, PlanError> {
    let mut notices = Vec::new();
    error::within("cores a level", request.cores_per_level, CORES_PER_LEVEL)?;
    error::within("places in the oven", request.oven_places, OVEN_PLACES)?;
    let packing = container::pack(request, &mut notices)?;
    let targets = levels::targets(request, &packing, &mut notices)?;
    let core = container::cores_fit(request, &packing, &mut notices)?;
    let (steps, stock) = wet_up::steps(request, &packing, &targets, &mut notices)?;
    let timetable = timetable::timetable(
        &steps,
        request.cores_per_level,
        request.oven_places,
        request.days_off,
        &mut notices,
    );
    Ok(Plan {
        packing,
        steps,
        cores_per_level: request.cores_per_level,
        core,
        stock,
        timetable,
        notices,
    })
}

/// Volume of a cylinder by its inner measures, ml or cm3.
fn cylinder_ml(diameter: Centimetre, height: Centimetre) -> f64 {
    std::f64::consts::FRAC_PI_4 * diameter.value().powi(2) * height.value()
}

#[cfg(test)]
mod tests;
