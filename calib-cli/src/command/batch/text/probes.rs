//! Probes that stand out, and the order of all.

use super::super::study::{ProbeFound, SoilStudy};
use super::{counted, item, p_value, paragraph, section, water};
use crate::text_table::{Column, TextTable};

/// Probes named in text.
const MOST_NAMED: usize = 10;

/// Probes of an order up to so many are all shown.
const ALL_SHOWN: usize = 12;

/// What those of too few cores are to be done with; nothing where there are none.
fn too_few_cores(study: &SoilStudy) -> String {
    let few: Vec<&ProbeFound> = study.each.iter().filter(|p| p.too_few_cores).collect();
    if few.is_empty() {
        return String::new();
    }
    let mut named: Vec<String> = few
        .iter()
        .take(MOST_NAMED)
        .map(|probe| format!("{} ({})", probe.probe, counted(probe.pairs, "core")))
        .collect();
    if few.len() > MOST_NAMED {
        named.push(format!("and {} more", few.len() - MOST_NAMED));
    }
    paragraph(&format!(
        "Not judged and given no place, for too few cores to have an offset and a gain of {} own: {}. Read {} beside three cores or more from dry to wet.",
        if few.len() == 1 { "its" } else { "their" },
        named.join(", "),
        if few.len() == 1 { "it" } else { "each" },
    ))
}

/// Those that stand out.
pub(super) fn standing_out(study: &SoilStudy) -> String {
    standing_out_of_judged(study) + &too_few_cores(study)
}

fn standing_out_of_judged(study: &SoilStudy) -> String {
    let title = "Probes that stand out";
    if let Some(refused) = &study.not_looked_for {
        return section(
            title,
            &paragraph(&format!(
                "They were not looked for: {}. To have it done, {}.",
                refused.reason, refused.mend
            )),
        );
    }
    let limit = study.cut_off.unwrap_or(f64::NAN);
    let mut out: Vec<&ProbeFound> = study.standing_out().collect();
    if out.is_empty() {
        return section(
            title,
            &paragraph(&format!(
                "None: no probe lies further from the middle of the batch than chance explains (robust distance above {limit:.2}; one sound batch in twenty raises an alarm)."
            )),
        );
    }
    out.sort_by(|a, b| {
        b.distance
            .unwrap_or(0.0)
            .total_cmp(&a.distance.unwrap_or(0.0))
    });
    let mut body = String::new();
    for probe in out.iter().take(MOST_NAMED) {
        body.push_str(&item(&format!(
            "{}{} reads {} m3/m3 too {} in the middle{} [robust distance {:.1}, limit {limit:.2}, {}]",
            probe.probe,
            probe.batch.as_ref().map_or_else(String::new, |batch| format!(" of batch {batch}")),
            water(probe.deviation.abs()),
            if probe.deviation > 0.0 { "wet" } else { "dry" },
            changing(study, probe),
            probe.distance.unwrap_or(f64::NAN),
            p_value(probe.p_value.unwrap_or(f64::NAN)),
        )));
    }
    if out.len() > MOST_NAMED {
        body.push_str(&item(&format!(
            "and {} more, in --json and in {}.probes.csv",
            out.len() - MOST_NAMED,
            study.soil
        )));
    }
    let one = out.len() == 1;
    body.push_str(&paragraph(&format!(
        "What to do: look at plug, cable and blades, and read {} again in both media and beside a core or two. If {} still off, give {} own calibration or send {} back; do not let {} share the curve. (One sound batch in twenty raises such an alarm.)",
        if one { "it" } else { "them" },
        if one { "it is" } else { "they are" },
        if one { "it its" } else { "each its" },
        if one { "it" } else { "them" },
        if one { "it" } else { "them" },
    )));
    section(title, &body)
}

/// How far off it is at either end, where that differs from the middle by much.
fn changing(study: &SoilStudy, probe: &ProbeFound) -> String {
    let ends = probe.course.first().zip(probe.course.last());
    match ends {
        Some((dry, wet)) if (dry - wet).abs() > 0.003 && !study.course.is_empty() => {
            format!(" ({dry:+.3} dry, {wet:+.3} wet)")
        }
        _ => String::new(),
    }
}

/// The order of all.
pub(super) fn order(study: &SoilStudy) -> String {
    let mut ranked: Vec<&ProbeFound> = study.each.iter().filter(|p| p.placed.is_some()).collect();
    if ranked.is_empty() {
        return String::new();
    }
    let rank = |probe: &ProbeFound| probe.placed.map_or(usize::MAX, |placed| placed.rank);
    ranked.sort_by_key(|probe| rank(probe));
    let many = ranked.len();
    let mut table = TextTable::new([
        Column::numbers("rank", ""),
        Column::words("its 95 % interval"),
        Column::words("probe"),
        Column::words("batch"),
        Column::numbers("off by (r.m.s.)", "m3/m3"),
        Column::words("95 % interval"),
    ]);
    let half = MOST_NAMED / 2;
    for (place, probe) in ranked.iter().enumerate() {
        if many > ALL_SHOWN && place >= half && place < many - half {
            if place == half {
                table.push(["..."; 6].map(str::to_owned));
            }
            continue;
        }
        let Some(placed) = probe.placed else { continue };
        table.push([
            placed.rank.to_string(),
            format!("{} to {}", placed.rank_low, placed.rank_high),
            probe.probe.clone(),
            probe.batch.clone().unwrap_or_default(),
            format!("{:.4}", placed.deviation),
            format!(
                "{:.4} to {:.4}",
                placed.deviation_low, placed.deviation_high
            ),
        ]);
    }
    let shown = if many > ALL_SHOWN {
        format!(
            "The {half} nearest to the shared curve and the {half} farthest of {}, by how far they are off from dry to wet (root mean square).",
            counted(many, "probe")
        )
    } else {
        "Nearest to the shared curve first, by how far they are off from dry to wet (root mean square).".to_owned()
    };
    let body = format!(
        "{}\n{table}{}{}",
        paragraph(&shown),
        paragraph(
            "These intervals take the mean probe of those studied as known: they are about how far each lies from it. Those of the chart and of reads_wetter in the table of probes are wider: they hold besides how far the mean of many more such probes may lie from this one."
        ),
        if many > ALL_SHOWN {
            paragraph(&format!(
                "All of them: {}.probes.csv and --json.",
                study.soil
            ))
        } else {
            String::new()
        }
    );
    section("The order of the probes", &body)
}
