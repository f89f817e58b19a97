//! The plan as a person reads it on a terminal.

use super::report::{Answer, SoilPlan};
use super::sheet::pages;
use crate::caution::{BENCH, OVEN, take_care};
use crate::text_table::{Column, TextTable};
use calib_core::gravimetry::{CONSTANT_MASS, HOURS_BETWEEN_WEIGHINGS};
use calib_core::plan::{Day, DayPart, Step, Task, Warmth, WettingMethod};
use std::fmt::Write;

/// Assumptions told on one line.
const ASSUMED_A_LINE: usize = 4;

/// The whole answer.
pub(super) fn of(answer: &Answer) -> String {
    let mut text = String::new();
    for soil in &answer.soils {
        one(&mut text, soil);
    }
    text.push_str(HOW);
    text.push_str(&oven());
    text.push_str("Where the figures come from\n");
    for sentence in &answer.basis {
        let _ = writeln!(text, "  - {sentence}");
    }
    text.push('\n');
    let _ = writeln!(text, "{}", take_care(&[OVEN, BENCH]));
    if answer.written.is_empty() {
        text.push_str(
            "Nothing was written. Run this again, with all its options, and --out FOLDER added, to \
             have a record sheet\nto print and a table with the cores' ids to fill in.\n",
        );
    } else {
        for path in &answer.written {
            let _ = writeln!(text, "wrote {}", path.display());
        }
        text.push_str(
            "\nPrint the record sheet from any browser. When the last core is dry, fill in \
             samples-to-fill.csv and\nadd its rows to samples.csv.\n",
        );
        for soil in answer
            .soils
            .iter()
            .filter(|soil| pages(soil, answer.site.as_deref()) > 1)
        {
            let _ = writeln!(
                text,
                "The sheet of soil {} takes {} pages, for its {} cores.",
                soil.name(),
                pages(soil, answer.site.as_deref()),
                soil.cores.len()
            );
        }
    }
    text
}

/// What is done at every level, in its order. Common practice.
const HOW: &str = "\
At each level
  1. Let the container stand closed for the hours named, in the place named, with the
     probe in it. The cool and warm places are dealt out so that the dry half stands as
     the wet half does: the effect of temperature can then be told from that of water.
  2. Once the probe's counts have stopped moving, log a dozen readings and note the soil
     temperature.
  3. Take the cores, clear of probe and wall, and weigh each at once with its container.
  4. Into the oven, as the days below have it; weigh dry, and dry again.
  5. Put in the stock that the cores took. As long as soil can be sieved: empty the
     container, break up and sieve (5 mm, or finer than a third of the ring), spray on
     the water while mixing, and pack in layers of 3 to 5 cm to the same height. Beyond
     that: fill the holes at the same density and pour the water on, in small portions.
  6. Put the container on the balance, without the probe, and make good what the air
     took: the mass it must show holds, the millilitres are a guide. Close it.
";

fn one(text: &mut String, soil: &SoilPlan) {
    let plan = &soil.plan;
    let packing = &plan.packing;
    let class = match (&soil.soil, soil.class) {
        (Some(_), Some(class)) => format!(" ({class})"),
        _ => String::new(),
    };
    let mut line = |sentence: String| {
        let _ = writeln!(text, "{sentence}");
    };
    line(format!(
        "Plan for soil {}{class}: {} levels of {} {}, {} days",
        soil.name(),
        plan.steps.len(),
        plan.cores_per_level,
        if plan.cores_per_level == 1 {
            "core"
        } else {
            "cores"
        },
        plan.timetable.days
    ));
    line(format!(
        "  pack       {:.0} g of air-dry stock ({:.0} g of dry soil, {:.0} g of its own water, {} %)",
        packing.stock_g,
        packing.dry_soil_g,
        packing.stock_water_g,
        round_to(packing.stock_water_percent, 2),
    ));
    line(format!(
        "             into {:.0} ml of the container's {:.0}{}, {} g/cm3 dry",
        packing.packed_ml,
        packing.container_ml,
        packing
            .soil_depth_cm
            .map_or_else(String::new, |cm| format!(", {cm:.1} cm deep")),
        packing.bulk_density_g_cm3,
    ));
    line(format!(
        "  have ready {:.1} kg of stock, sieved and mixed: {:.1} kg to begin with, {:.1} kg in place",
        plan.stock.total_g / 1000.0,
        plan.stock.first_g / 1000.0,
        plan.stock.refill_g / 1000.0,
    ));
    line(format!(
        "             of cores, {:.1} kg in reserve; {:.1} L of water; {} core containers",
        plan.stock.reserve_g / 1000.0,
        plan.stock.water_ml / 1000.0,
        plan.cores(),
    ));
    line(format!(
        "  core       {:.1} cm3, {:.0} g dry; dry once two weighings {HOURS_BETWEEN_WEIGHINGS} h apart differ by {:.2} g at most",
        plan.core.volume_cm3, plan.core.dry_soil_g, plan.core.constant_mass_g,
    ));
    let known = [
        ("pores", Some(packing.porosity)),
        ("field capacity", soil.field_capacity),
        ("wilting point", soil.wilting_point),
    ];
    let known: Vec<String> = known
        .iter()
        .filter_map(|(name, value)| value.map(|value| format!("{name} {value:.3}")))
        .collect();
    line(format!("  soil       {} m3/m3", known.join(", ")));
    if !soil.probes.is_empty() {
        line(format!("  probes     {}", soil.probes.join(", ")));
    }
    if !soil.assumed.is_empty() {
        for (place, few) in soil.assumed.chunks(ASSUMED_A_LINE).enumerate() {
            let opening = if place == 0 { "assumed" } else { "" };
            line(format!("  {opening:10} {}", few.join("; ")));
        }
    }
    line(String::new());
    text.push_str(&levels(soil));
    text.push('\n');
    text.push_str(&days(soil));
    text.push('\n');
    if let Some(worth) = &soil.foretold {
        let _ = writeln!(text, "{worth}");
    }
}

fn levels(soil: &SoilPlan) -> String {
    let tared = soil.plan.packing.container_tare_g.is_some();
    let mut table = TextTable::new([
        Column::numbers("level", ""),
        Column::numbers("theta_v", "m3/m3"),
        Column::numbers("pores", "% full"),
        Column::numbers("stock in", "g"),
        Column::numbers("water in", "g"),
        Column::numbers("water in", "ml"),
        Column::words("how"),
        Column::numbers("must weigh", if tared { "g, filled" } else { "g + empty" }),
        Column::numbers("wait", "h"),
        Column::words("place"),
    ]);
    for step in &soil.plan.steps {
        table.push([
            step.level.to_string(),
            format!("{:.3}", step.theta_v),
            format!("{:.0}", 100.0 * step.saturation),
            format!("{:.0}", step.stock_to_add_g),
            format!("{:.0}", step.water_to_add_g),
            format!("{:.0}", step.water_to_add_ml),
            wetting(step),
            format!("{:.0}", step.container_g.unwrap_or(step.contents_g)),
            step.wait_h.to_string(),
            place(step.place).to_owned(),
        ]);
    }
    let weighs = if tared {
        "container, soil and water, without the probe"
    } else {
        "soil and water, without the probe; the empty container comes on top"
    };
    format!(
        "{table}\
         how: ml mixed into sieved soil, into the stock that fills the holes, or poured on\n\
         must weigh: {weighs}\n\
         place: cool and warm are some 10 C below and above the room\n"
    )
}

/// How the water gets in, in few words; figures in ml.
pub(super) fn wetting(step: &Step) -> String {
    let (mix, pour) = (step.mix_in_ml, step.pour_on_ml);
    match step.method {
        WettingMethod::AsItIs => "as it is".to_owned(),
        WettingMethod::Mix => "mix in".to_owned(),
        WettingMethod::MixThenPour => format!("mix {mix:.0}, pour {pour:.0}"),
        WettingMethod::Pour => format!("holes {mix:.0}, pour {pour:.0}"),
    }
}

/// Where a level stands.
pub(super) fn place(warmth: Warmth) -> &'static str {
    match warmth {
        Warmth::Cool => "cool",
        Warmth::Room => "room",
        Warmth::Warm => "warm",
    }
}

fn days(soil: &SoilPlan) -> String {
    let mut table = TextTable::new([
        Column::words(if soil.is_dated() { "date" } else { "day" }),
        Column::words(""),
        Column::words("to do"),
    ]);
    let mut last = 0;
    for Day { slot, tasks } in &soil.plan.timetable.work {
        let day = if slot.day == last {
            String::new()
        } else {
            soil.day(slot.day)
        };
        last = slot.day;
        let part = match slot.part {
            DayPart::Morning => "morning",
            DayPart::Afternoon => "afternoon",
        };
        let tasks: Vec<String> = tasks
            .iter()
            .map(|task| task_in_words(soil, *task))
            .collect();
        table.push([day, part.to_owned(), tasks.join("; ")]);
    }
    table.to_string()
}

fn task_in_words(soil: &SoilPlan, task: Task) -> String {
    match task {
        Task::Prepare { level: 1 } => "pack level 1".to_owned(),
        Task::Prepare { level } => format!("wet up to level {level}"),
        Task::TakeCores { level } => {
            let ids: Vec<&str> = soil.cores_of(level).map(|c| c.sample_id.as_str()).collect();
            match ids.as_slice() {
                [first, .., last] => format!("read, take cores {first} to {last}"),
                [one] => format!("read, take core {one}"),
                [] => String::new(),
            }
        }
        Task::LoadOven { load } => {
            let cores = soil.cores.iter().filter(|core| core.load == load).count();
            format!("oven load {load} in ({cores})")
        }
        Task::WeighDry { load } => format!("load {load}: weigh dry, put back"),
        Task::WeighDryAgain { load } => format!("load {load}: weigh dry again"),
    }
}

/// When a core is dry.
fn oven() -> String {
    format!(
        "\
Oven
  24 h at 105 C, weigh; {HOURS_BETWEEN_WEIGHINGS} h more or overnight, weigh again. A core is dry if its mass changed
  by {} % of the dry soil at most; if not, go on and write the last two masses. Cool in a
  closed tin or a desiccator before weighing. Never put moist cores beside dry ones.

",
        100.0 * CONSTANT_MASS,
    )
}

/// `value` with as many decimals as it needs, at most `decimals`.
fn round_to(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}
