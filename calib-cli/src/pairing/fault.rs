//! What can be wrong with the pairing of cores and readings, in words.

use super::Pair;
use super::log::Log;
use super::unpaired::{Lonely, Tagged};
use crate::failure::{Complaint, Warning};
use crate::table::how_long;
use crate::table::names::{
    COUNT, LEVEL, PROBE_ID, READINGS, SAMPLE_ID, SAMPLES, SITE, SOIL, TAKEN_AT,
};
use crate::table::{listed, shown_path};
use crate::workbench::{LoggedReading, Probe, Sample, Workbench};
use calib_core::readings::ReadingError;

fn in_samples(
    workbench: &Workbench,
    sample: &Sample,
    what: impl Into<String>,
    mend: impl Into<String>,
) -> Complaint {
    Complaint::about(&shown_path(&workbench.folder, SAMPLES), what, mend).at_line(sample.line)
}

fn in_readings(workbench: &Workbench, what: String, mend: impl Into<String>) -> Complaint {
    Complaint::about(&shown_path(&workbench.folder, READINGS), what, mend)
}

fn at_tag(workbench: &Workbench, tagged: &Tagged<'_>, what: &str, mend: String) -> Complaint {
    let further = match tagged.count {
        1 => String::new(),
        n => format!(" ({n} readings of {} say so)", tagged.probe),
    };
    in_readings(workbench, format!("{what}{further}"), mend)
        .at_line(tagged.first.line)
        .in_column(SAMPLE_ID, tagged.sample)
}

/// Readings that name a core samples.csv does not have; `meant` is the core they
/// may have been meant for, which is left without readings.
pub fn names_no_core(
    workbench: &Workbench,
    tagged: &Tagged<'_>,
    meant: Option<&Sample>,
) -> Complaint {
    let otherwise = format!("add the core to {SAMPLES}, or leave the cell empty to pair by time");
    match meant {
        None => at_tag(
            workbench,
            tagged,
            &format!("is no core of {SAMPLES}"),
            format!("correct the id, {otherwise}"),
        ),
        Some(core) => at_tag(
            workbench,
            tagged,
            &format!(
                "is no core of {SAMPLES}, and core {} there (line {}) has no readings",
                core.id, core.line
            ),
            format!(
                "if core {} is meant, write the same id in both files; otherwise {otherwise}",
                core.id
            ),
        ),
    }
}

/// Readings that name a core of another probe or soil; `None` if nothing is
/// wrong with them.
pub fn misplaced(workbench: &Workbench, tagged: &Tagged<'_>, sample: &Sample) -> Option<Complaint> {
    let probe = tagged.probe;
    let at = |what: String, mend: &str| Some(at_tag(workbench, tagged, &what, mend.to_owned()));
    if let Some(named) = &sample.probe
        && named != probe
    {
        return at(
            format!("stands beside probe {named} in {SAMPLES}, and this is a reading of {probe}"),
            "correct the core's id or the probe here, or probe_id in samples.csv",
        );
    }
    let probes = &workbench.site.probes;
    let Some(probe) = probes.iter().find(|known| known.id == probe) else {
        return at(
            format!("stands on a reading of probe {probe}, which {SITE} does not have"),
            "correct probe_id, or add the probe to site.toml",
        );
    };
    if sample.soil == probe.soil {
        return None;
    }
    at(
        format!(
            "is a core of soil {} ({SAMPLES}:{}), and this is a reading of probe {}, calibrated in soil {}",
            sample.soil, sample.line, probe.id, probe.soil
        ),
        "correct the core's id, its soil, or the probe's soil; a probe calibrated in two soils needs an entry in site.toml for each",
    )
}

/// No core says when it was taken, and no reading which core it belongs to.
pub fn nothing_to_pair_by(workbench: &Workbench, first: &Sample) -> Complaint {
    in_samples(
        workbench,
        first,
        format!(
            "is empty for every core, and so is {SAMPLE_ID} in {READINGS}: nothing says which readings belong to which core"
        ),
        format!(
            "fill {TAKEN_AT} with the time each core was taken, or {SAMPLE_ID} in {READINGS} with the core each reading belongs to"
        ),
    )
    .in_column(TAKEN_AT, "")
}

/// A core that pairs with no reading.
pub fn no_readings(workbench: &Workbench, log: &Log<'_>, lonely: &Lonely<'_>) -> Complaint {
    let Lonely { sample, probes } = lonely;
    if probes.is_empty() {
        let (column, value) = match &sample.probe {
            Some(probe) => (PROBE_ID, probe),
            None => (SOIL, &sample.soil),
        };
        return in_samples(
            workbench,
            sample,
            format!("has no probe in {SITE}"),
            "add the probe, correct the name, or remove the core",
        )
        .in_column(column, value);
    }
    let ids = listed(probes.iter().map(|probe| probe.id.as_str()));
    let ids = match probes.len() {
        1 => format!("probe {ids}"),
        _ => format!("probes {ids}"),
    };
    let Some(taken_at) = sample.taken_at else {
        return in_samples(
            workbench,
            sample,
            format!("has no readings: none of {ids} names it, and its {TAKEN_AT} is empty"),
            format!(
                "write the core's id into {SAMPLE_ID} of its readings, or fill {TAKEN_AT} to pair by time"
            ),
        )
        .in_column(SAMPLE_ID, &sample.id);
    };
    let window = how_long(workbench.site.window_seconds);
    let last = probes
        .iter()
        .filter_map(|probe| log.last_untagged(log.probe(&probe.id)?, taken_at))
        .max();
    let last = match last {
        Some(last) => format!(
            "; the last such came {} before",
            how_long(taken_at.seconds_since(last))
        ),
        None => String::new(),
    };
    in_samples(
        workbench,
        sample,
        format!(
            "has no readings: none of {ids} names it, and none that names no core came in the {window} up to {TAKEN_AT}{last}"
        ),
        format!(
            "write the core's id into {SAMPLE_ID} of its readings, check {TAKEN_AT} and its offset from UTC, or lengthen window_minutes in {SITE}"
        ),
    )
    .in_column(SAMPLE_ID, &sample.id)
}

/// A probe that never says anything else.
pub fn all_the_same(workbench: &Workbench, log: &Log<'_>, probe: &Probe) -> Option<Complaint> {
    let (first, count) = log.probe(&probe.id)?.all_the_same()?;
    Some(
        in_readings(
            workbench,
            format!(
                "is what all {count} readings of probe {} say, dry or wet",
                probe.id
            ),
            "check the probe's wiring and supply and the converter's channel, then log again",
        )
        .at_line(first.line)
        .in_column(COUNT, first.reading.count.to_string()),
    )
}

/// Cores of one moisture level only, which fix no curve; the `lonely` ones would
/// have paired with the probe too.
pub fn one_level(
    workbench: &Workbench,
    probe: &Probe,
    pairs: &[Pair<'_>],
    lonely: &[&Sample],
) -> Option<Complaint> {
    let first = pairs.first()?;
    let level = &first.sample.level;
    let paired = pairs.iter().map(|pair| pair.sample);
    let mut all = paired.chain(lonely.iter().copied());
    if all.any(|sample| sample.level != *level) {
        return None;
    }
    let what = match pairs.len() + lonely.len() {
        1 => format!("is the level of the only core of probe {}", probe.id),
        n => format!("is the level of all {n} cores of probe {}", probe.id),
    };
    Some(
        in_samples(
            workbench,
            first.sample,
            what,
            "take cores at more moisture levels, from near dry to near saturation",
        )
        .in_column(LEVEL, level),
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
    let about = in_readings(
        workbench,
        format!("probe {}, core {}: {error}", probe.id, sample.id),
        error.mend(),
    );
    match first {
        Some(first) => about
            .at_line(first.line)
            .in_column(COUNT, first.reading.count.to_string()),
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
