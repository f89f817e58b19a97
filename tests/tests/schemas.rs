//! The JSON of every command follows the schema that is committed for it, whatever
//! comes of the command; so do its failures.

use calib_core::curve::CurveKind;
use ovendry_tests::{Answer, Bench, repository};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

fn folder() -> PathBuf {
    repository().join("calib-cli/schema")
}

/// The committed schemas by name, without the controller file's own.
fn committed() -> BTreeMap<String, String> {
    std::fs::read_dir(folder())
        .unwrap()
        .filter_map(|entry| {
            let entry = entry.unwrap();
            let name = entry.file_name().into_string().unwrap();
            let name = name.strip_suffix(".schema.json")?.to_owned();
            (name != "controller").then(|| (name, std::fs::read_to_string(entry.path()).unwrap()))
        })
        .collect()
}

/// The schemas, ready to hold documents against.
struct Documents {
    schemas: boon::Schemas,
    index: BTreeMap<String, boon::SchemaIndex>,
}

impl Documents {
    fn load() -> Self {
        let mut schemas = boon::Schemas::new();
        let mut compiler = boon::Compiler::new();
        let mut index = BTreeMap::new();
        for (name, text) in committed() {
            let schema: Value = serde_json::from_str(&text).unwrap();
            // Nothing is allowed beyond what is described.
            compiler.add_resource(&name, closed(schema)).unwrap();
            index.insert(name.clone(), compiler.compile(&name, &mut schemas).unwrap());
        }
        Self { schemas, index }
    }

    /// What speaks against `document` being one of this name.
    fn faults(&self, name: &str, document: &Value) -> Option<String> {
        let index = self.index.get(name).unwrap_or_else(|| panic!("{name}"));
        self.schemas
            .validate(document, *index)
            .err()
            .map(|error| format!("{error:#}"))
    }

    /// Checks the answer's exit code, and what it printed against the schema.
    #[track_caller]
    fn hold(&self, name: &str, answer: Answer, code: i32) -> Value {
        let command = answer.command.clone();
        let warnings = answer
            .stderr
            .lines()
            .filter(|line| line.starts_with("warning: "))
            .count();
        let document = answer.exits(code).json();
        if let Some(faults) = self.faults(name, &document) {
            panic!("{command}\n{faults}");
        }
        assert_eq!(document["format"], format!("ovendry {name}"), "{command}");
        let verdict = match code {
            0 => "good",
            1 => "unfit",
            _ => "faulty",
        };
        if name == "failure" {
            assert_eq!(document["exit_code"], code, "{command}");
        } else {
            assert_eq!(document["verdict"], verdict, "{command}");
        }
        // What standard error warns of stands in the document too, unless it failed.
        let told = document["warnings"].as_array().map_or(0, Vec::len);
        assert!(
            name == "failure" || told >= warnings,
            "{command}: {told} of {warnings} warnings"
        );
        document
    }
}

/// The schema with no other keys allowed than those described. Parts that are merged
/// with the keys of the object around them stay open.
fn closed(mut schema: Value) -> Value {
    let mut merged = BTreeSet::new();
    merged_parts(&schema, &mut merged);
    let parts = schema["$defs"].as_object_mut().into_iter().flatten();
    parts
        .filter(|(name, _)| !merged.contains(*name))
        .for_each(|(_, part)| close(part));
    close(&mut schema);
    schema
}

fn close(schema: &mut Value) {
    if schema.get("properties").is_some() {
        schema["unevaluatedProperties"] = Value::Bool(false);
    }
}

/// Names of the parts that are referred to from beside other keys.
fn merged_parts(schema: &Value, found: &mut BTreeSet<String>) {
    if let (Some(reference), Some(_)) = (schema.get("$ref"), schema.get("properties")) {
        let name = reference.as_str().unwrap().trim_start_matches("#/$defs/");
        found.insert(name.to_owned());
    }
    let parts = schema
        .as_object()
        .into_iter()
        .flat_map(|keys| keys.values());
    parts
        .chain(schema.as_array().into_iter().flatten())
        .for_each(|part| merged_parts(part, found));
}

/// The demo with everything that a season leaves, calibrated and exported.
fn calibrated() -> Bench {
    let bench = Bench::demo().with_demo(&[
        "log.csv",
        "weather.csv",
        "forty-probes.csv",
        "later-cores.csv",
        "spot-checks.csv",
    ]);
    bench.run(&["fit", ".", "--no-charts"]).exits(0);
    bench.run(&["export", "."]).exits(0);
    bench
}

#[test]
fn the_committed_schemas_are_those_that_the_program_prints() {
    let bench = Bench::empty();
    bench.run(&["schema", "--out", "now"]).exits(0);
    let now: BTreeMap<String, String> = bench
        .listing()
        .into_iter()
        .map(|path| {
            let name = path.strip_prefix("now/").unwrap();
            (
                name.strip_suffix(".schema.json").unwrap().to_owned(),
                bench.read(&path),
            )
        })
        .collect();
    let committed = committed();
    let names = |of: &BTreeMap<String, String>| of.keys().cloned().collect::<BTreeSet<_>>();
    assert_eq!(names(&now), names(&committed));
    for (name, text) in &now {
        assert_eq!(bench.run(&["schema", name]).exits(0).stdout, *text);
        assert!(
            *text == committed[name],
            "{name}: run `cargo run -p calib-cli -- schema --out calib-cli/schema --force` \
             and look at what changed"
        );
    }
    let listed = bench.run(&["schema"]).exits(0).stdout;
    let listed = listed.lines().filter_map(|line| line.split(' ').next());
    assert_eq!(
        listed.map(str::to_owned).collect::<BTreeSet<_>>(),
        names(&committed)
    );
    bench
        .run(&["schema", "fitt"])
        .exits(2)
        .complains("NAME = \"fitt\": is no document of this program");
}

#[test]
fn a_document_with_a_key_too_many_or_too_few_is_found_out() {
    let documents = Documents::load();
    let bench = Bench::demo();
    let good = bench.run(&["check", ".", "--json"]).exits(0).json();
    assert_eq!(documents.faults("check", &good), None);
    for name in ["format", "verdict", "problems"] {
        let mut less = good.clone();
        less.as_object_mut().unwrap().remove(name);
        assert!(documents.faults("check", &less).is_some(), "{name}");
    }
    let mut more = good.clone();
    more["mood"] = "fine".into();
    assert!(documents.faults("check", &more).is_some());
    let mut other = good;
    other["version"] = 2.into();
    assert!(documents.faults("check", &other).is_some());
}

#[test]
fn laying_out_and_checking_follow_their_schemas() {
    let documents = Documents::load();
    let bench = Bench::empty();
    documents.hold("start", bench.run(&["start", "a", "--json"]), 0);
    documents.hold("start", bench.run(&["start", "b", "--demo", "--json"]), 0);
    bench.put("c", "a file");
    documents.hold("failure", bench.run(&["start", "c", "--json"]), 2);
    documents.hold("check", bench.run(&["check", "a", "--json"]), 2);
    let good = documents.hold("check", bench.run(&["check", "b", "--json"]), 0);
    assert!(good["workbench"]["log_rows"].as_u64() > Some(0));
    documents.hold("check", bench.run(&["check", "nowhere", "--json"]), 2);
    // Semicolons, decimal commas and blanks are form only.
    bench.put(
        "b/samples.csv",
        bench
            .read("b/samples.csv")
            .replace(',', ";")
            .replace('.', ","),
    );
    for options in [&["--dry-run"][..], &[]] {
        let all = [&["check", "b", "--fix", "--json"], options].concat();
        let mended = documents.hold("check", bench.run(&all), 0);
        assert_eq!(mended["fix"]["written"], options.is_empty());
        assert_eq!(mended["fix"]["files"].as_array().map(Vec::len), Some(1));
    }
}

#[test]
fn calibrating_follows_its_schemas() {
    let documents = Documents::load();
    let bench = Bench::demo();
    documents.hold("calibrate", bench.run(&["calibrate", ".", "--json"]), 0);
    for probe in ["terrace-1", "orchard-1", "lowfield-1"] {
        let saved: Value =
            serde_json::from_str(&bench.read(&format!("out/{probe}.calibration.json"))).unwrap();
        assert_eq!(documents.faults("calibration", &saved), None);
    }
    let fit = |options: &[&str], unfit: bool| {
        let all = [&["fit", ".", "--no-charts", "--force", "--json"], options].concat();
        let answer = documents.hold("fit", bench.run(&all), i32::from(unfit));
        assert_eq!(
            answer["refused"].as_array().map(Vec::is_empty),
            Some(!unfit)
        );
    };
    // Three of the curves turn or end inside the counts of one of the demo's soils.
    let refused = [
        CurveKind::Quadratic,
        CurveKind::TwoSegment,
        CurveKind::InvertedLogistic,
    ];
    for curve in CurveKind::ALL {
        fit(&["--curve", curve.key()], refused.contains(&curve));
    }
    fit(&["--loss", "tukey", "--bootstrap", "50"], false);
    documents.hold("pair", bench.run(&["pair", ".", "--json"]), 0);
    let pairs = ["pair", ".", "--out", "pairs.csv", "--json"];
    documents.hold("pair", bench.run(&pairs), 0);
    bench.put("pairs.csv", "mine");
    documents.hold("failure", bench.run(&pairs), 2);
}

/// One core of the demo weighed wrong, by much: its probe is sure of nothing.
fn one_core_far_off(bench: &Bench) {
    let samples = bench.read("samples.csv");
    let changed = samples.replace("35.94,198.87,", "35.94,210.00,");
    assert_ne!(samples, changed);
    bench.put("samples.csv", changed);
}

#[test]
fn soils_and_set_points_follow_their_schemas() {
    let documents = Documents::load();
    let bench = calibrated();
    let hold = |name: &str, arguments: &[&str], code| {
        documents.hold(name, bench.run(&[arguments, &["--json"]].concat()), code)
    };
    hold("soil", &["soil", "."], 0);
    hold("soil", &["soil", ".", "--log", "--out", "charts"], 0);
    hold("soil", &["soil", "--texture", "loam"], 0);
    hold("soil", &["soil", "--sand", "40", "--clay", "20"], 0);
    hold("failure", &["soil", "--texture", "mud"], 2);
    hold("setpoints", &["setpoints", "."], 0);
    hold(
        "setpoints-explain",
        &["setpoints", ".", "--explain", "480"],
        0,
    );
    hold(
        "setpoints-explain",
        &["setpoints", ".", "--explain", "5"],
        0,
    );
    let marks = [
        "--explain",
        "35%",
        "--count-at-0",
        "900",
        "--count-at-100",
        "300",
    ];
    hold(
        "setpoints-explain",
        &[&["setpoints", "."][..], &marks].concat(),
        0,
    );
    hold("failure", &["setpoints", ".", "--explain", "wet"], 2);
    hold("failure", &["setpoints", ".", "--stage", "never"], 2);
}

#[test]
fn what_is_judged_unfit_follows_the_schemas_too() {
    let documents = Documents::load();
    let bench = Bench::demo();
    one_core_far_off(&bench);
    let fitted = bench.run(&["fit", ".", "--no-charts", "--json"]);
    documents.hold("fit", fitted, 0);
    documents.hold("setpoints", bench.run(&["setpoints", ".", "--json"]), 1);
    documents.hold("failure", bench.run(&["export", ".", "--json"]), 1);
    let whole = ["calibrate", ".", "--force", "--json"];
    let stopped = documents.hold("calibrate", bench.run(&whole), 1);
    assert!(stopped["export"].is_null(), "nothing was written");
}

#[test]
fn replay_follows_its_schema() {
    let documents = Documents::load();
    let bench = calibrated();
    let hold = |arguments: &[&str], code| {
        let all = [
            &["replay", ".", "--no-charts", "--seasons", "1", "--json"],
            arguments,
        ]
        .concat();
        let name = if code == 2 { "failure" } else { "replay" };
        documents.hold(name, bench.run(&all), code)
    };
    hold(&[], 0);
    hold(&["--probe", "terrace-1", "--threshold", "500"], 0);
    hold(&["--threshold", "500"], 2);
    hold(&["--log", "nowhere.csv"], 2);
}

#[test]
fn the_report_follows_its_schema() {
    let documents = Documents::load();
    let bench = calibrated();
    let batch = ["report", ".", "--batch", "forty-probes.csv", "--json"];
    let good = documents.hold("report", bench.run(&batch), 0);
    assert_eq!(good["ready"].as_array().map(Vec::len), Some(3));
    one_core_far_off(&bench);
    let again = ["report", ".", "--force", "--json"];
    documents.hold("report", bench.run(&again), 1);
    documents.hold("failure", bench.run(&["report", "nowhere", "--json"]), 2);
}

#[test]
fn controller_files_follow_their_schemas() {
    let documents = Documents::load();
    let bench = calibrated();
    let hold = |name: &str, arguments: &[&str], code| {
        documents.hold(name, bench.run(&[arguments, &["--json"]].concat()), code)
    };
    hold("failure", &["export", ".", "--out", "nowhere"], 2);
    let replaced = hold("export", &["export", ".", "--force"], 0);
    assert_eq!(replaced["written"].as_array().map(Vec::len), Some(17));
    let one = hold(
        "export",
        &["export", ".", "--force", "--probe", "terrace-1"],
        0,
    );
    assert_eq!(one["files"].as_array().map(Vec::len), Some(5));
    let read = hold(
        "verify",
        &[
            "verify",
            "out/fleet.json",
            "out/ovendry_reader.h",
            "--on",
            "2099-01-01",
        ],
        0,
    );
    assert_eq!(read["files"].as_array().map(Vec::len), Some(3));
    assert_eq!(read["readers"].as_array().map(Vec::len), Some(1));
    assert_eq!(read["warnings"].as_array().map(Vec::len), Some(3));
    bench.put("alone/terrace-1.h", bench.read("out/terrace-1.h"));
    hold("verify", &["verify", "alone/terrace-1.h"], 0);
    bench.put("ovendry_reader.h", "/* mine */");
    bench.put("broken.controller.json", "{}");
    let broken = hold(
        "verify",
        &[
            "verify",
            "out/terrace-1.h",
            "ovendry_reader.h",
            "broken.controller.json",
        ],
        2,
    );
    assert_eq!(broken["problems"].as_array().map(Vec::len), Some(2));
    assert_eq!(broken["files"].as_array().map(Vec::len), Some(1));
    let (old, new) = ("out/terrace-1.h", "out/terrace-1.sql");
    hold("compare", &["compare", old, new], 0);
    hold("compare", &["compare", old, "out/orchard-1.sql"], 1);
    hold(
        "compare",
        &["compare", "out/terrace-1.calibration.json", new],
        0,
    );
    hold("failure", &["compare", old, "nowhere.h"], 2);
    // Calibrated anew on other cores, the files no longer give the curve.
    one_core_far_off(&bench);
    bench.run(&["fit", ".", "--no-charts", "--force"]).exits(0);
    hold("verify", &["verify", "out/terrace-1.h"], 1);
    hold(
        "compare",
        &["compare", new, "out/terrace-1.calibration.json"],
        1,
    );
}

#[test]
fn the_studies_follow_their_schemas() {
    let documents = Documents::load();
    let bench = calibrated();
    let hold = |name: &str, arguments: &[&str], code| {
        let all = [arguments, &["--no-charts", "--force", "--json"]].concat();
        documents.hold(name, bench.run(&all), code)
    };
    hold("batch", &["batch", "forty-probes.csv"], 0);
    hold(
        "batch",
        &[
            "batch",
            "forty-probes.csv",
            "--target",
            "0.001",
            "--hourly-cost",
            "20",
        ],
        1,
    );
    hold("failure", &["batch", "nowhere.csv"], 2);
    hold(
        "accuracy",
        &["accuracy", ".", "later-cores.csv", "--target", "0.2"],
        0,
    );
    hold(
        "accuracy",
        &["accuracy", ".", "later-cores.csv", "--target", "0.001"],
        1,
    );
    hold(
        "accuracy",
        &["accuracy", ".", "--target", "0.2", "--bootstrap", "199"],
        0,
    );
    hold("failure", &["accuracy", ".", "."], 2);
    hold("drift", &["drift", ".", "spot-checks.csv"], 1);
    hold(
        "drift",
        &["drift", ".", "spot-checks.csv", "--probe", "orchard-1"],
        0,
    );
    hold(
        "failure",
        &["drift", ".", "later-cores.csv", "--probe", "none"],
        2,
    );
}

#[test]
fn every_command_says_as_json_why_it_failed() {
    let documents = Documents::load();
    let bench = Bench::small();
    bench.put(
        "readings.csv",
        bench.read("readings.csv").replace("raw_count", "raw,count"),
    );
    for command in [
        "calibrate",
        "fit",
        "pair",
        "accuracy",
        "batch",
        "setpoints",
        "replay",
        "export",
        "soil",
    ] {
        let told = documents.hold("failure", bench.run(&[command, "nowhere", "--json"]), 2);
        let problem = &told["problems"][0];
        assert!(
            problem["mend"]
                .as_str()
                .is_some_and(|mend| !mend.is_empty()),
            "{told}"
        );
        let slip = documents.hold("failure", bench.run(&[command, "--jsn", "--json"]), 2);
        assert_eq!(slip["problems"][0]["column"], "--jsn");
    }
    let told = documents.hold("failure", bench.run(&["fit", ".", "--json"]), 2);
    let problem = &told["problems"][0];
    assert!(
        problem["file"]
            .as_str()
            .is_some_and(|file| file.ends_with("readings.csv"))
    );
    assert!(problem["line"].is_number(), "{problem}");
    // Without --json nothing of it is on standard output.
    let plain = bench.run(&["fit", "."]).exits(2);
    assert_eq!(plain.stdout, "");
}

#[test]
fn plan_status_and_report_follow_their_schemas() {
    let documents = Documents::load();
    let bench = calibrated();
    let hold = |name: &str, arguments: &[&str], code| {
        documents.hold(name, bench.run(&[arguments, &["--json"]].concat()), code)
    };
    let few = ["--simulations", "20"];
    let plan = |more: &[&str]| hold("plan", &[&["plan", "."], more, &few].concat(), 0);
    plan(&["--start", "2026-11-30"]);
    let sheets = plan(&["--out", "plan"]);
    assert!(
        sheets["written"]
            .as_array()
            .is_some_and(|files| files.len() >= 2)
    );
    let loam = [
        "plan",
        "--texture",
        "loam",
        "--bulk-density",
        "1.4",
        "--container-ml",
        "5000",
    ];
    hold("plan", &[&loam[..], &few].concat(), 0);
    hold("plan-next", &["plan", ".", "--next"], 0);
    hold("failure", &["plan", ".", "--targets", "0.9"], 2);
    hold("report", &["report", ".", "--out", "page.html"], 0);
    hold("failure", &["report", ".", "--calibrations", "nowhere"], 2);
    hold("status", &["status"], 0);
    hold("status", &["status", ".", "--on", "2099-01-01"], 0);
    hold("failure", &["status", "nowhere"], 2);
    let empty = Bench::empty();
    documents.hold("status", empty.run(&["status", "--json"]), 0);
    one_core_far_off(&bench);
    let stale = hold("status", &["status"], 0);
    assert!(stale["calibrated"][0]["current"] == false, "{stale}");
    bench.run(&["fit", ".", "--no-charts", "--force"]).exits(0);
    hold("report", &["report", ".", "--out", "unfit.html"], 1);
}

#[test]
fn every_line_of_capture_follows_its_schema() {
    let documents = Documents::load();
    let bench = Bench::demo();
    let heard = "2026-06-01T08:00:00Z,terrace-1,512,17.2\n\
                 2026-06-01T08:01:00Z,terrace-1,51x,17.2\n\
                 2026-06-01T08:02:00Z,terrace-1,513,-127\n";
    bench.put("heard.csv", heard);
    let options = [
        "--file",
        "heard.csv",
        "--fields",
        "timestamp,probe_id,raw_count,soil_temp_c",
        "--to-end",
        "--into",
        "new.csv",
        "--json",
    ];
    let answer = bench
        .run(&[&["capture", "."][..], &options].concat())
        .exits(0);
    let mut events = BTreeSet::new();
    for line in answer.stdout.lines() {
        let event: Value = serde_json::from_str(line).unwrap();
        assert_eq!(documents.faults("capture", &event), None, "{line}");
        events.insert(event["event"].as_str().unwrap().to_owned());
    }
    for event in ["opened", "reading", "refused", "ended"] {
        assert!(events.contains(event), "{events:?}");
    }
    let gone = bench.run(&[
        "capture",
        ".",
        "--file",
        "nowhere.csv",
        "--json",
        "--to-end",
    ]);
    assert_eq!(gone.stdout.lines().count(), 1, "{}", gone.stdout);
    documents.hold("failure", gone, 2);
}
