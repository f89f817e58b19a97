//! The answer in words: first what to do, then what it rests on.

mod batches;
pub(super) mod decision;
mod differences;
mod probes;
mod spread;

use super::report::Answer;
use super::study::SoilStudy;
use crate::fit_report::wrapped;
use calib_core::batch::Design;
use calib_core::quantity::Quantity;

/// The whole answer.
pub(super) fn of(answer: &Answer) -> String {
    let mut parts = Vec::new();
    for study in &answer.soils {
        parts.push(heading(study));
        parts.push(decision::text(study, answer));
        parts.push(probes::standing_out(study));
        parts.push(spread::next_probe(study));
        parts.push(differences::text(study));
        parts.push(spread::text(study));
        parts.push(probes::order(study));
        parts.push(batches::text(study, answer.margin));
        parts.push(decision::for_fit(study));
    }
    if let Some(together) = &answer.together {
        parts.push(differences::of_soils(together));
    }
    parts.retain(|part| !part.is_empty());
    let mut text = parts.join("\n");
    if !answer.written.is_empty() {
        text.push('\n');
    }
    for path in &answer.written {
        text.push_str(&format!("wrote {path}\n"));
    }
    text
}

fn heading(study: &SoilStudy) -> String {
    let beside = match study.design {
        Design::OwnCores => format!("{} pairs of core and probe", study.pairs),
        Design::SharedCores => format!(
            "{} pairs of {} cores that probes share",
            study.pairs, study.cores
        ),
    };
    let line = format!("Soil {}: {} probes", study.soil, study.probes);
    format!(
        "{line}\n{}\n{beside}; {}\n",
        "=".repeat(line.chars().count()),
        study.kind
    ) + &curve(study)
}

/// The shared curve, so that it can be used.
fn curve(study: &SoilStudy) -> String {
    let names = study.kind.model().parameter_names();
    let parameters = names.iter().zip(&study.curve.parameters);
    let mut values: Vec<String> = parameters
        .map(|(name, value)| format!("{name} = {value:.5}"))
        .collect();
    let axis = study.curve.axis;
    values.push(format!("z = (count - {:.0})/{:.0}", axis.origin, axis.unit));
    if let Some(term) = study.temperature {
        values.push(format!(
            "count less {:.4} for each C above {:.1}",
            term.coefficient,
            term.reference.value()
        ));
    }
    paragraph(&format!(
        "shared curve, of the mean probe: {}, {}",
        study.equation,
        values.join(", ")
    ))
}

/// A section with its title underlined.
fn section(title: &str, body: &str) -> String {
    format!("{title}\n{}\n{body}", "-".repeat(title.chars().count()))
}

/// A paragraph.
fn paragraph(text: &str) -> String {
    format!("{}\n", wrapped(text))
}

/// An item of a list, later lines indented.
fn item(text: &str) -> String {
    let lines = wrapped(&format!("- {text}"));
    format!("{}\n", lines.replace('\n', "\n  "))
}

/// A water content or a part of one, m3/m3.
fn water(value: f64) -> String {
    let decimals = if value != 0.0 && value.abs() < 0.001 {
        4
    } else {
        3
    };
    format!("{value:.decimals$}")
}

fn p_value(p: f64) -> String {
    if p < 0.0001 {
        "p < 0.0001".to_owned()
    } else {
        format!("p = {p:.4}")
    }
}

/// `1 probe`, `2 probes`.
fn counted(many: usize, noun: &str) -> String {
    if many == 1 {
        format!("1 {noun}")
    } else {
        format!("{many} {noun}s")
    }
}
