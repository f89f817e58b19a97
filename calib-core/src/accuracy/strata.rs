//! The same by moisture, soil, probe and temperature.

use super::bias::Bias;
use super::error::AccuracyError;
use super::limits::Limits;
use super::measures::Measures;
use serde::{Deserialize, Serialize};

/// What the samples are divided by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Division {
    /// The reference's water content.
    Moisture,
    /// The soil.
    Soil,
    /// The probe.
    Probe,
    /// The soil temperature.
    Temperature,
}

/// The samples of one stratum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stratum {
    /// What was divided by.
    pub division: Division,
    /// Soil or probe; `None` for a range.
    pub name: Option<String>,
    /// Lower end of the range (m3/m3 or C), inclusive; `None` for a name.
    pub low: Option<f64>,
    /// Upper end, exclusive but for the last range; `None` for a name.
    pub high: Option<f64>,
    /// Pairs in it.
    pub pairs: usize,
    /// Clusters in it.
    pub clusters: usize,
    /// Measures; `None` where there are too few pairs (see `missing`). R2 and
    /// Nash-Sutcliffe fall in a narrow range of themselves, with no worse a probe.
    pub measures: Option<Measures>,
    /// Mean difference with interval and test; `None` as above.
    pub bias: Option<Bias>,
    /// Limits of agreement; `None` as above.
    pub limits: Option<Limits>,
    /// Why parts are missing.
    pub missing: Vec<AccuracyError>,
}
