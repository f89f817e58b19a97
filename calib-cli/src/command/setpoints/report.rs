//! The answer of `ovendry setpoints` for one probe, the same for people and
//! machines.

use super::risk::RiskReport;
use crate::failure::Warning;
use crate::text_table::{Column, TextTable};
use calib_core::calibration::Direction;
use calib_core::irrigation::{Application, DeadBandGovernor, RunTime, SetPointEvidence, Supply};
use calib_core::quantity::Quantity;
use calib_core::soil::SoilWater;
use calib_core::uncertainty::Budget;
use serde::Serialize;
use std::fmt;

/// The set points of one probe and what they rest on.
#[derive(Debug, Serialize)]
pub struct SetPointReport {
    pub probe: String,
    pub soil: String,
    pub direction: Direction,
    pub soil_water: SoilWater,
    #[serde(flatten)]
    pub evidence: SetPointEvidence,
    /// m3/m3.
    pub refill_standard_uncertainty: f64,
    /// m3/m3.
    pub stop_standard_uncertainty: f64,
    /// Expanded uncertainty (95 %) of one reading at refill, m3/m3.
    pub reading_expanded: f64,
    /// Lowest theta_v the calibration answers for, m3/m3.
    pub driest: f64,
    /// Count at which it does, at the reference temperature.
    pub driest_count: f64,
    /// Where the allowed depletion comes from.
    pub depletion_from: String,
    /// Where the root depth comes from.
    pub root_depth_from: String,
    #[serde(skip)]
    pub supply: Supply,
    pub application: Application,
    pub risk: RiskReport,
}

impl SetPointReport {
    /// Whether the probe can tell a full soil from a spent one: one reading must
    /// be surer than half the available water.
    pub fn is_fit(&self) -> bool {
        self.reading_expanded <= 0.5 * self.soil_water.available().value
    }

    /// What to think of before relying on these set points.
    pub fn warnings(&self) -> Vec<Warning> {
        let mut warnings: Vec<Warning> = self.run_warning(&self.supply).into_iter().collect();
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

    /// What a run outside the pump's limits means.
    fn run_warning(&self, supply: &Supply) -> Option<Warning> {
        let run = duration(self.application.run_time_s);
        let (what, why, advice) = match self.application.run_time {
            RunTime::Fits => return None,
            RunTime::ShorterThanMinimum => (
                format!(
                    "from refill to stop takes the pump {run}, and it must stay on for {} (minimum_on_s)",
                    duration(f64::from(supply.minimum_on_s))
                ),
                "every start gives more water than the dead band holds; what the soil cannot hold drains and carries nutrients along".to_owned(),
                "water a larger area at a time, lower the flow, or allow more depletion".to_owned(),
            ),
            RunTime::LongerThanMaximum { runs } => (
                format!(
                    "from refill to stop takes the pump {run}, and it may run for {} at one go (maximum_on_s)",
                    duration(f64::from(supply.maximum_on_s))
                ),
                format!("the controller stops it early; it takes {runs} runs to reach stop"),
                "raise maximum_on_s if a burst line may run that long, raise the flow, or water a smaller area at a time".to_owned(),
            ),
        };
        Some(Warning {
            place: self.probe.clone(),
            what,
            why,
            advice,
        })
    }
}

impl fmt::Display for SetPointReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let set = &self.evidence.set_points;
        writeln!(
            f,
            "Probe {} in soil {}: {}",
            self.probe, self.soil, self.direction
        )?;
        writeln!(f)?;
        let mut table = TextTable::new([
            Column::words("set point"),
            Column::numbers("theta_v", "m3/m3"),
            Column::numbers("+- 1 s.u.", "m3/m3"),
            Column::numbers("raw count", ""),
        ]);
        for (name, theta, u, count) in [
            (
                "refill",
                set.refill,
                self.refill_standard_uncertainty,
                set.refill_count,
            ),
            (
                "stop",
                set.stop,
                self.stop_standard_uncertainty,
                set.stop_count,
            ),
        ] {
            table.push([
                name.to_owned(),
                format!("{:.3}", theta.value()),
                format!("{u:.3}"),
                count.to_string(),
            ]);
        }
        write!(f, "{table}")?;
        writeln!(f)?;
        self.write_instruction(f)?;
        self.write_band(f)?;
        self.write_water(f)?;
        self.write_grounds(f)?;
        write!(f, "{}", self.risk)
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
            "Dead band: {:.3} m3/m3 or {} counts, set by {}; the probe resolves {:.3} m3/m3 at refill.",
            set.dead_band(),
            (set.refill_count - set.stop_count).abs(),
            set.governor,
            set.resolvable
        )?;
        if set.governor == DeadBandGovernor::ProbeResolution {
            writeln!(
                f,
                "The allowed depletion asks for {:.3} m3/m3 only; refill was lowered, since a narrower band would let the pump follow noise.",
                self.evidence.depletion_band
            )?;
        }
        Ok(())
    }

    fn write_water(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let water = &self.application;
        writeln!(
            f,
            "Water from refill to stop: {:.1} mm over {} mm of roots; {:.1} mm to pump at an efficiency of {}.",
            water.net_depth.value(),
            self.evidence.set_points.root_depth.value(),
            water.gross_depth.value(),
            self.supply.application_efficiency.value()
        )?;
        writeln!(
            f,
            "Pump: {:.0} L over {} m2 at {} L/min, about {}.",
            water.volume_l,
            self.supply.area.value(),
            self.supply.flow.value(),
            duration(water.run_time_s)
        )
    }

    fn write_grounds(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let set = &self.evidence.set_points;
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
            "Field capacity {:.3} +- {:.3}, wilting point {:.3} +- {:.3} m3/m3; `ovendry soil` gives the sources.",
            self.soil_water.field_capacity.value.value(),
            self.soil_water.field_capacity.u,
            self.soil_water.wilting_point.value.value(),
            self.soil_water.wilting_point.u
        )?;
        writeln!(
            f,
            "Where the +- (one standard uncertainty) come from, m3/m3"
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

/// Seconds as a person says them: to the second below five minutes, to the minute
/// above.
fn duration(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    if whole < 60 {
        format!("{whole} s")
    } else if whole < 300 {
        match whole % 60 {
            0 => format!("{} min", whole / 60),
            rest => format!("{} min {rest} s", whole / 60),
        }
    } else {
        let minutes = (seconds / 60.0).round() as u64;
        match minutes % 60 {
            _ if minutes < 60 => format!("{minutes} min"),
            0 => format!("{} h", minutes / 60),
            rest => format!("{} h {rest} min", minutes / 60),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_read_as_a_person_says_them() {
        for (seconds, said) in [
            (12.4, "12 s"),
            (59.6, "1 min"),
            (90.0, "1 min 30 s"),
            (3600.0, "1 h"),
            (8712.0, "2 h 25 min"),
            (7199.0, "2 h"),
        ] {
            assert_eq!(duration(seconds), said);
        }
    }
}
