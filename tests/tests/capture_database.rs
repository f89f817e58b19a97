//! `ovendry capture --database`, run every night as a logger's keeper runs it.

use ovendry_tests::Bench;
use rusqlite::Connection;

const CAPTURE: [&str; 11] = [
    "capture",
    ".",
    "--database",
    "logger.db",
    "--table=obs",
    "--time-column=t",
    "--count-column=adc",
    "--probe=P1",
    "--to-end",
    "--into",
    "log.csv",
];

/// Lets the logger's database do `sql`.
fn logger(bench: &Bench, sql: &str) {
    let file = bench.path().join("logger.db");
    Connection::open(file).unwrap().execute_batch(sql).unwrap();
}

/// Time and count of each row captured.
fn captured(bench: &Bench) -> Vec<String> {
    let text = bench.read("log.csv");
    let rows = text.lines().skip(1);
    rows.map(|row| row.split(',').take(3).collect::<Vec<_>>().join(","))
        .collect()
}

#[test]
fn rows_that_got_other_numbers_are_not_written_again() {
    let bench = Bench::small();
    logger(
        &bench,
        "CREATE TABLE obs (t TEXT, adc INTEGER);
         INSERT INTO obs VALUES ('2026-06-01T12:58:00Z', 600), ('2026-06-01T12:59:00Z', 601),
             ('2026-06-01T12:59:30Z', 602), ('2026-06-01T12:59:30Z', 603);",
    );
    bench.run(&CAPTURE).exits(0).says("4 readings appended");
    logger(&bench, "DELETE FROM obs WHERE adc = 600; VACUUM;");
    bench
        .run(&CAPTURE)
        .exits(1)
        .says("have other numbers than before")
        .says("0 readings appended to log.csv; 3 stood there already");
    // Again, with a row of the same second that is new.
    logger(
        &bench,
        "DELETE FROM obs WHERE adc = 601; VACUUM;
         INSERT INTO obs VALUES ('2026-06-01T12:59:30Z', 604), ('2026-06-01T13:00:00Z', 602);",
    );
    bench.run(&CAPTURE).exits(0).says("2 readings appended");
    let rows = [
        ("12:58:00", 600),
        ("12:59:00", 601),
        ("12:59:30", 602),
        ("12:59:30", 603),
        ("12:59:30", 604),
        ("13:00:00", 602),
    ];
    let rows = rows.map(|(time, count)| format!("2026-06-01T{time}Z,P1,{count}"));
    assert_eq!(captured(&bench), rows);
}

#[test]
fn a_dead_logger_is_seen_by_the_exit_code() {
    let bench = Bench::small();
    logger(&bench, "CREATE TABLE obs (t TEXT, adc INTEGER);");
    bench.run(&CAPTURE).exits(1).says("nothing came at all");
    logger(
        &bench,
        "INSERT INTO obs VALUES ('2026-06-01T12:58:00Z', 600);",
    );
    bench.run(&CAPTURE).exits(0).says("1 reading appended");
    let answer = bench.run(&CAPTURE);
    answer
        .exits(1)
        .says("nothing new came since the capture before");
}

#[test]
fn site_toml_may_name_the_database_and_options_go_before_it() {
    let bench = Bench::small();
    let stated = "\n[capture]\ndatabase = \"logger.db\"\ntable = \"obs\"\ntime_column = \"t\"\n\
                  time_unit = \"seconds\"\nprobe_column = \"node\"\ncount_column = \"adc\"\n\
                  temperature_column = \"soil\"\n";
    bench.put("site.toml", bench.read("site.toml") + stated);
    logger(
        &bench,
        "CREATE TABLE obs (t INTEGER, node TEXT, adc INTEGER, other INTEGER, soil REAL);
         INSERT INTO obs VALUES (1780000000, 'P1', 600, 700, 18.5);",
    );
    let capture = ["capture", ".", "--to-end", "--into", "log.csv"];
    bench.run(&capture).exits(0).says("1 reading appended");
    let time = "2026-05-28T20:26:40Z";
    assert!(
        bench
            .read("log.csv")
            .contains(&format!("{time},P1,600,18.5,"))
    );
    let other = [
        "capture",
        ".",
        "--to-end",
        "--into",
        "other.csv",
        "--count-column=other",
    ];
    bench.run(&other).exits(0);
    assert!(
        bench
            .read("other.csv")
            .contains(&format!("{time},P1,700,18.5,"))
    );
    // An option that names another source is about that one only.
    bench.put("log.txt", "601\n");
    let lines = [
        "capture",
        ".",
        "--to-end",
        "--file=log.txt",
        "--into=log.csv",
    ];
    bench.run(&lines).exits(0).says("1 reading appended");
}
