//! The figures behind the verdict: the test and what it finds, offset and gain, wandering.

use super::report::ProbeReport;
use super::words::{chance, figure, signed};
use calib_core::drift::power::{Found, Power};
use calib_core::drift::update::Wander;

/// Everything a statistician may ask.
pub(super) fn text(report: &ProbeReport) -> String {
    let (update, test) = (&report.update, &report.test);
    let mut lines = vec![
        format!(
            "Cumulative sums with head start, two for a shift and two for a change of gain; any false alarm within {} checks: at most {}.",
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
        wander(&update.wander),
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
    let by = |checks: usize| match checks {
        1 => "by its 1st check".to_owned(),
        checks => format!("within {checks} checks"),
    };
    let within_plan = || format!("in {} within the plan", chance(found.within_plan));
    match (found.half, found.nine_of_ten) {
        (Some(half), Some(nine)) if nine > half => format!(
            "{} in half of the cases and {} in 9 of 10",
            by(half),
            by(nine)
        ),
        (_, Some(nine)) => format!("{} in 9 of 10 cases", by(nine)),
        (Some(half), None) => {
            format!("{} in half of the cases and {}", by(half), within_plan())
        }
        (None, None) => within_plan(),
    }
}

/// How fast it wanders, beside what was assumed.
fn wander(wander: &Wander) -> String {
    let assumed = match wander.rate / wander.assumed.max(f64::MIN_POSITIVE) {
        share if share < 0.6 => "less than",
        share if share <= 1.6 => "about what",
        share if share < 4.0 => "more than",
        _ => "much more than",
    };
    format!(
        "It wanders by {:.4} m3/m3 in a year ({:.4} to {:.4}): {assumed} this program assumes before any check, {}; {}.",
        wander.rate,
        wander.low,
        wander.high,
        wander.assumed,
        if wander.from_checks {
            "the checks say so"
        } else {
            "the checks do not tell it closely"
        }
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(half: Option<usize>, nine_of_ten: Option<usize>) -> String {
        found(&Found {
            half,
            nine_of_ten,
            within_plan: 0.7,
        })
    }

    #[test]
    fn the_number_of_checks_said_is_the_number_found() {
        assert_eq!(of(Some(1), Some(1)), "by its 1st check in 9 of 10 cases");
        assert_eq!(of(Some(2), Some(2)), "within 2 checks in 9 of 10 cases");
        assert_eq!(
            of(Some(1), Some(2)),
            "by its 1st check in half of the cases and within 2 checks in 9 of 10"
        );
        assert_eq!(
            of(Some(3), None),
            "within 3 checks in half of the cases and in 70 in 100 within the plan"
        );
        assert_eq!(of(None, None), "in 70 in 100 within the plan");
    }

    #[test]
    fn wandering_is_held_against_what_was_assumed() {
        let said = |rate| {
            wander(&Wander {
                rate,
                low: 0.001,
                high: 0.064,
                from_checks: false,
                assumed: 0.004,
            })
        };
        for (rate, words) in [
            (0.0014, ": less than this"),
            (0.0028, ": about what this"),
            (0.0057, ": about what this"),
            (0.0080, ": more than this"),
            (0.0453, ": much more than this"),
        ] {
            assert!(said(rate).contains(words), "{}", said(rate));
        }
    }
}
