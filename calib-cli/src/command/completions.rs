//! `ovendry completions SHELL`: what a shell needs to complete commands, options and
//! names of files.

use super::Cli;
use crate::failure::{Failure, Verdict};
use crate::output;
use clap::builder::ValueHint;
use clap::{Args, Command, CommandFactory};
use clap_complete::{Shell, generate};

const HOW: &str = "\
Put what it prints where the shell looks for it, and open a new shell:
  bash        ovendry completions bash > ~/.local/share/bash-completion/completions/ovendry
  zsh         ovendry completions zsh > FOLDER/_ovendry, FOLDER being one of $fpath
  fish        ovendry completions fish > ~/.config/fish/completions/ovendry.fish
  powershell  ovendry completions powershell >> $PROFILE
Folders must be there already (mkdir -p).";

/// For which shell.
#[derive(Debug, Args)]
#[command(after_help = HOW)]
pub struct Completions {
    /// The shell
    shell: Shell,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Internal`] if it cannot be printed.
pub fn run(completions: &Completions) -> Result<Verdict, Failure> {
    let mut script = Vec::new();
    generate(
        completions.shell,
        &mut hinted(Cli::command()),
        "ovendry",
        &mut script,
    );
    output::print(&String::from_utf8_lossy(&script))?;
    Ok(Verdict::Good)
}

/// The command with what to offer for each path: folders for DIR and FOLDER, any file
/// for the others.
fn hinted(command: Command) -> Command {
    command.mut_subcommands(|one| {
        one.mut_args(|argument| {
            let names = argument.get_value_names().unwrap_or_default();
            let id = argument.get_id().as_str().to_uppercase();
            let is = |name: &str| names.iter().any(|one| one.as_str() == name) || id == name;
            if is("DIR") || is("FOLDER") {
                argument.value_hint(ValueHint::DirPath)
            } else {
                argument
            }
        })
    })
}
