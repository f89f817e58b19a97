//! The whole study.

use super::bias::Bias;
use super::bootstrap::{Bootstrap, Bootstrapped};
use super::class::{Basis, ClassRequest, ClassStatement};
use super::error::AccuracyError;
use super::limits::Limits;
use super::measures::Measures;
use super::notice::Notice;
use super::proportional::ProportionalBias;
use super::reference_error::ReferenceError;
use super::sample::Sample;
use super::strata::{Division, Stratum, by_name, by_range};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// What is asked of a study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StudyRequest {
    /// The user's target, m3/m3.
    pub target: Option<f64>,
    /// Share of readings that must be within it.
    pub share: f64,
    /// Confidence of intervals (two-sided) and of bounds (one-sided).
    pub confidence: f64,
    /// What class and verdict rest on.
    pub basis: Basis,
    /// Cuts between moisture ranges, m3/m3; terciles of the reference where empty.
    pub moisture_cuts: Vec<f64>,
    /// Cuts between temperature ranges, C; terciles where empty.
    pub temperature_cuts: Vec<f64>,
    /// Bootstrap replicates.
    pub replicates: usize,
    /// Seed of the bootstrap.
    pub seed: u64,
}

/// How good the readings are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AccuracyStudy {
    /// What was asked.
    pub request: StudyRequest,
    /// Pairs.
    pub pairs: usize,
    /// Clusters.
    pub clusters: usize,
    /// Probes, in order of name.
    pub probes: Vec<String>,
    /// Soils, in order of name.
    pub soils: Vec<String>,
    /// Measures of agreement.
    pub measures: Measures,
    /// The mean difference and its test.
    pub bias: Option<Bias>,
    /// Limits of agreement.
    pub limits: Option<Limits>,
    /// Whether the difference changes with the water content.
    pub proportional: Option<ProportionalBias>,
    /// What is the reference's own error.
    pub reference_error: Option<ReferenceError>,
    /// Intervals of the measures by clusters.
    pub bootstrap: Option<Bootstrapped>,
    /// Class and target.
    pub class: Option<ClassStatement>,
    /// By moisture, soil, probe, temperature; a division with one stratum is left out.
    pub strata: Vec<Stratum>,
    /// What to know before using these figures; says too why a part is `None`.
    pub notices: Vec<Notice>,
}

/// Part of the mean square difference above which the reference is said to take up much
/// of what is seen (our choice).
const MUCH: f64 = 0.5;

/// Standard errors of skewness and of excess kurtosis beyond which differences are said
/// not to look normal (our choice: some one sample in a hundred that is normal).
const NOT_NORMAL: (f64, f64) = (2.6, 3.5);

/// Fewest pairs that are looked at for that.
const FEWEST_FOR_SHAPE: usize = 20;

impl Default for StudyRequest {
    /// No target; 90 % of readings with 95 % confidence, by normal theory; terciles.
    fn default() -> Self {
        Self {
            target: None,
            share: 0.9,
            confidence: 0.95,
            basis: Basis::Normal,
            moisture_cuts: Vec::new(),
            temperature_cuts: Vec::new(),
            replicates: 1_999,
            seed: 1_986,
        }
    }
}

/// Studies how `samples` agree with their references. Parts that need more samples than
/// there are stay `None`, and a notice says why.
///
/// # Errors
/// Where nothing can be told at all: [`AccuracyError::TooFewPairs`],
/// [`AccuracyError::NotFinite`]; and for a request that is none:
/// [`AccuracyError::Target`], [`AccuracyError::Level`], [`AccuracyError::Cuts`].
pub fn study(samples: &[Sample], request: &StudyRequest) -> Result<AccuracyStudy, AccuracyError> {
    let asked = ClassRequest {
        target: request.target,
        share: request.share,
        confidence: request.confidence,
        basis: request.basis,
    };
    asked.check()?;
    let confidence = request.confidence;
    let measures = Measures::of(samples)?;
    let names = |name: fn(&Sample) -> &str| -> Vec<String> {
        let names: BTreeSet<&str> = samples.iter().map(name).collect();
        names.into_iter().map(str::to_owned).collect()
    };
    let soil: fn(&Sample) -> &str = |sample| &sample.soil;
    let probe: fn(&Sample) -> &str = |sample| &sample.probe;
    let mut strata = by_range(
        samples,
        Division::Moisture,
        &request.moisture_cuts,
        confidence,
    )?;
    strata.extend(by_name(samples, Division::Soil, soil, confidence));
    strata.extend(by_name(samples, Division::Probe, probe, confidence));
    strata.extend(by_range(
        samples,
        Division::Temperature,
        &request.temperature_cuts,
        confidence,
    )?);

    let mut notices = Vec::new();
    let bias = kept(
        "test of the bias",
        Bias::of(samples, confidence),
        &mut notices,
    );
    let limits = kept(
        "limits of agreement",
        Limits::of(samples, confidence),
        &mut notices,
    );
    let proportional = kept(
        "test of proportional bias",
        ProportionalBias::of(samples, confidence),
        &mut notices,
    );
    let drawing = Bootstrap {
        replicates: request.replicates,
        seed: request.seed,
        confidence,
    };
    let bootstrap = kept(
        "intervals of the measures",
        drawing.of(samples),
        &mut notices,
    );
    let reference_error = kept(
        "correction for the reference's error",
        ReferenceError::of(samples, bootstrap.as_ref()),
        &mut notices,
    );
    let class = kept(
        "accuracy class",
        ClassStatement::of(samples, &asked),
        &mut notices,
    );
    let probes = names(probe);
    notices.extend(noticed(
        samples,
        &measures,
        reference_error.as_ref(),
        probes.len(),
    ));
    Ok(AccuracyStudy {
        request: request.clone(),
        pairs: measures.pairs,
        clusters: measures.clusters,
        probes,
        soils: names(soil),
        measures,
        bias,
        limits,
        proportional,
        reference_error,
        bootstrap,
        class,
        strata,
        notices,
    })
}

/// The part, or `None` and a notice why.
fn kept<T>(part: &str, found: Result<T, AccuracyError>, notices: &mut Vec<Notice>) -> Option<T> {
    found
        .map_err(|why| {
            notices.push(Notice::Withheld {
                part: part.to_owned(),
                why,
            });
        })
        .ok()
}

fn noticed(
    samples: &[Sample],
    measures: &Measures,
    reference: Option<&ReferenceError>,
    probes: usize,
) -> Vec<Notice> {
    let mut notices = Vec::new();
    if measures.clusters < measures.pairs {
        notices.push(Notice::Clustered {
            pairs: measures.pairs,
            clusters: measures.clusters,
        });
    }
    if probes < 3 {
        notices.push(Notice::FewProbes { probes });
    }
    if let Some(reference) = reference {
        let percent = 100.0 * reference.part_of_mean_square;
        if reference.u == 0.0 {
            notices.push(Notice::ReferenceUncertaintyMissing);
        } else if reference.unbiased_rmse.floored || reference.rmse.floored {
            notices.push(Notice::ReferenceExplainsAll {
                u: reference.u,
                seen: reference.unbiased_rmse.observed,
            });
        } else if reference.part_of_mean_square > MUCH {
            notices.push(Notice::ReferenceDominates { percent });
        }
    }
    let n = samples.len() as f64;
    let mean_power = |power: i32| {
        samples
            .iter()
            .map(|sample| (sample.difference() - measures.bias).powi(power))
            .sum::<f64>()
            / n
    };
    let variance = mean_power(2);
    if samples.len() >= FEWEST_FOR_SHAPE && variance > 0.0 {
        let skewness = mean_power(3) / variance.powf(1.5);
        let kurtosis = mean_power(4) / (variance * variance) - 3.0;
        let skewed = skewness.abs() > NOT_NORMAL.0 * (6.0 / n).sqrt();
        if skewed || kurtosis > NOT_NORMAL.1 * (24.0 / n).sqrt() {
            notices.push(Notice::NotNormal { skewness, kurtosis });
        }
    }
    notices
}
