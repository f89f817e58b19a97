//! `ovendry fit --bootstrap`: the curve fitted again and again, beside first order.

use ovendry_tests::Bench;
use serde_json::Value;
use std::time::{Duration, Instant};

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[test]
fn a_person_reads_three_intervals_of_the_curve_and_what_to_do() {
    let bench = Bench::demo();
    let run = |arguments: &[&str]| {
        let common = ["fit", ".", "--no-charts", "--force"];
        bench.run(&[&common[..], arguments].concat()).exits(0)
    };
    let asked = ["--bootstrap", "2000", "--probe", "terrace-1"];
    let text = run(&asked)
        .says("The curve itself: its 95 % interval, three ways")
        .says("parametric bootstrap  bootstrap of cores")
        .says("seed\n101.")
        .says("nothing is to be done")
        .stdout;
    assert_eq!(text, run(&asked).stdout);
    // A row for each of the counts of the new readings.
    let rows_after = |heading: &str| -> Vec<String> {
        let table = text.split(heading).nth(1).unwrap();
        let rows = table.lines().skip_while(|line| !line.starts_with("---"));
        let counts = rows.skip(1).take(7);
        counts
            .map(|row| row.split_whitespace().next().unwrap().to_owned())
            .collect()
    };
    assert_eq!(
        rows_after("The curve itself"),
        rows_after("One new reading")
    );
    let unasked = run(&["--probe", "terrace-1"]).stdout;
    assert!(!unasked.contains("bootstrap"), "{unasked}");
    // Too few to place the ends: said, with how many would do.
    run(&["--bootstrap", "40", "--probe", "terrace-1"])
        .says("Do not trust the parametric bootstrap: 40 replicates are too few");
}

#[test]
fn machines_get_the_same_and_another_seed_draws_otherwise() {
    let bench = Bench::demo();
    let report = |seed: &str| {
        let json = bench
            .run(&[
                "fit",
                ".",
                "--no-charts",
                "--force",
                "--json",
                "--probe",
                "lowfield-1",
                "--bootstrap",
                "2000",
                "--seed",
                seed,
            ])
            .exits(0)
            .json();
        json["probes"][0].clone()
    };
    let first = report("101");
    let bootstrap = &first["bootstrap"];
    let rows = bootstrap["first_order"].as_array().unwrap();
    for kind in ["parametric", "cases"] {
        let drawn = &bootstrap[kind];
        assert_eq!(drawn["resampling"], kind);
        assert_eq!(drawn["replicates"], 2000);
        assert_eq!(drawn["without_fit"], 0);
        assert_eq!(drawn["seed"], 101);
        assert_eq!(drawn["trusted"], true);
        let intervals = drawn["intervals"].as_array().unwrap();
        assert_eq!(intervals.len(), rows.len());
        for (row, interval) in rows.iter().zip(intervals) {
            assert_eq!(row["count"], interval["count"]);
            let (theta, half) = (number(&row["theta_v"]), number(&row["expanded"]));
            let (low, high) = (number(&interval["low"]), number(&interval["high"]));
            assert!(low < theta && theta < high);
            // A straight line: drawn about it, the interval is that of first order,
            // give or take what 1000 replicates are worth.
            if kind == "parametric" {
                assert!((high - low) / (2.0 * half) > 0.85, "{row} {interval}");
                assert!((high - low) / (2.0 * half) < 1.15, "{row} {interval}");
            }
        }
    }
    assert!(bootstrap["remark"].is_string());
    assert_eq!(first, report("101"));
    let other = report("102");
    assert_eq!(other["bootstrap"]["first_order"], bootstrap["first_order"]);
    for kind in ["parametric", "cases"] {
        assert_ne!(other["bootstrap"][kind], bootstrap[kind]);
    }
    let seed = &other["predictions"][0]["by_draws"]["seed"];
    assert_eq!(seed, 102);
}

#[test]
fn long_work_draws_nothing_where_no_terminal_is_and_no_number_is_refused() {
    let bench = Bench::demo();
    bench
        .run(&["fit", ".", "--no-charts", "--bootstrap", "0"])
        .exits(2)
        .complains("--bootstrap");
    assert!(!bench.path().join("out").exists());
    let long = ["fit", ".", "--no-charts", "--probe", "orchard-1"];
    let begun = Instant::now();
    let quiet = bench.run(&[&long[..], &["--bootstrap", "100000"]].concat());
    assert!(
        begun.elapsed() > Duration::from_secs(1),
        "longer than a bar waits, or this shows nothing: {:?}",
        begun.elapsed()
    );
    assert_eq!(
        quiet.exits(0).stderr,
        bench.run(&[&long[..], &["--force"]].concat()).stderr
    );
}
