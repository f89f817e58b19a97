//! The answer of `ovendry setpoints` for one probe, the same for people and
//! machines.

use super::risk::RiskReport;
use super::stages::{self, StageRow};
use super::words::{
    NO_SUCTION, PointLine, PointWater, expanded, least_band_words, point_table, run_warnings,
    write_water,
};
use crate::failure::Warning;
use calib_core::calibration::{COVERAGE, Direction};
use calib_core::irrigation::{
    Application, AvailableWater, DeadBandGovernor, SetPointEvidence, Supply, TemperatureBasis,
};
use calib_core::quantity::Quantity;
use calib_core::soil::{Basis, SoilWater};
use calib_core::uncertainty::Budget;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// The set points of one probe and what they rest on.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SetPointReport {
    pub probe: String,
    pub soil: String,
    pub direction: Direction,
    pub soil_water: SoilWater,
    /// What the field capacity rests on.
    pub field_capacity_basis: Basis,
    /// What the wilting point rests on.
    pub wilting_point_basis: Basis,
    #[serde(flatten)]
    pub evidence: SetPointEvidence,
    /// m3/m3.
    pub refill_standard_uncertainty: f64,
    /// m3/m3.
    pub stop_standard_uncertainty: f64,
    /// Expanded uncertainty (95 %), probe and soil together, m3/m3.
    pub refill_expanded_uncertainty: f64,
    /// The same at stop, m3/m3.
    pub stop_expanded_uncertainty: f64,
    /// Refill in water and suction.
    pub refill_water: PointWater,
    /// Stop in water and suction.
    pub stop_water: PointWater,
    /// A row for each stage of growth.
    pub(super) stages: Vec<StageRow>,
    /// Expanded uncertainty (95 %) of one reading at refill, m3/m3.
    pub reading_expanded: f64,
    /// Lowest theta_v the calibration answers for, m3/m3.
    pub driest: f64,
    /// Count at which it does, at the reference temperature.
    pub driest_count: f64,
    /// What the roots can reach in all, and before the crop is held back.
    pub available: AvailableWater,
    /// Where the allowed depletion comes from.
    pub depletion_from: String,
    /// Where the root depth comes from.
    pub root_depth_from: String,
    /// Seconds between two readings.
    pub read_every_s: u32,
    #[serde(skip)]
    pub supply: Supply,
    pub application: Application,
    pub risk: RiskReport,
}

/// Whether a reading that is sure to `expanded` m3/m3 can steer a pump in this soil:
/// it must tell the upper half of the available water from the lower.
pub(super) fn is_fit(expanded: f64, water: &SoilWater) -> bool {
    expanded <= 0.5 * water.available().value
}

impl SetPointReport {
    /// Whether the probe can tell a full soil from a spent one: one reading must
    /// be surer than half the available water.
    pub fn is_fit(&self) -> bool {
        is_fit(self.reading_expanded, &self.soil_water)
    }

    /// What to think of before relying on these set points.
    pub fn warnings(&self) -> Vec<Warning> {
        let mut warnings = run_warnings(&self.probe, &self.application, &self.supply);
        warnings.extend(self.temperature_warning());
        warnings.extend(self.stages.iter().filter_map(|row| {
            let (refused, mend) = row.refused.as_ref()?;
            Some(Warning {
                place: self.probe.clone(),
                what: format!("stage {}: {refused}", row.span.name),
                why: "this stage has no set points".to_owned(),
                advice: (*mend).to_owned(),
            })
        }));
        let set = &self.evidence.set_points;
        let margin = set.refill.value() - self.driest;
        if margin < self.reading_expanded {
            warnings.push(Warning {
                place: self.probe.clone(),
                what: format!(
                    "refill lies only {margin:.3} m3/m3 above the driest core, less than one reading is sure of (+- {:.3})",
                    self.reading_expanded
                ),
                why: "a bed drier than the driest core gets no answer from the controller, and so no water"
                    .to_owned(),
                advice: "take drier cores, at best below the wilting point, and fit again".to_owned(),
            });
        }
        if !self.is_fit() {
            warnings.push(Warning {
                place: self.probe.clone(),
                what: format!(
                    "one reading is sure to +- {:.3} m3/m3 only, and the soil holds {:.3} m3/m3 between field capacity and wilting point",
                    self.reading_expanded,
                    self.soil_water.available().value
                ),
                why: "the probe cannot tell a full soil from a spent one; this calibration is judged not fit to steer a pump"
                    .to_owned(),
                advice: "look at the chart and `ovendry fit --details` for a core far off the curve, and for a slip in its masses first"
                    .to_owned(),
            });
        } else if self.reading_expanded > set.dead_band() {
            warnings.push(Warning {
                place: self.probe.clone(),
                what: format!(
                    "one reading is sure to +- {:.3} m3/m3, more than the dead band of {:.3}",
                    self.reading_expanded,
                    set.dead_band()
                ),
                why: "the pump will keep the band it is given, but the band itself may lie too wet or too dry"
                    .to_owned(),
                advice: "see with a spade how wet the roots are at both set points; more cores narrow it"
                    .to_owned(),
            });
        }
        warnings
    }

    /// That what temperature does to the readings is not known, if it is not.
    fn temperature_warning(&self) -> Option<Warning> {
        let least = &self.evidence.least_band;
        (least.temperature_basis == TemperatureBasis::Unknown && least.temperature_swing_c > 0.0)
            .then(|| Warning {
                place: self.probe.clone(),
                what: format!(
                    "what soil temperature does to its readings is not known, so the dead band leaves out the {} C it swings over a day",
                    least.temperature_swing_c
                ),
                why: "a cool morning may look like dry soil and start the pump, or hide dry soil"
                    .to_owned(),
                advice: "leave the probe in one pot of soil, covered against drying, and read it cool and warm; write the difference in counts for each degree as counts_per_c under its [[probe]]"
                    .to_owned(),
            })
    }
}

impl fmt::Display for SetPointReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let set = &self.evidence.set_points;
        writeln!(
            f,
            "Probe {} in soil {}: {}\n",
            self.probe, self.soil, self.direction
        )?;
        self.write_instruction(f)?;
        writeln!(f)?;
        let lines = [
            PointLine {
                name: "refill",
                count: set.refill_count.to_string(),
                expanded: self.refill_expanded_uncertainty,
                water: &self.refill_water,
            },
            PointLine {
                name: "stop",
                count: set.stop_count.to_string(),
                expanded: self.stop_expanded_uncertainty,
                water: &self.stop_water,
            },
        ];
        f.write_str(&point_table(
            &lines,
            (self.reading_expanded, "one reading at refill"),
            NO_SUCTION,
        ))?;
        writeln!(f)?;
        write_water(f, &self.application, &self.supply, set.root_depth.value())?;
        if !self.stages.is_empty() {
            writeln!(
                f,
                "\nStage by stage, each with one root depth from its first day to its last:\n"
            )?;
            f.write_str(&stages::table(&self.stages))?;
        }
        writeln!(f, "\nBehind these numbers:")?;
        self.write_band(f)?;
        self.write_grounds(f)?;
        write!(f, "\n{}", self.risk)
    }
}

impl SetPointReport {
    fn write_instruction(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let set = &self.evidence.set_points;
        let (drying, wetting) = match self.direction {
            Direction::FallsWhenWetter => ("rises", "falls"),
            Direction::RisesWhenWetter => ("falls", "rises"),
        };
        writeln!(
            f,
            "Start the pump when the count {drying} to {}; stop it when it {wetting} to {}.",
            set.refill_count, set.stop_count
        )?;
        if let Some(reference) = self.evidence.reference_temperature {
            writeln!(
                f,
                "Both counts hold at {} C in the soil: bring a reading to that temperature before comparing.",
                reference.value()
            )?;
        }
        Ok(())
    }

    fn write_band(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let set = &self.evidence.set_points;
        writeln!(
            f,
            "Drier than {:.3} m3/m3 ({} {:.0} counts) the controller has no answer and keeps the pump off.",
            self.driest,
            match self.direction {
                Direction::FallsWhenWetter => "above",
                Direction::RisesWhenWetter => "below",
            },
            self.driest_count
        )?;
        writeln!(
            f,
            "Dead band: {:.3} m3/m3 or {} counts, set by {}.",
            set.dead_band(),
            (set.refill_count - set.stop_count).abs(),
            set.governor
        )?;
        writeln!(
            f,
            "{}",
            least_band_words(&self.evidence.least_band, self.read_every_s)
        )?;
        if set.governor == DeadBandGovernor::ProbeResolution {
            writeln!(
                f,
                "The allowed depletion asks for {:.3} m3/m3 only; refill was lowered, since in a narrower band the pump would start by itself.",
                self.evidence.depletion_band
            )?;
        }
        Ok(())
    }

    fn write_grounds(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let set = &self.evidence.set_points;
        writeln!(
            f,
            "Over the roots the soil holds {:.0} mm available (TAW), of which {:.0} mm readily (RAW).",
            self.available.total.value(),
            self.available.readily.value()
        )?;
        writeln!(
            f,
            "Allowed depletion {:.0} % of the available water ({}); at refill {:.0} % is used up.",
            100.0 * set.allowed_depletion.value(),
            self.depletion_from,
            100.0 * self.evidence.depletion_at_refill
        )?;
        writeln!(
            f,
            "Root depth {} mm ({}).",
            set.root_depth.value(),
            self.root_depth_from
        )?;
        writeln!(
            f,
            "Field capacity {:.3} +- {:.3}{}, wilting point {:.3} +- {:.3} m3/m3{} (95 %){}.",
            self.soil_water.field_capacity.value.value(),
            expanded(self.soil_water.field_capacity.u),
            measured(self.field_capacity_basis),
            self.soil_water.wilting_point.value.value(),
            expanded(self.soil_water.wilting_point.u),
            measured(self.wilting_point_basis),
            match (self.field_capacity_basis, self.wilting_point_basis) {
                (Basis::Measured, Basis::Measured) => "",
                (Basis::Measured, _) | (_, Basis::Measured) =>
                    "; `ovendry soil` gives the sources of the other",
                _ => "; `ovendry soil` gives the sources",
            }
        )?;
        writeln!(
            f,
            "Where +- U comes from, as standard uncertainties (U is about twice their root sum of squares), m3/m3:"
        )?;
        for (name, budget) in [
            ("refill", &self.evidence.refill_budget),
            ("stop", &self.evidence.stop_budget),
        ] {
            writeln!(f, "  {name}: {}", largest_first(budget))?;
        }
        Ok(())
    }
}

/// That a value was measured, where it was.
fn measured(basis: Basis) -> &'static str {
    match basis {
        Basis::Measured => ", measured (site.toml)",
        _ => "",
    }
}

/// The lines of a budget, largest first, down to a twentieth of the whole.
fn largest_first(budget: &Budget) -> String {
    let least = budget.standard() / 20.0;
    let mut lines = budget.lines.clone();
    lines.sort_by(|a, b| b.u.total_cmp(&a.u));
    let shown: Vec<String> = lines
        .iter()
        .filter(|line| line.u >= least)
        .map(|line| format!("{} {:.4}", line.source, line.u))
        .collect();
    shown.join(", ")
}

/// A budget expanded to 95 %.
pub(super) fn expand(budget: &Budget) -> f64 {
    budget.expand(COVERAGE).expanded
}
