//! `ovendry` alone and `ovendry status`: where one is and what is next, followed from
//! an empty folder to the next check.

use ovendry_tests::Bench;

/// Runs the status of `folder` and gives the step and the command named.
fn next(bench: &Bench, folder: &str, on: &str) -> (String, String) {
    let answer = bench.run(&["status", folder, "--json", "--on", on]);
    let json = answer.exits(0).json();
    let text = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
    (text(&json["step"]), text(&json["next"]["command"]))
}

const DAY: &str = "2026-06-01";

#[test]
fn from_an_empty_folder_each_command_named_leads_to_the_next_step() {
    let bench = Bench::empty();
    bench
        .run(&[])
        .exits(0)
        .says("next: ovendry start my-garden\n")
        .says("All commands: ovendry --help");
    bench.run(&["start", "my-garden"]).exits(0);
    bench
        .run(&[])
        .exits(0)
        .says("next: ovendry status my-garden\n")
        .says("holds no workbench, but my-garden does");
    let at = |step: &str, command: &str| {
        let expected = (step.to_owned(), command.to_owned());
        assert_eq!(next(&bench, "my-garden", DAY), expected);
    };
    at("site-to-fill-in", "ovendry check my-garden");
    bench.put(
        "my-garden/site.toml",
        Bench::small().read("site.toml").as_bytes(),
    );
    let (step, _) = next(&bench, "my-garden", DAY);
    assert_eq!(step, "to-plan");
    let small = Bench::small();
    let samples = small.read("samples.csv");
    let unweighed: String = samples
        .replace(",178.28,178.27,", ",,,")
        .replace(",190.08,178.52,", ",190.08,,");
    bench.put("my-garden/samples.csv", &unweighed);
    bench.put("my-garden/readings.csv", small.read("readings.csv"));
    at("weighing", "ovendry check my-garden");
    bench.put("my-garden/samples.csv", samples.replace("184.45", "x"));
    at("to-mend", "ovendry check my-garden");
    bench.put("my-garden/samples.csv", &samples);
    at("to-calibrate", "ovendry calibrate my-garden");
    bench.run(&["fit", "my-garden", "--no-charts"]).exits(0);
    at("to-export", "ovendry export my-garden");
    bench.run(&["export", "my-garden"]).exits(0);
    let (step, _) = next(&bench, "my-garden", DAY);
    assert_eq!(step, "done");
    let (step, command) = next(&bench, "my-garden", "2040-01-01");
    assert_eq!(step, "check-due");
    assert_eq!(command, "ovendry drift my-garden my-garden/spot-checks.csv");

    let site = bench.read("my-garden/site.toml");
    let drier = site.replace("allowed_depletion = 0.3", "allowed_depletion = 0.5");
    assert_ne!(drier, site);
    bench.put("my-garden/site.toml", drier);
    at("export-outdated", "ovendry export my-garden --force");
    bench.run(&["export", "my-garden", "--force"]).exits(0);
    bench.put("my-garden/samples.csv", samples.replace("184.45", "184.46"));
    at("calibration-stale", "ovendry calibrate my-garden --force");
    bench.run(&["calibrate", "my-garden", "--force"]).exits(0);
    let (step, _) = next(&bench, "my-garden", DAY);
    assert_eq!(step, "done");
}

#[test]
fn a_few_cores_ask_for_more_of_them() {
    let bench = Bench::small();
    let lines = |name: &str, keep: usize| -> String {
        let text = bench.read(name);
        text.lines()
            .take(keep)
            .map(|line| format!("{line}\n"))
            .collect()
    };
    bench.put("samples.csv", lines("samples.csv", 3));
    bench.put("readings.csv", lines("readings.csv", 11));
    let (step, _) = next(&bench, ".", DAY);
    assert_eq!(step, "too-few-cores");
    bench.run(&[]).exits(0).says("There are too few cores yet");
}

#[test]
fn a_broken_calibration_and_tables_without_a_site_are_told() {
    let bench = Bench::small();
    bench.put("out/P1.calibration.json", "{");
    let expected = (
        "calibration-unreadable".to_owned(),
        "ovendry calibrate . --force".to_owned(),
    );
    assert_eq!(next(&bench, ".", DAY), expected);
    bench.run(&["calibrate", ".", "--force"]).exits(0);
    let (step, _) = next(&bench, ".", DAY);
    assert_eq!(step, "done");
    std::fs::remove_file(bench.path().join("site.toml")).unwrap();
    let (step, command) = next(&bench, ".", DAY);
    assert_eq!(
        (step.as_str(), command.as_str()),
        ("site-missing", "ovendry start my-garden")
    );
}

#[test]
fn looking_writes_nothing() {
    let bench = Bench::small();
    let before = bench.contents();
    bench.run(&[]).exits(0);
    bench.run(&["status", ".", "--json"]).exits(0);
    assert_eq!(bench.contents(), before);
    bench
        .run(&["status", "nowhere"])
        .exits(2)
        .complains("nowhere: is not a folder");
}

#[test]
fn what_drift_found_is_remembered_until_the_probe_is_calibrated_anew() {
    let bench = Bench::demo().with_demo(&["spot-checks.csv"]);
    bench.run(&["calibrate", "."]).exits(0);
    let (step, _) = next(&bench, ".", DAY);
    assert_eq!(step, "done");
    let drift = ["drift", ".", "spot-checks.csv", "--no-charts", "--probe"];
    let of = |probe| [&drift[..], &[probe]].concat();
    bench.run(&of("orchard-1")).exits(0);
    let (step, _) = next(&bench, ".", DAY);
    assert_eq!(step, "done");
    bench
        .run(&of("terrace-1"))
        .exits(1)
        .says("NO LONGER HOLDS")
        .says("  out/terrace-1.drift.json\n");
    let lost = (
        "no-longer-holds".to_owned(),
        "ovendry calibrate . --force".to_owned(),
    );
    assert_eq!(next(&bench, ".", DAY), lost);
    bench
        .run(&["status", "."])
        .exits(0)
        .says("no longer holds (probe terrace-1)");
    // The same cores make the same calibration, and it holds no better.
    bench.run(&["calibrate", ".", "--force"]).exits(0);
    assert_eq!(next(&bench, ".", DAY), lost);
    // Another one has no verdict yet.
    let samples = bench.read("samples.csv");
    bench.put("samples.csv", samples.replace(",181.98,", ",181.97,"));
    bench.run(&["calibrate", ".", "--force"]).exits(0);
    let (step, _) = next(&bench, ".", DAY);
    assert_eq!(step, "done");
}

#[test]
fn a_report_older_than_what_it_shows_is_made_again() {
    let bench = Bench::small();
    bench.run(&["calibrate", "."]).exits(0);
    let at = |step: &str, command: &str| {
        let expected = (step.to_owned(), command.to_owned());
        assert_eq!(next(&bench, ".", DAY), expected);
    };
    at("done", "ovendry report .");
    bench.run(&["report", "."]).exits(0);
    at("done", "ovendry replay .");
    let site = bench.read("site.toml");
    bench.put("site.toml", site + "\n# looked at again\n");
    at("report-outdated", "ovendry report . --force");
    bench.run(&["report", ".", "--force"]).exits(0);
    at("done", "ovendry replay .");
    // Saved again without a change: the page stays the same, and is current again.
    bench.put("site.toml", bench.read("site.toml"));
    at("report-outdated", "ovendry report . --force");
    bench.run(&["report", ".", "--force"]).exits(0);
    at("done", "ovendry replay .");
}

#[test]
fn check_names_the_same_next_command_as_status_and_it_runs() {
    let bench = Bench::small();
    let site = bench.read("site.toml");
    let (without, _) = site.split_once("[controller]").unwrap();
    bench.put("site.toml", without);
    let says = |command: &str| {
        assert_eq!(next(&bench, ".", DAY).1, command);
        bench
            .run(&["check", "."])
            .exits(0)
            .says(&format!("\nnext: {command}\n"));
    };
    says("ovendry fit .");
    bench.run(&["fit", ".", "--no-charts"]).exits(0);
    bench.put("site.toml", &site);
    says("ovendry export .");
    bench.run(&["export", "."]).exits(0);
    let samples = bench.read("samples.csv");
    bench.put("samples.csv", samples.replace("184.45", "184.46"));
    says("ovendry calibrate . --force");
    bench.run(&["calibrate", ".", "--force"]).exits(0);
}

#[test]
fn problems_are_counted_as_check_counts_them() {
    let bench = Bench::demo();
    let samples = bench.read("samples.csv");
    let broken: String = samples
        .lines()
        .enumerate()
        .map(|(i, line)| match i {
            0 => format!("{line}\n"),
            1..=17 => format!("{}\n", line.replacen(',', ",no such soil ", 1)),
            _ => format!("{line}\n"),
        })
        .collect();
    bench.put("samples.csv", broken);
    bench
        .run(&["check", "."])
        .exits(2)
        .says("17 problems of 3 kinds in 1 file");
    bench
        .run(&["status", "."])
        .exits(0)
        .says("63 cores, 756 readings; 17 problems");
}

#[test]
fn cores_still_to_fill_in_are_no_fault() {
    let bench = Bench::demo();
    let mut samples = bench.read("samples.csv");
    for core in 1..=7 {
        samples += &format!("new{core},terrace,L1,,,,,terrace-1,,\n");
    }
    bench.put("samples.csv", &samples);
    let told = bench
        .run(&["status", "."])
        .exits(0)
        .says("63 of 70 cores, 756 readings\n")
        .says("7 cores are still to be filled in");
    assert!(!told.stdout.contains("problem"), "{}", told.stdout);
    bench.put("samples.csv", samples.replace(",181.98,", ",x,"));
    bench
        .run(&["status", "."])
        .exits(0)
        .says("63 of 70 cores, 756 readings; 1 problem\n")
        .says("1 problem must be mended first (7 cores are still");
}
