//! `check --fix` mends form and nothing else: tables whose truth is known are made
//! untidy in every way at once and must come back digit for digit; spoilt tables must
//! keep every digit they had; what could be read before is read the same after.

use ovendry_tests::{Bench, repository};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SAMPLES_HEADER: [&str; 9] = [
    "sample_id",
    "soil",
    "level",
    "tare_g",
    "wet_g",
    "dry_g",
    "probe_id",
    "taken_at",
    "weighed by",
];
const READINGS_HEADER: [&str; 6] = [
    "timestamp",
    "probe_id",
    "raw_count",
    "soil_temp_c",
    "sample_id",
    "supply_mv",
];

/// How a table is exported.
#[derive(Debug, Clone, Copy)]
struct Export {
    delimiter: char,
    /// 0: points, 1: commas, 2: both in one file.
    marks: u8,
}

const EXPORTS: [Export; 7] = [
    Export {
        delimiter: ',',
        marks: 0,
    },
    Export {
        delimiter: ',',
        marks: 1,
    },
    Export {
        delimiter: ',',
        marks: 2,
    },
    Export {
        delimiter: ';',
        marks: 0,
    },
    Export {
        delimiter: ';',
        marks: 1,
    },
    Export {
        delimiter: ';',
        marks: 2,
    },
    Export {
        delimiter: '\t',
        marks: 1,
    },
];

type Table = Vec<Vec<String>>;

/// A mass or temperature. Three decimals could be taken for thousands where marks differ,
/// so those have others.
fn number(random: &mut ChaCha8Rng, from: f64, to: f64, export: Export) -> String {
    let value = random.random_range(from..to);
    let reads_today = export.marks == 1 && export.delimiter != ',';
    match random.random_range(0..4) {
        0 => format!("{value:.0}"),
        1 if reads_today || export.marks == 0 => format!("{value:.3}"),
        2 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

fn cell(table: &Table, header: &[&str]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header).unwrap();
    for row in table {
        writer.write_record(row).unwrap();
    }
    String::from_utf8(writer.into_inner().unwrap()).unwrap()
}

fn true_samples(random: &mut ChaCha8Rng, export: Export) -> Table {
    let core = |n: usize, random: &mut ChaCha8Rng| {
        let mut mass = |from, to| number(random, from, to, export);
        let (tare, wet, dry) = (mass(30.0, 45.0), mass(180.0, 220.0), mass(150.0, 179.0));
        let mut row: Vec<String> = [format!("A{n}"), "loam".into(), format!("L{n}")].into();
        row.extend([tare, wet, dry, "P1".into()]);
        row.push(format!("2026-05-{n:02}T10:15:00+02:00"));
        let own = ["", "Ann", " 1,5 l; \"warm\" ", "12,345", "-", "3.0 g"];
        row.push(own[random.random_range(0..own.len())].to_owned());
        row
    };
    (1..=9).map(|n| core(n, random)).collect()
}

fn true_readings(random: &mut ChaCha8Rng, export: Export) -> Table {
    let reading = |n: usize, random: &mut ChaCha8Rng| {
        let count = random.random_range(0..1024).to_string();
        let temperature = match random.random_range(0..6) {
            0 => String::new(),
            _ => number(random, -9.0, 30.0, export),
        };
        let supply = number(random, 3200.0, 3400.0, export);
        let (day, minute) = (n / 5 + 1, n % 5 + 10);
        let time = format!("2026-05-{day:02}T10:{minute}:00+02:00");
        vec![
            time,
            "P1".into(),
            count,
            temperature,
            format!("A{day}"),
            supply,
        ]
    };
    (0..40).map(|n| reading(n, random)).collect()
}

/// The same table as an untidy export has it.
fn untidy(table: &Table, header: &[&str], export: Export, random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut one_in = |n: u32| random.random_ratio(1, n);
    let (surplus, crlf, mark) = (one_in(3), one_in(2), one_in(2));
    let (times, names, declared) = (one_in(2), one_in(2), one_in(4));
    let mut lines = Vec::new();
    if declared && export.delimiter != '\t' {
        lines.push(format!("sep={}", export.delimiter));
    }
    let mut rows = vec![
        header
            .iter()
            .map(|name| (*name).to_owned())
            .collect::<Vec<_>>(),
    ];
    rows.extend(table.iter().cloned());
    for (place, row) in rows.into_iter().enumerate() {
        if place > 0 && random.random_ratio(1, 6) {
            lines.push(String::new());
            lines.push(export.delimiter.to_string().repeat(header.len() - 1));
        }
        let cells = row.into_iter().zip(header).map(|(mut cell, name)| {
            let own = *name == "weighed by";
            let ends = |unit| name.ends_with(unit) && !own;
            if place == 0 && !own && names {
                cell = match random.random_range(0..4) {
                    0 => format!(" {} ", cell.to_uppercase()),
                    1 => cell.replace('_', "-"),
                    2 => cell
                        .replacen("stamp", "stmp", 1)
                        .replacen("count", "cuont", 1),
                    _ => cell,
                };
            } else if place > 0 && (ends("_g") || ends("_c") || ends("_mv")) {
                let comma = match export.marks {
                    0 => false,
                    1 => true,
                    _ => random.random(),
                };
                if comma {
                    cell = cell.replace('.', ",");
                }
                if random.random_ratio(1, 8) && !cell.is_empty() {
                    let unit = name.rsplit('_').next().unwrap_or_default();
                    cell = format!("{cell} {}", unit.to_uppercase());
                } else if random.random_ratio(1, 8) && cell.is_empty() {
                    cell = "n/a".to_owned();
                }
            } else if place > 0 && times && (ends("taken_at") || ends("timestamp")) {
                let (date, rest) = cell.split_once('T').expect("a time");
                let parts: Vec<&str> = date.split('-').collect();
                cell = format!("{}/{}/{} {}", parts[2], parts[1], parts[0], &rest[..5]);
            }
            if !own && random.random_ratio(1, 8) {
                cell = format!("{cell}  ");
            }
            let needed = cell.contains([export.delimiter, '"']);
            if needed || random.random_ratio(1, 5) {
                cell = format!("\"{}\"", cell.replace('"', "\"\""));
            }
            cell
        });
        let cells: Vec<String> = cells.collect();
        let end = if surplus {
            export.delimiter.to_string().repeat(2)
        } else {
            String::new()
        };
        lines.push(cells.join(&export.delimiter.to_string()) + &end);
    }
    let ends = if crlf { "\r\n" } else { "\n" };
    let text = lines.join(ends) + ends;
    let mark = if mark { "\u{feff}" } else { "" };
    format!("{mark}{text}").into_bytes()
}

fn bench() -> Bench {
    let bench = Bench::small();
    let site = bench.read("site.toml");
    let declared = "[site]\ntime_format = \"%d/%m/%Y %H:%M\"\nutc_offset = \"+02:00\"\n";
    bench.put("site.toml", site.replacen("[site]\n", declared, 1));
    bench
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    /// The truth is known: every cell comes back digit for digit.
    #[test]
    fn an_untidy_table_comes_back_digit_for_digit(seed: u64, samples_as in 0..EXPORTS.len(), readings_as in 0..EXPORTS.len()) {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let bench = bench();
        let (samples_as, readings_as) = (EXPORTS[samples_as], EXPORTS[readings_as]);
        let samples = true_samples(&mut random, samples_as);
        let readings = true_readings(&mut random, readings_as);
        let untidy_samples = untidy(&samples, &SAMPLES_HEADER, samples_as, &mut random);
        let untidy_readings = untidy(&readings, &READINGS_HEADER, readings_as, &mut random);
        bench.put("samples.csv", &untidy_samples);
        bench.put("readings.csv", &untidy_readings);

        let before = bench.contents();
        bench.run(&["check", ".", "--fix", "--dry-run"]);
        prop_assert!(bench.contents() == before, "a dry run writes nothing");

        let answer = bench.run(&["check", ".", "--fix"]);
        prop_assert!(matches!(answer.code, Some(0 | 2)), "{answer:?}");
        let expected = cell(&samples, &SAMPLES_HEADER);
        prop_assert_eq!(bench.read("samples.csv"), expected, "{}{}", answer.stdout, answer.stderr);
        let expected = cell(&readings, &READINGS_HEADER);
        prop_assert_eq!(bench.read("readings.csv"), expected, "{}{}", answer.stdout, answer.stderr);
        for (name, bytes) in [("samples.csv", untidy_samples), ("readings.csv", untidy_readings)] {
            if bytes != bench.read(name).into_bytes() {
                let kept = std::fs::read(bench.path().join(format!("{name}.previous"))).unwrap();
                prop_assert_eq!(kept, bytes);
            }
        }
        let after = bench.contents();
        let again = bench.run(&["check", ".", "--fix"]);
        prop_assert!(again.stdout.starts_with("no form to mend\n"), "{}", again.stdout);
        prop_assert!(bench.contents() == after);
    }

    /// Bytes changed, put in and cut out at random: whatever the program makes of that,
    /// no digit below the header is lost, added or moved.
    #[test]
    fn a_spoilt_table_keeps_every_digit(seed: u64, as_ in 0..EXPORTS.len(), spoilt in 1..12_usize) {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let bench = Bench::small();
        let samples = true_samples(&mut random, EXPORTS[as_]);
        let mut bytes = cell(&samples, &SAMPLES_HEADER).into_bytes();
        if EXPORTS[as_].delimiter == ';' {
            let text = String::from_utf8(bytes).unwrap();
            bytes = text.replace(',', ";").replace('.', ",").into_bytes();
        }
        let spoilers = b"\"\"\",,;;\n\r\t. -=g0195NaN/\xc3\xff";
        let header = bytes.iter().position(|byte| *byte == b'\n').unwrap_or_default();
        for _ in 0..spoilt {
            let at = random.random_range(header + 1..bytes.len());
            let spoiler = spoilers[random.random_range(0..spoilers.len())];
            match random.random_range(0..3) {
                0 => bytes[at] = spoiler,
                1 => bytes.insert(at, spoiler),
                _ => { bytes.remove(at); }
            }
        }
        bench.put("samples.csv", &bytes);
        let answer = bench.run(&["check", ".", "--fix"]);
        prop_assert!(matches!(answer.code, Some(0 | 2)), "{answer:?}");
        let after = std::fs::read(bench.path().join("samples.csv")).unwrap();
        let digits = |bytes: &[u8]| -> Vec<u8> {
            bytes.iter().copied().filter(u8::is_ascii_digit).collect()
        };
        prop_assert_eq!(digits(&bytes), digits(&after), "{}", String::from_utf8_lossy(&bytes));
    }
}

/// What every core and count comes to, before and after.
#[test]
fn a_spreadsheets_export_of_the_demo_gives_the_same_pairs_before_and_after() {
    let bench = Bench::demo();
    for name in ["samples.csv", "readings.csv"] {
        let text = bench.read(name);
        let exported: Vec<String> = text
            .lines()
            .map(|line| {
                let cells = line.split(',').map(|cell| match cell.parse::<f64>() {
                    Ok(_) => cell.replace('.', ","),
                    Err(_) => cell.to_owned(),
                });
                cells.collect::<Vec<_>>().join(";") + ";;\r\n"
            })
            .collect();
        bench.put(name, format!("\u{feff}{}", exported.concat()));
    }
    let before = bench.run(&["pair", ".", "--out", "-"]).exits(0);
    bench
        .run(&["check", ".", "--fix"])
        .exits(0)
        .says("cells are parted by commas, not semicolons\n")
        .says("decimal commas become decimal points: 63 lines, 2-64\n")
        .says("more lines of the diff; --whole-diff shows them all\n")
        .says("wrote samples.csv; as it was: samples.csv.previous\n")
        .says("no problems\n");
    let after = bench.run(&["pair", ".", "--out", "-"]).exits(0);
    assert_eq!(before.stdout, after.stdout);
    for name in ["samples.csv", "readings.csv"] {
        let original = std::fs::read_to_string(repository().join("demo-data").join(name));
        assert_eq!(bench.read(name), original.unwrap(), "{name}");
    }
}

#[test]
fn what_this_program_lays_out_has_no_form_to_mend() {
    let bench = Bench::empty();
    bench.run(&["start", "field"]).exits(0);
    bench.run(&["start", "try", "--demo"]).exits(0);
    for folder in ["field", "try"] {
        let before = bench.contents();
        let answer = bench.run(&["check", folder, "--fix"]);
        assert!(answer.stdout.starts_with("no form to mend\n"), "{answer:?}");
        assert!(bench.contents() == before);
    }
}

#[test]
fn a_dry_run_shows_the_diff_writes_nothing_and_says_what_would_remain() {
    let bench = Bench::small();
    let samples = bench.read("samples.csv");
    let untidy = samples
        .replacen("dry_g", "Dry-G", 1)
        .replacen("38.42", "38.42 g", 1)
        .replacen("38.10", "3x.10", 1);
    bench.put("samples.csv", &untidy);
    let before = bench.contents();
    bench
        .run(&["check", "."])
        .exits(2)
        .says("1 problem in 1 file; nothing was changed\n")
        .says("\nsome of this is form only: ovendry check . --fix --dry-run shows");
    bench
        .run(&["check", ".", "--fix", "--dry-run"])
        .exits(2)
        .says("samples.csv: form only, no number altered\n")
        .says("  the column `Dry-G` is named `dry_g`: line 1\n")
        .says("  units are taken off that the column's name says already: line 2\n")
        .says("--- samples.csv\n+++ samples.csv\n@@ -1,3 +1,3 @@\n-sample_id,soil,level,tare_g,wet_g,Dry-G,")
        .says("nothing was written")
        .says("1 problem in 1 file, which no change of form mends\n")
        .says("samples.csv:3: tare_g = \"3x.10\": is not a number\n");
    assert!(bench.contents() == before, "a dry run writes nothing");
    let answer = bench
        .run(&["check", ".", "--fix", "--json"])
        .exits(2)
        .json();
    assert_eq!(answer["fix"]["written"], true);
    assert_eq!(
        answer["fix"]["files"][0]["previous"],
        "samples.csv.previous"
    );
    assert_eq!(answer["problems"][0]["value"], "3x.10");
    assert_eq!(bench.read("samples.csv.previous"), untidy);
    assert_eq!(
        bench.read("samples.csv"),
        samples.replacen("38.10", "3x.10", 1)
    );
}

#[test]
fn what_would_be_a_guess_is_left_and_said() {
    let left = |edit: &dyn Fn(&str) -> Vec<u8>, says: &str| {
        let bench = Bench::small();
        let bytes = edit(&bench.read("samples.csv"));
        bench.put("samples.csv", &bytes);
        bench.run(&["check", ".", "--fix"]).exits(2).says(says);
        let after = std::fs::read(bench.path().join("samples.csv")).unwrap();
        assert!(after == bytes, "{says}");
    };
    // Thousands or decimals?
    left(
        &|text| text.replace("38.42", "\"1,234\"").into(),
        "samples.csv:2: tare_g = \"1,234\"",
    );
    left(
        &|text| text.replace("38.42", "0.038 kg").into(),
        "carries a unit",
    );
    left(
        &|text| text.replace("dry_g,", "dry_kg,").into(),
        "dry_g: the column is missing",
    );
    left(
        &|text| text.replacen("invented", "\"invented", 1).into(),
        "samples.csv: its form is left as it is: ",
    );
    left(
        &|text| [text.as_bytes(), b"\xe9\n"].concat(),
        "samples.csv: its form is left as it is: it is not text that can be read without guessing\n",
    );
}

#[test]
fn two_byte_text_is_mended_and_the_last_line_is_never_completed() {
    let bench = Bench::small();
    let samples = bench.read("samples.csv");
    let units = std::iter::once(0xFEFF).chain(samples.encode_utf16());
    bench.put(
        "samples.csv",
        units.flat_map(u16::to_le_bytes).collect::<Vec<u8>>(),
    );
    let readings = bench.read("readings.csv").replace(',', ";");
    bench.put("readings.csv", readings.trim_end());
    bench
        .run(&["check", ".", "--fix"])
        .exits(0)
        .says("UTF-16 text is written as UTF-8\n");
    assert_eq!(bench.read("samples.csv"), samples);
    assert_eq!(
        bench.read("readings.csv"),
        readings.trim_end().replace(';', ",")
    );
}

#[test]
fn a_file_that_a_capture_appends_to_is_left_until_that_has_ended() {
    let bench = Bench::small();
    let untidy = bench.read("readings.csv").replace(',', ";");
    bench.put("readings.csv", &untidy);
    let lock = std::fs::File::create(bench.path().join("readings.csv.lock")).unwrap();
    lock.lock().unwrap();
    bench
        .run(&["check", ".", "--fix"])
        .exits(2)
        .complains("readings.csv: another capture is appending to it\n");
    drop(lock);
    let broken_off = r#"{"running": {"source": null, "length": 0, "sha256": ""}}"#;
    bench.put("readings.csv.capture", broken_off);
    bench
        .run(&["check", ".", "--fix"])
        .exits(2)
        .complains("readings.csv: a capture into it was broken off");
    assert_eq!(bench.read("readings.csv"), untidy);
    std::fs::remove_file(bench.path().join("readings.csv.capture")).unwrap();
    bench.run(&["check", ".", "--fix"]).exits(0);
    assert_eq!(bench.read("readings.csv"), untidy.replace(';', ","));
}

#[test]
fn commas_below_a_name_that_is_not_known_hold_the_file_back() {
    let bench = Bench::small();
    let samples = bench
        .read("samples.csv")
        .replace(',', ";")
        .replace('.', ",");
    let samples = samples.replacen("wet_g", "wet", 1);
    bench.put("samples.csv", &samples);
    bench
        .run(&["check", ".", "--fix"])
        .says("its column `wet` holds numbers with decimal commas and is not known");
    assert_eq!(bench.read("samples.csv"), samples);
    bench.put("samples.csv", samples.replacen("wet", "wet_g", 1));
    bench.run(&["check", ".", "--fix"]).exits(0);
}

#[test]
fn a_lost_decimal_mark_is_asked_for_before_anything_else() {
    let bench = Bench::small();
    let samples = bench.read("samples.csv").replacen("178.28", "17828", 1);
    bench.put("samples.csv", samples);
    bench
        .run(&["check", "."])
        .exits(2)
        .says("dry_g = \"17828\": is about 100 times what the other cores weigh")
        .says("mend: write 178.28 if that is what the balance said");
}
