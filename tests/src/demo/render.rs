//! The files' text.

use super::generate::Core;
use super::scenario::{Plot, SEED};
use super::season::{BEDS, DAYS, Day, LOG_STEP_S, LogRow, old_threshold};
use super::studies::{BATCHES, CHECKS, PLACES, PROBES, PairRow, VOLUME_U, count_u};
use std::fmt::Write;

const MARK: &str = "invented";
const PROGRAM: &str = "cargo run -p ovendry-tests --example make_demo_data";

pub(super) fn site(plots: &[Plot]) -> String {
    let mut text = format!(
        r#"# INVENTED DATA for trying Ovendry out. Made by
#   {PROGRAM}
# with seed {SEED}; no soil, probe or garden behind it exists. Do not irrigate by it.

[site]
name = "A market-garden cooperative (invented)"

[balance]
resolution_g = 0.01
repeatability_g = 0.005

[ring]
diameter_cm = 5.0
height_cm = 5.0
diameter_u_cm = 0.01   # standard uncertainty
height_u_cm = 0.02

[readings]
window_minutes = 10.0  # readings this long before a core count as its own
temperature_u_c = 0.3  # standard uncertainty of the soil thermometer
"#
    );
    for plot in plots {
        let _ = write!(
            text,
            r#"
[[soil]]
id = "{}"
{}
organic_matter_percent = {:.1}
bulk_density_g_cm3 = {:.2}
"#,
            plot.soil, plot.texture, plot.organic_matter, plot.bulk_density
        );
    }
    for (plot, bed) in plots.iter().zip(BEDS) {
        let _ = write!(
            text,
            r#"
[[probe]]
id = "{}"
adc_bits = 10
reference_mv = 3300.0
counts_when_wetter = "{}"
threshold_count = {}   # what the pump has gone by so far
soil = "{}"
"#,
            plot.probe,
            plot.stated_direction,
            old_threshold(plot, &bed),
            plot.soil
        );
    }
    text.push_str(
        r#"
[controller]
area_m2 = 120.0
flow_l_per_min = 30.0
crop = "lettuce"        # a name of FAO-56 Table 22, as in reference-data/soil
root_depth_mm = 400.0
application_efficiency = 0.9
read_every_s = 60
minimum_on_s = 120
minimum_off_s = 1800
maximum_on_s = 7200

[plan]                  # for `ovendry plan`
container_diameter_cm = 18.0
container_height_cm = 20.0
container_tare_g = 312.0
stock_water_percent = 2.0
oven_places = 12
"#,
    );
    text
}

pub(super) fn samples(cores: &[Core]) -> String {
    let mut text = String::from(
        "sample_id,soil,level,tare_g,wet_g,dry_g,dry_again_g,probe_id,taken_at,note\n",
    );
    for core in cores {
        let again = core
            .dry_again_g
            .map_or(String::new(), |mass| format!("{mass:.2}"));
        let _ = writeln!(
            text,
            "{},{},{},{:.2},{:.2},{:.2},{again},{},{},{MARK}",
            core.sample,
            core.soil,
            core.level,
            core.tare_g,
            core.wet_g,
            core.dry_g,
            core.probe,
            core.taken_at
        );
    }
    text
}

pub(super) fn readings(cores: &[Core]) -> String {
    let mut text = String::from("timestamp,probe_id,raw_count,soil_temp_c,supply_mv,sample_id\n");
    for core in cores {
        for reading in &core.readings {
            let _ = writeln!(
                text,
                "{},{},{},{:.1},{},{}",
                reading.at,
                core.probe,
                reading.count,
                reading.soil_temp_c,
                reading.supply_mv,
                core.sample
            );
        }
    }
    text
}

pub(super) fn log(rows: &[LogRow]) -> String {
    let mut text = String::from("timestamp,probe_id,raw_count,soil_temp_c,pump_on,rain_mm\n");
    for row in rows {
        let temperature = row
            .soil_temp_c
            .map_or(String::new(), |celsius| format!("{celsius:.1}"));
        let _ = writeln!(
            text,
            "{},{},{},{temperature},{},{}",
            row.at,
            row.probe,
            row.count,
            u8::from(row.pump_on),
            (row.rain_mm * 100.0).round() / 100.0
        );
    }
    text
}

pub(super) fn weather(days: &[Day]) -> String {
    let mut text = String::from("date,evapotranspiration_mm,rain_mm\n");
    for day in days {
        let _ = writeln!(
            text,
            "{},{:.1},{:.1}",
            day.date, day.evapotranspiration_mm, day.rain_mm
        );
    }
    text
}

/// A table of pairs; columns none of its rows fills are left out.
pub(super) fn pairs(plots: &[Plot], rows: &[PairRow]) -> String {
    let many = rows.iter().any(|row| row.media.is_some());
    let mut text =
        String::from("sample_id,soil,probe_id,raw_count,theta_v,theta_v_u,count_u,soil_temp_c,");
    text.push_str(if many {
        "level,batch,count_low_medium,count_high_medium,"
    } else {
        "place,"
    });
    text.push_str("taken_at,core_volume_relative_u,note\n");
    for row in rows {
        let plot = plots.iter().find(|plot| plot.soil == row.soil);
        let _ = write!(
            text,
            "{},{},{},{:.1},{:.4},0.001,{:.2},{:.1},",
            row.sample,
            row.soil,
            row.probe,
            row.count,
            row.theta_v,
            plot.map_or(0.0, count_u),
            row.soil_temp_c,
        );
        let _ = match row.media {
            Some((low, high)) => write!(
                text,
                "{},{},{low:.1},{high:.1},",
                row.level.as_deref().unwrap_or_default(),
                row.batch.unwrap_or_default()
            ),
            None => write!(text, "{},", row.place.as_deref().unwrap_or_default()),
        };
        // Of a core taken now and then the day is enough.
        let taken_at = row.taken_at.to_string();
        let taken_at = if many {
            &taken_at
        } else {
            taken_at.split('T').next().unwrap_or_default()
        };
        let _ = writeln!(text, "{taken_at},{VOLUME_U},{MARK}");
    }
    text
}

pub(super) fn readme(plots: &[Plot]) -> String {
    let mut text = format!(
        r#"# Demo data: invented

Nothing here was measured. A seeded program made every number, so that Ovendry
can be tried out and tested on input of a real shape:

    {PROGRAM}

writes these nine files again, byte for byte, from seed {SEED}; a test checks
that it does. The code is in `tests/src/demo/`. Do not irrigate by this data.

## The story

A market-garden cooperative waters three soils and wants one calibrated probe in
each. A plot is wetted, covered and left to dry over five weeks. On seven days,
three times a day, the probe is pushed into undisturbed soil and read every 30 s
for six minutes; then a core is cut where it stood, weighed, dried in an oven
and weighed again. One core in three is weighed a second time after more drying.
(The lowfield was too wet to wait for: its soil was cut in blocks and left to dry
in a cold store.)

| soil | texture | probe | counts when wetter | soil temperature |
| --- | --- | --- | --- | --- |
"#
    );
    for plot in plots {
        let truth = match plot.stated_direction {
            "unknown" => "not stated",
            other => other,
        };
        let warmth = match plot.warmth {
            super::scenario::Warmth::OpenBed => "8 to 30 C at every level",
            super::scenario::Warmth::ColdStore => "about 14 C throughout",
        };
        let _ = writeln!(
            text,
            "| {} | {} | {} | {truth} | {warmth} |",
            plot.soil, plot.described_as, plot.probe
        );
    }
    let _ = write!(
        text,
        r#"
In the season after, the same probes stay in the beds for {DAYS} days. They are read once
a minute, and the pump still goes by the old rule: on while the raw count is on the
dry side of one number, off while it is not. A row is logged every {} minutes and
whenever the pump switches. Before that the beds are
soaked twice by hose and covered with a sheet, unplanted; it rains now and then; and
at the end the water is left off and the crop dries the beds.
"#,
        LOG_STEP_S / 60
    );
    let _ = write!(
        text,
        r#"
For the studies there are three tables of pairs, one core beside one probe a row.
The cooperative then buys forty more probes of the orchard's kind, {PROBES} of batch {}
and {PROBES} of batch {}. All are read in air, in water and, side by side, in 21
containers packed with the orchard's soil at seven wetnesses; a core is cut from each
container. In September {} cores are taken beside each of the three first probes, {} at
each of {} places (`later-cores.csv`). From August on each of them has a core beside
it now and then, {CHECKS} times in fourteen months (`spot-checks.csv`).
"#,
        BATCHES[0],
        BATCHES[1],
        PLACES.0 * PLACES.1,
        PLACES.1,
        PLACES.0,
    );
    text.push_str(
        r#"
What to expect: every probe's counts move with temperature, but only the first
two were read over a range wide enough to show it. A few readings are disturbed.
The forty probes differ, one of them by far more than the rest, and the second batch
reads a little higher; a probe's counts in air and in water tell nearly all of it.
One of the three first probes starts to drift when winter comes.

| file | holds |
| --- | --- |
| site.toml | the three soils, the three probes, balance, ring, what the pump waters |
| samples.csv | 63 cores: masses in g, when each was cut |
| readings.csv | 756 readings: count of a 10-bit converter, soil temperature in C, supply in mV |
| log.csv | the season: count, soil temperature, whether the pump ran, rain in mm |
| weather.csv | day by day: water the crop takes and rain, mm |
| forty-probes.csv | 40 probes beside 21 cores: a table of pairs |
| later-cores.csv | 72 later cores beside the three probes, at 24 places |
| spot-checks.csv | 30 dated cores beside the three probes, over 14 months |
"#,
    );
    text
}
