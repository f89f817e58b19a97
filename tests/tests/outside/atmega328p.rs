//! The C reader on a small 8-bit controller: every answer is ours, and table,
//! reader and pump cost little flash, RAM and time.
//!
//! Outside: avr-gcc with avr-libc for the ATmega328P (32 KB flash, 2 KB RAM),
//! and simavr, which runs the program cycle by cycle.

use super::c_compilers::TEMPERATURES;
use super::made_up::tables;
use super::reader::{Agreed, Case, WARNINGS, compare, put_cases, put_table, readings};
use crate::{Check, output_of};
use ovendry_tests::Bench;
use ovendry_tests::controller::{Recipe, table};
use std::process::Command;

pub const ANSWERS: Check = Check {
    name: "an 8-bit controller reads every count and switches the pump as we do",
    needs: &["avr-gcc", "simavr", "timeout"],
    run: answers,
};

pub const COST: Check = Check {
    name: "an 8-bit controller holds table and reader in 1 KB and converts in 600 cycles",
    needs: &["avr-gcc", "avr-size", "simavr", "timeout"],
    run: cost,
};

/// Bytes of flash for table and reader (theta_v) over an empty program, -O2.
const FLASH_GOAL: i64 = 1024;
/// Bytes of RAM, the pump's state among them.
const RAM_GOAL: i64 = 16;
/// Cycles of the slowest conversion, -O2.
const CYCLES_GOAL: i16 = 600;
/// The same with -Os, which shifts in loops to save flash.
const CYCLES_OF_SMALL: i16 = 660;

fn put_support(bench: &Bench) {
    bench.put("atmega328p.h", include_str!("targets/atmega328p.h"));
    bench.put("atmega328p.c", include_str!("targets/atmega328p.c"));
    bench.put(
        "atmega328p_cycles.c",
        include_str!("targets/atmega328p_cycles.c"),
    );
}

fn compile(bench: &Bench, source: &str, name: &str, options: &[&str]) -> Result<(), String> {
    output_of(
        Command::new("avr-gcc")
            .current_dir(bench.path())
            .args(["-mmcu=atmega328p", "-std=c99"])
            .args(WARNINGS)
            .args(options)
            .args(["-o", name, source]),
    )
    .map(drop)
}

/// The numbers a program sent over the UART. simavr shows what the UART sends a
/// line at a time, between the codes for green and for no colour.
fn simulate(bench: &Bench, name: &str) -> Result<Vec<i16>, String> {
    let mut command = Command::new("timeout");
    command.current_dir(bench.path()).args([
        "300",
        "simavr",
        "-m",
        "atmega328p",
        "-f",
        "16000000",
        name,
    ]);
    let output = command
        .output()
        .map_err(|error| format!("{command:?} cannot be started: {error}"))?;
    let mut shown = output.stdout;
    shown.extend(output.stderr);
    let shown = String::from_utf8_lossy(&shown).into_owned();
    let digits: String = shown
        .split("\u{1b}[32m")
        .skip(1)
        .filter_map(|piece| piece.split("\u{1b}[0m").next())
        .flat_map(str::chars)
        .filter(char::is_ascii_hexdigit)
        .collect();
    if !output.status.success() || digits.is_empty() {
        return Err(format!("{command:?}: {}\n{shown}", output.status));
    }
    digits
        .as_bytes()
        .chunks(4)
        .map(|four| {
            std::str::from_utf8(four)
                .ok()
                .and_then(|four| u16::from_str_radix(four, 16).ok())
                .map(u16::cast_signed)
                .ok_or_else(|| format!("no number: {four:?}"))
        })
        .collect()
}

fn answers() -> Result<(), String> {
    let mut all = tables();
    // 65536 counts take the simulator minutes; other targets read them.
    all.retain(|table| table.full_scale() < u16::MAX);
    for (i, table) in all.into_iter().enumerate() {
        let level = ["-Os", "-O2"][i % 2];
        let cases = [Case::of_every_count(table)];
        let bench = Bench::empty();
        put_cases(&bench, &cases);
        put_support(&bench);
        compile(&bench, "atmega328p.c", "answers", &[level])?;
        let mut sent = simulate(&bench, "answers")?;
        if sent.pop() != Some(1) {
            return Err("the table was not found sound".into());
        }
        let mut agreed = Agreed::default();
        compare(&cases, sent.into_iter(), &mut agreed)?;
        println!("ATmega328P, {level}: all agree: {agreed:?}");
    }
    Ok(())
}

/// Code and data bytes of a program whose `main` does `body`.
fn size(bench: &Bench, name: &str, body: &str, level: &str) -> Result<[i64; 2], String> {
    let source = format!("{name}.c");
    bench.put(
        &source,
        format!(
            "#include \"table0.h\"\nvolatile uint16_t count;\nvolatile int16_t temperature;\nvolatile int16_t answer;\nvolatile uint32_t now_s;\nint main(void)\n{{\n    {body}\n}}\n"
        ),
    );
    compile(bench, &source, name, &[level])?;
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
        [code, data, zeroed, ..] => Ok([code, data + zeroed]),
        _ => Err(format!("avr-size said {text}")),
    }
}

/// What a build costs: flash of table and reader, with the check too, with the
/// pump, with both; RAM with the pump.
fn sizes(bench: &Bench, level: &str) -> Result<([i64; 4], i64), String> {
    let empty = size(
        bench,
        "empty",
        "for (;;) { answer = (int16_t)(temperature + (int16_t)count + (int16_t)now_s); }",
        level,
    )?;
    let theta = "answer = ovendry_theta_v_e4(ovendry_table_p, count, temperature);";
    let sound =
        "if (ovendry_is_sound(ovendry_table_p, OVENDRY_TABLE_P_LENGTH) == 0u) { return 1; }";
    let pump = "static ovendry_pump pump; int16_t got; ovendry_pump_start(&pump, now_s);\n    for (;;) { if (ovendry_pump_step(&pump, ovendry_table_p, now_s, count, temperature, &got) != 0u) { count = 1u; } answer = got; }";
    let mut flash = [0; 4];
    let mut ram = 0;
    for (i, (name, body)) in [
        ("reading", format!("for (;;) {{ {theta} }}")),
        ("checked", format!("{sound} for (;;) {{ {theta} }}")),
        ("pumping", pump.to_owned()),
        ("all", format!("{sound} {pump}")),
    ]
    .into_iter()
    .enumerate()
    {
        let taken = size(bench, name, &body, level)?;
        flash[i] = taken[0] - empty[0];
        ram = ram.max(taken[1] - empty[1]);
    }
    Ok((flash, ram))
}

fn cycles(bench: &Bench, measure: &str, level: &str) -> Result<i16, String> {
    compile(
        bench,
        "atmega328p_cycles.c",
        "cycles",
        &[level, measure, "-Wno-unused-variable"],
    )?;
    match simulate(bench, "cycles")?[..] {
        [cycles, _] => Ok(cycles),
        ref other => Err(format!("the program for cycles sent {other:?}")),
    }
}

fn cost() -> Result<(), String> {
    let table = table(&Recipe::default().calibration("p")).map_err(|error| error.to_string())?;
    let bench = Bench::empty();
    put_table(&bench, &table, &readings(&table, 1500), &TEMPERATURES);
    put_support(&bench);
    for (level, cycles_goal) in [("-O2", CYCLES_GOAL), ("-Os", CYCLES_OF_SMALL)] {
        let ([reading, checked, pumping, all], ram) = sizes(&bench, level)?;
        let conversion = cycles(&bench, "-DMEASURE=1", level)?;
        let step = cycles(&bench, "-DMEASURE=2", level)?;
        let check = cycles(&bench, "-DMEASURE=3", level)?;
        println!(
            "ATmega328P, {level}, {} knots with temperature term: {reading} bytes of flash for table and reader, {checked} with the start-up check, {pumping} with the pump, {all} with both; {ram} bytes of RAM; at most {conversion} cycles a conversion, {step} a pump step, about {} for the check",
            table.record().knots.len(),
            256 * i64::from(check)
        );
        if reading > FLASH_GOAL || ram > RAM_GOAL || conversion > cycles_goal {
            return Err(format!(
                "{level}: the goals are {FLASH_GOAL} bytes of flash for table and reader, {RAM_GOAL} of RAM and {cycles_goal} cycles a conversion"
            ));
        }
    }
    Ok(())
}
