//! The cores of a workbench, reduced, and the table that shows them.

use crate::failure::Complaint;
use crate::findings::Findings;
use crate::table::names::{DIAMETER, DRY, DRY_AGAIN, HEIGHT, SAMPLES, SITE, VOLUME, WET};
use crate::table::shown_path;
use crate::text_table::{Column, TextTable};
use crate::workbench::{Sample, Workbench};
use calib_core::gravimetry::{CoreInput, GravimetryError, Method, ReducedCore, Weighing, reduce};
use calib_core::quantity::{Quantity, QuantityError};
use schemars::JsonSchema;
use serde::Serialize;

/// One core with its results; as JSON, the results stand beside its names.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
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
/// `findings` with the column of samples.csv, or the soil of site.toml, where
/// it shows.
pub fn reduce_core(
    workbench: &Workbench,
    sample: &Sample,
    findings: &mut Findings,
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
    findings.complain(fault);
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
    let in_samples = |mend: &str| {
        let file = shown_path(&workbench.folder, SAMPLES);
        Complaint::about(&file, error.to_string(), mend).at_line(sample.line)
    };
    let in_site = Complaint::about(&workbench.site.file, error.to_string(), error.mend());
    let columns: &[&str] = match error.input() {
        Some(CoreInput::Wet) => &[WET],
        Some(CoreInput::Dry(Weighing::First)) => &[DRY],
        Some(CoreInput::Dry(Weighing::Again)) => &[DRY_AGAIN],
        Some(CoreInput::Diameter | CoreInput::Volume) => &[DIAMETER, HEIGHT, VOLUME],
        Some(CoreInput::Height) => &[HEIGHT, DIAMETER, VOLUME],
        Some(CoreInput::ParticleDensity) => {
            let soils = &workbench.site.soils;
            let soil = soils.iter().find(|soil| soil.id == sample.soil);
            return match soil {
                Some(soil) => in_site.at_line(soil.line),
                None => in_site,
            };
        }
        Some(CoreInput::WaterTemperature) => return in_site,
        None => return in_samples(error.mend()),
    };
    let filled = columns
        .iter()
        .find_map(|column| Some((*column, sample.written(column)?)));
    match filled {
        Some((column, text)) => in_samples(error.mend()).in_column(column, text),
        // The ring of site.toml serves many cores, the dry mass only this one.
        None => in_samples(&format!("{}; the ring is the one of {SITE}", error.mend()))
            .in_column(DRY, sample.written(DRY).unwrap_or_default()),
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
