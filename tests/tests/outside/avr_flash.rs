//! The C header on a small 8-bit controller: it compiles with every warning an
//! error, keeps its tables in flash, and costs little.
//!
//! Outside: avr-gcc with avr-libc for the ATmega328P (32 KB flash, 2 KB RAM).

use crate::{Check, output_of};
use calib_cli::controller::{FORMATS, render};
use ovendry_tests::Bench;
use ovendry_tests::controller::{Recipe, table};
use std::process::Command;

pub const CHECK: Check = Check {
    name: "an 8-bit controller holds table and reader in 1 KB of flash and no RAM",
    needs: &["avr-gcc", "avr-size"],
    run,
};

/// Flash bytes allowed for table and reader over an empty program.
const FLASH_GOAL: i64 = 1024;

/// Code and data bytes of a program whose loop does `statement`.
fn size(bench: &Bench, name: &str, statement: &str) -> Result<[i64; 3], String> {
    let source = format!("{name}.c");
    bench.put(
        &source,
        format!(
            "#include <stdint.h>\n#include \"probe.h\"\nvolatile uint16_t count;\nvolatile int16_t temperature;\nvolatile int16_t answer;\nint main(void)\n{{\n    for (;;) {{\n        {statement}\n    }}\n}}\n"
        ),
    );
    output_of(Command::new("avr-gcc").current_dir(bench.path()).args([
        "-mmcu=atmega328p",
        "-std=c99",
        "-Os",
        "-Wall",
        "-Wextra",
        "-Werror",
        "-pedantic",
        "-Wconversion",
        "-o",
        name,
        &source,
    ]))?;
    let report = output_of(Command::new("avr-size").current_dir(bench.path()).arg(name))?;
    let text = String::from_utf8_lossy(&report).into_owned();
    let numbers: Vec<i64> = text
        .lines()
        .nth(1)
        .unwrap_or_default()
        .split_whitespace()
        .filter_map(|number| number.parse().ok())
        .collect();
    match numbers[..] {
        [code, data, zeroed, ..] => Ok([code, data, zeroed]),
        _ => Err(format!("avr-size said {text}")),
    }
}

fn run() -> Result<(), String> {
    let bench = Bench::empty();
    let table = table(&Recipe::default().calibration("p")).map_err(|e| e.to_string())?;
    let header = FORMATS
        .into_iter()
        .find(|format| format.name() == "C header")
        .ok_or("no C header")?;
    let reader = header.companion().ok_or("no reader")?;
    bench.put(reader.file_name, reader.text);
    bench.put("probe.h", render(header, &table));
    let empty = size(
        &bench,
        "empty",
        "answer = (int16_t)(temperature + (int16_t)count);",
    )?;
    let reading = size(
        &bench,
        "reading",
        "answer = ovendry_theta_v_e4(ovendry_p, count, temperature);",
    )?;
    let checked = size(
        &bench,
        "checked",
        "answer = (ovendry_is_sound(ovendry_p, OVENDRY_P_LENGTH) != 0u) ? ovendry_theta_v_e4(ovendry_p, count, temperature) : 0;",
    )?;
    let over = |size: [i64; 3]| [size[0] - empty[0], size[1] + size[2] - empty[1] - empty[2]];
    let ([flash, ram], [flash_checked, _]) = (over(reading), over(checked));
    println!(
        "{} knots with temperature term: {flash} bytes of flash, {ram} of RAM; {flash_checked} bytes of flash with the start-up check",
        table.record().knots.len()
    );
    if flash > FLASH_GOAL || ram != 0 {
        return Err(format!(
            "{flash} bytes of flash and {ram} of RAM; the goal is {FLASH_GOAL} and none"
        ));
    }
    Ok(())
}
