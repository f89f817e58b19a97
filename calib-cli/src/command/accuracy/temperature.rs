//! Readings taken at other soil temperatures than those of the calibration.

use super::held::counted;
use crate::failure::Warning;
use calib_core::calibration::Calibration;
use calib_core::pair::Pair;
use calib_core::quantity::Quantity;

/// How far beyond the calibrated temperatures a reading may lie before it is told, C (our
/// choice: what two soil thermometers may differ by).
const A_LITTLE: f64 = 1.0;

/// What is to be said of pairs outside the temperatures of the calibration.
pub(super) fn outside(calibration: &Calibration, pairs: &[Pair], title: String) -> Option<Warning> {
    let (coolest, warmest) = calibration.temperature_range?;
    let beyond: Vec<f64> = pairs
        .iter()
        .filter_map(|pair| pair.observation.temperature.map(Quantity::value))
        .filter(|t| *t < coolest - A_LITTLE || *t > warmest + A_LITTLE)
        .collect();
    if beyond.is_empty() {
        return None;
    }
    let low = beyond.iter().copied().fold(f64::INFINITY, f64::min);
    let high = beyond.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let at = if high - low < 0.05 {
        format!("{low:.1} C")
    } else {
        format!("{low:.1} to {high:.1} C")
    };
    let why = if calibration.temperature.is_some() {
        "its temperature term is carried beyond where it was seen"
    } else {
        "it has no temperature term: what warmth does to the counts is laid to the probe"
    };
    Some(Warning {
        place: title,
        what: format!(
            "{} of {} lie outside the soil temperatures of its calibration, {coolest:.1} to \
             {warmest:.1} C: at {at}",
            beyond.len(),
            counted(pairs.len(), "reading"),
        ),
        why: why.to_owned(),
        advice: "calibrate with cores of colder and of warmer soil; until then the figures are \
                 of those temperatures too"
            .to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::example;
    use calib_core::quantity::Celsius;

    #[test]
    fn a_degree_beyond_the_calibrated_temperatures_is_nothing_and_more_is_told() {
        let (calibration, cores) = example::falling();
        assert_eq!(calibration.temperature_range, Some((9.0, 29.0)));
        let at = |celsius: f64| {
            let mut observation = cores[0].clone();
            observation.temperature = Celsius::new(celsius).ok();
            Pair {
                probe: "p".to_owned(),
                soil: "s".to_owned(),
                batch: None,
                place: None,
                taken_at: None,
                observation,
            }
        };
        let said = |pairs: &[Pair]| outside(&calibration, pairs, "Probe p".to_owned());
        assert!(said(&[at(8.1), at(20.0), at(29.9)]).is_none());
        let what = said(&[at(7.0), at(20.0), at(45.0)]).map(|warning| warning.what);
        let what = what.unwrap_or_default();
        assert!(what.starts_with("2 of 3 readings lie outside"), "{what}");
        assert!(what.ends_with("9.0 to 29.0 C: at 7.0 to 45.0 C"), "{what}");
    }
}
