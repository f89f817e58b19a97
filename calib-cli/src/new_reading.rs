//! What one new reading says and how sure it is: first order beside draws, and
//! the budget behind it.

use crate::failure::Failure;
use crate::text_table::{Column, TextTable};
use calib_core::calibration::{COVERAGE, Calibration, Prediction, PropagationError};
use calib_core::quantity::{Celsius, Quantity};
use calib_core::uncertainty::{Contribution, MonteCarlo, Propagated, Source, Validation};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt::Write;

/// Counts at which a new reading's uncertainty is shown.
const SHOWN_COUNTS: usize = 7;

/// How far first order and draws may differ and agree: half of the last digit
/// printed, m3/m3. JCGM 101:2008, 7.9.2.
const TOLERANCE: f64 = 0.0005;

/// How well the draws are to be known to judge that: a fifth of it, as JCGM
/// 101:2008, 8.2, advises (recalled from memory).
const DRAWN_TO: f64 = TOLERANCE / 5.0;

/// A new reading at one count.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct NewReading {
    /// By first-order propagation.
    #[serde(flatten)]
    pub first_order: Prediction,
    /// The same by draws.
    pub by_draws: ByDraws,
}

/// What the draws say.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum ByDraws {
    /// An interval, and whether first order stands up to it.
    Drawn {
        /// The draws.
        #[serde(flatten)]
        propagated: Propagated,
        /// The verdict on first order.
        validation: Validation,
    },
    /// No interval.
    Refused {
        /// Why.
        refused: String,
        /// What to do about it.
        mend: &'static str,
    },
}

/// A new reading at evenly spaced whole counts over the domain, at the
/// reference temperature.
///
/// # Errors
/// [`Failure::Internal`] if the calibration has no answer inside its own domain.
pub fn over_the_domain(calibration: &Calibration, seed: u64) -> Result<Vec<NewReading>, Failure> {
    let (low, high) = (
        calibration.domain.low.ceil(),
        calibration.domain.high.floor(),
    );
    let temperature: Option<Celsius> = calibration.temperature.map(|term| term.reference);
    let counts: Vec<f64> = (0..SHOWN_COUNTS)
        .map(|i| {
            let count = (low + (high - low) * i as f64 / (SHOWN_COUNTS - 1) as f64).round();
            // A domain within one count has no whole count inside.
            count.min(high).max(low)
        })
        .collect();
    let settings = MonteCarlo {
        seed,
        coverage: COVERAGE,
        ..MonteCarlo::to_tolerance(DRAWN_TO)
    };
    counts
        .iter()
        .zip(calibration.propagate_together(&counts, temperature, &settings))
        .map(|(count, drawn)| {
            let first_order = calibration
                .predict(*count, temperature)
                .map_err(|e| Failure::Internal(e.to_string()))?;
            Ok(NewReading {
                by_draws: ByDraws::of(&first_order, drawn),
                first_order,
            })
        })
        .collect()
}

impl ByDraws {
    fn of(first_order: &Prediction, drawn: Result<Propagated, PropagationError>) -> Self {
        match drawn {
            Ok(propagated) => ByDraws::Drawn {
                validation: propagated.validate(
                    first_order.theta_v.value(),
                    first_order.expanded.expanded,
                    TOLERANCE,
                ),
                propagated,
            },
            Err(error) => ByDraws::Refused {
                refused: error.to_string(),
                mend: error.mend(),
            },
        }
    }
}

/// The readings as a table with what stands above and below it.
pub fn text(calibration: &Calibration, readings: &[NewReading]) -> String {
    let whose = if calibration.probe_to_probe > 0.0 {
        "any probe of this type"
    } else {
        "this probe"
    };
    let soil = calibration.temperature.map_or_else(
        || "in this soil".to_owned(),
        |term| format!("in this soil at {} C", term.reference.value()),
    );
    let mut text = format!(
        "One new reading of {whose} {soil}: theta_v +- U, {:.0} % coverage, U = k u\n{}",
        100.0 * COVERAGE,
        table(readings)
    );
    for sentence in sentences(calibration, readings) {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{}", crate::fit_report::wrapped(&sentence));
    }
    if let Some(middle) = readings.get(readings.len() / 2) {
        let _ = write!(
            text,
            "\nWhat the uncertainty at {:.0} counts is made of\n{}",
            middle.first_order.count,
            budget_table(&middle.first_order)
        );
        let _ = writeln!(text, "{}", effective_freedom(&middle.first_order));
    }
    text
}

fn table(readings: &[NewReading]) -> TextTable<6> {
    let mut table = TextTable::new([
        Column::numbers("count", ""),
        Column::numbers("theta_v", "m3/m3"),
        Column::numbers("+- U", "m3/m3"),
        Column::numbers("95 % of draws", "m3/m3"),
        Column::numbers("u", "m3/m3"),
        Column::numbers("k", ""),
    ]);
    for reading in readings {
        let p = &reading.first_order;
        table.push([
            format!("{:.0}", p.count),
            format!("{:.3}", p.theta_v.value()),
            format!("{:.3}", p.expanded.expanded),
            match &reading.by_draws {
                ByDraws::Drawn { propagated, .. } => {
                    format!("{:.3} to {:.3}", propagated.low, propagated.high)
                }
                ByDraws::Refused { .. } => "-".to_owned(),
            },
            format!("{:.4}", p.expanded.standard),
            format!("{:.2}", p.expanded.coverage_factor),
        ]);
    }
    table
}

/// What has to be said of the table.
fn sentences(calibration: &Calibration, readings: &[NewReading]) -> Vec<String> {
    let mut sentences = Vec::new();
    sentences.extend(how_drawn(readings));
    sentences.extend(verdict(readings));
    sentences.extend(refusals(readings));
    sentences.extend(farther_from_reference(calibration, readings));
    if calibration.probe_to_probe > 0.0 {
        let (probe, counts) = (&calibration.probe, calibration.probe_to_probe);
        sentences.push(format!(
            "probe_to_probe_counts = {counts} in site.toml: the +- holds for any probe of this type in this soil, not only for {probe}; if {probe} alone will use this calibration, leave the key out and fit again."
        ));
    }
    sentences
}

/// What the +- grows to where the soil is as cool or warm as the cores ever were: the
/// table holds at the reference, where the temperature coefficient does not count.
fn farther_from_reference(calibration: &Calibration, readings: &[NewReading]) -> Option<String> {
    let reference = calibration.temperature?.reference.value();
    let (coolest, warmest) = calibration.temperature_range?;
    let there = if reference - coolest > warmest - reference {
        coolest
    } else {
        warmest
    };
    let celsius = Celsius::new(there).ok()?;
    let widest = readings
        .iter()
        .filter_map(|reading| {
            let here = &reading.first_order;
            // The same water: the count that soil gives at that temperature.
            let term = calibration.temperature?;
            let count = here.count + term.coefficient * (there - reference);
            let away = calibration.predict(count, Some(celsius)).ok()?;
            Some((here.count, here.expanded.expanded, away.expanded.expanded))
        })
        .max_by(|a, b| (a.2 - a.1).total_cmp(&(b.2 - b.1)))?;
    let (count, here, away) = widest;
    Some(format!(
        "At other soil temperatures the coefficient's own +- comes in: in soil of {there:.0} C, the farthest from {reference} C among the cores, +- U is {away:.3} instead of {here:.3} m3/m3 at the water content of {count:.0} counts, where it grows most."
    ))
}

fn drawn(readings: &[NewReading]) -> impl Iterator<Item = (&Prediction, &Propagated, &Validation)> {
    readings
        .iter()
        .filter_map(|reading| match &reading.by_draws {
            ByDraws::Drawn {
                propagated,
                validation,
            } => Some((&reading.first_order, propagated, validation)),
            ByDraws::Refused { .. } => None,
        })
}

fn how_drawn(readings: &[NewReading]) -> Option<String> {
    let fewest = drawn(readings).map(|(_, p, _)| p.draws).min()?;
    let most = drawn(readings).map(|(_, p, _)| p.draws).max()?;
    let seed = drawn(readings).next()?.1.seed;
    let draws = if fewest == most {
        thousands(most)
    } else {
        format!("{} to {}", thousands(fewest), thousands(most))
    };
    let worst = drawn(readings)
        .filter(|(_, p, _)| !p.settled)
        .map(|(_, p, _)| p.numerical)
        .fold(0.0, f64::max);
    let known = if worst > 0.0 {
        format!(
            "the most allowed, and the least known of its figures is good to {worst:.4} m3/m3 only, not to the {DRAWN_TO} asked for"
        )
    } else {
        format!("until its ends are known to {DRAWN_TO} m3/m3")
    };
    Some(format!(
        "+- U adds the sources up to first order (JCGM 100), with k for what the scatter of the cores may be. The interval of draws checks the adding up (JCGM 101): every source drawn from its own distribution {draws} times, the same draws for all counts, {known}; 2.5 % of the draws lie below it and 2.5 % above; seed {seed}."
    ))
}

/// Whether the two agree, and which to use where they do not.
fn verdict(readings: &[NewReading]) -> Option<String> {
    drawn(readings).next()?;
    let mut apart = Vec::new();
    let (mut largest, mut outside) = (0.0_f64, 0.0_f64);
    for (p, propagated, validation) in drawn(readings).filter(|(_, _, v)| !v.valid) {
        let (theta, expanded) = (p.theta_v.value(), p.expanded.expanded);
        apart.push(format!("{:.0}", p.count));
        largest = largest.max(validation.low).max(validation.high);
        outside = outside
            .max(theta - expanded - propagated.low)
            .max(propagated.high - theta - expanded);
    }
    Some(if apart.is_empty() {
        format!(
            "At every count the two agree to {TOLERANCE} m3/m3, half of the last digit shown: use +- U."
        )
    } else {
        let action = if outside > TOLERANCE {
            format!(
                "there +- U leaves out up to {outside:.3} m3/m3 on one side: use the interval of draws, and allow for that much more at set points near these counts, which are reckoned with +- U"
            )
        } else {
            format!(
                "there +- U falls short by no more than {TOLERANCE} m3/m3 and reaches too far on one side, so using it errs on the safe side"
            )
        };
        format!(
            "At {} the two differ by up to {largest:.5} m3/m3, more than the {TOLERANCE} allowed: the curve bends within the interval, another curve lies to one side, or a source is known from too few readings to be normal; {action}.",
            if apart.len() == readings.len() {
                "every count".to_owned()
            } else {
                format!("{} counts", listed(&apart))
            }
        )
    })
}

fn refusals(readings: &[NewReading]) -> Option<String> {
    let mut counts = Vec::new();
    let mut reason = None;
    for reading in readings {
        if let ByDraws::Refused { refused, mend } = &reading.by_draws {
            counts.push(format!("{:.0}", reading.first_order.count));
            reason.get_or_insert((refused, mend));
        }
    }
    reason.map(|(reason, mend)| {
        format!(
            "At {} counts nothing could be drawn ({reason}), so +- U stands there unchecked: {mend}.",
            listed(&counts)
        )
    })
}

fn listed(items: &[String]) -> String {
    match items.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

/// A whole number with its thousands apart.
fn thousands(number: usize) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// How well u itself is known, and where k comes from.
fn effective_freedom(prediction: &Prediction) -> String {
    let freedom = prediction
        .expanded
        .degrees_of_freedom
        .map_or_else(|| "unlimited".to_owned(), |dof| format!("{dof:.0}"));
    crate::fit_report::wrapped(&format!(
        "Together u = {:.4} m3/m3 on {freedom} effective degrees of freedom (Welch-Satterthwaite). k = {:.2} is that of what the scatter of the cores may be, given how few they are and that the curve was chosen on them, so it need not be Student's t for these.",
        prediction.expanded.standard, prediction.expanded.coverage_factor
    ))
}

/// The budget, largest first; what the curve's parameters owe to each source
/// stands below their line and is part of it.
fn budget_table(prediction: &Prediction) -> TextTable<3> {
    let mut table = TextTable::new([
        Column::words("source"),
        Column::numbers("u", "m3/m3"),
        Column::numbers("share", "of u^2"),
    ]);
    let whole = prediction.expanded.standard.powi(2);
    for line in largest_first(&prediction.budget.lines) {
        let cells = |name: String, line: &Contribution| {
            let share = 100.0 * line.u * line.u / whole;
            [name, format!("{:.4}", line.u), format!("{share:.0} %")]
        };
        table.push(cells(line.source.to_string(), &line));
        if line.source == Source::CurveParameters {
            for part in largest_first(&prediction.parameters_by_source.lines) {
                table.push(cells(format!("  of which {}", part.source), &part));
            }
        }
    }
    table
}

fn largest_first(lines: &[Contribution]) -> Vec<Contribution> {
    let mut lines = lines.to_vec();
    lines.sort_by(|a, b| b.u.total_cmp(&a.u));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::example::rising;
    use calib_core::curve::CurveKind;
    use calib_core::fit::{CovariancePart, Rival};

    fn shown(calibration: &Calibration) -> String {
        let readings = over_the_domain(calibration, 101).unwrap();
        text(calibration, &readings).replace('\n', " ")
    }

    #[test]
    fn a_straight_line_is_told_to_agree() {
        let (calibration, _) = rising();
        let text = shown(&calibration);
        assert!(text.contains("One new reading of this probe in this soil"));
        assert!(
            text.contains("At every count the two agree to 0.0005 m3/m3"),
            "{text}"
        );
        assert!(!text.contains("probe_to_probe_counts"));
    }

    #[test]
    fn a_rival_to_one_side_is_told_with_what_to_do() {
        let (mut calibration, _) = rising();
        let mut curve = calibration.curve.clone();
        curve.parameters[0] += 0.03;
        calibration.rivals = vec![Rival {
            weight: 0.4,
            curve,
            temperature: None,
            covariance: calibration.covariance.clone(),
            core_scatter: calibration.core_scatter,
        }];
        let text = shown(&calibration);
        assert!(
            text.contains("At every count the two differ by up to 0.02"),
            "{text}"
        );
        assert!(text.contains("use the interval of draws"), "{text}");
        assert!(!text.contains("agree"), "{text}");
        calibration.rivals[0].weight = 0.0;
        assert!(shown(&calibration).contains("the two agree"));
    }

    #[test]
    fn a_covariance_that_is_none_leaves_first_order_unchecked_and_says_so() {
        let (mut calibration, _) = rising();
        calibration.covariance = vec![vec![1e-6, 5e-6], vec![5e-6, 1e-6]];
        let text = shown(&calibration);
        assert!(text.contains("nothing could be drawn (the covariance of the parameters is none: it is not positive semi-definite), so +- U stands there unchecked"), "{text}");
        assert!(!text.contains("At every count"));
    }

    #[test]
    fn a_shared_calibration_says_that_it_holds_for_any_probe() {
        let (mut calibration, _) = rising();
        calibration.probe_to_probe = 6.5;
        let text = shown(&calibration);
        assert!(text.contains("One new reading of any probe of this type in this soil"));
        assert!(text.contains("probe_to_probe_counts = 6.5 in site.toml: the +- holds for any probe of this type in this soil, not only for lowfield-1; if lowfield-1 alone"), "{text}");
        assert!(text.contains("differences between probes"));
    }

    #[test]
    fn parts_of_the_parameters_stand_below_their_line() {
        let (mut calibration, _) = rising();
        assert_eq!(calibration.curve.kind, CurveKind::StraightLine);
        let halved = |source| CovariancePart {
            source,
            covariance: calibration
                .covariance
                .iter()
                .map(|row| row.iter().map(|c| 0.5 * c).collect())
                .collect(),
        };
        calibration.covariance_parts = vec![halved(Source::Balance), halved(Source::CoreScatter)];
        let middle = over_the_domain(&calibration, 101).unwrap().swap_remove(3);
        let of_parts = middle.first_order.parameters_by_source.standard();
        let of_line = middle
            .first_order
            .budget
            .only(|source| source == Source::CurveParameters)
            .standard();
        assert!((of_parts / of_line - 1.0).abs() < 1e-12);
        let table = budget_table(&middle.first_order).to_string();
        let lines: Vec<&str> = table.lines().collect();
        let at = lines
            .iter()
            .position(|line| line.starts_with("curve parameters"))
            .unwrap();
        assert!(lines[at + 1].starts_with("  of which balance"), "{table}");
        assert!(
            lines[at + 2].starts_with("  of which core-to-core"),
            "{table}"
        );
    }
}
