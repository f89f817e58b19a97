//! One reading beside one core that the calibration did not see.

use super::error::AccuracyError;
use crate::calibration::{Calibration, ConvertError};
use crate::pair::Pair;
use crate::quantity::{Celsius, Estimate, Quantity, Vwc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What is taken for independent of one another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ClusterBy {
    /// Places, and cores where no place is stated.
    #[default]
    Place,
    /// Cores, whatever their place. Only for places known to have nothing in common.
    Core,
    /// Probes: the study then speaks of probes of the kind.
    Probe,
    /// Soils: the study then speaks of soils like these, of which there must be several.
    Soil,
}

impl ClusterBy {
    /// The cluster of a pair.
    pub fn of(self, pair: &Pair) -> &str {
        match self {
            ClusterBy::Place => pair.cluster(),
            ClusterBy::Core => pair.core(),
            ClusterBy::Probe => &pair.probe,
            ClusterBy::Soil => &pair.soil,
        }
    }
}

/// A reading turned into theta_v, beside the core it is held against.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sample {
    /// The core's identifier.
    pub core: String,
    /// What it is alike with (see [`ClusterBy`]).
    pub cluster: String,
    /// The soil's identifier.
    pub soil: String,
    /// The probe's identifier.
    pub probe: String,
    /// Count as read.
    pub count: f64,
    /// Soil temperature, where logged.
    pub temperature: Option<Celsius>,
    /// theta_v of the core, m3/m3; `u` is the part that differs from core to core.
    pub reference: Estimate<Vwc>,
    /// Relative standard uncertainty of the core's volume, shared by all cores.
    pub relative_volume_u: f64,
    /// theta_v that the calibration gives for the count, m3/m3.
    pub reading: f64,
    /// Standard uncertainty the calibration claims for it, m3/m3, where known.
    pub reading_u: Option<f64>,
}

impl Sample {
    /// The pair as `calibration` reads it.
    ///
    /// # Errors
    /// [`ConvertError`] where the calibration has no value for the count, above all
    /// outside the counts it was calibrated for. Count such readings apart.
    pub fn of(
        pair: &Pair,
        calibration: &Calibration,
        cluster_by: ClusterBy,
    ) -> Result<Self, ConvertError> {
        let seen = &pair.observation;
        let count = seen.count.value;
        let said = calibration.predict(count, seen.temperature)?;
        let at_reference = calibration.count_at_reference(count, seen.temperature)?;
        let by_count = calibration.curve.slope(at_reference) * seen.count.u;
        Ok(Self {
            core: pair.core().to_owned(),
            cluster: cluster_by.of(pair).to_owned(),
            soil: pair.soil.clone(),
            probe: pair.probe.clone(),
            count,
            temperature: seen.temperature,
            reference: seen.theta_v,
            relative_volume_u: seen.relative_volume_u,
            reading: said.theta_v.value(),
            reading_u: Some(said.expanded.standard.hypot(by_count)),
        })
    }

    /// Reading minus reference, m3/m3.
    pub fn difference(&self) -> f64 {
        self.reading - self.reference_value()
    }

    pub(super) fn reference_value(&self) -> f64 {
        self.reference.value.value()
    }
}

/// An interval that holds the true value with a stated confidence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Confidence, e.g. 0.95.
    pub confidence: f64,
}

impl Interval {
    /// Whether `value` lies inside, ends included.
    pub fn holds(&self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
}

/// All numbers finite, uncertainties not negative, and at least `needed` pairs.
pub(super) fn check(samples: &[Sample], needed: usize) -> Result<(), AccuracyError> {
    for sample in samples {
        let good = sample.reading.is_finite()
            && sample.reference.u.is_finite()
            && sample.reference.u >= 0.0
            && sample.relative_volume_u.is_finite()
            && sample.relative_volume_u >= 0.0;
        if !good {
            return Err(AccuracyError::NotFinite {
                core: sample.core.clone(),
                probe: sample.probe.clone(),
            });
        }
    }
    if samples.len() < needed {
        return Err(AccuracyError::TooFewPairs {
            pairs: samples.len(),
            needed,
        });
    }
    Ok(())
}

/// The cluster of each sample as a number from 0, and how many there are.
pub(super) fn cluster_numbers(samples: &[Sample]) -> (Vec<usize>, usize) {
    let mut known = std::collections::HashMap::new();
    let numbers = samples
        .iter()
        .map(|sample| {
            let next = known.len();
            *known.entry(sample.cluster.as_str()).or_insert(next)
        })
        .collect();
    (numbers, known.len())
}
