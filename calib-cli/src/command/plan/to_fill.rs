//! A samples.csv with the cores' ids in it, for what is written on the sheet.

use super::report::SoilPlan;
use crate::failure::Failure;
use crate::table::HeaderLine;
use crate::table::names::{LEVEL, PROBE_ID, SAMPLE_ID, SOIL};

/// One row a core, of all soils, below the header of the samples.csv they go into.
pub(super) fn render(soils: &[SoilPlan], header: &HeaderLine) -> Result<Vec<u8>, Failure> {
    let internal = |error: String| Failure::Internal(format!("cannot write the cores: {error}"));
    let mut writer = csv::WriterBuilder::new()
        .delimiter(header.delimiter)
        .from_writer(Vec::new());
    writer
        .write_record(&header.names)
        .map_err(|error| internal(error.to_string()))?;
    for soil in soils {
        for core in &soil.cores {
            let cell = |name: &String| match name.trim().to_lowercase().as_str() {
                SAMPLE_ID => core.sample_id.clone(),
                SOIL => soil.soil.clone().unwrap_or_default(),
                LEVEL => core.level.to_string(),
                PROBE_ID => only_probe(soil).to_owned(),
                _ => String::new(),
            };
            writer
                .write_record(header.names.iter().map(cell))
                .map_err(|error| internal(error.to_string()))?;
        }
    }
    writer
        .into_inner()
        .map_err(|error| internal(error.to_string()))
}

/// The soil's probe where it has one only; otherwise each core pairs with every probe
/// that has readings for it.
fn only_probe(soil: &SoilPlan) -> &str {
    match soil.probes.as_slice() {
        [probe] => probe,
        _ => "",
    }
}
