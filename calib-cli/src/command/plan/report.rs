//! What a plan comes to, as text, JSON and record sheet have it.

use super::asked::Asked;
use super::foretell::Worth;
use crate::caution::{BENCH, LOCAL_RULES, OVEN};
use crate::failure::{Verdict, Warning};
use calib_core::plan::{BASIS, DayPart, Load, Plan, Slot};
use calib_core::quantity::Quantity;
use calib_core::quantity::Vwc;
use jiff::ToSpan;
use jiff::civil::Date;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::HashSet;
use std::path::PathBuf;

/// Letters of a soil's id that go into the ids of its cores: enough to know it by,
/// and short enough for the sheet.
const ID_LETTERS: usize = 12;

/// What `ovendry plan --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub(in crate::command) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// The site's name, where there is a workbench.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) site: Option<String>,
    /// One plan a soil.
    pub(super) soils: Vec<SoilPlan>,
    /// Files written.
    pub(super) written: Vec<PathBuf>,
    /// What to know before starting.
    pub(super) warnings: Vec<Warning>,
    /// Where the figures come from.
    pub(super) basis: Vec<&'static str>,
    /// Where the work can hurt.
    pub(super) cautions: Vec<&'static str>,
}

impl Answer {
    pub(super) fn new(
        site: Option<String>,
        soils: Vec<SoilPlan>,
        written: Vec<PathBuf>,
        warnings: Vec<Warning>,
    ) -> Self {
        Self {
            format: "ovendry plan",
            version: 1,
            verdict: Verdict::Good,
            site,
            soils,
            written,
            warnings,
            basis: BASIS.to_vec(),
            cautions: cautions().collect(),
        }
    }
}

/// The cautions of the bench, the local codes last.
pub(super) fn cautions() -> impl Iterator<Item = &'static str> {
    OVEN.iter().chain(BENCH).copied().chain([LOCAL_RULES])
}

/// The plan for one soil.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct SoilPlan {
    /// Its id in site.toml; absent for a soil of the command line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub soil: Option<String>,
    /// Texture class, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub class: Option<&'static str>,
    /// Probes that are calibrated in it.
    pub probes: Vec<String>,
    /// Field capacity that the plan goes by, m3/m3, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field_capacity: Option<f64>,
    /// Wilting point likewise, m3/m3.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wilting_point: Option<f64>,
    /// What was taken because nothing was said.
    pub assumed: Vec<String>,
    /// Day 1, where one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    start: Option<String>,
    /// Days with something to do, by date where day 1 is known.
    pub dates: Vec<DayDate>,
    /// The cores to take, in their order.
    pub cores: Vec<CoreToTake>,
    /// The plan.
    #[serde(flatten)]
    pub plan: Plan,
    /// What it will be worth, by simulation; absent where that was not asked for or
    /// cannot be said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub foretold: Option<Worth>,
    #[serde(skip)]
    first_day: Option<Date>,
}

/// A day of the plan and its date.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct DayDate {
    /// Day, from 1.
    pub day: u32,
    /// Date, RFC 3339.
    pub date: String,
}

/// A core to take.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct CoreToTake {
    /// Its id in samples.csv.
    pub sample_id: String,
    /// Its level, from 1.
    pub level: usize,
    /// Load of the oven it goes into, from 1.
    pub load: usize,
}

impl SoilPlan {
    /// The plan with days and with ids that are not in `taken`.
    pub(super) fn new(
        asked: &Asked,
        plan: Plan,
        start: Option<Date>,
        taken: &HashSet<String>,
    ) -> Self {
        let stem = stem(asked.id.as_deref().unwrap_or("core"));
        let ids = free_ids(&stem, &plan, taken);
        let cores = ids
            .into_iter()
            .map(|(sample_id, level, core)| CoreToTake {
                sample_id,
                level,
                load: load_of(&plan.timetable.loads, level, core),
            })
            .collect();
        let mut days: Vec<u32> = plan.timetable.work.iter().map(|day| day.slot.day).collect();
        days.dedup();
        let dates = start.map_or_else(Vec::new, |start| {
            days.into_iter()
                .map(|day| DayDate {
                    day,
                    date: date_of(start, day).to_string(),
                })
                .collect()
        });
        let water = asked.request.soil;
        Self {
            soil: asked.id.clone(),
            class: asked.class.map(|class| class.name()),
            probes: asked.probes.clone(),
            field_capacity: water.field_capacity.map(Vwc::value),
            wilting_point: water.wilting_point.map(Vwc::value),
            assumed: asked.assumed.clone(),
            start: start.map(|start| start.to_string()),
            dates,
            cores,
            plan,
            foretold: None,
            first_day: start,
        }
    }

    /// What a person calls it: its id, or its class.
    pub fn name(&self) -> &str {
        self.soil
            .as_deref()
            .or(self.class)
            .unwrap_or("of the command line")
    }

    /// The name in the name of a file.
    pub fn file_name(&self) -> String {
        self.name().replace(' ', "-")
    }

    /// `day 3`, or `Wed 2026-12-02`.
    pub fn day(&self, day: u32) -> String {
        match self.first_day {
            Some(start) => date_of(start, day).strftime("%a %Y-%m-%d").to_string(),
            None => format!("day {day}"),
        }
    }

    /// The same in short: `day 3`, or `Wed 2 Dec`.
    pub fn short_day(&self, day: u32) -> String {
        match self.first_day {
            Some(start) => date_of(start, day).strftime("%a %-d %b").to_string(),
            None => format!("day {day}"),
        }
    }

    /// When a load goes in and is weighed, in short: `in day 2 am, dry day 3 am, again pm`.
    pub fn load_in_short(&self, load: &Load) -> String {
        let half = |slot: Slot| match slot.part {
            DayPart::Morning => "am",
            DayPart::Afternoon => "pm",
        };
        let again = if load.weigh_again_at.day == load.weigh_at.day {
            String::new()
        } else {
            format!("{} ", self.short_day(load.weigh_again_at.day))
        };
        format!(
            "in {} {}, dry {} {}, again {again}{}",
            self.short_day(load.in_at.day),
            half(load.in_at),
            self.short_day(load.weigh_at.day),
            half(load.weigh_at),
            half(load.weigh_again_at)
        )
    }

    /// Whether the days have dates.
    pub fn is_dated(&self) -> bool {
        self.first_day.is_some()
    }

    /// The cores of one level.
    pub fn cores_of(&self, level: usize) -> impl Iterator<Item = &CoreToTake> {
        self.cores.iter().filter(move |core| core.level == level)
    }

    /// What the plan notices, as warnings.
    pub fn warnings(&self) -> impl Iterator<Item = Warning> {
        let place = match &self.soil {
            Some(id) => format!("soil {id}"),
            None => "the soil".to_owned(),
        };
        self.plan.notices.iter().map(move |notice| Warning {
            place: place.clone(),
            what: notice.to_string(),
            why: notice.why().to_owned(),
            advice: notice.advice().to_owned(),
        })
    }
}

/// So far as the calendar goes.
fn date_of(start: Date, day: u32) -> Date {
    start.saturating_add(i64::from(day.saturating_sub(1)).days())
}

/// What the ids of a soil's cores open with.
fn stem(soil: &str) -> String {
    let short: String = soil.chars().take(ID_LETTERS).collect();
    short.trim_matches(['-', '_']).to_owned()
}

/// An id for each core with its level and its place there: `loam-1a`. Where one is
/// taken all get a letter for a later round, so that a second plan stands apart.
fn free_ids(stem: &str, plan: &Plan, taken: &HashSet<String>) -> Vec<(String, usize, usize)> {
    let mut round = 1_u32;
    loop {
        let opening = match round {
            1 => stem.to_owned(),
            round => format!("{stem}-r{round}"),
        };
        let ids: Vec<(String, usize, usize)> = plan
            .steps
            .iter()
            .flat_map(|step| (1..=plan.cores_per_level).map(move |core| (step.level, core)))
            .map(|(level, core)| (format!("{opening}-{level}{}", letter(core)), level, core))
            .collect();
        if !ids.iter().any(|(id, ..)| taken.contains(id)) {
            return ids;
        }
        round += 1;
    }
}

/// `a` for 1, `b` for 2.
fn letter(core: usize) -> char {
    u32::try_from(core)
        .ok()
        .and_then(|core| char::from_u32(u32::from('a') + core.saturating_sub(1)))
        .unwrap_or('x')
}

fn load_of(loads: &[Load], level: usize, core: usize) -> usize {
    loads
        .iter()
        .find(|load| {
            load.cores
                .iter()
                .any(|one| one.level == level && one.core == core)
        })
        .map_or(0, |load| load.load)
}
