//! `ovendry`: dispatch only. Exit code 0 good, 1 judged not fit for use,
//! 2 bad input, 3 internal failure.

mod calibration_file;
mod command;
mod failure;
mod output;
mod plot;
mod table;
mod workbench;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    match command::run(command::Cli::parse()) {
        Ok(failure::Verdict::Good) => ExitCode::SUCCESS,
        Ok(failure::Verdict::Unfit) => ExitCode::from(1),
        Err(failure) => {
            eprintln!("error: {failure}");
            ExitCode::from(failure.exit_code())
        }
    }
}
