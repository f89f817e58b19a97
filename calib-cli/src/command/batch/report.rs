//! The answer, as JSON has it.

use super::study::SoilStudy;
use crate::failure::{Verdict, Warning};
use crate::workbench::SourceFile;
use calib_core::batch::{BatchError, Circumstances, SoilsOneCurve};
use schemars::JsonSchema;
use serde::Serialize;

/// What the command found.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    pub format: &'static str,
    pub version: u32,
    pub sources: Vec<SourceFile>,
    pub asked: Circumstances,
    /// Margin within which batches count as alike, m3/m3.
    pub margin: f64,
    pub currency: Option<String>,
    pub root_depth: RootDepth,
    pub soils: Vec<SoilStudy>,
    /// Whether several soils may be taken as one, where there are several.
    pub together: Option<SoilsTogether>,
    pub warnings: Vec<Warning>,
    pub written: Vec<String>,
}

impl Answer {
    /// Good if some way of calibrating is within the target in every soil.
    pub fn verdict(&self) -> Verdict {
        if self
            .soils
            .iter()
            .all(|study| study.decision.advice.is_some())
        {
            Verdict::Good
        } else {
            Verdict::Unfit
        }
    }
}

/// Depth of the root zone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(super) struct RootDepth {
    pub mm: f64,
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
