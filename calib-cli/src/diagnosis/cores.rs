//! Cores that decide the curve by themselves, and sides kept as the soil dries.

use calib_core::fit::{DECISIVE_DISTANCE, DECISIVE_LEVERAGE, DryingOrder, Influence, ModelFit};

/// Core names shown in one sentence.
const NAMED: usize = 3;

/// Cores that decide the curve by themselves.
pub(super) fn decisive_cores(fit: &ModelFit, influence: &[Influence]) -> Vec<String> {
    let chosen = |keep: &dyn Fn(usize, &Influence) -> bool| -> Vec<&str> {
        let cores = influence.iter().enumerate();
        cores
            .filter(|(i, core)| keep(*i, core))
            .map(|(_, core)| core.sample.as_str())
            .collect()
    };
    let can_leave_out = fit.residuals.iter().any(|r| r.curve_without.is_some());
    let alone = |i: usize| can_leave_out && fit.residuals[i].curve_without.is_none();
    let far = |core: &Influence| core.cooks_distance.is_some_and(|d| d > DECISIVE_DISTANCE);
    let mut remarks = Vec::new();
    let holding = chosen(&|i, _| alone(i));
    if !holding.is_empty() {
        remarks.push(format!(
            "{} alone {} the curve in place: the other cores fix none of this kind. Dig another core of that wetness, or ask for a simpler curve.",
            cores_named(&holding),
            verb(&holding, "holds", "hold")
        ));
    }
    let deciding = chosen(&|i, core| !alone(i) && far(core));
    if !deciding.is_empty() {
        remarks.push(format!(
            "{} {} the curve its own way: left out, it would move by as much as its own uncertainty (Cook's distance above {DECISIVE_DISTANCE:.0}, common practice). Check masses, label and readings against the record sheet, and dig another core of that wetness.",
            cores_named(&deciding),
            verb(&deciding, "pulls", "each pull")
        ));
    }
    let steering = chosen(&|i, core| !alone(i) && !far(core) && core.leverage > DECISIVE_LEVERAGE);
    if !steering.is_empty() {
        remarks.push(format!(
            "Beside {} the curve follows that one core more than all others together (leverage above {DECISIVE_LEVERAGE}), so a slip in it would not show. Dig another core of that wetness.",
            cores_named(&steering).replacen("Core", "core", 1)
        ));
    }
    remarks
}

/// `Core A`, `Cores A and B`, `Cores A, B, C and 4 more`.
pub(super) fn cores_named(samples: &[&str]) -> String {
    let (shown, rest) = samples.split_at(samples.len().min(NAMED));
    let noun = verb(samples, "Core", "Cores");
    match (shown, rest.len()) {
        (all, more) if more > 0 => format!("{noun} {} and {more} more", all.join(", ")),
        ([most @ .., last], _) if !most.is_empty() => {
            format!("{noun} {} and {last}", most.join(", "))
        }
        (all, _) => format!("{noun} {}", all.join(", ")),
    }
}

pub(super) fn verb<'a>(samples: &[&str], one: &'a str, many: &'a str) -> &'a str {
    if samples.len() == 1 { one } else { many }
}

pub(super) fn pattern(order: &DryingOrder, asked_for: bool) -> String {
    let (first, last) = match &order.longest[..] {
        [first, .., last] => (first.as_str(), last.as_str()),
        [only] => (only.as_str(), only.as_str()),
        [] => ("", ""),
    };
    format!(
        "From wet to dry the cores keep to one side of the curve in long stretches: {} in a row {} it, {first} to {last} (so few changes of side come by chance once in {:.0} fits). Either the soil's curve bends another way or something drifted while it dried. {} and look whether probe, supply or ring was changed between those cores.",
        order.longest.len(),
        if order.longest_above {
            "above"
        } else {
            "below"
        },
        (1.0 / order.p_value).min(1e4),
        if asked_for {
            "Leave --curve away"
        } else {
            "Dig one more core in the middle of that stretch"
        }
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cores_are_named_as_a_person_would() {
        assert_eq!(cores_named(&["A"]), "Core A");
        assert_eq!(cores_named(&["A", "B"]), "Cores A and B");
        assert_eq!(cores_named(&["A", "B", "C"]), "Cores A, B and C");
        assert_eq!(
            cores_named(&["A", "B", "C", "D", "E"]),
            "Cores A, B, C and 2 more"
        );
    }
}
