//! Parameters that cannot be told apart, and where a curve breaks.

use calib_core::calibration::{COVERAGE, Calibration, Domain};
use calib_core::uncertainty::coverage_factor;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt::Write as _;

/// Correlation of two parameters from which they are spoken of as one.
pub(super) const ALL_BUT_ONE_NUMBER: f64 = 0.98;

#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct Correlation {
    parameters: [String; 2],
    /// Their correlation, -1 to 1.
    pub(super) correlation: f64,
}

pub(super) fn strongest(parameters: &[&str], correlation: &[Vec<f64>]) -> Option<Correlation> {
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
    pub(super) fn remark(&self) -> String {
        let [one, other] = &self.parameters;
        format!(
            "{one} and {other} can hardly be told apart (correlation {:.3}): the cores fix the curve, not these two numbers. Compare curves between probes or years by theta_v at a count, never by {one} or {other}; cores wetter or drier than these would separate them.",
            self.correlation
        )
    }
}

/// The break of a curve in counts.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct Break {
    /// Count at the break.
    count: f64,
    /// Standard uncertainty, counts.
    u: f64,
    /// Lower end of the 95 % interval, counts.
    low: f64,
    /// Upper end of the 95 % interval, counts.
    high: f64,
    /// Whether the interval lies within the calibrated counts.
    within_calibrated: bool,
}

pub(super) fn find_break(calibration: &Calibration) -> Option<Break> {
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
    pub(super) fn remark(&self, domain: Domain) -> String {
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
}
