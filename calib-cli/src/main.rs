//! `ovendry`: dispatch only. Exit code 0 good, 1 judged not fit for use,
//! 2 bad input, 3 internal failure.

mod bootstrap;
mod calibration_file;
mod caution;
mod command;
mod controller_file;
mod cores;
mod diagnosis;
mod failure;
mod findings;
mod fit_report;
mod fitted;
mod new_reading;
mod notice;
mod output;
mod pairing;
mod pairs;
mod physical;
mod plot;
mod table;
mod text_table;
mod workbench;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    match command::run(command::Cli::parse()) {
        Ok(failure::Verdict::Good) => ExitCode::SUCCESS,
        Ok(failure::Verdict::Unfit) => ExitCode::from(1),
        Ok(failure::Verdict::Faulty) => ExitCode::from(2),
        Err(failure) => {
            eprintln!("error: {failure}");
            ExitCode::from(failure.exit_code())
        }
    }
}
