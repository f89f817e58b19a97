//! The record sheet: a page to print and to write on at the bench. Black on white,
//! columns named as in samples.csv.

use super::report::{CoreToTake, SoilPlan, cautions};
use super::text::{place, wetting};
use crate::page::Page;
use crate::table::names::{
    COUNT, DRY, DRY_AGAIN, SAMPLE_ID, SOIL_TEMPERATURE, TAKEN_AT, TARE, WET,
};
use calib_core::gravimetry::{CONSTANT_MASS, HOURS_BETWEEN_WEIGHINGS};
use maud::{Markup, html};

/// The sheet's style.
const STYLE: &str = include_str!("sheet.css");

/// What A4 and Letter both leave for the sheet between margins of 8 mm, mm high.
const PAGE_MM: f64 = 263.0;
/// What stands on the first page besides the rows of levels and cores and the loads of
/// the oven, mm. Measured in a browser; an outside check counts the pages.
const FIRST_PAGE_MM: f64 = 108.4;
/// What stands on a later page besides its rows, mm.
const LATER_PAGE_MM: f64 = 26.0;
/// Letters of a soil's name from which the title is set smaller.
const LONG_NAME: usize = 30;
/// Letters of soil and site that stand in one line, and the height of another, mm.
const HEAD_LETTERS: usize = 70;
const HEAD_LINE_MM: f64 = 5.0;
/// Letters of the probes' names that stand among the blanks, and the height of a line
/// of their own, mm.
const PROBES_LETTERS: usize = 18;
const PROBES_LINE_MM: f64 = 6.5;
/// Height of a level's row, mm, as the style has it.
const LEVEL_MM: f64 = 4.8;
/// Height of one more line of loads of the oven, mm.
const LOADS_LINE_MM: f64 = 4.0;
/// Loads of the oven that stand on one line.
const LOADS_A_LINE: usize = 2;
/// Height of the steps at each level, mm.
const STEPS_MM: f64 = 10.5;
/// Most probes whose counts have a column each, and the letters of their ids that stand
/// on one line of its head.
const COUNT_COLUMNS: usize = 3;
const COUNT_LETTERS: usize = 9;
/// Height of another line there, mm.
const COUNT_LINE_MM: f64 = 3.1;
/// Lowest and highest row that a hand writes in, mm.
const ROW_MM: (f64, f64) = (4.8, 8.0);

/// Rows of cores a page, from the first on, and their height, mm.
#[derive(Debug, PartialEq)]
struct Rows {
    pages: Vec<usize>,
    height_mm: f64,
}

impl Rows {
    /// `besides_mm` is what stands on the first page besides the rows of cores.
    fn of(cores: usize, besides_mm: f64) -> Self {
        let (lowest, highest) = ROW_MM;
        let room = PAGE_MM - besides_mm;
        if room >= lowest * cores as f64 {
            return Self {
                pages: vec![cores],
                height_mm: (room / cores.max(1) as f64).min(highest),
            };
        }
        let fit = |room: f64| (room / lowest).floor().max(1.0) as usize;
        let mut left = cores.saturating_sub(fit(room));
        let mut pages = vec![cores - left];
        while left > 0 {
            let here = left.min(fit(PAGE_MM - LATER_PAGE_MM));
            pages.push(here);
            left -= here;
        }
        Self {
            pages,
            height_mm: lowest,
        }
    }
}

/// What stands on the pages.
struct Layout {
    rows: Rows,
    /// Whether the steps at each level take no page of their own.
    steps: bool,
}

/// Pages that the sheet prints on.
pub(super) fn pages(soil: &SoilPlan, site: Option<&str>) -> usize {
    layout(soil, site).rows.pages.len()
}

fn layout(soil: &SoilPlan, site: Option<&str>) -> Layout {
    let plan = &soil.plan;
    let letters = |text: &str| text.chars().count();
    let mut besides = FIRST_PAGE_MM
        + LEVEL_MM * plan.steps.len() as f64
        + LOADS_LINE_MM * plan.timetable.loads.len().div_ceil(LOADS_A_LINE) as f64;
    if letters(soil.name()) + letters(site.unwrap_or_default()) > HEAD_LETTERS {
        besides += HEAD_LINE_MM;
    }
    if letters(&soil.probes.join(", ")) > PROBES_LETTERS {
        besides += PROBES_LINE_MM;
    }
    let lines = count_columns(soil)
        .iter()
        .map(|probe| letters(probe).div_ceil(COUNT_LETTERS))
        .max();
    besides += COUNT_LINE_MM * lines.unwrap_or(0).saturating_sub(1) as f64;
    let rows = |besides| Rows::of(soil.cores.len(), besides);
    let (with, without) = (rows(besides + STEPS_MM), rows(besides));
    let steps = with.pages.len() <= without.pages.len();
    Layout {
        rows: if steps { with } else { without },
        steps,
    }
}

/// The probes whose counts have a column each; one that is empty where there is no probe,
/// or too many.
fn count_columns(soil: &SoilPlan) -> Vec<&str> {
    match soil.probes.len() {
        1..=COUNT_COLUMNS => soil.probes.iter().map(String::as_str).collect(),
        _ => vec![""],
    }
}

/// The sheet of one soil, an HTML file of its own.
pub(super) fn render(soil: &SoilPlan, site: Option<&str>) -> String {
    let Layout { rows, steps } = layout(soil, site);
    let mut pages = rows.pages.iter();
    let first = pages.next().copied().unwrap_or(0);
    let (on_first, mut left) = soil.cores.split_at(first.min(soil.cores.len()));
    let mut later = Vec::new();
    for &count in pages {
        let (here, rest) = left.split_at(count.min(left.len()));
        later.push(here);
        left = rest;
    }
    let title = format!("Record sheet: soil {}", soil.name());
    let height = format!("--row:{:.2}mm", rows.height_mm);
    let body = html! {
        main style=(height) {
            (head(&title, site))
            (blanks(soil))
            (facts(soil))
            (levels(soil))
            (legend(steps))
            (cores(soil, on_first, 1))
            (oven(soil))
            (care())
            @for (number, here) in later.iter().enumerate() {
                section.next {
                    (head(&format!("{title}, page {}", number + 2), site))
                    (cores(soil, here, number + 2))
                }
            }
        }
    };
    Page {
        language: "en",
        title: &title,
        description: "What to pack, what to add and what to write down at the bench, to print.",
        style: STYLE,
        script: None,
        body,
    }
    .render()
}

fn head(title: &str, site: Option<&str>) -> Markup {
    html! {
        div.head {
            h1.long[title.chars().count() > LONG_NAME] { (title) }
            p { @if let Some(site) = site { (site) ". " } "ovendry " (env!("CARGO_PKG_VERSION")) }
        }
    }
}

fn blanks(soil: &SoilPlan) -> Markup {
    let probes = soil.probes.join(", ");
    html! {
        div.blanks {
            span { "container no." i {} }
            span { "empty, g" i {} }
            span { "balance" i {} }
            span { "oven, C" i {} }
            @if probes.chars().count() <= PROBES_LETTERS {
                span { "probe " (probes) @if probes.is_empty() { i {} } }
            }
            span { "logger" i {} }
            span { "day 1 is" @if soil.is_dated() { " " (soil.day(1)) } @else { i {} } }
            span { "who" i {} }
            @if probes.chars().count() > PROBES_LETTERS {
                span.whole { "probes " (probes) }
            }
        }
    }
}

fn facts(soil: &SoilPlan) -> Markup {
    let plan = &soil.plan;
    let packing = &plan.packing;
    html! {
        p.facts {
            b { "Pack " (format!("{:.0}", packing.stock_g)) " g" } " of air-dry stock ("
            (format!("{:.0} g dry soil + {:.0} g water, {:.1} %", packing.dry_soil_g,
                packing.stock_water_g, packing.stock_water_percent))
            ") into " b { (format!("{:.0}", packing.packed_ml)) " ml" }
            @if let Some(cm) = packing.soil_depth_cm { ", " b { (format!("{cm:.1}")) " cm" } " deep" }
            ": " (format!("{:.2}", packing.bulk_density_g_cm3)) " g/cm3 dry, pores "
            (format!("{:.3}", packing.porosity)) " m3/m3. Have ready "
            (format!("{:.1} kg of stock and {:.1} L of water.", plan.stock.total_g / 1000.0,
                plan.stock.water_ml / 1000.0))
            " Cores: " (format!("{:.1}", plan.core.volume_cm3)) " cm3, some "
            (format!("{:.0}", plan.core.dry_soil_g)) " g dry."
        }
    }
}

fn levels(soil: &SoilPlan) -> Markup {
    let tared = soil.plan.packing.container_tare_g.is_some();
    html! {
        (hint())
        div.scroll role="region" aria-label="Levels" tabindex="0" {
            table.levels {
                caption { "Levels, dry to wet "
                    span { "(go by the mass, millilitres are a guide; weigh without the probe)" } }
                colgroup {
                    col style="width:11mm"; col style="width:15mm"; col style="width:17mm";
                    col style="width:17mm"; col; col style="width:23mm"; col style="width:20mm";
                    col style="width:11mm"; col style="width:12mm";
                    col style="width:25mm";
                }
                thead { tr {
                    th scope="col" { "level" }
                    th.number scope="col" { "theta_v" small { "m3/m3" } }
                    th.number scope="col" { "stock in" small { "g" } }
                    th.number scope="col" { "water in" small { "ml" } }
                    th scope="col" { "how" small { "ml" } }
                    th.number scope="col" { "must weigh"
                        small { @if tared { "g, filled" } @else { "g + empty" } } }
                    th scope="col" { "weighed" small { "g" } }
                    th.number scope="col" { "wait" small { "h" } }
                    th scope="col" { "place" }
                    th scope="col" { "take cores" small { "am; wet up pm" } }
                } }
                tbody {
                    @for (step, slot) in soil.plan.steps.iter().zip(&soil.plan.timetable.take) {
                        tr {
                            th scope="row" { (step.level) }
                            td.number { (format!("{:.3}", step.theta_v)) }
                            td.number { (format!("{:.0}", step.stock_to_add_g)) }
                            td.number { (format!("{:.0}", step.water_to_add_ml)) }
                            td { (wetting(step)) }
                            td.number { (format!("{:.0}", step.container_g.unwrap_or(step.contents_g))) }
                            td {}
                            td.number { (step.wait_h) }
                            td { (place(step.place)) }
                            td { (soil.short_day(slot.day)) }
                        }
                    }
                }
            }
        }
    }
}

/// What the levels' short words mean, and what is done at each of them.
fn legend(steps: bool) -> Markup {
    html! {
        p.legend {
            b { "mix" } " ml into sieved soil. " b { "holes" } " ml into the stock that fills the holes of cores. "
            b { "pour" } " ml on, in small portions. " b { "cool, warm" } " some 10 C below, above the room. "
            b { "raw_count" } " one steady count, noted as a check: the readings themselves, a dozen a core and probe, \
               come by " code { "ovendry capture --sample ID" } " or are typed into readings.csv."
        }
        @if steps {
            p.legend.steps {
                b { "At each level" }
                " " b { "1" } " Let it stand closed, probe in, for the hours and in the place named."
                " " b { "2" } " Counts steady: log a dozen readings, note the soil temperature."
                " " b { "3" } " Take the cores clear of probe and wall; weigh each at once."
                " " b { "4" } " Oven; weigh dry, and again."
                " " b { "5" } " Put in the stock the cores took and the water: sieve, mix and pack in layers while \
                               soil can be sieved, after that fill the holes and pour."
                " " b { "6" } " On the balance without probe, add water up to the mass it must weigh. Close it."
            }
        }
    }
}

/// Says on a narrow screen that a table goes on.
fn hint() -> Markup {
    html! { p.hint.screen { "Slide the table sideways for the rest of it." } }
}

fn cores(soil: &SoilPlan, cores: &[CoreToTake], page: usize) -> Markup {
    let probes = count_columns(soil);
    let crowded = probes.len() == COUNT_COLUMNS;
    html! {
        (hint())
        div.scroll role="region" aria-label=(format!("Cores, page {page}")) tabindex="0" {
            table.cores {
                caption { "Cores " span {
                    "(masses with the core's container, as the balance shows them)" } }
                colgroup {
                    col style="width:29mm"; col style="width:9mm"; col; col; col; col.again;
                    @for _ in &probes { col.count; }
                    col.again; col style="width:23mm"; col.who.crowded[crowded];
                }
                thead { tr {
                    th scope="col" { (SAMPLE_ID) }
                    th scope="col" { "oven" small { "load" } }
                    @for name in [TARE, WET, DRY, DRY_AGAIN] { th scope="col" { (name) } }
                    @for probe in &probes { th scope="col" { (COUNT) small { (probe) } } }
                    th scope="col" { (SOIL_TEMPERATURE) }
                    th scope="col" { (TAKEN_AT) small { "day and time" } }
                    th scope="col" { "who" }
                } }
                tbody {
                    @for (place, core) in cores.iter().enumerate() {
                        @let opens = place == 0 || cores.get(place - 1).is_some_and(|before| before.level != core.level);
                        tr.first[opens] {
                            th scope="row" { (core.sample_id) }
                            td { (core.load) }
                            @for _ in 0..7 + probes.len() { td {} }
                        }
                    }
                }
            }
        }
    }
}

fn oven(soil: &SoilPlan) -> Markup {
    let core = &soil.plan.core;
    html! {
        p.facts.oven {
            b { "Oven" } " 105 C: 24 h, weigh, " (HOURS_BETWEEN_WEIGHINGS) " h more or overnight, weigh again. Dry if "
            "the mass changed by " (format!("{:.2}", core.constant_mass_g)) " g at most ("
            (100.0 * CONSTANT_MASS) " % of the dry soil); if not, go on and write the last two. "
            "Cool in a closed tin. Never put moist cores beside dry ones."
        }
        ul.loads {
            @for load in &soil.plan.timetable.loads {
                li { b { "load " (load.load) } " " (soil.load_in_short(load)) }
            }
        }
    }
}

fn care() -> Markup {
    html! {
        section.care aria-labelledby="care" {
            b id="care" { "Take care" }
            ul { @for caution in cautions() { li { (caution) } } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seven_levels_of_three_cores_stand_on_one_page_in_rows_a_hand_can_write_in() {
        let rows = Rows::of(21, FIRST_PAGE_MM + 7.0 * LEVEL_MM + 4.0 * LOADS_LINE_MM);
        assert_eq!(rows.pages, [21]);
        assert!(rows.height_mm >= ROW_MM.0 && rows.height_mm <= ROW_MM.1);
    }

    #[test]
    fn no_core_is_lost_between_pages_however_many_there_are() {
        for cores in 1..=180 {
            for besides in [FIRST_PAGE_MM, 1.5 * FIRST_PAGE_MM, PAGE_MM + 1.0] {
                let rows = Rows::of(cores, besides);
                assert_eq!(rows.pages.iter().sum::<usize>(), cores);
                assert!(rows.pages.iter().all(|&page| page > 0));
                assert!(rows.height_mm >= ROW_MM.0);
            }
        }
    }
}
