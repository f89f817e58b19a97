//! The cores of a workbench, reduced, and the table that shows them.

use crate::failure::Complaint;
use crate::text_table::{Column, TextTable};
use crate::workbench::{Sample, Workbench};
use calib_core::gravimetry::{
    CoreInput, CoreVolume, GravimetryError, Method, ReducedCore, Weighing, reduce,
};
use calib_core::quantity::{Quantity, QuantityError};
use serde::Serialize;

/// Name of the cores' file.
pub const SAMPLES: &str = "samples.csv";

/// One core with its results; as JSON, the results stand beside its names.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Core {
    /// Identifier.
    pub sample: String,
    /// Soil it came from.
    pub soil: String,
    /// Moisture level it belongs to.
    pub level: String,
    /// What its masses and volume say.
    #[serde(flatten)]
    pub reduced: ReducedCore,
}

/// Reduces one core of a workbench. `None` if it has a fault, which is added to
/// `complaints` with the column of samples.csv, or the soil of site.toml, where
/// it shows.
pub fn reduce_core(
    workbench: &Workbench,
    sample: &Sample,
    complaints: &mut Vec<Complaint>,
) -> Option<Core> {
    let fault = match method(workbench, sample) {
        Ok(method) => match reduce(&sample.masses, &sample.volume, &method) {
            Ok(reduced) => {
                return Some(Core {
                    sample: sample.id.clone(),
                    soil: sample.soil.clone(),
                    level: sample.level.clone(),
                    reduced,
                });
            }
            Err(error) => complaint(workbench, sample, &error),
        },
        Err(error) => Complaint::about(
            &workbench.site.file,
            format!("the balance's {error}"),
            "correct [balance] in site.toml",
        ),
    };
    complaints.push(fault);
    None
}

fn method(workbench: &Workbench, sample: &Sample) -> Result<Method, QuantityError> {
    let site = &workbench.site;
    let method = Method::new(site.balance.resolution_g, site.balance.repeatability_g)?;
    let soil = site.soils.iter().find(|soil| soil.id == sample.soil);
    Ok(Method {
        particle_density: soil
            .and_then(|soil| soil.particle_density)
            .unwrap_or(method.particle_density),
        ..method
    })
}

fn complaint(workbench: &Workbench, sample: &Sample, error: &GravimetryError) -> Complaint {
    let in_samples = Complaint::about(&workbench.shown(SAMPLES), error.to_string(), error.mend())
        .at_line(sample.line);
    let in_site = |line| {
        let about = Complaint::about(&workbench.site.file, error.to_string(), error.mend());
        match line {
            Some(line) => about.at_line(line),
            None => about,
        }
    };
    let masses = &sample.masses;
    match error.input() {
        Some(CoreInput::Wet) => in_samples.in_column("wet_g", masses.wet.value().to_string()),
        Some(CoreInput::Dry(Weighing::First)) => {
            in_samples.in_column("dry_g", masses.dry.value().to_string())
        }
        Some(CoreInput::Dry(Weighing::Again)) => {
            let again = masses.dry_again.unwrap_or(masses.dry);
            in_samples.in_column("dry_again_g", again.value().to_string())
        }
        Some(CoreInput::Diameter | CoreInput::Height | CoreInput::Volume) => {
            let (column, value) = match (error.input(), &sample.volume) {
                (Some(CoreInput::Height), CoreVolume::Ring { height, .. }) => {
                    ("ring_height_cm", height.value.value())
                }
                (_, CoreVolume::Ring { diameter, .. }) => {
                    ("ring_diameter_cm", diameter.value.value())
                }
                (_, CoreVolume::Stated(volume)) => ("core_volume_cm3", volume.value.value()),
            };
            in_samples.in_column(column, value.to_string())
        }
        Some(CoreInput::ParticleDensity) => {
            let soils = &workbench.site.soils;
            in_site(soils.iter().find(|s| s.id == sample.soil).map(|s| s.line))
        }
        Some(CoreInput::WaterTemperature) => in_site(None),
        None => in_samples,
    }
}

/// The cores as a table no wider than a terminal: `bulk` is dry bulk density, u
/// the standard uncertainty of theta_v.
pub fn table(cores: &[Core]) -> TextTable<9> {
    let mut table = TextTable::new([
        Column::words("core"),
        Column::words("soil"),
        Column::words("level"),
        Column::numbers("w", "g/g"),
        Column::numbers("bulk", "g/cm3"),
        Column::numbers("theta_v", "m3/m3"),
        Column::numbers("+- u", "m3/m3"),
        Column::numbers("saturation", ""),
        Column::numbers("void", "ratio"),
    ]);
    for core in cores {
        let reduced = &core.reduced;
        table.push([
            core.sample.clone(),
            core.soil.clone(),
            core.level.clone(),
            format!("{:.4}", reduced.w.value.value()),
            format!("{:.3}", reduced.bulk_density.value.value()),
            format!("{:.4}", reduced.theta_v.value.value()),
            format!("{:.4}", reduced.theta_v.u),
            format!("{:.3}", reduced.saturation.value),
            format!("{:.3}", reduced.void_ratio.value),
        ]);
    }
    table
}
