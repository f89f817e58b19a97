//! What the checks say, in words and tables.

use super::report::{AlarmReport, OneCheckOff, ProbeReport, Reads};
use super::statistics;
use crate::text_table::{Column, TextTable};
use calib_core::drift::Standing;
use calib_core::drift::sequential::{HEAD_START, SLACK};
use calib_core::drift::update::Answer;
use std::path::PathBuf;

/// Everything, without the cautions that belong under it.
pub(super) fn story(probes: &[ProbeReport], written: &[PathBuf]) -> String {
    let mut paragraphs: Vec<String> = probes.iter().map(paragraphs_of).collect();
    if probes.len() > 1 {
        let all = 1.0 - (1.0 - probes[0].test.false_alarm).powi(probes.len() as i32);
        paragraphs.push(format!(
            "Each probe has its own chance of a false alarm. Even if all {} calibrations were still good, \
             the chance\nthat at least one of them raises an alarm here would be {}.\n",
            probes.len(),
            chance(all)
        ));
    }
    if !written.is_empty() {
        let files: String = written
            .iter()
            .map(|path| format!("  {}\n", path.display()))
            .collect();
        paragraphs.push(format!("Charts:\n{files}"));
    }
    paragraphs.join("\n") + "\n"
}

fn paragraphs_of(report: &ProbeReport) -> String {
    let mut text = format!(
        "Probe {} in {}: {}\n\n",
        report.probe,
        report.soil,
        verdict(report)
    );
    if !report.checks.is_empty() {
        text.push_str(&checks(report));
        text.push('\n');
        text.push_str(&answers(report));
        text.push('\n');
    }
    text.push_str(&statistics::text(report));
    text
}

/// The verdict in a line, for a chart.
pub(super) fn in_short(report: &ProbeReport) -> String {
    let alarm = report
        .test
        .alarm
        .as_ref()
        .map_or_else(String::new, |alarm| {
            format!("alarm of {}, {}", alarm.date, side(alarm.side))
        });
    match report.standing {
        Standing::Holds => format!("Still holds; check again by {}", report.schedule.next_check),
        Standing::HoldsSoFar => format!(
            "Holds so far, not surely; check again by {}",
            report.schedule.next_check
        ),
        Standing::DriftedWithinAllowed => format!("Drifted within what is allowed: {alarm}"),
        Standing::NoLongerHolds => format!("No longer holds: {alarm}"),
        Standing::OneCheckOff => {
            let one = report.test.one_check_off.as_ref();
            format!(
                "Check {} alone is off; dig another core",
                one.map_or(0, |one| one.check)
            )
        }
        Standing::MoreLikelyOff => "No alarm, but more likely off than not".to_owned(),
        Standing::TooFewChecks => "Too few checks to say".to_owned(),
    }
}

fn side(side: Reads) -> &'static str {
    match side {
        Reads::TooWet => "the probe reads too wet",
        Reads::TooDry => "the probe reads too dry",
        Reads::ChangesTooLittle => {
            "the probe reads too wet in dry soil and too dry in wet soil: it changes too little"
        }
        Reads::ChangesTooMuch => {
            "the probe reads too dry in dry soil and too wet in wet soil: it changes too much"
        }
    }
}

/// A chance as a person says it.
pub(super) fn chance(probability: f64) -> String {
    if probability < 0.005 {
        "less than 1 in 100".to_owned()
    } else if probability > 0.995 {
        "more than 99 in 100".to_owned()
    } else {
        format!("{:.0} in 100", 100.0 * probability)
    }
}

/// `1 check`, `3 checks`.
fn counted(number: usize) -> String {
    match number {
        0 => "no check".to_owned(),
        1 => "1 check".to_owned(),
        number => format!("{number} checks"),
    }
}

/// What a grower reads first.
fn verdict(report: &ProbeReport) -> String {
    let made = format!("the calibration of {}", report.calibrated_on);
    let number = counted(report.checks.len());
    let risk = format!(
        "The chance that it is off by more than {} m3/m3 somewhere in its range is {}.",
        report.allow,
        chance(report.update.beyond_anywhere)
    );
    let again = next(report);
    let off = offset(report);
    if let Some(one) = &report.test.one_check_off {
        return one_check_off(report, one);
    }
    match (report.standing, &report.test.alarm) {
        (Standing::Holds, _) => format!(
            "{made} STILL HOLDS.\n  In {number} oven and probe agreed as well as the calibration says they should.\n  {risk}\n  {again}"
        ),
        (Standing::HoldsSoFar, _) => format!(
            "{made} HOLDS SO FAR, but that is not sure yet.\n  In {number} no alarm was raised.\n  {risk}\n  {again}\n  Cores at the wet and at the dry end of the range tell most."
        ),
        (Standing::MoreLikelyOff, _) => format!(
            "{made} IS MORE LIKELY OFF THAN NOT, though no alarm was raised.\n  {risk}\n  Where, the column \"chance beyond\" below says. If the figure allowed is smaller than what the calibration was ever sure of, allow more (--allow); else calibrate anew, or dig cores at the wet and at the dry end of the range now.\n  {again}"
        ),
        (Standing::TooFewChecks, _) => format!(
            "TOO FEW CHECKS to say whether {made} still holds.\n  So far {number} {}; {} more {} needed.\n  Until then nothing is said of how far it may be off. Cores at the wet and at the dry end of the range tell most.",
            if report.checks.len() > 1 {
                "count"
            } else {
                "counts"
            },
            report.missing_checks(),
            if report.missing_checks() == 1 {
                "is"
            } else {
                "are"
            }
        ),
        (Standing::DriftedWithinAllowed, Some(alarm)) => format!(
            "{made} HAS DRIFTED, more likely within what is allowed than not.\n  {}\n  {off}\n  {risk}\n  Calibrate anew when there is time; until then the column \"with checks\" below is nearer to the truth.\n  {again}",
            raised(alarm)
        ),
        (_, alarm) => format!(
            "{made} NO LONGER HOLDS.\n  {}\n  {off}\n  {risk}\n  Calibrate anew now: fresh cores from dry to wet, then `ovendry fit`. Do not leave a pump to the old calibration.",
            alarm.as_ref().map_or_else(String::new, raised)
        ),
    }
}

/// What to do about a check that raised the alarm alone.
fn one_check_off(report: &ProbeReport, one: &OneCheckOff) -> String {
    let row = report.checks.get(one.check - 1);
    let off = format!(
        "Check {} alone is off by {} m3/m3 ({:.0} s.d.)",
        one.check,
        figure(one.off.abs()),
        one.score.abs()
    );
    let whose = format!(
        "It is core {} of {}; beside it {}.",
        one.core,
        row.map_or("", |row| row.date.as_str()),
        side(if one.off > 0.0 {
            Reads::TooWet
        } else {
            Reads::TooDry
        })
    );
    let rest = counted(report.checks.len() - 1);
    let risk = format!(
        "Without it the chance that the calibration is off by more than {} m3/m3 somewhere in its range is {}",
        report.allow,
        chance(report.update.beyond_anywhere)
    );
    let made = format!(
        "ONE CHECK ALONE speaks against the calibration of {}.",
        report.calibrated_on
    );
    if one.later_agree {
        format!(
            "{made}\n  {off}: look at its weighing and its label; dig another core.\n  {whose} Neither chance nor drift makes that likely of one check, and the later ones agree with the calibration again.\n  {risk} ({rest}).\n  When the mistake is found, correct or take out the line of this core; until then the exit code is 1.\n  {}",
            next(report)
        )
    } else {
        let speak = if report.checks.len() > 1 {
            format!("The {rest} before it raised no alarm.")
        } else {
            "There is no other check.".to_owned()
        };
        format!(
            "{made}\n  {off}: dig another core at once; until then it is open whether this core is wrong or the calibration is gone, so do not leave a pump to it.\n  {whose} {speak} Look at its weighing and its label as well."
        )
    }
}

fn raised(alarm: &AlarmReport) -> String {
    let by = if alarm.began_before_check == alarm.check {
        "by this check alone".to_owned()
    } else {
        format!(
            "by checks {} to {} together",
            alarm.began_before_check, alarm.check
        )
    };
    format!(
        "Check {} of {} raised the alarm: {}, most likely since some time between {} and {} ({by}).",
        alarm.check,
        alarm.date,
        side(alarm.side),
        alarm.began_after,
        alarm.began_before,
    )
}

pub(super) fn figure(value: f64) -> String {
    format!("{value:.3}")
}

pub(super) fn signed(value: f64) -> String {
    let text = format!("{value:+.4}");
    // No sign before what is rounded to nothing.
    if text == "-0.0000" {
        "+0.0000".to_owned()
    } else {
        text
    }
}

fn offset(report: &ProbeReport) -> String {
    let found = report.update.offset;
    let way = if found.value >= 0.0 { "wet" } else { "dry" };
    format!(
        "In the middle of its range the probe now reads {} m3/m3 too {way} ({} to {}, + reads too wet).",
        figure(found.value.abs()),
        signed(found.low),
        signed(found.high)
    )
}

fn next(report: &ProbeReport) -> String {
    let schedule = &report.schedule;
    let at = chance(schedule.check_at_risk);
    let check = if !schedule.asked_by_risk {
        format!(
            "Dig the next core by {}: one core a year at least, though that chance stays below {at} until then.",
            schedule.next_check
        )
    } else if schedule.next_check == report.update.on {
        format!("Dig the next core now: that chance is above {at} already.")
    } else {
        format!(
            "Dig the next core by {}: by then that chance has grown to {at}.",
            schedule.next_check
        )
    };
    let due = match &schedule.recalibrate_by {
        Some(date) if *date == report.update.on => {
            format!(
                "is above {} already: calibrate anew unless more checks bring it down",
                chance(schedule.recalibrate_at_risk)
            )
        }
        Some(date) => format!(
            "reaches {} by {date}: calibrate anew by then unless checks speak for the old one",
            chance(schedule.recalibrate_at_risk)
        ),
        None => format!(
            "stays below {} for five years",
            chance(schedule.recalibrate_at_risk)
        ),
    };
    format!("{check}\n  Without another check that chance {due}.")
}

fn checks(report: &ProbeReport) -> String {
    let mut table = TextTable::new([
        Column::numbers("check", ""),
        Column::words("date"),
        Column::words("core"),
        Column::numbers("oven", "m3/m3"),
        Column::numbers("probe", "m3/m3"),
        Column::numbers("probe - oven", "m3/m3"),
        Column::numbers("from", "m3/m3"),
        Column::numbers("to", "m3/m3"),
        Column::numbers("score", ""),
        Column::numbers("too wet", "sum"),
        Column::numbers("too dry", "sum"),
        Column::words(""),
    ]);
    for (i, row) in report.checks.iter().enumerate() {
        table.push([
            (i + 1).to_string(),
            row.date.clone(),
            row.core.clone(),
            figure(row.oven),
            figure(row.probe),
            signed(row.probe_less_oven),
            signed(row.expected_low),
            signed(row.expected_high),
            format!("{:+.2}", row.score),
            format!("{:.2}", row.sum_too_wet),
            format!("{:.2}", row.sum_too_dry),
            remark(report, i),
        ]);
    }
    let limit = report.test.limit;
    format!(
        "{table}Probe - oven: + reads too wet; 95 of 100 lie between from and to while the calibration holds.\n\
         Score: where the difference lies in that range, in standard deviations; 0 is what is expected.\n\
         Too wet, too dry: scores above and below zero added up, each less {SLACK}, never below 0. Both sums\n\
         begin at {:.2} (the head start: a calibration off from the first is found sooner); an alarm is\n\
         raised when either reaches {limit:.2}. Two more sums, with limit {:.2}, look for a probe that changes too\n\
         little or too much from dry to wet; --json has them.\n",
        HEAD_START * limit,
        report.test.gain_limit
    )
}

/// What stands behind the row of check `i`.
fn remark(report: &ProbeReport, i: usize) -> String {
    let alone = report
        .test
        .one_check_off
        .as_ref()
        .is_some_and(|one| one.check == i + 1);
    let alarm = report.checks.get(i).is_some_and(|row| row.alarm);
    match (alarm, alone) {
        (true, true) => "ALARM, off alone",
        (true, false) => "ALARM",
        (false, true) => "off alone",
        (false, false) => "",
    }
    .to_owned()
}

fn answers(report: &ProbeReport) -> String {
    let mut table = TextTable::new([
        Column::words("place"),
        Column::numbers("count", ""),
        Column::numbers("calibrated", "m3/m3"),
        Column::numbers("with checks", "m3/m3"),
        Column::numbers("from", "m3/m3"),
        Column::numbers("to", "m3/m3"),
        Column::numbers("chance beyond", "of 100"),
    ]);
    let mut push = |name: &str, answer: &Answer| {
        table.push([
            name.to_owned(),
            format!("{:.1}", answer.count),
            figure(answer.before),
            figure(answer.after.value),
            figure(answer.after.low),
            figure(answer.after.high),
            format!("{:.1}", 100.0 * answer.beyond_allowed),
        ]);
    };
    for answer in &report.update.range {
        push("", answer);
    }
    for answer in &report.update.places {
        push(&answer.name, answer);
    }
    format!(
        "What the probe's counts mean on {}, by the calibration and with the checks (counts at the \
         reference temperature):\n{table}Chance beyond: that the calibration is off there by more than {} m3/m3.\n",
        report.update.on, report.allow
    )
}
