//! `ovendry`: dispatch only. Exit code 0 good, 1 judged not fit for use,
//! 2 bad input, 3 internal failure.

mod bootstrap;
mod calibration_file;
mod capture;
mod caution;
mod command;
mod controller_file;
mod cores;
mod diagnosis;
mod drift_file;
mod failure;
mod findings;
mod fit_report;
mod fitted;
mod intent;
mod meant;
mod new_reading;
mod notice;
mod output;
mod page;
mod pairing;
mod pairs;
mod physical;
mod plot;
mod progress;
mod refusal;
mod table;
mod text_table;
mod workbench;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let cli = match command::Cli::try_parse() {
        Ok(cli) => cli,
        Err(refused) => {
            let refused = intent::advised(refused, &command::names());
            if refused.use_stderr() && wants_json() {
                tell(&refusal::of(&refused));
            }
            refused.exit()
        }
    };
    match command::run(cli) {
        Ok(failure::Verdict::Good) => ExitCode::SUCCESS,
        Ok(failure::Verdict::Unfit) => ExitCode::from(1),
        Ok(failure::Verdict::Faulty) => ExitCode::from(2),
        Err(failure) => {
            if wants_json() {
                tell(&failure);
            }
            eprintln!("error: {failure}");
            ExitCode::from(failure.exit_code())
        }
    }
}

/// Whether the answer is for a machine.
fn wants_json() -> bool {
    std::env::args_os()
        .take_while(|argument| argument != "--")
        .any(|argument| argument == "--json")
}

/// The failure on standard output, where the answer would have been; on one line, for
/// some commands answer line by line. If that cannot be written either, standard error
/// is all there is.
fn tell(failure: &failure::Failure) {
    let _ = output::print_json_line(&failure::Told::from(failure));
}
