//! What a log says, for people.

use super::{DriestDay, FieldCapacity, FromLog, ProbeWater, agree};
use crate::text_table::{Column, TextTable};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::soil::drainage::{
    EventFault, FIELD_CAPACITY_HOURS, LogFieldCapacity, LowerBound, Outcome,
};
use std::fmt;

impl fmt::Display for FromLog {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for probe in &self.probes {
            writeln!(f, "{probe}")?;
        }
        Ok(())
    }
}

impl fmt::Display for ProbeWater {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let title = format!("{}: from the log of {}", self.soil, self.probe);
        writeln!(f, "{title}\n{}", "-".repeat(title.len()))?;
        self.write_field_capacity(f)?;
        self.write_lower_bound(f)
    }
}

impl ProbeWater {
    fn write_field_capacity(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let soakings = self.soakings.len();
        match &self.field_capacity {
            Some(FieldCapacity { found, .. }) => {
                let estimate = found.estimate();
                writeln!(
                    f,
                    "Field capacity {:.3} +- {:.3} m3/m3 (one standard uncertainty), from {} of {soakings} {}.",
                    estimate.value,
                    estimate.u,
                    found.events,
                    soakings_word(soakings)
                )?;
                writeln!(f, "  {}", parts(found))?;
                if let Some(sources) = &self.sources {
                    writeln!(
                        f,
                        "  {}",
                        compared("field capacity", estimate, sources.field_capacity)
                    )?;
                }
                if found.events == 1 {
                    writeln!(
                        f,
                        "  One soaking is one soaking: a second would show whether the first was like others."
                    )?;
                }
                self.write_what_to_do(f, found)?;
            }
            None if soakings == 0 => writeln!(
                f,
                "No field capacity: the log shows no soaking. Soak the bed, cover it, leave the pump off for four days, and log it."
            )?,
            None if soakings == 1 => {
                writeln!(f, "No field capacity: the one soaking does not show it.")?;
            }
            None => writeln!(
                f,
                "No field capacity: none of {soakings} soakings shows it."
            )?,
        }
        if soakings > 0 {
            write!(f, "{}", self.table())?;
            self.write_mends(f)?;
        }
        if !self.says_rain || !self.says_pump {
            let missing = match (self.says_rain, self.says_pump) {
                (false, false) => "neither rain (rain_mm) nor pump (pump_on)",
                (false, true) => "no rain (rain_mm)",
                _ => "no pump (pump_on)",
            };
            writeln!(
                f,
                "  The log has {missing}: a small wetting while the soil drained would go unseen."
            )?;
        }
        Ok(())
    }

    /// What to write into site.toml, or that it is there already.
    fn write_what_to_do(
        &self,
        f: &mut fmt::Formatter<'_>,
        found: &LogFieldCapacity,
    ) -> fmt::Result {
        let shown = |value: f64| format!("{value:.3}");
        let value = shown(found.theta_v);
        let [own, any] = [found.for_the_same_probe(), found.estimate()].map(|e| shown(e.u));
        let there = |stated: Estimate<Vwc>| {
            shown(stated.value.value()) == value && [&own, &any].contains(&&shown(stated.u))
        };
        match self.in_site {
            Some(stated) if there(stated) => return writeln!(f, "  site.toml has it."),
            Some(stated) => writeln!(
                f,
                "  site.toml has {:.3} +- {:.3} for soil {}. To go by the log instead, write there: field_capacity = {value}, field_capacity_u = {own}",
                stated.value.value(),
                stated.u,
                self.soil
            )?,
            None => writeln!(
                f,
                "  To go by it, write below soil {} in site.toml: field_capacity = {value} and, on a line of its own, field_capacity_u = {own}",
                self.soil
            )?,
        }
        writeln!(
            f,
            "  ({own} is without the calibration, which the set points of {} count themselves; if other probes go by it too, {any})\n  Then `ovendry setpoints` goes by it, and `ovendry export --force` makes the controller files anew.",
            self.probe
        )
    }

    fn table(&self) -> TextTable<5> {
        let mut table = TextTable::new([
            Column::words("soaking ended"),
            Column::numbers("wettest", "m3/m3"),
            Column::numbers("left alone", "h"),
            Column::numbers("after two days", "m3/m3"),
            Column::words("remark"),
        ]);
        for soaking in &self.soakings {
            let event = &soaking.event;
            let (capacity, remark) = match &event.outcome {
                Outcome::Drained(drained) => (
                    format!("{:.3}", drained.field_capacity),
                    format!(
                        "+- {:.4}; crop and sun took {:.3} a day",
                        drained.u,
                        // No minus before a nought.
                        drained.taken_per_day.max(0.0)
                    ),
                ),
                Outcome::Refused(fault) => ("-".to_owned(), format!("not used: {fault}")),
            };
            table.push([
                soaking.ended.clone(),
                format!("{:.3}", event.wettest),
                event.hours.to_string(),
                capacity,
                remark,
            ]);
        }
        table
    }

    /// What to do for the next soaking to count, each mend once.
    fn write_mends(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let field_capacity = self.field_capacity.as_ref();
        if field_capacity.is_some_and(|capacity| capacity.found.events > 1) {
            return Ok(());
        }
        let mut mends: Vec<&str> = self
            .soakings
            .iter()
            .filter_map(|soaking| match &soaking.event.outcome {
                Outcome::Refused(fault) => Some(EventFault::mend(fault)),
                Outcome::Drained(_) => None,
            })
            .collect();
        mends.sort_unstable();
        mends.dedup();
        for mend in mends {
            writeln!(f, "  For the next to count: {mend}.")?;
        }
        Ok(())
    }

    fn write_lower_bound(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(DriestDay { day, u, bound }) = &self.driest_day else {
            return Ok(());
        };
        writeln!(
            f,
            "Driest day {day}: {:.3} +- {u:.3} m3/m3 on the mean{}.",
            bound.theta_v,
            still_falling(bound)
        )?;
        let Some(sources) = &self.sources else {
            return Ok(());
        };
        let wilting = sources.wilting_point;
        let they_have = format!(
            "the sources have {:.3} +- {:.3} for the wilting point",
            wilting.value.value(),
            wilting.u
        );
        let seen = Estimate::new(bound.theta_v, *u);
        if bound.has_stopped() {
            writeln!(
                f,
                "  It has all but stopped falling there: the crop's lower limit is near. {}",
                compared("wilting point", seen, wilting)
            )
        } else if (seen.value - wilting.value.value()).abs() <= 2.0 * u {
            writeln!(
                f,
                "  About as dry as the wilting point of the sources ({they_have}), and it still dried: the crop's limit is there or lower."
            )
        } else if seen.value < wilting.value.value() {
            writeln!(
                f,
                "  That is drier than the wilting point of the sources ({they_have}): the crop takes water they call out of reach."
            )
        } else {
            writeln!(f, "  The wilting point lies below that; {they_have}.")
        }
    }
}

fn soakings_word(number: usize) -> &'static str {
    if number == 1 { "soaking" } else { "soakings" }
}

fn still_falling(bound: &LowerBound) -> String {
    match (bound.fall_when_dry, bound.fall_when_wetter) {
        (Some(dry), Some(wet)) if wet > 0.0 => {
            format!(
                "; on dry days it fell by {:.3} there, by {wet:.3} when wetter",
                // No minus before a nought.
                dry.max(0.0)
            )
        }
        _ => String::new(),
    }
}

/// What the uncertainty is made of.
fn parts(found: &LogFieldCapacity) -> String {
    format!(
        "of which: what is meant by it {:.3}, calibration {:.3}, the soakings {:.3}; {:.3} a day still drains there, {:.0} h after wetting",
        found.u_definition,
        found.u_calibration,
        found.u_events,
        found.drains_per_day,
        FIELD_CAPACITY_HOURS
    )
}

/// Whether what was seen and what the sources have agree, in words.
fn compared(name: &str, seen: Estimate<f64>, sources: Estimate<Vwc>) -> String {
    let difference = seen.value - sources.value.value();
    let agree = agree(seen, sources);
    let apart = if difference.abs() < 0.0005 {
        "the same".to_owned()
    } else {
        let which = if difference < 0.0 { "drier" } else { "wetter" };
        format!("{:.3} {which}", difference.abs())
    };
    format!(
        "{} the {name} of the sources, {:.3} +- {:.3}: {apart}, {} twice the combined uncertainty ({:.3}).",
        if agree { "Agrees with" } else { "Differs from" },
        sources.value.value(),
        sources.u,
        if agree { "within" } else { "more than" },
        2.0 * seen.u.hypot(sources.u)
    )
}
