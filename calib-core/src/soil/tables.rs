//! Field capacity, wilting point and saturation by texture class, from each
//! published table.

use super::{
    FIELD_CAPACITY_KPA, Particles, PowerLaw, Retention, SaxtonRawls, SoilError, TextureClass,
    VanGenuchten, WILTING_POINT_KPA,
};
use crate::quantity::{Quantity, Vwc};
use crate::reference::{PublicationKey, Table};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Field capacity and wilting point as one source has them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SourceWater {
    /// The source.
    pub publication: PublicationKey,
    /// theta_v at 33 kPa.
    pub field_capacity: Vwc,
    /// theta_v at 1500 kPa.
    pub wilting_point: Vwc,
    /// theta_v at saturation, where the source has it.
    pub saturation: Option<Vwc>,
    /// The source's retention curve.
    pub retention: Retention,
}

/// A range to look at, not to reckon with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct IndicativeRange {
    /// The source.
    pub publication: PublicationKey,
    /// Lowest and highest field capacity.
    pub field_capacity: (Vwc, Vwc),
    /// Lowest and highest wilting point.
    pub wilting_point: (Vwc, Vwc),
}

#[derive(Deserialize)]
struct SaxtonRawlsRow {
    class: TextureClass,
    sand_percent: f64,
    clay_percent: f64,
    om_percent: f64,
    fc_percent: f64,
    wp_percent: f64,
    sat_percent: f64,
}

impl SaxtonRawlsRow {
    /// The row's figures; air enters where the equations have it for the row's
    /// own sand, clay and organic matter.
    fn water(&self) -> Result<SourceWater, SoilError> {
        let particles = Particles::from_sand_and_clay(self.sand_percent, self.clay_percent)?;
        let equations = SaxtonRawls::new(&particles, self.om_percent)?;
        SourceWater::on_power_law(
            PublicationKey::SaxtonRawlsTable3,
            PowerLaw {
                field_capacity: self.fc_percent / 100.0,
                wilting_point: self.wp_percent / 100.0,
                saturation: Some(self.sat_percent / 100.0),
                air_entry_kpa: equations.air_entry_kpa,
            },
        )
    }
}

#[derive(Deserialize)]
struct CarselParrishRow {
    class: TextureClass,
    theta_r: f64,
    theta_s: f64,
    alpha_per_cm: f64,
    n: f64,
}

#[derive(Deserialize)]
struct SchaapRow {
    class: TextureClass,
    theta_r_m3_m3: f64,
    theta_s_m3_m3: f64,
    log10_alpha_per_cm: f64,
    log10_n: f64,
}

#[derive(Deserialize)]
struct RawlsRow {
    class: TextureClass,
    theta_33kpa: f64,
    theta_1500kpa: f64,
}

#[derive(Deserialize)]
struct FaoRow {
    soil: TextureClass,
    fc_low: f64,
    fc_high: f64,
    wp_low: f64,
    wp_high: f64,
}

static SAXTON_RAWLS: Table<SaxtonRawlsRow> = Table::new(
    "saxton_rawls_2006_table3.csv",
    include_str!("../../../reference-data/soil/saxton_rawls_2006_table3.csv"),
);
static CARSEL_PARRISH: Table<CarselParrishRow> = Table::new(
    "carsel_parrish_1988.csv",
    include_str!("../../../reference-data/soil/carsel_parrish_1988.csv"),
);
static SCHAAP: Table<SchaapRow> = Table::new(
    "schaap_2001.csv",
    include_str!("../../../reference-data/soil/schaap_2001.csv"),
);
static RAWLS: Table<RawlsRow> = Table::new(
    "rawls_1982.csv",
    include_str!("../../../reference-data/soil/rawls_1982.csv"),
);
static FAO: Table<FaoRow> = Table::new(
    "fao56_table19.csv",
    include_str!("../../../reference-data/soil/fao56_table19.csv"),
);

/// What each class table says of `class`. Tables without the class (Rawls et
/// al. 1982 has no silt) are left out.
///
/// # Errors
/// [`SoilError::Reference`] if the program was built from damaged data.
pub fn class_sources(class: TextureClass) -> Result<Vec<SourceWater>, SoilError> {
    let mut sources = Vec::new();
    if let Some(row) = SAXTON_RAWLS.rows()?.iter().find(|row| row.class == class) {
        sources.push(row.water()?);
    }
    if let Some(row) = CARSEL_PARRISH.rows()?.iter().find(|row| row.class == class) {
        let curve = VanGenuchten {
            theta_r: row.theta_r,
            theta_s: row.theta_s,
            alpha_per_cm: row.alpha_per_cm,
            n: row.n,
        };
        sources.push(SourceWater::on_curve(PublicationKey::CarselParrish, curve)?);
    }
    if let Some(row) = SCHAAP.rows()?.iter().find(|row| row.class == class) {
        let curve = VanGenuchten {
            theta_r: row.theta_r_m3_m3,
            theta_s: row.theta_s_m3_m3,
            alpha_per_cm: 10_f64.powf(row.log10_alpha_per_cm),
            n: 10_f64.powf(row.log10_n),
        };
        sources.push(SourceWater::on_curve(PublicationKey::Schaap, curve)?);
    }
    if let Some(row) = RAWLS.rows()?.iter().find(|row| row.class == class) {
        sources.push(SourceWater::on_power_law(
            PublicationKey::Rawls,
            PowerLaw {
                field_capacity: row.theta_33kpa,
                wilting_point: row.theta_1500kpa,
                saturation: None,
                air_entry_kpa: 0.0,
            },
        )?);
    }
    Ok(sources)
}

/// The ranges of FAO-56 Table 19 for `class`; `None` for the three classes it
/// does not have. Recalled from memory and in doubt: shown, never reckoned with.
///
/// # Errors
/// [`SoilError::Reference`] if the program was built from damaged data.
pub fn indicative_range(class: TextureClass) -> Result<Option<IndicativeRange>, SoilError> {
    let Some(row) = FAO.rows()?.iter().find(|row| row.soil == class) else {
        return Ok(None);
    };
    Ok(Some(IndicativeRange {
        publication: PublicationKey::Fao56Table19,
        field_capacity: (Vwc::new(row.fc_low)?, Vwc::new(row.fc_high)?),
        wilting_point: (Vwc::new(row.wp_low)?, Vwc::new(row.wp_high)?),
    }))
}

impl SourceWater {
    /// What `publication` says with a curve through its three water contents.
    pub(super) fn on_power_law(
        publication: PublicationKey,
        law: PowerLaw,
    ) -> Result<Self, SoilError> {
        Ok(Self {
            publication,
            field_capacity: Vwc::new(law.field_capacity)?,
            wilting_point: Vwc::new(law.wilting_point)?,
            saturation: law.saturation.map(Vwc::new).transpose()?,
            retention: Retention::PowerLaw(law),
        })
    }

    fn on_curve(publication: PublicationKey, curve: VanGenuchten) -> Result<Self, SoilError> {
        Ok(Self {
            publication,
            field_capacity: Vwc::new(curve.theta_v(FIELD_CAPACITY_KPA))?,
            wilting_point: Vwc::new(curve.theta_v(WILTING_POINT_KPA))?,
            saturation: Some(Vwc::new(curve.theta_s)?),
            retention: Retention::VanGenuchten(curve),
        })
    }

    /// The same of a soil whose fine earth takes `share` of the volume and whose
    /// stones take the rest and hold nothing.
    pub(super) fn of_whole(&self, share: f64) -> Result<Self, SoilError> {
        let part = |theta_v: Vwc| Vwc::new(share * theta_v.value());
        Ok(Self {
            publication: self.publication,
            field_capacity: part(self.field_capacity)?,
            wilting_point: part(self.wilting_point)?,
            saturation: self.saturation.map(part).transpose()?,
            retention: self.retention.of_whole(share),
        })
    }

    /// Water between the two, m3/m3.
    pub fn available_water(&self) -> f64 {
        self.field_capacity.value() - self.wilting_point.value()
    }
}

impl IndicativeRange {
    /// The same of a soil whose fine earth takes `share` of the volume.
    pub(super) fn of_whole(&self, share: f64) -> Result<Self, SoilError> {
        let part = |(low, high): (Vwc, Vwc)| -> Result<(Vwc, Vwc), SoilError> {
            Ok((
                Vwc::new(share * low.value())?,
                Vwc::new(share * high.value())?,
            ))
        };
        Ok(Self {
            publication: self.publication,
            field_capacity: part(self.field_capacity)?,
            wilting_point: part(self.wilting_point)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_class_has_three_sources_or_four() {
        for class in TextureClass::ALL {
            let expected = if class == TextureClass::Silt { 3 } else { 4 };
            assert_eq!(class_sources(class).unwrap().len(), expected, "{class}");
        }
    }

    #[test]
    fn every_source_puts_the_wilting_point_below_field_capacity() {
        for class in TextureClass::ALL {
            for source in class_sources(class).unwrap() {
                assert!(source.wilting_point.value() > 0.0, "{class}: {source:?}");
                // Carsel and Parrish have sand all but dry at 33 kPa already.
                assert!(source.available_water() > 0.0, "{class}: {source:?}");
            }
        }
    }

    #[test]
    fn sources_come_in_the_order_they_are_printed() {
        let order: Vec<PublicationKey> = class_sources(TextureClass::Loam)
            .unwrap()
            .iter()
            .map(|source| source.publication)
            .collect();
        assert_eq!(
            order,
            [
                PublicationKey::SaxtonRawlsTable3,
                PublicationKey::CarselParrish,
                PublicationKey::Schaap,
                PublicationKey::Rawls,
            ]
        );
    }

    #[test]
    fn fao_ranges_are_there_for_the_nine_classes_it_has() {
        let without: Vec<TextureClass> = TextureClass::ALL
            .into_iter()
            .filter(|class| indicative_range(*class).unwrap().is_none())
            .collect();
        assert_eq!(
            without,
            [
                TextureClass::SandyClayLoam,
                TextureClass::ClayLoam,
                TextureClass::SandyClay
            ]
        );
    }
}
