//! Field capacity, wilting point and saturation of one soil: every source side by
//! side, and one recommended value of each with its uncertainty and its reason.
//!
//! What is recommended, in this order: a value measured on the soil itself; the
//! equations of Saxton and Rawls (2006), where sand and clay are known and the
//! equations hold; the median of the class tables. The median, because one
//! table far from the others should not pull the value along; what it may pull
//! is the uncertainty, which is how far the sources lie from the recommended
//! value (see `spread`).
//!
//! Every water content here is a share of the whole soil's volume: what a source
//! says of the fine earth is multiplied by the fine earth's share of the volume
//! where gravel is stated. Measured values are taken to be of the whole already.

mod fine_earth;
mod note;
mod recommend;
#[cfg(test)]
mod tests;

pub use note::{Basis, Note};

use super::density::{DensityAdjustment, porosity};
use super::retention::SoilRetention;
use super::silt_bound::SiltConversion;
use super::spread::{correlation, deviations};
use super::tables::{IndicativeRange, SourceWater, indicative_range};
use super::{
    BorderShift, Gravel, Particles, Retention, SaxtonRawls, SoilError, SoilWater, SuctionEstimate,
    TABLE_3_ORGANIC_MATTER, TextureClass, USDA_SILT_UPPER_UM,
};
use crate::quantity::{Density, Estimate, Quantity, Vwc};
use fine_earth::FineEarth;
use recommend::{Recommendation, air_entry, recommend, recommend_saturation};

/// Texture as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Texture {
    /// The class alone.
    Class(TextureClass),
    /// Sand, silt and clay, as they were given.
    Particles(Particles),
}

impl Texture {
    /// The USDA class.
    pub fn class(&self) -> TextureClass {
        match self {
            Texture::Class(class) => *class,
            Texture::Particles(particles) => particles.class(),
        }
    }
}

/// What is known of a soil.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SoilDescription {
    /// Texture, if known.
    pub texture: Option<Texture>,
    /// Organic matter, percent by mass, if known.
    pub organic_matter_percent: Option<f64>,
    /// Where the percentages part silt from sand, micrometres; the USDA's 50 if
    /// not stated.
    pub silt_upper_um: Option<f64>,
    /// Dry bulk density of the whole soil, stones included, as a ring core has it.
    pub bulk_density: Option<Density>,
    /// Stones above 2 mm, percent of the whole soil's dry mass.
    pub gravel_percent: Option<f64>,
    /// Measured field capacity; comes before every source.
    pub field_capacity: Option<Estimate<Vwc>>,
    /// Measured wilting point; comes before every source.
    pub wilting_point: Option<Estimate<Vwc>>,
}

/// Everything known of a soil's water, and what it comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct SoilEvidence {
    /// The class, where a texture is known.
    pub class: Option<TextureClass>,
    /// Sand, silt and clay parted at 0.05 mm, where they are known.
    pub particles: Option<Particles>,
    /// How they were brought to 0.05 mm, where they were parted elsewhere.
    pub silt_conversion: Option<SiltConversion>,
    /// What the equations give for the fine earth, where they were used.
    pub equations: Option<SaxtonRawls>,
    /// The density the equations were adjusted to, where it is known.
    pub density: Option<DensityAdjustment>,
    /// The gravel allowed for, where there is any.
    pub gravel: Option<Gravel>,
    /// The nearest other class, where sand and clay are known.
    pub border: Option<BorderShift>,
    /// The sources behind the spread, side by side.
    pub sources: Vec<SourceWater>,
    /// A range to look at, not reckoned with.
    pub indicative: Option<IndicativeRange>,
    /// The recommended pair.
    pub water: SoilWater,
    /// Recommended saturation, m3/m3; `None` where no source has it or a measured
    /// field capacity leaves no room for it.
    pub saturation: Option<Estimate<Vwc>>,
    /// What the recommended saturation rests on.
    pub saturation_basis: Option<Basis>,
    /// Suction at which air enters the saturated soil, kPa, as taken for the
    /// recommended retention curve.
    pub air_entry_kpa: f64,
    /// What the recommended field capacity rests on.
    pub field_capacity_basis: Basis,
    /// What the recommended wilting point rests on.
    pub wilting_point_basis: Basis,
    /// What else a reader should know.
    pub notes: Vec<Note>,
}

/// Weighs what is known of a soil.
///
/// # Errors
/// [`SoilError::NothingKnown`] if a value is neither measured nor in reach of a
/// texture, [`SoilError::NotAboveZero`] or [`SoilError::NoAvailableWater`] if
/// measured values contradict a soil's nature, [`SoilError::Percent`] for organic
/// matter or gravel that is no share, [`SoilError::TooMuchGravel`],
/// [`SoilError::NoPores`] for a density no soil has, and [`SoilError::SiltBound`]
/// for percentages parted where no conversion is made from.
///
/// # Example
/// ```
/// use calib_core::quantity::Quantity;
/// use calib_core::soil::{SoilDescription, Texture, TextureClass, evidence};
/// let known = SoilDescription {
///     texture: Some(Texture::Class(TextureClass::Loam)),
///     ..SoilDescription::default()
/// };
/// let found = evidence(&known)?;
/// assert_eq!(found.sources.len(), 4);
/// assert!(found.water.field_capacity.u > 0.01);
/// assert!(evidence(&SoilDescription::default()).is_err());
/// # Ok::<(), calib_core::soil::SoilError>(())
/// ```
pub fn evidence(known: &SoilDescription) -> Result<SoilEvidence, SoilError> {
    let mut notes = Vec::new();
    let (particles, silt_conversion) = match known.texture {
        Some(Texture::Particles(given)) => {
            let (found, how) =
                given.parted_at(known.silt_upper_um.unwrap_or(USDA_SILT_UPPER_UM))?;
            (Some(found), how)
        }
        _ => (None, None),
    };
    let class = match (&particles, &known.texture) {
        (Some(particles), _) => Some(particles.class()),
        (None, texture) => texture.as_ref().map(Texture::class),
    };
    let fine_earth = FineEarth::weigh(known, particles.as_ref(), class, &mut notes)?;
    let FineEarth {
        sources,
        equations,
        density,
        gravel,
        dry_density,
    } = fine_earth;
    let share = gravel.map_or(1.0, |gravel| gravel.fine_earth_share());
    // What not knowing the share converted adds to field capacity, wilting point
    // and saturation of the equations.
    let converted_u = match (&silt_conversion, &particles) {
        (Some(how), Some(found)) if equations.is_some() => how
            .water_u(
                found,
                known
                    .organic_matter_percent
                    .unwrap_or(TABLE_3_ORGANIC_MATTER),
            )
            .map(|u| share * u),
        _ => [0.0; 3],
    };

    let capacities: Vec<f64> = sources.iter().map(|s| s.field_capacity.value()).collect();
    let wiltings: Vec<f64> = sources.iter().map(|s| s.wilting_point.value()).collect();
    let basis = match sources.first() {
        None => None,
        Some(_) if equations.is_some() => Some(Basis::Equations),
        Some(_) => Some(Basis::Median),
    };
    let (field_capacity, field_capacity_basis) = recommend(
        Recommendation {
            name: "field capacity",
            measured: known.field_capacity,
            basis,
            from_sources: &capacities,
            converted_u: converted_u[0],
        },
        &mut notes,
    )?;
    let (wilting_point, wilting_point_basis) = recommend(
        Recommendation {
            name: "wilting point",
            measured: known.wilting_point,
            basis,
            from_sources: &wiltings,
            converted_u: converted_u[1],
        },
        &mut notes,
    )?;
    if wilting_point.value >= field_capacity.value {
        return Err(SoilError::NoAvailableWater {
            wilting_point: wilting_point.value.value(),
            field_capacity: field_capacity.value.value(),
        });
    }
    // A density that is not in the equations already says how much room there is.
    let pores = dry_density
        .filter(|_| density.is_none())
        .map(|dry| share * porosity(dry));
    let saturation = recommend_saturation(
        &sources,
        basis,
        pores,
        converted_u[2],
        &field_capacity,
        &mut notes,
    )?;
    let measured =
        field_capacity_basis == Basis::Measured || wilting_point_basis == Basis::Measured;
    let correlation = if measured {
        0.0
    } else {
        correlation(
            &deviations(&capacities, field_capacity.value.value()),
            &deviations(&wiltings, wilting_point.value.value()),
        )
    };
    let indicative = class.map_or(Ok(None), indicative_range)?;
    Ok(SoilEvidence {
        class,
        border: particles.and_then(|particles| particles.nearest_border()),
        particles,
        silt_conversion,
        equations,
        density,
        gravel,
        air_entry_kpa: air_entry(&sources),
        sources,
        indicative: indicative.map(|range| range.of_whole(share)).transpose()?,
        water: SoilWater {
            field_capacity,
            wilting_point,
            correlation,
        },
        saturation: saturation.map(|(estimate, _)| estimate),
        saturation_basis: saturation.map(|(_, basis)| basis),
        field_capacity_basis,
        wilting_point_basis,
        notes,
    })
}

impl SoilEvidence {
    /// The recommended retention curve: through the recommended field capacity at
    /// 33 kPa and wilting point at 1500 kPa, measured ones included, and up to the
    /// recommended saturation.
    pub fn retention(&self) -> Retention {
        Retention::PowerLaw(self.soil_retention().curve())
    }

    /// Suction at `theta_v` m3/m3 on the recommended curve, with how far one
    /// standard uncertainty of field capacity, wilting point and saturation moves
    /// it. `None` below the wilting point, above saturation, and above field
    /// capacity where saturation is not known.
    ///
    /// # Example
    /// ```
    /// use calib_core::soil::{SoilDescription, Texture, TextureClass, evidence};
    /// let found = evidence(&SoilDescription {
    ///     texture: Some(Texture::Class(TextureClass::Loam)),
    ///     ..SoilDescription::default()
    /// })?;
    /// let capacity: f64 = found.water.field_capacity.value.into();
    /// let there = found.suction_at(capacity).unwrap();
    /// assert!((there.kpa - 33.0).abs() < 1e-6);
    /// assert!(there.low_kpa < 33.0 && there.high_kpa > 33.0);
    /// assert!(found.suction_at(0.9).is_none());
    /// # Ok::<(), calib_core::soil::SoilError>(())
    /// ```
    pub fn suction_at(&self, theta_v: f64) -> Option<SuctionEstimate> {
        self.soil_retention().suction_at(theta_v)
    }

    /// Saturated conductivity of the whole soil by the equations, mm/h; `None`
    /// where they were not used.
    pub fn conductivity_mm_per_h(&self) -> Option<f64> {
        let ratio = self.gravel.map_or(1.0, |gravel| gravel.conductivity_ratio);
        self.equations
            .map(|found| ratio * found.conductivity_mm_per_h)
    }

    fn soil_retention(&self) -> SoilRetention {
        SoilRetention {
            water: self.water,
            saturation: self.saturation,
            air_entry_kpa: self.air_entry_kpa,
        }
    }
}
