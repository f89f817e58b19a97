//! Field capacity and wilting point of one soil: every source side by side, and
//! one recommended pair with its uncertainty and its reason.
//!
//! What is recommended, in this order: a value measured on the soil itself; the
//! equations of Saxton and Rawls (2006), where sand and clay are known and the
//! equations hold; the median of the class tables. The median, because one
//! table far from the others should not pull the value along; what it may pull
//! is the uncertainty, which is how far the sources lie from the recommended
//! value (see `spread`).

use super::retention::SoilRetention;
use super::spread::{correlation, deviations, median, spread};
use super::tables::{IndicativeRange, SourceWater, class_sources, indicative_range};
use super::{
    BorderShift, Particles, PowerLaw, Retention, SaxtonRawls, SoilError, SoilWater,
    SuctionEstimate, TABLE_3_ORGANIC_MATTER, TextureClass,
};
use crate::quantity::{Estimate, Quantity, Vwc};
use crate::reference::PublicationKey;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Texture as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Texture {
    /// The class alone.
    Class(TextureClass),
    /// Sand, silt and clay.
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
    /// Measured field capacity; comes before every source.
    pub field_capacity: Option<Estimate<Vwc>>,
    /// Measured wilting point; comes before every source.
    pub wilting_point: Option<Estimate<Vwc>>,
}

/// What a recommended value rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Measured on this soil.
    Measured,
    /// The equations of Saxton and Rawls (2006).
    Equations,
    /// The median of the class tables.
    Median,
}

impl fmt::Display for Basis {
    /// The reason, as a clause behind "is".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Basis::Measured => "the value measured on this soil, which comes before any source",
            Basis::Equations => {
                "what the equations give, since they know this soil's own sand and clay and the class tables only its class"
            }
            Basis::Median => "the median of the class tables, so that no single table pulls it",
        })
    }
}

/// What a reader of the recommended values should know.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// Organic matter was not given; the equations took that of Table 3.
    OrganicMatterAssumed {
        /// Percent by mass.
        percent: f64,
    },
    /// Organic matter is known, but without sand and clay it says nothing to the
    /// class tables.
    OrganicMatterUnused {
        /// Percent by mass.
        percent: f64,
    },
    /// Sand and clay are known, but the equations do not hold here.
    EquationsNotUsed {
        /// Why not.
        because: SoilError,
    },
    /// A measured value came without uncertainty; that of the sources stands in,
    /// or [`LEAST_SPREAD`](super::LEAST_SPREAD) where there are none.
    MeasuredWithoutUncertainty {
        /// `field capacity` or `wilting point`.
        name: &'static str,
        /// The standard uncertainty taken, m3/m3.
        taken: f64,
    },
    /// The sources' saturation lies no higher than field capacity, and is left out.
    SaturationBelowFieldCapacity {
        /// m3/m3.
        saturation: f64,
        /// m3/m3.
        field_capacity: f64,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Note::OrganicMatterAssumed { percent } => write!(
                f,
                "organic matter is not known; the equations took {percent} %, that of the soils in Saxton and Rawls (2006), Table 3"
            ),
            Note::OrganicMatterUnused { percent } => write!(
                f,
                "the {percent} % of organic matter had no say: the class tables do not ask for it; with sand and clay percentages the equations would"
            ),
            Note::EquationsNotUsed { because } => write!(
                f,
                "the equations were not used, and their Table 3 stands in: {because}"
            ),
            Note::MeasuredWithoutUncertainty { name, taken } => write!(
                f,
                "the measured {name} came without an uncertainty; {taken:.3} m3/m3 was taken, as from the published sources"
            ),
            Note::SaturationBelowFieldCapacity {
                saturation,
                field_capacity,
            } => write!(
                f,
                "saturation is left out: the sources have {saturation:.3} m3/m3, which is not above the field capacity {field_capacity:.3}; a soil that holds so much is no typical one of its texture, or the measured value is too high"
            ),
        }
    }
}

/// Everything known of a soil's water, and what it comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct SoilEvidence {
    /// The class, where a texture is known.
    pub class: Option<TextureClass>,
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
/// measured values contradict a soil's nature, and [`SoilError::Percent`] for
/// organic matter that is no share.
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
    let class = known.texture.as_ref().map(Texture::class);
    let mut sources = class.map_or(Ok(Vec::new()), class_sources)?;
    let mut border = None;
    match (&known.texture, known.organic_matter_percent) {
        (Some(Texture::Particles(particles)), organic_matter) => {
            border = particles.nearest_border();
            use_equations(particles, organic_matter, &mut sources, &mut notes)?;
        }
        (Some(Texture::Class(_)), Some(percent)) => {
            notes.push(Note::OrganicMatterUnused { percent });
        }
        _ => {}
    }

    let capacities: Vec<f64> = sources.iter().map(|s| s.field_capacity.value()).collect();
    let wiltings: Vec<f64> = sources.iter().map(|s| s.wilting_point.value()).collect();
    let basis = match sources.first() {
        None => None,
        Some(first) if first.publication == PublicationKey::SaxtonRawlsEquations => {
            Some(Basis::Equations)
        }
        Some(_) => Some(Basis::Median),
    };
    let (field_capacity, field_capacity_basis) = recommend(
        "field capacity",
        known.field_capacity,
        basis,
        &capacities,
        &mut notes,
    )?;
    let (wilting_point, wilting_point_basis) = recommend(
        "wilting point",
        known.wilting_point,
        basis,
        &wiltings,
        &mut notes,
    )?;
    if wilting_point.value >= field_capacity.value {
        return Err(SoilError::NoAvailableWater {
            wilting_point: wilting_point.value.value(),
            field_capacity: field_capacity.value.value(),
        });
    }
    let saturation = recommend_saturation(&sources, basis, &field_capacity, &mut notes)?;
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
    Ok(SoilEvidence {
        class,
        border,
        air_entry_kpa: air_entry(&sources),
        sources,
        indicative: class.map_or(Ok(None), indicative_range)?,
        water: SoilWater {
            field_capacity,
            wilting_point,
            correlation,
        },
        saturation,
        saturation_basis: saturation.and(basis),
        field_capacity_basis,
        wilting_point_basis,
        notes,
    })
}

/// Puts the equations in the place of their own Table 3, or notes why not.
fn use_equations(
    particles: &Particles,
    organic_matter_percent: Option<f64>,
    sources: &mut Vec<SourceWater>,
    notes: &mut Vec<Note>,
) -> Result<(), SoilError> {
    let organic_matter = organic_matter_percent.unwrap_or(TABLE_3_ORGANIC_MATTER);
    match SaxtonRawls::new(particles, organic_matter) {
        Ok(found) => {
            if organic_matter_percent.is_none() {
                notes.push(Note::OrganicMatterAssumed {
                    percent: organic_matter,
                });
            }
            sources.retain(|source| source.publication != PublicationKey::SaxtonRawlsTable3);
            sources.insert(
                0,
                SourceWater::on_power_law(
                    PublicationKey::SaxtonRawlsEquations,
                    PowerLaw {
                        field_capacity: found.field_capacity,
                        wilting_point: found.wilting_point,
                        saturation: Some(found.saturation),
                        air_entry_kpa: found.air_entry_kpa,
                    },
                )?,
            );
        }
        Err(because @ (SoilError::BeyondEquations { .. } | SoilError::EquationsFail { .. })) => {
            notes.push(Note::EquationsNotUsed { because });
        }
        Err(other) => return Err(other),
    }
    Ok(())
}

/// The recommended value of one of the two, `from_sources` in the order of the
/// sources; `basis` is what the sources can offer, `None` where there are none.
fn recommend(
    name: &'static str,
    measured: Option<Estimate<Vwc>>,
    basis: Option<Basis>,
    from_sources: &[f64],
    notes: &mut Vec<Note>,
) -> Result<(Estimate<Vwc>, Basis), SoilError> {
    if let Some(mut measured) = measured {
        if measured.value.value() <= 0.0 {
            return Err(SoilError::NotAboveZero {
                name,
                value: measured.value.value(),
            });
        }
        // Also true of NaN, which is no uncertainty either.
        if !(measured.u > 0.0 && measured.u.is_finite()) {
            measured.u = spread(from_sources, median(from_sources));
            notes.push(Note::MeasuredWithoutUncertainty {
                name,
                taken: measured.u,
            });
        }
        return Ok((measured, Basis::Measured));
    }
    let (Some(basis), Some(first)) = (basis, from_sources.first()) else {
        return Err(SoilError::NothingKnown { missing: name });
    };
    let value = if basis == Basis::Equations {
        *first
    } else {
        median(from_sources)
    };
    let estimate = Estimate::new(Vwc::new(value)?, spread(from_sources, value));
    Ok((estimate, basis))
}

/// The recommended saturation: that of the equations where the others rest on
/// them too, else the median of the sources that have one. None where it would
/// not lie above field capacity, which is then noted.
fn recommend_saturation(
    sources: &[SourceWater],
    basis: Option<Basis>,
    field_capacity: &Estimate<Vwc>,
    notes: &mut Vec<Note>,
) -> Result<Option<Estimate<Vwc>>, SoilError> {
    let values: Vec<f64> = sources
        .iter()
        .filter_map(|source| source.saturation.map(Quantity::value))
        .collect();
    let value = match (basis, values.first()) {
        (Some(Basis::Equations), Some(first)) => *first,
        (_, Some(_)) => median(&values),
        (_, None) => return Ok(None),
    };
    if value <= field_capacity.value.value() {
        notes.push(Note::SaturationBelowFieldCapacity {
            saturation: value,
            field_capacity: field_capacity.value.value(),
        });
        return Ok(None);
    }
    let u = spread(&values, value);
    Ok(Some(Estimate::new(Vwc::new(value)?, u)))
}

/// Suction at air entry, kPa: that of Saxton and Rawls, the only source that has
/// one; 0 without.
fn air_entry(sources: &[SourceWater]) -> f64 {
    sources
        .iter()
        .find_map(|source| match source.retention {
            Retention::PowerLaw(law) => law.saturation.and(Some(law.air_entry_kpa)),
            Retention::VanGenuchten(_) => None,
        })
        .unwrap_or(0.0)
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

    fn soil_retention(&self) -> SoilRetention {
        SoilRetention {
            water: self.water,
            saturation: self.saturation,
            air_entry_kpa: self.air_entry_kpa,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::soil::LEAST_SPREAD;
    use proptest::prelude::*;

    fn vwc(value: f64, u: f64) -> Option<Estimate<Vwc>> {
        Some(Estimate::new(Vwc::new(value).unwrap(), u))
    }

    fn of_class(class: TextureClass) -> SoilDescription {
        SoilDescription {
            texture: Some(Texture::Class(class)),
            ..SoilDescription::default()
        }
    }

    fn of_particles(sand: f64, clay: f64) -> SoilDescription {
        SoilDescription {
            texture: Some(Texture::Particles(
                Particles::from_sand_and_clay(sand, clay).unwrap(),
            )),
            ..SoilDescription::default()
        }
    }

    #[test]
    fn a_class_alone_gets_the_median_and_the_spread_about_it() {
        let found = evidence(&of_class(TextureClass::SandyLoam)).unwrap();
        // 0.18 (Saxton and Rawls), 0.08448 (Carsel and Parrish), 0.207 (Rawls),
        // and Schaap et al. between the first two.
        let capacity = found.water.field_capacity;
        let schaap = found.sources[2].field_capacity.value();
        assert!(schaap > 0.08448 && schaap < 0.18, "{schaap}");
        assert!((capacity.value.value() - (schaap + 0.18) / 2.0).abs() < 1e-12);
        let r = capacity.value.value();
        let by_hand = (((0.18 - r).powi(2)
            + (0.08448 - r).powi(2)
            + (schaap - r).powi(2)
            + (0.207 - r).powi(2))
            / 3.0_f64)
            .sqrt();
        // 0.08448 is rounded to 5e-6.
        assert!((capacity.u - by_hand).abs() < 1e-5);
        assert_eq!(found.field_capacity_basis, Basis::Median);
        assert!(found.border.is_none());
    }

    #[test]
    fn known_sand_and_clay_get_the_equations_in_place_of_their_table() {
        let found = evidence(&of_particles(62.0, 11.0)).unwrap();
        assert_eq!(found.field_capacity_basis, Basis::Equations);
        assert_eq!(
            found.sources[0].publication,
            PublicationKey::SaxtonRawlsEquations
        );
        assert!(
            found
                .sources
                .iter()
                .all(|s| s.publication != PublicationKey::SaxtonRawlsTable3)
        );
        assert_eq!(
            found.water.field_capacity.value,
            found.sources[0].field_capacity
        );
        assert_eq!(
            found.notes,
            [Note::OrganicMatterAssumed {
                percent: TABLE_3_ORGANIC_MATTER
            }]
        );
    }

    #[test]
    fn organic_matter_without_sand_and_clay_changes_nothing_and_says_so() {
        let mut known = of_class(TextureClass::Loam);
        let without = evidence(&known).unwrap();
        known.organic_matter_percent = Some(6.0);
        let with = evidence(&known).unwrap();
        assert_eq!(with.water, without.water);
        assert_eq!(with.notes, [Note::OrganicMatterUnused { percent: 6.0 }]);
    }

    #[test]
    fn beyond_the_equations_the_class_tables_stand_in_and_say_why() {
        let found = evidence(&of_particles(10.0, 70.0)).unwrap();
        assert_eq!(found.field_capacity_basis, Basis::Median);
        assert_eq!(found.sources.len(), 4);
        assert!(
            found.notes[0]
                .to_string()
                .contains("clay 70 % is beyond what Saxton and Rawls (2006)"),
            "{}",
            found.notes[0]
        );
    }

    #[test]
    fn measured_values_come_before_every_source() {
        let mut known = of_class(TextureClass::Loam);
        known.field_capacity = vwc(0.31, 0.008);
        let found = evidence(&known).unwrap();
        assert_eq!(found.water.field_capacity, known.field_capacity.unwrap());
        assert_eq!(found.field_capacity_basis, Basis::Measured);
        assert_eq!(found.wilting_point_basis, Basis::Median);
        assert_eq!(found.water.correlation, 0.0);
    }

    #[test]
    fn measured_values_need_no_texture() {
        let known = SoilDescription {
            field_capacity: vwc(0.31, 0.008),
            wilting_point: vwc(0.12, 0.01),
            ..SoilDescription::default()
        };
        let found = evidence(&known).unwrap();
        assert!(found.sources.is_empty());
        assert!((found.water.available().value - 0.19).abs() < 1e-12);
    }

    #[test]
    fn a_measured_value_without_uncertainty_gets_that_of_the_sources() {
        let mut known = of_class(TextureClass::Loam);
        let unmeasured = evidence(&known).unwrap().water.field_capacity.u;
        known.field_capacity = vwc(0.31, 0.0);
        let found = evidence(&known).unwrap();
        assert_eq!(found.water.field_capacity.u, unmeasured);
        assert!(matches!(
            found.notes[0],
            Note::MeasuredWithoutUncertainty { .. }
        ));
    }

    #[test]
    fn contradictions_are_refused() {
        let mut known = of_class(TextureClass::Clay);
        known.field_capacity = vwc(0.15, 0.01);
        assert!(matches!(
            evidence(&known),
            Err(SoilError::NoAvailableWater { .. })
        ));
        known.field_capacity = vwc(-0.1, 0.01);
        assert_eq!(
            evidence(&known).unwrap_err().to_string(),
            "the measured field capacity -0.1 m3/m3 is not above zero"
        );
        assert_eq!(
            evidence(&SoilDescription::default())
                .unwrap_err()
                .to_string(),
            "nothing is known of the soil's field capacity: neither a texture nor a measured value"
        );
        let mut known = of_particles(40.0, 20.0);
        known.organic_matter_percent = Some(-2.0);
        assert!(matches!(evidence(&known), Err(SoilError::Percent { .. })));
    }

    #[test]
    fn the_spread_of_what_is_in_between_is_that_of_the_sources_themselves() {
        // Above the floor, carrying the correlation along must give exactly what
        // one gets by reckoning FC - WP source by source.
        let found = evidence(&of_class(TextureClass::SandyLoam)).unwrap();
        let available = found.water.available();
        let by_source: Vec<f64> = found
            .sources
            .iter()
            .map(SourceWater::available_water)
            .collect();
        assert!(found.water.wilting_point.u > LEAST_SPREAD);
        assert!((available.u - spread(&by_source, available.value)).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn every_soil_of_the_triangle_gets_a_sound_pair(
            sand in 0.0..=100.0_f64, share in 0.0..=1.0_f64, om in prop::option::of(0.0..20.0_f64),
        ) {
            let mut known = of_particles(sand, (100.0 - sand) * share * 0.9999);
            known.organic_matter_percent = om;
            let found = evidence(&known).unwrap();
            let water = found.water;
            prop_assert!(water.wilting_point.value.value() > 0.0);
            prop_assert!(water.wilting_point.value < water.field_capacity.value);
            prop_assert!(water.field_capacity.value.value() < 0.6);
            prop_assert!(water.field_capacity.u >= LEAST_SPREAD);
            prop_assert!(water.wilting_point.u >= LEAST_SPREAD);
            prop_assert!((-1.0..=1.0).contains(&water.correlation));
            prop_assert!(water.available().u > 0.0);
        }
    }
}
