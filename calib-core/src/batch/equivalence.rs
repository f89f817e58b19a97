//! Are two batches of probes alike? Equivalence within a margin, difference and
//! spread.

use super::distribution::normal_point;
use super::interval::WithInterval;
use super::statistics_error::{BatchStatisticsError, between, enough, finite};
use super::tolerance::satterthwaite;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor, StudentsT};

/// What is known of one probe.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProbeMean {
    /// Mean deviation of the probe, m3/m3.
    pub value: f64,
    /// Its sampling variance; 0 to let it count as part of the spread of the batch.
    pub variance: f64,
}

/// What can be said of two batches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "verdict")]
pub enum Verdict {
    /// Shown to be alike within the margin.
    Equivalent,
    /// Shown to differ, and shown to differ by less than the margin.
    DifferentWithinMargin,
    /// Shown to differ, not shown to stay within the margin.
    Different {
        /// Shown to differ by more than the margin.
        beyond_margin: bool,
    },
    /// Neither shown to differ nor to be alike.
    NotSettled {
        /// Probes in each batch that would settle it four times in five, if the
        /// estimates are right; `None` where a million would not.
        probes_in_each: Option<usize>,
    },
}

/// One batch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BatchSummary {
    /// Probes.
    pub probes: usize,
    /// Mean deviation, m3/m3.
    pub mean: f64,
    /// Its standard uncertainty, m3/m3.
    pub mean_u: f64,
    /// Standard deviation between probes, stated sampling variance taken off, m3/m3.
    pub sd: f64,
}

/// Batch A less batch B.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeanComparison {
    /// Difference of the means with its 95 % interval, m3/m3.
    pub difference: WithInterval,
    /// Standard uncertainty of the difference, m3/m3.
    pub standard_error: f64,
    /// Its degrees of freedom (Welch, Satterthwaite).
    pub freedom: f64,
    /// P of Welch's test that there is no difference.
    pub difference_p: f64,
    /// Margin within which batches count as alike, m3/m3.
    pub margin: f64,
    /// P of the two one-sided tests that the difference reaches the margin.
    pub equivalence_p: f64,
    /// Lower end of the 90 % interval, which lies inside the margin exactly where
    /// `equivalence_p` is below 5 %.
    pub equivalence_low: f64,
    /// Upper end of it.
    pub equivalence_high: f64,
    /// What follows.
    pub verdict: Verdict,
}

/// Spread of batch A over that of batch B.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpreadComparison {
    /// Ratio of the between-probe standard deviations with its 95 % interval.
    pub ratio: WithInterval,
    /// P of the test that they are equal.
    pub difference_p: f64,
    /// Ratio (above 1), and one over it, between which batches count as alike.
    pub margin: f64,
    /// P of the two one-sided tests that the ratio reaches the margin.
    pub equivalence_p: f64,
    /// What follows.
    pub verdict: Verdict,
}

/// Two batches side by side.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BatchComparison {
    /// The one.
    pub a: BatchSummary,
    /// The other.
    pub b: BatchSummary,
    /// Their means.
    pub mean: MeanComparison,
    /// Their spreads.
    pub spread: SpreadComparison,
}

/// Compares batch `a` with batch `b`. `margin` (m3/m3) is the difference of means
/// that does not matter, `spread_margin` (above 1) the ratio of spreads.
///
/// Means: Welch's t and the two one-sided tests (Welch 1947; Schuirmann 1987). A
/// probe whose sampling variance is stated is weighed by that and the spread of its
/// batch (Paule and Mandel 1982), and the mean's uncertainty is the one the weighed
/// residuals show (Hartung and Knapp 2001); without stated variances that is the
/// plain mean and `s / sqrt(n)`.
///
/// Spreads: the sums of squares, each probe over its variance were the spreads as
/// supposed, are chi-square whatever the sampling variances; their ratio is F. What
/// both batches have in common is estimated from both. Without stated variances that
/// is the plain variance ratio and exact. References recalled from memory.
///
/// # Errors
/// Fewer than two probes in a batch; figures that are not finite; a variance below
/// zero; a margin not above 0, a spread margin not above 1; a batch without spread.
pub fn compare_batches(
    a: &[ProbeMean],
    b: &[ProbeMean],
    margin: f64,
    spread_margin: f64,
) -> Result<BatchComparison, BatchStatisticsError> {
    between("the margin", margin, 0.0, f64::INFINITY)?;
    between("the margin of spreads", spread_margin, 1.0, LARGEST_RATIO)?;
    check(a)?;
    check(b)?;
    let (of_a, of_b) = (summary(a)?, summary(b)?);
    Ok(BatchComparison {
        a: of_a,
        b: of_b,
        mean: compare_means(&of_a, &of_b, margin)?,
        spread: compare_spreads(a, b, spread_margin)?,
    })
}

/// Probability of a test saying so wrongly.
const LEVEL: f64 = 0.05;
/// Probability with which so many probes would settle a question.
const POWER: f64 = 0.8;
/// Most probes in each batch that are thought of.
const MOST_PROBES: usize = 1_000_000;
/// Ratios of spreads are looked for up to this, and down to one over it.
const LARGEST_RATIO: f64 = 1e6;

fn check(batch: &[ProbeMean]) -> Result<(), BatchStatisticsError> {
    enough("probes of a batch", batch.len(), 2)?;
    for (index, probe) in batch.iter().enumerate() {
        finite("mean of a probe", index, probe.value)?;
        finite("variance of a probe", index, probe.variance)?;
        if probe.variance < 0.0 {
            return Err(BatchStatisticsError::OutOfRange {
                what: "the variance of a probe",
                value: probe.variance,
                low: 0.0,
                high: f64::INFINITY,
            });
        }
    }
    Ok(())
}

/// A batch whose probes vary by a variance and their own sampling.
struct Weighed {
    mean: f64,
    /// Sum of the weights.
    weights: f64,
    /// Weighed sum of squares about the mean.
    squares: f64,
    /// Its derivative by the variance.
    slope: f64,
}

fn weighed(batch: &[ProbeMean], spread: f64) -> Weighed {
    let origin = batch.first().map_or(0.0, |probe| probe.value);
    let (mut weights, mut sum) = (0.0, 0.0);
    for probe in batch {
        let weight = 1.0 / (spread + probe.variance);
        weights += weight;
        sum += weight * (probe.value - origin);
    }
    let mean = sum / weights;
    let (mut squares, mut slope) = (0.0, 0.0);
    for probe in batch {
        let weight = 1.0 / (spread + probe.variance);
        let square = weight * (probe.value - origin - mean).powi(2);
        squares += square;
        slope -= weight * square;
    }
    Weighed {
        mean: origin + mean,
        weights,
        squares,
        slope,
    }
}

/// The variance at which a falling sum of squares comes down to its expectation; 0 if
/// it lies below it from the start. `squares` gives the sum and its derivative. The
/// sum bends upward, so Newton's steps from below never pass the place.
fn spread_where(squares: impl Fn(f64) -> (f64, f64), expected: f64, scale: f64) -> f64 {
    let (at_zero, _) = squares(0.0);
    if at_zero <= expected {
        return 0.0;
    }
    // A probe without variance makes the sum no number at 0.
    let mut spread = if at_zero.is_finite() {
        0.0
    } else {
        1e-12 * scale
    };
    for _ in 0..200 {
        let (sum, slope) = squares(spread);
        let step = (expected - sum) / slope;
        if step.is_nan() || step <= 1e-13 * spread {
            break;
        }
        spread += step;
    }
    spread
}

/// The plain variance of the means of probes.
fn plain_variance(batch: &[ProbeMean]) -> f64 {
    let squares = weighed(
        &batch
            .iter()
            .map(|probe| ProbeMean {
                variance: 0.0,
                ..*probe
            })
            .collect::<Vec<_>>(),
        1.0,
    )
    .squares;
    squares / (batch.len() - 1) as f64
}

fn summary(batch: &[ProbeMean]) -> Result<BatchSummary, BatchStatisticsError> {
    let alike = BatchStatisticsError::NoSpread {
        what: "probes of a batch",
        alike: batch.len(),
        given: batch.len(),
    };
    let plain = finite("variance of a batch", 0, plain_variance(batch))?;
    let largest = batch
        .iter()
        .fold(0.0, |most: f64, p| most.max(p.value.abs()));
    if plain.sqrt() <= 4.0 * f64::EPSILON * largest {
        return Err(alike);
    }
    let freedom = (batch.len() - 1) as f64;
    let spread = if batch.iter().all(|probe| probe.variance == 0.0) {
        plain
    } else {
        spread_where(
            |spread| {
                let at = weighed(batch, spread);
                (at.squares, at.slope)
            },
            freedom,
            plain,
        )
    };
    let Weighed {
        mean,
        weights,
        squares,
        ..
    } = weighed(batch, spread);
    let mean_u = (squares / freedom / weights).sqrt();
    if !mean_u.is_normal() {
        return Err(alike);
    }
    Ok(BatchSummary {
        probes: batch.len(),
        mean,
        mean_u,
        sd: spread.sqrt(),
    })
}

/// Student's t, centred, of these degrees of freedom.
fn student(freedom: f64) -> Result<StudentsT, BatchStatisticsError> {
    StudentsT::new(0.0, 1.0, freedom).map_err(|_| BatchStatisticsError::OutOfRange {
        what: "the degrees of freedom",
        value: freedom,
        low: 0.0,
        high: f64::INFINITY,
    })
}

fn compare_means(
    a: &BatchSummary,
    b: &BatchSummary,
    margin: f64,
) -> Result<MeanComparison, BatchStatisticsError> {
    let difference = a.mean - b.mean;
    let (u_a, u_b) = (a.mean_u.powi(2), b.mean_u.powi(2));
    let freedom = satterthwaite(&[(u_a, (a.probes - 1) as f64), (u_b, (b.probes - 1) as f64)])?;
    let error = (u_a + u_b).sqrt();
    let t = student(freedom)?;
    let half = t.inverse_cdf(1.0 - LEVEL / 2.0) * error;
    let half_90 = t.inverse_cdf(1.0 - LEVEL) * error;
    let difference_p = 2.0 * t.sf(difference.abs() / error);
    let equivalence_p = t.sf((margin - difference.abs()) / error);
    // By probes in each batch: variance of a probe's mean about that of its batch.
    let (of_a, of_b) = (u_a * a.probes as f64, u_b * b.probes as f64);
    let enough_probes = |n: usize| {
        let error = ((of_a + of_b) / n as f64).sqrt();
        let parts = of_a.powi(2) + of_b.powi(2);
        let freedom = (of_a + of_b).powi(2) * (n - 1) as f64 / parts;
        Planned {
            margin,
            difference: difference.abs(),
            error,
            freedom,
        }
        .settles()
    };
    let difference = WithInterval {
        value: difference,
        low: difference - half,
        high: Some(difference + half),
    };
    Ok(MeanComparison {
        difference,
        standard_error: error,
        freedom,
        difference_p,
        margin,
        equivalence_p,
        equivalence_low: difference.value - half_90,
        equivalence_high: difference.value + half_90,
        verdict: verdict(
            difference_p,
            equivalence_p,
            difference.value.abs() - half > margin,
            || fewest_probes(enough_probes),
        ),
    })
}

fn verdict(
    difference_p: f64,
    equivalence_p: f64,
    beyond_margin: bool,
    probes_in_each: impl FnOnce() -> Option<usize>,
) -> Verdict {
    match (difference_p < LEVEL, equivalence_p < LEVEL) {
        (false, true) => Verdict::Equivalent,
        (true, true) => Verdict::DifferentWithinMargin,
        (true, false) => Verdict::Different { beyond_margin },
        (false, false) => Verdict::NotSettled {
            probes_in_each: probes_in_each(),
        },
    }
}

/// A comparison thought of, taking today's difference for the true one.
struct Planned {
    margin: f64,
    difference: f64,
    error: f64,
    freedom: f64,
}

impl Planned {
    /// Whether one of the two tests would succeed with probability [`POWER`] (shifted
    /// t in place of noncentral t).
    fn settles(&self) -> bool {
        let Ok(t) = student(self.freedom) else {
            return false;
        };
        let one_sided = t.inverse_cdf(1.0 - LEVEL);
        let two_sided = t.inverse_cdf(1.0 - LEVEL / 2.0);
        let inside = t.cdf((self.margin - self.difference) / self.error - one_sided)
            + t.cdf((self.margin + self.difference) / self.error - one_sided)
            - 1.0;
        let apart = t.cdf(self.difference / self.error - two_sided);
        inside.max(apart) >= POWER
    }
}

/// Fewest probes in each batch that settle it.
fn fewest_probes(settles: impl Fn(usize) -> bool) -> Option<usize> {
    let (mut low, mut high) = (1, 2);
    while !settles(high) {
        low = high;
        high *= 2;
        if high > MOST_PROBES {
            return None;
        }
    }
    while high - low > 1 {
        let middle = low.midpoint(high);
        if settles(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

fn compare_spreads(
    a: &[ProbeMean],
    b: &[ProbeMean],
    margin: f64,
) -> Result<SpreadComparison, BatchStatisticsError> {
    let (free_a, free_b) = ((a.len() - 1) as f64, (b.len() - 1) as f64);
    let stated = a.iter().chain(b).any(|probe| probe.variance > 0.0);
    let scale = plain_variance(a).max(plain_variance(b));
    // F were the standard deviations in this ratio.
    let f = |ratio: f64| {
        let both = |common: f64| (weighed(a, ratio * common), weighed(b, common / ratio));
        let common = if stated {
            let sum = |common: f64| {
                let (of_a, of_b) = both(common);
                (
                    of_a.squares + of_b.squares,
                    ratio * of_a.slope + of_b.slope / ratio,
                )
            };
            spread_where(sum, free_a + free_b, scale)
        } else {
            1.0
        };
        let (of_a, of_b) = both(common);
        (of_a.squares / free_a) / (of_b.squares / free_b)
    };
    let distribution =
        FisherSnedecor::new(free_a, free_b).map_err(|_| BatchStatisticsError::OutOfRange {
            what: "the degrees of freedom",
            value: free_a.min(free_b),
            low: 0.0,
            high: f64::INFINITY,
        })?;
    let above = |ratio: f64| distribution.sf(f(ratio));
    let below = |ratio: f64| distribution.cdf(f(ratio));
    let equal = f(1.0);
    let difference_p = (2.0 * distribution.sf(equal).min(distribution.cdf(equal))).min(1.0);
    let equivalence_p = below(margin).max(above(1.0 / margin));
    // F falls as the ratio grows.
    let largest = LARGEST_RATIO.ln();
    let ratio_where = |reached: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (-largest, largest);
        for _ in 0..48 {
            let middle = f64::midpoint(low, high);
            if reached(middle.exp()) {
                high = middle;
            } else {
                low = middle;
            }
        }
        low.midpoint(high)
    };
    let edge = largest - 1e-6;
    let low = ratio_where(&|ratio| above(ratio) >= LEVEL / 2.0);
    let high = ratio_where(&|ratio| below(ratio) <= LEVEL / 2.0);
    let value = ratio_where(&|ratio| f(ratio) <= 1.0);
    let ratio = WithInterval {
        value: value.exp(),
        low: if low < -edge { 0.0 } else { low.exp() },
        high: (high < edge).then(|| high.exp()),
    };
    let beyond = ratio.low > margin || ratio.high.is_some_and(|high| high < 1.0 / margin);
    // The logarithm of the ratio varies nearly normally, as one over the probes less 1.
    let error = ratio
        .high
        .filter(|_| ratio.low > 0.0)
        .map(|_| (high - low) / (2.0 * normal_point(LEVEL / 2.0)));
    let probes_in_each = || {
        let error = error?;
        let now = 2.0 / (1.0 / free_a + 1.0 / free_b);
        fewest_probes(|n| {
            let free = (n - 1) as f64;
            Planned {
                margin: margin.ln(),
                difference: value.abs(),
                error: error * (now / free).sqrt(),
                freedom: 2.0 * free,
            }
            .settles()
        })
    };
    Ok(SpreadComparison {
        ratio,
        difference_p,
        margin,
        equivalence_p,
        verdict: verdict(difference_p, equivalence_p, beyond, probes_in_each),
    })
}

#[cfg(test)]
mod tests;
