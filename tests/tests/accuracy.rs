//! `ovendry accuracy` and `ovendry pair` as a person runs them: on the demo, whose
//! truth is known, on cores that were fitted, and on tables made to miss.

use ovendry_tests::{Bench, demo, repository};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::sync::OnceLock;

/// The demo, calibrated once, with its tables of pairs.
fn calibrated() -> Bench {
    static FILES: OnceLock<BTreeMap<String, Vec<u8>>> = OnceLock::new();
    let files = FILES.get_or_init(|| demo_and_fit().contents());
    files.iter().fold(Bench::empty(), |bench, (name, bytes)| {
        bench.with(name, bytes)
    })
}

fn demo_and_fit() -> Bench {
    let bench =
        Bench::demo().with_demo(&["forty-probes.csv", "later-cores.csv", "spot-checks.csv"]);
    bench.run(&["fit", ".", "--no-charts"]).exits(0);
    bench
}

#[test]
fn later_cores_of_the_demo_meet_the_target_and_the_figures_are_those_of_the_samples() {
    let bench = calibrated();
    let answer = bench
        .run(&["accuracy", ".", "later-cores.csv", "--json", "--no-charts"])
        .exits(0)
        .json();
    assert_eq!(answer["target"], 0.03);
    assert_eq!(answer["target_is_assumed"], true);
    let parts = answer["parts"].as_array().unwrap();
    assert_eq!(parts.len(), 4, "three probes and all together");
    for part in &parts[..3] {
        let pairs = part["pairs"].as_array().unwrap();
        assert_eq!(pairs.len(), demo::PLACES.0 * demo::PLACES.1);
        // Reckoned again from the readings that are told beside.
        let differences: Vec<f64> = pairs
            .iter()
            .map(|pair| {
                pair["reading"].as_f64().unwrap() - pair["reference"]["value"].as_f64().unwrap()
            })
            .collect();
        let n = differences.len() as f64;
        let bias = differences.iter().sum::<f64>() / n;
        let rmse = (differences.iter().map(|d| d * d).sum::<f64>() / n).sqrt();
        let measures = &part["study"]["measures"];
        assert!((measures["bias"].as_f64().unwrap() - bias).abs() < 1e-12);
        assert!((measures["rmse"].as_f64().unwrap() - rmse).abs() < 1e-12);
        // The truth: scatter of cores and places, and a little of the curve.
        let plots = demo::plots();
        let probe = part["whose"]["probe"].as_str().unwrap();
        let plot = plots.iter().find(|plot| plot.probe == probe).unwrap();
        let truth = plot.scatter.hypot(demo::PLACE_SD);
        assert!(
            (0.5..1.5).contains(&(rmse / truth)),
            "{probe}: {rmse} of {truth}"
        );
        let within = differences.iter().filter(|d| d.abs() <= 0.03).count();
        assert_eq!(part["study"]["class"]["target"]["within"], within);
    }
}

#[test]
fn the_verdict_comes_first_and_every_word_of_the_table_is_explained_once() {
    let bench = calibrated();
    let answer = bench
        .run(&["accuracy", ".", "later-cores.csv", "--probe", "orchard-1"])
        .exits(0)
        .says("Of 24 readings of this probe, 24 are within 0.03 m3/m3 of what the oven says\n")
        .says("The target is met, if differences are\nnormally distributed: with 95 % confidence at least 90 % of readings are.")
        .says("The 24 readings come from 8 places")
        .says("The target of 0.03 m3/m3 is assumed; name your own with --target.\n");
    assert!(answer.stdout.is_ascii());
    assert!(answer.stdout.starts_with("Probe orchard-1 in orchard\n"));
    for word in ["RMSE", "R2", "Nash-Sutcliffe", "Lin's concordance", "slope"] {
        let explained = answer
            .stdout
            .lines()
            .filter(|line| line.starts_with(&format!("  {word}  ")));
        assert_eq!(explained.count(), 1, "{word}");
    }
    assert_eq!(
        bench
            .listing()
            .iter()
            .filter(|name| name.starts_with("out/orchard-1.accuracy"))
            .count(),
        4
    );
    // The same again changes nothing; another target is not drawn over it unasked.
    bench
        .run(&["accuracy", ".", "later-cores.csv", "--probe", "orchard-1"])
        .exits(0);
    let before = bench.contents();
    bench
        .run(&[
            "accuracy",
            ".",
            "later-cores.csv",
            "--probe",
            "orchard-1",
            "--target",
            "0.025",
        ])
        .exits(0)
        .complains("was left as it is");
    assert!(bench.contents() == before, "a chart was changed");
}

#[test]
fn a_target_that_is_missed_or_not_settled_is_exit_code_1() {
    let bench = calibrated();
    let run = |target| {
        bench.run(&[
            "accuracy",
            ".",
            "later-cores.csv",
            "--no-charts",
            "--target",
            target,
        ])
    };
    run("0.01")
        .exits(1)
        .says("  Probe terrace-1 in terrace: not settled\n")
        .says("more places like these would settle the target.");
    run("0.002").exits(1).says("The target is missed");
}

#[test]
fn a_core_that_was_fitted_is_refused_by_name_and_by_its_values() {
    let bench = calibrated();
    bench.run(&["pair", ".", "--out", "pairs.csv"]).exits(0);
    let before = bench.contents();
    let mend = "mend: test on cores that were not fitted";
    bench
        .run(&["accuracy", ".", "pairs.csv"])
        .exits(2)
        .complains("pairs.csv:2: sample_id = \"terrace-L1a\": was fitted")
        .complains(mend);
    // Under other names, they are told by their values.
    let renamed = bench.read("pairs.csv").replace("-L", "-core-");
    bench.put("renamed.csv", renamed);
    bench
        .run(&["accuracy", ".", "renamed.csv"])
        .exits(2)
        .complains("renamed.csv:2: sample_id = \"terrace-core-1a\": has the count and the water content of core terrace-L1a")
        .complains(mend);
    // One among many independent ones.
    let later = bench.read("later-cores.csv");
    bench.put(
        "one.csv",
        later.replacen("orchard-later-3b,", "orchard-L4b,", 1),
    );
    bench
        .run(&["accuracy", ".", "one.csv"])
        .exits(2)
        .complains("sample_id = \"orchard-L4b\": has the name of a core that was fitted");
    // One of many digits under another name, and one of few.
    let pairs = bench.read("pairs.csv");
    let fitted = pairs.lines().nth(4).unwrap();
    let cells: Vec<&str> = fitted.split(',').collect();
    let theta: f64 = cells[4].parse().unwrap();
    for (name, theta, code) in [
        ("digits.csv", cells[4].to_owned(), 2),
        ("few.csv", format!("{theta:.4}"), 0),
    ] {
        let row = [
            "unheard-of",
            cells[1],
            cells[2],
            cells[3],
            &theta,
            "0.001",
            "0.5",
            "15.0",
            "",
            "2026-09-11",
            "0.0057",
            "",
        ];
        bench.put(name, format!("{later}{}\n", row.join(",")));
        bench
            .run(&["accuracy", ".", name, "--no-charts"])
            .exits(code)
            .complains("unheard-of")
            .complains(cells[0]);
    }
    for name in ["renamed.csv", "one.csv", "digits.csv", "few.csv"] {
        std::fs::remove_file(bench.path().join(name)).unwrap();
    }
    assert!(bench.contents() == before, "a file was changed");
}

#[test]
fn without_independent_cores_each_is_foretold_by_the_others() {
    let bench = Bench::demo();
    let answer = bench
        .run(&["accuracy", ".", "--no-charts"])
        .says("Probe terrace-1 in terrace, cores left out by turns\n")
        // Lowfield's counts rise; two soils are too few to judge by.
        .says("A soil that was never sampled\n")
        .says("The target is not settled: 2 soils are too few to judge")
        .complains("the counts of lowfield-1 in lowfield move the other way")
        .says("The exit code rests on the 3 verdicts at the top")
        .says("No independent cores were given.")
        // The driest and the wettest of each probe lie beyond the others.
        .says(" more had no value.")
        .exits(0);
    assert!(
        !answer.stderr.contains("give no curve"),
        "{}",
        answer.stderr
    );
    // One probe a soil: nothing can be said of another probe there.
    assert!(!answer.stdout.contains("A probe that was never calibrated"));
    let only = bench
        .run(&[
            "accuracy",
            ".",
            "--probe",
            "terrace-1",
            "--no-charts",
            "--json",
        ])
        .exits(0)
        .json();
    assert_eq!(only["parts"].as_array().map(Vec::len), Some(1));
    assert_eq!(only["parts"][0]["how"], "core-left-out");
}

#[test]
fn many_probes_share_a_report_and_the_outlying_one_stands_out() {
    // Eight of the forty, to be quick.
    let path = repository().join("demo-data/forty-probes.csv");
    let eight: String = std::fs::read_to_string(path)
        .unwrap()
        .lines()
        .filter(|line| {
            let probe = line.split(',').nth(2).unwrap();
            probe == "probe_id" || ("silt-A08".."silt-A16").contains(&probe)
        })
        .map(|line| format!("{line}\n"))
        .collect();
    let bench = Bench::empty().with("eight.csv", eight);
    let answer = bench
        .run(&["accuracy", "eight.csv", "--json", "--bootstrap", "199"])
        .exits(0)
        .json();
    let parts = answer["parts"].as_array().unwrap();
    let hows: Vec<_> = parts
        .iter()
        .map(|part| part["how"].as_str().unwrap())
        .collect();
    assert_eq!(hows, ["core-left-out", "probe-left-out"]);
    let strata = parts[1]["study"]["strata"].as_array().unwrap();
    let worst = strata
        .iter()
        .filter(|stratum| stratum["division"] == "probe")
        .max_by(|a, b| {
            let of = |s: &serde_json::Value| s["measures"]["rmse"].as_f64().unwrap();
            of(a).total_cmp(&of(b))
        })
        .unwrap();
    assert_eq!(worst["name"], demo::OUTLYING.0);
    // A probe's own curve knows its offset and gain; that of the others does not.
    let rmse = |part: usize| parts[part]["study"]["measures"]["rmse"].as_f64().unwrap();
    assert!(rmse(1) > 2.0 * rmse(0), "{} and {}", rmse(1), rmse(0));
    assert!(
        bench
            .listing()
            .contains(&"out/all.left-out-line.png".to_owned())
    );
    // One probe far from the rest: counting is what can be trusted.
    bench
        .run(&["accuracy", "eight.csv", "--bootstrap", "199", "--no-charts"])
        .says("do not look normal")
        .says("Counted, at least ");
}

#[test]
fn cores_of_assumed_uncertainty_take_nothing_off_the_probe() {
    let bench = calibrated();
    let later = bench.read("later-cores.csv");
    let column = later
        .lines()
        .next()
        .unwrap()
        .split(',')
        .position(|name| name == "theta_v_u");
    let mut stripped = String::new();
    for line in later.lines() {
        let cells = line.split(',').enumerate();
        let kept: Vec<&str> = cells
            .filter(|(i, _)| Some(*i) != column)
            .map(|(_, c)| c)
            .collect();
        writeln!(stripped, "{}", kept.join(",")).unwrap();
    }
    bench.put("bare.csv", stripped);
    bench
        .run(&["accuracy", ".", "bare.csv", "--no-charts"])
        .exits(0)
        .says("The cores state no uncertainty of their own: all differences are laid to\n")
        .complains("theta_v_u is empty in 72 of 72 rows");
}

#[test]
fn pairs_of_another_soil_or_probe_are_left_out_and_said() {
    let bench = calibrated();
    let later = bench.read("later-cores.csv");
    let moved = later.replace(",terrace,terrace-1,", ",slope,terrace-1,");
    bench.put("moved.csv", moved);
    bench
        .run(&["accuracy", ".", "moved.csv", "--no-charts"])
        .exits(0)
        .complains("moved.csv: 24 pairs have no saved calibration: terrace-1 in slope");
    bench
        .run(&["accuracy", ".", "forty-probes.csv"])
        .exits(2)
        .complains("forty-probes.csv: holds no core beside a calibrated probe in its soil");
    bench
        .run(&["accuracy", ".", "later-cores.csv", "--probe", "silt-A01"])
        .exits(2)
        .complains("choose one of: lowfield-1, orchard-1, terrace-1");
}

#[test]
fn too_few_cores_are_refused_with_a_mend() {
    let bench = calibrated();
    let later = bench.read("later-cores.csv");
    let two: String = later
        .lines()
        .take(3)
        .map(|line| format!("{line}\n"))
        .collect();
    bench.put("two.csv", two);
    bench
        .run(&["accuracy", ".", "two.csv"])
        .exits(2)
        .complains("take more cores beside the probe, each at another place");
    // The orchard's and the terrace's calibrations need a temperature.
    let cold: String = later
        .lines()
        .filter(|line| line.contains("_id") || line.contains(",terrace-1,"))
        .map(|line| {
            let mut cells: Vec<&str> = line.split(',').collect();
            if cells[7] != "soil_temp_c" {
                cells[7] = "";
            }
            format!("{}\n", cells.join(","))
        })
        .collect();
    bench.put("cold.csv", cold);
    bench
        .run(&["accuracy", ".", "cold.csv"])
        .exits(2)
        .complains("cold.csv: Probe terrace-1 in terrace: none of its 24 readings has a value: ")
        .complains("mend: give each core the soil temperature beside its count");
}

#[test]
fn fewer_than_eight_cores_settle_no_target_and_it_is_said() {
    let bench = calibrated();
    let later = bench.read("later-cores.csv");
    let mut lines = later.lines();
    let header = lines.next().unwrap();
    let place = header.split(',').position(|name| name == "place").unwrap();
    let alone: Vec<String> = lines
        .filter(|line| line.contains(",orchard-1,"))
        .map(|line| {
            let mut cells: Vec<&str> = line.split(',').collect();
            cells[place] = "";
            cells.join(",")
        })
        .collect();
    for few in [3, 5, 7] {
        bench.put(
            "few.csv",
            format!("{header}\n{}\n", alone[..few].join("\n")),
        );
        bench
            .run(&["accuracy", ".", "few.csv", "--no-charts"])
            .exits(1)
            .says(&format!(
                "The target is not settled: {few} cores are too few to judge"
            ));
    }
    bench.put("few.csv", format!("{header}\n{}\n", alone[..8].join("\n")));
    bench
        .run(&["accuracy", ".", "few.csv", "--no-charts"])
        .says("if differences are")
        .says("By counting\nalone at least 68.7 % are.");
}

#[test]
fn readings_outside_the_calibrated_temperatures_or_counts_are_told_with_the_numbers() {
    let bench = calibrated();
    let later = bench.read("later-cores.csv");
    bench
        .run(&[
            "accuracy",
            ".",
            "later-cores.csv",
            "--no-charts",
            "--probe",
            "lowfield-1",
        ])
        .complains(
            "of 24 readings lie outside the soil temperatures of its calibration, 13.7 to 14.4 C",
        )
        .complains("it has no temperature term");
    let only = |change: &dyn Fn(&mut Vec<String>)| -> String {
        later
            .lines()
            .enumerate()
            .filter(|(i, line)| *i == 0 || line.contains(",terrace-1,"))
            .map(|(i, line)| {
                let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
                if i > 0 {
                    change(&mut cells);
                }
                cells.join(",") + "\n"
            })
            .collect()
    };
    bench.put("hot.csv", only(&|cells| cells[7] = "45".to_owned()));
    bench
        .run(&["accuracy", ".", "hot.csv", "--no-charts"])
        .complains("24 of 24 readings lie outside the soil temperatures")
        .complains("at 45.0 C")
        .complains("its temperature term is carried beyond where it was seen");
    bench.put("out.csv", only(&|cells| cells[3] = "90".to_owned()));
    bench
        .run(&["accuracy", ".", "out.csv", "--no-charts"])
        .exits(2)
        .complains("none of its 24 readings has a value: counts from 90.0 to 90.0; ");
}

#[test]
fn a_file_of_pairs_is_no_calibrated_workbench() {
    let bench = calibrated();
    bench
        .run(&["accuracy", "forty-probes.csv", "later-cores.csv"])
        .exits(2)
        .complains("forty-probes.csv: is a file: DIR must be the workbench folder")
        .complains("leave AGAINST away");
}

#[test]
fn a_largest_error_is_read_alike_by_accuracy_batch_and_drift() {
    let bench = Bench::empty();
    for command in [
        ["accuracy", ".", "--target"].as_slice(),
        &["batch", ".", "--target"],
        &["batch", ".", "--margin"],
        &["drift", ".", "x.csv", "--allow"],
    ] {
        for (slip, told) in [
            ("0,03", "write it with a point: 0.03 for 0,03"),
            (
                "2",
                "write it as a share of the volume, in m3/m3: 0.02 for 2 %",
            ),
            ("-0.03", "above 0 and at most 0.5"),
        ] {
            bench
                .run(&[command, &[slip]].concat())
                .exits(2)
                .complains(told);
        }
    }
}

#[test]
fn ranges_are_cut_where_asked_and_the_seed_gives_the_same_answer() {
    let bench = calibrated();
    let run = |seed: &str| {
        let arguments = [
            "accuracy",
            ".",
            "later-cores.csv",
            "--probe",
            "terrace-1",
            "--no-charts",
            "--by",
            "moisture=0.15",
            "--by",
            "temperature=14,20",
            "--bootstrap",
            "499",
            "--seed",
            seed,
        ];
        bench.run(&arguments).exits(0)
    };
    let one = run("7").says("to 0.150").says("14.0 to 20.0");
    assert_eq!(one.stdout, run("7").stdout);
    assert_ne!(one.stdout, run("8").stdout);
    bench
        .run(&["accuracy", ".", "later-cores.csv", "--target", "3"])
        .exits(2)
        .complains("write it as a share of the volume, in m3/m3: 0.03 for 3 %");
    bench
        .run(&["accuracy", ".", "later-cores.csv", "--by", "moisture=15"])
        .exits(2)
        .complains("cuts of moisture are in m3/m3");
}

#[test]
fn pair_writes_a_table_that_is_not_replaced_unasked() {
    let bench = Bench::demo();
    let shown = bench.run(&["pair", "."]).exits(0);
    assert!(
        shown
            .stdout
            .starts_with("sample_id,soil,probe_id,raw_count,theta_v,")
    );
    assert_eq!(shown.stdout.lines().count(), 64);
    bench
        .run(&["pair", ".", "--out", "pairs.csv"])
        .exits(0)
        .says("wrote pairs.csv: 63 pairs of 63 cores and 3 probes\n");
    assert_eq!(bench.read("pairs.csv"), shown.stdout);
    bench.put("pairs.csv", "mine");
    bench
        .run(&["pair", ".", "--out", "pairs.csv"])
        .exits(2)
        .complains("exists already");
    assert_eq!(bench.read("pairs.csv"), "mine");
    bench
        .run(&["pair", ".", "--out", "pairs.csv", "--force"])
        .exits(0);
    bench
        .run(&["pair", "pairs.csv"])
        .exits(2)
        .complains("is not a folder");
}
