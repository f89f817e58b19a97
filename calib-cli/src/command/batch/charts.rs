//! The two charts of a soil's probes.

use super::study::SoilStudy;
use crate::failure::Failure;
use crate::output::OutputSet;
use crate::plot::{self, Chart, DeviationChart, DeviationLinesChart, ProbeLine, ProbePoint, Shown};
use calib_core::batch::Wetness;
use std::path::Path;

/// Draws them and adds them to what is written into `folder`.
///
/// # Errors
/// [`Failure::Internal`] if a chart cannot be drawn.
pub(super) fn add(
    outputs: &mut OutputSet,
    folder: &Path,
    study: &SoilStudy,
) -> Result<(), Failure> {
    let name = &study.soil;
    let (deviations, lines) = of(study);
    put(outputs, folder, &format!("{name}.batch"), &deviations)?;
    put(outputs, folder, &format!("{name}.batch-lines"), &lines)
}

/// The two charts of a soil: each probe at the middle wetness, and from dry to wet.
pub(super) fn of(study: &SoilStudy) -> (DeviationChart, DeviationLinesChart) {
    let middle = study
        .precision
        .iter()
        .find(|at| at.wetness == Wetness::Middle)
        .map_or(0.0, |at| at.found.theta_v);
    let shown = Shown {
        soil: study.soil.clone(),
        curve: study.kind.to_string(),
        theta_v: middle,
    };
    let points: Vec<ProbePoint> = study
        .each
        .iter()
        .map(|probe| ProbePoint {
            name: probe.probe.clone(),
            batch: probe.batch.clone(),
            value: probe.deviation,
            low: probe.deviation_low,
            high: probe.deviation_high,
            stands_out: probe.stands_out,
        })
        .collect();
    let lines: Vec<ProbeLine> = study
        .each
        .iter()
        .map(|probe| ProbeLine {
            name: probe.probe.clone(),
            deviations: probe.course.clone(),
            stands_out: probe.stands_out,
        })
        .collect();
    let next = study.next_probe.iter();
    let range = next
        .filter(|at| at.wetness == Wetness::Middle)
        .map(|at| (at.found.low, at.found.high))
        .next();
    let theta: Vec<f64> = study.course.iter().map(|(theta, _)| *theta).collect();
    let ranges: Option<Vec<(f64, f64)>> = study.course.iter().map(|(_, range)| *range).collect();
    (
        DeviationChart::new(&shown, &points, range),
        DeviationLinesChart::new(&shown, &theta, &lines, &ranges.unwrap_or_default()),
    )
}

fn put(
    outputs: &mut OutputSet,
    folder: &Path,
    name: &str,
    chart: &(impl Chart + Sync),
) -> Result<(), Failure> {
    let (svg, png) = rayon::join(|| plot::svg(chart), || plot::png(chart));
    outputs.add(folder.join(format!("{name}.svg")), svg?);
    outputs.add(folder.join(format!("{name}.png")), png?);
    Ok(())
}
