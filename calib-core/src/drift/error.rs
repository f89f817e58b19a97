//! Why a calibration cannot be judged by spot checks.

/// Why a calibration cannot be judged by spot checks.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DriftError {
    /// What is allowed is no positive number.
    #[error("an error of {allow} m3/m3 cannot be what is allowed")]
    Allowance {
        /// What was asked for, m3/m3.
        allow: f64,
    },
    /// Spot checks are cores the calibration was made from.
    #[error(
        "{} {} in the calibration itself: a curve always looks good at the cores it was drawn through",
        .cores.join(", "),
        if .cores.len() == 1 { "is a core used" } else { "are cores used" }
    )]
    UsedInFit {
        /// Their identifiers.
        cores: Vec<String>,
    },
    /// One core is given more than once.
    #[error("core {core} is given more than once beside this probe")]
    Twice {
        /// Its identifier.
        core: String,
    },
    /// More checks than can be looked at together.
    #[error("{checks} checks of one probe are more than the {most} that can be looked at together")]
    TooMany {
        /// How many there are.
        checks: usize,
        /// How many there may be.
        most: usize,
    },
    /// The calibration's own figures are no covariance, or hold what is no number.
    #[error("the calibration's own uncertainties cannot be used: {fault}")]
    Calibration {
        /// What is wrong.
        fault: &'static str,
    },
}

impl DriftError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            DriftError::Allowance { .. } => "allow an error above zero, such as 0.02",
            DriftError::UsedInFit { .. } => {
                "leave them out: check with cores dug after the calibration, which it has not seen"
            }
            DriftError::Twice { .. } => {
                "keep one line of it; give each core an identifier of its own"
            }
            DriftError::TooMany { .. } => "leave out the oldest, or take one core a visit",
            DriftError::Calibration { .. } => "run `ovendry fit` again",
        }
    }
}
