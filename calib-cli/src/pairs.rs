//! Cores with the probes read beside them, as the studies of many probes, of
//! accuracy and of drift take them: from a workbench folder or from a file of pairs.

use crate::failure::{Complaint, Failure, Warning};
use crate::findings::Findings;
use crate::pairing::{self, PairedProbe};
use crate::table::names::{COUNT, SAMPLE_ID, SAMPLES};
use crate::table::pairs::{COLUMNS, read};
use crate::table::{self, Source, rfc_3339, shown_path};
use crate::workbench::{Sample, SourceFile, Workbench};
use calib_core::pair::{Pair, TwoPoints};
use calib_core::quantity::Quantity;
use calib_core::uncertainty::Budget;
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

/// What a study reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Pairs {
    /// In the order of the file; from a workbench, probe by probe. What the
    /// uncertainty of a core is made of is not itemised.
    pub pairs: Vec<Pair>,
    /// Counts in the two media, by probe, where stated.
    pub media: BTreeMap<String, TwoPoints>,
    /// What was noticed and did not stop the work.
    pub warnings: Vec<Warning>,
    /// Name and hash of what was read.
    pub sources: Vec<SourceFile>,
    /// The file the cores stand in, for complaints.
    pub file: PathBuf,
    /// Line of [`file`](Self::file) for each pair.
    pub lines: Vec<u64>,
    /// Pairs of which the core's uncertainty is assumed and not stated.
    pub assumed_theta_u: usize,
}

/// Reads `place`: a workbench folder, whose cores and readings are paired as `fit`
/// does, or a file of pairs.
///
/// # Errors
/// [`Failure::Input`] with every fault found.
pub fn load(place: &Path) -> Result<Pairs, Failure> {
    if place.is_dir() {
        let workbench = table::load(place)?;
        let paired = pairing::pair(&workbench)?;
        let mut warnings = workbench.warnings.clone();
        warnings.extend(paired.warnings.iter().cloned());
        let mut pairs = of_workbench(&workbench, &paired.probes);
        pairs.warnings = warnings;
        Ok(pairs)
    } else {
        of_file(place)
    }
}

/// The pairs of a workbench, without the warnings of its reading.
fn of_workbench(workbench: &Workbench, probes: &[PairedProbe]) -> Pairs {
    let samples: HashMap<&str, &Sample> = workbench
        .samples
        .iter()
        .map(|sample| (sample.id.as_str(), sample))
        .collect();
    let mut pairs = Vec::new();
    let mut lines = Vec::new();
    let mut media = BTreeMap::new();
    for paired in probes {
        let probe = workbench.site.probe(&paired.probe);
        if let Some(read) = probe.and_then(|probe| probe.media) {
            media.insert(paired.probe.clone(), read.ends());
        }
        for observation in &paired.observations {
            let sample = samples.get(observation.sample.as_str());
            let mut observation = observation.clone();
            observation.budget = Budget::default();
            pairs.push(Pair {
                probe: paired.probe.clone(),
                soil: paired.soil.clone(),
                batch: probe.and_then(|probe| probe.batch.clone()),
                place: sample.and_then(|sample| sample.place.clone()),
                taken_at: sample.and_then(|sample| sample.taken_at),
                observation,
            });
            lines.push(sample.map_or(0, |sample| sample.line));
        }
    }
    Pairs {
        pairs,
        media,
        warnings: Vec::new(),
        sources: workbench.sources.clone(),
        file: shown_path(&workbench.folder, SAMPLES),
        lines,
        assumed_theta_u: 0,
    }
}

fn of_file(file: &Path) -> Result<Pairs, Failure> {
    if !file.exists() {
        return Err(Complaint::about(
            file,
            "is neither a folder nor a file",
            "name a workbench folder, or a file of pairs such as `ovendry pair` writes",
        )
        .into());
    }
    let mut findings = Findings::default();
    let folder = table::folder_of(file);
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    let read = Source::read(folder, &name, &mut findings)
        .and_then(|source| Ok((read(&source, &mut findings)?, source.stamp)));
    let (complaints, warnings) = findings.finish(&[&shown_path(folder, &name)]);
    match read {
        Ok((table, stamp)) if complaints.is_empty() => Ok(Pairs {
            pairs: table.pairs,
            media: table.media,
            warnings,
            sources: vec![stamp],
            file: shown_path(folder, &name),
            lines: table.lines,
            assumed_theta_u: table.assumed_theta_u,
        }),
        _ => Err(Failure::Input(complaints)),
    }
}

impl Pairs {
    /// A complaint about one pair, in the column of its core's identifier.
    pub fn complaint(
        &self,
        index: usize,
        what: impl Into<String>,
        mend: impl Into<String>,
    ) -> Complaint {
        let complaint = Complaint::about(&self.file, what, mend);
        match (self.pairs.get(index), self.lines.get(index)) {
            (Some(pair), Some(line)) => complaint.at_line(*line).in_column(SAMPLE_ID, pair.core()),
            _ => complaint,
        }
    }

    /// The text of a file of pairs that reads back as these. Numbers are written with
    /// as many digits as it takes to be the same again.
    ///
    /// # Errors
    /// [`Failure::Internal`] if the text cannot be made.
    pub fn render(&self) -> Result<String, Failure> {
        let failed =
            |error: csv::Error| Failure::Internal(format!("cannot write {COUNT}: {error}"));
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer
            .write_record(COLUMNS.map(|column| column.name))
            .map_err(failed)?;
        for pair in &self.pairs {
            let core = &pair.observation;
            let media = self.media.get(&pair.probe);
            let number = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
            let text = |text: &Option<String>| text.clone().unwrap_or_default();
            writer
                .write_record([
                    core.sample.clone(),
                    pair.soil.clone(),
                    pair.probe.clone(),
                    core.count.value.to_string(),
                    core.theta_v.value.value().to_string(),
                    core.theta_v.u.to_string(),
                    core.count.u.to_string(),
                    number(core.temperature.map(Quantity::value)),
                    core.level.clone(),
                    text(&pair.batch),
                    text(&pair.place),
                    pair.taken_at.map_or_else(String::new, rfc_3339),
                    number(media.map(|media| media.low)),
                    number(media.map(|media| media.high)),
                    core.relative_volume_u.to_string(),
                    String::new(),
                ])
                .map_err(failed)?;
        }
        writer
            .into_inner()
            .ok()
            .and_then(|bytes| String::from_utf8(bytes).ok())
            .ok_or_else(|| Failure::Internal("cannot write the pairs".to_owned()))
    }
}
