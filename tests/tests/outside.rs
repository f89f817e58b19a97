//! Checks against the outside: other programs that must agree with ours.
//!
//! They need programs that are not part of this workspace, so they run only
//! where asked for, `OVENDRY_OUTSIDE=1 cargo test -p ovendry-tests --test
//! outside`, and there a missing program is a failure. Otherwise each is listed
//! as ignored and a closing line says what was left out.
//!
//! Adding a check: one module under `outside/` that makes a [`Check`], and one
//! line in [`CHECKS`].

mod outside {
    pub mod agreement;
    pub mod atmega328p;
    pub mod both_axes;
    pub mod bucket;
    pub mod c_compilers;
    pub mod c_damage;
    pub mod c_fuzz;
    pub mod capture;
    pub mod cortex_m3;
    pub mod database;
    pub mod drift;
    pub mod made_up;
    pub mod micropython;
    pub mod mixed;
    pub mod page;
    pub mod reader;
    pub mod record_sheet;
    pub mod redistribution;
    pub mod robust_line;
    pub mod second_reader;
    pub mod shells;
    pub mod sql;
    pub mod tolerance;
}

use libtest_mimic::{Arguments, Trial};
use outside::{
    agreement, atmega328p, both_axes, bucket, c_compilers, c_damage, c_fuzz, capture, cortex_m3,
    database, drift, micropython, mixed, page, record_sheet, redistribution, robust_line,
    second_reader, shells, sql, tolerance,
};
use std::process::{Command, ExitCode};

/// One check against the outside.
pub struct Check {
    /// What holds if it passes, as a sentence.
    pub name: &'static str,
    /// The programs it starts.
    pub needs: &'static [&'static str],
    /// Gives what went wrong as text.
    pub run: fn() -> Result<(), String>,
}

/// Every check.
const CHECKS: &[Check] = &[
    c_compilers::GCC,
    c_compilers::CLANG,
    c_compilers::GCC_AS_CPP,
    c_compilers::CLANG_SANITISED,
    c_damage::CHECK,
    c_fuzz::CHECK,
    atmega328p::ANSWERS,
    atmega328p::COST,
    cortex_m3::CHECK,
    both_axes::CHECK,
    redistribution::CHECK,
    robust_line::CHECK,
    agreement::CHECK,
    bucket::CHECK,
    mixed::CHECK,
    tolerance::CHECK,
    drift::CHECK,
    second_reader::CHECK,
    page::CHECK,
    micropython::MICROPYTHON,
    micropython::PYTHON,
    sql::POSTGRESQL,
    sql::DUCKDB,
    database::WRITE_AHEAD,
    database::JOURNAL,
    shells::BASH,
    shells::ZSH,
    shells::FISH,
    shells::MAN,
    shells::TERMINAL,
    capture::FAULTS,
    capture::DISK_FULL,
    record_sheet::CHECK,
];

/// The variable that asks for these checks.
const SWITCH: &str = "OVENDRY_OUTSIDE";

fn main() -> ExitCode {
    let arguments = Arguments::from_args();
    let asked = std::env::var(SWITCH).is_ok_and(|value| value == "1");
    let trials = CHECKS
        .iter()
        .map(|check| {
            Trial::test(check.name.replace(' ', "_"), || run(check)).with_ignored_flag(!asked)
        })
        .collect();
    let conclusion = libtest_mimic::run(&arguments, trials);
    if conclusion.num_ignored > 0 {
        let mut programs: Vec<&str> = CHECKS
            .iter()
            .flat_map(|check| check.needs)
            .copied()
            .collect();
        programs.sort_unstable();
        programs.dedup();
        println!(
            "{} outside checks were left out; they need {}. To run them:\n  {SWITCH}=1 cargo test -p ovendry-tests --test outside\n",
            conclusion.num_ignored,
            programs.join(", ")
        );
    }
    conclusion.exit_code()
}

fn run(check: &Check) -> Result<(), libtest_mimic::Failed> {
    for program in check.needs {
        let program = match *program {
            "python3" => python(),
            program => program.to_owned(),
        };
        if let Err(error) = Command::new(&program).arg("--version").output() {
            return Err(format!("{program} is needed and cannot be started: {error}").into());
        }
    }
    (check.run)().map_err(Into::into)
}

/// The Python that `OVENDRY_PYTHON` names, `python3` if it does not.
pub fn python() -> String {
    std::env::var("OVENDRY_PYTHON").unwrap_or_else(|_| "python3".to_owned())
}

/// Runs a program to its end and gives its standard output.
///
/// # Errors
/// The command with both streams in full if it does not succeed.
pub fn output_of(command: &mut Command) -> Result<Vec<u8>, String> {
    let output = command
        .output()
        .map_err(|error| format!("{command:?} cannot be started: {error}"))?;
    if output.status.success() && output.stderr.is_empty() {
        Ok(output.stdout)
    } else {
        Err(format!(
            "{command:?}: {}\n--- stdout\n{}\n--- stderr\n{}",
            output.status,
            String::from_utf8_lossy(&output.stdout),
            String::from_utf8_lossy(&output.stderr)
        ))
    }
}
