//! `ovendry capture` of a log that was refused, read from its beginning once more; and
//! of a core that samples.csv does not have.

use ovendry_tests::Bench;
use std::fs;

const READINGS: &str = "readings.csv";
const FOLLOW: [&str; 6] = [
    "capture",
    ".",
    "--file",
    "log.txt",
    "--to-end",
    "--fields=timestamp,raw_count,soil_temp_c",
];

/// The small workbench without its readings, which declares `time_format`.
fn bench(time_format: &str, log: &str) -> Bench {
    let bench = Bench::small().with("log.txt", log);
    fs::remove_file(bench.path().join(READINGS)).unwrap();
    declare(&bench, time_format);
    bench
}

fn declare(bench: &Bench, time_format: &str) {
    let site = bench.read("site.toml");
    let kept: Vec<&str> = site
        .lines()
        .filter(|line| !line.starts_with("time_format") && !line.starts_with("utc_offset"))
        .collect();
    let declared = format!("[site]\ntime_format = \"{time_format}\"\nutc_offset = \"+00:00\"");
    let site = kept.join("\n").replacen("[site]", &declared, 1);
    fs::write(bench.path().join("site.toml"), site).unwrap();
}

/// A reading a minute, with days first.
fn log(minutes: std::ops::Range<u32>) -> String {
    minutes
        .map(|minute| format!("25/05/2026 08:{minute:02},{},16.5\n", 600 + minute))
        .collect()
}

fn rows(bench: &Bench) -> usize {
    bench.read(READINGS).lines().count() - 1
}

#[test]
fn what_a_wrong_declaration_refused_is_told_and_read_again() {
    let bench = bench("%m/%d/%Y %H:%M", &log(0..12));
    bench
        .run(&FOLLOW)
        .exits(1)
        .says("12 a field refused")
        .says("then run this with --again");
    declare(&bench, "%d/%m/%Y %H:%M");
    bench
        .run(&FOLLOW)
        .says("12 lines of log.txt were refused earlier and are passed over")
        .says("add --again")
        .says("0 readings appended");
    let again = [&FOLLOW[..], &["--again"]].concat();
    bench.run(&again).exits(0).says("12 readings appended");
    assert_eq!(rows(&bench), 12);
    // Once more doubles nothing, and later lines come without it.
    bench
        .run(&again)
        .exits(0)
        .says("0 readings appended to readings.csv; 12 stood there already");
    fs::write(bench.path().join("log.txt"), log(0..15)).unwrap();
    let answer = bench.run(&FOLLOW).exits(0).says("3 readings appended");
    assert!(
        !answer.stdout.contains("refused earlier"),
        "{}",
        answer.stdout
    );
    assert_eq!(rows(&bench), 15);
}

#[test]
fn readings_that_could_not_be_told_apart_are_not_read_again() {
    let bench = bench("%d/%m/%Y %H:%M", "663\n664\n");
    let follow = ["capture", ".", "--file", "log.txt", "--to-end"];
    bench.run(&follow).exits(0).says("2 readings appended");
    let again = [&follow[..], &["--again"]].concat();
    bench
        .run(&again)
        .exits(2)
        .complains("are not said to carry a time");
    assert_eq!(rows(&bench), 2);
}

#[test]
fn a_core_that_is_not_there_and_one_that_was_never_tagged_are_told() {
    let bench = bench("%d/%m/%Y %H:%M", &log(0..1));
    let tagged = |core: &str, more: &[&str]| {
        bench.run(&[&FOLLOW[..], &["--again", "--sample", core], more].concat())
    };
    let answer = tagged("A11", &[]);
    answer
        .says("samples.csv has no core A11: did you mean A1?")
        .says("P1: 1 reading;")
        .says("no reading carries core A11: no probe was steady");
    fs::remove_file(bench.path().join(READINGS)).unwrap();
    let answer = tagged("A1", &["--json"]);
    assert!(!answer.stdout.contains("has no core"), "{}", answer.stdout);
    assert!(
        answer
            .stdout
            .contains("\"advice\":[\"no reading carries core A1")
    );
}

#[test]
fn an_older_log_is_told_from_a_clock_that_was_set_back() {
    let bench = bench("%d/%m/%Y %H:%M", &log(0..2));
    bench.run(&FOLLOW).exits(0);
    let older = bench.read("log.txt").replace("25/05/2026", "25/03/2026");
    fs::write(bench.path().join("log.txt"), older).unwrap();
    bench
        .run(&FOLLOW)
        .says("its time is 61 days before the reading of P1 before it")
        .says("append an older log to a file of its own with --into");
}

#[test]
fn a_burst_without_times_is_stamped_in_its_order_and_check_is_content() {
    let lines: String = (0..300).map(|n| format!("{}\n", 600 + n % 7)).collect();
    let bench = bench("%d/%m/%Y %H:%M", &lines);
    let follow = ["capture", ".", "--file", "log.txt", "--to-end"];
    bench.run(&follow).exits(0).says("300 readings appended");
    let check = bench.run(&["check", "."]);
    assert!(!check.stdout.contains("the same time"), "{}", check.stdout);
}
