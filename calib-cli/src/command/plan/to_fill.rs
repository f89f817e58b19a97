//! A samples.csv with the cores' ids in it, for what is written on the sheet.

use super::report::SoilPlan;
use crate::failure::Failure;
use crate::table::names::{
    DRY, DRY_AGAIN, LEVEL, NOTE, PROBE_ID, SAMPLE_ID, SOIL, TAKEN_AT, TARE, WET,
};

/// Its columns.
pub(super) const COLUMNS: [&str; 10] = [
    SAMPLE_ID, SOIL, LEVEL, TARE, WET, DRY, DRY_AGAIN, PROBE_ID, TAKEN_AT, NOTE,
];

/// One row a core, of all soils.
pub(super) fn render(soils: &[SoilPlan]) -> Result<Vec<u8>, Failure> {
    let internal = |error: String| Failure::Internal(format!("cannot write the cores: {error}"));
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer
        .write_record(COLUMNS)
        .map_err(|error| internal(error.to_string()))?;
    for soil in soils {
        for core in &soil.cores {
            let row = COLUMNS.map(|column| match column {
                SAMPLE_ID => core.sample_id.clone(),
                SOIL => soil.soil.clone().unwrap_or_default(),
                LEVEL => core.level.to_string(),
                PROBE_ID => only_probe(soil).to_owned(),
                _ => String::new(),
            });
            writer
                .write_record(row)
                .map_err(|error| internal(error.to_string()))?;
        }
    }
    writer
        .into_inner()
        .map_err(|error| internal(error.to_string()))
}

/// The soil's probe where it has one only; otherwise each core pairs with every probe
/// that has readings for it.
pub(super) fn only_probe(soil: &SoilPlan) -> &str {
    match soil.probes.as_slice() {
        [probe] => probe,
        _ => "",
    }
}
