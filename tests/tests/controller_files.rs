//! Controller files as files: the documented example, the schema, damage of
//! every kind, and `ovendry verify` as a person runs it.

use calib_cli::controller::{
    ControllerFormat, FORMATS, FileError, load, load_fleet, render, render_fleet,
};
use calib_core::controller::{ControllerError, ControllerTable, Fault, Pump};
use calib_core::irrigation::BEHAVIOUR;
use ovendry_tests::controller::{Recipe, table, worked_example};
use ovendry_tests::{Bench, repository};
use serde_json::{Value, json};

fn schema_folder(name: &str) -> String {
    let path = repository().join("calib-cli/schema").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn example() -> ControllerTable {
    ControllerTable::check(worked_example()).unwrap()
}

fn format(name: &str) -> &'static dyn ControllerFormat {
    let found = FORMATS.into_iter().find(|format| format.name() == name);
    found.unwrap_or_else(|| panic!("no format {name}"))
}

fn json_format() -> &'static dyn ControllerFormat {
    format("JSON")
}

fn header_format() -> &'static dyn ControllerFormat {
    format("C header")
}

#[test]
fn the_committed_example_is_what_the_formats_write() {
    for format in FORMATS {
        let committed = schema_folder(&format.file_name("example"));
        let written = render(format, &example());
        assert!(committed == written, "{}:\n{written}", format.name());
        assert_eq!(load(format, committed.as_bytes()), Ok(example()));
    }
}

#[test]
fn the_readings_of_the_documented_example_are_right() {
    let page = schema_folder("CONTROLLER-FILE.md");
    assert!(page.contains(&format!("`{:08x}`", example().crc32())));
    let bytes: Vec<String> = worked_example()
        .image()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    let flowing = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flowing.contains(&bytes.join(" ")), "{}", bytes.join(" "));

    let rows = page_table("| code | temperature_centi");
    assert_eq!(rows.len(), 13);
    for row in rows {
        let code: u32 = row[0].parse().unwrap();
        let temperature = row[1].parse::<i16>().ok();
        let expected: i16 = row[2].parse().unwrap();
        let (answer, uncertainty) = match example().evaluate(code, temperature) {
            Ok(reading) => (reading.theta_v, reading.expanded_uncertainty.to_string()),
            Err(fault) => (fault.code(), String::new()),
        };
        assert_eq!(
            (answer, uncertainty.as_str()),
            (expected, row[3].as_str()),
            "{row:?}"
        );
    }
}

/// The rows of the page's table that begins with `header`, cell by cell.
fn page_table(header: &str) -> Vec<Vec<String>> {
    schema_folder("CONTROLLER-FILE.md")
        .lines()
        .skip_while(|line| !line.starts_with(header))
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(|line| {
            let inner = line.trim_matches('|');
            inner
                .split('|')
                .map(|cell| cell.trim().to_owned())
                .collect()
        })
        .collect()
}

#[test]
fn the_documented_run_of_the_pump_is_what_the_core_does() {
    let table = example();
    let mut pump = Pump::start(&table, 0);
    let rows = page_table("| time | code | answer");
    assert_eq!(rows.len(), 12);
    for row in rows {
        let step = pump.step(row[0].parse().unwrap(), row[1].parse().unwrap(), Some(2000));
        let answer = step
            .answer
            .map_or_else(Fault::code, |reading| reading.theta_v);
        assert_eq!(answer.to_string(), row[2], "{row:?}");
        assert_eq!(if step.on() { "on" } else { "off" }, row[3], "{row:?}");
    }
}

#[test]
fn the_documented_behaviour_is_the_table_of_the_core() {
    let rows: Vec<String> = page_table("| pump | what holds")
        .iter()
        .map(|row| format!("| {} |", row.join(" | ")))
        .collect();
    let ours: Vec<String> = BEHAVIOUR.iter().map(ToString::to_string).collect();
    assert_eq!(rows, ours);
    let faults: Vec<Vec<String>> = Fault::ALL
        .iter()
        .map(|fault| vec![fault.code().to_string(), fault.to_string(), "off".into()])
        .collect();
    assert_eq!(page_table("| code | fault | pump |"), faults);
}

#[test]
fn json_files_follow_their_schema_and_broken_ones_do_not() {
    let schema: Value = serde_json::from_str(&schema_folder("controller.schema.json")).unwrap();
    let mut schemas = boon::Schemas::new();
    let mut compiler = boon::Compiler::new();
    compiler
        .add_resource("controller.schema.json", schema)
        .unwrap();
    let index = compiler
        .compile("controller.schema.json", &mut schemas)
        .unwrap();
    let faults = |document: &Value| {
        schemas
            .validate(document, index)
            .err()
            .map(|e| e.to_string())
    };
    let document = |table: &ControllerTable| -> Value {
        serde_json::from_str(&render(json_format(), table)).unwrap()
    };
    let tables = [
        example(),
        table(&Recipe::default().calibration("p \"1\" \u{e9}")).unwrap(),
        table(
            &Recipe {
                temperature: None,
                bits: 16,
                ..Recipe::default()
            }
            .calibration("q"),
        )
        .unwrap(),
    ];
    for table in &tables {
        assert_eq!(faults(&document(table)), None);
    }

    let good = document(&example());
    let breaks: [(&str, Value); 11] = [
        ("/version", json!(1)),
        ("/live_codes/open_circuit", json!("reads-nothing")),
        ("/sha256", json!("00")),
        ("/adc_bits", json!(7)),
        ("/calibrated_on", json!("2 April 2025")),
        ("/knots/0/count", json!(65_536)),
        ("/knots/0/theta_v_e4", json!(0.5)),
        ("/knots", json!([])),
        ("/temperature/divisor", json!(3)),
        ("/pump/maximum_on_s", json!(0)),
        ("/crc32", json!("278AD43A")),
    ];
    for (place, value) in breaks {
        let mut broken = good.clone();
        *broken.pointer_mut(place).unwrap() = value;
        assert!(faults(&broken).is_some(), "{place}");
    }
    for key in good.as_object().unwrap().keys() {
        let mut broken = good.clone();
        broken.as_object_mut().unwrap().remove(key);
        assert!(faults(&broken).is_some(), "without {key}");
    }
}

#[test]
fn no_single_flipped_bit_is_ever_loaded() {
    for format in FORMATS {
        let whole = render(format, &example()).into_bytes();
        for position in 0..whole.len() {
            for bit in 0..8 {
                let mut damaged = whole.clone();
                damaged[position] ^= 1 << bit;
                assert!(
                    load(format, &damaged).is_err(),
                    "{}: bit {bit} of byte {position}",
                    format.name()
                );
            }
        }
    }
}

#[test]
fn no_file_cut_short_doubled_or_added_to_is_ever_loaded() {
    for format in FORMATS {
        let whole = render(format, &example()).into_bytes();
        for length in 0..whole.len() {
            assert!(load(format, &whole[..length]).is_err(), "{length} bytes");
        }
        let mut added = whole.clone();
        added.push(b'\n');
        assert!(load(format, &added).is_err());
        assert!(load(format, &[whole.clone(), whole.clone()].concat()).is_err());
    }
}

/// Changes the text and seals it anew, as someone would who edits on purpose.
fn edited(
    format: &dyn ControllerFormat,
    from: &str,
    to: &str,
) -> Result<ControllerTable, FileError> {
    let text = render(format, &example());
    assert!(text.contains(from), "{from}");
    let seal = format.seal();
    let length = [seal.sha256.0, seal.sha256.1, seal.crc32.0, seal.crc32.1]
        .map(str::len)
        .iter()
        .sum::<usize>()
        + 64
        + 8;
    let changed = text.replacen(from, to, 1);
    let body = changed[..changed.len() - length].to_owned();
    load(format, seal.close(body).as_bytes())
}

#[track_caller]
fn refused(result: Result<ControllerTable, FileError>, line: Option<u64>, said: &str) {
    let error = result.expect_err("must be refused");
    assert!(error.to_string().contains(said), "{error}");
    assert_eq!(error.line(), line, "{error}");
}

#[test]
fn json_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(json_format(), from, to);
    refused(
        edit("\"count\": 372", "\"count\": 373"),
        None,
        "one of them was changed",
    );
    refused(edit("\"version\": 2", "\"version\": 1"), None, "version 1");
    refused(
        edit("ovendry controller", "other controller"),
        Some(2),
        "format: is not",
    );
    refused(edit("2025-04-02", "2025-02-30"), Some(6), "is not a date");
    refused(edit("\"max_error_e4\": 6,", ""), Some(26), "max_error_e4");
    refused(
        edit("\"adc_bits\"", "\"colour\": 1,\n  \"adc_bits\""),
        Some(8),
        "colour",
    );
    refused(
        edit("\"version\": 2", "\"version\": 2,\n  \"version\": 2"),
        Some(4),
        "duplicate",
    );
    refused(
        edit("\"version\": 2", "\"version\":  2"),
        Some(3),
        "not as version 2",
    );
    refused(
        edit("\"count\": 372", "\"count\": 372.0"),
        Some(16),
        "372.0",
    );
    refused(
        edit("\"divisor\": 65536", "\"divisor\": 3"),
        Some(12),
        "a divisor other than 1, 256 or 65536",
    );
    refused(
        edit("bench-3", "bench-3\\u0007"),
        None,
        "control characters",
    );
    // A name is covered by the file's own digests alone; whoever seals anew may change it.
    assert!(edit("bench-3", "bench-4").is_ok());
}

#[test]
fn a_csv_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("CSV"), from, to);
    let line_of = |text: &str| {
        let table = render(format("CSV"), &example());
        let found = table.lines().position(|line| line.starts_with(text));
        Some(found.unwrap() as u64 + 1)
    };
    let count = "knots.count,1,372";
    refused(edit(count, "knots.count,1,373"), None, "was changed");
    refused(
        edit(count, "knots.count,1,372.5"),
        line_of(count),
        "\"372.5\" is not a whole number",
    );
    refused(
        edit(count, "knots.count,3,372"),
        line_of(count),
        "does not belong here",
    );
    refused(
        edit(count, "knots.count,1"),
        line_of(count),
        "no row of three",
    );
    refused(
        edit(count, "knots.count,1,372\nknots.count,1,372"),
        line_of(count).map(|line| line + 1),
        "does not belong here",
    );
    refused(edit(count, ""), Some(1), "count");
    refused(edit(count, "knots.colour,1,372"), Some(1), "colour");
    refused(edit("version,,2", "version,,1"), None, "version 1");
    refused(
        edit("2025-04-02", "2025-02-30"),
        line_of("calibrated_on"),
        "is not a date",
    );
    refused(
        edit("version,,2", "version,,+2"),
        line_of("version"),
        "not as version 2",
    );
}

#[test]
fn a_header_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(header_format(), from, to);
    let line_of = |text: &str| {
        let header = render(header_format(), &example());
        let found = header.lines().position(|line| line.contains(text));
        Some(found.unwrap() as u64 + 1)
    };
    // Whatever byte is changed, the image's CRC-32 tells; the version before it.
    let first_row = line_of("    0x02, 0x03");
    refused(edit("0x02, 0x03", "0x02, 0x02"), None, "was changed");
    refused(edit("0x02, 0x03", "0x01, 0x03"), None, "version 1");
    refused(edit("0x02, 0x03", "0x02, 3"), first_row, "is not a byte");
    refused(edit("};", "}"), line_of("};"), "\"}\" is not a byte");
    refused(edit("OVENDRY_FLASH =", "="), Some(1), "no bytes of a table");
    // The words for people count too, and so does what the compiler reads.
    refused(
        edit("(532 counts)", "(533 counts)"),
        line_of("532 counts"),
        "not as version 2",
    );
    refused(
        edit("#include \"ovendry", "#include \"other"),
        line_of("#include"),
        "not as version 2",
    );
    refused(edit("probe: \"", "probe: "), line_of("probe: \""), "name");
    refused(edit(" * soil:", " * soul:"), Some(1), "names the soil");
}

#[test]
fn a_module_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("MicroPython module"), from, to);
    let line_of = |text: &str| {
        let module = render(format("MicroPython module"), &example());
        let found = module.lines().position(|line| line.contains(text));
        Some(found.unwrap() as u64 + 1)
    };
    let row = line_of("# version, flags");
    refused(edit("\\x02\\x03", "\\x02\\x02"), None, "was changed");
    refused(edit("\\x02\\x03", "\\x01\\x03"), None, "version 1");
    refused(edit("\\x02\\x03", "\\x02x"), row, "is no row of bytes");
    refused(
        edit("    b\"\\x02", "    \"\\x02"),
        row,
        "is no row of bytes",
    );
    refused(
        edit("TABLE = (\n", "TABLE = \n"),
        Some(1),
        "no bytes of a table",
    );
    refused(
        edit("# full scale", "# all of it"),
        line_of("# full scale"),
        "not as version 2",
    );
    // The reader's code counts too.
    refused(
        edit("held >= _u32(42)", "held >= 0"),
        line_of("held >= _u32(42)"),
        "not as version 2",
    );
    refused(edit("\nsoil:", "\nsoul:"), Some(1), "names the soil");
}

#[test]
fn an_expression_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("SQL expression"), from, to);
    let line_of = |text: &str| {
        let expression = render(format("SQL expression"), &example());
        let found = expression.lines().position(|line| line.contains(text));
        Some(found.unwrap() as u64 + 1)
    };
    refused(edit("image: 0203", "image: 0202"), None, "was changed");
    refused(
        edit("image: 0203", "image: 02 3"),
        line_of("image: 0203"),
        "is not a line of bytes",
    );
    // The expression is no part of the image, but is written from it again.
    refused(
        edit("> 1023 THEN", "> 1022 THEN"),
        line_of("> 1023 THEN"),
        "not as version 2",
    );
    refused(
        edit("THEN -30007", "THEN 30007"),
        line_of("THEN -30007"),
        "not as version 2",
    );
    refused(edit("-- probe:", "-- probes:"), Some(1), "names the probe");
}

#[test]
fn names_with_quotes_and_foreign_letters_come_back_from_every_format() {
    for name in [
        "a \"b\"",
        "back\\slash",
        "what??/",
        "\u{e9}t\u{e9} 7",
        "*/ x",
    ] {
        let mut record = worked_example();
        record.probe = name.into();
        record.soil = name.chars().rev().collect();
        let table = ControllerTable::check(record).unwrap();
        for format in FORMATS {
            assert_eq!(
                load(format, render(format, &table).as_bytes()),
                Ok(table.clone())
            );
        }
        assert!(render(header_format(), &table).is_ascii());
    }
}

#[test]
fn changed_line_ends_are_named_as_such() {
    for format in FORMATS {
        let text = render(format, &example()).replace('\n', "\r\n");
        assert_eq!(load(format, text.as_bytes()), Err(FileError::LineEnds));
    }
}

#[test]
fn a_sound_file_with_an_impossible_table_is_refused() {
    // Written by hand with right checksums, as a faulty exporter might.
    let mut record = worked_example();
    record.set_points.stop_count = 532;
    let crc = record.crc32();
    assert!(matches!(
        ControllerTable::check_with_crc(record, crc),
        Err(ControllerError::SetPointCounts { .. })
    ));
}

/// A bench with the files of one calibration, and that calibration changed by
/// `change` beside them.
fn bench(change: impl Fn(&mut calib_core::calibration::Calibration)) -> Bench {
    let mut calibration = Recipe::default().calibration("north");
    let bench = Bench::empty();
    let table = table(&calibration).unwrap();
    for format in FORMATS {
        bench.put(&format.file_name("north"), render(format, &table));
    }
    change(&mut calibration);
    let file = json!({
        "format": "ovendry calibration",
        "version": 1,
        "program": "test",
        "calibrated_on": "2025-04-02",
        "recheck_by": "2026-04-02",
        "sources": [],
        "explanation": [],
        "calibration": calibration,
    });
    bench.put("north.calibration.json", file.to_string());
    bench
}

#[test]
fn verify_finds_files_the_same_as_the_calibration_beside_them() {
    let answer = bench(|_| {})
        .run(&[
            "verify",
            "north.controller.json",
            "north.h",
            "--on",
            "2026-04-02",
        ])
        .exits(0);
    let answer = answer
        .says("north.controller.json: sound JSON, version 2, table_crc32")
        .says("north.h: sound C header")
        .says("gives the curve of north.calibration.json at every code")
        .says("stated bound 0.0006 m3/m3");
    assert_eq!(answer.stderr, "");
}

#[test]
fn verify_says_where_a_file_differs_most_from_a_changed_curve() {
    bench(|calibration| calibration.curve.parameters[0] += 0.021)
        .run(&["verify", "north.h"])
        .exits(1)
        .says("does NOT give the curve of north.calibration.json")
        .says("the table reads drier")
        .says("stated bound 0.0006 m3/m3")
        .says("do not load it; run `ovendry export`");
}

#[test]
fn verify_sees_a_narrowed_domain_and_a_lost_temperature_term() {
    bench(|calibration| calibration.domain.low += 40.0)
        .run(&["verify", "north.h"])
        .exits(1)
        .says("readings only the table answers");
    bench(|calibration| calibration.temperature = None)
        .run(&["verify", "north.h"])
        .exits(1)
        .says("does NOT give the curve");
    bench(|calibration| calibration.temperature_range = Some((5.0, 30.0)))
        .run(&["verify", "north.h"])
        .exits(1)
        .says("readings only the curve answers");
}

#[test]
fn verify_without_a_calibration_checks_the_file_alone() {
    Bench::empty()
        .with("a.h", schema_folder("example.h"))
        .run(&["verify", "a.h"])
        .exits(0)
        .says("probe bench-3 in soil test bed; calibrated 2025-04-02, check again by 2026-04-02")
        .says("start at theta_v 0.1690 m3/m3 (532 counts), stop at 0.2440 m3/m3 (443 counts)")
        .says("no calibration was given or lies beside it");
}

#[test]
fn verify_warns_of_a_calibration_that_is_due_again() {
    bench(|_| {})
        .run(&["verify", "north.h", "north.table.csv", "--on", "2026-04-03"])
        .exits(0)
        .complains("north.h: probe north was to be checked again by 2026-04-02")
        .complains("calibrate again");
}

#[test]
fn a_fleet_is_read_with_every_table_and_damage_is_never_loaded() {
    let other = table(&Recipe::default().calibration("south")).unwrap();
    let fleet = render_fleet(&[example(), other.clone()]);
    assert_eq!(load_fleet(fleet.as_bytes()), Ok(vec![example(), other]));
    let whole = fleet.into_bytes();
    for length in 0..whole.len() {
        assert!(load_fleet(&whole[..length]).is_err(), "{length} bytes");
    }
    for position in 0..whole.len() {
        for bit in 0..8 {
            let mut damaged = whole.clone();
            damaged[position] ^= 1 << bit;
            assert!(
                load_fleet(&damaged).is_err(),
                "bit {bit} of byte {position}"
            );
        }
    }
}

#[test]
fn verify_compares_every_probe_of_a_fleet_with_the_calibration_beside_it() {
    let bench = bench(|_| {});
    let north = table(&Recipe::default().calibration("north")).unwrap();
    bench.put("fleet.json", render_fleet(&[example(), north]));
    bench
        .run(&["verify", "fleet.json"])
        .exits(0)
        .says("fleet.json: sound fleet, version 2")
        .says("probe bench-3 in soil test bed")
        .says("gives the curve of north.calibration.json at every code");
    bench
        .run(&[
            "verify",
            "fleet.json",
            "--calibration",
            "north.calibration.json",
        ])
        .exits(0)
        .says("gives the curve of north.calibration.json at every code");
    bench.put("fleet.json", render_fleet(&[example(), example()]));
    bench
        .run(&[
            "verify",
            "fleet.json",
            "--calibration",
            "north.calibration.json",
        ])
        .exits(2)
        .complains("holds no table of probe north");
}

#[test]
fn verify_reports_as_json() {
    let json = bench(|_| {})
        .run(&["verify", "--json", "north.h", "north.controller.json"])
        .exits(0)
        .json();
    assert_eq!(json["verdict"], "good");
    assert_eq!(json["files"][0]["format"], "C header");
    assert_eq!(
        json["files"][0]["table_crc32"],
        json["files"][1]["table_crc32"]
    );
    let compared = &json["files"][0]["calibration"];
    assert_eq!(compared["within_bound"], true);
    assert_eq!(compared["only_table_answers"], Value::Null);
    let difference = compared["largest_difference"]["difference"]
        .as_f64()
        .unwrap();
    assert!(difference.abs() <= json["files"][0]["stated_bound"].as_f64().unwrap());
}

#[test]
fn verify_refuses_a_damaged_file_and_still_reports_the_others() {
    let bench = bench(|_| {});
    bench.put(
        "north.h",
        bench.read("north.h").replace("probe: ", "Probe: "),
    );
    bench
        .run(&["verify", "north.h", "north.controller.json"])
        .exits(2)
        .says("north.controller.json: sound JSON")
        .complains("error: north.h: its CRC-32 is stated as")
        .complains("mend: do not load it; copy it again, or export it again");
}

#[test]
fn verify_refuses_what_is_no_controller_file() {
    let bench = bench(|_| {}).with("notes.txt", "hello").with("empty.h", "");
    bench
        .run(&["verify", "notes.txt"])
        .exits(2)
        .complains("notes.txt: is no kind of controller file this program knows");
    bench
        .run(&["verify", "empty.h"])
        .exits(2)
        .complains("empty.h: does not end with its CRC-32");
    bench
        .run(&["verify", "absent.h"])
        .exits(2)
        .complains("absent.h: cannot be read");
    bench
        .run(&["verify", "north.calibration.json"])
        .exits(2)
        .complains("does not end with its CRC-32");
    bench.run(&["verify"]).exits(2);
}

#[test]
fn verify_refuses_to_compare_with_another_probe() {
    bench(|_| {})
        .with("a.h", schema_folder("example.h"))
        .run(&["verify", "a.h", "--calibration", "north.calibration.json"])
        .exits(2)
        .complains("a.h: is for probe bench-3 in soil test bed, but north.calibration.json holds probe north");
}

#[test]
fn verify_notices_two_files_of_one_probe_that_differ() {
    let mut newer = worked_example();
    newer.timing.maximum_on_s += 60;
    let newer = ControllerTable::check(newer).unwrap();
    Bench::empty()
        .with("a.h", schema_folder("example.h"))
        .with("b.controller.json", render(json_format(), &newer))
        .run(&["verify", "a.h", "b.controller.json"])
        .exits(1)
        .says("a.h and b.controller.json are of the same probe but hold different tables");
}
