//! The table against the fitted curve, at every code.

use super::record::{THETA_SCALE, celsius_from_centi, theta_v_from_units};
use super::table::ControllerTable;
use crate::calibration::Calibration;
use crate::quantity::{Celsius, Quantity};

/// How far inside the calibrated counts a table may still refuse a reading the
/// curve answers, counts: the table's domain ends in whole counts or, with a
/// temperature term, before the rounding of the correction.
pub const EDGE_COUNTS: f64 = 1.0;

/// The outcome of comparing a table with a curve at every code of the converter
/// and the lowest, reference and highest calibrated temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Readings (code and temperature) both gave a water content for.
    pub compared: u64,
    /// Where the two differ most; `None` if nothing could be compared.
    pub largest: Option<LargestDifference>,
    /// Readings only the table answers; there must be none.
    pub table_only: Option<Disagreement>,
    /// Readings only the curve answers; harmless within [`EDGE_COUNTS`] of the
    /// ends of the calibrated counts.
    pub curve_only: Option<Disagreement>,
}

/// The largest difference and where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LargestDifference {
    /// Code of the converter.
    pub code: u32,
    /// Soil temperature, C x 100, where one was needed.
    pub temperature_centi: Option<i16>,
    /// theta_v by the table, m3/m3.
    pub table: f64,
    /// theta_v by the curve, m3/m3.
    pub curve: f64,
}

impl LargestDifference {
    /// Table minus curve, m3/m3; positive where the table reads wetter.
    pub fn difference(&self) -> f64 {
        self.table - self.curve
    }
}

/// Readings that one answers and the other refuses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disagreement {
    /// How many.
    pub number: u64,
    /// Code of the one farthest inside the calibrated counts.
    pub code: u32,
    /// Its soil temperature, C x 100, where one was needed.
    pub temperature_centi: Option<i16>,
    /// How far inside the calibrated counts it lies, counts; negative outside.
    pub counts_inside: f64,
}

impl Comparison {
    /// Whether the table may stand for the curve: something was compared, no
    /// difference exceeds `max_error` (theta_v x 10 000), the table answers
    /// nowhere the curve refuses, and refuses only at the very ends.
    pub fn within(&self, max_error: u16) -> bool {
        // A millionth of a unit for the last bit of binary fractions.
        let allowed = f64::from(max_error) + 1e-6;
        self.largest
            .is_some_and(|largest| largest.difference().abs() * THETA_SCALE <= allowed)
            && self.table_only.is_none()
            && self
                .curve_only
                .is_none_or(|refused| refused.counts_inside <= EDGE_COUNTS)
    }
}

fn note(
    so_far: &mut Option<Disagreement>,
    code: u32,
    temperature_centi: Option<i16>,
    counts_inside: f64,
) {
    let number = so_far.map_or(0, |d| d.number) + 1;
    match so_far {
        Some(farthest) if farthest.counts_inside >= counts_inside => farthest.number = number,
        _ => {
            *so_far = Some(Disagreement {
                number,
                code,
                temperature_centi,
                counts_inside,
            });
        }
    }
}

impl ControllerTable {
    /// Compares with `calibration` at every code of the larger of the two
    /// converters and at the lowest, reference and highest calibrated
    /// temperature.
    ///
    /// Where only the table has a temperature term, its own temperatures are
    /// used, so that a term lost or gained shows as a difference.
    pub fn compare(&self, calibration: &Calibration) -> Comparison {
        let grid = match (&self.record().temperature, calibration.temperature) {
            (Some(term), None) => vec![
                Some(term.lowest_centi),
                Some(term.reference_centi),
                Some(term.highest_centi),
            ],
            _ => calibration.grid_centi(),
        };
        let mut comparison = Comparison {
            compared: 0,
            largest: None,
            table_only: None,
            curve_only: None,
        };
        let last = calibration.largest_code().min(u32::from(u16::MAX));
        for centi in grid {
            let temperature = centi.and_then(|c| Celsius::new(celsius_from_centi(c)).ok());
            for code in 0..=last.max(u32::from(self.full_scale())) {
                self.compare_at(calibration, code, centi, temperature, &mut comparison);
            }
        }
        comparison
    }

    fn compare_at(
        &self,
        calibration: &Calibration,
        code: u32,
        centi: Option<i16>,
        temperature: Option<Celsius>,
        comparison: &mut Comparison,
    ) {
        let count = f64::from(code);
        let curve = if code <= calibration.largest_code() {
            calibration.theta_v(count, temperature).ok()
        } else {
            None
        };
        let table = self.evaluate(code, centi).ok();
        let inside = || {
            let domain = calibration.domain;
            calibration
                .count_at_reference(count, temperature)
                .map_or(f64::INFINITY, |at| (at - domain.low).min(domain.high - at))
        };
        match (table, curve) {
            (Some(table), Some(curve)) => {
                comparison.compared += 1;
                let here = LargestDifference {
                    code,
                    temperature_centi: centi,
                    table: theta_v_from_units(table.theta_v),
                    curve: curve.value(),
                };
                if comparison
                    .largest
                    .is_none_or(|largest| here.difference().abs() > largest.difference().abs())
                {
                    comparison.largest = Some(here);
                }
            }
            (Some(_), None) => note(&mut comparison.table_only, code, centi, inside()),
            (None, Some(_)) => note(&mut comparison.curve_only, code, centi, inside()),
            (None, None) => {}
        }
    }
}
