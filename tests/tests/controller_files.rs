//! Controller files as files: the documented example and page, the schema, damage of
//! every kind.

use calib_cli::controller::{FORMATS, FileError, load, load_fleet, render, render_fleet};
use calib_core::controller::{ControllerError, ControllerTable, Fault, Pump};
use calib_core::irrigation::BEHAVIOUR;
use ovendry_tests::controller::{Recipe, example, format, table, worked_example};
use ovendry_tests::repository;
use serde_json::{Value, json};

fn schema_folder(name: &str) -> String {
    let path = repository().join("calib-cli/schema").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
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
        serde_json::from_str(&render(format("JSON"), table)).unwrap()
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
        assert!(render(format("C header"), &table).is_ascii());
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

#[test]
fn a_fleet_is_read_with_every_table_and_damage_is_never_loaded() {
    let other = table(&Recipe::default().calibration("south")).unwrap();
    let fleet = render_fleet(&[example(), other.clone()]);
    assert_eq!(load_fleet(fleet.as_bytes()), Ok(vec![example(), other]));
    let twice = render_fleet(&[example(), example()]);
    let said = load_fleet(twice.as_bytes()).unwrap_err().to_string();
    assert!(said.contains("names probe bench-3 twice"), "{said}");
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
