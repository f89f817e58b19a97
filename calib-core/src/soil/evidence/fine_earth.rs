//! What sources say of the fine earth, at its density and between its stones.

use super::{Note, SoilDescription};
use crate::quantity::Quantity;
use crate::reference::PublicationKey;
use crate::soil::density::DensityAdjustment;
use crate::soil::saxton_rawls::PARTICLE_DENSITY;
use crate::soil::spread::median;
use crate::soil::tables::{SourceWater, class_sources};
use crate::soil::{
    Gravel, Particles, SaxtonRawls, SoilError, TABLE_3_ORGANIC_MATTER, TextureClass,
};

/// What sources say, brought from the fine earth to the whole soil.
pub(super) struct FineEarth {
    pub(super) sources: Vec<SourceWater>,
    pub(super) equations: Option<SaxtonRawls>,
    pub(super) density: Option<DensityAdjustment>,
    pub(super) gravel: Option<Gravel>,
    /// Dry density of the fine earth, g/cm3, where a density was measured.
    pub(super) dry_density: Option<f64>,
}

impl FineEarth {
    pub(super) fn weigh(
        known: &SoilDescription,
        particles: Option<&Particles>,
        class: Option<TextureClass>,
        notes: &mut Vec<Note>,
    ) -> Result<Self, SoilError> {
        let stones = known.gravel_percent.filter(|percent| *percent != 0.0);
        let whole = known.bulk_density.map(Quantity::value);
        if let Some(density) = whole
            && density >= PARTICLE_DENSITY
        {
            return Err(SoilError::NoPores { density });
        }
        let mut gravel = match (stones, whole) {
            (Some(percent), Some(density)) => Some(Gravel::in_whole_soil(percent, density)?),
            _ => None,
        };
        let dry_density = gravel.map_or(whole, |gravel| Some(gravel.fine_earth_g_cm3));

        let mut sources = class.map_or(Ok(Vec::new()), class_sources)?;
        let (mut equations, mut density) = (None, None);
        match (particles, known.organic_matter_percent) {
            (Some(particles), organic_matter) => {
                (equations, density) =
                    use_equations(particles, organic_matter, dry_density, &mut sources, notes)?;
            }
            (None, Some(percent)) if class.is_some() => {
                notes.push(Note::OrganicMatterUnused { percent });
            }
            _ => {}
        }
        if let Some(g_cm3) = whole
            && density.is_none()
            && class.is_some()
        {
            notes.push(Note::DensityForSaturationOnly { g_cm3 });
        }

        if let Some(percent) = stones
            && gravel.is_none()
            && !sources.is_empty()
        {
            let saturations: Vec<f64> = sources
                .iter()
                .filter_map(|source| source.saturation.map(Quantity::value))
                .collect();
            let taken = equations.map_or_else(
                || PARTICLE_DENSITY * (1.0 - median(&saturations)),
                |found| found.matric_density,
            );
            gravel = Some(Gravel::in_fine_earth(percent, taken)?);
            notes.push(Note::GravelDensityAssumed { g_cm3: taken });
        }
        if let Some(gravel) = &gravel {
            let share = gravel.fine_earth_share();
            sources = sources
                .iter()
                .map(|source| source.of_whole(share))
                .collect::<Result<_, _>>()?;
        }
        Ok(Self {
            sources,
            equations,
            density,
            gravel,
            dry_density,
        })
    }
}

/// Puts the equations in the place of their own Table 3, or notes why not; at
/// `dry_density` g/cm3 of the fine earth where that is known and within reach.
fn use_equations(
    particles: &Particles,
    organic_matter_percent: Option<f64>,
    dry_density: Option<f64>,
    sources: &mut Vec<SourceWater>,
    notes: &mut Vec<Note>,
) -> Result<(Option<SaxtonRawls>, Option<DensityAdjustment>), SoilError> {
    let organic_matter = organic_matter_percent.unwrap_or(TABLE_3_ORGANIC_MATTER);
    let mut found = match SaxtonRawls::new(particles, organic_matter) {
        Ok(found) => found,
        Err(because @ (SoilError::BeyondEquations { .. } | SoilError::EquationsFail { .. })) => {
            notes.push(Note::EquationsNotUsed { because });
            return Ok((None, None));
        }
        Err(other) => return Err(other),
    };
    if organic_matter_percent.is_none() {
        notes.push(Note::OrganicMatterAssumed {
            percent: organic_matter,
        });
    }
    let mut density = None;
    match dry_density.map(|dry| found.at_density(dry)) {
        None => {}
        Some(Ok((packed, by))) => (found, density) = (packed, Some(by)),
        Some(Err(because @ (SoilError::BeyondDensity(_) | SoilError::EquationsFail { .. }))) => {
            notes.push(Note::DensityNotUsed { because })
        }
        Some(Err(other)) => return Err(other),
    }
    sources.retain(|source| source.publication != PublicationKey::SaxtonRawlsTable3);
    sources.insert(
        0,
        SourceWater::on_power_law(PublicationKey::SaxtonRawlsEquations, found.retention())?,
    );
    Ok((Some(found), density))
}
