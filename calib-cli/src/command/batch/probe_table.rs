//! Every probe of a soil as a table: SOIL.probes.csv.

use super::study::SoilStudy;
use crate::failure::Failure;

const HEADER: [&str; 17] = [
    "probe_id",
    "batch",
    "pairs",
    "reads_wetter_m3_m3",
    "reads_wetter_low_m3_m3",
    "reads_wetter_high_m3_m3",
    "own_offset_m3_m3",
    "own_gain",
    "rms_deviation_m3_m3",
    "rms_deviation_low_m3_m3",
    "rms_deviation_high_m3_m3",
    "rank",
    "rank_low",
    "rank_high",
    "distance_sd",
    "p_value",
    "stands_out",
];

/// The text of the table, in the order of the pairs.
///
/// # Errors
/// [`Failure::Internal`] if it cannot be put together.
pub(super) fn render(study: &SoilStudy) -> Result<Vec<u8>, Failure> {
    let failed = |error: &dyn std::fmt::Display| {
        Failure::Internal(format!("cannot put the table of probes together: {error}"))
    };
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEADER).map_err(|e| failed(&e))?;
    let water = |value: f64| format!("{value:.6}");
    let or_empty = |value: Option<String>| value.unwrap_or_default();
    for probe in &study.each {
        let placed = probe.placed.as_ref();
        let record = [
            probe.probe.clone(),
            or_empty(probe.batch.clone()),
            probe.pairs.to_string(),
            water(probe.deviation),
            water(probe.deviation_low),
            water(probe.deviation_high),
            water(probe.own_offset),
            water(probe.own_gain),
            or_empty(placed.map(|placed| water(placed.deviation))),
            or_empty(placed.map(|placed| water(placed.deviation_low))),
            or_empty(placed.map(|placed| water(placed.deviation_high))),
            or_empty(placed.map(|placed| placed.rank.to_string())),
            or_empty(placed.map(|placed| placed.rank_low.to_string())),
            or_empty(placed.map(|placed| placed.rank_high.to_string())),
            or_empty(probe.distance.map(|distance| format!("{distance:.3}"))),
            or_empty(probe.p_value.map(|p| format!("{p:.6}"))),
            match (probe.too_few_cores, probe.stands_out) {
                (true, _) => "not judged",
                (false, true) => "yes",
                (false, false) => "no",
            }
            .to_owned(),
        ];
        writer.write_record(&record).map_err(|e| failed(&e))?;
    }
    writer.into_inner().map_err(|e| failed(&e))
}
