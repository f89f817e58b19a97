//! Why a curve could not be started, inverted or used.

use super::CurveKind;

/// Why a curve could not be started, inverted or used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// The points do not fix the curve's parameters.
    #[error(
        "{given} points at {distinct} distinct counts cannot fix the {needed} parameters of the {kind}"
    )]
    NotDetermined {
        /// The curve.
        kind: CurveKind,
        /// Points given.
        given: usize,
        /// Distinct counts among them.
        distinct: usize,
        /// Parameters to fix.
        needed: usize,
    },
    /// A count or a water content is not a number.
    #[error("the {kind} has no value at one of the counts")]
    NoValue {
        /// The curve.
        kind: CurveKind,
    },
    /// The curve holds for positive counts only.
    #[error("the {kind} holds for counts above zero only, and some here are not")]
    CountsNotPositive {
        /// The curve.
        kind: CurveKind,
    },
    /// The best parameters lie outside those that make a curve of this kind.
    #[error("the counts do not follow the shape of the {kind}")]
    NotOfItsShape {
        /// The curve.
        kind: CurveKind,
    },
    /// The curve runs off to infinity inside the count range.
    #[error("the {kind} ends at {end:.1} counts, and {low:.1} to {high:.1} reaches that far")]
    EndsInside {
        /// The curve.
        kind: CurveKind,
        /// Count at which the curve ends.
        end: f64,
        /// Lower end of the range asked for.
        low: f64,
        /// Upper end of the range asked for.
        high: f64,
    },
    /// The water content asked for is not reached inside the count range.
    #[error("theta_v {theta:.4} m3/m3 lies outside the curve's range {low:.4} to {high:.4} m3/m3")]
    NotReached {
        /// The water content asked for.
        theta: f64,
        /// Lowest water content the curve reaches between the counts given.
        low: f64,
        /// Highest water content the curve reaches between the counts given.
        high: f64,
    },
    /// The curve rises and falls between the two counts, so it has no inverse.
    #[error("the {kind} turns at {turning:.1} counts, inside {low:.1} to {high:.1}")]
    NotMonotone {
        /// The curve.
        kind: CurveKind,
        /// Count at which the curve turns.
        turning: f64,
        /// Lower end of the range asked for.
        low: f64,
        /// Upper end of the range asked for.
        high: f64,
    },
}
