//! Can one curve serve these probes?

use super::super::report::Answer;
use super::super::study::SoilStudy;
use super::{counted, item, paragraph, section, water};
use crate::text_table::{Column, TextTable};
use calib_core::batch::{Bounded, Decision, Design, Firmness, Judged, Way, WayFound, Work};

/// The decision as sentences, with the figures behind it.
pub(super) fn text(study: &SoilStudy, answer: &Answer) -> String {
    let decision = &study.decision;
    let mut body = paragraph(&headline(study));
    if let Some(first) = study.far_off.first() {
        let more = match study.far_off.len() - 1 {
            0 => String::new(),
            more => format!(" (and {more} more, in the warnings)"),
        };
        body.push_str(&paragraph(&format!(
            "But first, {}{more}: while a slip of count or mass is in the figures, none of them can be trusted.",
            first.said()
        )));
    }
    body.push('\n');
    body.push_str(&table(decision));
    body.push('\n');
    let currency = answer.currency.as_deref();
    for found in &decision.ways {
        if let (Some(gain), Some(mm)) = (found.gain, found.gain_mm) {
            body.push_str(&item(&bought(study, found, gain, mm, currency)));
        }
    }
    if let Some(refused) = &study.no_two_media {
        body.push_str(&item(&format!(
            "Two-point normalisation cannot be judged: {}. To have it judged, {}.",
            refused.reason, refused.mend
        )));
    }
    body.push_str(&item(&firmness(decision)));
    if let Some(without) = &study.without_standing_out {
        body.push_str(&without_them(study, without));
    }
    body.push('\n');
    body.push_str(&paragraph(&assumptions(study, answer)));
    section("Can one curve serve these probes?", &body)
}

/// What the decision comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::command) enum Conclusion {
    /// One curve will do.
    OneCurve,
    /// One curve will do after two media.
    TwoMedia(AsTheyAre),
    /// Each probe needs its own cores.
    OwnCores(AsTheyAre),
    /// Not even those help: cores scatter too much.
    CoresScatter,
    /// Not even those are shown to help: the figures are too unsure.
    TooUnsure,
    /// Nothing is shown to be within the target, and nothing is ruled out.
    NotSettled,
}

/// Why one curve will not do for probes as they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::command) enum AsTheyAre {
    /// It is not shown to.
    NotSurely,
    /// It is shown not to.
    No,
}

impl Conclusion {
    /// What `decision` comes to.
    pub(in crate::command) fn of(decision: &Decision) -> Self {
        let as_they_are = match decision.way(Way::OneCurve).map(|found| found.judged) {
            Some(Judged::Open) => AsTheyAre::NotSurely,
            _ => AsTheyAre::No,
        };
        let scatter = || {
            let own = decision.way(Way::OwnCores);
            own.is_some_and(|own| own.expanded.value > decision.asked.target)
        };
        match decision.advice {
            Some(Way::OneCurve) => Self::OneCurve,
            Some(Way::TwoMedia) => Self::TwoMedia(as_they_are),
            Some(Way::OwnCores) => Self::OwnCores(as_they_are),
            None if decision.ways.iter().any(|way| way.judged != Judged::Beyond) => {
                Self::NotSettled
            }
            None if scatter() => Self::CoresScatter,
            None => Self::TooUnsure,
        }
    }
}

impl AsTheyAre {
    fn words(self) -> &'static str {
        match self {
            Self::NotSurely => "Not surely as they are",
            Self::No => "Not as they are",
        }
    }
}

/// The answer in a sentence or two.
fn headline(study: &SoilStudy) -> String {
    let decision = &study.decision;
    let target = water(decision.asked.target);
    let probes = study.probes;
    let not_even = |why: &str| {
        format!(
            "No, and cores of its own do not bring a probe within {target} m3/m3 either: {why}."
        )
    };
    match Conclusion::of(decision) {
        Conclusion::OneCurve => format!(
            "Yes: one curve serves all {probes} probes. A reading is then within {target} m3/m3 of the core 95 times in a hundred."
        ),
        Conclusion::TwoMedia(why) => format!(
            "{}. Read each in two media and bring its counts onto one scale: one curve then serves all {probes} probes within {target} m3/m3.",
            why.words()
        ),
        Conclusion::OwnCores(why) => format!(
            "{}: to be within {target} m3/m3, give each probe a calibration of its own.",
            why.words()
        ),
        Conclusion::CoresScatter => not_even("cores of this soil scatter too much about any curve"),
        Conclusion::TooUnsure => not_even("the figures are too unsure"),
        Conclusion::NotSettled => format!(
            "Not settled: nothing is shown to be within {target} m3/m3, though the figures do not rule it out."
        ),
    }
}

fn table(decision: &Decision) -> String {
    let target = "within target?";
    let mut table = TextTable::new([
        Column::words("way"),
        Column::numbers("U", "m3/m3"),
        Column::numbers("95 % interval", "m3/m3"),
        Column::words(target),
        Column::words("work for one more probe"),
    ]);
    for found in &decision.ways {
        table.push([
            name(found.way).to_owned(),
            water(found.expanded.value),
            range(found.expanded),
            match found.judged {
                Judged::Within => "yes",
                Judged::Beyond => "no",
                Judged::Open => "not settled",
            }
            .to_owned(),
            work(&found.work_per_probe),
        ]);
    }
    table.to_string()
}

/// A way in words.
pub(in crate::command::batch) fn name(way: Way) -> &'static str {
    match way {
        Way::OneCurve => "one curve",
        Way::TwoMedia => "two media, one curve",
        Way::OwnCores => "own cores",
    }
}

fn range(bounded: Bounded) -> String {
    format!("{} to {}", water(bounded.low), water(bounded.high))
}

/// What a way asks for, in words.
pub(in crate::command::batch) fn work(work: &Work) -> String {
    if work.cores > 0 {
        format!("{}, {}", counted(work.cores, "core"), time(work.minutes))
    } else if work.media > 0 {
        format!("2 media, {}", time(work.minutes))
    } else {
        "none".to_owned()
    }
}

fn time(minutes: f64) -> String {
    if minutes < 90.0 {
        format!("{minutes:.0} minutes")
    } else {
        format!("{:.1} hours", minutes / 60.0)
    }
}

/// What a way buys over one curve, and what it costs for as many probes.
fn bought(
    study: &SoilStudy,
    found: &WayFound,
    gain: Bounded,
    mm: Bounded,
    currency: Option<&str>,
) -> String {
    let way = match found.way {
        Way::TwoMedia => "Two-point normalisation of each probe",
        _ => "Calibrating every probe",
    };
    let depth = study.decision.asked.root_depth_mm;
    let buys = if gain.value > 0.0 {
        format!(
            "buys you {} m3/m3 ({}) over one shared curve: {:.1} mm of water ({:.1} to {:.1}) in a root zone of {depth:.0} mm",
            water(gain.value),
            range(gain),
            mm.value,
            mm.low,
            mm.high
        )
    } else {
        "buys you nothing over one shared curve".to_owned()
    };
    format!("{way} {buys}. {}", costs(study, found, currency))
}

/// What a way costs for as many probes, in a sentence.
pub(in crate::command::batch) fn costs(
    study: &SoilStudy,
    found: &WayFound,
    currency: Option<&str>,
) -> String {
    let cost = found.work.cost.map_or_else(String::new, |cost| {
        currency.map_or_else(
            || format!(", at the hourly cost given {cost:.0}"),
            |currency| format!(", {cost:.0} {currency}"),
        )
    });
    let things = if found.way == Way::OwnCores {
        let shared = match study.design {
            Design::SharedCores => " that probes share as these did",
            Design::OwnCores => "",
        };
        format!("{}{shared}", counted(found.work.cores, "core"))
    } else {
        format!("{} in a medium", counted(found.work.media, "reading"))
    };
    format!(
        "For {} it costs {things}, {}{cost}.",
        counted(study.probes, "probe"),
        time(found.work.minutes)
    )
}

/// Whether more probes would change the answer, in a sentence.
pub(in crate::command::batch) fn firmness(decision: &Decision) -> String {
    match decision.firmness {
        Firmness::Firm if decision.advice == Some(Way::OneCurve) => {
            "This is firm: the whole interval lies within the target.".to_owned()
        }
        Firmness::Firm => "This is firm: more probes would hardly change it.".to_owned(),
        Firmness::WithMoreProbes {
            way,
            probes,
            within,
        } => format!(
            "Whether {} would do is not settled. With {} that differ as these do, the answer would be firmer: by these figures, that it {}.",
            in_question(way),
            counted_more(probes),
            if within { "does" } else { "does not" }
        ),
        Firmness::TooNear { way } => format!(
            "Whether {} would do cannot be settled by more probes: its figure lies too near the target.",
            in_question(way)
        ),
    }
}

fn counted_more(probes: usize) -> String {
    if probes == 1 {
        "1 more probe".to_owned()
    } else {
        format!("{probes} more probes")
    }
}

fn in_question(way: Way) -> &'static str {
    match way {
        Way::OneCurve => "one curve",
        Way::TwoMedia => "one curve after two media",
        Way::OwnCores => "an own calibration",
    }
}

/// What one curve gives once those that stand out are set aside.
fn without_them(study: &SoilStudy, without: &Decision) -> String {
    let out = study.standing_out().count();
    let Some(found) = without.way(Way::OneCurve) else {
        return String::new();
    };
    item(&format!(
        "U above holds the {0}. Without {1} (below), one curve gives U = {2} m3/m3 ({3}): {4}.",
        if out == 1 {
            "probe that stands out".to_owned()
        } else {
            format!("{out} probes that stand out")
        },
        if out == 1 { "it" } else { "them" },
        water(found.expanded.value),
        range(found.expanded),
        match found.judged {
            Judged::Within => "within the target",
            Judged::Beyond => "still beyond the target",
            Judged::Open => "not settled against the target",
        }
    ))
}

fn assumptions(study: &SoilStudy, answer: &Answer) -> String {
    let asked = study.decision.asked;
    let depth = match answer.root_depth.said_by {
        "assumed" => format!(
            "root zone {:.0} mm (assumed: neither --root-depth-mm nor site.toml says)",
            asked.root_depth_mm
        ),
        said_by => format!("root zone {:.0} mm ({said_by})", asked.root_depth_mm),
    };
    let own = study.decision.own;
    let kind = match own.parameters {
        1 => "the shared curve shifted",
        2 => "the shared curve shifted and stretched",
        _ => "a curve of its own",
    };
    format!(
        "U is the expanded uncertainty (95 %) of a reading taken as those beside the cores were, against a core, where it is largest of dry, middle and wet. Of a core's own uncertainty it holds what differs from core to core, as the scatter seen has it and not as theta_v_u states it ({} m3/m3 standard), and what core_volume_relative_u states as common to all; a way is within the target of {} m3/m3 only where its whole interval is. Own cores: {kind} through {}, as the middle probe has. Costs are for doing it as often again. Assumed: {:.0} minutes a core and {:.0} a reading in a medium (common practice unless you say otherwise), {depth}.",
        water(study.stated_u),
        water(asked.target),
        counted(own.cores, "core"),
        asked.minutes_per_core,
        asked.minutes_per_medium,
    )
}

/// What to write so that a calibration of one probe serves any of them.
pub(super) fn for_fit(study: &SoilStudy) -> String {
    let counts = study.decision.probe_to_probe_counts;
    let mut body = paragraph(&if counts > 0.0 {
        format!(
            "If one probe's calibration shall serve any of these, write for it in site.toml: probe_to_probe_counts = {:.1}. `ovendry fit` then states U for any probe of this kind. (Standard deviation between two probes in counts, the largest from dry to wet, widened for what so few probes show of it.)",
            (10.0 * counts).ceil() / 10.0
        )
    } else {
        let most = study.as_read.spread.offset_sd.high;
        match most {
            Some(most) if 2.0 * most < study.decision.asked.target / 3.0 => format!("These probes differ by no more than chance, and by no more than {} m3/m3 (standard deviation, 95 % confidence): probe_to_probe_counts in site.toml may stay away.", water(most)),
            _ => "No difference between these probes is seen beyond chance, but so few cannot rule one out: leave probe_to_probe_counts in site.toml away only once more probes say the same.".to_owned(),
        }
    });
    if let Some(without) = study.without_standing_out.as_ref().filter(|_| counts > 0.0) {
        let found = without.probe_to_probe_counts;
        body.push_str(&paragraph(&format!(
            "What stands out is in that figure; without it probe_to_probe_counts = {:.1}, for probes that do not stand out.",
            (10.0 * found).ceil() / 10.0
        )));
    }
    section("For `ovendry fit`", &body)
}
