//! `ovendry pair`: the cores of a workbench as the studies see them, one core beside
//! one probe a row.

use crate::failure::{Complaint, Failure, Verdict};
use crate::output::{self, OutputSet};
use crate::pairs;
use crate::table::no_folder;
use clap::Args;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Which workbench, and where to.
#[derive(Debug, Args)]
pub struct PairCommand {
    /// Workbench folder: site.toml, samples.csv, readings.csv
    dir: PathBuf,
    /// File to write; - for standard output
    #[arg(long, value_name = "FILE", default_value = "-")]
    out: PathBuf,
    /// Overwrite a file of an earlier run
    #[arg(long)]
    force: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] as the workbench and the disk have it.
pub fn run(command: &PairCommand) -> Result<Verdict, Failure> {
    if !command.dir.is_dir() {
        return Err(no_folder(&command.dir).into());
    }
    let pairs = pairs::load(&command.dir)?;
    let text = pairs.render()?;
    for warning in &pairs.warnings {
        eprintln!("{warning}");
    }
    if command.out == Path::new("-") {
        output::print(&text)?;
        return Ok(Verdict::Good);
    }
    if command.out.is_dir() {
        return Err(Complaint::about(
            &command.out,
            "is a folder",
            "name a file, e.g. pairs.csv, or - for standard output",
        )
        .into());
    }
    if let Some(parent) = command.out.parent().filter(|parent| parent.is_file()) {
        return Err(Complaint::about(
            parent,
            "is a file, so nothing can lie in it",
            "name a file of a folder, e.g. pairs.csv",
        )
        .into());
    }
    let mut outputs = OutputSet::default();
    outputs.add(&command.out, text);
    outputs.write(command.force)?;
    let count = |of: fn(&calib_core::pair::Pair) -> &str| {
        pairs.pairs.iter().map(of).collect::<BTreeSet<_>>().len()
    };
    output::print(&format!(
        "wrote {}: {} pairs of {} cores and {} probes\n",
        command.out.display(),
        pairs.pairs.len(),
        count(|pair| pair.core()),
        count(|pair| &pair.probe),
    ))?;
    Ok(Verdict::Good)
}
