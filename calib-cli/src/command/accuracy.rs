//! `ovendry accuracy`: how good readings are, held against cores that the calibration
//! did not see.

mod asked;
mod charts;
mod direction;
mod held;
mod report;
mod tables;
mod temperature;
mod words;

use super::fit::{SEED, out_folder};
use super::half_width::half_width;
use crate::failure::{Failure, Verdict};
use crate::output::{print, print_json};
use crate::progress::Progress;
use crate::table::folder_of;
use asked::{Cuts, cuts};
use clap::Args;
pub(super) use report::Answer;
use std::path::{Path, PathBuf};

/// Half width that a reading must come within where none is asked for, m3/m3. Our
/// choice: 3 mm of water in 100 mm of soil.
const TARGET: f64 = 0.03;
/// Times the cores are drawn anew for an interval, unless asked otherwise.
const BOOTSTRAP: u32 = 1999;

/// Holds readings against cores that the calibration did not see.
///
/// Exit code 0 where every probe meets the target, 1 where one misses it or it is not
/// settled. Of more than six probes all together are judged. What is said of probes never
/// calibrated and of soils never sampled decides nothing.
#[derive(Debug, Args)]
pub struct Accuracy {
    /// Workbench folder; without AGAINST a file of pairs will do, too
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// Independent cores: another workbench folder, or a file of pairs such as `ovendry
    /// pair` writes. Without it, DIR's own cores are left out by turns
    against: Option<PathBuf>,
    /// Folder of the saved calibrations, and for the charts; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Only this probe
    #[arg(long, value_name = "ID")]
    probe: Option<String>,
    /// How near to its core a reading must come, m3/m3; 0.03 if not given
    #[arg(long, value_name = "M3/M3", value_parser = half_width,
          allow_negative_numbers = true)]
    target: Option<f64>,
    /// Where to part the ranges of moisture (m3/m3) or temperature (C), e.g.
    /// moisture=0.1,0.25; thirds of the cores if not given
    #[arg(long, value_name = "QUANTITY=CUTS", value_parser = cuts)]
    by: Vec<Cuts>,
    /// Chooses the random numbers; the same seed, the same answer
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    seed: u64,
    /// How often the cores are drawn anew for an interval
    #[arg(long, value_name = "N", default_value_t = BOOTSTRAP,
          value_parser = clap::value_parser!(u32).range(199..=1_000_000))]
    bootstrap: u32,
    /// Draw no charts
    #[arg(long)]
    no_charts: bool,
    /// Overwrite charts of an earlier run
    #[arg(long)]
    force: bool,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] as the cores, the calibrations and the disk have it; cores that were
/// both fitted and tested on are refused.
pub fn run(command: &Accuracy) -> Result<Verdict, Failure> {
    let mut answer = work(command)?;
    if !command.no_charts {
        answer.draw(&out(command), command.force)?;
    }
    for warning in answer.warnings() {
        eprintln!("{warning}");
    }
    if command.json {
        print_json(&answer)?;
    } else {
        print(&answer.to_string())?;
    }
    Ok(answer.verdict)
}

/// Everything the command does but draw and print.
fn work(command: &Accuracy) -> Result<Answer, Failure> {
    let _progress = Progress::uncounted("holding readings against cores");
    let held = match &command.against {
        Some(against) => held::against(command, against)?,
        None => held::left_out(command)?,
    };
    Answer::new(command, held)
}

/// Where calibrations are and charts go.
fn out(command: &Accuracy) -> PathBuf {
    let dir: &Path = if command.dir.is_file() {
        folder_of(&command.dir)
    } else {
        &command.dir
    };
    out_folder(dir, command.out.as_deref())
}
