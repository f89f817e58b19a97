//! The answer for a bed: several probes, one root zone.

use super::Ground;
use super::asked::Asked;
use super::words::{PointLine, PointWater, expanded, point_table, run_warnings, write_water};
use crate::failure::{Complaint, Failure, Warning, all_or_every_complaint};
use crate::text_table::{Column, TextTable};
use crate::workbench::{Bed, Site};
use calib_core::irrigation::{
    Application, DeadBandGovernor, Demand, Layer, RootZone, Supply, apply, root_zone, weights,
};
use calib_core::quantity::Quantity;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// The set points of one bed and what they rest on.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct BedReport {
    pub bed: String,
    pub(super) root_zone: RootZone,
    /// Expanded uncertainty (95 %), probes and soil together, m3/m3.
    pub(super) refill_expanded_uncertainty: f64,
    /// The same at stop, m3/m3.
    pub(super) stop_expanded_uncertainty: f64,
    /// Whether the roots are those of a stage of growth.
    #[serde(skip)]
    of_stage: bool,
    #[serde(skip)]
    no_suction: &'static str,
    #[serde(skip)]
    refill_water: PointWater,
    #[serde(skip)]
    stop_water: PointWater,
    #[serde(skip)]
    supply: Supply,
    pub(super) application: Application,
}

/// Looks at the depths of every bed's probes, before there is a calibration.
///
/// # Errors
/// [`Failure::Input`] at the line of each bed whose probes cannot speak for its roots.
pub(super) fn depths(site: &Site, demand: &Demand) -> Result<(), Failure> {
    let of_bed = |bed: &Bed| {
        let probes: Vec<_> = bed
            .probes
            .iter()
            .filter_map(|id| Some((id.as_str(), site.probe(id)?.depth?)))
            .collect();
        weights(&probes, demand.root_depth, bed.weighting)
            .map(|_| ())
            .map_err(|error| Failure::from(at_bed(site, bed, error.to_string(), error.mend())))
    };
    all_or_every_complaint(site.beds.iter().map(of_bed))?;
    Ok(())
}

/// What is wrong with a bed, at its line.
fn at_bed(site: &Site, bed: &Bed, what: String, mend: &str) -> Complaint {
    Complaint::about(&site.file, format!("bed {}: {what}", bed.id), mend).at_line(bed.line)
}

impl BedReport {
    /// The set points of `bed` from the calibrations of its probes.
    ///
    /// # Errors
    /// [`Failure::Input`] at the bed's line: a probe without calibration, all
    /// below the roots, a set point a probe was not calibrated for.
    pub(super) fn new(
        site: &Site,
        bed: &Bed,
        grounds: &[Ground<'_>],
        asked: &Asked,
        supply: &Supply,
    ) -> Result<Self, Failure> {
        let complaint = |what: String, mend: &str| at_bed(site, bed, what, mend);
        let mut layers = Vec::new();
        for id in &bed.probes {
            let ground = grounds
                .iter()
                .find(|ground| ground.calibration.probe == *id)
                .ok_or_else(|| {
                    complaint(
                        format!("probe {id} has no calibration"),
                        "run `ovendry fit` for it, or leave it out of the bed",
                    )
                })?;
            let depth = site
                .probe(id)
                .and_then(|probe| probe.depth)
                .ok_or_else(|| {
                    complaint(
                        format!("probe {id} has no depth_mm"),
                        "add depth_mm to its [[probe]]",
                    )
                })?;
            layers.push(Layer {
                depth,
                calibration: ground.calibration,
                water: ground.soil.water,
                day: ground.day_in(&asked.demand),
            });
        }
        let placed = |error: calib_core::irrigation::IrrigationError| {
            complaint(error.to_string(), error.mend())
        };
        let found = root_zone(&layers, &asked.demand, bed.weighting).map_err(placed)?;
        let application = apply(found.net_depth, supply).map_err(placed)?;
        // Different soils hold their water differently: only one soil has one suction.
        let soil = grounds.iter().find(|ground| {
            found
                .layers
                .iter()
                .all(|l| l.soil == ground.calibration.soil)
        });
        let water = |point: &calib_core::irrigation::RootZonePoint| PointWater {
            left: point.left,
            suction: soil.and_then(|ground| ground.soil.suction_at(point.left.theta_v.value)),
        };
        Ok(Self {
            bed: bed.id.clone(),
            of_stage: asked.stage.is_some(),
            no_suction: if soil.is_some() {
                super::words::NO_SUCTION
            } else {
                "the probes lie in different soils, and each soil has its own"
            },
            refill_expanded_uncertainty: expanded(found.refill.combined_u),
            stop_expanded_uncertainty: expanded(found.stop.combined_u),
            refill_water: water(&found.refill),
            stop_water: water(&found.stop),
            root_zone: found,
            supply: *supply,
            application,
        })
    }

    /// What to think of before relying on these set points.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        run_warnings(
            &format!("bed {}", self.bed),
            &self.application,
            &self.supply,
        )
    }
}

impl fmt::Display for BedReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let zone = &self.root_zone;
        let refill = zone.refill.left.theta_v.value;
        let stop = zone.stop.left.theta_v.value;
        let sum: Vec<String> = zone
            .layers
            .iter()
            .map(|layer| format!("{:.2} x {}", layer.weight, layer.probe))
            .collect();
        writeln!(
            f,
            "Bed {}: {} over {} mm of roots\n",
            self.bed,
            match zone.layers.len() {
                1 => "1 probe".to_owned(),
                number => format!("{number} probes"),
            },
            zone.root_depth.value()
        )?;
        for below in &zone.below_roots {
            writeln!(
                f,
                "{} ({} mm) lies below the roots{} and does not count.",
                below.probe,
                below.depth.value(),
                if self.of_stage { " of this stage" } else { "" }
            )?;
        }
        if !zone.below_roots.is_empty() {
            writeln!(f)?;
        }
        writeln!(
            f,
            "Start the pump when the root zone falls to {refill:.3} m3/m3; stop it when it rises to {stop:.3}."
        )?;
        writeln!(
            f,
            "Root zone = {}, in theta_v, weighted by",
            sum.join(" + ")
        )?;
        writeln!(f, "{}.\n", zone.weighting)?;
        let lines = [
            PointLine {
                name: "refill",
                count: "-".to_owned(),
                expanded: self.refill_expanded_uncertainty,
                water: &self.refill_water,
            },
            PointLine {
                name: "stop",
                count: "-".to_owned(),
                expanded: self.stop_expanded_uncertainty,
                water: &self.stop_water,
            },
        ];
        let alone = expanded(zone.refill.left.theta_v.u);
        f.write_str(&point_table(
            &lines,
            (alone, "one weighted reading at refill"),
            self.no_suction,
        ))?;
        writeln!(
            f,
            "No raw count (-): water contents are weighted, not counts; each probe's own count stands below."
        )?;
        writeln!(
            f,
            "\nWhat each probe shows there, the root zone drying evenly:\n"
        )?;
        let mut table = TextTable::new([
            Column::words("probe"),
            Column::numbers("depth", "mm"),
            Column::numbers("weight", "%"),
            Column::numbers("refill", "m3/m3"),
            Column::numbers("count", ""),
            Column::numbers("stop", "m3/m3"),
            Column::numbers("count", ""),
        ]);
        for layer in &zone.layers {
            table.push([
                layer.probe.clone(),
                layer.depth.value().to_string(),
                format!("{:.0}", 100.0 * layer.weight),
                format!("{:.3}", layer.refill),
                layer.refill_count.to_string(),
                format!("{:.3}", layer.stop),
                layer.stop_count.to_string(),
            ]);
        }
        writeln!(f, "{table}")?;
        writeln!(
            f,
            "Dead band: {:.3} m3/m3, set by {}; for the pump to keep still it takes {:.3}.",
            stop - refill,
            zone.governor,
            zone.least_band
        )?;
        if zone.governor == DeadBandGovernor::ProbeResolution {
            writeln!(
                f,
                "The allowed depletion asks for {:.3} m3/m3 only; refill was lowered.",
                zone.depletion_band
            )?;
        }
        write_water(f, &self.application, &self.supply, zone.root_depth.value())?;
        writeln!(
            f,
            "Controller files hold each probe's own set points; these are for a controller that adds the probes up."
        )
    }
}
