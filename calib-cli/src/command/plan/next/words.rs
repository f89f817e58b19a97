//! The same as a person reads it.

use super::{Answer, ProbeNext};
use crate::text_table::{Column, TextTable};
use calib_core::plan::next_core::{Advice, Criterion, MOST_MORE_CORES, PlaceAfter};
use std::fmt::Write;

/// Share of the uncertainty below which more cores are called hardly worth it.
const HARDLY: f64 = 0.05;
/// Degrees of freedom below which the scatter is known too poorly to pass over: the
/// standard deviation of an estimated one is `1/sqrt(2 v)` of it (large-sample figure,
/// common practice).
const FEW_TO_SPARE: f64 = 10.0;
/// Cores advised on first: the table has one, two and three.
const HEADLINE: usize = 2;

/// The whole answer.
pub(super) fn of(answer: &Answer) -> String {
    let mut text = String::new();
    for probe in &answer.probes {
        let _ = writeln!(text, "{}", one(probe));
    }
    for refused in &answer.refused {
        let _ = writeln!(
            text,
            "Probe {} in {}: the cores so far give no calibration to reckon from: {}\n  mend: {}\n",
            refused.probe, refused.soil, refused.reason, refused.mend
        );
    }
    if !answer.probes.is_empty() {
        text.push_str(HOW);
    }
    text
}

/// What the figures rest on.
const HOW: &str = "\
How this is reckoned: from what the calibration on the cores so far is unsure of, and which other
curves they do not rule out. A new core is taken to scatter as those so far, and the curve to stay
near where it is. It says where to dig, not what will come out: +- may come out a little higher for
three cores than foretold. Dig a core even where none is advised if you doubt one of those there.
";

fn one(probe: &ProbeNext) -> String {
    let advice = &probe.advice;
    let (dry, wet) = advice.range;
    let mut text = format!(
        "Probe {} in {}: {} cores so far, {dry:.3} to {wet:.3} m3/m3{}\n",
        probe.probe,
        probe.soil,
        advice.cores,
        match probe.on_their_way {
            0 => String::new(),
            more => format!("; {more} more on their way, not counted here"),
        }
    );
    for target in &advice.outside {
        let _ = writeln!(
            text,
            "  First of all a core at {}, {:.3} m3/m3 or {}: no core is there yet, and the curve is not extended.",
            target.place,
            target.theta_v,
            if target.theta_v < dry {
                "drier"
            } else {
                "wetter"
            }
        );
    }
    let main = if advice.by(Criterion::SetPoints, 1).is_some() {
        Criterion::SetPoints
    } else {
        Criterion::WholeRange
    };
    if let Some(best) = advice.by(main, HEADLINE) {
        let _ = writeln!(text, "  {}", headline(best));
    }
    if let Some(from) = &probe.set_points_from {
        let _ = writeln!(text, "  ({from})");
    }
    text.push('\n');
    text.push_str(&table(probe, main));
    for (criterion, words) in [
        (Criterion::WholeRange, "over the whole range"),
        (
            Criterion::Parameters,
            "for the parameters of the curve (D-criterion)",
        ),
    ] {
        if criterion == main {
            continue;
        }
        if let Some(other) = advice.by(criterion, HEADLINE) {
            let _ = writeln!(
                text,
                "  Two cores that help most {words}: {} m3/m3.",
                list(&other.theta_v, 2)
            );
        }
    }
    if advice.share_from_choice > 0.2 {
        let _ = writeln!(
            text,
            "  {:.0} % of what the curve is unsure of is not knowing which curve it is: the places above tell curves \
             apart as well.",
            100.0 * advice.share_from_choice
        );
    }
    if probe.degrees_of_freedom < FEW_TO_SPARE {
        let _ = writeln!(
            text,
            "  So few cores know their own scatter only to about {:.0} % (one standard deviation), and every U above \
             hangs on it: take them as rough.",
            100.0 / (2.0 * probe.degrees_of_freedom.max(1.0)).sqrt()
        );
    }
    let _ = writeln!(
        text,
        "  A new core is taken as sure to {:.4} m3/m3 by weighing, beside a count sure to {:.1}, and to scatter by \
         {:.4} m3/m3.",
        advice.new_core.reference_u, advice.new_core.count_u, advice.core_scatter
    );
    text
}

fn headline(best: &Advice) -> String {
    let gains: Vec<String> = best
        .places
        .iter()
        .map(|p| {
            format!(
                "at {} {:.4} -> {:.4}",
                p.place, p.expanded_now, p.expanded_after
            )
        })
        .collect();
    let (at, counts) = (list(&best.theta_v, 2), list(&best.counts, 0));
    let mean = |of: fn(&PlaceAfter) -> f64| best.places.iter().map(of).sum::<f64>();
    let (now, after) = (mean(|p| p.expanded_now), mean(|p| p.expanded_after));
    let little = if now > 0.0 && 1.0 - after / now < HARDLY {
        "More cores hardly help any more. "
    } else {
        ""
    };
    format!(
        "{little}Two more cores near {at} m3/m3 (where it reads about {counts}) help most: U {} m3/m3.",
        gains.join(", ")
    )
}

fn table(probe: &ProbeNext, main: Criterion) -> String {
    let advice = &probe.advice;
    let mut table = TextTable::new([
        Column::words("  more cores"),
        Column::words("dig at"),
        Column::words("it reads about"),
        Column::words("U of one reading then, m3/m3"),
    ]);
    let places = |of: &dyn Fn(&PlaceAfter) -> f64, advice: &Advice| {
        let each = advice
            .places
            .iter()
            .map(|p| format!("{} {:.4}", p.place, of(p)));
        each.collect::<Vec<_>>().join("  ")
    };
    for cores in 1..=MOST_MORE_CORES {
        let Some(best) = advice.by(main, cores) else {
            continue;
        };
        if cores == 1 {
            table.push([
                "  none".to_owned(),
                String::new(),
                String::new(),
                places(&|p| p.expanded_now, best),
            ]);
        }
        table.push([
            format!("  {cores}"),
            list(&best.theta_v, 2),
            list(&best.counts, 0),
            places(&|p| p.expanded_after, best),
        ]);
    }
    table.to_string()
}

/// The values in words: those that read alike are told once.
fn list(values: &[f64], digits: usize) -> String {
    let mut told: Vec<(String, usize)> = Vec::new();
    for value in values {
        let text = format!("{value:.digits$}");
        match told.last_mut() {
            Some((last, times)) if *last == text => *times += 1,
            _ => told.push((text, 1)),
        }
    }
    let alone = told.len() == 1;
    let each: Vec<String> = told
        .into_iter()
        .map(|(text, times)| match times {
            1 => text,
            _ if alone => text,
            2 => format!("{text} (twice)"),
            n => format!("{text} ({n} times)"),
        })
        .collect();
    match each.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}
