//! `ovendry report`: everything about a workbench on one page, the story before the
//! evidence. The page shows what the other commands reckon; nothing is reckoned here.

mod batch;
mod bench;
mod closing;
mod evidence;
mod measure;
mod probe;
mod replay;
mod soil;
mod story;
mod switches;
mod words;

use super::fit::out_folder;
use crate::calibration_file::CalibrationFile;
use crate::caution;
use crate::failure::{Failure, Verdict, Warning};
use crate::output::{self, OutputSet};
use crate::page::Page;
use bench::Bench;
use clap::Args;
use clap::builder::PossibleValuesParser;
use maud::html;
use measure::{Measures, Units};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;
use std::path::PathBuf;
use words::{Words, languages};

/// What the page is called where `--out` does not say.
pub(super) const FILE: &str = "report.html";

/// The language of the page where `--language` does not say.
const DEFAULT_LANGUAGE: &str = "en";

/// What to show, and how.
#[derive(Debug, Args)]
pub struct Report {
    /// Workbench folder: site.toml, samples.csv, readings.csv
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// The page; DIR/out/report.html if not given
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Folder of the saved calibrations; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    calibrations: Option<PathBuf>,
    /// Probes to compare, as `ovendry batch` does: a file of pairs, or a folder; DIR itself if
    /// three probes or more share a soil
    #[arg(long, value_name = "WHERE")]
    batch: Option<PathBuf>,
    /// Units to begin with; the page lets its reader choose
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
    /// Language of the page
    #[arg(long, value_name = "TAG", default_value = DEFAULT_LANGUAGE, value_parser = PossibleValuesParser::new(languages()))]
    language: String,
    /// Overwrite the page of an earlier run
    #[arg(long)]
    force: bool,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// The command as it may be typed again, without what changes nothing in the page.
impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ovendry report {}", self.dir.display())?;
        for (option, place) in [
            ("--calibrations", &self.calibrations),
            ("--batch", &self.batch),
        ] {
            if let Some(place) = place {
                write!(f, " {option} {}", place.display())?;
            }
        }
        if self.units == Units::Us {
            f.write_str(" --units us")?;
        }
        if self.language != DEFAULT_LANGUAGE {
            write!(f, " --language {}", self.language)?;
        }
        Ok(())
    }
}

/// What every section is given.
struct Teller<'a> {
    /// What there is to tell.
    bench: &'a Bench,
    /// In which words.
    words: &'a Words,
    /// In which units.
    show: Measures<'a>,
    /// What makes the same page again.
    command: String,
}

/// Runs the command: good if every probe may steer a pump.
///
/// # Errors
/// [`Failure`] as the workbench, the fit and the disk have it.
pub fn run(command: &Report) -> Result<Verdict, Failure> {
    if let Some(folder) = &command.calibrations {
        // Named, so it must be there.
        CalibrationFile::load_all(folder)?;
    }
    let calibrations = out_folder(&command.dir, command.calibrations.as_deref());
    let path = match &command.out {
        Some(path) => path.clone(),
        None => out_folder(&command.dir, None).join(FILE),
    };
    let bench = Bench::read(&command.dir, &calibrations, command.batch.as_deref())?;
    let words = Words::new(&command.language)?;
    let teller = Teller {
        bench: &bench,
        words: &words,
        show: Measures::new(&words),
        command: command.to_string(),
    };
    let mut outputs = OutputSet::default();
    outputs.add(&path, teller.page(command.units));
    outputs.write(command.force)?;
    // `status` tells by its date whether it is still current.
    output::date_now(&path);
    if command.json {
        output::print_json(&Answer::of(&bench, path))?;
    } else {
        for warning in &bench.warnings {
            eprintln!("{warning}");
        }
        output::print(&format!(
            "wrote {}\n\nOpen it in any browser; nothing in it needs a network.\n",
            path.display()
        ))?;
    }
    Ok(bench.verdict())
}

/// What a program wants to know of the page.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer<'a> {
    format: &'static str,
    version: u32,
    /// Good if every probe may steer a pump.
    verdict: Verdict,
    /// Probes that may steer a pump.
    ready: Vec<&'a str>,
    /// Probes that must not, or have no set points.
    not_ready: Vec<&'a str>,
    /// The page.
    written: [PathBuf; 1],
    warnings: &'a [Warning],
    cautions: Vec<&'static str>,
}

impl<'a> Answer<'a> {
    fn of(bench: &'a Bench, page: PathBuf) -> Self {
        let (ready, rest): (Vec<_>, Vec<_>) =
            bench.probes.iter().partition(|probe| bench.is_ready(probe));
        let refused = bench.refused.iter().map(|refused| refused.probe.as_str());
        Self {
            format: "ovendry report",
            version: 1,
            verdict: bench.verdict(),
            ready: ready.into_iter().map(|probe| probe.id()).collect(),
            not_ready: rest
                .into_iter()
                .map(|probe| probe.id())
                .chain(refused)
                .collect(),
            written: [page],
            warnings: &bench.warnings,
            cautions: [caution::PUMP, caution::OVEN, &[caution::LOCAL_RULES]].concat(),
        }
    }
}

impl Teller<'_> {
    /// The whole page.
    fn page(&self, units: Units) -> String {
        let site = &self.bench.site;
        let title = format!("{site}: {}", self.words.plain("page-title"));
        Page {
            language: self.words.language(),
            title: &title,
            description: &self.words.plain("page-description"),
            style: include_str!("report/report.css"),
            script: Some(include_str!("report/report.js")),
            body: html! {
                a.skip href="#story" { (self.words.say("skip")) }
                div.page {
                    header.head {
                        p.kind { (self.words.say("page-title")) }
                        h1 { (site) }
                        p.made { (self.made()) }
                    }
                    main {
                        (self.story())
                        (self.switches(units))
                        @for probe in &self.bench.probes { (self.probe(probe)) }
                        @for refused in &self.bench.refused { (self.refused(refused)) }
                        (self.beds())
                        (self.batch())
                        (self.advice())
                        (self.cautions())
                        (self.provenance())
                    }
                }
                div #tip.tip hidden {}
            },
        }
        .render()
    }
}
