//! What a person should know about a plan that can be carried out.

use schemars::JsonSchema;
use serde::Serialize;

/// Something to know before starting.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema, thiserror::Error)]
#[serde(tag = "notice", rename_all = "kebab-case")]
pub enum PlanNotice {
    /// The driest level is not below the wilting point.
    #[error(
        "the driest level, {driest:.3} m3/m3, is not below the wilting point, {wilting_point:.3} m3/m3"
    )]
    DriestNotDry {
        /// m3/m3.
        driest: f64,
        /// m3/m3.
        wilting_point: f64,
    },
    /// The wettest level is not above field capacity.
    #[error(
        "the wettest level, {wettest:.3} m3/m3, is not above field capacity, {field_capacity:.3} m3/m3"
    )]
    WettestNotWet {
        /// m3/m3.
        wettest: f64,
        /// m3/m3.
        field_capacity: f64,
    },
    /// Field capacity above what the pores hold.
    #[error(
        "field capacity, {field_capacity:.3} m3/m3, is more than the pores hold at this density, {porosity:.3} m3/m3"
    )]
    FieldCapacityAbovePores {
        /// m3/m3.
        field_capacity: f64,
        /// m3/m3.
        porosity: f64,
    },
    /// The stock is too wet to be sieved.
    #[error(
        "the stock packs to {stock:.3} m3/m3, wetter than field capacity, {field_capacity:.3} m3/m3"
    )]
    StockWet {
        /// The stock as packed, m3/m3.
        stock: f64,
        /// m3/m3.
        field_capacity: f64,
    },
    /// Water poured onto coarse soil beyond field capacity.
    #[error(
        "coarse soil does not hold water beyond field capacity, {field_capacity:.3} m3/m3: in a closed container it sinks to the bottom (level {first} and wetter)"
    )]
    WaterSinks {
        /// The driest such level, from 1.
        first: usize,
        /// m3/m3.
        field_capacity: f64,
    },
    /// A level that trapped air may keep out of reach.
    #[error("theta_v {target:.3} m3/m3 is {:.0} % of the pores", 100.0 * saturation)]
    NearSaturation {
        /// m3/m3.
        target: f64,
        /// Share of the pores.
        saturation: f64,
    },
    /// Few levels.
    #[error("{levels} levels are few for a curve that bends")]
    FewLevels {
        /// How many.
        levels: usize,
    },
    /// One core a level.
    #[error("one core a level shows no scatter between cores of one wetness")]
    OneCore,
    /// A density that is rare.
    #[error(
        "a dry bulk density of {density} g/cm3 is unusual for mineral soil ({low} to {high} g/cm3)"
    )]
    UnusualDensity {
        /// g/cm3.
        density: f64,
        /// g/cm3.
        low: f64,
        /// g/cm3.
        high: f64,
    },
    /// The cores take much of the soil.
    #[error("the cores of a level take {:.0} % of the soil", 100.0 * share)]
    CoresTakeMuch {
        /// Share of the volume.
        share: f64,
    },
    /// The rings cover much of the surface.
    #[error("the rings of a level cover {:.0} % of the surface", 100.0 * share)]
    RingsCrowd {
        /// Share of the area.
        share: f64,
    },
    /// A heavy container.
    #[error("the filled container weighs {heaviest_kg:.0} kg or more at the wettest level")]
    Heavy {
        /// kg.
        heaviest_kg: f64,
    },
    /// Cores wait for the oven.
    #[error("cores wait up to {days} {} for a place in the oven", if *.days == 1 { "day" } else { "days" })]
    OvenWaits {
        /// Days, rounded up.
        days: u32,
    },
}

impl PlanNotice {
    /// Why it matters.
    pub fn why(&self) -> &'static str {
        match self {
            PlanNotice::DriestNotDry { .. } => {
                "a calibration says nothing drier than its driest core, and a controller does not water there"
            }
            PlanNotice::WettestNotWet { .. } => {
                "the pump stops near field capacity, where the calibration would then end or be silent"
            }
            PlanNotice::FieldCapacityAbovePores { .. } => {
                "that cannot be: soil of this texture is not packed so densely, and soil so dense keeps less water"
            }
            PlanNotice::StockWet { .. } => {
                "soil so wet smears and cannot be sieved, and every drier level is out of reach"
            }
            PlanNotice::WaterSinks { .. } => {
                "the probe and the cores then stand in soil of different wetness, and the level is neither's"
            }
            PlanNotice::NearSaturation { .. } => {
                "trapped air keeps soil from filling up, water stands on top, and wet soil slumps out of the ring"
            }
            PlanNotice::FewLevels { .. } => {
                "with levels wide apart a wrong curve can pass through all of them unseen"
            }
            PlanNotice::OneCore => {
                "how much cores of one wetness differ is the largest part of most budgets, and a slip would not show"
            }
            PlanNotice::UnusualDensity { .. } => {
                "soil, water and porosity of the whole plan follow from it"
            }
            PlanNotice::CoresTakeMuch { .. } => {
                "cores cut close to one another, to the wall or to the probe are disturbed, and much soil is packed anew"
            }
            PlanNotice::RingsCrowd { .. } => {
                "the probe needs undisturbed soil about it while it is read, and each ring soil of its own"
            }
            PlanNotice::Heavy { .. } => "lifting that hurts backs, and a scale for it is coarse",
            PlanNotice::OvenWaits { .. } => "the bench goes on, but the last dry mass comes later",
        }
    }

    /// What to do.
    pub fn advice(&self) -> &'static str {
        match self {
            PlanNotice::DriestNotDry { .. } => {
                "dry the stock further, spread thinly in the air, and measure its water again"
            }
            PlanNotice::WettestNotWet { .. } => "add a level above field capacity",
            PlanNotice::FieldCapacityAbovePores { .. } => {
                "weigh a ring core of the field again (oven-dry mass over the ring's volume), and check the texture"
            }
            PlanNotice::StockWet { .. } => {
                "dry the stock first: spread it thinly in the air, then measure its water again"
            }
            PlanNotice::WaterSinks { .. } => {
                "at these levels mix the water in by hand, layer by layer, let it stand short, read soon, and cut the cores at the probe's own depth"
            }
            PlanNotice::NearSaturation { .. } => {
                "wet from below and slowly, give it days, and let the oven say what was reached"
            }
            PlanNotice::FewLevels { .. } => {
                "plan five levels or more; fewer cores at each cost less"
            }
            PlanNotice::OneCore => "take two cores a level at least, at some levels three",
            PlanNotice::UnusualDensity { .. } => {
                "weigh a ring core of the field again: oven-dry mass over the ring's volume"
            }
            PlanNotice::CoresTakeMuch { .. } | PlanNotice::RingsCrowd { .. } => {
                "take a larger container, a smaller ring or fewer cores a level"
            }
            PlanNotice::Heavy { .. } => {
                "take a smaller container, or leave it on the scale and lift it with two people"
            }
            PlanNotice::OvenWaits { .. } => {
                "weigh every core wet at once and keep it closed: then waiting does no harm"
            }
        }
    }
}
