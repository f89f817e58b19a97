//! Cores that were fitted and tested on.

use serde::{Deserialize, Serialize};

/// How a core was recognised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Recognised {
    /// Same identifier, same values.
    ByNameAndValues,
    /// Same identifier, other values: perhaps another core of that name.
    ByName,
    /// Another identifier, but equal theta_v beside an equal count.
    ByValues,
}

/// A core among those to test on that was fitted too.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SharedCore {
    /// As named among those to test on.
    pub tested: String,
    /// As named among those fitted.
    pub fitted: String,
    /// How it was recognised.
    pub recognised: Recognised,
    /// theta_v of the one to test on, m3/m3.
    pub theta_v: f64,
    /// Count beside it.
    pub count: f64,
}

/// Cores in both sets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Leakage {
    /// Each core to test on that was fitted, once.
    pub shared: Vec<SharedCore>,
    /// How many would be alike in values by chance, judged by how many are nearly so.
    pub by_chance: f64,
}
