//! Tolerance intervals of the normal distribution: within what range at least a
//! stated share of all probes lies, with stated confidence.

use super::anova::OneWay;
use super::distribution::{chi_square_upper, integral, normal_density, normal_point, normal_upper};
use super::statistics_error::{BatchStatisticsError, between, enough, finite};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A two-sided tolerance interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ToleranceInterval {
    /// Middle of the interval.
    pub centre: f64,
    /// Standard deviation that the factor multiplies.
    pub sd: f64,
    /// Size of the sample whose mean is as sure as `centre`: `sd^2` over the
    /// variance of `centre`.
    pub effective_size: f64,
    /// Degrees of freedom of `sd`.
    pub freedom: f64,
    /// Least share of the population inside.
    pub share: f64,
    /// Confidence with which it is.
    pub confidence: f64,
    /// Half width over `sd`.
    pub factor: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// What of the next probe out of the box the interval is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NextProbe {
    /// Its own deviation, as the mean of very many of its readings would show it.
    Itself,
    /// A single one of its readings.
    OneReading,
}

/// Factor `k` of the two-sided interval `mean +- k s`: the probability over samples
/// that it holds at least `share` is `confidence`.
///
/// The mean is normal with variance `sigma^2 / effective_size`, `s^2` over `sigma^2`
/// is chi-square over `freedom`, and both are independent. For a sample of `n` they
/// are `n` and `n - 1`; they are separate so that a standard deviation made of
/// several mean squares can be used. Exact by numerical integration over the mean
/// (Odeh and Owen 1980; ISO 16269-6; both recalled from memory), to 8 digits.
///
/// # Errors
/// A size or degrees of freedom not above zero, a share or confidence not strictly
/// between 0 and 1; degrees of freedom so few that no factor can be found.
pub fn two_sided_factor(
    effective_size: f64,
    freedom: f64,
    share: f64,
    confidence: f64,
) -> Result<f64, BatchStatisticsError> {
    check(effective_size, freedom, share, confidence)?;
    let root = effective_size.sqrt();
    let (near, far) = (normal_point(1.0 - share), normal_point(0.5 * (1.0 - share)));
    let holds = |k: f64| {
        over_the_mean(0.0, &|x| {
            let half_width = half_width(x.abs() / root, share, (near, far));
            chi_square_upper(freedom, freedom * (half_width / k).powi(2))
        })
    };
    factor_above_zero(holds, confidence)
}

/// Factor `k` of the one-sided bound `mean + k s`, below which at least `share` lies
/// (or `mean - k s`, above which it does). Below zero where a small share is asked
/// for with little confidence.
///
/// Equal to the quantile of noncentral t over the root of the size (Owen 1968;
/// recalled from memory); found by the same integration as the two-sided factor.
///
/// # Errors
/// As [`two_sided_factor`].
pub fn one_sided_factor(
    effective_size: f64,
    freedom: f64,
    share: f64,
    confidence: f64,
) -> Result<f64, BatchStatisticsError> {
    check(effective_size, freedom, share, confidence)?;
    let root = effective_size.sqrt();
    let point = normal_point(1.0 - share);
    // What `k s` has to reach, in standard deviations, where the mean came out at x.
    let needed = |x: f64| point - x / root;
    let with_none = normal_upper(point * root);
    if (confidence - with_none).abs() <= SLACK {
        return Ok(0.0);
    }
    if confidence >= with_none {
        let holds = |k: f64| {
            over_the_mean(point * root, &|x| {
                let needed = needed(x).max(0.0);
                chi_square_upper(freedom, freedom * (needed / k).powi(2))
            })
        };
        factor_above_zero(holds, confidence)
    } else {
        let misses = |k: f64| {
            over_the_mean(point * root, &|x| {
                let spare = (-needed(x)).max(0.0);
                chi_square_upper(freedom, freedom * (spare / k).powi(2))
            })
        };
        Ok(-factor_above_zero(misses, 1.0 - confidence)?)
    }
}

fn check(
    effective_size: f64,
    freedom: f64,
    share: f64,
    confidence: f64,
) -> Result<(), BatchStatisticsError> {
    between("the effective size", effective_size, 0.0, LARGEST)?;
    between("the degrees of freedom", freedom, 0.0, LARGEST)?;
    between("the share", share, 0.0, 1.0)?;
    between("the confidence", confidence, 0.0, 1.0)?;
    Ok(())
}

/// Sizes and degrees of freedom beyond this are refused.
const LARGEST: f64 = 1e15;
/// The mean lies this many of its standard deviations off less than once in 1e17.
const FARTHEST: f64 = 8.5;
/// Error allowed in a probability.
const SLACK: f64 = 1e-12;

/// Mean of `f` over a standard normal variable. Near `steep` it may climb within next
/// to nothing.
fn over_the_mean(steep: f64, f: &impl Fn(f64) -> f64) -> f64 {
    let weighed = |x: f64| normal_density(x) * f(x);
    // In pieces, so that no narrow step hides between the places of the rule.
    let mut edges: Vec<f64> = (-8..=8).map(f64::from).collect();
    edges.extend([-FARTHEST, steep, FARTHEST]);
    for power in 1..=8 {
        let off = 10.0_f64.powi(-power);
        edges.extend([steep - off, steep + off]);
    }
    edges.retain(|edge| edge.abs() <= FARTHEST);
    edges.sort_unstable_by(f64::total_cmp);
    edges
        .iter()
        .zip(edges.iter().skip(1))
        .map(|(low, high)| integral(&weighed, *low, *high, SLACK))
        .sum()
}

/// The `k` at which a probability that grows with it reaches `confidence`.
fn factor_above_zero(
    probability: impl Fn(f64) -> f64,
    confidence: f64,
) -> Result<f64, BatchStatisticsError> {
    const STEPS: usize = 60;
    let off = |k: f64| probability(k.exp()) - confidence;
    let (mut low, mut high) = (0.0, 0.0);
    let (mut at_low, mut at_high) = (off(low), off(high));
    for step in 0.. {
        if at_high >= 0.0 && at_low <= 0.0 {
            break;
        }
        if step >= STEPS {
            return Err(BatchStatisticsError::NotSettled {
                what: "the tolerance factor",
                steps: STEPS,
            });
        }
        if at_high < 0.0 {
            (low, at_low) = (high, at_high);
            high += 1.0;
            at_high = off(high);
        } else {
            (high, at_high) = (low, at_low);
            low -= 1.0;
            at_low = off(low);
        }
    }
    // False position, halving the weight of an end that stays (the Illinois rule),
    // and halves wherever that is slower.
    for step in 0..STEPS {
        if high - low < 1e-11 {
            break;
        }
        let share = at_low / (at_low - at_high);
        let place = if step % 4 == 3 || !share.is_finite() {
            low.midpoint(high)
        } else {
            low + share.clamp(1e-3, 1.0 - 1e-3) * (high - low)
        };
        let at = off(place);
        if at == 0.0 {
            return Ok(place.exp());
        }
        if at < 0.0 {
            (low, at_low) = (place, at);
            at_high *= 0.5;
        } else {
            (high, at_high) = (place, at);
            at_low *= 0.5;
        }
    }
    Ok(low.midpoint(high).exp())
}

/// Half width of the interval about `mean` (in standard deviations from the middle
/// of the population, not below zero) that holds `share`. It lies between `mean`
/// plus the one-sided and `mean` plus the two-sided point of the normal
/// distribution.
fn half_width(mean: f64, share: f64, (near, far): (f64, f64)) -> f64 {
    let (mut low, mut high) = ((mean + near).max(0.0), mean + far);
    let mut width = high;
    for _ in 0..60 {
        let outside = normal_upper(width + mean) + normal_upper(width - mean) - (1.0 - share);
        if outside > 0.0 {
            low = width;
        } else {
            high = width;
        }
        let step = outside / (normal_density(width + mean) + normal_density(width - mean));
        let mut next = width + step;
        if !(low..=high).contains(&next) {
            next = low.midpoint(high);
        }
        if (next - width).abs() <= 1e-14 * (1.0 + width) {
            return next;
        }
        width = next;
    }
    width
}

/// The two-sided interval about an estimated centre.
///
/// # Errors
/// As [`two_sided_factor`]; a centre or standard deviation that is not finite.
pub fn tolerance_interval(
    centre: f64,
    sd: f64,
    effective_size: f64,
    freedom: f64,
    share: f64,
    confidence: f64,
) -> Result<ToleranceInterval, BatchStatisticsError> {
    finite("the centre", 0, centre)?;
    finite("the standard deviation", 0, sd)?;
    let factor = two_sided_factor(effective_size, freedom, share, confidence)?;
    Ok(ToleranceInterval {
        centre,
        sd,
        effective_size,
        freedom,
        share,
        confidence,
        factor,
        low: centre - factor * sd,
        high: centre + factor * sd,
    })
}

/// Degrees of freedom of a sum of independent mean squares, each `(term, freedom)`,
/// terms that are taken off negative (Satterthwaite 1946; recalled from memory).
///
/// # Errors
/// No terms; a sum not above zero; degrees of freedom not above zero.
pub fn satterthwaite(terms: &[(f64, f64)]) -> Result<f64, BatchStatisticsError> {
    enough("mean squares", terms.len(), 1)?;
    let sum = terms.iter().map(|(term, _)| term).sum();
    let sum: f64 = between("the sum of mean squares", sum, 0.0, f64::INFINITY)?;
    let mut variance = 0.0;
    for (term, freedom) in terms {
        let freedom = between("the degrees of freedom", *freedom, 0.0, f64::INFINITY)?;
        variance += (term / sum).powi(2) / freedom;
    }
    between("the degrees of freedom", 1.0 / variance, 0.0, f64::INFINITY)
}

/// The interval for the next probe, from an analysis of variance whose groups are
/// the probes of a batch.
///
/// The variance is a sum of the two mean squares with degrees of freedom after
/// [`satterthwaite`], so the confidence is approximate: for one reading it comes
/// within a percentage point or two; for the probe itself it is worse where probes
/// hardly differ more than readings do.
///
/// # Errors
/// As [`tolerance_interval`]; [`BatchStatisticsError::NoSpreadBetween`] for
/// [`NextProbe::Itself`] where no spread between probes can be seen.
pub fn next_probe(
    batch: &OneWay,
    next: NextProbe,
    share: f64,
    confidence: f64,
) -> Result<ToleranceInterval, BatchStatisticsError> {
    let members = batch.effective_members;
    let (between, within) = (&batch.between, &batch.within);
    let of_probe = (between.mean - within.mean) / members;
    if of_probe <= 0.0 && next == NextProbe::Itself {
        return Err(BatchStatisticsError::NoSpreadBetween {
            f: between.mean / within.mean,
        });
    }
    let terms = match next {
        NextProbe::Itself => vec![
            (between.mean / members, between.freedom as f64),
            (-within.mean / members, within.freedom as f64),
        ],
        NextProbe::OneReading if of_probe <= 0.0 => vec![(within.mean, within.freedom as f64)],
        NextProbe::OneReading => vec![
            (between.mean / members, between.freedom as f64),
            (within.mean * (1.0 - 1.0 / members), within.freedom as f64),
        ],
    };
    let freedom = satterthwaite(&terms)?;
    let variance: f64 = terms.iter().map(|(term, _)| term).sum();
    // Of the mean of all readings; for probes of unequal numbers of readings the sum
    // of their squares over N^2 is 1 / probes and something.
    let n = batch.observations as f64;
    let per_probe = 1.0 - members * between.freedom as f64 / n;
    let mean_variance = per_probe * of_probe.max(0.0) + within.mean / n;
    tolerance_interval(
        batch.mean,
        variance.sqrt(),
        variance / mean_variance,
        freedom,
        share,
        confidence,
    )
}

#[cfg(test)]
mod tests {
    use super::super::anova::one_way;
    use super::*;

    #[test]
    fn the_worked_example_of_the_nist_handbook_comes_out() {
        // NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: 43 wafers, 90 %
        // with 99 % confidence. One-sided by noncentral t 1.8740; two-sided by
        // Howe's approximation 2.217. Recalled from memory.
        let one = one_sided_factor(43.0, 42.0, 0.90, 0.99).expect("a factor");
        assert!((one - 1.8740).abs() < 5e-5, "{one}");
        let two = two_sided_factor(43.0, 42.0, 0.90, 0.99).expect("a factor");
        assert!((two - 2.217).abs() < 0.01, "{two}");
    }

    #[test]
    fn published_tables_come_out_to_their_last_digit() {
        // Two-sided: Odeh and Owen (1980), ISO 16269-6, 95 % with 95 % confidence;
        // one-sided: the same for one side (noncentral t). Recalled from memory.
        let table = [
            (2.0, 36.519, 26.260),
            (5.0, 5.077, 4.203),
            (10.0, 3.393, 2.911),
            (20.0, 2.760, 2.396),
            (30.0, 2.555, 2.220),
        ];
        for (n, two, one) in table {
            let got = two_sided_factor(n, n - 1.0, 0.95, 0.95).expect("a factor");
            assert!((got - two).abs() < 6e-4, "{n}: {got}");
            let got = one_sided_factor(n, n - 1.0, 0.95, 0.95).expect("a factor");
            assert!((got - one).abs() < 6e-4, "{n}: {got}");
        }
    }

    #[test]
    fn with_everything_known_the_factors_are_points_of_the_normal_distribution() {
        let two = two_sided_factor(1e14, 1e14, 0.95, 0.95).expect("a factor");
        assert!((two - 1.959_964).abs() < 1e-5, "{two}");
        let one = one_sided_factor(1e14, 1e14, 0.95, 0.95).expect("a factor");
        assert!((one - 1.644_854).abs() < 1e-5, "{one}");
        // With the spread known and a mean of four: z_P + z_gamma / 2.
        let one = one_sided_factor(4.0, 1e14, 0.9, 0.95).expect("a factor");
        assert!((one - (1.281_552 + 0.5 * 1.644_854)).abs() < 1e-5, "{one}");
    }

    #[test]
    fn a_small_share_with_little_confidence_has_a_factor_below_zero() {
        // Bounds of a share and of its complement are one another's mirror image.
        let down = one_sided_factor(10.0, 9.0, 0.05, 0.01).expect("a factor");
        let up = one_sided_factor(10.0, 9.0, 0.95, 0.99).expect("a factor");
        assert!((down + up).abs() < 1e-8, "{down} {up}");
        assert_eq!(one_sided_factor(10.0, 9.0, 0.5, 0.5), Ok(0.0));
        // Near nothing it grows in proportion: 1 / (density, mean spread, root of 10).
        let little = one_sided_factor(10.0, 9.0, 0.5, 0.5 + 1e-6).expect("a factor");
        let expected = 1e-6 / (0.398_942_280 * 0.972_659 * 10.0_f64.sqrt());
        assert!(
            (little / expected - 1.0).abs() < 1e-4,
            "{little} {expected}"
        );
    }

    #[test]
    fn what_no_factor_can_be_found_for_is_refused() {
        for (size, freedom, share, confidence) in [
            (0.0, 9.0, 0.9, 0.9),
            (10.0, f64::NAN, 0.9, 0.9),
            (10.0, 9.0, 1.0, 0.9),
            (10.0, 9.0, 0.9, 0.0),
            (f64::INFINITY, 9.0, 0.9, 0.9),
        ] {
            assert!(two_sided_factor(size, freedom, share, confidence).is_err());
            assert!(one_sided_factor(size, freedom, share, confidence).is_err());
        }
        assert!(two_sided_factor(3.0, 1e-3, 0.9, 0.95).is_err());
        assert!(tolerance_interval(f64::NAN, 1.0, 9.0, 8.0, 0.9, 0.9).is_err());
    }

    #[test]
    fn satterthwaite_adds_like_with_like() {
        assert!((satterthwaite(&[(0.3, 7.0)]).expect("one") - 7.0).abs() < 1e-12);
        // Two equal terms of equal freedom have twice as much.
        let two = satterthwaite(&[(0.3, 7.0), (0.3, 7.0)]).expect("two");
        assert!((two - 14.0).abs() < 1e-12);
        assert!(satterthwaite(&[]).is_err());
        assert!(satterthwaite(&[(0.3, 7.0), (-0.3, 7.0)]).is_err());
    }

    #[test]
    fn the_next_reading_of_single_readings_is_the_next_of_a_plain_sample() {
        // Three probes, the first two read twice to the same value: nearly one
        // reading a probe, so both kinds of interval are those of a sample.
        let batch = one_way(&[[0.01, 0.01 + 1e-9], [0.03, 0.03], [0.02, 0.02]]).expect("a batch");
        let plain = tolerance_interval(0.02, 0.01, 3.0, 2.0, 0.9, 0.95).expect("an interval");
        let itself = next_probe(&batch, NextProbe::Itself, 0.9, 0.95).expect("an interval");
        assert!(
            (itself.high - plain.high).abs() < 1e-6,
            "{itself:?} {plain:?}"
        );
        let reading = next_probe(&batch, NextProbe::OneReading, 0.9, 0.95).expect("an interval");
        assert!((reading.high - plain.high).abs() < 1e-6, "{reading:?}");
    }

    #[test]
    fn probes_that_do_not_differ_have_an_interval_for_readings_alone() {
        let batch = one_way(&[[0.01, 0.03], [0.02, 0.02]]).expect("a batch");
        assert!(matches!(
            next_probe(&batch, NextProbe::Itself, 0.9, 0.95),
            Err(BatchStatisticsError::NoSpreadBetween { f }) if f < 1e-20
        ));
        let reading = next_probe(&batch, NextProbe::OneReading, 0.9, 0.95).expect("an interval");
        assert_eq!(reading.freedom, 2.0);
        assert!((reading.effective_size - 4.0).abs() < 1e-12);
    }
}
