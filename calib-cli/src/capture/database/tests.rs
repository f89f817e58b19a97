use super::*;

/// A database that `sql` made.
fn database(sql: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("logger.db");
    write(&file, sql);
    (folder, file)
}

fn write(file: &Path, sql: &str) {
    Connection::open(file).unwrap().execute_batch(sql).unwrap();
}

fn asked(file: &Path) -> Asked {
    Asked {
        file: file.to_owned(),
        table: "seen".to_owned(),
        count: "adc".to_owned(),
        time: "at".to_owned(),
        unit: Some(TimeUnit::Seconds),
        probe: Some("node".to_owned()),
        temperature: None,
        supply: None,
    }
}

const TABLE: &str = "CREATE TABLE seen (at INTEGER, node TEXT, adc, soil REAL);";

/// Reads to the end; each row as `time,probe,count`, and what else was said.
fn read(source: &mut Database) -> (Vec<String>, Vec<Said>) {
    let (mut rows, mut other) = (Vec::new(), Vec::new());
    loop {
        source.looks_at = Instant::now();
        for said in source.poll(Duration::ZERO).unwrap() {
            match said {
                Said::End => return (rows, other),
                Said::Row(fields, _) => rows.push(what_it_said(&Ok(fields))),
                said => other.push(said),
            }
        }
    }
}

fn rows(source: &mut Database) -> Vec<String> {
    let (rows, other) = read(source);
    assert_eq!(other, []);
    rows
}

fn refused(asked: Asked) -> String {
    match Database::open(asked, true) {
        Err(Failure::Input(complaints)) => {
            let texts: Vec<String> = complaints.iter().map(Complaint::to_string).collect();
            texts.join("\n")
        }
        Err(other) => panic!("{other:?}"),
        Ok(_) => panic!("it was opened"),
    }
}

#[test]
fn rows_whose_ids_are_zero_and_less_are_read_once_too() {
    let (_folder, file) = database(
        "CREATE TABLE seen (id INTEGER PRIMARY KEY, at INTEGER, node TEXT, adc);
         INSERT INTO seen VALUES (-1, 1780000000, 'P1', 511), (0, 1780000000, 'P1', 512);",
    );
    let mut source = Database::open(asked(&file), true).unwrap();
    let first = "2026-05-28T20:26:40Z";
    assert_eq!(
        rows(&mut source),
        [format!("{first},P1,511"), format!("{first},P1,512")]
    );
    assert_eq!(rows(&mut source), Vec::<String>::new());
    write(&file, "INSERT INTO seen VALUES (1, 1780000000, 'P1', 513);");
    assert_eq!(rows(&mut source), [format!("{first},P1,513")]);
}

#[test]
fn rows_come_in_the_order_they_were_put_in_and_go_on_from_the_last() {
    let (_folder, file) = database(&format!(
        "{TABLE} INSERT INTO seen VALUES (1780000000, 'P1', 512, 18.5), (1780000000, 'P2', 400.0, NULL);"
    ));
    let mut source = Database::open(asked(&file), true).unwrap();
    let first = "2026-05-28T20:26:40Z";
    assert_eq!(
        rows(&mut source),
        [format!("{first},P1,512"), format!("{first},P2,400")]
    );
    assert_eq!(rows(&mut source), Vec::<String>::new());
    // Of the same second, put in after the last look.
    write(
        &file,
        "INSERT INTO seen VALUES (1780000000, 'P1', 513, 18.5)",
    );
    let cursor = source.cursor().unwrap();
    assert_eq!(rows(&mut source), [format!("{first},P1,513")]);
    let mut again = Database::open(asked(&file), true).unwrap();
    again.resume(&cursor).unwrap();
    assert_eq!(rows(&mut again), [format!("{first},P1,513")]);
}

#[test]
fn more_rows_than_fit_one_look_come_each_once() {
    let (_folder, file) = database(&format!(
        "{TABLE} WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 2500)
         INSERT INTO seen SELECT 1780000000 + i, 'P1', i, 1 FROM n;"
    ));
    let mut source = Database::open(asked(&file), true).unwrap();
    let rows = rows(&mut source);
    assert_eq!(rows.len(), 2500);
    for (row, count) in rows.iter().zip(1..) {
        assert!(row.ends_with(&format!(",P1,{count}")), "{row}");
    }
}

#[test]
fn a_table_that_was_begun_anew_is_read_from_its_first_row_and_old_rows_may_go() {
    let (_folder, file) = database(&format!(
        "{TABLE} INSERT INTO seen VALUES (1780000000, 'P1', 1, 0), (1780000001, 'P1', 2, 0), (1780000002, 'P1', 3, 0);"
    ));
    let mut source = Database::open(asked(&file), true).unwrap();
    assert_eq!(rows(&mut source).len(), 3);
    // A logger that keeps the last rows only.
    write(
        &file,
        "INSERT INTO seen VALUES (1780000003, 'P1', 4, 0); DELETE FROM seen WHERE adc < 4;",
    );
    assert_eq!(rows(&mut source), ["2026-05-28T20:26:43Z,P1,4"]);
    write(
        &file,
        "DELETE FROM seen; INSERT INTO seen VALUES (1780000009, 'P1', 9, 0);",
    );
    let (rows, other) = read(&mut source);
    assert_eq!(rows, ["2026-05-28T20:26:49Z,P1,9"]);
    assert!(
        matches!(other.as_slice(), [Said::Anew(what)] if what.contains("begun anew")),
        "{other:?}"
    );
}

#[test]
fn names_are_never_taken_for_sql() {
    let (_folder, file) = database(
        "CREATE TABLE \"log \"\"x\"\"; DROP TABLE seen\" (\"at\" INTEGER, \"a c, 1\" INTEGER, rowid TEXT);
         INSERT INTO \"log \"\"x\"\"; DROP TABLE seen\" VALUES (1780000000, 7, 'z');
         CREATE TABLE seen (x);",
    );
    let mut source = Database::open(
        Asked {
            table: "log \"x\"; DROP TABLE seen".to_owned(),
            count: "a c, 1".to_owned(),
            probe: None,
            ..asked(&file)
        },
        true,
    )
    .unwrap();
    assert_eq!(rows(&mut source), ["2026-05-28T20:26:40Z,7"]);
    // A column that is not there would be a text in double quotes.
    let told = refused(Asked {
        table: "SEEN".to_owned(),
        ..asked(&file)
    });
    assert!(
        told.contains("--count-column = \"adc\": is no column"),
        "{told}"
    );
}

#[test]
fn what_is_not_there_is_told_with_what_was_probably_meant() {
    let (_folder, file) = database(&format!(
        "{TABLE} CREATE VIEW latest AS SELECT * FROM seen; CREATE TABLE flat (at INTEGER PRIMARY KEY, adc, node) WITHOUT ROWID;"
    ));
    let table = |name: &str| {
        refused(Asked {
            table: name.to_owned(),
            ..asked(&file)
        })
    };
    assert_eq!(
        table("sean"),
        format!(
            "command line: --table = \"sean\": is no table of {}\n  mend: write seen; its tables: flat, latest and seen",
            file.display()
        )
    );
    assert!(table("latest").contains("is a view"));
    assert!(table("flat").contains("WITHOUT ROWID"));
    let told = refused(Asked {
        count: "adcs".to_owned(),
        temperature: Some("temp".to_owned()),
        ..asked(&file)
    });
    assert!(
        told.contains(
            "--count-column = \"adcs\": is no column of the table seen\n  mend: write adc; its columns: at, node, adc and soil"
        ),
        "{told}"
    );
    assert!(told.contains("--temperature-column = \"temp\""), "{told}");
}

#[test]
fn a_file_that_is_no_sound_database_is_told_from_one_that_is_missing_or_empty() {
    let (folder, file) = database(TABLE);
    let told = |name: &str, bytes: Option<&[u8]>| {
        let other = folder.path().join(name);
        if let Some(bytes) = bytes {
            std::fs::write(&other, bytes).unwrap();
        }
        refused(asked(&other))
    };
    assert!(told("none.db", None).contains("is missing"));
    assert!(told("", None).contains("is a folder"));
    assert!(
        told(
            "text.csv",
            Some(&b"timestamp,probe_id,raw_count\n".repeat(40))
        )
        .contains("is not a SQLite database")
    );
    assert!(told("empty.db", Some(b"")).contains("without any table"));
    let mut bytes = std::fs::read(&file).unwrap();
    let end = bytes.len().min(4096);
    bytes[100..end].fill(0x5a);
    let damaged = told("damaged.db", Some(&bytes));
    assert!(damaged.contains("is a damaged database"), "{damaged}");
}

#[test]
fn a_unit_that_was_not_said_is_asked_for_and_the_databases_own_time_is_utc() {
    let (_folder, file) = database(&format!(
        "{TABLE} INSERT INTO seen VALUES (1780000000123, 'P1', 1, 0);
         CREATE TABLE stamped (at TEXT DEFAULT CURRENT_TIMESTAMP, node, adc);
         INSERT INTO stamped (at, node, adc) VALUES ('2026-05-28 20:26:40', 'P1', 5);"
    ));
    let with = |unit| {
        refused(Asked {
            unit,
            ..asked(&file)
        })
    };
    assert!(
        with(None).contains("add --time-unit milliseconds"),
        "{}",
        with(None)
    );
    let text = with(Some(TimeUnit::UtcText));
    assert!(text.contains("write --time-unit milliseconds"), "{text}");
    let mut stamped = Database::open(
        Asked {
            table: "stamped".to_owned(),
            unit: None,
            ..asked(&file)
        },
        true,
    )
    .unwrap();
    let (rows, other) = read(&mut stamped);
    assert_eq!(rows, ["2026-05-28T20:26:40Z,P1,5"]);
    assert!(
        matches!(other.as_slice(), [Said::Note(what)] if what.contains("UTC")),
        "{other:?}"
    );
}

#[test]
fn a_unit_in_which_all_times_are_long_past_is_the_wrong_one() {
    let days = "INSERT INTO seen VALUES (2461189.1, 'P1', 1, 0), (2461189.2, 'P1', 2, 0);";
    let (_folder, file) = database(&format!("{TABLE} {days}"));
    let told = refused(asked(&file));
    assert!(
        told.contains(
            "--time-unit = \"seconds\": makes 2461189.2 in column at the time 1970-01-29T"
        ) && told.contains("write --time-unit julian-days"),
        "{told}"
    );
    // A clock that was set after the logger's first rows.
    write(
        &file,
        "INSERT INTO seen VALUES (1780000000, 'P1', 512, 18.5)",
    );
    assert!(Database::open(asked(&file), true).is_ok());
}

#[test]
fn texts_in_a_column_that_the_database_would_fill_are_texts() {
    for (written, is_read_as) in [
        ("2026-06-01T08:00:00Z", "2026-06-01T08:00:00Z"),
        ("2026-06-01T10:00:00+02:00", "2026-06-01T08:00:00Z"),
        // For time_format of site.toml to read.
        ("01.06.2026 08:00", "01.06.2026 08:00"),
    ] {
        let (_folder, file) = database(&format!(
            "CREATE TABLE seen (at TEXT DEFAULT CURRENT_TIMESTAMP, node, adc);
             INSERT INTO seen VALUES ('{written}', 'P1', 5);"
        ));
        let unit = None;
        let mut source = Database::open(
            Asked {
                unit,
                ..asked(&file)
            },
            true,
        )
        .unwrap();
        let (rows, _) = read(&mut source);
        assert_eq!(rows, [format!("{is_read_as},P1,5")]);
    }
}

#[test]
fn bytes_and_times_that_are_none_are_refused_and_the_rest_is_read() {
    let (_folder, file) = database(&format!(
        "{TABLE} INSERT INTO seen VALUES (1780000000, 'P1', 1, 0), (1780000001, 'P1', x'00ff', 0), ('soon', 'P1', 3, 0), (1780000003, 'P1', NULL, 0);"
    ));
    let mut source = Database::open(asked(&file), true).unwrap();
    let (rows, other) = read(&mut source);
    assert_eq!(
        rows,
        ["2026-05-28T20:26:40Z,P1,1", "2026-05-28T20:26:43Z,P1,"]
    );
    assert_eq!(other.len(), 2, "{other:?}");
    assert!(other.iter().all(|said| matches!(
        said,
        Said::Refused {
            why: Refusal::FieldRefused,
            ..
        }
    )));
}

#[test]
fn a_lock_at_the_start_is_waited_for_but_not_for_ever() {
    let (_folder, file) = database(&format!(
        "{TABLE} INSERT INTO seen VALUES (1780000000, 'P1', 1, 0);"
    ));
    let writer = Connection::open(&file).unwrap();
    writer
        .execute_batch("BEGIN EXCLUSIVE; INSERT INTO seen VALUES (1780000001, 'P1', 2, 0);")
        .unwrap();
    let reader = open(&file).unwrap();
    let kept_out = reader.unchecked_transaction().unwrap();
    let locked = wait_for_lock(&kept_out, Duration::from_millis(300), &file);
    assert!(locked.is_err_and(|error| is_locked(&error)));
    drop(kept_out);
    // Longer than one look waits.
    let held = WAIT_FOR_LOCK * 4;
    let writing = std::thread::spawn(move || {
        std::thread::sleep(held);
        writer.execute_batch("COMMIT").unwrap();
    });
    let mut source = Database::open(asked(&file), true).unwrap();
    writing.join().unwrap();
    assert_eq!(rows(&mut source).len(), 2);
}

#[test]
fn a_lock_is_waited_for_and_a_long_one_is_told_and_ends() {
    let (_folder, file) = database(&format!(
        "{TABLE} INSERT INTO seen VALUES (1780000000, 'P1', 1, 0);"
    ));
    let mut source = Database::open(asked(&file), false).unwrap();
    let writer = Connection::open(&file).unwrap();
    writer
        .execute_batch("BEGIN EXCLUSIVE; INSERT INTO seen VALUES (1780000001, 'P1', 2, 0);")
        .unwrap();
    let look = |source: &mut Database| {
        source.looks_at = Instant::now();
        source.poll(Duration::ZERO).unwrap()
    };
    assert_eq!(look(&mut source), []);
    source.locked_since = Instant::now().checked_sub(LONG_LOCK);
    assert!(matches!(look(&mut source).as_slice(), [Said::Lost(why)] if why.contains("locked")));
    assert_eq!(look(&mut source), [], "it is told once");
    writer.execute_batch("COMMIT").unwrap();
    let said = look(&mut source);
    assert_eq!(said[0], Said::Back);
    assert_eq!(said.len(), 3, "{said:?}");
}
