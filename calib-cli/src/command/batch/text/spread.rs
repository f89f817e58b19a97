//! How far the probes differ: variance components, ISO 5725 terms, the next probe.

use super::super::study::{Scale, SoilStudy, TOLERANCE};
use super::{item, p_value, paragraph, section, water};
use crate::text_table::{Column, TextTable};
use calib_core::batch::{Boundary, Component, Design};

/// Levels shown at most.
const MOST_LEVELS: usize = 12;

/// Both tables with a sentence each.
pub(super) fn text(study: &SoilStudy) -> String {
    let mut text = section("How far they differ", &components(study));
    text.push('\n');
    text.push_str(&precision(study));
    text
}

fn components(study: &SoilStudy) -> String {
    let mut body = paragraph(&format!(
        "Standard deviations by restricted maximum likelihood, with 95 % intervals. An offset is how far a probe reads off at {} m3/m3, a gain how that changes with water content.",
        water(study.as_read.spread.centre)
    ));
    body.push('\n');
    let mut table = TextTable::new([
        Column::words("part"),
        Column::numbers("s.d.", ""),
        Column::numbers("95 % interval", ""),
        Column::words("unit"),
    ]);
    rows(&mut table, &study.as_read, "");
    if let Some(scale) = &study.two_media {
        rows(&mut table, scale, "after two media: ");
    }
    body.push_str(&table.to_string());
    for boundary in &study.as_read.spread.boundaries {
        body.push_str(&item(at_edge(*boundary)));
    }
    body
}

fn rows(table: &mut TextTable<4>, scale: &Scale, before: &str) {
    let spread = &scale.spread;
    let mut row = |name: &str, component: &Component, unit: &str, decimals: usize| {
        let end = |end: Option<f64>| {
            end.map_or_else(|| "?".to_owned(), |end| format!("{end:.decimals$}"))
        };
        table.push([
            format!("{before}{name}"),
            format!("{:.decimals$}", component.value),
            format!("{} to {}", end(component.low), end(component.high)),
            unit.to_owned(),
        ]);
    };
    row("between probes, offset", &spread.offset_sd, "m3/m3", 4);
    if let Some(gain) = &spread.gain_sd {
        row("between probes, gain", gain, "m3/m3 per m3/m3", 4);
    }
    if let Some(correlation) = &spread.correlation {
        row("correlation of the two", correlation, "", 2);
    }
    if let Some(core) = &spread.core_sd {
        row("between cores, about the curve", core, "m3/m3", 4);
    }
    row("what is left of a pair", &spread.residual_sd, "m3/m3", 4);
}

/// Whether those that stand out are in the range, and the range without them.
fn without_them(study: &SoilStudy) -> String {
    let out = study.standing_out().count();
    if out == 0 {
        return String::new();
    }
    let ranges: Vec<String> = study
        .next_probe_without
        .iter()
        .map(|at| {
            format!(
                "{:+.3} to {:+.3} {}",
                at.found.low, at.found.high, at.wetness
            )
        })
        .collect();
    let (them, them_again) = if out == 1 {
        ("The probe that stands out is", "it")
    } else {
        ("The probes that stand out are", "them")
    };
    paragraph(&if ranges.is_empty() {
        format!("{them} in these figures.")
    } else {
        format!(
            "{them} in these figures; without {them_again}: {}.",
            ranges.join(", ")
        )
    })
}

fn at_edge(boundary: Boundary) -> &'static str {
    match boundary {
        Boundary::NoOffsets => "Chance alone explains the offsets.",
        Boundary::NoGains => "Chance alone explains the gains.",
        Boundary::OneWayToDiffer => {
            "Offset and gain go strictly together: probes differ in one way only."
        }
        Boundary::NoCoreEffects => "Cores lie about the curve no farther than chance explains.",
    }
}

fn precision(study: &SoilStudy) -> String {
    let mut body = paragraph(
        "In the terms of ISO 5725, a probe taking the place of the laboratory: s_r is the repeatability standard deviation (one probe, another core: how pairs scatter about the probe's own curve), s_L that between probes, s_R the reproducibility standard deviation (another probe, another core). Two readings of one probe differ by more than r, of two probes by more than R, once in twenty times.",
    );
    body.push('\n');
    let mut table = TextTable::new([
        Column::words("where"),
        Column::numbers("theta_v", "m3/m3"),
        Column::numbers("s_r", "m3/m3"),
        Column::numbers("s_L", "m3/m3"),
        Column::numbers("s_R", "m3/m3"),
        Column::numbers("r", "m3/m3"),
        Column::numbers("R", "m3/m3"),
    ]);
    for at in &study.precision {
        let found = &at.found;
        table.push([
            at.wetness.to_string(),
            water(found.theta_v),
            format!("{:.4}", found.repeatability_sd),
            format!("{:.4}", found.between_sd),
            format!("{:.4}", found.reproducibility_sd),
            water(found.repeatability_limit),
            water(found.reproducibility_limit),
        ]);
    }
    for level in study.precision_by_level.iter().take(MOST_LEVELS) {
        table.push([
            format!("level {}", level.level),
            String::new(),
            format!("{:.4}", level.repeatability_sd.value),
            format!("{:.4}", level.between_sd.value),
            format!("{:.4}", level.reproducibility_sd.value),
            water(level.repeatability_limit.value),
            water(level.reproducibility_limit.value),
        ]);
    }
    body.push_str(&table.to_string());
    let more = study.precision_by_level.len().saturating_sub(MOST_LEVELS);
    if more > 0 {
        body.push_str(&format!(
            "and {more} more level{}, in --json\n",
            if more == 1 { "" } else { "s" }
        ));
    }
    if study.precision_by_level.is_empty() {
        body.push_str(&paragraph(match study.design {
            Design::SharedCores => {
                "Level by level they are not given: where probes share cores, what a core has of its own would pass for a difference between readings of one probe. The lines above take it apart."
            }
            Design::OwnCores => {
                "Level by level they are not given: no level has two cores of one probe."
            }
        }));
    }
    section("Repeatability and reproducibility", &body)
}

/// What the shared curve does with a probe not yet read.
pub(super) fn next_probe(study: &SoilStudy) -> String {
    let (share, confidence) = TOLERANCE;
    let mut body = String::new();
    if let Some(refused) = &study.no_next_probe {
        body.push_str(&paragraph(&format!(
            "This cannot be said: {}.",
            refused.reason
        )));
    } else if study.next_probe.is_empty() {
        body.push_str(&paragraph(
            "By the shared curve it reads no further off than chance explains: these probes do not differ.",
        ));
    } else {
        body.push_str(&paragraph(&format!(
            "Read by the shared curve, {:.0} in a hundred further probes of this kind are off by no more than this (with {:.0} % confidence; + reads too wet):",
            100.0 * share, 100.0 * confidence
        )));
        let mut table = TextTable::new([
            Column::words("where"),
            Column::numbers("from", "m3/m3"),
            Column::numbers("to", "m3/m3"),
            Column::numbers("factor", ""),
            Column::numbers("deg. of freedom", ""),
        ]);
        for at in &study.next_probe {
            table.push([
                at.wetness.to_string(),
                format!("{:+.3}", at.found.low),
                format!("{:+.3}", at.found.high),
                format!("{:.2}", at.found.factor),
                format!("{:.1}", at.found.freedom),
            ]);
        }
        body.push_str(&table.to_string());
        body.push_str(&without_them(study));
    }
    if let Some(test) = study
        .two_media
        .as_ref()
        .and_then(|scale| scale.tests.tests.first())
    {
        body.push_str(&paragraph(&format!(
            "After two-point normalisation what is left between probes is {} m3/m3 ({}).",
            water(test.spread),
            p_value(test.p_value)
        )));
    }
    section("The next probe out of the box", &body)
}
