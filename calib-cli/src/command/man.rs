//! `ovendry man`: the manual pages, made from the same words as `--help`.

use super::Cli;
use crate::failure::{Complaint, Failure, Verdict};
use crate::output::{self, OutputSet};
use crate::table::{listed, nearest};
use clap::{Args, Command, CommandFactory};
use clap_mangen::Man;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Section of the manual for commands of users.
const SECTION: &str = "1";

/// What holds for every command, in roff.
const COMMON: &str = r#".SH "EXIT STATUS"
0 good; 1 judged not fit for use (of \fBcompare\fR: different; of \fBbatch\fR and \fBaccuracy\fR:
target not met or not settled); 2 bad input, nothing written; 3 the program or the machine
failed.
.PP
Results go to standard output, warnings to standard error. Nothing is overwritten without
\fB\-\-force\fR.
.SH "SEE ALSO"
"#;

/// Which pages, and where to.
#[derive(Debug, Args)]
#[command(after_help = "To read one at once: ovendry man fit | man -l -\n\
To have all of them at hand: ovendry man --out ~/.local/share/man/man1, then man ovendry-fit")]
pub struct ManCommand {
    /// The command whose page to print; that of `ovendry` itself if not given
    #[arg(value_name = "COMMAND", conflicts_with = "out")]
    command: Option<String>,
    /// Write every page into this folder instead
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Replace pages that are there
    #[arg(long, requires = "out")]
    force: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] if there is no such command, and as the disk has it.
pub fn run(asked: &ManCommand) -> Result<Verdict, Failure> {
    let pages = pages()?;
    let Some(out) = &asked.out else {
        let name = asked.command.as_deref().map_or_else(
            || "ovendry".to_owned(),
            |command| format!("ovendry-{}", command.trim_start_matches("ovendry-")),
        );
        let page = pages.iter().find(|page| page.name == name);
        let page =
            page.ok_or_else(|| no_such(asked.command.as_deref().unwrap_or_default(), &pages))?;
        output::print(&page.text)?;
        return Ok(Verdict::Good);
    };
    let mut outputs = OutputSet::default();
    for page in pages {
        outputs.add(out.join(format!("{}.{SECTION}", page.name)), page.text);
    }
    let mut said = String::new();
    for path in outputs.paths() {
        let _ = writeln!(said, "wrote {}", path.display());
    }
    outputs.write(asked.force)?;
    output::print(&said)?;
    Ok(Verdict::Good)
}

/// A manual page.
struct Page {
    /// `ovendry` or `ovendry-fit`.
    name: String,
    /// In roff.
    text: String,
}

fn pages() -> Result<Vec<Page>, Failure> {
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    let version = format!("ovendry {}", env!("CARGO_PKG_VERSION"));
    let parts: Vec<Command> = whole.get_subcommands().cloned().collect();
    let commands: Vec<Command> = std::iter::once(whole).chain(parts).collect();
    let names: Vec<String> = commands.iter().map(name_of).collect();
    commands
        .into_iter()
        .map(|command| {
            let name = name_of(&command);
            let mut text = Vec::new();
            Man::new(command)
                .section(SECTION)
                .source(&version)
                .manual("Ovendry")
                .render(&mut text)
                .map_err(|error| Failure::Internal(format!("cannot make page {name}: {error}")))?;
            let others = names.iter().filter(|other| **other != name);
            let others: Vec<String> = others
                .map(|other| format!("\\fB{}\\fR({SECTION})", other.replace('-', "\\-")))
                .collect();
            Ok(Page {
                text: format!(
                    "{}{COMMON}{}\n",
                    String::from_utf8_lossy(&text),
                    others.join(",\n")
                ),
                name,
            })
        })
        .collect()
}

/// `ovendry-fit`.
fn name_of(command: &Command) -> String {
    let name = command.get_display_name();
    name.unwrap_or_else(|| command.get_name()).to_owned()
}

fn no_such(asked: &str, pages: &[Page]) -> Failure {
    let names = || {
        pages
            .iter()
            .filter_map(|page| page.name.strip_prefix("ovendry-"))
    };
    let mend = match nearest(asked, names()) {
        Some(meant) => format!("did you mean {meant}? `ovendry man {meant}`"),
        None => format!("the commands are {}", listed(names())),
    };
    Complaint::about(Path::new("command line"), "is no command", mend)
        .in_column("COMMAND", asked)
        .into()
}
