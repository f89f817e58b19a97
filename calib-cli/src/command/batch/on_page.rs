//! Many probes as the report's page shows them: the same study, and no file.

use super::study::{BatchPair, SoilStudy};
pub(in crate::command) use super::text::decision::{AsTheyAre, Conclusion};
use super::text::decision::{costs, firmness, name, work};
use super::{Batch, charts, study};
use crate::failure::{Failure, Warning};
use crate::plot::{self, OnPage};
use crate::workbench::SourceFile;
use calib_core::batch::equivalence::MeanComparison;
use calib_core::batch::{Bounded, Judged, Way, WayFound};
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
    /// Whether one curve will do.
    pub conclusion: Conclusion,
    /// Whether more probes would change that, in a sentence.
    pub firmness: String,
    /// Largest uncertainty that will do, m3/m3.
    pub target: f64,
    /// What each way of calibrating gives and asks for.
    pub ways: Vec<ShownWay>,
    /// Depth of the roots that a gain is spread over, mm.
    pub root_depth_mm: f64,
    /// Probes that stand out.
    pub standing_out: Vec<String>,
    /// One curve without those, where they are few.
    pub without: Option<(Bounded, Judged)>,
    /// Margin within which batches count as alike, m3/m3.
    pub margin: f64,
    /// Every two batches.
    pub batches: Vec<ShownPair>,
    /// How far a further probe may be off by the shared curve.
    pub next_probe: Vec<ShownRange>,
    /// Why that cannot be said.
    pub no_next_probe: Option<String>,
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
    /// What it buys over one shared curve.
    pub bought: Option<Bought>,
}

/// What a way of calibrating buys over one shared curve.
pub(in crate::command) struct Bought {
    /// Which way.
    pub way: Way,
    /// How much surer a reading becomes, m3/m3.
    pub gain: Bounded,
    /// The same over the depth of the roots, mm of water.
    pub gain_mm: Bounded,
    /// What it costs for as many probes, in a sentence.
    pub costs: String,
}

/// Two batches.
pub(in crate::command) struct ShownPair {
    /// The one.
    pub a: String,
    /// The other.
    pub b: String,
    /// The difference of their means, a less b; or why it cannot be said.
    pub found: Result<MeanComparison, String>,
}

/// Where the readings of further probes lie, m3/m3 beside the shared curve.
pub(in crate::command) struct ShownRange {
    /// In soil so wet, in words.
    pub wetness: String,
    /// From and to.
    pub all: (f64, f64),
    /// The same without the probes that stand out.
    pub without: Option<(f64, f64)>,
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
    let soils = answer
        .soils
        .iter()
        .map(|study| of_soil(study, answer.margin, answer.currency.as_deref()));
    Ok(Shown {
        soils: soils.collect::<Result<_, Failure>>()?,
        warnings: answer.warnings,
        sources: answer.sources,
    })
}

fn of_soil(study: &SoilStudy, margin: f64, currency: Option<&str>) -> Result<ShownSoil, Failure> {
    let (chart, _) = charts::of(study);
    let way = |found: &WayFound| ShownWay {
        name: name(found.way),
        expanded: found.expanded,
        judged: found.judged,
        work: work(&found.work_per_probe),
        bought: found.gain.zip(found.gain_mm).map(|(gain, gain_mm)| Bought {
            way: found.way,
            gain,
            gain_mm,
            costs: costs(study, found, currency),
        }),
    };
    let pair = |pair: &BatchPair| ShownPair {
        a: pair.a.clone(),
        b: pair.b.clone(),
        found: match (&pair.compared, &pair.refused) {
            (Some(found), _) => Ok(found.mean),
            (None, refused) => Err(refused
                .as_ref()
                .map_or_else(String::new, |refused| refused.reason.clone())),
        },
    };
    let next_probe = study.next_probe.iter().map(|at| {
        let mut without = study.next_probe_without.iter();
        let without = without.find(|other| other.wetness == at.wetness);
        ShownRange {
            wetness: at.wetness.to_string(),
            all: (at.found.low, at.found.high),
            without: without.map(|at| (at.found.low, at.found.high)),
        }
    });
    let without = study.without_standing_out.as_ref();
    let without = without.and_then(|decision| decision.way(Way::OneCurve));
    Ok(ShownSoil {
        soil: study.soil.clone(),
        probes: study.probes,
        conclusion: Conclusion::of(&study.decision),
        firmness: firmness(&study.decision),
        target: study.decision.asked.target,
        ways: study.decision.ways.iter().map(way).collect(),
        root_depth_mm: study.decision.asked.root_depth_mm,
        standing_out: study.standing_out().map(|one| one.probe.clone()).collect(),
        without: without.map(|found| (found.expanded, found.judged)),
        margin,
        batches: study.batches.iter().map(pair).collect(),
        next_probe: next_probe.collect(),
        no_next_probe: study.no_next_probe.as_ref().map(|no| no.reason.clone()),
        chart: plot::on_page(&chart)?,
    })
}
