//! The answer of `ovendry soil`, the same for people and machines.

use crate::failure::Failure;
use crate::text_table::{Column, TextTable};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::reference::{Publication, PublicationKey, ReferenceError, publication};
use calib_core::soil::{
    Basis, BorderShift, IndicativeRange, SoilDescription, SoilEvidence, SourceWater, Texture,
    TextureClass,
};
use serde::Serialize;
use std::fmt;

/// One soil.
#[derive(Debug, Serialize)]
pub struct SoilReport {
    /// Identifier, where it comes from a site.toml.
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<String>,
    class: Option<TextureClass>,
    #[serde(skip_serializing_if = "Option::is_none")]
    particles: Option<Percentages>,
    nearest_border: Option<BorderShift>,
    sources: Vec<SourceRow>,
    indicative: Option<IndicativeRange>,
    field_capacity: Recommended,
    wilting_point: Recommended,
    available_water: Estimate<f64>,
    notes: Vec<String>,
    publications: Vec<&'static Publication>,
}

/// Percent by mass.
#[derive(Debug, Serialize)]
struct Percentages {
    sand_percent: f64,
    silt_percent: f64,
    clay_percent: f64,
}

#[derive(Debug, Serialize)]
struct SourceRow {
    #[serde(flatten)]
    water: SourceWater,
    available_water: f64,
}

/// A recommended value with its reason.
#[derive(Debug, Serialize)]
struct Recommended {
    #[serde(flatten)]
    estimate: Estimate<Vwc>,
    basis: Basis,
    reason: String,
}

impl Recommended {
    fn new(estimate: Estimate<Vwc>, basis: Basis, sources: usize) -> Self {
        let spread = match basis {
            Basis::Measured => String::new(),
            Basis::Equations | Basis::Median => {
                format!("; the uncertainty is the spread of the {sources} sources about it")
            }
        };
        Self {
            estimate,
            basis,
            reason: format!("{basis}{spread}"),
        }
    }
}

impl SoilReport {
    /// The report on `found`, made from `description`.
    pub fn new(
        id: Option<&str>,
        description: &SoilDescription,
        found: &SoilEvidence,
    ) -> Result<Self, Failure> {
        let particles = match &description.texture {
            Some(Texture::Particles(particles)) => Some(Percentages {
                sand_percent: particles.sand(),
                silt_percent: particles.silt(),
                clay_percent: particles.clay(),
            }),
            _ => None,
        };
        let of_sources = found.sources.len();
        Ok(Self {
            id: id.map(str::to_owned),
            class: found.class,
            particles,
            nearest_border: found.border,
            sources: found
                .sources
                .iter()
                .map(|water| SourceRow {
                    water: *water,
                    available_water: water.available_water(),
                })
                .collect(),
            indicative: found.indicative,
            field_capacity: Recommended::new(
                found.water.field_capacity,
                found.field_capacity_basis,
                of_sources,
            ),
            wilting_point: Recommended::new(
                found.water.wilting_point,
                found.wilting_point_basis,
                of_sources,
            ),
            available_water: found.water.available(),
            notes: found.notes.iter().map(ToString::to_string).collect(),
            publications: publications(found)
                .map_err(|error| Failure::Internal(error.to_string()))?,
        })
    }
}

/// Every source a report draws on, in the order it does.
fn publications(found: &SoilEvidence) -> Result<Vec<&'static Publication>, ReferenceError> {
    let mut keys = Vec::new();
    if found.border.is_some() {
        keys.push(PublicationKey::UsdaTexture);
    }
    for source in &found.sources {
        keys.push(source.publication);
        if source.publication == PublicationKey::Schaap {
            // The function both tables of parameters were read with.
            keys.push(PublicationKey::VanGenuchten);
        }
    }
    keys.extend(found.indicative.map(|range| range.publication));
    keys.into_iter().map(publication).collect()
}

impl fmt::Display for SoilReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write_heading(f)?;
        writeln!(f)?;
        write!(f, "{}", self.table())?;
        writeln!(f)?;
        self.write_reasons(f)
    }
}

impl SoilReport {
    fn write_heading(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = self.id.as_deref().unwrap_or("Soil");
        match (self.class, &self.particles) {
            (Some(class), Some(percent)) => writeln!(
                f,
                "{name}: {class} ({} % sand, {} % silt, {} % clay)",
                percent.sand_percent, percent.silt_percent, percent.clay_percent
            )?,
            (Some(class), None) => writeln!(f, "{name}: {class}")?,
            (None, _) => writeln!(f, "{name}: texture not known")?,
        }
        if let Some(border) = self.nearest_border {
            writeln!(
                f,
                "  nearest other class: {}, if {:.1} percent points of the {} were {}",
                border.class, border.points, border.from, border.to
            )?;
        }
        Ok(())
    }

    fn table(&self) -> TextTable<4> {
        let mut table = TextTable::new([
            Column::words("theta_v, m3/m3"),
            Column::numbers("field capacity", "at 33 kPa"),
            Column::numbers("wilting point", "at 1500 kPa"),
            Column::numbers("available water", ""),
        ]);
        let mut row = |name: &str, figures: [f64; 3]| {
            let [capacity, wilting, available] = figures.map(|figure| format!("{figure:.3}"));
            table.push([name.to_owned(), capacity, wilting, available]);
        };
        for source in &self.sources {
            row(
                &source.water.publication.to_string(),
                [
                    source.water.field_capacity.value(),
                    source.water.wilting_point.value(),
                    source.available_water,
                ],
            );
        }
        let (capacity, wilting) = (&self.field_capacity.estimate, &self.wilting_point.estimate);
        row(
            "recommended",
            [
                capacity.value.value(),
                wilting.value.value(),
                self.available_water.value,
            ],
        );
        row(
            "+- one standard uncertainty",
            [capacity.u, wilting.u, self.available_water.u],
        );
        table
    }

    fn write_reasons(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Recommended")?;
        if self.field_capacity.reason == self.wilting_point.reason {
            writeln!(
                f,
                "  field capacity and wilting point: {}.",
                self.field_capacity.reason
            )?;
        } else {
            writeln!(f, "  field capacity: {}.", self.field_capacity.reason)?;
            writeln!(f, "  wilting point: {}.", self.wilting_point.reason)?;
        }
        if let Some(range) = &self.indicative {
            writeln!(
                f,
                "  To compare, with no part in what is recommended: {} has field capacity {:.2} to {:.2}, wilting point {:.2} to {:.2}.",
                range.publication,
                range.field_capacity.0.value(),
                range.field_capacity.1.value(),
                range.wilting_point.0.value(),
                range.wilting_point.1.value()
            )?;
        }
        for note in &self.notes {
            writeln!(f, "  Note: {note}.")?;
        }
        Ok(())
    }
}

/// Every source behind `soils`, each once, with how far it was checked.
pub fn printed_publications(soils: &[SoilReport]) -> String {
    let mut shown: Vec<&Publication> = Vec::new();
    let mut text = String::new();
    for publication in soils.iter().flat_map(|soil| &soil.publications) {
        if shown.contains(publication) {
            continue;
        }
        shown.push(publication);
        text.push_str(&format!(
            "  {}\n    second copy: {}\n    from memory, not checked: {}\n",
            publication.citation, publication.checked, publication.from_memory
        ));
    }
    if text.is_empty() {
        return text;
    }
    format!(
        "How far each source was checked (none was read itself; a second copy is a public transcription)\n{text}"
    )
}
