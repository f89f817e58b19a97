//! The C reader and headers, compiled by real compilers with every common
//! warning an error, give our integers at every 16-bit count and a grid of
//! temperatures, and switch the pump as we do.
//!
//! Outside: the C language as the compiler implements it (ISO/IEC 9899:1999;
//! as C++ ISO/IEC 14882:2011), for a program that includes all headers at once.

use super::made_up::tables;
use super::reader::{Agreed, Case, WARNINGS, compare, numbers, put_cases, readings};
use crate::{Check, output_of};
use calib_core::calibration::Direction;
use calib_core::controller::ControllerTable;
use calib_core::curve::CurveKind;
use ovendry_tests::Bench;
use ovendry_tests::controller::{Recipe, table};
use std::process::Command;

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
pub const TEMPERATURES: [i16; 12] = [
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

/// Pump steps a table.
const STEPS: usize = 3000;

/// A made-up table of a converter of `bits`: in turn each curve and direction,
/// with and without a temperature term.
pub fn made_up(bits: u8) -> ControllerTable {
    let turn = usize::from(bits);
    let recipe = Recipe {
        bits,
        kind: CurveKind::ALL[turn % CurveKind::ALL.len()],
        direction: if bits.is_multiple_of(2) {
            Direction::FallsWhenWetter
        } else {
            Direction::RisesWhenWetter
        },
        bend: 0.4,
        theta: (-0.004, 0.52),
        temperature: (!bits.is_multiple_of(3)).then_some(0.003 - 0.0005 * f64::from(bits)),
        ..Recipe::default()
    };
    // A name that needs care in C.
    let probe = format!("Probe {bits} \"??/\" \u{e9}");
    table(&recipe.calibration(&probe)).expect("a table")
}

/// One table of each converter size at every 16-bit count, and the tables of
/// [`made_up`](super::made_up) at more temperatures and every count there is.
fn cases() -> Vec<Case> {
    let of_each_size = (8..=16).map(made_up).map(|table| Case {
        last: u16::MAX,
        temperatures: TEMPERATURES.to_vec(),
        readings: readings(&table, STEPS),
        table,
    });
    of_each_size
        .chain(tables().into_iter().map(Case::of_every_count))
        .collect()
}

fn agrees(compiler: &str, options: &[&str]) -> Result<(), String> {
    let cases = cases();
    let bench = Bench::empty();
    put_cases(&bench, &cases);
    bench.put("hosted.c", include_str!("targets/hosted.c"));
    output_of(
        Command::new(compiler)
            .current_dir(bench.path())
            .args(options)
            .args(WARNINGS)
            .args(["hosted.c", "-o", "reader"]),
    )?;
    let bytes = output_of(&mut Command::new(bench.path().join("reader")))?;
    let mut agreed = Agreed::default();
    compare(&cases, numbers(&bytes), &mut agreed)?;
    println!("{compiler}: all agree: {agreed:?}");
    Ok(())
}
