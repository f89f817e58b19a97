//! The curve of the mean probe: what "one curve for all" should be.

use super::mixed::Mixed;
use super::pool::Pool;
use crate::curve::Curve;
use crate::temperature::TemperatureTerm;

/// The pool's curve with its parameters brought to those of the mean probe, by the
/// correction that the spread of the probes was found with. The pool's curve itself is
/// drawn through all pairs as if each had its own error; where probes differ, it is
/// bent by them. Left as it is where the correction would have it turn or end among
/// the counts.
pub fn shared_curve(pool: &Pool, mixed: &Mixed) -> (Curve, Option<TemperatureTerm>) {
    let fit = &pool.choice.fit;
    let mut curve = fit.curve.clone();
    for (parameter, correction) in curve.parameters.iter_mut().zip(&mixed.fixed) {
        *parameter -= correction;
    }
    let (low, high) = (fit.domain.low, fit.domain.high);
    let sound = curve.check_defined(low, high).is_ok()
        && curve.turning_point_within(low, high).is_none()
        && [low, high]
            .iter()
            .all(|count| curve.value(*count).is_finite());
    if !sound {
        return (fit.curve.clone(), fit.temperature);
    }
    let correction = mixed.fixed.get(curve.parameters.len()).copied();
    let temperature = fit.temperature.map(|term| TemperatureTerm {
        coefficient: term.coefficient - correction.unwrap_or(0.0),
        ..term
    });
    (curve, temperature)
}
