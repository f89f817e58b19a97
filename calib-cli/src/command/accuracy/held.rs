//! Readings held against cores: those of saved calibrations against other cores, or
//! those foretold by a fit to the rest.

use super::super::soil::command_line;
use super::{Accuracy, direction, out, temperature};
use crate::calibration_file::CalibrationFile;
use crate::failure::{Complaint, Failure, Warning};
use crate::meant;
use crate::pairs::{self, Pairs};
use crate::table::listed;
use crate::workbench::SourceFile;
use calib_core::accuracy::{
    ClusterBy, CrossValidation, CrossValidationRequest, Fold, Leakage, LeaveOut, Recognised,
    Sample, SharedCore, Unforetold, cross_validate, find_shared,
};
use calib_core::calibration::Calibration;
use calib_core::pair::Pair;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// With more probes than this each gets a line, not a report of its own.
pub(super) const FEW_PROBES: usize = 6;
/// Parts that a probe's cores are left out in.
const GROUPS: usize = 10;
/// More probes than this are not all left out by turns.
const MOST_PROBES: usize = 100;
/// Shared cores named one by one.
const NAMED: usize = 5;

/// How readings came about that were not fitted to the cores they are held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum How {
    /// By the probe's saved calibration, against other cores.
    SavedCalibration,
    /// By the probe's own curve, each core left out of the fit that foretells it.
    CoreLeftOut,
    /// By the curve of the other probes in the soil.
    ProbeLeftOut,
    /// By the curve of the other soils.
    SoilLeftOut,
}

/// Whose readings these are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub(super) enum Whose {
    /// One probe in one soil.
    Probe {
        /// The probe.
        probe: String,
        /// Its soil.
        soil: String,
    },
    /// All probes together.
    All,
}

/// Readings beside cores, of one kind.
#[derive(Debug, Clone)]
pub(super) struct Held {
    pub(super) whose: Whose,
    pub(super) how: How,
    pub(super) samples: Vec<Sample>,
    /// Readings that had no value.
    pub(super) unread: Vec<Unforetold>,
    pub(super) folds: Vec<Fold>,
    /// Whether the verdict of the command rests on it.
    pub(super) decides: bool,
}

/// All that is to be studied, and what it was made from.
#[derive(Debug)]
pub(super) struct Material {
    pub(super) held: Vec<Held>,
    pub(super) warnings: Vec<Warning>,
    pub(super) sources: Vec<SourceFile>,
}

/// The saved calibrations of DIR against the cores of `file`.
pub(super) fn against(command: &Accuracy, file: &Path) -> Result<Material, Failure> {
    if command.dir.is_file() {
        return Err(Complaint::about(
            &command.dir,
            "is a file: DIR must be the workbench folder whose saved calibrations are judged \
             when AGAINST is given",
            "name the folder that was calibrated, or leave AGAINST away to leave this file's \
             own cores out by turns",
        )
        .into());
    }
    let calibrations = CalibrationFile::load_all(&out(command))?;
    let probes: Vec<&str> = calibrations
        .iter()
        .map(|(_, file)| file.calibration.probe.as_str())
        .collect();
    known_probe(command, &probes, "has no saved calibration")?;
    let chosen: Vec<_> = calibrations
        .iter()
        .filter(|(_, file)| is_asked(command, &file.calibration.probe))
        .collect();
    let fitted = pairs::load(&command.dir)?;
    let tested = pairs::load(file)?;
    let mut warnings = CalibrationFile::stale(
        chosen.iter().map(|(path, file)| (path.as_path(), file)),
        &command.dir,
    );
    warnings.extend(tested.warnings.iter().cloned());
    let of = |calibration: &Calibration| -> Vec<Pair> {
        let same = |pair: &&Pair| pair.probe == calibration.probe && pair.soil == calibration.soil;
        tested.pairs.iter().filter(same).cloned().collect()
    };
    let used: Vec<Pair> = chosen
        .iter()
        .flat_map(|(_, file)| of(&file.calibration))
        .collect();
    if used.is_empty() {
        let named: BTreeSet<String> = chosen
            .iter()
            .map(|(_, file)| format!("{} in {}", file.calibration.probe, file.calibration.soil))
            .collect();
        return Err(Complaint::about(
            &tested.file,
            "holds no core beside a calibrated probe in its soil",
            format!(
                "write probes and soils as the calibrations do ({}), or `ovendry fit` first",
                listed(named.iter().map(String::as_str))
            ),
        )
        .into());
    }
    let shared = find_shared(&fitted.pairs, &used);
    refuse_shared(&shared, &fitted, &tested)?;
    warnings.extend(doubtful(&shared, &fitted, &tested));
    warnings.extend(passed_over(command, &chosen, &tested));
    let mut held = Vec::new();
    for (_, file) in &chosen {
        let calibration = &file.calibration;
        let pairs = of(calibration);
        if !pairs.is_empty() {
            let one = read(calibration, &pairs, tested.assumed_theta_u > 0);
            warnings.extend(temperature::outside(calibration, &pairs, one.title()));
            held.push(one);
        }
    }
    Ok(Material {
        held: together(held),
        warnings,
        sources: [fitted.sources, tested.sources].concat(),
    })
}

fn is_asked(command: &Accuracy, probe: &str) -> bool {
    command.probe.as_deref().is_none_or(|id| id == probe)
}

fn known_probe(command: &Accuracy, probes: &[&str], what: &str) -> Result<(), Failure> {
    match command.probe.as_deref() {
        Some(id) if !probes.contains(&id) => Err(command_line(
            "--probe",
            id,
            what,
            meant::choose(id, probes.iter().copied()),
        )
        .into()),
        _ => Ok(()),
    }
}

/// One probe's pairs as its calibration reads them.
fn read(calibration: &Calibration, pairs: &[Pair], assumed: bool) -> Held {
    let mut samples = Vec::new();
    let mut unread = Vec::new();
    for pair in pairs {
        match Sample::of(pair, calibration, ClusterBy::Place) {
            Ok(sample) => samples.push(without_assumption(sample, assumed)),
            Err(error) => unread.push(Unforetold {
                core: pair.core().to_owned(),
                probe: pair.probe.clone(),
                soil: pair.soil.clone(),
                count: pair.observation.count.value,
                why: error.to_string(),
                extrapolated: matches!(
                    error,
                    calib_core::calibration::ConvertError::OutsideDomain { .. }
                ),
            }),
        }
    }
    Held {
        whose: Whose::Probe {
            probe: calibration.probe.clone(),
            soil: calibration.soil.clone(),
        },
        how: How::SavedCalibration,
        samples,
        unread,
        folds: Vec::new(),
        decides: true,
    }
}

/// What is only assumed of a core's error is not taken off a probe's.
fn without_assumption(mut sample: Sample, assumed: bool) -> Sample {
    if assumed {
        sample.reference.u = 0.0;
    }
    sample
}

/// The cores named, each at its line of the file to test on.
fn refuse_shared(leakage: &Leakage, fitted: &Pairs, tested: &Pairs) -> Result<(), Failure> {
    let Err(error) = leakage.refuse() else {
        return Ok(());
    };
    let mut place_of: BTreeMap<&str, usize> = BTreeMap::new();
    for (index, pair) in tested.pairs.iter().enumerate() {
        place_of.entry(pair.core()).or_insert(index);
    }
    let mut refused: Vec<(usize, &SharedCore)> = leakage
        .copies()
        .map(|shared| {
            let index = place_of.get(shared.tested.as_str());
            (index.copied().unwrap_or(usize::MAX), shared)
        })
        .collect();
    refused.sort_by_key(|(index, _)| *index);
    let mut complaints: Vec<Complaint> = refused
        .iter()
        .take(NAMED)
        .map(|(index, shared)| {
            let there = fitted.file.display();
            let what = match shared.recognised {
                Recognised::ByNameAndValues => {
                    format!("was fitted: the same core stands in {there}, so it cannot test")
                }
                Recognised::ByName => {
                    format!("has the name of a core that was fitted ({there}), with other values")
                }
                Recognised::ByValues => format!(
                    "has the count and the water content of core {} in {there}, which was \
                     fitted: so many equal digits are not chance",
                    shared.fitted
                ),
            };
            tested.complaint(*index, what, error.mend())
        })
        .collect();
    let more: Vec<&str> = refused
        .iter()
        .skip(NAMED)
        .map(|(_, shared)| shared.tested.as_str())
        .collect();
    if !more.is_empty() {
        let (count, names) = (more.len(), more.join(", "));
        complaints.push(Complaint::about(
            &tested.file,
            format!("holds {count} more cores that were fitted: {names}"),
            error.mend(),
        ));
    }
    Err(Failure::Input(complaints))
}

/// Cores whose few digits are those of one that was fitted, perhaps by chance.
fn doubtful(leakage: &Leakage, fitted: &Pairs, tested: &Pairs) -> Option<Warning> {
    let alike: Vec<&SharedCore> = leakage.doubtful().collect();
    let named: Vec<String> = alike
        .iter()
        .take(NAMED)
        .map(|one| format!("{} and fitted {}", one.tested, one.fitted))
        .collect();
    let more = if alike.len() > NAMED { ", ..." } else { "" };
    (!alike.is_empty()).then(|| Warning {
        place: tested.file.display().to_string(),
        what: format!(
            "{} with the count and the water content of a core in {}: {}{more}",
            counted(alike.len(), "core"),
            fitted.file.display(),
            named.join(", ")
        ),
        why: "so few digits may be equal by chance, but a core that was fitted would flatter the \
              probe"
            .to_owned(),
        advice: "see whether they are the same core; if so, leave it out".to_owned(),
    })
}

/// `1 core`, `2 cores`.
pub(super) fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

/// Pairs of the file that no calibration reads.
fn passed_over(
    command: &Accuracy,
    chosen: &[&(std::path::PathBuf, CalibrationFile)],
    tested: &Pairs,
) -> Vec<Warning> {
    let mut others: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for pair in &tested.pairs {
        let read = chosen.iter().any(|(_, file)| {
            file.calibration.probe == pair.probe && file.calibration.soil == pair.soil
        });
        if !read && is_asked(command, &pair.probe) {
            *others.entry((&pair.probe, &pair.soil)).or_default() += 1;
        }
    }
    if others.is_empty() {
        return Vec::new();
    }
    let count: usize = others.values().sum();
    let names: Vec<String> = others
        .keys()
        .take(NAMED)
        .map(|(probe, soil)| format!("{probe} in {soil}"))
        .collect();
    let more = if others.len() > NAMED { ", ..." } else { "" };
    vec![Warning {
        place: tested.file.display().to_string(),
        what: format!(
            "{count} pairs have no saved calibration: {}{more}",
            names.join(", ")
        ),
        why: "a calibration is of one probe in one soil; they are left out".to_owned(),
        advice: "if the names are only written differently, write them alike; otherwise calibrate \
                 the probe in that soil"
            .to_owned(),
    }]
}

/// The cores of DIR, each foretold by a fit that did not see it.
pub(super) fn left_out(command: &Accuracy) -> Result<Material, Failure> {
    let mut loaded = pairs::load(&command.dir)?;
    let probes: BTreeSet<&str> = loaded
        .pairs
        .iter()
        .map(|pair| pair.probe.as_str())
        .collect();
    known_probe(
        command,
        &probes.iter().copied().collect::<Vec<_>>(),
        "is no probe with cores",
    )?;
    let (probes, left_away) = few_of(&probes);
    let probes: BTreeSet<String> = probes.into_iter().map(str::to_owned).collect();
    let mut warnings = loaded.warnings.clone();
    if command.probe.is_some() {
        loaded.pairs.retain(|pair| is_asked(command, &pair.probe));
    } else if left_away > 0 {
        warnings.push(Warning {
            place: loaded.file.display().to_string(),
            what: format!(
                "{MOST_PROBES} of its {} probes are looked at, evenly by name",
                MOST_PROBES + left_away
            ),
            why: "every core of every probe would need a fit of its own; these say nearly as much"
                .to_owned(),
            advice: "for the others name a probe with --probe, or give a file that holds them"
                .to_owned(),
        });
        loaded.pairs.retain(|pair| probes.contains(&pair.probe));
    }
    let assumed = loaded.assumed_theta_u > 0;
    let foretold = |leave_out, pairs: &[Pair]| {
        let request = CrossValidationRequest {
            seed: command.seed,
            ..CrossValidationRequest::leaving_out(leave_out)
        };
        cross_validate(pairs, &request)
    };
    let by_turns = LeaveOut::Core { groups: GROUPS };
    let own = foretold(by_turns, &loaded.pairs).map_err(|error| {
        Failure::from(Complaint::about(
            &loaded.file,
            error.to_string(),
            error.mend(),
        ))
    })?;
    warnings.extend(failed(&own.folds));
    let mut held = together(by_probe(own, assumed));
    for (how, leave_out) in [
        (How::ProbeLeftOut, LeaveOut::Probe),
        (How::SoilLeftOut, LeaveOut::Soil),
    ] {
        if !has_others(&loaded.pairs, leave_out) {
            continue;
        }
        let (alike, contrary) = direction::alike(&loaded.pairs, leave_out);
        let place = loaded.file.display().to_string();
        warnings.extend(direction::said(&contrary, how, place));
        if !has_others(&alike, leave_out) {
            continue;
        }
        match foretold(leave_out, &alike) {
            Ok(cross) => {
                warnings.extend(failed(&cross.folds));
                let samples = cross.samples.into_iter();
                held.push(Held {
                    whose: Whose::All,
                    how,
                    samples: samples
                        .map(|sample| without_assumption(sample, assumed))
                        .collect(),
                    unread: cross.unforetold,
                    folds: cross.folds,
                    decides: false,
                });
            }
            Err(error) => warnings.push(Warning {
                place: loaded.file.display().to_string(),
                what: error.to_string(),
                why: format!("nothing is said of {}", how.subject()),
                advice: error.mend().to_owned(),
            }),
        }
    }
    Ok(Material {
        held,
        warnings,
        sources: loaded.sources,
    })
}

/// Whether what is left out has others to be foretold by.
fn has_others(pairs: &[Pair], leave_out: LeaveOut) -> bool {
    let beds: BTreeSet<(&str, &str)> = pairs
        .iter()
        .map(|pair| (pair.soil.as_str(), pair.probe.as_str()))
        .collect();
    let soils: BTreeSet<&str> = beds.iter().map(|(soil, _)| *soil).collect();
    match leave_out {
        LeaveOut::Soil => soils.len() > 1,
        LeaveOut::Probe | LeaveOut::Core { .. } => beds.len() > soils.len(),
    }
}

/// At most [`MOST_PROBES`] of these, evenly, and how many more there are.
fn few_of<'a>(probes: &BTreeSet<&'a str>) -> (Vec<&'a str>, usize) {
    let all: Vec<&str> = probes.iter().copied().collect();
    let few = (0..MOST_PROBES.min(all.len()))
        .filter_map(|i| all.get(i * all.len() / MOST_PROBES.min(all.len())).copied())
        .collect();
    (few, all.len().saturating_sub(MOST_PROBES))
}

/// Parts that could not be foretold at all.
fn failed(folds: &[Fold]) -> Vec<Warning> {
    folds
        .iter()
        .filter_map(|fold| {
            let why = fold.failure.clone()?;
            Some(Warning {
                place: fold.left_out.clone(),
                what: format!(
                    "left out, the {} other cores give no curve: {why}",
                    fold.fitted
                ),
                why: "its readings are not in the figures".to_owned(),
                advice: "take more cores from dry to wet, or look for one that is wrong".to_owned(),
            })
        })
        .collect()
}

/// What was foretold, parted by probe and soil.
fn by_probe(cross: CrossValidation, assumed: bool) -> Vec<Held> {
    let mut parts: BTreeMap<(String, String), (Vec<Sample>, Vec<Unforetold>)> = BTreeMap::new();
    for sample in cross.samples {
        let part = parts.entry((sample.probe.clone(), sample.soil.clone()));
        part.or_default()
            .0
            .push(without_assumption(sample, assumed));
    }
    for unread in cross.unforetold {
        let part = parts.entry((unread.probe.clone(), unread.soil.clone()));
        part.or_default().1.push(unread);
    }
    parts
        .into_iter()
        .map(|((probe, soil), (samples, unread))| Held {
            whose: Whose::Probe { probe, soil },
            how: How::CoreLeftOut,
            samples,
            unread,
            folds: Vec::new(),
            decides: true,
        })
        .collect()
}

/// Few probes each for themselves, and all together; many only together.
fn together(mut each: Vec<Held>) -> Vec<Held> {
    if each.len() < 2 {
        return each;
    }
    let many = each.len() > FEW_PROBES;
    let all = Held {
        whose: Whose::All,
        how: each[0].how,
        samples: each.iter().flat_map(|held| held.samples.clone()).collect(),
        unread: each.iter().flat_map(|held| held.unread.clone()).collect(),
        folds: Vec::new(),
        decides: many,
    };
    if many {
        return vec![all];
    }
    each.push(all);
    each
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_very_many_probes_some_are_taken_evenly() {
        let names: Vec<String> = (0..1250).map(|i| format!("p{i:04}")).collect();
        let all: BTreeSet<&str> = names.iter().map(String::as_str).collect();
        let (few, left_away) = few_of(&all);
        assert_eq!((few.len(), left_away), (MOST_PROBES, 1150));
        assert_eq!((few[0], few[1], few[99]), ("p0000", "p0012", "p1237"));
        let some: BTreeSet<&str> = all.iter().copied().take(7).collect();
        assert_eq!(few_of(&some).0.len(), 7);
        assert_eq!(few_of(&BTreeSet::new()), (Vec::new(), 0));
    }
}
