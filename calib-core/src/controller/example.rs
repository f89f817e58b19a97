//! A record by hand for the tests of this room.

use super::record::{
    ControllerRecord, Dates, IntegerSetPoints, IntegerTemperature, Knot, LiveCodes, OpenCircuit,
    Timing, VERSION,
};
use crate::calibration::Direction;
use jiff::civil::date;

/// Three knots, counts falling as the soil gets wetter, 0.8 counts per degree.
pub(super) fn record() -> ControllerRecord {
    let knot = |count, theta_v, expanded_uncertainty| Knot {
        count,
        theta_v,
        expanded_uncertainty,
    };
    ControllerRecord {
        version: VERSION,
        probe: "north".into(),
        soil: "bed 3".into(),
        dates: Dates {
            calibrated_on: date(2025, 4, 2),
            recheck_by: date(2026, 4, 2),
        },
        adc_bits: 10,
        direction: Direction::FallsWhenWetter,
        live: LiveCodes {
            low: 10,
            high: 1013,
            open_circuit: OpenCircuit::ReadsLow,
        },
        domain_low: 4808,
        domain_high: 11192,
        temperature: Some(IntegerTemperature {
            reference_centi: 2000,
            lowest_centi: 1000,
            highest_centi: 3000,
            coefficient: 8389,
            shift: 16,
        }),
        max_error: 3,
        knots: vec![
            knot(300, 4000, 250),
            knot(500, 2000, 180),
            knot(700, 1000, 210),
        ],
        set_points: IntegerSetPoints {
            refill: 1500,
            stop: 2500,
            refill_count: 600,
            stop_count: 450,
        },
        timing: Timing {
            minimum_on_s: 60,
            minimum_off_s: 600,
            maximum_on_s: 3600,
            stuck_after_s: 86_400,
        },
    }
}
