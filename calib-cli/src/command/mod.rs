//! The commands, one file each. A command reads, calls the core, and writes or
//! explains; a formula here is in the wrong place.

mod export;
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
    /// Write controller files from the saved calibrations, and prove them.
    Export(export::Arguments),
    /// Check controller files, and compare them with their calibration at every code.
    Verify(verify::Arguments),
}

/// Runs the command chosen.
pub fn run(cli: Cli) -> Result<Verdict, Failure> {
    match cli.command {
        Command::Export(arguments) => export::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
    }
}
