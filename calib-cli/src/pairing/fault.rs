//! What can be wrong with the pairing of cores and readings, in words.

use super::Pair;
use super::log::Log;
use crate::cores::SAMPLES;
use crate::failure::{Complaint, Warning};
use crate::workbench::{LoggedReading, Probe, Sample, Workbench};
use calib_core::readings::ReadingError;
use std::collections::HashMap;

/// Name of the log.
const READINGS: &str = "readings.csv";

/// Complaints by file and line, each once.
pub fn in_order(mut complaints: Vec<Complaint>, workbench: &Workbench) -> Vec<Complaint> {
    let order = [
        workbench.site.file.clone(),
        workbench.shown(SAMPLES),
        workbench.shown(READINGS),
    ];
    complaints.sort_by_cached_key(|complaint| {
        let file = order.iter().position(|file| *file == complaint.file);
        (file, complaint.line, complaint.what.clone())
    });
    complaints.dedup();
    complaints
}

/// Readings that name a core they cannot belong to: one complaint for each core
/// and probe, at the first such reading.
pub fn misplaced_tags(workbench: &Workbench, log: &Log<'_>) -> Vec<Complaint> {
    let samples: HashMap<&str, &Sample> = workbench
        .samples
        .iter()
        .map(|sample| (sample.id.as_str(), sample))
        .collect();
    let soils: HashMap<&str, &str> = workbench
        .site
        .probes
        .iter()
        .map(|probe| (probe.id.as_str(), probe.soil.as_str()))
        .collect();
    log.tags()
        .filter_map(|(probe, tag, places)| {
            let first = log.at(places).next()?;
            let (what, mend) = misplaced(probe, tag, samples.get(tag), soils.get(probe))?;
            let further = match places.len() {
                1 => String::new(),
                n => format!(" ({n} readings of {probe} name it)"),
            };
            Some(
                Complaint::about(&workbench.shown(READINGS), format!("{what}{further}"), mend)
                    .at_line(first.line)
                    .in_column("sample_id", tag),
            )
        })
        .collect()
}

/// What is wrong with a reading of `probe` that names the core `tag`, and the
/// mend.
fn misplaced(
    probe: &str,
    tag: &str,
    sample: Option<&&Sample>,
    soil: Option<&&str>,
) -> Option<(String, &'static str)> {
    let Some(sample) = sample else {
        return Some((
            format!("names no core of {SAMPLES}"),
            "correct the id, add the core to samples.csv, or leave the cell empty to pair by time",
        ));
    };
    if let Some(named) = &sample.probe
        && named != probe
    {
        return Some((
            format!(
                "stands on a reading of probe {probe}, and {SAMPLES} has core {tag} beside probe {named}"
            ),
            "correct the core's id or the probe here, or probe_id in samples.csv",
        ));
    }
    let Some(soil) = soil else {
        return Some((
            format!("stands on a reading of probe {probe}, which site.toml does not have"),
            "correct probe_id, or add the probe to site.toml",
        ));
    };
    (sample.soil != **soil).then(|| {
        (
            format!(
                "is a core of soil {}, and probe {probe} is calibrated in soil {soil} (site.toml)",
                sample.soil
            ),
            "correct the core's id, its soil, or the probe's soil; a probe calibrated in two soils needs an entry in site.toml for each",
        )
    })
}

/// A core that pairs with no reading.
pub fn no_readings(
    workbench: &Workbench,
    log: &Log<'_>,
    sample: &Sample,
    probes: &[&Probe],
) -> Complaint {
    let about = |what: String, mend: &str| {
        Complaint::about(&workbench.shown(SAMPLES), what, mend).at_line(sample.line)
    };
    if probes.is_empty() {
        let (column, value) = match &sample.probe {
            Some(probe) => ("probe_id", probe),
            None => ("soil", &sample.soil),
        };
        return about(
            "has no probe in site.toml".to_owned(),
            "add the probe, correct the name, or remove the core",
        )
        .in_column(column, value);
    }
    let ids: Vec<&str> = probes.iter().map(|probe| probe.id.as_str()).collect();
    let ids = ids.join(", ");
    let Some(taken_at) = sample.taken_at else {
        return about(
            format!("has no readings: none of probe {ids} names it, and taken_at is empty"),
            "write the core's id into sample_id of its readings, or fill taken_at to pair by time",
        )
        .in_column("sample_id", &sample.id);
    };
    let window = duration(workbench.site.window_seconds);
    let last = probes
        .iter()
        .filter_map(|probe| log.last_untagged(log.probe(&probe.id)?, taken_at))
        .max();
    let last = match last {
        Some(last) => format!(
            "; the last came {} before",
            duration(taken_at.seconds_since(last))
        ),
        None => String::new(),
    };
    about(
        format!("has no readings: none of probe {ids} in the {window} up to taken_at{last}"),
        "check taken_at and its offset from UTC, lengthen the window in site.toml, or write the core's id into sample_id of its readings",
    )
    .in_column("sample_id", &sample.id)
}

/// A probe that never says anything else.
pub fn all_the_same(workbench: &Workbench, log: &Log<'_>, probe: &Probe) -> Option<Complaint> {
    let (first, count) = log.probe(&probe.id)?.all_the_same()?;
    Some(
        Complaint::about(
            &workbench.shown(READINGS),
            format!("is what all {count} readings of probe {} say", probe.id),
            "check wiring, supply and the converter's channel, then log again",
        )
        .at_line(first.line)
        .in_column("raw_count", first.reading.count.to_string()),
    )
}

/// Cores of one moisture level only, which fix no curve.
pub fn one_level(workbench: &Workbench, probe: &Probe, pairs: &[Pair<'_>]) -> Option<Complaint> {
    let (first, others) = pairs.split_first()?;
    let level = &first.sample.level;
    if others.iter().any(|pair| pair.sample.level != *level) {
        return None;
    }
    let what = match pairs.len() {
        1 => format!(
            "is the level of the only core paired with probe {}",
            probe.id
        ),
        n => format!(
            "is the level of all {n} cores paired with probe {}",
            probe.id
        ),
    };
    Some(
        Complaint::about(
            &workbench.shown(SAMPLES),
            what,
            "take cores at more moisture levels, from near dry to near saturation",
        )
        .at_line(first.sample.line)
        .in_column("level", level),
    )
}

/// A window that gives no count.
pub fn unusable(
    workbench: &Workbench,
    probe: &Probe,
    sample: &Sample,
    first: Option<&LoggedReading>,
    error: ReadingError,
) -> Complaint {
    let about = Complaint::about(
        &workbench.shown(READINGS),
        format!("probe {} for core {}: {error}", probe.id, sample.id),
        error.mend(),
    );
    match first {
        Some(first) => about
            .at_line(first.line)
            .in_column("raw_count", first.reading.count.to_string()),
        None => about,
    }
}

/// A probe of site.toml that pairs with no core.
pub fn no_cores(probe: &Probe) -> Warning {
    Warning {
        place: format!("probe {}", probe.id),
        what: format!("no core of soil {} pairs with it", probe.soil),
        why: "it gets no calibration".to_owned(),
        advice: "take cores beside it and log its readings, or remove it from site.toml".to_owned(),
    }
}

/// A probe whose windows are all single readings.
pub fn noise_unknown(probe: &Probe) -> Warning {
    Warning {
        place: format!("probe {}", probe.id),
        what: "every core has a single reading, so the noise of a reading is not known".to_owned(),
        why: "the uncertainty of a new reading is then little more than a guess".to_owned(),
        advice: "log at least five readings for each core".to_owned(),
    }
}

/// `90 s`, `45 min`, `30 h`, `12 days`: rounded to the unit.
fn duration(seconds: i64) -> String {
    let (unit, name) = match seconds {
        ..120 => (1, "s"),
        120..7200 => (60, "min"),
        7200..172_800 => (3600, "h"),
        _ => (86_400, "days"),
    };
    format!("{} {name}", seconds.saturating_add(unit / 2) / unit)
}
