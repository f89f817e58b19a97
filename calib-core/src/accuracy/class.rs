//! Accuracy class and target: with which confidence at least which share of readings
//! is within so much of the core.
//!
//! By counting, nothing is assumed: the share within is binomial, its bounds those of
//! Clopper and Pearson (1934, Biometrika 26:404). Where clusters have several pairs, the
//! number of pairs is brought down to the effective one (Korn and Graubard 1998, Survey
//! Methodology 24:193); to the number of clusters where all or none are within. Both
//! recalled from memory.
//!
//! By normal theory fewer cores are needed: see `by_theory.rs`.
//!
//! Differences are taken as they are, the reference's own error included: a target met
//! so is met without it too.

use super::by_theory::ByTheory;
use super::clustered::{mean, t_quantile};
use super::error::AccuracyError;
use super::sample::{Sample, check, cluster_numbers};
use super::spread::Spread;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{Beta, ContinuousCDF};

/// Half widths of the accuracy classes, m3/m3. Our own ladder; no standard sets one.
pub const LADDER: [f64; 6] = [0.01, 0.015, 0.02, 0.03, 0.05, 0.1];

/// What the bound of a share rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Differences are normal, with any mean.
    #[default]
    Normal,
    /// Nothing is assumed; readings within the target are counted.
    Counted,
}

/// Whether a target is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// With the confidence asked for, at least the share asked for is within it.
    Meets,
    /// With the confidence asked for, less than that share is.
    DoesNotMeet,
    /// Neither can be said of these cores.
    NotSettled,
}

/// Share of readings within a target.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Share {
    /// Best estimate.
    pub estimate: f64,
    /// Lower bound with the confidence asked for (one-sided).
    pub lower: f64,
    /// Upper bound with the confidence asked for (one-sided).
    pub upper: f64,
}

/// What can be said of one target.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TargetStatement {
    /// Half width, m3/m3: a reading is good if it is within this of the core.
    pub target: f64,
    /// Readings within it.
    pub within: usize,
    /// Of how many.
    pub of: usize,
    /// By counting (Clopper and Pearson 1934; with clusters by the effective number).
    pub counted: Share,
    /// By normal theory.
    pub normal: Share,
    /// The verdict, on the basis asked for.
    pub verdict: Verdict,
    /// Where not settled: how many more places (or cores) would settle it if they were
    /// like these; `None` where settled, or where more than [`MOST_MORE`] are needed.
    pub more_clusters: Option<usize>,
}

/// The accuracy class of the readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClassStatement {
    /// Share of readings that must be within the target.
    pub share: f64,
    /// Confidence of every bound, one-sided.
    pub confidence: f64,
    /// What the verdicts rest on.
    pub basis: Basis,
    /// The user's target, where there is one.
    pub target: Option<TargetStatement>,
    /// Every class of [`LADDER`], narrowest first.
    pub ladder: Vec<TargetStatement>,
    /// The narrowest class met, all wider ones being met too; `None` if not even the
    /// widest is.
    pub class: Option<f64>,
    /// The half width that is just met: [`ClassStatement::share`] of readings are
    /// within it with the confidence asked for, by normal theory, m3/m3.
    pub just_met: f64,
}

/// Most further places that a verdict is looked for with.
pub const MOST_MORE: usize = 10_000;

/// Fewest clusters that a class or a target is judged by (our choice), as for the
/// bootstrap: with fewer, all rests on differences being normal, which so few cannot
/// show. Of 5 that are all within a target, counting says only that 55 % or more are,
/// with 95 % confidence.
pub const FEWEST_FOR_CLASS: usize = 8;

/// What a class is asked by.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClassRequest {
    /// The user's target, m3/m3, where there is one.
    pub target: Option<f64>,
    /// Share of readings that must be within it, 0.5 to 0.999.
    pub share: f64,
    /// Confidence of every bound, one-sided, 0.5 to 0.999.
    pub confidence: f64,
    /// What the verdicts rest on.
    pub basis: Basis,
}

impl ClassRequest {
    /// # Errors
    /// [`AccuracyError::Target`] or [`AccuracyError::Level`] for what is none.
    pub fn check(&self) -> Result<(), AccuracyError> {
        if let Some(target) = self.target.filter(|t| !(*t > 0.0 && *t < 1.0)) {
            return Err(AccuracyError::Target { target });
        }
        for (what, value) in [("share", self.share), ("confidence", self.confidence)] {
            if !(0.5..=0.999).contains(&value) {
                return Err(AccuracyError::Level {
                    what: what.into(),
                    value,
                });
            }
        }
        Ok(())
    }
}

impl ClassStatement {
    /// The class of `samples`, and what can be said of the target.
    ///
    /// # Errors
    /// Those of [`ClassRequest::check`]; [`AccuracyError::TooFewClusters`] below
    /// [`FEWEST_FOR_CLASS`], [`AccuracyError::NoScatter`], [`AccuracyError::NotFinite`].
    pub fn of(samples: &[Sample], request: &ClassRequest) -> Result<Self, AccuracyError> {
        let seen = Seen::of(samples, request)?;
        let ladder: Vec<TargetStatement> = LADDER.iter().map(|t| seen.statement(*t)).collect();
        let class = ladder
            .iter()
            .rev()
            .take_while(|step| step.verdict == Verdict::Meets)
            .last()
            .map(|step| step.target);
        Ok(Self {
            share: request.share,
            confidence: request.confidence,
            basis: request.basis,
            target: request.target.map(|target| seen.statement(target)),
            just_met: seen.by_theory.just_met(request.share, request.confidence),
            ladder,
            class,
        })
    }

    /// The verdict on the target alone, without all the rest; [`Verdict::NotSettled`]
    /// where none was asked for.
    ///
    /// # Errors
    /// As [`ClassStatement::of`].
    pub fn verdict(samples: &[Sample], request: &ClassRequest) -> Result<Verdict, AccuracyError> {
        let seen = Seen::of(samples, request)?;
        Ok(request
            .target
            .map_or(Verdict::NotSettled, |target| seen.verdict(target, 1.0)))
    }
}

/// The differences with what they are judged by.
struct Seen {
    differences: Vec<f64>,
    cluster: Vec<usize>,
    clusters: usize,
    by_theory: ByTheory,
    request: ClassRequest,
}

impl Seen {
    fn of(samples: &[Sample], request: &ClassRequest) -> Result<Self, AccuracyError> {
        request.check()?;
        check(samples, FEWEST_FOR_CLASS)?;
        let (cluster, clusters) = cluster_numbers(samples);
        if clusters < FEWEST_FOR_CLASS {
            return Err(AccuracyError::TooFewClusters {
                clusters,
                needed: FEWEST_FOR_CLASS,
                purpose: "a class".into(),
            });
        }
        let differences: Vec<f64> = samples.iter().map(Sample::difference).collect();
        let spread =
            Spread::of(&differences, &cluster, clusters).ok_or(AccuracyError::NoScatter)?;
        Ok(Self {
            differences,
            cluster,
            clusters,
            by_theory: ByTheory::of(spread),
            request: *request,
        })
    }

    /// The verdict with `factor` times as many clusters like these.
    fn verdict(&self, target: f64, factor: f64) -> Verdict {
        let ClassRequest {
            share,
            confidence,
            basis,
            ..
        } = self.request;
        match basis {
            Basis::Normal if factor == 1.0 => self.by_theory.verdict(target, share, confidence),
            Basis::Normal => self
                .by_theory
                .grown(factor)
                .verdict(target, share, confidence),
            Basis::Counted => {
                let (estimate, effective) = self.counts(target);
                judged(counted(estimate, effective * factor, confidence), share)
            }
        }
    }

    /// Share within, and the number of independent pairs it is worth.
    fn counts(&self, target: f64) -> (f64, f64) {
        let inside: Vec<f64> = self
            .differences
            .iter()
            .map(|d| f64::from(u8::from(d.abs() <= target)))
            .collect();
        let within: f64 = inside.iter().sum();
        (within / inside.len() as f64, self.effective(&inside))
    }

    fn statement(&self, target: f64) -> TargetStatement {
        let (estimate, effective) = self.counts(target);
        let confidence = self.request.confidence;
        let verdict = self.verdict(target, 1.0);
        let clusters = self.clusters as f64;
        let settles = |more: usize| {
            let factor = (clusters + more as f64) / clusters;
            self.verdict(target, factor) != Verdict::NotSettled
        };
        let open = verdict == Verdict::NotSettled;
        TargetStatement {
            target,
            within: (estimate * self.differences.len() as f64).round() as usize,
            of: self.differences.len(),
            counted: counted(estimate, effective, confidence),
            normal: self.by_theory.share(target, confidence),
            verdict,
            more_clusters: if open { fewest_more(settles) } else { None },
        }
    }

    /// Number of independent pairs that would fix the share as well.
    fn effective(&self, inside: &[f64]) -> f64 {
        let n = inside.len() as f64;
        if self.clusters == inside.len() {
            return n;
        }
        match mean(inside, &self.cluster, self.clusters) {
            // All within, or none: nothing is seen of how alike they are.
            None => self.clusters as f64,
            Some(found) => {
                let p = found.value;
                let fewer = t_quantile(self.request.confidence, n - 1.0)
                    / t_quantile(self.request.confidence, found.degrees_of_freedom);
                let effective = p * (1.0 - p) / found.standard_error.powi(2) * fewer.powi(2);
                effective.clamp(1.0, n)
            }
        }
    }
}

/// Fewest further clusters with which `settled`, up to [`MOST_MORE`].
fn fewest_more(settled: impl Fn(usize) -> bool) -> Option<usize> {
    let mut high = 1;
    while !settled(high) {
        if high >= MOST_MORE {
            return None;
        }
        high = (2 * high).min(MOST_MORE);
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if settled(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

fn judged(share: Share, needed: f64) -> Verdict {
    if share.lower >= needed {
        Verdict::Meets
    } else if share.upper < needed {
        Verdict::DoesNotMeet
    } else {
        Verdict::NotSettled
    }
}

/// Bounds of a share by counting among `n` independent pairs (any fraction).
fn counted(estimate: f64, n: f64, confidence: f64) -> Share {
    let within = estimate * n;
    let quantile = |a: f64, b: f64, p: f64| Beta::new(a, b).map(|beta| beta.inverse_cdf(p)).ok();
    let lower = if within <= 0.0 {
        Some(0.0)
    } else if estimate >= 1.0 {
        // In closed form, which the general one only approaches.
        Some((1.0 - confidence).powf(1.0 / n))
    } else {
        quantile(within, n - within + 1.0, 1.0 - confidence)
    };
    let upper = if estimate >= 1.0 {
        Some(1.0)
    } else if within <= 0.0 {
        Some(1.0 - (1.0 - confidence).powf(1.0 / n))
    } else {
        quantile(within + 1.0, n - within, confidence)
    };
    Share {
        estimate,
        lower: lower.unwrap_or(0.0),
        upper: upper.unwrap_or(1.0),
    }
}
