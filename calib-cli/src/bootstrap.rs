//! The interval of the curve by first order and by fitting it again to data drawn
//! anew, side by side.

use crate::failure::Failure;
use crate::fitted::Fitted;
use crate::text_table::{Column, TextTable};
use calib_core::calibration::COVERAGE;
use calib_core::fit::{Bootstrap, Bootstrapped, CurveInterval, MOST_WITHOUT_FIT, Resampling};
use schemars::JsonSchema;
use serde::Serialize;

/// Share of the half width by which ends of the parametric bootstrap may lie off
/// and agree, beside what chance does to them.
const CLOSE: f64 = 0.15;

/// How often to refit, from which seed.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Replicates of each kind.
    pub replicates: usize,
    /// Chooses the random streams.
    pub seed: u64,
}

impl Asked {
    /// Fits in all, of both kinds.
    pub fn refits(&self) -> usize {
        2 * self.replicates
    }
}

/// The curve at several counts, three times over.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CurveBootstrap {
    /// By first order.
    pub first_order: Vec<FirstOrder>,
    /// Data drawn about the curve.
    pub parametric: Bootstrapped,
    /// Cores drawn.
    pub cases: Bootstrapped,
    /// Whether they agree and what to do.
    pub remark: String,
}

/// The curve at one count by first order.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
pub struct FirstOrder {
    /// The count, at the reference temperature where there is a term.
    pub count: f64,
    /// theta_v of the curve, m3/m3.
    pub theta_v: f64,
    /// Half width of its interval, m3/m3.
    pub expanded: f64,
}

impl CurveBootstrap {
    /// Refits the curve of a probe; `progress` is told of each of the
    /// [`Asked::refits`] done.
    ///
    /// # Errors
    /// [`Failure::Internal`] if the fit does not come out of its own cores.
    pub fn new(
        fitted: &Fitted<'_>,
        counts: &[f64],
        asked: Asked,
        progress: &(dyn Fn(usize) + Sync),
    ) -> Result<Self, Failure> {
        let calibration = &fitted.calibration;
        let mut coverage_factor = 0.0;
        let first_order: Vec<FirstOrder> = counts
            .iter()
            .map(|count| {
                let expanded = calibration.curve_uncertainty(*count);
                coverage_factor = expanded.coverage_factor;
                FirstOrder {
                    count: *count,
                    theta_v: calibration.curve.value(*count),
                    expanded: expanded.expanded,
                }
            })
            .collect();
        let refit = |resampling| {
            let settings = Bootstrap {
                resampling,
                replicates: asked.replicates,
                seed: asked.seed,
                coverage_factor,
            };
            settings
                .run(
                    &fitted.paired.observations,
                    &fitted.choice.fit,
                    counts,
                    progress,
                )
                .ok_or_else(|| {
                    let probe = &calibration.probe;
                    Failure::Internal(format!("the fit of probe {probe} cannot be repeated"))
                })
        };
        let (parametric, cases) = (refit(Resampling::Parametric), refit(Resampling::Cases));
        let (parametric, cases) = (parametric?, cases?);
        let remark = remark(
            &first_order,
            &parametric,
            &cases,
            calibration.degrees_of_freedom,
        );
        Ok(Self {
            first_order,
            parametric,
            cases,
            remark,
        })
    }

    /// As a person reads it.
    pub fn text(&self) -> String {
        let mut table = TextTable::new([
            Column::numbers("count", ""),
            Column::numbers("curve", "m3/m3"),
            Column::numbers("first order", "m3/m3"),
            Column::numbers("parametric bootstrap", "m3/m3"),
            Column::numbers("bootstrap of cores", "m3/m3"),
        ]);
        for (place, row) in self.first_order.iter().enumerate() {
            let drawn = |by: &Bootstrapped| {
                by.intervals
                    .get(place)
                    .map_or_else(|| "-".to_owned(), |i| ends(i.low, i.high))
            };
            table.push([
                format!("{:.0}", row.count),
                format!("{:.4}", row.theta_v),
                ends(row.theta_v - row.expanded, row.theta_v + row.expanded),
                drawn(&self.parametric),
                drawn(&self.cases),
            ]);
        }
        format!(
            "The curve itself: its {:.0} % interval, three ways\n{table}{}\n{}\n",
            100.0 * COVERAGE,
            crate::fit_report::wrapped(&format!(
                "Without a new reading's own errors, the ring volume that all cores share and the choice of curve. The bootstraps fit the curve again {} times, to data drawn about it from the stated uncertainties and the scatter of the cores, and to as many cores drawn with replacement; {} and {} of these gave no fit; seed {}.",
                self.parametric.replicates,
                self.parametric.without_fit,
                self.cases.without_fit,
                self.parametric.seed
            )),
            crate::fit_report::wrapped(&self.remark)
        )
    }
}

fn ends(low: f64, high: f64) -> String {
    format!("{low:.4} to {high:.4}")
}

/// By how much of the half width an end lies off, at its worst, and at which count.
fn farthest(first_order: &[FirstOrder], intervals: &[CurveInterval]) -> Option<(f64, f64)> {
    first_order
        .iter()
        .zip(intervals)
        .map(|(row, drawn)| {
            let low = (row.theta_v - row.expanded - drawn.low).abs();
            let high = (row.theta_v + row.expanded - drawn.high).abs();
            (low.max(high) / row.expanded, row.count)
        })
        .max_by(|a, b| f64::total_cmp(&a.0, &b.0))
}

fn remark(
    first_order: &[FirstOrder],
    parametric: &Bootstrapped,
    cases: &Bootstrapped,
    degrees_of_freedom: f64,
) -> String {
    for (name, drawn) in [
        ("parametric bootstrap", parametric),
        ("bootstrap of cores", cases),
    ] {
        if let Some(doubt) = doubt(name, drawn) {
            return doubt;
        }
    }
    // The spread of so few cores is itself known only to so much (twice its
    // standard deviation), and the bootstrap of cores estimates it anew.
    let close = CLOSE.max(2.0 / (2.0 * degrees_of_freedom).sqrt());
    let off = |drawn: &Bootstrapped, close: f64| {
        let close = close + drawn.numerical;
        farthest(first_order, &drawn.intervals).filter(|(share, _)| *share > close)
    };
    match (off(parametric, CLOSE), off(cases, close)) {
        (None, None) => "The three agree as far as so few cores can tell: first order stands, and nothing is to be done.".to_owned(),
        (Some((share, count)), _) => format!(
            "The parametric bootstrap parts from first order, most at {count:.0} counts, by {:.0} % of the half width: the curve bends within its own errors; use the widest of the three there, and take more cores near these counts to make the curve straighter within its errors.",
            100.0 * share
        ),
        (None, Some((share, count))) => format!(
            "The bootstrap of cores parts from first order, most at {count:.0} counts, by {:.0} % of the half width: cores do not scatter alike along the curve, or one core decides it there (see \"What each core decides\" with --details); use the wider of the two, and take two or three more cores near these counts.",
            100.0 * share
        ),
    }
}

/// Why a bootstrap is not to be trusted, and what to do.
fn doubt(name: &str, drawn: &Bootstrapped) -> Option<String> {
    if drawn.trusted {
        return None;
    }
    let share = drawn.without_fit as f64 / drawn.replicates.max(1) as f64;
    Some(if share > MOST_WITHOUT_FIT {
        format!(
            "Do not trust the {name}: {:.0} % of its replicates gave no fit, more than {:.0} %, for cores drawn with replacement often leave too few places to hold this curve; use first order, and take more cores or a simpler curve with --curve.",
            100.0 * share,
            100.0 * MOST_WITHOUT_FIT
        )
    } else {
        format!(
            "Do not trust the {name}: {} replicates are too few to place the ends of its interval for this many cores; use first order, or --bootstrap {} or more.",
            drawn.replicates, drawn.replicates_needed
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(resampling: Resampling, low: f64, high: f64) -> Bootstrapped {
        Bootstrapped {
            resampling,
            replicates: 2000,
            without_fit: 0,
            seed: 1,
            tail: 0.02,
            replicates_needed: 250,
            numerical: 0.0,
            trusted: true,
            intervals: vec![CurveInterval {
                count: 400.0,
                standard: 0.005,
                low,
                high,
            }],
        }
    }

    fn said(parametric: &Bootstrapped, cases: &Bootstrapped) -> String {
        let row = FirstOrder {
            count: 400.0,
            theta_v: 0.2,
            expanded: 0.01,
        };
        remark(&[row], parametric, cases, 18.0)
    }

    #[test]
    fn one_sentence_says_whether_they_agree_and_what_to_do() {
        let parametric = |low, high| drawn(Resampling::Parametric, low, high);
        let cases = |low, high| drawn(Resampling::Cases, low, high);
        let agree = said(&parametric(0.1905, 0.2095), &cases(0.193, 0.207));
        assert!(agree.starts_with("The three agree"), "{agree}");
        let bent = said(&parametric(0.192, 0.21), &cases(0.19, 0.21));
        assert!(
            bent.contains("400 counts, by 20 % of the half width: the curve bends"),
            "{bent}"
        );
        let uneven = said(&parametric(0.19, 0.21), &cases(0.19, 0.214));
        assert!(
            uneven.contains("by 40 % of the half width: cores do not scatter alike"),
            "{uneven}"
        );
    }

    #[test]
    fn one_not_to_be_trusted_says_why_and_what_then() {
        let fine = drawn(Resampling::Parametric, 0.19, 0.21);
        let holes = Bootstrapped {
            without_fit: 240,
            trusted: false,
            ..drawn(Resampling::Cases, 0.19, 0.21)
        };
        let text = said(&fine, &holes);
        assert!(
            text.starts_with(
                "Do not trust the bootstrap of cores: 12 % of its replicates gave no fit"
            ),
            "{text}"
        );
        let few = Bootstrapped {
            replicates: 100,
            trusted: false,
            ..fine.clone()
        };
        assert!(said(&few, &fine).contains("--bootstrap 250 or more"));
    }
}
