//! The C reader on a bare 32-bit controller, without a C library: every answer
//! is ours.
//!
//! Outside: arm-none-eabi-gcc for the Cortex-M0 (which cannot read a number at
//! an odd address) and the Cortex-M3, run by QEMU on a board with a Cortex-M3.

use super::c_compilers::{TEMPERATURES, made_up};
use super::made_up::tables;
use super::reader::{Agreed, Case, WARNINGS, compare, numbers, put_cases, readings};
use crate::{Check, output_of};
use ovendry_tests::Bench;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "a bare 32-bit controller reads every count and switches the pump as we do",
    needs: &["arm-none-eabi-gcc", "qemu-system-arm", "timeout"],
    run,
};

fn run() -> Result<(), String> {
    let cases: Vec<Case> = [10, 12, 13, 16]
        .into_iter()
        .map(|bits| {
            let table = made_up(bits);
            Case {
                last: table.full_scale().saturating_add(1),
                temperatures: if bits < 16 {
                    TEMPERATURES.to_vec()
                } else {
                    vec![i16::MIN, 1124, 2575]
                },
                readings: readings(&table, 3000),
                table,
            }
        })
        // Every divisor of the temperature term, and the largest numbers.
        .chain(tables().into_iter().skip(5).map(|table| {
            let mut case = Case::of_every_count(table);
            if case.last == u16::MAX {
                case.temperatures = vec![1150, 1987, 2780];
            }
            case
        }))
        .collect();
    for (core, level) in [("cortex-m0", "-Os"), ("cortex-m3", "-O2")] {
        let bench = Bench::empty();
        put_cases(&bench, &cases);
        bench.put("cortex_m3.c", include_str!("targets/cortex_m3.c"));
        bench.put("cortex_m3.ld", include_str!("targets/cortex_m3.ld"));
        output_of(
            Command::new("arm-none-eabi-gcc")
                .current_dir(bench.path())
                .arg(format!("-mcpu={core}"))
                .args(["-mthumb", "-std=c99", level, "-ffreestanding"])
                .args(WARNINGS)
                .args(["-nostdlib", "-T", "cortex_m3.ld", "-o", "reader"])
                .args(["cortex_m3.c", "-lgcc"]),
        )?;
        // The board says on standard error that its idle timer has no period.
        let ended = Command::new("timeout")
            .current_dir(bench.path())
            .args(["300", "qemu-system-arm", "-M", "lm3s6965evb"])
            .args(["-display", "none", "-monitor", "none"])
            .args(["-serial", "file:sent", "-semihosting"])
            .args(["-kernel", "reader"])
            .output()
            .map_err(|error| format!("timeout cannot be started: {error}"))?;
        if !ended.status.success() {
            return Err(format!("{core} {level}: {ended:?}"));
        }
        let sent = std::fs::read(bench.path().join("sent")).map_err(|error| error.to_string())?;
        let mut agreed = Agreed::default();
        compare(&cases, numbers(&sent), &mut agreed)?;
        println!("{core}, {level}: all agree: {agreed:?}");
    }
    Ok(())
}
