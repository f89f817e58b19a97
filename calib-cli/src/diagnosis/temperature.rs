//! What leaving soil temperature out costs, or could cost.

use super::Surroundings;
use calib_core::calibration::Calibration;
use calib_core::fit::TemperatureDecision;
use calib_core::temperature::uncorrected_difference;
use schemars::JsonSchema;
use serde::Serialize;

/// theta_v read for one wetness in the coolest and in the warmest soil logged.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct TemperatureCost {
    /// C.
    #[serde(rename = "coolest_c")]
    coolest: f64,
    /// C.
    #[serde(rename = "warmest_c")]
    warmest: f64,
    /// Where on the curve.
    at_count: f64,
    /// How far apart without a correction, m3/m3.
    difference: f64,
    /// How far the curve reaches over the calibrated counts, m3/m3.
    range: f64,
    /// Whether `difference` is the most the data leave possible rather than what
    /// was seen.
    upper_bound: bool,
}

pub(super) fn temperature_cost(
    decision: &TemperatureDecision,
    calibration: &Calibration,
    logged: Option<(f64, f64)>,
    at_count: f64,
) -> Option<TemperatureCost> {
    let (coolest, warmest) = logged?;
    Some(TemperatureCost {
        coolest,
        warmest,
        at_count,
        difference: uncorrected_difference(
            calibration.curve.slope(at_count),
            decision.largest_effect()?,
            warmest - coolest,
        ),
        range: (calibration.curve.value(calibration.domain.high)
            - calibration.curve.value(calibration.domain.low))
        .abs(),
        upper_bound: !decision.is_carried(),
    })
}

pub(super) fn temperature_remark(
    decision: &TemperatureDecision,
    cost: Option<&TemperatureCost>,
    surroundings: &Surroundings,
) -> String {
    let apart = |cost: &TemperatureCost| {
        format!(
            "read up to {:.3} m3/m3 apart between the coolest and the warmest soil logged ({:.0} and {:.0} C){}",
            cost.difference,
            cost.coolest,
            cost.warmest,
            if surroundings.set_points.is_some() {
                " at the refill point"
            } else {
                " in mid-range"
            }
        )
    };
    let both =
        "cores of every wetness both cool (early morning) and warm (afternoon), 4 C or more apart";
    match (decision, cost) {
        (TemperatureDecision::Carried { .. }, Some(cost)) => format!(
            "Without the correction one wetness would {}: give the controller a soil thermometer.",
            apart(cost)
        ),
        (_, Some(cost)) if cost.upper_bound && cost.difference > cost.range => {
            format!("These cores set no limit to what temperature does; read {both}.")
        }
        (TemperatureDecision::NoEffectSeen { .. }, Some(cost)) => format!(
            "At worst (effect plus its +-) one wetness could {}; if that is too much, read cores of one wetness both cool and warm.",
            apart(cost)
        ),
        (TemperatureDecision::Confounded { .. }, Some(cost)) => format!(
            "At worst (effect plus its +-) one wetness could {}; only such cores can narrow that down.",
            apart(cost)
        ),
        (TemperatureDecision::Missing { .. }, _) => format!(
            "Log soil temperature with every reading, and read {both}; the next fit then says how much it matters."
        ),
        (TemperatureDecision::SpanTooSmall { .. }, _) => match surroundings.logged {
            Some((coolest, warmest)) => format!(
                "Read {both}; all soil this probe logged lies between {coolest:.1} and {warmest:.1} C."
            ),
            None => format!("Read {both}."),
        },
        _ => format!("Read {both}; with more cores the effect can be told."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(decision: &TemperatureDecision, difference: f64) -> String {
        let cost = TemperatureCost {
            coolest: 8.0,
            warmest: 27.0,
            at_count: 500.0,
            difference,
            range: 0.3,
            upper_bound: !decision.is_carried(),
        };
        let surroundings = Surroundings {
            set_points: None,
            logged: Some((8.0, 27.0)),
        };
        let cost = decision.largest_effect().map(|_| cost);
        temperature_remark(decision, cost.as_ref(), &surroundings)
    }

    #[test]
    fn each_decision_is_followed_by_what_to_do() {
        let confounded = |coefficient| TemperatureDecision::Confounded {
            inflation: 30.0,
            coefficient,
        };
        let seen = confounded(Some((1.0, 2.0)));
        assert_eq!(
            says(&seen, 0.041),
            "At worst (effect plus its +-) one wetness could read up to 0.041 m3/m3 apart between the coolest and the warmest soil logged (8 and 27 C) in mid-range; only such cores can narrow that down."
        );
        // A bound wider than the whole curve is none.
        assert!(says(&seen, 0.31).starts_with("These cores set no limit to what temperature does"));
        for (decision, action) in [
            (confounded(None), "Read cores of every wetness both cool"),
            (
                TemperatureDecision::Missing { cores: 3 },
                "Log soil temperature with every reading",
            ),
            (
                TemperatureDecision::SpanTooSmall { span: 2.0 },
                "lies between 8.0 and 27.0 C",
            ),
            (
                TemperatureDecision::TooFewCores { cores: 4 },
                "with more cores",
            ),
        ] {
            let text = says(&decision, 0.0);
            assert!(text.contains(action), "{text}");
        }
    }
}
