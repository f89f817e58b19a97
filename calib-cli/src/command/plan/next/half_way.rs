//! The workbench as it is half-way through: some cores not dry yet, other probes not begun.

use super::super::Arguments;
use crate::failure::{Complaint, Failure, Warning};
use crate::table::names::SAMPLES;
use crate::table::{Undried, load_half_way, shown_path};
use crate::workbench::Workbench;
use calib_core::calibration::Calibration;
use std::collections::HashSet;
use std::path::Path;

/// Ids named before the rest are only counted.
const NAMED: usize = 4;

/// The workbench with the cores that are dry, as far as the probe or soil asked for goes,
/// and its cores that are not dry yet.
///
/// # Errors
/// [`Failure::Input`] for every other fault of the files, and if no core is dry.
pub(super) fn load(
    folder: &Path,
    arguments: &Arguments,
) -> Result<(Workbench, Vec<Undried>), Failure> {
    let (mut workbench, mut undried) = load_half_way(folder)?;
    let probe = arguments.probe.as_deref();
    // An id that stands nowhere is told of later, with those that do.
    let asked = probe.and_then(|id| workbench.site.probe(id));
    let soil = match (asked, &arguments.soil) {
        (Some(probe), _) => Some(probe.soil.clone()),
        (None, Some(soil)) if probe.is_none() => Some(soil.clone()),
        _ => None,
    };
    let beside = asked.map(|probe| probe.id.clone());
    if let Some(soil) = soil.filter(|id| workbench.site.soils.iter().any(|s| s.id == *id)) {
        narrow(&mut workbench, &soil, beside.as_deref());
        undried.retain(|core| is_of(&soil, beside.as_deref(), &core.soil, core.probe.as_deref()));
    }
    if let (true, Some(first)) = (workbench.samples.is_empty(), undried.first()) {
        return Err(Complaint::about(
            &shown_path(folder, SAMPLES),
            format!(
                "no core is dry yet: dry_g is empty {}",
                all_of(undried.len())
            ),
            "weigh the first ones dry and write it down; where to take cores before that is what \
             `ovendry plan` says without --next",
        )
        .at_line(first.line)
        .into());
    }
    Ok((workbench, undried))
}

/// Whether a core of `of`, beside `stands` if that is said, is one of this soil and probe.
fn is_of(soil: &str, probe: Option<&str>, of: &str, stands: Option<&str>) -> bool {
    of == soil && (probe.is_none() || stands.is_none() || stands == probe)
}

/// Leaves only what this soil, and in it this probe, is calibrated by.
fn narrow(workbench: &mut Workbench, soil: &str, probe: Option<&str>) {
    let (mine, others): (Vec<_>, Vec<_>) = std::mem::take(&mut workbench.samples)
        .into_iter()
        .partition(|core| is_of(soil, probe, &core.soil, core.probe.as_deref()));
    let others: HashSet<&str> = others.iter().map(|core| core.id.as_str()).collect();
    workbench.samples = mine;
    workbench.site.probes.retain(|known| known.soil == soil);
    let probes = &workbench.site.probes;
    workbench.readings.retain(|logged| {
        probes.iter().any(|known| known.id == logged.probe)
            && !logged
                .sample
                .as_deref()
                .is_some_and(|id| others.contains(id))
    });
}

/// How many cores of this calibration are not dry yet.
pub(super) fn on_their_way(undried: &[Undried], calibration: &Calibration) -> usize {
    let (soil, probe) = (&calibration.soil, Some(calibration.probe.as_str()));
    let is_mine = |core: &&Undried| is_of(soil, probe, &core.soil, core.probe.as_deref());
    undried.iter().filter(is_mine).count()
}

/// That cores were left out because they are not dry yet.
pub(super) fn left_out(folder: &Path, undried: &[Undried]) -> Option<Warning> {
    let first = undried.first()?;
    let one = undried.len() == 1;
    Some(Warning {
        place: format!("{}:{}", shown_path(folder, SAMPLES).display(), first.line),
        what: format!(
            "{} {} not dry yet (dry_g is empty) and left out with the readings that name {}: {}",
            undried.len(),
            if one { "core is" } else { "cores are" },
            if one { "it" } else { "them" },
            named(undried)
        ),
        why: "the advice is as if they had not been taken: it may name a place where one of them \
              was dug"
            .to_owned(),
        advice: "count those on their way near such a place as dug already, or weigh them dry and \
                 run this again"
            .to_owned(),
    })
}

fn named(undried: &[Undried]) -> String {
    let ids: Vec<&str> = undried.iter().map(|core| core.id.as_str()).collect();
    match ids.get(..NAMED) {
        Some(first) if ids.len() > NAMED + 1 => {
            format!("{} and {} more", first.join(", "), ids.len() - NAMED)
        }
        _ => ids.join(", "),
    }
}

fn all_of(cores: usize) -> String {
    match cores {
        1 => "for the only core".to_owned(),
        cores => format!("for all {cores} cores"),
    }
}
