//! The comparison in words.

use super::{Report, Side};
use crate::caution;
use crate::text_table::{Column, TextTable};
use calib_core::controller::{
    Difference, LiveCodes, OnlyOne, OpenCircuit, SetPointMove, TemperatureUse, Timing,
    celsius_from_centi,
};
use std::fmt;

impl fmt::Display for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut paragraphs = vec![heading("old", self.old) + &heading("new", self.new)];
        if self.every_number_is_the_same() {
            paragraphs.push("The same table: every number is equal.\n".to_owned());
        } else {
            paragraphs.extend([
                self.readings(),
                self.rows(),
                self.set_points(),
                self.what_else(),
                self.explained(),
            ]);
        }
        paragraphs.push(format!("What to do: {}\n", self.advice()));
        paragraphs.push(caution::take_care(&[caution::PUMP]));
        paragraphs.retain(|paragraph| !paragraph.is_empty());
        f.write_str(&paragraphs.join("\n"))
    }
}

fn heading(which: &str, side: &Side) -> String {
    let answers = side.answers();
    let (calibrated_on, recheck_by) = side.dates();
    let named = side
        .table()
        .map_or_else(String::new, |table| format!(" {:08x}", table.crc32()));
    format!(
        "{which}: {}: {}{named} of probe {} in soil {}; calibrated {calibrated_on}, check again by {recheck_by}\n",
        side.path.display(),
        side.noun(),
        answers.probe(),
        answers.soil(),
    )
}

impl Report<'_> {
    /// A water content or a difference of two, without sign, as many decimals as
    /// the largest difference asks for.
    fn water(&self, theta_v: f64) -> String {
        let decimals = if self.delta.largest() < 0.002 { 4 } else { 3 };
        format!("{:.decimals$}", theta_v.abs())
    }

    /// Whether some reading differs by more than the two state of themselves.
    fn beyond_bound(&self) -> bool {
        self.delta.largest() > self.delta.bound
    }

    fn readings(&self) -> String {
        let delta = &self.delta;
        if delta.compared == 0 {
            return "No reading has a water content in both: they share no counts, or no soil temperatures.\n".to_owned();
        }
        let mut text = if delta.largest() == 0.0 {
            "Both give the same water content wherever both answer.\n".to_owned()
        } else if self.beyond_bound() {
            self.differences()
        } else {
            format!(
                "Readings are the same within the stated bounds: they differ by at most {} m3/m3, and {} is allowed.\n",
                self.water(delta.largest()),
                self.water(delta.bound)
            )
        };
        let several = delta.temperatures_centi.len() > 1;
        text += &alone(
            &delta.only_old,
            several,
            "had an answer and have none now, so that the pump stays off there",
        );
        text += &alone(&delta.only_new, several, "have an answer now and had none");
        text
    }

    fn differences(&self) -> String {
        let delta = &self.delta;
        let noun = self.new.noun();
        let mut text = format!(
            "On average the new {noun} reads {} m3/m3 {} ({} readings compared{}).\n",
            self.water(delta.mean),
            wetter_or_drier(delta.mean),
            delta.compared,
            temperatures(&delta.temperatures_centi)
        );
        for place in [delta.wetter, delta.drier].into_iter().flatten() {
            text += &format!(
                "  at {} the new {noun} reads {} m3/m3 {} ({} before, {} now)\n",
                reading(&place),
                self.water(place.difference()),
                wetter_or_drier(place.difference()),
                self.water_content(place.old.theta_v),
                self.water_content(place.new.theta_v),
            );
        }
        text
    }

    /// A water content with its sign, which a fitted curve may have.
    fn water_content(&self, theta_v: f64) -> String {
        let sign = if theta_v < 0.0 { "-" } else { "" };
        format!("{sign}{}", self.water(theta_v))
    }

    /// Some readings over the counts both answer.
    fn rows(&self) -> String {
        let rows = &self.delta.rows;
        let (Some(first), true) = (rows.first(), self.beyond_bound()) else {
            return String::new();
        };
        let mut table = TextTable::new([
            Column::numbers("counts", ""),
            Column::numbers("before", "m3/m3"),
            Column::numbers("now", "m3/m3"),
            Column::words("change"),
            Column::numbers("both uncertainties", "m3/m3"),
        ]);
        for row in rows {
            let change = row.difference();
            table.push([
                row.code.to_string(),
                self.water_content(row.old.theta_v),
                self.water_content(row.new.theta_v),
                if change == 0.0 {
                    "none".to_owned()
                } else {
                    format!("{} {}", self.water(change), wetter_or_drier(change))
                },
                self.water(row.both_uncertainties()),
            ]);
        }
        let heading = first.temperature_centi.map_or_else(String::new, |centi| {
            format!("At {:.2} C:\n", celsius_from_centi(centi))
        });
        format!("{heading}{table}")
    }

    fn set_points(&self) -> String {
        let settings = &self.delta.settings;
        [("starts", settings.refill), ("stops", settings.stop)]
            .into_iter()
            .filter_map(|(does, point)| Some(self.set_point(does, &point?) + "\n"))
            .collect()
    }

    fn set_point(&self, does: &str, point: &SetPointMove) -> String {
        let (before, now) = (point.count.old, point.count.new);
        let (theta_before, theta_now) = (
            self.water_content(point.theta_v.old),
            self.water_content(point.theta_v.new),
        );
        if before == now {
            let theta = if theta_before == theta_now {
                format!("{theta_now} m3/m3")
            } else {
                format!("{theta_now} m3/m3 by the new table, {theta_before} by the old")
            };
            return format!("The pump {does} at {now} counts as before: {theta}.");
        }
        let in_the_soil = match point.wetter_by {
            Some(0.0) => "in soil as wet as before by the new table".to_owned(),
            Some(by) => format!(
                "by the new table {} m3/m3 {}",
                self.water(by),
                wetter_or_drier(by)
            ),
            None => "where the new table has no answer".to_owned(),
        };
        let by_their_tables = if theta_before == theta_now {
            format!("{theta_now} m3/m3 by either table, each at its own count")
        } else {
            format!("{theta_now} m3/m3 now, {theta_before} by the old table")
        };
        format!(
            "The pump now {does} at {now} counts, before {before}: {in_the_soil} ({by_their_tables})."
        )
    }

    fn what_else(&self) -> String {
        let settings = &self.delta.settings;
        let mut changes: Vec<(&str, String, String)> = Vec::new();
        let mut note = |what, now: String, before: String| {
            if now != before {
                changes.push((what, now, before));
            }
        };
        if let Some(probe) = &settings.probe {
            note("probe", probe.new.clone(), probe.old.clone());
        }
        if let Some(soil) = &settings.soil {
            note("soil", soil.new.clone(), soil.old.clone());
        }
        // The ends of a table are those of its curve, rounded.
        let alike = self.old.noun() == self.new.noun();
        if let Some(domain) = settings.domain.filter(|_| alike) {
            let say = |(low, high): (f64, f64)| format!("{low:.1} to {high:.1}");
            note("calibrated counts", say(domain.new), say(domain.old));
        }
        if let Some(used) = settings.temperature {
            let say = |used: Option<TemperatureUse>| match used {
                None => "not looked at".to_owned(),
                Some(used) => format!(
                    "{:.2} to {:.2} C, {:+.2} counts a degree from {:.2} C",
                    celsius_from_centi(used.lowest_centi),
                    celsius_from_centi(used.highest_centi),
                    used.counts_per_degree,
                    celsius_from_centi(used.reference_centi)
                ),
            };
            note("soil temperature", say(used.new), say(used.old));
        }
        if let Some(timing) = settings.timing {
            for (what, time) in TIMES {
                note(what, seconds(time(&timing.new)), seconds(time(&timing.old)));
            }
        }
        if let Some(live) = settings.live {
            note(
                "counts of a live probe",
                live_codes(&live.new),
                live_codes(&live.old),
            );
        }
        let (old, new) = (self.old.dates(), self.new.dates());
        note("calibrated on", new.0, old.0);
        note("check again by", new.1, old.1);
        if changes.is_empty() {
            return String::new();
        }
        let lines: String = changes
            .into_iter()
            .map(|(what, now, before)| format!("  {what}: {now}; before {before}\n"))
            .collect();
        format!("Also changed:\n{lines}")
    }

    /// Whether the readings differ by more than the uncertainties explain.
    fn explained(&self) -> String {
        let Some(place) = self.delta.least_explained.filter(|_| self.beyond_bound()) else {
            return String::new();
        };
        format!(
            "The change is {} than both uncertainties explain: at {} it is {} m3/m3, and both together come to {} m3/m3 (the root of the sum of their squares; that is too much where both rest on the same cores).\n",
            if place.share() > 1.0 {
                "more"
            } else {
                "no more"
            },
            reading(&place),
            self.water(place.difference()),
            self.water(place.both_uncertainties()),
        )
    }

    /// What to do about it.
    fn advice(&self) -> String {
        let delta = &self.delta;
        if self.every_number_is_the_same() {
            return "nothing; the controller can keep what it has.".to_owned();
        }
        if delta.is_the_same() {
            return "nothing needs to change at the pump; load the new one if its dates or names are to be kept.".to_owned();
        }
        if delta.compared == 0 {
            return "do not load it before you know why; look whether both are of the same probe, and at the temperatures they were calibrated at.".to_owned();
        }
        if delta.readings_agree() {
            return "the water contents are the same within the stated bounds; load the new one if you meant the changes above.".to_owned();
        }
        if !self.beyond_bound() {
            return "where both answer the water contents are the same; load the new one if its calibrated counts and temperatures are wider, or if you know why they are narrower.".to_owned();
        }
        if delta.is_much_less_sure() {
            return "do not load it before you know why the new one is so much less sure: a wide uncertainty explains any change.".to_owned();
        }
        let beyond = delta.least_explained.filter(|place| place.share() > 1.0);
        match beyond {
            Some(place) => format!(
                "do not load it before you know why: cores added or left out, a probe set anew, another supply voltage. Weigh a fresh core or two near {} counts, and keep the one that agrees.",
                place.code
            ),
            None => "chance alone can do this; load the new one if it rests on more cores, or on later ones. Then watch the first irrigations, since the pump will not switch where it did.".to_owned(),
        }
    }
}

/// A time in [`Timing`] and what it is called.
type Time = (&'static str, fn(&Timing) -> u32);

const TIMES: [Time; 4] = [
    ("shortest time on", |timing| timing.minimum_on_s),
    ("shortest time off", |timing| timing.minimum_off_s),
    ("longest time on", |timing| timing.maximum_on_s),
    ("the same count is a fault after", |timing| {
        timing.stuck_after_s
    }),
];

fn seconds(seconds: u32) -> String {
    format!("{seconds} s")
}

fn live_codes(live: &LiveCodes) -> String {
    let open = match live.open_circuit {
        OpenCircuit::ReadsLow => "low",
        OpenCircuit::ReadsHigh => "high",
    };
    format!("{} to {}, a broken wire reads {open}", live.low, live.high)
}

fn wetter_or_drier(difference: f64) -> &'static str {
    if difference < 0.0 { "drier" } else { "wetter" }
}

/// A reading in words: `512 counts and 19.87 C`.
fn reading(place: &Difference) -> String {
    match place.temperature_centi {
        Some(centi) => format!(
            "{} counts and {:.2} C",
            place.code,
            celsius_from_centi(centi)
        ),
        None => format!("{} counts", place.code),
    }
}

/// `, at 10.00, 20.00 and 30.00 C`; nothing without temperatures.
fn temperatures(centi: &[Option<i16>]) -> String {
    let all: Vec<String> = centi
        .iter()
        .flatten()
        .map(|centi| format!("{:.2}", celsius_from_centi(*centi)))
        .collect();
    if all.is_empty() {
        String::new()
    } else {
        format!(", at {} C", listed(&all))
    }
}

/// `a`, `a and b`, `a, b and c`.
fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn alone(only: &OnlyOne, several_temperatures: bool, what: &str) -> String {
    if only.ranges.is_empty() {
        return String::new();
    }
    let ranges: Vec<String> = only
        .ranges
        .iter()
        .map(|range| {
            if range.start() == range.end() {
                range.start().to_string()
            } else {
                format!("{} to {}", range.start(), range.end())
            }
        })
        .collect();
    let at = if several_temperatures {
        ", at one of these temperatures or more,"
    } else {
        ""
    };
    format!("  counts {}{at} {what}\n", listed(&ranges))
}
