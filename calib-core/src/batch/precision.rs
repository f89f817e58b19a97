//! How well readings of one level agree: within a probe, and from probe to probe,
//! in the terms of ISO 5725-2.

use super::anova::{OneWay, one_way};
use super::distribution::{chi_square_point, chi_square_upper, gauss};
use super::interval::WithInterval;
use super::statistics_error::{BatchStatisticsError, enough};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::function::gamma::ln_gamma;
use std::collections::BTreeMap;

/// A limit over its standard deviation: two results differ by more than
/// 1.96 sqrt(2) = 2.77 standard deviations once in twenty times. ISO 5725-6 rounds
/// it to 2.8 (recalled from memory).
pub const LIMIT_FACTOR: f64 = 2.8;

/// Repeatability and reproducibility at one moisture level, m3/m3, a probe taking
/// the place of the standard's laboratory.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LevelPrecision {
    /// Name of the level.
    pub level: String,
    /// Probes with a reading.
    pub probes: usize,
    /// Readings.
    pub observations: usize,
    /// Mean of all readings, m3/m3.
    pub mean: f64,
    /// `s_r`, repeatability standard deviation, m3/m3: readings of one probe.
    pub repeatability_sd: WithInterval,
    /// `s_L`, between-probe standard deviation, m3/m3.
    pub between_sd: WithInterval,
    /// The estimate of `s_L^2` came out below zero and was set to zero.
    pub between_set_to_zero: bool,
    /// `s_R`, reproducibility standard deviation, m3/m3: readings of different probes.
    pub reproducibility_sd: WithInterval,
    /// `r`, m3/m3: two readings of one probe differ by more once in twenty times.
    pub repeatability_limit: WithInterval,
    /// `R`, m3/m3: readings of two probes differ by more once in twenty times.
    pub reproducibility_limit: WithInterval,
    /// Readings a probe, averaged as the estimate of `s_L` needs it.
    pub effective_readings: f64,
    /// Probability of differences between probes this large if there were none.
    pub p_value: Option<f64>,
}

/// Precision at one level. `probes` holds each probe's readings of it (m3/m3,
/// reading less reference); probes without any are passed over.
///
/// The estimates are those of ISO 5725-2 for cells of unequal size (recalled from
/// memory): `s_r^2` the mean square within probes, `s_L^2` the difference of the
/// mean squares over the averaged number of readings, `s_R^2` their sum.
///
/// The interval of `s_r` is exact (chi-square). Those of `s_L` and `s_R` come from
/// the distribution that the data leave to the two variances: the sum of squares
/// within over `sigma_r^2` is chi-square, and so is the sum of squares of the probe
/// means, each weighed by its own variance (Wald 1940 for the ratio; generalised
/// pivots after Weerahandi 1993; recalled from memory). Where probes came out more
/// alike than their readings allow, the upper ends are those of probes just as
/// alike as that, or the interval could be empty. They hold the truth 95 times in a
/// hundred or somewhat more often.
///
/// # Errors
/// Fewer than two probes, no probe with two readings, a reading that is not finite,
/// readings all alike.
pub fn precision<G: AsRef<[f64]>>(
    level: &str,
    probes: &[G],
) -> Result<LevelPrecision, BatchStatisticsError> {
    let read: Vec<&[f64]> = probes
        .iter()
        .map(AsRef::as_ref)
        .filter(|readings| !readings.is_empty())
        .collect();
    enough("probes", read.len(), 2)?;
    if read.iter().all(|readings| readings.len() == 1) {
        return Err(BatchStatisticsError::NoReplicates { probes: read.len() });
    }
    let analysis = one_way(&read)?;
    if analysis.r_squared.is_none() {
        return Err(BatchStatisticsError::NoSpread {
            what: "readings",
            alike: analysis.observations,
            given: analysis.observations,
        });
    }
    let within = analysis.within.mean;
    let between = (analysis.between.mean - within) / analysis.effective_members;
    let left = LeftOpen::new(&analysis, &read);
    let believed = LeftOpen {
        least_between: if between < 0.0 { within } else { 0.0 },
        ..left.clone()
    };
    let repeatability_sd = WithInterval {
        value: within.sqrt(),
        low: left.repeatability(OUTSIDE),
        high: Some(left.repeatability(1.0 - OUTSIDE)),
    };
    let interval = |variance: f64, what: Variance| WithInterval {
        value: variance.sqrt(),
        low: left.point(what, OUTSIDE).sqrt(),
        high: Some(believed.point(what, 1.0 - OUTSIDE).sqrt()).filter(|high| high.is_finite()),
    };
    let between_sd = interval(between.max(0.0), Variance::Between);
    let reproducibility_sd = interval(between.max(0.0) + within, Variance::Reproducibility);
    Ok(LevelPrecision {
        level: level.to_owned(),
        probes: analysis.groups,
        observations: analysis.observations,
        mean: analysis.mean,
        repeatability_sd,
        between_sd,
        between_set_to_zero: between < 0.0,
        reproducibility_sd,
        repeatability_limit: limit(&repeatability_sd),
        reproducibility_limit: limit(&reproducibility_sd),
        effective_readings: analysis.effective_members,
        p_value: analysis.p_value,
    })
}

/// Share of the possible values left out at either end of an interval.
const OUTSIDE: f64 = 0.025;

fn limit(sd: &WithInterval) -> WithInterval {
    WithInterval {
        value: LIMIT_FACTOR * sd.value,
        low: LIMIT_FACTOR * sd.low,
        high: sd.high.map(|high| LIMIT_FACTOR * high),
    }
}

/// A variance an interval is sought for.
#[derive(Clone, Copy, PartialEq)]
enum Variance {
    Between,
    Reproducibility,
}

/// Probes of one number of readings.
#[derive(Clone)]
struct Alike {
    readings: f64,
    probes: f64,
    /// Mean of their means, and sum of squares of the means about it.
    mean: f64,
    squares: f64,
}

/// The values that the data leave open to the two variances.
#[derive(Clone)]
struct LeftOpen {
    within_sum: f64,
    within_freedom: f64,
    between_freedom: f64,
    /// A variance no smaller than either mean square.
    scale: f64,
    /// Least mean square between probes that is believed, for upper ends.
    least_between: f64,
    effective_readings: f64,
    alike: Vec<Alike>,
}

impl LeftOpen {
    fn new(analysis: &OneWay, read: &[&[f64]]) -> LeftOpen {
        let mut by_size: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
        for readings in read {
            let mean = readings.iter().map(|v| v - analysis.mean).sum::<f64>();
            by_size
                .entry(readings.len())
                .or_default()
                .push(mean / readings.len() as f64);
        }
        let alike = by_size
            .into_iter()
            .map(|(readings, means)| {
                let probes = means.len() as f64;
                let mean = means.iter().sum::<f64>() / probes;
                Alike {
                    readings: readings as f64,
                    probes,
                    mean,
                    squares: means.iter().map(|m| (m - mean).powi(2)).sum(),
                }
            })
            .collect();
        LeftOpen {
            within_sum: analysis.within.sum,
            within_freedom: analysis.within.freedom as f64,
            between_freedom: analysis.between.freedom as f64,
            scale: analysis.between.mean.max(analysis.within.mean),
            least_between: 0.0,
            effective_readings: analysis.effective_members,
            alike,
        }
    }

    /// End of the interval of `s_r` below which a share of the possible values lies.
    fn repeatability(&self, share: f64) -> f64 {
        (self.within_sum / chi_square_point(self.within_freedom, share)).sqrt()
    }

    /// Sum of squares of the probe means, each over its variance were the variance
    /// between probes `between` and that of a reading `within`.
    fn weighed_squares(&self, between: f64, within: f64) -> f64 {
        let weight = |a: &Alike| 1.0 / (between + within / a.readings);
        let total: f64 = self.alike.iter().map(|a| a.probes * weight(a)).sum();
        let middle = self
            .alike
            .iter()
            .map(|a| a.probes * weight(a) * a.mean)
            .sum::<f64>()
            / total;
        let squares: f64 = self
            .alike
            .iter()
            .map(|a| weight(a) * (a.squares + a.probes * (a.mean - middle).powi(2)))
            .sum();
        let variance = self.effective_readings * between + within;
        let least = self.between_freedom * self.least_between / variance;
        if squares.is_nan() {
            f64::INFINITY
        } else {
            squares.max(least)
        }
    }

    /// Share of the possible values of a variance that lie below `variance`.
    fn share_below(&self, what: Variance, variance: f64) -> f64 {
        let below = |within: f64| {
            let between = match what {
                Variance::Between => variance,
                Variance::Reproducibility => variance - within,
            };
            let squares = self.weighed_squares(between.max(0.0), within);
            chi_square_upper(self.between_freedom, squares)
        };
        if self.within_sum <= 0.0 {
            return below(0.0);
        }
        // The chi-square of the readings lies between these but once in 1e10.
        let end = |upper: f64| chi_square_point(self.within_freedom, upper);
        let (mut least, most) = (end(1.0 - 1e-10), end(1e-10));
        if what == Variance::Reproducibility {
            // Where a reading alone varies more than `variance`, nothing lies below.
            least = least.max(self.within_sum / variance);
        }
        if least >= most {
            return 0.0;
        }
        let half = 0.5 * self.within_freedom;
        let density = |chi: f64| (half * (0.5 * chi).ln() - 0.5 * chi - ln_gamma(half)).exp();
        // Even steps of the logarithm.
        const PIECES: u32 = 6;
        let (least, most) = (least.ln(), most.ln());
        let edge = |i: u32| least + (most - least) * f64::from(i) / f64::from(PIECES);
        (0..PIECES)
            .flat_map(|i| gauss(edge(i), edge(i + 1)))
            .map(|(log, weight)| {
                let chi = log.exp();
                weight * density(chi) * below(self.within_sum / chi)
            })
            .sum()
    }

    /// Value of a variance below which a share of the possible ones lies.
    fn point(&self, what: Variance, share: f64) -> f64 {
        if what == Variance::Between && self.share_below(what, 0.0) >= share {
            return 0.0;
        }
        let (mut low, mut high) = (0.0, self.scale);
        for _ in 0..200 {
            if self.share_below(what, high) >= share {
                break;
            }
            low = high;
            high *= 4.0;
        }
        for _ in 0..60 {
            // Halving the ratio where both ends are known, else the lower end.
            let middle = if low > 0.0 {
                (low * high).sqrt()
            } else {
                0.125 * high
            };
            if self.share_below(what, middle) >= share {
                high = middle;
            } else {
                low = middle;
            }
            if high - low <= 1e-7 * high || high < 1e-15 * self.scale {
                break;
            }
        }
        high
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_of_unequal_cells_gives_the_figures_worked_out_by_hand() {
        let cells = [vec![0.31, 0.33], vec![0.36, 0.38, 0.37], vec![], vec![0.30]];
        let found = precision("wet", &cells).expect("a precision");
        // Within: 2 (0.01)^2 twice; 3 degrees of freedom.
        let within = 4e-4 / 3.0;
        // Means 0.32, 0.37, 0.30, of all 2.05 / 6; averaged number of readings
        // (6 - 14 / 6) / 2.
        let mean = 2.05 / 6.0;
        let between = (2.0 * (0.32_f64 - mean).powi(2)
            + 3.0 * (0.37_f64 - mean).powi(2)
            + (0.30_f64 - mean).powi(2))
            / 2.0;
        let readings = (6.0 - 14.0 / 6.0) / 2.0;
        let of_probes = (between - within) / readings;
        let close = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-9, "{a} {b}");
        close(found.repeatability_sd.value, within.sqrt());
        close(found.between_sd.value, of_probes.sqrt());
        close(found.reproducibility_sd.value, (of_probes + within).sqrt());
        close(found.repeatability_limit.value, 2.8 * within.sqrt());
        close(found.effective_readings, readings);
        assert_eq!((found.probes, found.observations), (3, 6));
        assert!(!found.between_set_to_zero);
        // Chi-square of 3 degrees of freedom: 0.2158 and 9.3484.
        close(
            found.repeatability_sd.low,
            (4e-4_f64 / 9.348_403_604_496_15).sqrt(),
        );
    }

    #[test]
    fn with_many_readings_the_interval_between_is_that_of_a_sample_of_probes() {
        // Readings that hardly differ: the means are the probes themselves, and the
        // interval is s sqrt(freedom / chi-square).
        let cells: Vec<Vec<f64>> = [0.01, -0.02, 0.03, 0.00, -0.01]
            .iter()
            .map(|m| vec![m - 1e-7, m + 1e-7])
            .collect();
        let found = precision("wet", &cells).expect("a precision").between_sd;
        let sum: f64 = 0.0015 - 5.0 * 0.002_f64.powi(2);
        let low = (sum / 11.143_286_781_877_8).sqrt();
        let high = (sum / 0.484_418_557_087_93).sqrt();
        assert!((found.low / low - 1.0).abs() < 1e-6, "{found:?} {low}");
        let got = found.high.expect("an upper end");
        assert!((got / high - 1.0).abs() < 1e-6, "{found:?} {high}");
    }

    #[test]
    fn a_negative_estimate_is_set_to_zero_and_told() {
        let found = precision("dry", &[[0.1, 0.3], [0.2, 0.2]]).expect("a precision");
        assert!(found.between_set_to_zero);
        assert_eq!((found.between_sd.value, found.between_sd.low), (0.0, 0.0));
        assert!(found.between_sd.high.expect("an upper end") > 0.0);
        assert_eq!(found.reproducibility_sd.value, found.repeatability_sd.value);
    }

    #[test]
    fn readings_that_agree_to_the_last_digit_still_give_numbers() {
        let found = precision("dry", &[[0.1, 0.1], [0.2, 0.2]]).expect("a precision");
        let ends = [
            &found.repeatability_sd,
            &found.between_sd,
            &found.reproducibility_sd,
        ];
        for sd in ends {
            let high = sd.high.expect("an upper end");
            assert!(sd.low <= sd.value && sd.value <= high, "{sd:?}");
        }
        assert_eq!(found.p_value, None);
    }

    #[test]
    fn what_has_no_precision_is_refused() {
        let one_each = precision("dry", &[[0.1], [0.2], [0.3]]);
        assert_eq!(
            one_each,
            Err(BatchStatisticsError::NoReplicates { probes: 3 })
        );
        assert!(matches!(
            precision("dry", &[[0.1, 0.1], [0.1, 0.1]]),
            Err(BatchStatisticsError::NoSpread { alike: 4, .. })
        ));
        assert!(precision("dry", &[vec![0.1, 0.2], vec![]]).is_err());
        assert!(precision("dry", &[[0.1, f64::INFINITY], [0.1, 0.1]]).is_err());
    }
}
