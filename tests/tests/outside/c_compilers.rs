//! The C header, compiled by real compilers with every common warning an error,
//! gives our integers at every 16-bit count and a grid of temperatures.
//!
//! Outside: the C language as the compiler implements it (ISO/IEC 9899:1999;
//! as C++ ISO/IEC 14882:2011), for a program that includes all headers at once.

use crate::{Check, output_of};
use calib_cli::controller::{ControllerFormat, FORMATS, identifier, render};
use calib_core::calibration::Direction;
use calib_core::controller::ControllerTable;
use calib_core::curve::CurveKind;
use ovendry_tests::Bench;
use ovendry_tests::controller::{Recipe, table, worked_example};
use std::process::Command;

const WARNINGS: [&str; 9] = [
    "-Wall",
    "-Wextra",
    "-Werror",
    "-pedantic",
    "-Wconversion",
    "-Wsign-conversion",
    "-Wshadow",
    "-Wcast-qual",
    "-Wundef",
];

pub const GCC: Check = Check {
    name: "gcc reads every count of a C header as we do",
    needs: &["gcc"],
    run: || agrees("gcc", &["-std=c99", "-O2"]),
};

pub const CLANG: Check = Check {
    name: "clang reads every count of a C header as we do",
    needs: &["clang"],
    run: || agrees("clang", &["-std=c99", "-O2"]),
};

pub const GCC_AS_CPP: Check = Check {
    name: "g++ takes the C header as C++11 and reads it as we do",
    needs: &["g++"],
    run: || agrees("g++", &["-std=c++11", "-O0", "-x", "c++"]),
};

/// Undefined behaviour (overflow, shifts, out-of-bounds) ends the program.
pub const CLANG_SANITISED: Check = Check {
    name: "no count makes a C header do anything undefined",
    needs: &["clang"],
    run: || {
        agrees(
            "clang",
            &[
                "-std=c99",
                "-O1",
                "-fsanitize=undefined,address",
                "-fno-sanitize-recover=all",
            ],
        )
    },
};

/// Temperatures tried, C x 100: missing, the ends and middle of the calibrated
/// range, just outside it, power-on codes and the ends of 16 bits.
const TEMPERATURES: [i16; 12] = [
    i16::MIN,
    i16::MAX,
    -12_700,
    8500,
    0,
    1123,
    1124,
    1987,
    2001,
    2575,
    2804,
    2805,
];

fn c_header() -> &'static dyn ControllerFormat {
    FORMATS
        .into_iter()
        .find(|format| format.name() == "C header")
        .expect("a C header")
}

/// One table of each converter size, in turn of each curve and direction, with
/// and without a temperature term, and the documented example.
fn tables() -> Vec<ControllerTable> {
    let mut tables = vec![ControllerTable::check(worked_example()).expect("a valid table")];
    for bits in 8..=16_u8 {
        let turn = usize::from(bits);
        let recipe = Recipe {
            bits,
            kind: CurveKind::ALL[turn % CurveKind::ALL.len()],
            direction: if bits % 2 == 0 {
                Direction::FallsWhenWetter
            } else {
                Direction::RisesWhenWetter
            },
            bend: 0.4,
            theta: (-0.004, 0.52),
            temperature: (bits % 3 != 0).then_some(0.003 - 0.0005 * f64::from(bits)),
            ..Recipe::default()
        };
        // A name that needs care in C.
        let probe = format!("Probe {bits} \"??/\" \u{e9}");
        tables.push(table(&recipe.calibration(&probe)).expect("a table"));
    }
    tables
}

/// A program that writes theta_v and uncertainty (or fault) of every count at
/// every temperature for every table, 16 bits each, lowest byte first.
fn program(tables: &[ControllerTable], headers: &[String]) -> String {
    let mut text = String::new();
    // Twice, as happens when two parts of a program include the same header.
    for header in headers.iter().chain(headers) {
        text.push_str(&format!("#include \"{header}\"\n"));
    }
    text.push_str("#include <stdio.h>\nstatic void put(int16_t n)\n{\n    putchar((int)((uint16_t)n & 255u));\n    putchar((int)((uint16_t)n >> 8));\n}\nint main(void)\n{\n    uint32_t count;\n");
    for table in tables {
        let id = format!("ovendry_{}", identifier(&table.record().probe));
        text.push_str(&format!(
            "    if (!ovendry_is_sound({id}, {}_LENGTH)) {{ return 1; }}\n",
            id.to_ascii_uppercase()
        ));
        for temperature in TEMPERATURES {
            text.push_str(&format!(
                "    for (count = 0u; count < 65536u; count = count + 1u) {{\n        put(ovendry_theta_v_e4({id}, (uint16_t)count, (int16_t){temperature}L));\n        put(ovendry_uncertainty_e4({id}, (uint16_t)count, (int16_t){temperature}L));\n    }}\n"
            ));
        }
    }
    text.push_str("    return 0;\n}\n");
    text
}

fn ours(table: &ControllerTable, count: u32, temperature: i16) -> [i16; 2] {
    let given = (temperature != i16::MIN).then_some(temperature);
    match table.evaluate(count, given) {
        Ok(reading) => [reading.theta_v, reading.expanded_uncertainty as i16],
        Err(fault) => [fault.code(); 2],
    }
}

fn agrees(compiler: &str, options: &[&str]) -> Result<(), String> {
    let tables = tables();
    let bench = Bench::empty();
    let mut headers = Vec::new();
    for (i, table) in tables.iter().enumerate() {
        let header = c_header().file_name(&format!("table{i}"));
        bench.put(&header, render(c_header(), table));
        headers.push(header);
    }
    let reader = c_header().companion().expect("a reader");
    bench.put(reader.file_name, reader.text);
    bench.put("main.c", program(&tables, &headers));
    output_of(
        Command::new(compiler)
            .current_dir(bench.path())
            .args(options)
            .args(WARNINGS)
            .args(["main.c", "-o", "reader"]),
    )?;
    let bytes = output_of(&mut Command::new(bench.path().join("reader")))?;

    let mut answers = bytes
        .chunks_exact(2)
        .map(|pair| i16::from_le_bytes([pair[0], pair[1]]));
    let mut answered = [0_u32; 2];
    for table in &tables {
        for temperature in TEMPERATURES {
            for count in 0..=65_535 {
                let expected = ours(table, count, temperature);
                let got = [answers.next(), answers.next()];
                if got != expected.map(Some) {
                    return Err(format!(
                        "probe {} at count {count}, temperature {temperature}: expected {expected:?}, got {got:?}",
                        table.record().probe
                    ));
                }
                answered[usize::from(expected[0] < -30_000)] += 1;
            }
        }
    }
    if answers.next().is_some() {
        return Err("the C program wrote more than it was asked".into());
    }
    println!(
        "{compiler}: {} water contents and {} faults agree",
        answered[0], answered[1]
    );
    Ok(())
}
