//! What to pack: soil for a container, and whether the cores fit into it.

use super::error::PlanError;
use super::notice::PlanNotice;
use super::{CoreExpected, Request, cylinder_ml};
use crate::gravimetry::{
    CONSTANT_MASS, GREATEST_BULK_DENSITY, LEAST_BULK_DENSITY, USUAL_BULK_DENSITY, water_density,
};
use crate::quantity::{Centimetre, Fraction, Gram, Millilitre, Quantity, QuantityError};
use crate::soil::porosity_between_grains;
use schemars::JsonSchema;
use serde::Serialize;

/// Share of the container left empty above the soil where none is stated, for
/// mixing and pouring. Common practice.
pub const USUAL_HEADROOM: f64 = 0.1;
/// Largest share that is taken as meant. Our choice.
pub const MOST_HEADROOM: f64 = 0.6;
/// Share of the soil that the cores of one level may take before it is said. Our
/// choice.
const MUCH_TAKEN: f64 = 0.25;
/// Share of the soil that they may take at most. Our choice.
const MOST_TAKEN: f64 = 0.5;
/// Share of the surface that rings may cover before it is said: three circles in
/// one, with a probe between them, cover about that much. Our choice.
const MUCH_COVERED: f64 = 0.35;
/// Heaviest load that one person should lift, kg: a limit many workplace guides
/// give, from memory, not checked.
const HEAVY_KG: f64 = 25.0;

/// What the soil is packed into.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Container {
    /// Inner volume.
    pub volume: Millilitre,
    /// Share of it left empty above the soil.
    pub headroom: Fraction,
    /// Inner diameter, where it is a cylinder.
    pub diameter: Option<Centimetre>,
    /// Inner height, likewise.
    pub height: Option<Centimetre>,
    /// What it weighs empty, if known.
    pub tare: Option<Gram>,
}

impl Container {
    /// A container of which only the volume is known.
    pub fn of_volume(volume: Millilitre, headroom: Fraction) -> Self {
        Self {
            volume,
            headroom,
            diameter: None,
            height: None,
            tare: None,
        }
    }

    /// A cylinder by its inner diameter and height.
    ///
    /// # Errors
    /// [`QuantityError`] if its volume is no plausible container's.
    pub fn cylinder(
        diameter: Centimetre,
        height: Centimetre,
        headroom: Fraction,
    ) -> Result<Self, QuantityError> {
        Ok(Self {
            volume: Millilitre::new(cylinder_ml(diameter, height))?,
            headroom,
            diameter: Some(diameter),
            height: Some(height),
            tare: None,
        })
    }

    /// The same container, of known mass when empty.
    pub fn weighing(self, tare: Gram) -> Self {
        Self {
            tare: Some(tare),
            ..self
        }
    }
}

/// What to pack into the container at first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Packing {
    /// Inner volume of the container, ml.
    pub container_ml: f64,
    /// Share of it left empty, percent.
    pub headroom_percent: f64,
    /// The container empty, g, where it was weighed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub container_tare_g: Option<f64>,
    /// Volume of the packed soil, ml.
    pub packed_ml: f64,
    /// Depth of the packed soil, cm, where the container is a cylinder.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub soil_depth_cm: Option<f64>,
    /// Dry bulk density it is packed to, g/cm3.
    pub bulk_density_g_cm3: f64,
    /// Share of its volume that is pores: the most water it can hold, m3/m3.
    pub porosity: f64,
    /// Oven-dry soil in it, g.
    pub dry_soil_g: f64,
    /// Water in the stock, percent of the dry soil's mass.
    pub stock_water_percent: f64,
    /// Water that comes with the stock, g.
    pub stock_water_g: f64,
    /// Stock to weigh in: dry soil and its water, g.
    pub stock_g: f64,
    /// Water content of the stock as packed, nothing added, m3/m3.
    pub stock_theta_v: f64,
    /// Temperature of the water, C.
    pub water_temperature_c: f64,
    /// Density of the water, g/cm3 (g/ml).
    pub water_density_g_cm3: f64,
}

/// Soil for the container.
pub(super) fn pack(request: &Request, notices: &mut Vec<PlanNotice>) -> Result<Packing, PlanError> {
    let soil = &request.soil;
    let density = soil.bulk_density.value();
    let (low, high) = (LEAST_BULK_DENSITY, GREATEST_BULK_DENSITY);
    if !(low..=high).contains(&density) {
        return Err(PlanError::BulkDensity { density, low, high });
    }
    let particle_density = soil.particle_density.value();
    if density >= particle_density {
        return Err(PlanError::NoPores {
            density,
            particle_density,
        });
    }
    let (low, high) = USUAL_BULK_DENSITY;
    if !(low..=high).contains(&density) {
        notices.push(PlanNotice::UnusualDensity { density, low, high });
    }
    let share = request.container.headroom.value();
    if share > MOST_HEADROOM {
        return Err(PlanError::Headroom {
            share,
            most: MOST_HEADROOM,
        });
    }
    let container_ml = request.container.volume.value();
    let packed_ml = container_ml * (1.0 - share);
    let water = water_density(request.water_temperature)?.value();
    let dry_soil_g = density * packed_ml;
    let stock_water_g = soil.stock_water.value() * dry_soil_g;
    Ok(Packing {
        container_ml,
        headroom_percent: 100.0 * share,
        container_tare_g: request.container.tare.map(Quantity::value),
        packed_ml,
        soil_depth_cm: request
            .container
            .height
            .map(|height| height.value() * (1.0 - share)),
        bulk_density_g_cm3: density,
        porosity: porosity_between_grains(density, particle_density),
        dry_soil_g,
        stock_water_percent: 100.0 * soil.stock_water.value(),
        stock_water_g,
        stock_g: dry_soil_g + stock_water_g,
        stock_theta_v: stock_water_g / (water * packed_ml),
        water_temperature_c: request.water_temperature.value(),
        water_density_g_cm3: water,
    })
}

/// Whether the cores of a level fit, and what each will weigh dry.
pub(super) fn cores_fit(
    request: &Request,
    packing: &Packing,
    notices: &mut Vec<PlanNotice>,
) -> Result<CoreExpected, PlanError> {
    let core_cm3 = request.core.volume.value();
    let cores = request.cores_per_level;
    if let (Some(ring), Some(soil_cm)) = (request.core.height, packing.soil_depth_cm)
        && ring.value() > soil_cm
    {
        return Err(PlanError::RingHigherThanSoil {
            ring_cm: ring.value(),
            soil_cm,
        });
    }
    let share = cores as f64 * core_cm3 / packing.packed_ml;
    if share > MOST_TAKEN {
        return Err(PlanError::CoresTakeTooMuch {
            cores,
            core_cm3,
            packed_ml: packing.packed_ml,
            share,
            most: MOST_TAKEN,
        });
    }
    if share > MUCH_TAKEN {
        notices.push(PlanNotice::CoresTakeMuch { share });
    } else if let (Some(ring), Some(across)) = (request.core.diameter, request.container.diameter) {
        let share = cores as f64 * (ring.value() / across.value()).powi(2);
        if share > MUCH_COVERED {
            notices.push(PlanNotice::RingsCrowd { share });
        }
    }
    if cores == 1 {
        notices.push(PlanNotice::OneCore);
    }
    let dry_soil_g = packing.bulk_density_g_cm3 * core_cm3;
    Ok(CoreExpected {
        volume_cm3: core_cm3,
        dry_soil_g,
        constant_mass_g: CONSTANT_MASS * dry_soil_g,
    })
}

/// Says so where one person should not lift the container.
pub(super) fn lifting(heaviest_g: f64, notices: &mut Vec<PlanNotice>) {
    let heaviest_kg = heaviest_g / 1000.0;
    if heaviest_kg > HEAVY_KG {
        notices.push(PlanNotice::Heavy { heaviest_kg });
    }
}
