//! `ovendry verify` as a person runs it: on whole, damaged, outdated and foreign
//! files, and on a fleet.

use calib_cli::controller::{FORMATS, render, render_fleet};
use calib_core::controller::ControllerTable;
use ovendry_tests::Bench;
use ovendry_tests::controller::{Recipe, calibration_file, example, format, table, worked_example};
use serde_json::Value;

/// A bench with the files of one calibration, and that calibration changed by
/// `change` beside them.
fn bench(change: impl Fn(&mut calib_core::calibration::Calibration)) -> Bench {
    let mut calibration = Recipe::default().calibration("north");
    let bench = Bench::empty();
    let table = table(&calibration).unwrap();
    for format in FORMATS {
        bench.put(&format.file_name("north"), render(format, &table));
    }
    change(&mut calibration);
    bench.put("north.calibration.json", calibration_file(&calibration));
    bench
}

#[test]
fn verify_finds_files_the_same_as_the_calibration_beside_them() {
    let answer = bench(|_| {})
        .run(&[
            "verify",
            "north.controller.json",
            "north.h",
            "--on",
            "2026-04-02",
        ])
        .exits(0);
    let answer = answer
        .says("north.controller.json: sound JSON, version 2, table_crc32")
        .says("north.h: sound C header")
        .says("gives the curve of north.calibration.json at every code")
        .says("stated bound 0.0006 m3/m3");
    assert_eq!(answer.stderr, "");
}

#[test]
fn verify_says_where_a_file_differs_most_from_a_changed_curve() {
    bench(|calibration| calibration.curve.parameters[0] += 0.021)
        .run(&["verify", "north.h"])
        .exits(1)
        .says("does NOT give the curve of north.calibration.json")
        .says("the table reads drier")
        .says("stated bound 0.0006 m3/m3")
        .says("do not load it; run `ovendry export`");
}

#[test]
fn verify_sees_a_narrowed_domain_and_a_lost_temperature_term() {
    bench(|calibration| calibration.domain.low += 40.0)
        .run(&["verify", "north.h"])
        .exits(1)
        .says("readings only the table answers");
    bench(|calibration| calibration.temperature = None)
        .run(&["verify", "north.h"])
        .exits(1)
        .says("does NOT give the curve");
    bench(|calibration| calibration.temperature_range = Some((5.0, 30.0)))
        .run(&["verify", "north.h"])
        .exits(1)
        .says("readings only the curve answers");
}

#[test]
fn verify_without_a_calibration_checks_the_file_alone() {
    Bench::empty()
        .with("a.h", render(format("C header"), &example()))
        .run(&["verify", "a.h"])
        .exits(0)
        .says("probe bench-3 in soil test bed; calibrated 2025-04-02, check again by 2026-04-02")
        .says("start at theta_v 0.1690 m3/m3 (532 counts), stop at 0.2440 m3/m3 (443 counts)")
        .says("no calibration was given and none lies beside it");
}

#[test]
fn verify_warns_of_a_calibration_that_is_due_again() {
    bench(|_| {})
        .run(&["verify", "north.h", "north.table.csv", "--on", "2026-04-03"])
        .exits(0)
        .complains("north.h: probe north was to be checked again by 2026-04-02")
        .complains("calibrate again");
}

#[test]
fn verify_compares_every_probe_of_a_fleet_with_the_calibration_beside_it() {
    let bench = bench(|_| {});
    let north = table(&Recipe::default().calibration("north")).unwrap();
    bench.put("fleet.json", render_fleet(&[example(), north]));
    bench
        .run(&["verify", "fleet.json"])
        .exits(0)
        .says("fleet.json: sound fleet, version 2")
        .says("probe bench-3 in soil test bed")
        .says("gives the curve of north.calibration.json at every code");
    bench
        .run(&[
            "verify",
            "fleet.json",
            "--calibration",
            "north.calibration.json",
        ])
        .exits(0)
        .says("gives the curve of north.calibration.json at every code");
    bench.put("fleet.json", render_fleet(&[example()]));
    bench
        .run(&[
            "verify",
            "fleet.json",
            "--calibration",
            "north.calibration.json",
        ])
        .exits(2)
        .complains("holds no table of probe north");
}

#[test]
fn verify_reports_as_json() {
    let json = bench(|_| {})
        .run(&["verify", "--json", "north.h", "north.controller.json"])
        .exits(0)
        .json();
    assert_eq!(json["verdict"], "good");
    assert_eq!(json["files"][0]["format"], "C header");
    assert_eq!(
        json["files"][0]["table_crc32"],
        json["files"][1]["table_crc32"]
    );
    assert_eq!(json["files"][0]["recheck_by"], "2026-04-02");
    assert_eq!(json["files"][0]["pump"]["maximum_on_s"], 2700);
    assert!(json["files"][0]["set_points"]["refill_count"].is_u64());
    let compared = &json["files"][0]["calibration"];
    assert_eq!(compared["within_bound"], true);
    assert_eq!(compared["only_table_answers"], Value::Null);
    let difference = compared["largest_difference"]["difference_theta_v"]
        .as_f64()
        .unwrap();
    assert!(difference.abs() <= json["files"][0]["bound_theta_v"].as_f64().unwrap());
}

#[test]
fn verify_refuses_a_damaged_file_and_still_reports_the_others() {
    let bench = bench(|_| {});
    bench.put(
        "north.h",
        bench.read("north.h").replace("probe: ", "Probe: "),
    );
    bench
        .run(&["verify", "north.h", "north.controller.json"])
        .exits(2)
        .says("north.controller.json: sound JSON")
        .complains("error: north.h: its CRC-32 is stated as")
        .complains("mend: do not load it; copy it again, or export it again");
}

#[test]
fn verify_knows_the_reader_in_c_and_a_changed_one() {
    let reader = format("C header").companion().unwrap();
    let bench = bench(|_| {}).with(reader.file_name, reader.text);
    bench
        .run(&["verify", "north.h", "ovendry_reader.h"])
        .exits(0)
        .says("ovendry_reader.h: the reader of version 2, as this program writes it");
    let changed = reader.text.replace("AT_MINIMUM_ON)", "AT_MINIMUM_OFF)");
    assert_ne!(changed, reader.text);
    bench.put("ovendry_reader.h", changed);
    bench
        .run(&["verify", "north.h", "ovendry_reader.h"])
        .exits(2)
        .complains("ovendry_reader.h: is not the reader this program writes");
}

#[test]
fn verify_refuses_what_is_no_controller_file() {
    let bench = bench(|_| {}).with("notes.txt", "hello").with("empty.h", "");
    bench
        .run(&["verify", "notes.txt"])
        .exits(2)
        .complains("notes.txt: is no kind of controller file this program knows");
    bench
        .run(&["verify", "empty.h"])
        .exits(2)
        .complains("empty.h: does not end with its CRC-32");
    bench
        .run(&["verify", "absent.h"])
        .exits(2)
        .complains("absent.h: cannot be read");
    bench
        .run(&["verify", "north.calibration.json"])
        .exits(2)
        .complains("is a calibration, not a controller file");
    bench.run(&["verify"]).exits(2);
}

#[test]
fn verify_refuses_to_compare_with_another_probe() {
    bench(|_| {})
        .with("a.h", render(format("C header"), &example()))
        .run(&["verify", "a.h", "--calibration", "north.calibration.json"])
        .exits(2)
        .complains("a.h: is for probe bench-3 in soil test bed, but north.calibration.json holds probe north");
}

#[test]
fn verify_notices_two_files_of_one_probe_that_differ() {
    let mut newer = worked_example();
    newer.timing.maximum_on_s += 60;
    let newer = ControllerTable::check(newer).unwrap();
    Bench::empty()
        .with("a.h", render(format("C header"), &example()))
        .with("b.controller.json", render(format("JSON"), &newer))
        .run(&["verify", "a.h", "b.controller.json"])
        .exits(1)
        .says("a.h and b.controller.json are of the same probe but hold different tables");
}
