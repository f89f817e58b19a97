//! The answer of `ovendry soil`, the same for people and machines.

use crate::failure::Failure;
use crate::text_table::{Column, TextTable};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::reference::{Publication, PublicationKey, ReferenceError, publication};
use calib_core::soil::{
    Basis, BorderShift, DensityAdjustment, Gravel, IndicativeRange, Retention, SiltConversion,
    SoilEvidence, SourceWater, TextureClass,
};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// One soil.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SoilReport {
    /// Identifier, where it comes from a site.toml.
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<String>,
    pub class: Option<TextureClass>,
    #[serde(skip_serializing_if = "Option::is_none")]
    particles: Option<Percentages>,
    silt_conversion: Option<SiltConversion>,
    density: Option<DensityAdjustment>,
    gravel: Option<Gravel>,
    nearest_border: Option<BorderShift>,
    pub sources: Vec<SourceRow>,
    indicative: Option<IndicativeRange>,
    pub field_capacity: Recommended,
    pub wilting_point: Recommended,
    pub available_water: Estimate<f64>,
    pub saturation: Option<Recommended>,
    /// The recommended retention curve.
    retention: Retention,
    /// By the equations, of the whole soil.
    saturated_conductivity_mm_per_h: Option<f64>,
    pub notes: Vec<String>,
    pub publications: Vec<&'static Publication>,
}

/// Percent by mass.
#[derive(Debug, Serialize, JsonSchema)]
struct Percentages {
    /// 0.05 to 2 mm, percent by mass.
    sand_percent: f64,
    /// 0.002 to 0.05 mm, percent by mass.
    silt_percent: f64,
    /// Below 0.002 mm, percent by mass.
    clay_percent: f64,
}

/// What one source says.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SourceRow {
    #[serde(flatten)]
    pub water: SourceWater,
    /// Field capacity less wilting point, m3/m3.
    pub available_water: f64,
}

/// A recommended value with its reason.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Recommended {
    #[serde(flatten)]
    pub estimate: Estimate<Vwc>,
    pub basis: Basis,
    pub reason: String,
}

impl Recommended {
    fn new(estimate: Estimate<Vwc>, basis: Basis, sources: usize) -> Self {
        let spread = match basis {
            Basis::Measured | Basis::BulkDensity => String::new(),
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
    /// The report on `found`.
    pub fn new(id: Option<&str>, found: &SoilEvidence) -> Result<Self, Failure> {
        let particles = found.particles.map(|particles| Percentages {
            sand_percent: particles.sand(),
            silt_percent: particles.silt(),
            clay_percent: particles.clay(),
        });
        let of_sources = found.sources.len();
        let with_saturation = found
            .sources
            .iter()
            .filter(|source| source.saturation.is_some())
            .count();
        Ok(Self {
            id: id.map(str::to_owned),
            class: found.class,
            particles,
            silt_conversion: found.silt_conversion.clone(),
            density: found.density,
            gravel: found.gravel,
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
            saturation: found
                .saturation
                .zip(found.saturation_basis)
                .map(|(estimate, basis)| Recommended::new(estimate, basis, with_saturation)),
            retention: found.retention(),
            saturated_conductivity_mm_per_h: found.conductivity_mm_per_h(),
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
    if found.silt_conversion.is_some() {
        keys.push(PublicationKey::Nemes);
    }
    for source in &found.sources {
        keys.push(source.publication);
        if matches!(
            source.publication,
            PublicationKey::SaxtonRawlsEquations | PublicationKey::SaxtonRawlsTable3
        ) {
            // Air entry at least comes from there.
            keys.push(PublicationKey::SaxtonRawlsAdjustments);
        }
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
                tenth(percent.sand_percent),
                tenth(percent.silt_percent),
                tenth(percent.clay_percent)
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
        self.write_adjustments(f)
    }

    /// What was done to the figures before the sources were asked, and to what
    /// they said.
    fn write_adjustments(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(how) = &self.silt_conversion {
            writeln!(
                f,
                "  converted: parted at {} um, sand was {:.1} % and silt {:.1} %; {:.1} percent points of silt count as sand above 50 um (0 to {:.1} is possible, one standard uncertainty {:.1}).",
                how.from_um, how.sand_given, how.silt_given, how.moved, how.most, how.u
            )?;
            let others: Vec<&str> = how.other_classes.iter().map(|class| class.name()).collect();
            if others.is_empty() {
                writeln!(f, "    Whatever it is, the class stays.")?;
            } else {
                writeln!(
                    f,
                    "    The class may also be {}; ask the laboratory for the share below 50 um.",
                    others.join(" or ")
                )?;
            }
        }
        if let Some(gravel) = &self.gravel {
            writeln!(
                f,
                "  gravel: {} % by mass is {:.1} % of the volume. Every figure here is of the whole soil, stones included, as the ring cores of a calibration have it.",
                gravel.mass_percent, gravel.volume_percent
            )?;
        }
        if let Some(by) = &self.density {
            writeln!(
                f,
                "  density: {:.2} g/cm3 in the fine earth is {:.2} times the {:.2} that goes with its texture; the equations were adjusted for it.",
                by.fine_earth_g_cm3, by.factor, by.normal_g_cm3
            )?;
        }
        Ok(())
    }

    fn table(&self) -> TextTable<5> {
        let mut table = TextTable::new([
            Column::words("theta_v, m3/m3"),
            Column::numbers("field capacity", "at 33 kPa"),
            Column::numbers("wilting point", "at 1500 kPa"),
            Column::numbers("available water", ""),
            Column::numbers("saturation", ""),
        ]);
        let mut row = |name: &str, figures: [f64; 3], saturation: Option<f64>| {
            let [capacity, wilting, available] = figures.map(|figure| format!("{figure:.3}"));
            let saturation = saturation.map_or("-".to_owned(), |figure| format!("{figure:.3}"));
            table.push([name.to_owned(), capacity, wilting, available, saturation]);
        };
        for source in &self.sources {
            row(
                &source.water.publication.to_string(),
                [
                    source.water.field_capacity.value(),
                    source.water.wilting_point.value(),
                    source.available_water,
                ],
                source.water.saturation.map(Quantity::value),
            );
        }
        let (capacity, wilting) = (&self.field_capacity.estimate, &self.wilting_point.estimate);
        let saturation = self.saturation.as_ref().map(|of| of.estimate);
        row(
            "recommended",
            [
                capacity.value.value(),
                wilting.value.value(),
                self.available_water.value,
            ],
            saturation.map(|estimate| estimate.value.value()),
        );
        row(
            "+- one standard uncertainty",
            [capacity.u, wilting.u, self.available_water.u],
            saturation.map(|estimate| estimate.u),
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
        if let Some(saturation) = &self.saturation {
            if saturation.basis == self.field_capacity.basis {
                writeln!(f, "  saturation: the same, from the sources that have one.")?;
            } else {
                writeln!(f, "  saturation: {}.", saturation.reason)?;
            }
        }
        if let Some(conductivity) = self.saturated_conductivity_mm_per_h {
            writeln!(
                f,
                "  Saturated conductivity by the equations: {conductivity:.1} mm/h; from one bed to the next it may be several times as much or as little."
            )?;
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

/// Rounded to a tenth, which is more than a laboratory tells apart.
fn tenth(percent: f64) -> f64 {
    (10.0 * percent).round() / 10.0
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
