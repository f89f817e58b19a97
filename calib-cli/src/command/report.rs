//! `ovendry report`: everything about a workbench on one page, the story before the
//! evidence. The page shows what the other commands reckon; nothing is reckoned here.

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
use crate::failure::{Failure, Verdict};
use crate::output::{self, OutputSet};
use crate::page::Page;
use bench::Bench;
use clap::Args;
use clap::builder::PossibleValuesParser;
use maud::html;
use measure::{Measures, Units};
use serde_json::json;
use std::path::{Path, PathBuf};
use words::{Words, languages};

/// What the page is called where `--out` does not say.
const FILE: &str = "report.html";

/// What to show, and how.
#[derive(Debug, Args)]
pub struct Report {
    /// Workbench folder: site.toml, samples.csv, readings.csv
    dir: PathBuf,
    /// The page; DIR/out/report.html if not given
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Folder of the saved calibrations; DIR/out if not given
    #[arg(long, value_name = "FOLDER")]
    calibrations: Option<PathBuf>,
    /// Units to begin with; the page lets its reader choose
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
    /// Language of the page
    #[arg(long, value_name = "TAG", default_value = "en", value_parser = PossibleValuesParser::new(languages()))]
    language: String,
    /// Overwrite the page of an earlier run
    #[arg(long)]
    force: bool,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// What every section is given.
struct Teller<'a> {
    /// What there is to tell.
    bench: &'a Bench,
    /// In which words.
    words: &'a Words,
    /// In which units.
    show: Measures<'a>,
}

/// Runs the command: good if every probe may steer a pump.
///
/// # Errors
/// [`Failure`] as the workbench, the fit and the disk have it.
pub fn run(command: &Report) -> Result<Verdict, Failure> {
    let calibrations = out_folder(&command.dir, command.calibrations.as_deref());
    let path = match &command.out {
        Some(path) => path.clone(),
        None => out_folder(&command.dir, None).join(FILE),
    };
    let bench = Bench::read(&command.dir, &calibrations)?;
    let words = Words::new(&command.language)?;
    let teller = Teller {
        bench: &bench,
        words: &words,
        show: Measures::new(&words),
    };
    let mut outputs = OutputSet::default();
    outputs.add(&path, teller.page(command.units));
    outputs.write(command.force)?;
    let verdict = bench.verdict();
    if command.json {
        output::print_json(&summary(&bench, verdict, &path))?;
    } else {
        for warning in &bench.warnings {
            eprintln!("{warning}");
        }
        output::print(&format!(
            "wrote {}\n\nOpen it in any browser; nothing in it needs a network.\n",
            path.display()
        ))?;
    }
    Ok(verdict)
}

/// What a program wants to know of the page.
fn summary(bench: &Bench, verdict: Verdict, path: &Path) -> serde_json::Value {
    let ids = |fit: bool| -> Vec<&str> {
        let probes = bench
            .probes
            .iter()
            .filter(|probe| bench.is_ready(probe) == fit);
        probes.map(|probe| probe.id()).collect()
    };
    let refused: Vec<&str> = bench.refused.iter().map(|one| one.probe.as_str()).collect();
    json!({
        "format": "ovendry report",
        "version": 1,
        "verdict": verdict,
        "ready": ids(true),
        "not_ready": ids(false).into_iter().chain(refused).collect::<Vec<_>>(),
        "written": [path.display().to_string()],
        "warnings": bench.warnings,
    })
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
