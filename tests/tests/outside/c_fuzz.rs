//! What fuzzing the C reader has found worth keeping stays harmless: the inputs in
//! `tests/fuzz/corpus/c_reader` are run again through the fuzz target.
//!
//! Outside: clang with libFuzzer and its sanitisers. The target's first lines say
//! how to look for new inputs.

use super::reader::{WARNINGS, c_header};
use crate::{Check, output_of};
use ovendry_tests::Bench;
use std::path::Path;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "every input kept from fuzzing the C reader is still harmless",
    needs: &["clang"],
    run,
};

fn run() -> Result<(), String> {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus/c_reader");
    let mut inputs = Vec::new();
    for entry in std::fs::read_dir(&kept).map_err(|error| error.to_string())? {
        inputs.push(entry.map_err(|error| error.to_string())?.path());
    }
    let bench = Bench::empty();
    let reader = c_header().companion().ok_or("no reader")?;
    bench.put(reader.file_name, reader.text);
    bench.put("c_reader.c", include_str!("../../fuzz/c/c_reader.c"));
    output_of(
        Command::new("clang")
            .current_dir(bench.path())
            .args(["-std=c99", "-g", "-O1"])
            .args(["-fsanitize=fuzzer,address,undefined"])
            .arg("-fno-sanitize-recover=all")
            .args(WARNINGS)
            .args(["c_reader.c", "-o", "c_reader"]),
    )?;
    // libFuzzer names every input on standard error.
    let mut command = Command::new(bench.path().join("c_reader"));
    let output = command
        .current_dir(bench.path())
        .args(&inputs)
        .output()
        .map_err(|error| error.to_string())?;
    let said = String::from_utf8_lossy(&output.stderr);
    let executed = said.matches("\nExecuted ").count();
    if !output.status.success() || executed != inputs.len() || inputs.is_empty() {
        return Err(format!(
            "{executed} of {} inputs, {}\n{said}",
            inputs.len(),
            output.status
        ));
    }
    println!("{executed} inputs are harmless");
    Ok(())
}
