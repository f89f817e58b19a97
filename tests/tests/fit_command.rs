//! `ovendry fit` on the demo data: what it prints, what it saves, what it leaves
//! alone.

use ovendry_tests::Bench;
use serde_json::Value;

/// The probes of the demo with their soils, in the order of its site.toml.
const PROBES: [(&str, &str); 3] = [
    ("terrace-1", "terrace"),
    ("orchard-1", "orchard"),
    ("lowfield-1", "lowfield"),
];
const CALIBRATION: &str = "out/terrace-1.calibration.json";

fn calibration(bench: &Bench, path: &str) -> Value {
    serde_json::from_str(&bench.read(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
}

#[test]
fn every_probe_of_the_demo_gets_a_calibration_and_its_charts() {
    let bench = Bench::demo();
    let inputs = bench.listing();
    let answer = bench.run(&["fit", "."]).exits(0);
    let mut expected = inputs;
    for (probe, soil) in PROBES {
        answer.clone().says(&format!(
            "Probe {probe} in {soil}: 21 cores at 7 moisture levels\n"
        ));
        for ending in [
            "calibration.json",
            "svg",
            "png",
            "residuals.svg",
            "residuals.png",
        ] {
            let path = format!("out/{probe}.{ending}");
            answer.clone().says(&format!("wrote {path}\n"));
            expected.push(path);
        }
        let saved = calibration(&bench, &format!("out/{probe}.calibration.json"));
        assert_eq!(saved["format"], "ovendry calibration");
        assert_eq!(saved["calibration"]["probe"], probe);
        assert_eq!(saved["calibration"]["soil"], soil);
        assert_eq!(saved["calibration"]["cores"], 21);
        let named: Vec<&str> = saved["sources"]
            .as_array()
            .unwrap()
            .iter()
            .map(|source| source["name"].as_str().unwrap())
            .collect();
        assert_eq!(named, ["site.toml", "samples.csv", "readings.csv"]);
    }
    expected.sort();
    assert_eq!(bench.listing(), expected);
    // What was noticed goes to standard error and stays out of the report.
    assert!(answer.stderr.contains("warning: probe orchard-1: core "));
    assert!(!answer.stdout.contains("warning"), "{}", answer.stdout);
}

#[test]
fn the_same_data_give_the_same_bytes_and_need_no_force() {
    let bench = Bench::demo();
    bench.run(&["fit", "."]).exits(0);
    let before = bench.contents();
    bench.run(&["fit", "."]).exits(0);
    assert!(bench.contents() == before, "a second run changed a file");
}

#[test]
fn machines_get_everything_a_person_reads_and_nothing_else_on_standard_output() {
    let bench = Bench::demo();
    let json = bench
        .run(&["fit", ".", "--no-charts", "--json"])
        .exits(0)
        .json();
    assert_eq!(json["format"], "ovendry fit");
    assert_eq!(json["version"], 1);
    assert_eq!(json["refused"].as_array().unwrap().len(), 0);
    assert_eq!(json["cores"].as_array().unwrap().len(), 63);
    assert!(!json["warnings"].as_array().unwrap().is_empty());
    let written = PROBES.map(|(probe, _)| format!("out/{probe}.calibration.json"));
    assert_eq!(json["written"], serde_json::json!(written));
    let probes = json["probes"].as_array().unwrap();
    assert_eq!(probes.len(), PROBES.len());
    for (report, (probe, _)) in probes.iter().zip(PROBES) {
        assert_eq!(report["calibration"]["probe"], probe);
        assert_eq!(report["residuals"].as_array().unwrap().len(), 21);
        assert_eq!(report["explanation"].as_array().unwrap().len(), 2);
        assert!(report["equation"].is_string() && report["temperature"].is_object());
        let parameters = report["parameters"].as_array().unwrap().len();
        assert_eq!(report["correlation"].as_array().unwrap().len(), parameters);
        let chosen = report["candidates"].as_array().unwrap().iter();
        let chosen: Vec<_> = chosen.filter(|c| c["standing"] == "chosen").collect();
        assert_eq!(chosen.len(), 1);
        assert_eq!(chosen[0]["kind"], report["calibration"]["curve"]["kind"]);
        // Each prediction's budget makes up its uncertainty.
        for prediction in report["predictions"].as_array().unwrap() {
            let squares: f64 = prediction["budget"]["lines"]
                .as_array()
                .unwrap()
                .iter()
                .map(|line| line["u"].as_f64().unwrap().powi(2))
                .sum();
            let standard = prediction["expanded"]["standard"].as_f64().unwrap();
            assert!((standard - squares.sqrt()).abs() < 1e-12, "{prediction:#}");
        }
    }
    // The file holds what was printed.
    assert_eq!(
        probes[0]["calibration"],
        calibration(&bench, CALIBRATION)["calibration"]
    );
}

#[test]
fn a_curve_asked_for_is_taken_and_said_to_be() {
    let bench = Bench::demo();
    bench
        .run(&["fit", ".", "--no-charts", "--curve", "straight-line"])
        .exits(0)
        .says("You asked for the straight line");
    for (probe, _) in PROBES {
        let saved = calibration(&bench, &format!("out/{probe}.calibration.json"));
        assert_eq!(saved["calibration"]["curve"]["kind"], "straight-line");
    }
}

#[test]
fn a_curve_that_is_not_on_offer_is_answered_with_those_that_are() {
    let bench = Bench::demo();
    bench
        .run(&["fit", ".", "--curve", "circle"])
        .exits(2)
        .complains("straight-line")
        .complains("exponential");
    assert!(!bench.path().join("out").exists());
}

#[test]
fn one_probe_can_be_fitted_alone() {
    let bench = Bench::demo();
    let answer = bench
        .run(&["fit", ".", "--no-charts", "--probe", "orchard-1"])
        .exits(0);
    assert_eq!(answer.stdout.matches("wrote ").count(), 1);
    assert!(
        bench
            .listing()
            .contains(&"out/orchard-1.calibration.json".to_owned())
    );
}

#[test]
fn a_probe_that_is_not_there_is_answered_with_those_that_are() {
    let bench = Bench::demo();
    let answer = bench.run(&["fit", ".", "--probe", "orchard-2"]).exits(2);
    assert_eq!(answer.stdout, "");
    assert_eq!(
        answer.stderr,
        "error: command line: --probe = \"orchard-2\": is no probe with cores\n  \
         mend: did you mean orchard-1? If not, choose one of: terrace-1, orchard-1, lowfield-1\n"
    );
    assert!(!bench.path().join("out").exists());
}

#[test]
fn results_of_other_data_are_kept_unless_forced() {
    let bench = Bench::demo();
    bench.run(&["fit", "."]).exits(0);
    let samples = bench.read("samples.csv");
    let slip = samples.replacen("188.", "187.", 1);
    assert_ne!(samples, slip);
    bench.put("samples.csv", slip);
    let before = bench.contents();
    let answer = bench.run(&["fit", "."]).exits(2);
    assert_eq!(answer.stdout, "");
    assert_eq!(
        answer.stderr,
        format!(
            "error: {CALIBRATION}: exists already with other content, from other input or options\n  \
             mend: add --force to replace it, or choose another folder with --out\n"
        )
    );
    assert!(bench.contents() == before, "a file was changed");
    bench.run(&["fit", ".", "--out", "elsewhere"]).exits(0);
    bench.run(&["fit", ".", "--force"]).exits(0);
    assert_ne!(bench.contents()[CALIBRATION], before[CALIBRATION]);
    assert_eq!(
        bench.read(CALIBRATION),
        bench.read("elsewhere/terrace-1.calibration.json")
    );
}

#[test]
fn a_foreign_file_in_the_way_stops_every_file_and_others_are_let_be() {
    let bench = Bench::demo()
        .with("out/lowfield-1.png", "a photograph")
        .with("out/notes.txt", "mine");
    let before = bench.contents();
    bench
        .run(&["fit", "."])
        .exits(2)
        .complains("error: out/lowfield-1.png: exists already with other content");
    assert!(bench.contents() == before, "a file was written");
    bench.run(&["fit", ".", "--force"]).exits(0);
    assert_eq!(bench.read("out/notes.txt"), "mine");
    assert_ne!(
        bench.contents()["out/lowfield-1.png"],
        before["out/lowfield-1.png"]
    );
}

#[test]
fn a_spreadsheets_export_gives_the_same_calibration() {
    let plain = Bench::demo();
    let exported = Bench::demo();
    for table in ["samples.csv", "readings.csv"] {
        let text = with_decimal_commas(&exported.read(table));
        exported.put(table, text);
    }
    for bench in [&plain, &exported] {
        bench.run(&["fit", ".", "--no-charts"]).exits(0);
    }
    for (probe, _) in PROBES {
        let path = format!("out/{probe}.calibration.json");
        let [one, other] = [&plain, &exported].map(|bench| calibration(bench, &path));
        assert_eq!(one["calibration"], other["calibration"]);
        assert_eq!(one["explanation"], other["explanation"]);
        assert_ne!(one["sources"], other["sources"]);
    }
}

/// As a spreadsheet of a country with decimal commas exports it: byte order
/// mark, semicolons, CRLF.
fn with_decimal_commas(text: &str) -> String {
    let rows = text.lines().map(|line| {
        let cells = line.split(',').map(|cell| match cell.parse::<f64>() {
            Ok(_) => cell.replace('.', ","),
            Err(_) => cell.to_owned(),
        });
        cells.collect::<Vec<_>>().join(";") + "\r\n"
    });
    format!("\u{feff}{}", rows.collect::<String>())
}

#[test]
fn faults_of_several_probes_are_all_told() {
    let bench = Bench::demo();
    let site = bench.read("site.toml");
    let turned = site
        .replace(
            "counts_when_wetter = \"fall\"",
            "counts_when_wetter = \"x\"",
        )
        .replace(
            "counts_when_wetter = \"rise\"",
            "counts_when_wetter = \"fall\"",
        )
        .replace(
            "counts_when_wetter = \"x\"",
            "counts_when_wetter = \"rise\"",
        );
    assert_ne!(site, turned);
    bench.put("site.toml", turned);
    let answer = bench.run(&["fit", "."]).exits(2);
    let told = answer.stderr.matches("counts_when_wetter = ").count();
    assert!(told >= 2, "{}", answer.stderr);
    assert_eq!(answer.stderr.matches("error: ").count(), told);
    assert!(!bench.path().join("out").exists());
}

#[test]
fn what_is_stated_of_supply_and_probes_reaches_fit_calibration_and_set_points() {
    let bench = Bench::demo();
    let site = bench.read("site.toml");
    let keys = "adc_bits = 10\nsupply_relative_u = 0.003\nprobe_to_probe_counts = 6\n";
    let stated = site.replacen("adc_bits = 10\n", keys, 1);
    assert_ne!(stated, site);
    bench.put("site.toml", stated);
    let fit = bench.run(&["fit", ".", "--no-charts"]).exits(0);
    fit.clone()
        .says("One new reading of any probe of this type in this soil")
        .says("probe_to_probe_counts = 6 in site.toml: the +- holds for any probe")
        .says("One new reading of this probe in this soil")
        .says("differences between probes")
        .says("  of which incomplete drying");
    let saved = &calibration(&bench, CALIBRATION)["calibration"];
    assert_eq!(saved["supply_relative_u"], 0.003);
    assert_eq!(saved["probe_to_probe"], 6.0);
    let budget = bench.run(&["setpoints", ".", "--json"]).exits(0);
    for source in ["supply-reference", "probe-to-probe"] {
        assert_eq!(budget.stdout.matches(source).count(), 2, "{source}");
    }
    bench.run(&["export", "."]).exits(0);
    bench
        .run(&["verify", "out/terrace-1.controller.json"])
        .exits(0);
}

#[test]
fn the_draws_stand_beside_first_order_at_every_count() {
    let bench = Bench::demo();
    let answer = bench.run(&["fit", ".", "--no-charts", "--json"]).exits(0);
    let json = answer.json();
    for probe in json["probes"].as_array().unwrap() {
        for reading in probe["predictions"].as_array().unwrap() {
            let number = |of: &Value| of.as_f64().unwrap();
            let draws = &reading["by_draws"];
            assert_eq!(draws["settled"], true, "{draws}");
            let verdict = &draws["validation"];
            let farthest = number(&verdict["low"]).max(number(&verdict["high"]));
            assert_eq!(verdict["valid"], farthest <= 5e-4, "{draws}");
            assert!(farthest < 2e-3, "{draws}");
            let (low, high) = (number(&draws["low"]), number(&draws["high"]));
            let expanded = number(&reading["expanded"]["expanded"]);
            let apart = (low - (number(&reading["theta_v"]) - expanded)).abs();
            assert!((apart - number(&verdict["low"])).abs() < 1e-12);
            assert!((0.5 * (high - low) / expanded - 1.0).abs() < 0.05);
            let line = |lines: &Value, keep: &dyn Fn(&Value) -> bool| -> f64 {
                let lines = lines["lines"].as_array().unwrap().iter();
                lines
                    .filter(|l| keep(l))
                    .map(|l| number(&l["u"]).powi(2))
                    .sum()
            };
            let whole = line(&reading["budget"], &|l| l["source"] == "curve-parameters");
            let parts = line(&reading["parameters_by_source"], &|_| true);
            assert!((parts / whole - 1.0).abs() < 1e-9, "{reading}");
        }
    }
}
