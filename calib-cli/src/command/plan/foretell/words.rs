//! The same as a person reads it.

use super::{MOST_SIMULATIONS, Worth};
use crate::text_table::{Column, TextTable};
use calib_core::plan::foretold::{
    Basis, CoresPoint, CurveOfCores, ForetoldPlace, LEAST_GAIN, PlaceName, Share,
};
use std::fmt::{self, Write};

/// Coverage that falls short of 95 % by more than this is worth a word.
const SHORT_BY: f64 = 0.02;
/// Refusals beyond this share are.
const REFUSED_OFTEN: f64 = 0.01;
/// A temperature term found in less than this share of plans asks for more contrast.
const FOUND_SELDOM: f64 = 0.5;
/// Where field capacity makes a set point this much less sure than a reading, that is
/// said.
const FROM_TABLES: f64 = 1.5;
/// Cores below which an uncertainty that comes out may lie anywhere.
const FEW_CORES: usize = 10;

impl fmt::Display for Worth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plan = &self.plan;
        writeln!(
            f,
            "What this plan will be worth, by {} simulated calibrations of {} cores (seed {})\n",
            plan.runs, plan.cores, self.seed
        )?;
        let widest = self.widest();
        writeln!(f, "{}", places(&plan.places, widest))?;
        for sentence in self.remarks() {
            writeln!(f, "{sentence}")?;
        }
        if let Some(curve) = self.deciding() {
            writeln!(f, "\n{}", matrix(curve, widest))?;
            writeln!(f, "{}", advice(curve, plan.runs))?;
        }
        writeln!(f, "\nTaken for true by the simulation:")?;
        for sentence in &self.assumptions {
            writeln!(f, "  - {sentence}")?;
        }
        if self.truth.basis == Basis::Assumed {
            writeln!(
                f,
                "No calibration of this probe is saved, so these are guesses. Once some cores are dry, \
                 run this again\nwith --core-scatter as `ovendry fit` finds it, or plan --next."
            )?;
        }
        Ok(())
    }
}

fn places(places: &[ForetoldPlace], widest: f64) -> String {
    let mut table = TextTable::new([
        Column::words("at"),
        Column::numbers("theta_v", "m3/m3"),
        Column::numbers("count", ""),
        Column::numbers("one reading +-", "m3/m3, 95 %"),
        Column::numbers("8 plans in 10", "m3/m3"),
        Column::numbers("set point +-", "m3/m3, 95 %"),
        Column::numbers("really off", "m3/m3, rms"),
        Column::numbers("+- held", "% of times"),
    ]);
    for place in places {
        let dash = || "-".to_owned();
        table.push([
            place.place.to_string(),
            format!("{:.3}", place.theta_v),
            format!("{:.0}", place.count),
            place.expanded.map_or_else(dash, |u| match u.median {
                median if median > widest => "cannot tell".to_owned(),
                median => format!("{median:.4}"),
            }),
            place.expanded.map_or_else(dash, |u| match u.high {
                high if high > widest => format!("{:.3} and more", u.low.min(widest)),
                high => format!("{:.3} to {high:.3}", u.low),
            }),
            place
                .set_point_expanded
                .map_or_else(dash, |u| format!("{:.3}", u.median)),
            place.error.map_or_else(dash, |e| format!("{e:.4}")),
            place
                .held
                .map_or_else(dash, |held| format!("{:.1}", 100.0 * held.share)),
        ]);
    }
    table.to_string()
}

impl Worth {
    /// A +- wider than this, the wettest level, says nothing, m3/m3.
    fn widest(&self) -> f64 {
        self.plan.levels.iter().copied().fold(0.0, f64::max)
    }

    /// What the table does not say by itself.
    fn remarks(&self) -> Vec<String> {
        let plan = &self.plan;
        let mut remarks = Vec::new();
        if let Some(place) = self.deciding().and_then(|curve| plan.at(curve.place))
            && let Some(u) = place.expanded
        {
            remarks.push(if u.median > self.widest() {
                format!(
                    "What one reading at {} will be sure to cannot be told from so few cores: its +- is wider than the \
                     levels themselves.",
                    place.place
                )
            } else { format!(
                "One reading at {} will be sure to +- {:.3} m3/m3 (the middle of all plans; the simulation knows \
                 it to +- {:.4}).\nWith curve and scatter known perfectly it would be +- {:.3}: that is the soil \
                 and the probe, and no number of cores goes below.",
                place.place, u.median, u.standard_error, place.floor
            ) });
        }
        if let Some(stop) = plan.at(PlaceName::Stop)
            && let Some((set, u)) = stop.set_point_expanded.zip(stop.expanded)
            && set.median > FROM_TABLES * u.median
        {
            remarks.push(format!(
                "Stop itself is sure to +- {:.3} m3/m3 only, whatever the cores say: field capacity and wilting point \
                 are not known better.\nA soaking left alone for two days (`ovendry soil DIR --log`) buys more there \
                 than cores do.",
                set.median
            ));
        }
        if plan.refused.share > REFUSED_OFTEN {
            remarks.push(format!(
                "In {} of 100 such plans the fit refuses{}.",
                percent(&plan.refused),
                plan.refused_for
                    .as_ref()
                    .map_or_else(String::new, |why| format!(", as here: {why}"))
            ));
        }
        let middle = plan.levels.iter().sum::<f64>() / plan.levels.len().max(1) as f64;
        for place in &plan.places {
            if let Some(answered) = place.answered.filter(|answered| answered.share < 0.9) {
                remarks.push(format!(
                    "At {} ({:.3} m3/m3) {} of 100 readings lie outside the counts calibrated, and have no answer: \
                     plan a level {} it.",
                    place.place,
                    place.theta_v,
                    percent(&Share {
                        share: 1.0 - answered.share,
                        standard_error: answered.standard_error
                    }),
                    if place.theta_v < middle {
                        "drier than"
                    } else {
                        "wetter than"
                    }
                ));
            }
        }
        let short: Vec<String> = plan
            .places
            .iter()
            .filter_map(|place| {
                let held = place.held?;
                let short = held.share + 2.0 * held.standard_error < 0.95 - SHORT_BY;
                short.then(|| format!("{} ({:.0} %)", place.place, 100.0 * held.share))
            })
            .collect();
        if !short.is_empty() {
            remarks.push(format!(
                "The +- that such a calibration states holds the truth less often than the 95 % it claims at {}.",
                short.join(", ")
            ));
        }
        if plan.cores < FEW_CORES {
            remarks.push(format!(
                "{} cores are few: what comes out of one such plan may lie anywhere between \"8 plans in 10\" and \
                 beyond, so take this\nforetelling as rough.",
                plan.cores
            ));
        }
        if let Some(term) = self
            .plan
            .temperature_term
            .filter(|_| self.truth.temperature.is_some())
        {
            let mut remark = format!(
                "A correction for soil temperature is found in {} of 100 such plans.",
                percent(&term)
            );
            if term.share < FOUND_SELDOM {
                remark.push_str(
                    " They are simulated with temperatures by chance;\nthe cool and the warm place of the plan \
                     differ more, and so tell more. To find it, make them differ more still, or\nread each filling \
                     both cool and warm before its cores are cut.",
                );
            }
            remarks.push(remark);
        }
        remarks
    }
}

/// Cores at a level down, numbers of levels across.
fn matrix(curve: &CurveOfCores, widest: f64) -> String {
    let mut levels: Vec<usize> = curve.points.iter().map(|p| p.levels).collect();
    levels.dedup();
    let most = curve.points.iter().map(|p| p.cores_per_level).max();
    let of = |levels: usize, cores: usize| {
        let same = |p: &&CoresPoint| p.levels == levels && p.cores_per_level == cores;
        curve.points.iter().find(same)
    };
    let mut text = format!(
        "Cores against uncertainty at {} ({:.3} m3/m3): +- of one reading, m3/m3, and cores in all\n\n",
        curve.place, curve.theta_v
    );
    text.push_str("cores a level");
    for levels in &levels {
        let _ = write!(
            text,
            "  {:>15}",
            if *levels == 1 {
                "1 level".to_owned()
            } else {
                format!("{levels} levels")
            }
        );
    }
    text.push('\n');
    text.push_str("-------------");
    for _ in &levels {
        text.push_str("  ---------------");
    }
    text.push('\n');
    for cores in 1..=most.unwrap_or(0) {
        let _ = write!(text, "{cores:>13}");
        for levels in &levels {
            let cell = of(*levels, cores).map_or_else(String::new, |point| {
                let u = match point.expanded.map(|u| u.median) {
                    None => "-".to_owned(),
                    Some(median) if median > widest => "unknown".to_owned(),
                    Some(median) => format!("{median:.4}"),
                };
                let mark = if point.planned { "*" } else { "" };
                format!("{mark}{u} ({:>3})", point.cores)
            });
            let _ = write!(text, "  {cell:>15}");
        }
        text.push('\n');
    }
    text.push_str("* as planned\n");
    text
}

/// What to choose, in sentences.
fn advice(curve: &CurveOfCores, runs: usize) -> String {
    let planned = curve.points.iter().find(|point| point.planned);
    let now = planned.map_or(0, |point| point.cores_per_level);
    let mut sentences = Vec::new();
    if let Some(step) = curve.steps.iter().find(|step| step.from == now) {
        sentences.push(format!(
            "One core more at each level lowers +- at {} by {:.4} +- {:.4} m3/m3 ({:.0} %).",
            curve.place,
            step.gain,
            2.0 * step.gain_standard_error,
            100.0 * step.share
        ));
        let now = planned.and_then(|point| point.expanded);
        if let Some(now) = now.map(|u| u.median)
            && 2.0 * step.gain_standard_error > LEAST_GAIN * now
        {
            sentences.push(too_few_runs(runs, step.gain_standard_error, now));
        }
    }
    sentences.push(match curve.enough {
        Some(enough) if enough < now => format!(
            "From {enough} at a level on, one more lowers it by less than {:.0} %: {enough} would nearly do.",
            100.0 * LEAST_GAIN
        ),
        Some(enough) if enough == now => format!(
            "That is less than {:.0} %, where one more stops paying: the plan is about right.",
            100.0 * LEAST_GAIN
        ),
        Some(enough) => format!(
            "It pays up to {enough} at a level; from there on one more lowers it by less than {:.0} %.",
            100.0 * LEAST_GAIN
        ),
        None => "It still pays at the most that were looked at.".to_owned(),
    });
    let refused = curve
        .points
        .iter()
        .filter(|p| p.refused.share > REFUSED_OFTEN);
    let refused: Vec<String> = refused
        .map(|p| {
            let share = percent(&p.refused);
            format!("{} x {} ({share} %)", p.levels, p.cores_per_level)
        })
        .collect();
    if !refused.is_empty() {
        sentences.push(format!(
            "The fit refuses some plans of {}; the figures are of those it does not.",
            refused.join(", ")
        ));
    }
    let short: Vec<String> = curve
        .points
        .iter()
        .filter_map(|p| {
            let held = p.held?;
            let short = held.share + 2.0 * held.standard_error < 0.95 - SHORT_BY;
            short.then(|| {
                format!(
                    "{} x {} ({:.0} %)",
                    p.levels,
                    p.cores_per_level,
                    100.0 * held.share
                )
            })
        })
        .collect();
    if !short.is_empty() {
        sentences.push(format!(
            "The +- stated there holds the truth less often than it claims for {}.",
            short.join(", ")
        ));
    }
    if curve.place == PlaceName::Middle {
        sentences.push(
            "The middle is looked at because refill is not known, or lies outside the levels."
                .to_owned(),
        );
    }
    sentences.join("\n")
}

/// That `runs` do not settle whether one core more pays, and how many would: the
/// standard error of a gain falls as the root of their number.
fn too_few_runs(runs: usize, gain_standard_error: f64, expanded: f64) -> String {
    let times = (2.0 * gain_standard_error / (LEAST_GAIN * expanded)).powi(2);
    let enough = (runs as f64 * times / 100.0).ceil() * 100.0;
    let what_to_do = if enough <= MOST_SIMULATIONS as f64 {
        format!("about {enough:.0} would (--simulations {enough:.0})")
    } else {
        "only far more would, so take the gain as unknown".to_owned()
    };
    format!("{runs} simulations hardly tell a gain that pays from chance: {what_to_do}.")
}

/// A share in whole percent; below one, that.
fn percent(share: &Share) -> String {
    let percent = 100.0 * share.share;
    if percent > 0.0 && percent < 1.0 {
        "less than 1".to_owned()
    } else {
        format!("{percent:.0}")
    }
}
