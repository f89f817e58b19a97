//! `ovendry capture`, run as a person runs it: from pipes, growing files and
//! pseudo-terminals, killed at any moment and started again. Whatever happens, every
//! whole valid line stands in readings.csv once, and nothing else does.

use ovendry_tests::{Answer, Bench, program};
use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const READINGS: &str = "readings.csv";

/// The small workbench without its readings.
fn bench() -> Bench {
    let bench = Bench::small();
    fs::remove_file(bench.path().join(READINGS)).unwrap();
    bench
}

/// Starts `ovendry capture . ARGUMENTS` in the bench's folder.
fn start(bench: &Bench, arguments: &[&str]) -> Child {
    Command::new(program())
        .args(["capture", "."])
        .args(arguments)
        .current_dir(bench.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts")
}

/// Waits for its end.
fn ended(child: Child) -> Answer {
    let output = child.wait_with_output().expect("it ends");
    Answer {
        command: "ovendry capture".to_owned(),
        code: output.status.code(),
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// Sends `bytes` through a pipe, then ends it.
fn piped(bench: &Bench, bytes: &[u8], arguments: &[&str]) -> Answer {
    let mut child = start(bench, &[&["--pipe"], arguments].concat());
    // A capture that is refused reads nothing.
    let _ = child.stdin.take().unwrap().write_all(bytes);
    ended(child)
}

/// Waits until readings.csv holds `text`.
#[track_caller]
fn wait_for(bench: &Bench, text: &str) {
    let until = Instant::now() + Duration::from_secs(30);
    while Instant::now() < until {
        if fs::read_to_string(bench.path().join(READINGS)).is_ok_and(|t| t.contains(text)) {
            return;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    panic!("readings.csv never held {text}: {}", bench.read(READINGS));
}

/// One column of readings.csv.
fn column(bench: &Bench, index: usize) -> Vec<String> {
    bench
        .read(READINGS)
        .lines()
        .skip(1)
        .map(|line| line.split([',', ';']).nth(index).unwrap_or("").to_owned())
        .collect()
}

fn counts(bench: &Bench) -> Vec<String> {
    column(bench, 2)
}

fn add(path: &Path, text: &str) {
    let mut file = OpenOptions::new()
        .append(true)
        .create(true)
        .open(path)
        .unwrap();
    file.write_all(text.as_bytes()).unwrap();
}

#[test]
fn a_pipe_of_cells_is_appended_and_what_is_no_reading_is_kept_aside() {
    let bench = bench();
    let sent = b"boot v1\n663,16.5\n\xff\xfe\n664,-127\n70000,16.5\n665\n666,16.4\r\n66";
    let answer = piped(&bench, sent, &["--fields", "raw_count,soil_temp_c"]);
    answer
        .exits(0)
        .says("3 readings appended to readings.csv")
        .says("refused: 1 not text, 1 cut off, 2 not of the form, 1 a field refused")
        .says("a thermometer did not answer");
    assert_eq!(counts(&bench), ["663", "664", "666"]);
    assert_eq!(column(&bench, 3), ["16.5", "", "16.4"]);
    let refused = bench.read("readings.csv.refused");
    for shown in ["boot v1", "\\xff\\xfe", "70000,16.5", "\t665", "\t66"] {
        assert!(refused.contains(shown), "{shown}: {refused}");
    }
    // Nothing else is left behind, and what was written reads well.
    let listing = bench.listing();
    let beside = listing.iter().filter(|name| name.starts_with(READINGS));
    assert_eq!(beside.count(), 2, "{listing:?}");
    let check = bench.run(&["check", "."]);
    let complaints = check.stdout.lines();
    let of_readings = complaints.filter(|line| line.starts_with("readings.csv"));
    assert_eq!(of_readings.count(), 0, "{}", check.stdout);
}

#[test]
fn pairs_and_json_are_read_under_names_of_their_own() {
    let bench = bench();
    piped(
        &bench,
        b"id=P1 adc=663 t=16.5\nid=P2 adc=1 t=1\nadc=664 id=P1\n",
        &[
            "--form",
            "pairs",
            "--field",
            "raw_count=adc",
            "--field",
            "probe_id=id",
        ],
    )
    .exits(0)
    .says("2 readings appended");
    piped(
        &bench,
        b"{\"at\":\"2099-01-01T00:00:00.25Z\",\"s\":{\"adc\":665},\"soil_temp_c\":16.5}\n{\"s\":{\"adc\":66",
        &["--form", "json", "--field", "raw_count=s.adc", "--field", "timestamp=at"],
    )
    .exits(0)
    .says("1 reading appended");
    assert_eq!(counts(&bench), ["663", "664", "665"]);
    assert_eq!(column(&bench, 0)[2], "2099-01-01T00:00:00.25Z");
    assert_eq!(column(&bench, 3)[2], "16.5");
}

#[test]
fn site_toml_may_say_it_all_and_options_go_before_it() {
    let bench = bench();
    let site = bench.read("site.toml")
        + "\n[capture]\nfile = \"log.txt\"\nform = \"csv\"\nfields = \"raw_count,-\"\nseparator = \"semicolon\"\n";
    bench.put("site.toml", site);
    bench.put("log.txt", "663;x\n664;x\n");
    bench.run(&["capture", ".", "--to-end"]).exits(0);
    assert_eq!(counts(&bench), ["663", "664"]);
    piped(&bench, b"665,x\n", &["--separator", "comma"]).exits(0);
    piped(&bench, b"raw_count=666\n", &["--form", "pairs"]).exits(0);
    assert_eq!(counts(&bench), ["663", "664", "665", "666"]);
}

#[test]
fn a_file_is_read_on_from_where_it_was_left() {
    let bench = bench();
    let log = bench.path().join("log.txt");
    add(&log, "601\n602\n60");
    let capture = ["capture", ".", "--file", "log.txt", "--to-end"];
    bench
        .run(&capture)
        .exits(0)
        .says("2 readings appended")
        .says("log.txt does not end where a line ends; its last line is not taken");
    bench
        .run(&capture)
        .exits(1)
        .says("0 readings appended")
        .says("nothing new came since the capture before");
    add(&log, "3\n604\n");
    bench.run(&capture).exits(0).says("2 readings appended");
    fs::rename(&log, bench.path().join("log.txt.1")).unwrap();
    add(&bench.path().join("log.txt.1"), "605\n");
    add(&log, "606\n");
    bench.run(&capture).exits(0).says("2 readings appended");
    assert_eq!(counts(&bench), ["601", "602", "603", "604", "605", "606"]);
}

#[test]
fn a_source_that_holds_nothing_ends_with_exit_code_1() {
    let bench = bench();
    bench.put("log.txt", "");
    let answer = bench.run(&["capture", ".", "--file", "log.txt", "--to-end"]);
    answer.exits(1).says("nothing came at all");
    let answer = bench.run(&["capture", ".", "--file", "log.txt", "--to-end", "--json"]);
    answer.exits(1).says("\"verdict\":\"unfit\"");
}

#[test]
fn a_capture_killed_again_and_again_loses_and_doubles_no_line() {
    let bench = bench();
    let log = bench.path().join("log.txt");
    // Runs of equal counts, so that a reading too many or too few cannot hide.
    let sent: Vec<String> = (0..6000).map(|i| (300 + i / 9).to_string()).collect();
    let mut written = 0;
    for round in 0..12 {
        let mut child = start(&bench, &["--file", "log.txt"]);
        for _ in 0..4 {
            let more = sent.len().min(written + 60 + 7 * round);
            let text: String = sent[written..more]
                .iter()
                .map(|c| format!("{c}\n"))
                .collect();
            // Half a line at a time now and then.
            let (a, b) = text.split_at(text.len() / 2 + 1);
            add(&log, a);
            std::thread::sleep(Duration::from_millis(20 + 13 * (round as u64 % 5)));
            add(&log, b);
            written = more;
            std::thread::sleep(Duration::from_millis(90 + 170 * (round as u64 % 3)));
        }
        child.kill().unwrap();
        child.wait().unwrap();
    }
    // One that no killed run can have taken.
    add(&log, &format!("{}\n", sent[written]));
    written += 1;
    bench
        .run(&["capture", ".", "--file", "log.txt", "--to-end"])
        .exits(0);
    assert_eq!(counts(&bench), sent[..written]);
    assert!(!bench.path().join("readings.csv.lock").exists());
}

#[test]
fn a_reading_out_of_order_doubles_none_when_a_capture_was_killed() {
    let bench = bench();
    let fields = ["--fields", "timestamp,raw_count", "--file", "log.txt"];
    // The one out of order says the count of those beside it in the second file.
    for (early, last) in [("400", "502"), ("500", "500")] {
        let log = format!(
            "2026-05-04T08:10:00Z,500\n2026-05-04T08:09:00Z,{early}\n2026-05-04T08:11:00Z,{last}\n"
        );
        bench.put("log.txt", &log);
        let rows = format!("2026-05-04T08:10:00Z,P1,500\n2026-05-04T08:11:00Z,P1,{last}\n");
        let header = "timestamp,probe_id,raw_count\n";
        bench.put(READINGS, header);
        // As it is left by a capture that was killed before it marked how far it came.
        let mut child = start(&bench, &fields);
        wait_for(&bench, "08:11");
        child.kill().unwrap();
        child.wait().unwrap();
        assert_eq!(bench.read(READINGS), format!("{header}{rows}"));
        let again = [&["capture", ".", "--to-end"], &fields[..]].concat();
        bench.run(&again).exits(0).says("0 readings appended");
        assert_eq!(bench.read(READINGS), format!("{header}{rows}"));
        fs::remove_file(bench.path().join("readings.csv.capture")).unwrap();
    }
}

#[test]
fn the_half_line_of_a_crash_is_moved_aside_and_that_of_an_editor_is_not() {
    let bench = bench();
    piped(&bench, b"663\n", &[]).exits(0);
    add(&bench.path().join(READINGS), "2099-01-01T00:00:00Z,P1,6");
    // An editor that leaves out the last end of line.
    piped(&bench, b"", &[]);
    assert_eq!(counts(&bench), ["663", "6"]);

    let bench = self::bench();
    piped(&bench, b"663\n", &[]).exits(0);
    add(&bench.path().join(READINGS), "2099-01-01T00:00:00Z,P1,6");
    bench.put(
        "readings.csv.capture",
        r#"{"sources":{},"running":{"source":null,"length":10,"sha256":""}}"#,
    );
    piped(&bench, b"664\n", &[])
        .exits(0)
        .says("the last line of readings.csv was broken off");
    assert_eq!(counts(&bench), ["663", "664"]);
    assert_eq!(
        bench.read("readings.csv.unfinished"),
        "2099-01-01T00:00:00Z,P1,6\n"
    );
}

#[test]
fn rows_fit_the_file_that_is_there() {
    let bench = bench();
    bench.put(
        READINGS,
        "my note;soil_temp_c;raw_count;timestamp;probe_id\r\n\"a; b\";16,5;663;2026-05-04T08:10:00Z;P1\r\n",
    );
    piped(
        &bench,
        b"664,16.25\n",
        &["--fields", "raw_count,soil_temp_c"],
    )
    .exits(0);
    let text = bench.read(READINGS);
    let row = text.lines().last().unwrap();
    assert!(row.starts_with(";16,25;664;20"), "{row}");
    assert!(row.ends_with("Z;P1"), "{row}");
    assert!(text.ends_with("\r\n"), "{text:?}");
    // A core has no column to stand in.
    piped(&bench, b"664,16.25\n", &["--sample", "A1"])
        .exits(2)
        .complains("readings.csv:1: sample_id: the column is missing");
}

#[test]
fn a_reading_earlier_than_the_one_before_is_refused_and_kept() {
    let bench = bench();
    let fields = ["--fields", "timestamp,raw_count"];
    let sent = b"2026-05-04T08:10:00Z,663\n2026-05-04T08:09:00Z,664\n2026-05-04T08:10:00Z,665\n1970-01-01T00:00:05Z,666\n";
    piped(&bench, sent, &fields)
        .exits(0)
        .says("60 s before the reading of P1 before it")
        .says("refused: 1 a field refused, 1 out of order");
    assert_eq!(counts(&bench), ["663", "665"]);
}

/// A reading a minute from `raw_count`s on.
fn minutes(counts: impl Iterator<Item = u32>) -> Vec<u8> {
    counts
        .enumerate()
        .map(|(minute, count)| {
            format!(
                "2026-05-04T{:02}:{:02}:00Z,{count}\n",
                minute / 60,
                minute % 60
            )
        })
        .collect::<String>()
        .into_bytes()
}

#[test]
fn a_steady_probe_ends_the_capture_and_a_moving_one_is_not_steady() {
    let fields = ["--fields", "timestamp,raw_count"];
    let until = [&fields[..], &["--until-steady"]].concat();
    let bench = bench();
    piped(&bench, &minutes((0..13).map(|_| 663)), &until)
        .exits(0)
        .says("every probe heard is steady")
        .says("P1: 13 readings; steady: take the core now");
    let bench = self::bench();
    piped(&bench, &minutes((0..13).map(|m| 663 - 3 * m)), &until)
        .exits(1)
        .says("P1: 13 readings; moving: wait");
}

#[test]
fn only_readings_of_a_steady_probe_carry_the_core() {
    let bench = bench();
    // It comes to rest, is dug up, and comes to rest again.
    let counts = (0..60).map(|m: u32| {
        if m < 20 {
            663
        } else {
            500 + 80_u32.saturating_sub(8 * (m - 20))
        }
    });
    let answer = piped(
        &bench,
        &minutes(counts),
        &["--fields", "timestamp,raw_count", "--sample", "A1"],
    )
    .exits(0);
    let tags = column(&bench, 4);
    let tagged: Vec<usize> = (0..60).filter(|minute| tags[*minute] == "A1").collect();
    assert_eq!(
        tagged[..9],
        [11, 12, 13, 14, 15, 16, 17, 18, 19],
        "{tags:?}"
    );
    assert!(tagged[9..].iter().all(|minute| *minute > 30), "{tagged:?}");
    assert!(tagged.len() > 20, "{tagged:?}");
    answer.says("take core A1 now");
}

#[test]
fn one_capture_at_a_time_appends_to_a_file() {
    let bench = bench();
    let mut first = start(&bench, &["--pipe"]);
    first.stdin.as_mut().unwrap().write_all(b"663\n").unwrap();
    wait_for(&bench, ",663,");
    piped(&bench, b"664\n", &[]).exits(2).complains(&format!(
        "another capture (process {}) is appending to it",
        first.id()
    ));
    piped(&bench, b"664\n", &["--into", "other.csv"]).exits(0);
    drop(first.stdin.take());
    ended(first).exits(0);
    assert_eq!(counts(&bench), ["663"]);
}

#[test]
fn a_file_put_in_the_place_of_the_other_is_gone_on_with() {
    let bench = bench();
    let mut child = start(&bench, &["--pipe"]);
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(b"663\n").unwrap();
    wait_for(&bench, ",663,");
    // As an editor does: without the last end of line, too.
    let text = bench.read(READINGS).replace(",663,", ",661,");
    bench.put("new.csv", text.trim_end());
    fs::rename(bench.path().join("new.csv"), bench.path().join(READINGS)).unwrap();
    stdin.write_all(b"664\n").unwrap();
    wait_for(&bench, ",664,");
    drop(stdin);
    ended(child).exits(0);
    assert_eq!(counts(&bench), ["661", "664"]);
}

#[test]
fn every_line_of_json_says_what_it_is() {
    let bench = bench();
    let answer = piped(&bench, b"663\nx\n", &["--json"]).exits(0);
    let events: Vec<serde_json::Value> = answer
        .stdout
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    let named: Vec<&str> = events.iter().filter_map(|e| e["event"].as_str()).collect();
    assert_eq!(named.first(), Some(&"opened"));
    assert_eq!(named.last(), Some(&"ended"));
    assert!(
        named.contains(&"reading") && named.contains(&"refused"),
        "{named:?}"
    );
    assert!(
        events
            .iter()
            .all(|event| event["format"] == "ovendry capture")
    );
    let end = events.last().unwrap();
    assert_eq!(
        (&end["readings"], &end["verdict"]),
        (&1.into(), &"good".into())
    );
    assert_eq!(end["refused"]["field-refused"], 1);
}

#[test]
fn a_capture_in_which_no_reading_came_is_told_by_its_exit_code() {
    let bench = bench();
    let answer = piped(&bench, &b"\xfd\x80\xf0\n".repeat(8), &[]).exits(1);
    answer.says("look whether --baud is the rate the sender uses");
    piped(
        &bench,
        &b"boot\n".repeat(8),
        &["--fields", "probe_id,raw_count"],
    )
    .exits(1)
    .says("look at --form, --fields and --field");
}

#[test]
fn options_that_cannot_be_followed_are_refused_with_their_mend() {
    let bench = bench();
    let refused = |arguments: &[&str], what: &str| {
        bench
            .run(&[&["capture", "."], arguments].concat())
            .exits(2)
            .complains(what);
    };
    refused(&[], "does not say where readings come from");
    refused(
        &["--pipe", "--fields", "raw_cuont"],
        "--fields = \"raw_cuont\": names raw_cuont, which is no field\n  mend: write raw_count",
    );
    refused(&["--pipe", "--probe", "P2"], "is not a probe of site.toml");
    refused(&["--file", "none.txt"], "none.txt: cannot be read");
    refused(&["--port", "/dev/none"], "is no serial port that is there");
    refused(
        &["--pipe", "--steady-minutes", "0"],
        "lies outside 0.1 to 1440",
    );
    refused(
        &["--pipe", "--for", "90"],
        "write a whole number and s, m, h or d",
    );
    assert!(!bench.path().join(READINGS).exists());
}

#[cfg(unix)]
mod port {
    use super::*;
    use serialport::{SerialPort, TTYPort};
    use std::path::PathBuf;

    /// Longer than the silence after which a line is known to begin.
    const SILENCE: Duration = Duration::from_millis(2500);

    /// Ctrl-C.
    fn interrupt(child: &Child) {
        let status = Command::new("kill")
            .args(["-INT", &child.id().to_string()])
            .status();
        assert!(status.expect("kill starts").success());
    }

    /// Starts a capture of `plug` as soon as that is there: a program that is started
    /// while the device's end is open would keep it open.
    fn start_when_plugged(bench: &Bench) -> Child {
        Command::new("sh")
            .arg("-c")
            .arg("until [ -e plug ]; do sleep 0.05; done; exec \"$0\" capture . --port plug")
            .arg(program())
            .current_dir(bench.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts")
    }

    /// A cable whose plug goes by one name, whichever pseudo-terminal it is.
    struct Cable {
        plug: PathBuf,
        device: Option<TTYPort>,
    }

    impl Cable {
        fn plugged(bench: &Bench) -> Self {
            let mut cable = Self {
                plug: bench.path().join("plug"),
                device: None,
            };
            cable.plug_in();
            cable
        }

        fn plug_in(&mut self) {
            let (device, other) = TTYPort::pair().expect("a pseudo-terminal");
            let _ = fs::remove_file(&self.plug);
            std::os::unix::fs::symlink(other.name().unwrap(), &self.plug).unwrap();
            self.device = Some(device);
        }

        fn send(&mut self, bytes: &[u8]) {
            self.device.as_mut().unwrap().write_all(bytes).unwrap();
        }

        fn pull_out(&mut self) {
            self.device = None;
        }
    }

    #[test]
    fn a_port_that_is_unplugged_is_waited_for_and_only_the_line_in_flight_is_lost() {
        let bench = bench();
        let child = start_when_plugged(&bench);
        let mut cable = Cable::plugged(&bench);
        wait_for(&bench, "timestamp");
        std::thread::sleep(SILENCE);
        cable.send(b"601\n602\n60");
        wait_for(&bench, ",602,");
        std::thread::sleep(Duration::from_millis(100));
        cable.pull_out();
        std::thread::sleep(Duration::from_millis(600));
        cable.plug_in();
        std::thread::sleep(SILENCE);
        cable.send(b"604\n\x00\xff\xfe\n605\n");
        wait_for(&bench, ",605,");
        interrupt(&child);
        ended(child)
            .exits(0)
            .says("is gone (unplugged or hung up); waiting for it to come back")
            .says("is there again")
            .says("refused: 1 not text, 1 cut off")
            .says("4 readings appended");
        assert_eq!(counts(&bench), ["601", "602", "604", "605"]);
    }

    #[test]
    fn a_line_in_flight_when_the_port_is_opened_is_not_taken_for_a_reading() {
        let bench = bench();
        let mut cable = Cable::plugged(&bench);
        let child = start(&bench, &["--port", "plug", "--for", "3s"]);
        // Without a pause, so that some line is cut by the opening.
        let until = Instant::now() + Duration::from_secs(4);
        while Instant::now() < until {
            let _ = cable.device.as_mut().unwrap().write_all(b"987\n");
            std::thread::sleep(Duration::from_millis(3));
        }
        ended(child).exits(0);
        let counts = counts(&bench);
        assert!(counts.len() > 50, "{}", counts.len());
        assert!(counts.iter().all(|count| count == "987"), "{counts:?}");
    }
}
