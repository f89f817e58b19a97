//! A logger's database read while the real `sqlite3` shell writes it: by a journal of
//! its own and by write-ahead log, with long locks, many rows of one second, and the
//! reader killed (SIGKILL) again and again. Every row is in the file exactly once, in
//! the order it was put in, with the time, count and temperature that stand in the table.

use crate::Check;
use ovendry_tests::{Bench, program};
use std::fmt::Write as _;
use std::io::Write;
use std::process::{Child, Command, Stdio};
use std::thread::{sleep, spawn};
use std::time::Duration;

pub const WRITE_AHEAD: Check = Check {
    name: "rows that the sqlite3 shell writes ahead come each once, whoever is killed",
    needs: &["sqlite3"],
    run: || follow("WAL"),
};

pub const JOURNAL: Check = Check {
    name: "rows that the sqlite3 shell writes under its lock come each once, whoever is killed",
    needs: &["sqlite3"],
    run: || follow("DELETE"),
};

/// Rows the logger writes.
const ROWS: usize = 1500;
/// Rows put in at one go.
const AT_ONCE: usize = 10;
/// The first of them is of this second since 1970.
const BEGINS: i64 = 1_780_000_000;
/// Runs that are killed.
const KILLED: usize = 4;

/// Second, count and temperature of a row; three rows share a second.
fn row(number: usize) -> (i64, usize, String) {
    let temperature = format!("{}.{}", 15 + number % 7, 1 + number % 9);
    (BEGINS + (number / 3) as i64, number % 1000, temperature)
}

/// What the logger does to rows `from..to`.
fn insert(from: usize, to: usize) -> String {
    let mut sql = String::new();
    for number in from..to {
        let (second, count, temperature) = row(number);
        let _ = writeln!(
            sql,
            "INSERT INTO \"soil log\" VALUES ({second}, 'P1', {count}, {temperature});"
        );
    }
    sql
}

fn text<T>(result: std::io::Result<T>) -> Result<T, String> {
    result.map_err(|error| error.to_string())
}

/// The sqlite3 shell over the database, ready for statements.
fn shell(bench: &Bench) -> Result<Child, String> {
    let mut shell = Command::new("sqlite3");
    shell.args(["-bail", "-cmd", ".timeout 20000", "logger.db"]);
    shell.current_dir(bench.path()).stdin(Stdio::piped());
    text(shell.stdout(Stdio::null()).spawn())
}

fn ends_well(mut shell: Child) -> Result<(), String> {
    drop(shell.stdin.take());
    match text(shell.wait())? {
        code if code.success() => Ok(()),
        code => Err(format!("the sqlite3 shell ended with {code}")),
    }
}

/// Writes the rows over some seconds, with the lock held long twice.
fn log(mut shell: Child) -> Result<(), String> {
    let mut stdin = shell.stdin.take().ok_or("no way into the shell")?;
    for from in (0..ROWS).step_by(AT_ONCE) {
        let rows = insert(from, from + AT_ONCE);
        let long = from % 700 == 300;
        if long {
            text(write!(stdin, "BEGIN EXCLUSIVE;\n{rows}"))?;
            text(stdin.flush())?;
            sleep(Duration::from_millis(1500));
            text(writeln!(stdin, "COMMIT;"))?;
        } else {
            text(write!(stdin, "{rows}"))?;
        }
        text(stdin.flush())?;
        sleep(Duration::from_millis(50));
    }
    drop(stdin);
    ends_well(shell)
}

const CAPTURE: [&str; 15] = [
    "capture",
    ".",
    "--database=logger.db",
    "--table=Soil log",
    "--time-column=at",
    "--time-unit=seconds",
    "--count-column=adc",
    "--probe-column=node",
    "--temperature-column=soil",
    "--into=log.csv",
    "--json",
    "--fsync=second",
    "--for=60s",
    "--steady-minutes=10",
    "--to-end",
];

fn follow(journal: &str) -> Result<(), String> {
    let bench = Bench::small();
    let mut made = shell(&bench)?;
    if let Some(stdin) = &mut made.stdin {
        text(writeln!(
            stdin,
            "PRAGMA journal_mode = {journal};\nCREATE TABLE \"soil log\" (at INTEGER, node TEXT, adc INTEGER, soil REAL);"
        ))?;
    }
    ends_well(made)?;
    let logger = shell(&bench)?;
    let logger = spawn(move || log(logger));
    for round in 0..KILLED {
        let mut following = Command::new(program());
        following.args(&CAPTURE[..CAPTURE.len() - 1]);
        following.current_dir(bench.path()).stdout(Stdio::null());
        let mut following = text(following.spawn())?;
        sleep(Duration::from_millis(1300 + 370 * round as u64));
        if let Some(code) = text(following.try_wait())? {
            return Err(format!("the capture ended by itself, with {code}"));
        }
        text(following.kill())?;
        text(following.wait())?;
    }
    logger.join().map_err(|_| "the logger's thread failed")??;
    let read_while_it_was_written = rows_of(&bench)?.len();
    let answer = bench.run(&CAPTURE);
    if answer.code != Some(0) {
        return Err(format!("{answer:?}"));
    }
    let found = rows_of(&bench)?;
    let expected: Vec<[String; 4]> = (0..ROWS)
        .map(|number| {
            let (second, count, temperature) = row(number);
            let time = jiff::Timestamp::from_second(second).expect("a time");
            [
                time.to_string(),
                "P1".into(),
                count.to_string(),
                temperature,
            ]
        })
        .collect();
    if found != expected {
        let differs = found.iter().zip(&expected).position(|(a, b)| a != b);
        return Err(format!(
            "{} rows found where {ROWS} were written; the first that differs is {differs:?}: {:?}",
            found.len(),
            differs.map(|at| (&found[at], &expected[at]))
        ));
    }
    if read_while_it_was_written < ROWS / 10 {
        return Err(format!(
            "only {read_while_it_was_written} rows were read while they were written"
        ));
    }
    println!(
        "{journal}: {ROWS} rows each once, {read_while_it_was_written} of them in {KILLED} runs that were killed"
    );
    // Nothing is new, and nothing is doubled.
    let again = bench.run(&CAPTURE);
    match (again.code, rows_of(&bench)?.len()) {
        (Some(1), ROWS) => Ok(()),
        _ => Err(format!("a run without anything new: {again:?}")),
    }
}

/// Time, probe, count and temperature of each row captured.
fn rows_of(bench: &Bench) -> Result<Vec<[String; 4]>, String> {
    let path = bench.path().join("log.csv");
    let mut reader = csv::Reader::from_path(path).map_err(|error| error.to_string())?;
    let header = reader.headers().map_err(|error| error.to_string())?.clone();
    let place = |name: &str| header.iter().position(|one| one == name);
    let places = ["timestamp", "probe_id", "raw_count", "soil_temp_c"].map(place);
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        rows.push(places.map(|place| {
            let cell = place.and_then(|place| record.get(place));
            cell.unwrap_or_default().to_owned()
        }));
    }
    Ok(rows)
}
