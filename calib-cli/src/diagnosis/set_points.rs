//! How refill and stop hang on single cores.

use super::cores::{cores_named, verb};
use calib_core::fit::{ModelFit, Without, without_each};
use calib_core::irrigation::{SetPoint, SetPoints};
use schemars::JsonSchema;
use serde::Serialize;

/// Share of the dead band by which one core may move a set point before it is
/// worth digging for (our choice).
const NOTABLE_SHARE: f64 = 0.25;

/// How a set point hangs on the cores.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct Hinge {
    pub(super) point: SetPoint,
    /// The count it lies at.
    count: f64,
    /// What becomes of it without each core; a move is the curve's.
    pub(super) without: Vec<WithoutCore>,
}

#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct WithoutCore {
    sample: String,
    level: String,
    #[serde(flatten)]
    pub(super) without: Without,
}

pub(super) fn hinges(fit: &ModelFit, points: &SetPoints) -> Vec<Hinge> {
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
pub(super) fn hinge_remark(hinges: &[Hinge], dead_band: f64) -> Vec<String> {
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
            "{}. That is up to {:.0} % of the dead band: weigh what is left of such a core again if you can, and dig another of its wetness before the pump goes by these counts.",
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

#[cfg(test)]
mod tests {
    use super::*;

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
