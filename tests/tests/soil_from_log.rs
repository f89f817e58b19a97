//! `ovendry soil DIR --log`: field capacity and the driest day as the season's log
//! shows them, held against the truth the demo's beds were made from.

use ovendry_tests::{Bench, demo, repository};
use std::sync::OnceLock;

/// The demo with its calibrations, fitted once.
fn fitted() -> &'static Bench {
    static FITTED: OnceLock<Bench> = OnceLock::new();
    FITTED.get_or_init(|| {
        let bench = Bench::demo();
        bench.run(&["fit", ".", "--no-charts"]).exits(0);
        bench
    })
}

fn demo_log() -> String {
    std::fs::read_to_string(repository().join("demo-data/log.csv")).expect("demo log")
}

/// A bench of its own with the fitted calibrations, and `log` as its log.
fn with_log(log: &str) -> Bench {
    let bench = Bench::demo();
    for name in fitted().listing() {
        if name.ends_with(".calibration.json") {
            bench.put(&name, fitted().read(&name));
        }
    }
    bench.with("log.csv", log)
}

/// Two days after it was soaked, with nothing taken: what each bed's own drainage law
/// makes of it. The beds start from two wettings that differ by far.
#[test]
fn field_capacity_read_off_the_log_is_that_of_the_beds() {
    let json = with_log(&demo_log())
        .run(&["soil", ".", "--log", "--json"])
        .exits(0)
        .json();
    let probes = json["from_log"]["probes"].as_array().unwrap();
    assert_eq!(probes.len(), 3);
    for bed in demo::BEDS {
        let found = probes
            .iter()
            .find(|probe| probe["probe"] == bed.probe)
            .unwrap();
        let capacity = &found["field_capacity"];
        let (value, u) = (
            capacity["theta_v"].as_f64().unwrap(),
            capacity["u"].as_f64().unwrap(),
        );
        for soaked_to in [0.9 * bed.full, 1.25 * bed.drained] {
            let truth = demo::undisturbed(&bed, soaked_to, 48.0);
            assert!(
                (value - truth).abs() < 2.0 * u,
                "{}: {value} +- {u}, truth {truth}",
                bed.probe
            );
        }
        assert!(u < 0.015, "{}: {u}", bed.probe);
        assert!(capacity["events"].as_u64().unwrap() >= 2);
        // Driest where the water was left off at the end, above where the crop stops.
        let driest = found["driest_day"]["theta_v"].as_f64().unwrap();
        assert!(driest > bed.spent - 0.02 && driest < bed.threshold);
        assert_eq!(found["driest_day"]["day"], "2026-07-23");
        let first = &found["soakings"][0];
        // It rains until 18:00; the row of that time tells of the last of it.
        assert_eq!(first["ended"], "2026-05-26T18:00:00Z");
        assert_eq!(first["hours"], 96);
    }
}

#[test]
fn what_spoils_a_soaking_is_named_and_the_sources_are_compared() {
    with_log(&demo_log())
        .run(&["soil", ".", "--log", "--soil", "terrace"])
        .exits(0)
        .says("terrace: from the log of terrace-1")
        .says("Field capacity 0.17")
        .says("not used: only 33 h were left alone, then it rained")
        .says("then the pump ran")
        .says("which hides it")
        .says("Agrees with the field capacity of the sources, 0.174 +- 0.055")
        .says("To go by it, write below soil terrace in site.toml: field_capacity = 0.17")
        .says("is without the calibration, which the set points of terrace-1 count themselves");
}

#[test]
fn a_field_capacity_taken_over_is_known_for_what_it_is() {
    let bench = with_log(&demo_log());
    let json = bench
        .run(&["soil", ".", "--log", "--soil", "terrace", "--json"])
        .exits(0)
        .json();
    let capacity = &json["from_log"]["probes"][0]["field_capacity"];
    let shown = |key: &str| format!("{:.3}", capacity[key].as_f64().unwrap());
    let state = |value: &str| {
        let stated = format!(
            "id = \"terrace\"\nfield_capacity = {value}\nfield_capacity_u = {}\n",
            shown("u")
        );
        let site = Bench::demo().read("site.toml");
        bench.put("site.toml", site.replacen("id = \"terrace\"\n", &stated, 1));
        bench
            .run(&["soil", ".", "--log", "--soil", "terrace"])
            .exits(0)
    };
    state(&shown("theta_v"))
        .says("site.toml has it.")
        // The sources are those of the texture, not what was taken over.
        .says("of the sources, 0.174 +- 0.055");
    state("0.2").says("site.toml has 0.200 +- ");
}

/// The same rows without rain and pump: what is left to go by is theta_v alone, and
/// the answer says so.
#[test]
fn a_log_without_rain_and_pump_says_what_would_go_unseen() {
    let bare: String = demo_log()
        .lines()
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            format!("{}\n", cells[..4].join(","))
        })
        .collect();
    with_log(&bare)
        .run(&["soil", ".", "--log", "--soil", "orchard"])
        .exits(0)
        .says("The log has neither rain (rain_mm) nor pump (pump_on)")
        .says("Field capacity 0.2");
}

#[test]
fn a_season_without_a_soaking_gives_no_field_capacity_and_says_how_to_get_one() {
    // The last nine days: dry but for a shower.
    let log = demo_log();
    let dry: String = log
        .lines()
        .enumerate()
        .filter(|(row, line)| *row == 0 || line.as_bytes() > b"2026-07-19".as_slice())
        .map(|(_, line)| format!("{line}\n"))
        .collect();
    with_log(&dry)
        .run(&["soil", ".", "--log", "--soil", "terrace"])
        .exits(0)
        .says("No field capacity: the log shows no soaking. Soak the bed, cover it")
        .says("Driest day 2026-07-23");
}

#[test]
fn the_log_is_read_in_the_folder_one_is_in_however_it_is_asked_for() {
    let bench = with_log("timestamp,probe_id,raw_count\n2026-06-01T00:00:00Z,terrace-1,500\n");
    let told = bench.run(&["soil", ".", "--log"]).exits(0).stdout;
    for asked in [
        &["soil", "--log"][..],
        &["soil", "--log", "."],
        &["soil", "--log=./log.csv"],
    ] {
        assert_eq!(bench.run(asked).exits(0).stdout, told, "{asked:?}");
    }
}

#[test]
fn a_missing_log_or_calibration_is_one_clear_complaint() {
    let bench = Bench::demo();
    bench
        .run(&["soil", ".", "--log"])
        .exits(2)
        .complains("run `ovendry fit`");
    bench.run(&["soil", "--texture", "loam", "--log"]).exits(2);
    let fitted = with_log("");
    std::fs::remove_file(fitted.path().join("log.csv")).unwrap();
    fitted
        .run(&["soil", ".", "--log"])
        .exits(2)
        .complains("log.csv: is missing");
    with_log("timestamp,probe_id,raw_count\n2026-06-01T00:00:00Z,nobody,5\n")
        .run(&["soil", ".", "--log"])
        .exits(2)
        .complains("log.csv:2: probe_id = \"nobody\"");
}
