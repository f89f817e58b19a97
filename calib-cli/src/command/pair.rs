//! `ovendry pair`: the cores of a workbench as the studies see them, one core beside
//! one probe a row.

use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::output::{self, OutputSet};
use crate::pairs;
use crate::table::no_folder;
use crate::workbench::SourceFile;
use calib_core::pair::{Pair, TwoPoints};
use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Which workbench, and where to.
#[derive(Debug, Args)]
pub struct PairCommand {
    /// Workbench folder: site.toml, samples.csv, readings.csv
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// File to write; - for standard output
    #[arg(long, value_name = "FILE", default_value = "-")]
    out: PathBuf,
    /// Overwrite a file of an earlier run
    #[arg(long)]
    force: bool,
    /// Print JSON instead of text; the table itself is written only with --out FILE
    #[arg(long)]
    json: bool,
}

/// The cores as studies see them, for machines.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer<'a> {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// One core beside one probe each.
    pairs: &'a [Pair],
    /// Counts in the two media, by probe, where stated.
    media: &'a BTreeMap<String, TwoPoints>,
    sources: &'a [SourceFile],
    written: Vec<&'a Path>,
    warnings: &'a [Warning],
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
    let to_file = command.out != Path::new("-");
    if to_file {
        write(command, text)?;
    } else if !command.json {
        output::print(&text)?;
    }
    if command.json {
        output::print_json(&Answer {
            format: "ovendry pair",
            version: 1,
            verdict: Verdict::Good,
            pairs: &pairs.pairs,
            media: &pairs.media,
            sources: &pairs.sources,
            written: to_file
                .then_some(command.out.as_path())
                .into_iter()
                .collect(),
            warnings: &pairs.warnings,
        })?;
    } else if to_file {
        let count =
            |of: fn(&Pair) -> &str| pairs.pairs.iter().map(of).collect::<BTreeSet<_>>().len();
        output::print(&format!(
            "wrote {}: {} pairs of {} cores and {} probes\n",
            command.out.display(),
            pairs.pairs.len(),
            count(|pair| pair.core()),
            count(|pair| &pair.probe),
        ))?;
    }
    Ok(Verdict::Good)
}

/// Writes the table to the file asked for.
fn write(command: &PairCommand, text: String) -> Result<(), Failure> {
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
    Ok(())
}
