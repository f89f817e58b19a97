//! What the diagnostics of a fit mean for the person with the spade: one plain
//! sentence each, with what to do about it.

use crate::fitted::Fitted;
use crate::text_table::{Column, TextTable};
use calib_core::calibration::{COVERAGE, Calibration, Domain};
use calib_core::fit::{
    DECISIVE_DISTANCE, DECISIVE_LEVERAGE, DryingOrder, Influence, ModelFit, NOTABLE_DISTANCE,
    PATTERN_LEVEL, TemperatureDecision, Without, drying_order, influence, usual_leverage,
    without_each,
};
use calib_core::irrigation::{SetPoint, SetPoints};
use calib_core::temperature::uncorrected_difference;
use calib_core::uncertainty::coverage_factor;
use serde::Serialize;
use std::fmt::Write as _;

/// Correlation of two parameters from which they are spoken of as one.
const ALL_BUT_ONE_NUMBER: f64 = 0.98;

/// Share of the dead band by which one core may move a set point before it is
/// worth digging for (our choice).
const NOTABLE_SHARE: f64 = 0.25;

/// Core names shown in one sentence.
const NAMED: usize = 3;

/// What is known beside the fit itself.
#[derive(Debug, Clone)]
pub struct Surroundings {
    /// Refill and stop, where they can be placed.
    pub set_points: Option<SetPoints>,
    /// Coolest and warmest soil the probe logged, C.
    pub logged: Option<(f64, f64)>,
}

/// The diagnostics of one fit.
#[derive(Debug, Clone, Serialize)]
pub struct Diagnosis {
    /// Leverage and Cook's distance, one entry a core.
    influence: Vec<Influence>,
    /// Leverage above this is called high.
    high_leverage: f64,
    /// Cook's distance above this is worth a second look.
    notable_distance: f64,
    /// Sides of the curve along the drying order, where cores lie on both.
    drying_order: Option<DryingOrder>,
    /// How far each core moves each set point.
    set_points: Vec<Hinge>,
    /// The two parameters most alike.
    strongest_correlation: Option<Correlation>,
    /// What leaving temperature out costs, or could cost.
    temperature: Option<TemperatureCost>,
    /// The break of a curve of two pieces.
    break_count: Option<Break>,
    /// What of this matters, in words.
    pub remarks: Vec<String>,
    /// What temperature costs and what to do, in words.
    pub temperature_remark: String,
    /// Where the break lies, in words.
    pub break_remark: Option<String>,
}

/// How a set point hangs on the cores.
#[derive(Debug, Clone, Serialize)]
struct Hinge {
    point: SetPoint,
    /// The count it lies at.
    count: f64,
    /// What becomes of it without each core; a move is the curve's.
    without: Vec<WithoutCore>,
}

#[derive(Debug, Clone, Serialize)]
struct WithoutCore {
    sample: String,
    level: String,
    #[serde(flatten)]
    without: Without,
}

#[derive(Debug, Clone, Serialize)]
struct Correlation {
    parameters: [String; 2],
    correlation: f64,
}

/// theta_v read for one wetness in the coolest and in the warmest soil logged.
#[derive(Debug, Clone, Serialize)]
struct TemperatureCost {
    coolest: f64,
    warmest: f64,
    /// Where on the curve.
    at_count: f64,
    /// How far apart without a correction, m3/m3.
    difference: f64,
    /// Whether `difference` is the most the data leave possible rather than what
    /// was seen.
    upper_bound: bool,
}

/// The break of a curve in counts.
#[derive(Debug, Clone, Serialize)]
struct Break {
    count: f64,
    /// Standard uncertainty, counts.
    u: f64,
    /// Ends of the 95 % interval, counts.
    low: f64,
    high: f64,
    /// Whether the interval lies within the calibrated counts.
    within_calibrated: bool,
}

impl Diagnosis {
    /// Looks at a fit. `parameters` and `correlation` are in the order of its
    /// covariance.
    pub fn new(
        fitted: &Fitted<'_>,
        parameters: &[&str],
        correlation: &[Vec<f64>],
        surroundings: &Surroundings,
    ) -> Self {
        let fit = &fitted.choice.fit;
        let calibration = &fitted.calibration;
        let cores = fit.residuals.len();
        let influence = influence(fit);
        let order = drying_order(fit);
        let hinges = surroundings
            .set_points
            .as_ref()
            .map_or_else(Vec::new, |points| hinges(fit, points));
        let strongest = strongest(parameters, correlation);
        let decision = &fitted.choice.temperature;
        let at = surroundings
            .set_points
            .as_ref()
            .map_or_else(|| calibration.domain.middle(), |p| p.refill_count);
        let cost = temperature_cost(decision, calibration, surroundings.logged, at);
        let broken = find_break(calibration);

        let mut remarks = Vec::new();
        remarks.extend(decisive_cores(fit, &influence));
        remarks.extend(order.as_ref().and_then(|order| {
            (order.p_value < PATTERN_LEVEL).then(|| pattern(order, fitted.choice.asked_for))
        }));
        if let Some(points) = &surroundings.set_points {
            remarks.extend(hinge_remark(&hinges, points.dead_band()));
        }
        remarks.extend(
            strongest
                .as_ref()
                .filter(|pair| pair.correlation.abs() > ALL_BUT_ONE_NUMBER)
                .map(Correlation::remark),
        );
        Self {
            high_leverage: usual_leverage(fit.covariance.len(), cores),
            notable_distance: NOTABLE_DISTANCE / cores.max(1) as f64,
            influence,
            drying_order: order,
            set_points: hinges,
            strongest_correlation: strongest,
            temperature_remark: temperature_remark(decision, cost.as_ref(), surroundings),
            temperature: cost,
            break_remark: broken.as_ref().map(|b| b.remark(calibration.domain)),
            break_count: broken,
            remarks,
        }
    }

    /// The numbers behind the remarks, core by core.
    pub fn details(&self) -> String {
        let mut table = TextTable::new([
            Column::words("core"),
            Column::numbers("leverage", ""),
            Column::numbers("Cook's D", ""),
            Column::numbers("refill without it", "counts"),
            Column::numbers("stop without it", "counts"),
        ]);
        let shift = |point: SetPoint, place: usize| {
            self.set_points
                .iter()
                .find(|hinge| hinge.point == point)
                .and_then(|hinge| hinge.without.get(place))
                .map_or_else(
                    || "-".to_owned(),
                    |core| match core.without {
                        Without::Moved { counts, .. } => format!("{counts:+.1}"),
                        Without::NotReached { .. } => "not reached".to_owned(),
                        Without::NoCurve => "no curve".to_owned(),
                    },
                )
        };
        let marked = |value: f64, limit: f64| {
            let mark = if value > limit { "*" } else { " " };
            format!("{value:.2}{mark}")
        };
        for (place, core) in self.influence.iter().enumerate() {
            table.push([
                core.sample.clone(),
                marked(core.leverage, self.high_leverage),
                core.cooks_distance
                    .map_or_else(|| "- ".to_owned(), |d| marked(d, self.notable_distance)),
                shift(SetPoint::Refill, place),
                shift(SetPoint::Stop, place),
            ]);
        }
        let mut text = format!(
            "{table}  * leverage above {:.2} (2p/n) or Cook's distance above {:.2} (4/n): worth a second look\n    (common practice)\n",
            self.high_leverage, self.notable_distance
        );
        if let Some(order) = &self.drying_order {
            // Writing to a String cannot fail.
            let _ = writeln!(
                text,
                "  wettest to driest: {} cores above the curve, {} below, in {} runs; so few by chance: p = {:.2}",
                order.above, order.below, order.runs, order.p_value
            );
        }
        text
    }
}

/// Cores that decide the curve by themselves.
fn decisive_cores(fit: &ModelFit, influence: &[Influence]) -> Vec<String> {
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
fn cores_named(samples: &[&str]) -> String {
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

fn verb<'a>(samples: &[&str], one: &'a str, many: &'a str) -> &'a str {
    if samples.len() == 1 { one } else { many }
}

fn pattern(order: &DryingOrder, asked_for: bool) -> String {
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

fn hinges(fit: &ModelFit, points: &SetPoints) -> Vec<Hinge> {
    [
        (SetPoint::Refill, points.refill_count),
        (SetPoint::Stop, points.stop_count),
    ]
    .into_iter()
    .filter_map(|(point, count)| {
        let without = without_each(fit, count)?;
        Some(Hinge {
            point,
            count,
            without: fit
                .residuals
                .iter()
                .zip(without)
                .map(|(core, without)| WithoutCore {
                    sample: core.sample.clone(),
                    level: core.level.clone(),
                    without,
                })
                .collect(),
        })
    })
    .collect()
}

impl Hinge {
    /// The core most able to move the set point.
    fn foremost(&self) -> Option<Move<'_>> {
        self.without
            .iter()
            .filter_map(|core| match core.without {
                Without::Moved { counts, theta_v } => Some(Move {
                    point: self.point,
                    sample: &core.sample,
                    count: self.count,
                    counts,
                    theta_v,
                }),
                _ => None,
            })
            .max_by(|a, b| a.theta_v.abs().total_cmp(&b.theta_v.abs()))
    }

    /// Cores without which the curve does not get as far as the set point.
    fn carried_by(&self) -> Vec<&str> {
        self.without
            .iter()
            .filter(|core| matches!(core.without, Without::NotReached { .. }))
            .map(|core| core.sample.as_str())
            .collect()
    }
}

/// How far leaving out one core moves a set point.
struct Move<'a> {
    point: SetPoint,
    sample: &'a str,
    count: f64,
    counts: f64,
    theta_v: f64,
}

/// What set points hang on; `dead_band` between them, m3/m3.
fn hinge_remark(hinges: &[Hinge], dead_band: f64) -> Vec<String> {
    let mut remarks = Vec::new();
    for hinge in hinges {
        let cores = hinge.carried_by();
        if !cores.is_empty() {
            remarks.push(format!(
                "Without {} the curve would not get as far as the {} point, so it hangs on {}: dig another core of that wetness.",
                cores_named(&cores).replacen("Core", "core", 1),
                hinge.point,
                verb(&cores, "that core alone", "each of them"),
            ));
        }
    }
    let moved: Vec<Move<'_>> = hinges.iter().filter_map(Hinge::foremost).collect();
    let Some(first) = moved.first() else {
        return remarks;
    };
    let largest = moved.iter().map(|m| m.theta_v.abs()).fold(0.0, f64::max);
    let share = largest / dead_band;
    remarks.push(if share > NOTABLE_SHARE {
        let moves: Vec<String> = moved.iter().map(Move::in_words).collect();
        format!(
            "{}. That is {:.0} % of the dead band: weigh that core again if you can, and dig another of its wetness before the pump goes by these counts.",
            moves.join("; "),
            100.0 * share
        )
    } else {
        format!(
            "No {} core decides the set points: leaving out core {}, which moves {} most, takes it from {:.0} to {:.0} counts ({:.3} m3/m3); none moves either by more than {:.0} % of the dead band, so both can stand.",
            if remarks.is_empty() { "one" } else { "other" },
            first.sample,
            first.point,
            first.count,
            first.count + first.counts,
            first.theta_v.abs(),
            (100.0 * share).ceil()
        )
    });
    remarks
}

impl Move<'_> {
    fn in_words(&self) -> String {
        let point = match self.point {
            SetPoint::Refill => "Refill",
            SetPoint::Stop => "stop",
        };
        let Move { sample, count, .. } = self;
        format!(
            "{point} hangs most on core {sample}: without it, it would lie at {:.0} instead of {count:.0} counts, for soil at {count:.0} counts would then be {:.3} m3/m3 {}",
            count + self.counts,
            self.theta_v.abs(),
            if self.theta_v < 0.0 {
                "drier"
            } else {
                "wetter"
            }
        )
    }
}

fn strongest(parameters: &[&str], correlation: &[Vec<f64>]) -> Option<Correlation> {
    let pairs = correlation
        .iter()
        .enumerate()
        .flat_map(|(i, row)| row.iter().enumerate().take(i).map(move |(j, c)| (j, i, *c)));
    let (i, j, correlation) = pairs
        .filter(|(_, _, c)| c.is_finite())
        .max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()))?;
    Some(Correlation {
        parameters: [
            (*parameters.get(i)?).to_owned(),
            (*parameters.get(j)?).to_owned(),
        ],
        correlation,
    })
}

impl Correlation {
    fn remark(&self) -> String {
        let [one, other] = &self.parameters;
        format!(
            "{one} and {other} can hardly be told apart (correlation {:.3}): the cores fix the curve, not these two numbers. Compare curves between probes or years by theta_v at a count, never by {one} or {other}; cores wetter or drier than these would separate them.",
            self.correlation
        )
    }
}

fn temperature_cost(
    decision: &TemperatureDecision,
    calibration: &Calibration,
    logged: Option<(f64, f64)>,
    at_count: f64,
) -> Option<TemperatureCost> {
    let (coolest, warmest) = logged?;
    Some(TemperatureCost {
        coolest,
        warmest,
        at_count,
        difference: uncorrected_difference(
            calibration.curve.slope(at_count),
            decision.largest_effect()?,
            warmest - coolest,
        ),
        upper_bound: !decision.is_carried(),
    })
}

fn temperature_remark(
    decision: &TemperatureDecision,
    cost: Option<&TemperatureCost>,
    surroundings: &Surroundings,
) -> String {
    let apart = |cost: &TemperatureCost| {
        format!(
            "read up to {:.3} m3/m3 apart between the coolest and the warmest soil logged ({:.0} and {:.0} C){}",
            cost.difference,
            cost.coolest,
            cost.warmest,
            if surroundings.set_points.is_some() {
                " at the refill point"
            } else {
                " in mid-range"
            }
        )
    };
    let both =
        "cores of every wetness both cool (early morning) and warm (afternoon), 4 C or more apart";
    match (decision, cost) {
        (TemperatureDecision::Carried { .. }, Some(cost)) => format!(
            "Without the correction one wetness would {}: give the controller a soil thermometer.",
            apart(cost)
        ),
        (TemperatureDecision::NoEffectSeen { .. }, Some(cost)) => format!(
            "At worst (effect plus its +-) one wetness could {}; if that is too much, read cores of one wetness both cool and warm.",
            apart(cost)
        ),
        (TemperatureDecision::Confounded { .. }, Some(cost)) => format!(
            "At worst (effect plus its +-) one wetness could {}; only such cores can narrow that down.",
            apart(cost)
        ),
        (TemperatureDecision::Missing { .. }, _) => format!(
            "Log soil temperature with every reading, and read {both}; the next fit then says how much it matters."
        ),
        (TemperatureDecision::SpanTooSmall { .. }, _) => match surroundings.logged {
            Some((coolest, warmest)) => format!(
                "Read {both}; all soil this probe logged lies between {coolest:.1} and {warmest:.1} C."
            ),
            None => format!("Read {both}."),
        },
        _ => format!("Read {both}; with more cores the effect can be told."),
    }
}

fn find_break(calibration: &Calibration) -> Option<Break> {
    let at = calibration.break_count()?;
    let half = at.u * coverage_factor(COVERAGE, Some(calibration.degrees_of_freedom));
    let (low, high) = (at.value - half, at.value + half);
    Some(Break {
        count: at.value,
        u: at.u,
        low,
        high,
        within_calibrated: calibration.domain.contains(low) && calibration.domain.contains(high),
    })
}

impl Break {
    fn remark(&self, domain: Domain) -> String {
        let mut remark = format!(
            "break at {:.0} +- {:.0} counts   (95 %)",
            self.count,
            self.high - self.count
        );
        let beyond: Vec<String> = [
            (self.low < domain.low).then(|| {
                format!(
                    "{:.0} counts below the lowest calibrated",
                    domain.low - self.low
                )
            }),
            (self.high > domain.high)
                .then(|| format!("{:.0} counts above the highest", self.high - domain.high)),
        ]
        .into_iter()
        .flatten()
        .collect();
        if !beyond.is_empty() {
            let _ = write!(
                remark,
                "; the interval ends {}: the cores do not show that there is a break",
                beyond.join(" and ")
            );
        }
        remark
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(count: f64, half: f64) -> String {
        let domain = Domain {
            low: 380.0,
            high: 660.0,
        };
        let (low, high) = (count - half, count + half);
        let found = Break {
            count,
            u: half / 2.0,
            low,
            high,
            within_calibrated: domain.contains(low) && domain.contains(high),
        };
        assert_eq!(found.within_calibrated, !found.remark(domain).contains(';'));
        found.remark(domain)
    }

    #[test]
    fn a_break_says_where_its_interval_leaves_the_cores() {
        assert_eq!(at(500.0, 20.0), "break at 500 +- 20 counts   (95 %)");
        assert_eq!(
            at(400.0, 50.0),
            "break at 400 +- 50 counts   (95 %); the interval ends 30 counts below the lowest calibrated: the cores do not show that there is a break"
        );
        assert!(at(500.0, 200.0).contains(
            "ends 80 counts below the lowest calibrated and 40 counts above the highest:"
        ));
    }

    #[test]
    fn the_two_parameters_most_alike_are_named_with_their_sign() {
        let matrix = vec![
            vec![1.0, 0.2, 0.4],
            vec![0.2, 1.0, -0.991],
            vec![0.4, -0.991, 1.0],
        ];
        let found = strongest(&["a", "b", "k"], &matrix).unwrap();
        assert_eq!(found.parameters, ["b", "k"]);
        assert!(
            found
                .remark()
                .starts_with("b and k can hardly be told apart (correlation -0.991)")
        );
        assert!(strongest(&["a"], &[vec![1.0]]).is_none());
    }

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

    fn hinge(point: SetPoint, count: f64, without: &[(&str, Without)]) -> Hinge {
        Hinge {
            point,
            count,
            without: without
                .iter()
                .map(|(sample, without)| WithoutCore {
                    sample: (*sample).to_owned(),
                    level: String::new(),
                    without: *without,
                })
                .collect(),
        }
    }

    #[test]
    fn a_core_without_which_refill_is_out_of_reach_is_named() {
        let hinge = hinge(
            SetPoint::Refill,
            600.0,
            &[
                (
                    "A",
                    Without::Moved {
                        counts: 4.0,
                        theta_v: 0.002,
                    },
                ),
                ("B", Without::NotReached { theta_v: 0.03 }),
            ],
        );
        let remarks = hinge_remark(&[hinge], 0.06);
        assert_eq!(
            remarks,
            [
                "Without core B the curve would not get as far as the refill point, so it hangs on that core alone: dig another core of that wetness.",
                "No other core decides the set points: leaving out core A, which moves refill most, takes it from 600 to 604 counts (0.002 m3/m3); none moves either by more than 4 % of the dead band, so both can stand.",
            ]
        );
    }
}
