//! Why there is no calibration.

use crate::curve::{CurveError, CurveKind};

/// Why a curve could not be fitted, or not be used. `Display` says what is
/// wrong, [`mend`](FitError::mend) what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FitError {
    /// Fewer cores than the curve needs, with at least one to spare.
    #[error(
        "{cores} cores are too few for the {kind}: it has {parameters} parameters and needs at least {needed} cores"
    )]
    TooFewCores {
        /// The curve.
        kind: CurveKind,
        /// Cores given.
        cores: usize,
        /// Parameters to fit, the temperature coefficient included.
        parameters: usize,
        /// Cores needed.
        needed: usize,
    },
    /// Fewer moisture levels than curve parameters.
    #[error("{levels} moisture levels cannot fix the {kind}: it needs at least {needed}")]
    TooFewLevels {
        /// The curve.
        kind: CurveKind,
        /// Distinct levels given.
        levels: usize,
        /// Levels needed.
        needed: usize,
    },
    /// The points do not fix start values.
    #[error(transparent)]
    Start(#[from] CurveError),
    /// The search for the parameters did not settle.
    #[error("the search for the {kind} did not settle after {steps} steps")]
    NotSettled {
        /// The curve.
        kind: CurveKind,
        /// Steps tried.
        steps: usize,
    },
    /// The data leave a combination of parameters open.
    #[error(
        "the data do not fix parameter {parameter} of the {kind} (condition number {condition:.1e}, limit {limit:.0e})"
    )]
    IllConditioned {
        /// The curve.
        kind: CurveKind,
        /// The parameter with the largest part in the open combination.
        parameter: String,
        /// Condition number of the design with unit columns.
        condition: f64,
        /// Largest condition number accepted.
        limit: f64,
    },
    /// The fitted curve rises and falls inside the calibrated counts, so one
    /// water content would have two counts.
    #[error("the {kind} turns at {turning:.0} counts, inside the calibrated {low:.0} to {high:.0}")]
    NotMonotone {
        /// The curve.
        kind: CurveKind,
        /// Where it turns.
        turning: f64,
        /// Lowest calibrated count.
        low: f64,
        /// Highest calibrated count.
        high: f64,
    },
    /// The curve reaches water contents no soil has.
    #[error("the {kind} gives theta_v {theta:.3} m3/m3 at {count:.0} counts, which no soil has")]
    Implausible {
        /// The curve.
        kind: CurveKind,
        /// The water content.
        theta: f64,
        /// Where.
        count: f64,
    },
    /// Counts and water contents are unrelated as far as the data show.
    #[error(
        "theta_v changes by only {change:.4} m3/m3 over the calibrated counts, less than the {resolvable:.4} m3/m3 by which the cores scatter"
    )]
    NoResponse {
        /// Change of theta_v over the domain.
        change: f64,
        /// Twice the scatter of the cores.
        resolvable: f64,
    },
    /// The probe's counts hardly move from the driest core to the wettest.
    #[error(
        "counts move by only {span:.1} from core to core, and each is known to +- {u:.1}: the probe does not feel the water"
    )]
    CountsStandStill {
        /// Highest count less lowest.
        span: f64,
        /// Standard uncertainty of the count beside a core, the middle one.
        u: f64,
    },
    /// No curve of the family passed.
    #[error("no curve fits: {}", list(reasons))]
    NoCurve {
        /// Each curve with what spoke against it.
        reasons: Vec<FitError>,
    },
}

impl FitError {
    /// Whether nothing is wrong but that there are too few cores, levels or
    /// different counts.
    pub fn is_shortage(&self) -> bool {
        match self {
            FitError::TooFewCores { .. }
            | FitError::TooFewLevels { .. }
            | FitError::Start(CurveError::NotDetermined { .. }) => true,
            FitError::NoCurve { reasons } => reasons.iter().all(FitError::is_shortage),
            _ => false,
        }
    }

    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            FitError::TooFewCores { .. } | FitError::TooFewLevels { .. } => {
                "take more cores at more moisture levels, or ask for a simpler curve"
            }
            FitError::Start(_) => {
                "check the counts of the cores; they must differ from dry to wet soil"
            }
            FitError::NotSettled { .. }
            | FitError::IllConditioned { .. }
            | FitError::Implausible { .. } => {
                "ask for a simpler curve, or take cores at more moisture levels"
            }
            FitError::NotMonotone { .. } => {
                "one water content must not have two counts: ask for a simpler curve; if none fits, look for a core whose count does not belong to its water content"
            }
            FitError::NoResponse { .. } | FitError::CountsStandStill { .. } => {
                "look for readings under the wrong sample, level or time, and check the probe's wiring; then take cores from drier to wetter soil"
            }
            FitError::NoCurve { .. } if self.is_shortage() => {
                "take cores at five or more moisture levels, two or three at each"
            }
            FitError::NoCurve { .. } => {
                "look for a core whose count does not belong to its water content: readings or masses under the wrong sample, level or time, or slips in its masses"
            }
        }
    }
}

fn list(reasons: &[FitError]) -> String {
    reasons
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("; ")
}
