//! What the checks say, in words and tables.

use super::report::{AlarmReport, ProbeReport};
use crate::text_table::{Column, TextTable};
use calib_core::drift::Standing;
use calib_core::drift::power::{Found, Power};
use calib_core::drift::sequential::Side;
use calib_core::drift::update::Answer;
use std::path::PathBuf;

/// Everything, without the cautions that belong under it.
pub(super) fn story(probes: &[ProbeReport], written: &[PathBuf]) -> String {
    let mut paragraphs: Vec<String> = probes.iter().map(paragraphs_of).collect();
    if probes.len() > 1 {
        let all = 1.0 - (1.0 - probes[0].test.false_alarm).powi(probes.len() as i32);
        paragraphs.push(format!(
            "Each probe has its own chance of a false alarm. Were all {} calibrations still good, at \
             least one alarm in {} would still come up here.\n",
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
    text.push_str(&statistics(report));
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
        Standing::TooFewChecks => "Too few checks to say".to_owned(),
    }
}

fn side(side: Side) -> &'static str {
    match side {
        Side::Wetter => "wetter than the probe says",
        Side::Drier => "drier than the probe says",
    }
}

/// A chance as a person says it.
fn chance(probability: f64) -> String {
    if probability < 0.005 {
        "less than 1 in 100".to_owned()
    } else if probability > 0.995 {
        "more than 99 in 100".to_owned()
    } else {
        format!("{:.0} in 100", 100.0 * probability)
    }
}

/// What a grower reads first.
fn verdict(report: &ProbeReport) -> String {
    let made = format!("the calibration of {}", report.calibrated_on);
    let number = match report.checks.len() {
        0 => "no checks".to_owned(),
        1 => "1 check".to_owned(),
        number => format!("{number} checks"),
    };
    let risk = format!(
        "The chance that it is off by more than {} m3/m3 somewhere in its range is {}.",
        report.allow,
        chance(report.update.beyond_anywhere)
    );
    let again = next(report);
    let off = offset(report);
    match (report.standing, &report.test.alarm) {
        (Standing::Holds, _) => format!(
            "{made} STILL HOLDS.\n  In {number} oven and probe agreed as well as the calibration says they should.\n  {risk}\n  {again}"
        ),
        (Standing::HoldsSoFar, _) => format!(
            "{made} HOLDS SO FAR, but that is not sure yet.\n  In {number} nothing spoke against it.\n  {risk}\n  {again}\n  Cores at the wet and at the dry end of the range tell most."
        ),
        (Standing::TooFewChecks, _) => format!(
            "TOO FEW CHECKS to say whether {made} still holds.\n  So far {number} {}; {} more {} needed.\n  {risk}\n  {again}",
            if report.checks.len() == 1 {
                "counts"
            } else {
                "count"
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

fn raised(alarm: &AlarmReport) -> String {
    format!(
        "Check {} of {} raised the alarm: the soil is {}, most likely since some time between {} and \
         {} (check {}).",
        alarm.check,
        alarm.date,
        side(alarm.side),
        alarm.began_after,
        alarm.began_before,
        alarm.began_before_check,
    )
}

fn figure(value: f64) -> String {
    format!("{value:.3}")
}

fn signed(value: f64) -> String {
    format!("{value:+.4}")
}

fn offset(report: &ProbeReport) -> String {
    let found = report.update.offset;
    let (size, low, high) = (found.value.abs(), found.low, found.high);
    let way = if found.value >= 0.0 {
        "wetter"
    } else {
        "drier"
    };
    format!(
        "In the middle of its range the soil is now {} m3/m3 {way} than the probe says ({} to {}, above zero is wetter).",
        figure(size),
        signed(low),
        signed(high)
    )
}

fn next(report: &ProbeReport) -> String {
    let schedule = &report.schedule;
    let check = if !schedule.asked_by_risk {
        format!(
            "Dig the next core by {}: a year is long enough between two.",
            schedule.next_check
        )
    } else if schedule.next_check == report.update.on {
        format!(
            "Dig the next core now: that chance is above {} already.",
            chance(schedule.check_at_risk)
        )
    } else {
        format!(
            "Dig the next core by {}: by then that chance has grown to {}.",
            schedule.next_check,
            chance(schedule.check_at_risk)
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
    format!("{check}\n  Without another check it {due}.")
}

fn checks(report: &ProbeReport) -> String {
    let mut table = TextTable::new([
        Column::numbers("check", ""),
        Column::words("date"),
        Column::words("core"),
        Column::numbers("oven", "m3/m3"),
        Column::numbers("probe", "m3/m3"),
        Column::numbers("difference", "m3/m3"),
        Column::numbers("from", "m3/m3"),
        Column::numbers("to", "m3/m3"),
        Column::numbers("score", ""),
        Column::numbers("wetter", "sum"),
        Column::numbers("drier", "sum"),
        Column::words(""),
    ]);
    for (i, row) in report.checks.iter().enumerate() {
        table.push([
            (i + 1).to_string(),
            row.date.clone(),
            row.core.clone(),
            figure(row.oven),
            figure(row.probe),
            signed(row.difference),
            signed(row.expected_low),
            signed(row.expected_high),
            format!("{:+.2}", row.score),
            format!("{:.2}", row.sum_wetter),
            format!("{:.2}", row.sum_drier),
            if row.alarm { "ALARM" } else { "" }.to_owned(),
        ]);
    }
    format!(
        "{table}Difference is oven less probe; 95 of 100 lie between from and to while the calibration \
         holds.\nAn alarm is raised when either sum reaches {:.2}.\n",
        report.test.limit
    )
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
            format!("{:.0}", answer.count),
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

fn statistics(report: &ProbeReport) -> String {
    let (update, test) = (&report.update, &report.test);
    let mut lines = vec![
        format!(
            "Two cumulative sums with head start; any false alarm within {} checks: {}.",
            test.planned_checks,
            chance(test.false_alarm)
        ),
        format!(
            "Offset at {} m3/m3: {} ({} to {}); gain: {:+.3} ({:+.3} to {:+.3}) m3/m3 per m3/m3.",
            figure(update.middle),
            signed(update.offset.value),
            signed(update.offset.low),
            signed(update.offset.high),
            update.gain.value,
            update.gain.low,
            update.gain.high
        ),
        format!(
            "It wanders by {:.4} m3/m3 in a year ({:.4} to {:.4}); {}.",
            update.wander.rate,
            update.wander.low,
            update.wander.high,
            if update.wander.from_checks {
                "the checks say so"
            } else {
                "hardly more than this program assumes: about 0.004, perhaps half or twice that"
            }
        ),
    ];
    lines.extend(report.power.iter().map(power));
    lines.iter().map(|line| format!("  {line}\n")).collect()
}

/// How long a drift stays unseen.
fn power(power: &Power) -> String {
    format!(
        "A drift of {} m3/m3 there from the first check on would be found {}; one that comes halfway \
         through the plan {}.",
        power.drift,
        found(&power.from_first),
        found(&power.from_half)
    )
}

fn found(found: &Found) -> String {
    let typically = match found.half {
        Some(1) => "by its 1st check in half of the cases".to_owned(),
        Some(checks) => format!("within {checks} checks in half of the cases"),
        None => format!("in {} within the plan", chance(found.within_plan)),
    };
    match (found.half, found.nine_of_ten) {
        (Some(half), Some(checks)) if checks > half => {
            format!("{typically} and within {checks} in 9 of 10")
        }
        (_, Some(_)) => "by its 1st check in 9 of 10 cases".to_owned(),
        (None, None) => typically,
        (Some(_), None) => format!(
            "{typically} and in {} within the plan",
            chance(found.within_plan)
        ),
    }
}
