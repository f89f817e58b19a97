//! The commands, one file each. A command reads, calls the core, and writes or
//! explains; a formula here is in the wrong place.

mod check;
mod export;
mod fit;
mod start;
mod verify;

use crate::failure::{Failure, Verdict};
use clap::{Parser, Subcommand};

/// From oven-dry cores and logged counts to set points a pump can hold.
#[derive(Debug, Parser)]
#[command(name = "ovendry", version, about, arg_required_else_help = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Lay out a commented workbench folder
    Start(start::Start),
    /// Name every problem in a workbench, with its line and its mend
    Check(check::Check),
    /// Fit counts to oven-dry water content, a calibration for each probe
    Fit(fit::Fit),
    /// Write controller files from the saved calibrations, and prove them.
    Export(export::Arguments),
    /// Check controller files, and compare them with their calibration at every code.
    Verify(verify::Arguments),
}

/// Runs the command chosen.
pub fn run(cli: Cli) -> Result<Verdict, Failure> {
    match cli.command {
        Command::Start(start) => start::run(&start),
        Command::Check(check) => check::run(&check),
        Command::Fit(fit) => fit::run(&fit),
        Command::Export(arguments) => export::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
    }
}
