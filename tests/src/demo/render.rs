//! The files' text.

use super::generate::Core;
use super::scenario::{Plot, SEED};
use super::season::{BEDS, DAYS, Day, LOG_STEP_S, LogRow, old_threshold};
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

pub(super) fn readme(plots: &[Plot]) -> String {
    let mut text = format!(
        r#"# Demo data: invented

Nothing here was measured. A seeded program made every number, so that Ovendry
can be tried out and tested on input of a real shape:

    {PROGRAM}

writes these six files again, byte for byte, from seed {SEED}; a test checks
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
    text.push_str(
        r#"
What to expect: every probe's counts move with temperature, but only the first
two were read over a range wide enough to show it. A few readings are disturbed.

| file | holds |
| --- | --- |
| site.toml | the three soils, the three probes, balance, ring, what the pump waters |
| samples.csv | 63 cores: masses in g, when each was cut |
| readings.csv | 756 readings: count of a 10-bit converter, soil temperature in C, supply in mV |
| log.csv | the season: count, soil temperature, whether the pump ran, rain in mm |
| weather.csv | day by day: water the crop takes and rain, mm |
"#,
    );
    text
}
