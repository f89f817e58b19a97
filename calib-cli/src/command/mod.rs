//! The commands, one file each. A command reads, calls the core, and writes or
//! explains; a formula here is in the wrong place.

mod accuracy;
mod batch;
mod calibrate;
mod capture;
mod check;
mod compare;
mod completions;
mod drift;
mod export;
mod fit;
mod half_width;
mod man;
mod pair;
mod plan;
mod replay;
mod report;
mod schema;
mod setpoints;
mod soil;
mod start;
mod status;
mod verify;

use crate::failure::{Failure, Verdict};
use clap::{CommandFactory, Parser, Subcommand};

/// From oven-dry cores and logged counts to set points a pump can hold.
#[derive(Debug, Parser)]
#[command(name = "ovendry", version)]
pub struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Where you are with a workbench, and the one command that comes next
    ///
    /// What is filled in, measured, calibrated and exported, what has changed since, and
    /// which check is due. `ovendry` alone says the same of the folder you are in.
    Status(status::Status),
    /// Lay out a commented workbench folder
    Start(start::Start),
    /// Plan the bench: soil to pack, water to add, cores, oven, a record sheet to print
    ///
    /// For each soil of a workbench folder, or for one of the command line: what to
    /// weigh in, how much water to add before each moisture level, what the container
    /// must then weigh, how long to wait, and when the oven is free. With --out, a
    /// record sheet to print and a samples.csv with the cores' ids to fill in.
    Plan(plan::Arguments),
    /// Name every problem in a workbench, with its line and its mend
    Check(check::Check),
    /// Append readings as they come, and say when a probe is steady
    ///
    /// Listens to a serial port, standard input, or a file or database that a logger goes
    /// on writing, and appends every reading to readings.csv: at once, whole, and on disk
    /// within a second. A table shows each probe and says when to take the core. A port
    /// that is unplugged is waited for; what is no reading is kept in
    /// readings.csv.refused; a capture that was broken off is taken up again, with no
    /// reading lost or doubled but the line in flight. Exit code 1 if this run gave no
    /// reading, also where earlier runs took all there was, or if a probe is not steady
    /// as asked.
    Capture(capture::Capture),
    /// The whole job: fit, set points, controller files, proof
    ///
    /// Does what `fit`, `setpoints`, `export` and `verify` do one after the other,
    /// for every probe of a workbench folder, and tells the story in short.
    Calibrate(calibrate::Calibrate),
    /// Fit counts to oven-dry water content, a calibration for each probe
    Fit(fit::Fit),
    /// The cores as studies see them: one core beside one probe a row
    ///
    /// Writes a table with the count, the oven-dry water content and the uncertainty of
    /// both, from cores and readings paired as `fit` does.
    Pair(pair::PairCommand),
    /// How good readings are, held against cores the calibration did not see
    ///
    /// Whether a target is met, bias, scatter, limits of agreement and more, each with an
    /// interval, by moisture, soil and temperature. A core that was fitted cannot test:
    /// it is refused. Without AGAINST the cores of DIR are left out by turns. Exit code
    /// 0 if the target is met, 1 if it is missed or not settled.
    Accuracy(accuracy::Accuracy),
    /// What a soil holds: texture class, field capacity and wilting point
    ///
    /// Reads the soils of a workbench folder, or takes one soil from the command
    /// line. Each published source is shown with how far it was checked; what was
    /// measured on the soil itself comes before any of them.
    Soil(soil::Soil),
    /// Many probes: can one curve serve them, how far do they differ, which stand out?
    ///
    /// Reads cores with the probes read beside them, from a workbench folder or a file
    /// of pairs. Says what calibrating each probe buys over one shared curve and over
    /// two-point normalisation, in water content, minutes and money. Exit code 1 if
    /// no way of calibrating is within the target.
    Batch(batch::Batch),
    /// When to start the pump and when to stop it, for each calibrated probe
    ///
    /// Refill lies the allowed depletion below field capacity, stop at field
    /// capacity, both as water content and as raw count; never closer together
    /// than the probe resolves. Reads site.toml and the saved calibrations.
    Setpoints(setpoints::Setpoints),
    /// One threshold beside refill and stop: on your log, and on simulated seasons
    ///
    /// How often the pump would start, how long the relay would last, how long the
    /// bed would be too dry or too wet. Reads site.toml, the saved calibrations and,
    /// where they are there, log.csv and weather.csv.
    Replay(replay::Replay),
    /// Everything about a workbench on one page, to read, to print and to keep
    ///
    /// One HTML file that needs no network: may the probes steer a pump, where it starts
    /// and stops, how sure that is, what to do; then the evidence. Exit code 1 if a
    /// probe may not steer a pump.
    Report(report::Report),
    /// Whether a calibration still holds, by a core dug now and then
    ///
    /// Holds later cores against the saved calibrations: a test that raises a false alarm
    /// in 5 of 100 cases, offset and gain as the checks leave them, when to dig the next
    /// core and when to calibrate anew. What it finds is saved beside each calibration
    /// as PROBE.drift.json, in place of what an earlier run found; `status` goes by it
    /// until that probe is calibrated anew. Exit code 1 if a calibration no longer holds, if
    /// one check alone is off and must be looked at, or if a probe has too few checks to
    /// say; 2 if no check counts at all; 0 only if every probe's checks let it be used on.
    Drift(drift::Drift),
    /// Write controller files from the saved calibrations, and prove them
    ///
    /// For each probe: JSON, CSV, a C header, a MicroPython module and a SQL
    /// expression; once for all: ovendry_reader.h, which the C headers include, and
    /// fleet.json with every probe. A file that is replaced is kept as FILE.previous.
    /// Nothing is written for a calibration judged not fit for use (exit code 1).
    Export(export::Arguments),
    /// Check controller files, and compare them with their calibration at every code
    Verify(verify::Arguments),
    /// What a new controller file or calibration says differently from an old one
    ///
    /// Compares them at every count: where the new one reads wetter or drier, which
    /// counts lost or gained an answer, how set points moved, and whether the change
    /// is more than both uncertainties explain. Exit code 0 if a controller would do
    /// the same with either, 1 if not.
    Compare(compare::Arguments),
    /// What the JSON of every command looks like, as JSON Schema
    ///
    /// Lists the kinds of JSON document, prints the schema of one (draft 2020-12), or
    /// writes them all. A command given --json prints one document to standard output,
    /// a failure too.
    Schema(schema::SchemaCommand),
    /// What a shell needs to complete commands, options and file names
    Completions(completions::Completions),
    /// The manual pages
    Man(man::ManCommand),
}

/// The names of all commands.
pub fn names() -> Vec<String> {
    let whole = Cli::command();
    let names = whole.get_subcommands().map(|one| one.get_name().to_owned());
    names.collect()
}

/// Runs the command chosen.
pub fn run(cli: Cli) -> Result<Verdict, Failure> {
    let Some(command) = cli.command else {
        return status::welcome();
    };
    match command {
        Command::Status(status) => status::run(&status),
        Command::Start(start) => start::run(&start),
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Check(check) => check::run(&check),
        Command::Capture(capture) => capture::run(&capture),
        Command::Calibrate(calibrate) => calibrate::run(&calibrate),
        Command::Fit(fit) => fit::run(&fit),
        Command::Pair(command) => pair::run(&command),
        Command::Accuracy(command) => accuracy::run(&command),
        Command::Soil(soil) => soil::run(&soil),
        Command::Batch(batch) => batch::run(&batch),
        Command::Setpoints(setpoints) => setpoints::run(&setpoints),
        Command::Replay(replay) => replay::run(&replay),
        Command::Report(command) => report::run(&command),
        Command::Drift(drift) => drift::run(&drift),
        Command::Export(arguments) => export::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Schema(command) => schema::run(&command),
        Command::Completions(completions) => completions::run(&completions),
        Command::Man(asked) => man::run(&asked),
    }
}
