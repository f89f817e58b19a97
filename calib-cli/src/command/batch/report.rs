//! The answer, as JSON has it.

use super::study::SoilStudy;
use crate::failure::{Verdict, Warning};
use crate::workbench::SourceFile;
use calib_core::batch::{BatchError, Circumstances, SoilsOneCurve};
use schemars::JsonSchema;
use serde::Serialize;

/// What the command found.
#[derive(Serialize, JsonSchema)]
pub(in crate::command) struct Answer {
    pub(super) format: &'static str,
    pub(super) version: u32,
    /// Good if some way of calibrating is within the target in every soil.
    pub(super) verdict: Verdict,
    pub(super) sources: Vec<SourceFile>,
    pub(super) asked: Circumstances,
    /// Margin within which batches count as alike, m3/m3.
    pub(super) margin: f64,
    pub(super) currency: Option<String>,
    pub(super) root_depth: RootDepth,
    pub(super) soils: Vec<SoilStudy>,
    /// Whether several soils may be taken as one, where there are several.
    pub(super) together: Option<SoilsTogether>,
    pub(super) warnings: Vec<Warning>,
    pub(super) written: Vec<String>,
}

/// Depth of the root zone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(super) struct RootDepth {
    /// The depth, mm.
    pub mm: f64,
    /// Who says so.
    pub said_by: &'static str,
}

/// Several soils on one curve, or why that cannot be said.
#[derive(Serialize, JsonSchema)]
pub(super) struct SoilsTogether {
    #[serde(flatten)]
    pub found: Option<SoilsReport>,
    pub refused: Option<Refused>,
}

/// What the test of several soils says.
#[derive(Serialize, JsonSchema)]
pub(super) struct SoilsReport {
    pub soils: Vec<String>,
    pub curve: &'static str,
    pub tests: Vec<calib_core::batch::SharingTest>,
    /// Mean deviation of each soil from the curve through all, m3/m3.
    pub offsets: Vec<f64>,
    pub one_curve: bool,
}

/// Why something cannot be said, and what to do about it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(super) struct Refused {
    pub reason: String,
    pub mend: String,
}

impl SoilsTogether {
    pub fn of(found: Result<SoilsOneCurve, BatchError>) -> Self {
        match found {
            Ok(found) => Self {
                found: Some(SoilsReport {
                    soils: found.soils,
                    curve: found.choice.fit.curve.kind.key(),
                    tests: found.tests,
                    offsets: found.offsets,
                    one_curve: found.one_curve,
                }),
                refused: None,
            },
            Err(error) => Self {
                found: None,
                refused: Some(Refused {
                    reason: error.to_string(),
                    mend: error.mend(),
                }),
            },
        }
    }
}
