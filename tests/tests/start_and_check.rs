//! Laying out a workbench and checking it, as a person meets the two commands.

use ovendry_tests::Bench;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

#[test]
fn a_blank_workbench_says_what_is_still_to_fill_in() {
    let bench = Bench::empty();
    bench
        .run(&["start", "field"])
        .exits(0)
        .says("wrote field/site.toml\n")
        .says("A drying oven at 105 C burns")
        .says("Local codes")
        .says("next: ovendry check field");
    assert_eq!(
        bench.listing(),
        [
            "field/README.txt",
            "field/readings.csv",
            "field/samples.csv",
            "field/site.toml"
        ]
    );
    bench
        .run(&["check", "field"])
        .exits(2)
        .says("field/site.toml: 2 problems\n")
        .says("field/samples.csv:1: holds a header and no rows")
        .says("will ask for more of site.toml")
        .says("bulk_density_g_cm3 of soil");
}

#[test]
fn the_demo_is_clean_and_says_that_it_is_invented() {
    let bench = Bench::empty();
    bench
        .run(&["start", "demo", "--demo"])
        .exits(0)
        .says("invented data")
        .says("Do not irrigate by it");
    let explained = bench.read("demo/README.txt");
    assert!(
        explained.starts_with("This folder is the demo: "),
        "{explained}"
    );
    assert!(explained.contains("count_low_medium"), "{explained}");
    bench
        .run(&["check", "demo"])
        .exits(0)
        .says("3 soils, 3 probes")
        .says("63 cores")
        .says("756 readings")
        .says("next: ovendry calibrate demo");
}

#[test]
fn starting_twice_changes_nothing_and_force_overwrites() {
    let bench = Bench::empty();
    bench.run(&["start", "field"]).exits(0);
    bench.run(&["start", "field"]).exits(0);
    bench.put("field/samples.csv", "my own cores");
    bench
        .run(&["start", "field"])
        .exits(2)
        .complains("field: holds samples.csv already");
    assert_eq!(bench.read("field/samples.csv"), "my own cores");
    bench.run(&["start", "field", "--force"]).exits(0);
    assert!(bench.read("field/samples.csv").starts_with("sample_id,"));
}

#[test]
fn check_as_json_carries_every_problem_in_its_parts() {
    let bench = Bench::small();
    let clean = bench.run(&["check", ".", "--json"]).exits(0).json();
    assert_eq!(clean["problems"].as_array().map(Vec::len), Some(0));
    assert_eq!(clean["workbench"]["cores"], 6);

    bench.put(
        "samples.csv",
        bench.read("samples.csv").replace("38.10", "NaN"),
    );
    let faulty = bench.run(&["check", ".", "--json"]).exits(2).json();
    let problem = &faulty["problems"][0];
    assert_eq!(problem["file"], "samples.csv");
    assert_eq!(problem["line"], 3);
    assert_eq!(problem["column"], "tare_g");
    assert_eq!(problem["value"], "NaN");
    assert_eq!(problem["what"], "stands for no number");
    assert!(problem["mend"].is_string());
}

#[test]
fn check_looks_at_what_set_points_will_ask_of_the_site() {
    // Measured 0.05, and loam spends its water above that by every source.
    let bench = Bench::small();
    let site = bench.read("site.toml");
    let dry = site
        .replace("field_capacity = 0.29\n", "field_capacity = 0.05\n")
        .replace("wilting_point = 0.13\n", "");
    bench.put("site.toml", &dry);
    let told = |bench: &Bench| {
        let answer = bench.run(&["check", "."]).exits(2);
        answer.stdout.matches("soil loam: ").count()
    };
    assert_eq!(told(&bench), 1);
    // Without a pump nobody asks.
    let (without, _) = dry.split_once("[controller]").unwrap();
    bench.put("site.toml", without);
    bench.run(&["check", "."]).exits(0);
}

#[test]
fn check_looks_at_how_cores_and_readings_go_together_too() {
    let bench = Bench::demo();
    let clean = bench.run(&["check", ".", "--json"]).exits(0).json();
    let warned = &clean["warnings"][0];
    assert_eq!(warned["place"], "probe orchard-1");
    assert!(warned["advice"].is_string());

    // A core weighed while still losing water, and one nobody logged for.
    let samples = bench.read("samples.csv");
    let readings = bench.read("readings.csv");
    bench.put(
        "samples.csv",
        samples.replace("186.04,186.03", "186.04,185.03"),
    );
    let kept = readings
        .lines()
        .filter(|row| !row.ends_with("lowfield-L7c"));
    bench.put("readings.csv", kept.collect::<Vec<_>>().join("\n"));
    let faulty = bench.run(&["check", ".", "--json"]).exits(2).json();
    let problems = faulty["problems"].as_array().unwrap();
    assert_eq!(problems.len(), 2, "{problems:#?}");
    assert_eq!(problems[0]["line"], 3);
    assert_eq!(problems[0]["column"], "dry_again_g");
    assert_eq!(problems[0]["value"], "185.03");
    assert_eq!(problems[1]["column"], "sample_id");
    assert_eq!(problems[1]["value"], "lowfield-L7c");
    assert_eq!(faulty["workbench"], serde_json::Value::Null);
    assert_eq!(faulty["warnings"], clean["warnings"], "warnings are kept");
}

#[test]
fn one_mistake_in_every_row_is_told_a_few_times_and_then_counted() {
    // Without ids and a year off, no core finds its readings.
    let bench = Bench::demo();
    let readings = bench.read("readings.csv");
    let shifted = readings.replace("2026-", "2025-");
    let untagged = shifted.lines().map(|row| match row.rsplit_once(',') {
        Some((rest, id)) if id != "sample_id" => format!("{rest},"),
        _ => row.to_owned(),
    });
    bench.put("readings.csv", untagged.collect::<Vec<_>>().join("\n"));
    bench
        .run(&["check", "."])
        .exits(2)
        .says("63 problems of 1 kind in 1 file; nothing was changed\n\nsamples.csv: 63 problems of 1 kind\n")
        .says("  likewise in 58 more lines: 7-64\n  mend: ");
}

#[test]
fn a_column_of_ones_own_is_a_warning_and_stops_nothing() {
    let bench = Bench::small();
    bench.put(
        "samples.csv",
        bench.read("samples.csv").replace(",note", ",weighed_by"),
    );
    bench
        .run(&["check", "."])
        .exits(0)
        .says("warning: samples.csv:1: the column `weighed_by` is not one this program reads\n")
        .says("no problems\n");
}

#[test]
fn garbled_files_are_refused_and_never_crash_the_program() {
    let mut random = ChaCha8Rng::seed_from_u64(20_261_125);
    let spoilers = b"\"\"\",;\n\r\t\0.-=[]#\xff\xc3e9";
    for round in 0..150 {
        let bench = Bench::small();
        let name = ["site.toml", "samples.csv", "readings.csv"][round % 3];
        let mut bytes = bench.read(name).into_bytes();
        for _ in 0..random.random_range(1..6) {
            let at = random.random_range(0..bytes.len());
            match random.random_range(0..3) {
                0 => bytes[at] = spoilers[random.random_range(0..spoilers.len())],
                1 => bytes.insert(at, spoilers[random.random_range(0..spoilers.len())]),
                _ => bytes.truncate(at.max(1)),
            }
        }
        bench.put(name, &bytes);
        let answer = bench.run(&["check", "."]);
        assert!(
            matches!(answer.code, Some(0 | 2)),
            "round {round}: {:?}\n{}\n--- {name}\n{}",
            answer.code,
            answer.stderr,
            String::from_utf8_lossy(&bytes)
        );
    }
}

/// Log and weather of the season are looked at with the rest, where they are there.
#[test]
fn a_fault_in_the_seasons_files_is_told_beside_those_of_the_cores() {
    let bench = Bench::small()
        .with(
            "log.csv",
            "timestamp,probe_id,raw_count,pump_on\n2026-06-01T00:00:00Z,P1,512,1\n",
        )
        .with(
            "weather.csv",
            "date,evapotranspiration_mm\n2026-06-01,4.5\n2026-06-02,3\n",
        );
    bench
        .run(&["check", "."])
        .exits(0)
        .says("log.csv       1 row")
        .says("weather.csv   2 days");
    bench.put(
        "log.csv",
        "timestamp,probe_id,raw_count,pump_on\n2026-06-01T00:00:00Z,P1,512,on\n",
    );
    bench.put(
        "weather.csv",
        "date,evapotranspiration_mm\n2026-06-01,450\n",
    );
    let samples = bench.read("samples.csv").replacen("178.28", "17.828", 1);
    bench.put("samples.csv", samples);
    bench
        .run(&["check", "."])
        .exits(2)
        .says("log.csv:2: pump_on = \"on\": is neither 0 nor 1")
        .says("weather.csv:2: evapotranspiration_mm = \"450\"")
        .says("samples.csv")
        .says("3 problems in 3 files");
}
