//! Cores with the probes read beside them, as the studies of many probes, of
//! accuracy and of drift take them: from a workbench folder or from a file of pairs.

use crate::failure::{Complaint, Failure, Warning};
use crate::findings::Findings;
use crate::meant;
use crate::pairing::{self, PairedProbe};
use crate::table::names::{COUNT, READINGS, SAMPLE_ID, SAMPLES, SITE};
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
            media.insert(paired.probe.clone(), read.ends);
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
            meant::mend(
                file,
                "name a workbench folder, or a file of pairs such as `ovendry pair` writes",
            ),
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
        // Not a row could be read: perhaps it was never meant to be one.
        Err(_) => Err(match other_kind(file) {
            Some(complaint) => complaint.into(),
            None => Failure::Input(complaints),
        }),
        Ok(_) => Err(Failure::Input(complaints)),
    }
}

/// That a file is of another kind, as its name says; of a table of a workbench only
/// where the workbench lies beside it.
fn other_kind(file: &Path) -> Option<Complaint> {
    let (kind, mend) = meant::kind(file)?;
    let folder = table::folder_of(file);
    let is_table = [SAMPLES, READINGS, SITE]
        .iter()
        .any(|name| file.ends_with(name));
    let mend = match (is_table, folder.join(SITE).is_file()) {
        (true, false) => return None,
        (true, true) => format!("give the folder: {}", folder.display()),
        (false, _) => format!("give a file of pairs such as `ovendry pair` writes; {mend}"),
    };
    let what = format!("is {kind}, not a table of pairs");
    Some(Complaint::about(file, what, mend))
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

#[cfg(test)]
mod tests {
    use super::*;
    use calib_core::quantity::Timestamp;
    use std::fs;

    const HEADER: &str = "sample_id,soil,probe_id,raw_count,theta_v";

    fn loaded(text: &str) -> Result<Pairs, Failure> {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("pairs.csv");
        fs::write(&file, text).unwrap();
        load(&file)
    }

    fn complaints(text: &str) -> Vec<String> {
        match loaded(text) {
            Err(Failure::Input(complaints)) => complaints
                .iter()
                .map(|c| format!("{}: {}", c.line.unwrap_or(0), c.what))
                .collect(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_pairs_of_a_workbench_read_back_the_same() {
        let folder = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data");
        for name in ["site.toml", "samples.csv", "readings.csv"] {
            let mut text = fs::read_to_string(demo.join(name)).unwrap();
            if name == "site.toml" {
                text = text.replacen("[[probe]]\n", "[[probe]]\nbatch = \"a \\\"b\\\", c\"\n", 1);
                for (medium, count) in [("air", 831.5), ("water", 214.0), ("propanol", 400.0)] {
                    text += &format!(
                        "[[medium]]\nprobe = \"terrace-1\"\nname = \"{medium}\"\ncount = {count}\n{}\n",
                        match medium {
                            "air" => "",
                            "water" => "temperature_c = 20",
                            _ => "permittivity = 21",
                        }
                    );
                }
            }
            fs::write(folder.path().join(name), text).unwrap();
        }
        let there = load(folder.path()).unwrap_or_else(|failure| panic!("{failure}"));
        assert_eq!(there.pairs.len(), 63);
        assert!(there.pairs.iter().all(|pair| pair.taken_at.is_some()));
        assert_eq!(there.pairs[0].batch.as_deref(), Some("a \"b\", c"));
        let back = loaded(&there.render().unwrap()).unwrap_or_else(|failure| panic!("{failure}"));
        assert_eq!(back.pairs, there.pairs);
        assert_eq!(back.media, there.media);
        let ends = TwoPoints {
            low: 831.5,
            high: 214.0,
        };
        assert_eq!(back.media.get("terrace-1"), Some(&ends));
        assert_eq!((back.assumed_theta_u, back.warnings), (0, Vec::new()));
    }

    #[test]
    fn a_spreadsheets_table_with_days_and_decimal_commas_is_read() {
        let pairs = loaded(
            "probe_id;sample_id;theta_v;raw_count;soil;taken_at;mood;theta_v_u\r\n\
             P1;A1;0,254;512,5;loam;2026-11-25;x;0,004\r\n\
             P2;A1;0,254;498;loam;2026-11-25;y;0,004\r\n",
        )
        .unwrap_or_else(|failure| panic!("{failure}"));
        let pair = &pairs.pairs[0];
        assert_eq!(pair.observation.count.value, 512.5);
        assert_eq!(pair.observation.theta_v.u, 0.004);
        assert_eq!(pair.observation.level, "A1");
        assert_eq!(pair.taken_at, Some(Timestamp(1_795_608_000)), "noon UTC");
        assert_eq!(pairs.lines, [2, 3]);
        assert_eq!(pairs.pairs[1].core(), "A1");
    }

    #[test]
    fn what_is_assumed_is_said() {
        let pairs = loaded(&format!("{HEADER}\nA1,loam,P1,512,0.254\n")).unwrap();
        assert_eq!(pairs.assumed_theta_u, 1);
        let whats: Vec<&str> = pairs.warnings.iter().map(|w| w.what.as_str()).collect();
        assert_eq!(
            whats,
            [
                "theta_v_u is empty in 1 of 1 rows: 0.005 m3/m3 is assumed",
                "count_u is empty in 1 of 1 rows: rounding to whole counts alone is assumed",
            ]
        );
    }

    #[test]
    fn a_core_and_a_probe_say_the_same_in_every_row() {
        let header = format!("{HEADER},batch,count_low_medium,count_high_medium,place");
        let rows = "A1,loam,P1,512,0.254,b,830,210,x\nA2,loam,P1,612,0.154,b,,,y\n";
        assert_eq!(loaded(&format!("{header}\n{rows}")).unwrap().media.len(), 1);
        for (row, what) in [
            (
                "A1,clay,P2,498,0.254,b,,,x",
                "is not what line 2 says of core A1",
            ),
            (
                "A1,loam,P2,498,0.255,b,,,x",
                "is not what line 2 says of core A1",
            ),
            (
                "A1,loam,P2,498,0.254,b,,,",
                "is not what line 2 says of core A1",
            ),
            (
                "A3,loam,P1,498,0.254,c,,,x",
                "is not what line 2 says of probe P1",
            ),
            (
                "A3,loam,P1,498,0.254,b,830,211,x",
                "is not what line 2 says of probe P1",
            ),
            (
                "A3,loam,P1,498,0.254,b,830,,x",
                "is empty where count_low_medium is not",
            ),
            (
                "A3,loam,P1,498,0.254,b,830,830,x",
                "is count_low_medium too",
            ),
            (
                "A1,loam,P1,512,0.254,b,,,x",
                "stands beside probe P1 in line 2 already",
            ),
        ] {
            assert_eq!(
                complaints(&format!("{header}\n{rows}{row}\n")),
                [format!("4: {what}")],
                "{row}"
            );
        }
    }

    #[test]
    fn all_faults_of_a_table_are_told_at_once() {
        assert_eq!(
            complaints(&format!("{HEADER}\nA1,loam,P1,512,25.4\n,loam,P1,x,0.2\n")),
            [
                "2: looks like per cent, not m3/m3",
                "3: is not a number",
                "3: is empty",
            ]
        );
    }
}
