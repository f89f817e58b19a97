//! Many probes as the report's page shows them: the same study, and no file.

use super::text::decision::{firmness, headline, name, work};
use super::{Batch, charts, study};
use crate::failure::{Failure, Warning};
use crate::plot::{self, OnPage};
use crate::workbench::SourceFile;
use calib_core::batch::{Bounded, Judged};
use clap::Parser;
use std::path::Path;

/// The probes of every soil.
pub(in crate::command) struct Shown {
    /// One a soil.
    pub soils: Vec<ShownSoil>,
    /// What was noticed.
    pub warnings: Vec<Warning>,
    /// What was read.
    pub sources: Vec<SourceFile>,
}

/// The probes of one soil.
pub(in crate::command) struct ShownSoil {
    /// The soil.
    pub soil: String,
    /// How many probes.
    pub probes: usize,
    /// Whether one curve will do, in a sentence or two.
    pub headline: String,
    /// Whether more probes would change that, in a sentence.
    pub firmness: String,
    /// Largest uncertainty that will do, m3/m3.
    pub target: f64,
    /// What each way of calibrating gives and asks for.
    pub ways: Vec<ShownWay>,
    /// Probes that stand out.
    pub standing_out: Vec<String>,
    /// Each probe beside the shared curve.
    pub chart: OnPage,
}

/// One way to calibrate.
pub(in crate::command) struct ShownWay {
    /// Its name.
    pub name: &'static str,
    /// Expanded uncertainty (95 %) of a reading with its interval, m3/m3.
    pub expanded: Bounded,
    /// Against the target.
    pub judged: Judged,
    /// Work for one more probe, in words.
    pub work: String,
}

/// The command as it is run unasked.
#[derive(Debug, Parser)]
struct Unasked {
    #[command(flatten)]
    batch: Batch,
}

/// Studies the probes of a workbench folder or a file of pairs, as `batch` does unasked.
///
/// # Errors
/// As `batch`.
pub(in crate::command) fn batch(place: &Path) -> Result<Shown, Failure> {
    let unasked = Unasked::try_parse_from([Path::new("batch"), Path::new("--"), place])
        .map_err(|error| Failure::Internal(format!("batch takes no folder: {error}")))?;
    let answer = study(&unasked.batch)?;
    let soils = answer.soils.iter().map(|study| {
        let (chart, _) = charts::of(study);
        let way = |found: &calib_core::batch::WayFound| ShownWay {
            name: name(found.way),
            expanded: found.expanded,
            judged: found.judged,
            work: work(&found.work_per_probe),
        };
        let out = study.each.iter().filter(|probe| probe.stands_out);
        Ok(ShownSoil {
            soil: study.soil.clone(),
            probes: study.probes,
            headline: headline(study),
            firmness: firmness(&study.decision),
            target: study.decision.asked.target,
            ways: study.decision.ways.iter().map(way).collect(),
            standing_out: out.map(|probe| probe.probe.clone()).collect(),
            chart: plot::on_page(&chart)?,
        })
    });
    Ok(Shown {
        soils: soils.collect::<Result<_, Failure>>()?,
        warnings: answer.warnings,
        sources: answer.sources,
    })
}
