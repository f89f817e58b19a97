//! `ovendry drift`: whether a calibration still holds, on a line simple enough to follow by
//! hand and on the demo data, whose truth is known; what is left out, and what is refused.

use calib_core::calibration::Direction;
use ovendry_tests::straight_line::{bench, calibration, saved};
use ovendry_tests::{Bench, repository};
use serde_json::Value;

const HEADER: &str =
    "sample_id,soil,probe_id,raw_count,theta_v,theta_v_u,count_u,taken_at,core_volume_relative_u\n";

/// Checks a month apart whose oven is above the line by `departures`.
fn checks(departures: &[f64]) -> String {
    let mut text = HEADER.to_owned();
    for (i, departure) in departures.iter().enumerate() {
        let count = [420, 610, 350, 505][i % 4];
        let theta = 0.25 - 0.001 * (f64::from(count) - 500.0) + departure;
        let (year, month) = (2026 + (i + 5) / 12, (i + 5) % 12 + 1);
        text += &format!(
            "c{},upper,upper-1,{count},{theta:.4},0.001,0.5,{year}-{month:02}-15,0.01\n",
            i + 1
        );
    }
    text
}

const QUIET: [f64; 8] = [0.004, -0.006, 0.007, -0.002, 0.003, -0.005, 0.0, 0.002];

fn drift<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&["drift", ".", "checks.csv"], more].concat()
}

#[test]
fn a_calibration_whose_checks_agree_still_holds() {
    let bench = bench().with("checks.csv", checks(&QUIET));
    let answer = bench
        .run(&drift(&[]))
        .exits(0)
        .says("Probe upper-1 in upper: the calibration of 2026-05-01 STILL HOLDS.")
        .says("Dig the next core by 2028-01-15: one core a year at least, though that chance stays below 5 in 100 until then.")
        .says("Without another check that chance ")
        .says("Probe - oven: + reads too wet; 95 of 100 lie between from and to")
        .says("(the head start: ")
        .says("any false alarm within 12 checks: at most 5 in 100")
        .says("Take care:")
        // Nothing to see whether a check was used in the fit.
        .complains("the cores the calibrations were made from cannot be read there");
    assert!(answer.stdout.is_ascii());
    let json = bench
        .run(&drift(&["--json", "--no-charts"]))
        .exits(0)
        .json();
    assert_eq!(json["format"], "ovendry drift");
    let probe = &json["probes"][0];
    assert_eq!(probe["standing"], "holds");
    assert_eq!(probe["test"]["alarm"], Value::Null);
    let rows = probe["checks"].as_array().unwrap();
    assert_eq!(rows.len(), QUIET.len());
    for (row, departure) in rows.iter().zip(QUIET) {
        assert!((row["probe_less_oven"].as_f64().unwrap() + departure).abs() < 1e-9);
    }
    // Refill and stop of the site are among the places.
    let names: Vec<&str> = probe["update"]["places"]
        .as_array()
        .unwrap()
        .iter()
        .map(|place| place["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["refill", "stop"]);
    assert!(json["cautions"].as_array().unwrap().len() > 5);
    assert!(
        bench
            .listing()
            .contains(&"out/upper-1.drift.png".to_owned())
    );
}

#[test]
fn a_step_of_forty_thousandths_raises_an_alarm_and_exit_code_one() {
    let mut all = QUIET[..5].to_vec();
    all.extend(QUIET[..4].iter().map(|departure| departure + 0.04));
    let bench = bench().with("checks.csv", checks(&all));
    bench
        .run(&drift(&["--no-charts"]))
        .exits(1)
        .says("NO LONGER HOLDS")
        .says("raised the alarm: the probe reads too dry, most likely since some time between 2026-10-15 and 2026-11-15 (by ")
        .says("Do not leave a pump to the old calibration.");
    let json = bench
        .run(&drift(&["--no-charts", "--json"]))
        .exits(1)
        .json();
    let probe = &json["probes"][0];
    assert_eq!(probe["test"]["alarm"]["side"], "too-dry");
    let offset = &probe["update"]["offset"];
    let of = |key: &str| offset[key].as_f64().unwrap();
    assert!(of("low") < -0.04 && -0.04 < of("high"), "{offset}");
    // Where much is allowed, the same alarm is no reason to stop.
    bench
        .run(&drift(&["--no-charts", "--allow", "0.08"]))
        .exits(0)
        .says("HAS DRIFTED, more likely within what is allowed than not");
}

#[test]
fn the_same_seed_gives_the_same_answer_and_an_old_chart_is_kept() {
    let bench = bench().with("checks.csv", checks(&QUIET));
    let first = bench.run(&drift(&[])).exits(0);
    let before = bench.contents();
    let second = bench.run(&drift(&[])).exits(0);
    assert_eq!(first.stdout, second.stdout);
    assert_eq!(bench.contents(), before);
    // The saved verdict is the latest; charts are kept.
    let charts = || {
        let mut all = bench.contents();
        all.retain(|name, _| !name.ends_with(".drift.json"));
        all
    };
    let before = charts();
    bench
        .run(&drift(&["--allow", "0.03"]))
        .exits(0)
        .complains("exists already with other content");
    assert_eq!(charts(), before);
    let verdict: Value = serde_json::from_str(&bench.read("out/upper-1.drift.json")).unwrap();
    assert_eq!(verdict["allow_theta_v"], 0.03);
    bench.run(&drift(&["--allow", "0.03", "--force"])).exits(0);
    assert_ne!(charts(), before);
}

#[test]
fn a_core_that_says_nothing_is_left_out_with_a_mend() {
    let mut text = checks(&QUIET[..2]);
    text += "early,upper,upper-1,500,0.25,0.001,0.5,2026-04-02,0.01\n";
    text += "timeless,upper,upper-1,500,0.25,0.001,0.5,,0.01\n";
    text += "dry,upper,upper-1,900,0.02,0.001,0.5,2026-09-02,0.01\n";
    let bench = bench().with("checks.csv", text);
    bench
        .run(&drift(&["--no-charts"]))
        .exits(1)
        .says("TOO FEW CHECKS to say whether the calibration of 2026-05-01 still holds.")
        .says("So far 2 checks count; 1 more is needed.")
        .complains("core early beside probe upper-1: is left out: it was taken before the calibration was made")
        .complains("core timeless beside probe upper-1: is left out: it is not known when it was taken")
        .complains("core dry beside probe upper-1: is left out: count 900.0 lies outside the calibrated 300.0 to 700.0")
        .complains("write when the core was taken in taken_at");
    // Nothing was judged, so nothing is saved.
    let verdict = "out/upper-1.drift.json".to_owned();
    assert!(!bench.listing().contains(&verdict));
}

#[test]
fn what_cannot_be_done_is_refused_with_a_mend() {
    let bench = bench().with("checks.csv", checks(&QUIET));
    bench
        .run(&drift(&["--allow", "0"]))
        .exits(2)
        .complains("'--allow <M3/M3>': give a water content in m3/m3, above 0");
    bench
        .run(&drift(&["--probe", "lower-1"]))
        .exits(2)
        .complains("choose one of: upper-1");
    bench.put("checks.csv", checks(&QUIET).replace("upper-1", "other-1"));
    bench
        .run(&drift(&[]))
        .exits(2)
        .complains("checks.csv: holds no core of a calibrated probe in its soil")
        .complains("dig cores beside one of: upper-1 in upper");
    bench.run(&["drift", ".", "nowhere.csv"]).exits(2);
    assert!(!bench.listing().iter().any(|name| name.ends_with(".png")));
}

#[test]
fn a_core_of_the_calibration_is_refused_by_name_and_by_its_figures() {
    let bench = Bench::small();
    bench.run(&["fit", ".", "--no-charts"]).exits(0);
    bench
        .run(&["drift", ".", "."])
        .exits(2)
        .complains("was used in the calibration of probe")
        .complains("check with cores dug after the calibration");
    bench.run(&["pair", ".", "--out", "renamed.csv"]).exits(0);
    let (header, rows) = {
        let text = bench.read("renamed.csv");
        let (header, rows) = text.split_once('\n').expect("a header");
        (header.to_owned(), rows.to_owned())
    };
    let place = header
        .split(',')
        .position(|column| column == "sample_id")
        .expect("sample_id");
    let renamed: String = rows
        .lines()
        .map(|row| {
            let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
            cells[place] = format!("new-{}", cells[place]);
            cells.join(",") + "\n"
        })
        .collect();
    bench.put("renamed.csv", format!("{header}\n{renamed}"));
    bench
        .run(&["drift", ".", "renamed.csv"])
        .exits(2)
        .complains("sample_id = \"new-")
        .complains("was used in the calibration of probe");
}

#[test]
fn the_one_demo_probe_that_drifts_is_found_and_the_others_hold() {
    let bench = Bench::demo();
    bench.run(&["fit", ".", "--no-charts"]).exits(0);
    let checks = std::fs::read(repository().join("demo-data/spot-checks.csv")).expect("checks");
    bench.put("checks.csv", checks);
    let answer = bench
        .run(&drift(&[]))
        .exits(1)
        .says("at least one of them raises an alarm here would be 14 in 100");
    assert!(answer.stderr.is_empty(), "{}", answer.stderr);
    assert_eq!(answer.stdout.matches("STILL HOLDS").count(), 2);
    assert_eq!(answer.stdout.matches("NO LONGER HOLDS").count(), 1);
    let json = bench.run(&drift(&["--json"])).exits(1).json();
    let drifted: Vec<&Value> = json["probes"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|probe| probe["standing"] == "no-longer-holds")
        .collect();
    let alarm = &drifted[0]["test"]["alarm"];
    // It starts to drift when winter comes.
    assert!(alarm["date"].as_str().unwrap() > "2026-12-01", "{alarm}");
    bench
        .run(&drift(&["--probe", "orchard-1", "--no-charts"]))
        .exits(0)
        .says("Probe orchard-1 in orchard: the calibration of");
}

#[test]
fn one_wrong_core_is_named_and_no_call_to_calibrate_anew() {
    let mut departures = [QUIET.as_slice(), &QUIET[..2]].concat();
    departures[4] += 0.118;
    let bench = bench().with("checks.csv", checks(&departures));
    let answer = bench
        .run(&drift(&["--no-charts"]))
        .exits(1)
        .says("ONE CHECK ALONE speaks against the calibration of 2026-05-01.")
        .says("Check 5 alone is off by 0.121 m3/m3 (")
        .says(" s.d.): look at its weighing and its label; dig another core.")
        .says("It is core c5 of 2026-10-15; beside it the probe reads too dry.")
        .says("until then the exit code is 1")
        .says("ALARM, off alone");
    assert!(!answer.stdout.contains("Calibrate anew now"));
    assert!(
        !answer.stdout.contains("much more than"),
        "{}",
        answer.stdout
    );
    let json = bench
        .run(&drift(&["--no-charts", "--json"]))
        .exits(1)
        .json();
    let probe = &json["probes"][0];
    assert_eq!(probe["standing"], "one-check-off");
    let one = &probe["test"]["one_check_off"];
    assert_eq!(
        (&one["check"], &one["later_agree"]),
        (&Value::from(5), &Value::from(true))
    );
    assert!(one["off"].as_f64().unwrap() < -0.1);
    // As the last check it may be drift: another core has to tell.
    bench.put("checks.csv", checks(&departures[..5]));
    bench
        .run(&drift(&["--no-charts"]))
        .exits(1)
        .says("dig another core at once; until then it is open whether this core is wrong or the calibration is gone")
        .says("The 4 checks before it raised no alarm.");
    // The next core says the same: the calibration is gone.
    let mut gone = departures[..6].to_vec();
    gone[5] += 0.118;
    bench.put("checks.csv", checks(&gone));
    bench
        .run(&drift(&["--no-charts"]))
        .exits(1)
        .says("NO LONGER HOLDS");
}

#[test]
fn checks_that_do_not_count_end_with_exit_code_two_and_one_complaint_a_reason() {
    let dateless: String = checks(&QUIET)
        .lines()
        .map(|line| {
            let mut cells: Vec<&str> = line.split(',').collect();
            if cells[0] != "sample_id" {
                cells[7] = "";
            }
            cells.join(",") + "\n"
        })
        .collect();
    let bench = bench().with("checks.csv", dateless.clone());
    let complaint = "no check counts: 8 cores (c1, c2, c3 and 5 more) are left out: it is not known when they were taken";
    let answer = bench
        .run(&drift(&["--no-charts"]))
        .exits(2)
        .complains(complaint);
    assert_eq!(answer.stderr.matches("not known when").count(), 1);
    assert!(!answer.stdout.contains("chance"));
    let year_before = checks(&QUIET)
        .replace(",2026-", ",2025-")
        .replace(",2027-", ",2025-");
    bench.put("checks.csv", year_before);
    bench
        .run(&drift(&["--no-charts"]))
        .exits(2)
        .complains("are left out: they were taken before the calibration was made");
    // Beside one good check, one warning for all the others.
    let good = checks(&QUIET[..1])
        .lines()
        .nth(1)
        .unwrap()
        .replace("c1,", "good,");
    bench.put("checks.csv", format!("{dateless}{good}\n"));
    let answer = bench
        .run(&drift(&["--no-charts"]))
        .exits(1)
        .says("So far 1 check counts; 2 more are needed.")
        .complains("8 cores (c1, c2, c3 and 5 more): are left out: it is not known");
    assert!(!answer.stdout.contains("The chance that it is off"));
    assert_eq!(answer.stderr.matches("taken_at").count(), 1);
}

#[test]
fn probes_without_a_check_are_one_warning() {
    let bench = bench().with("checks.csv", checks(&QUIET));
    for probe in ["b-1", "b-2", "b-3", "b-4"] {
        let calibration = calibration(probe, "upper", Direction::FallsWhenWetter);
        bench.put(
            &format!("out/{probe}.calibration.json"),
            saved(&calibration),
        );
    }
    let answer = bench
        .run(&drift(&["--no-charts"]))
        .exits(0)
        .complains("4 probes (b-1, b-2, b-3 and 1 more): have no core in checks.csv");
    assert_eq!(answer.stderr.matches("have no core").count(), 1);
}
