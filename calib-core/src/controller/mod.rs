//! The controller's table: one calibration and its set points in whole numbers
//! only, as every controller file carries them.
//!
//! ```text
//! Calibration + SetPoints + Timing + dates
//!        | build (knots placed to a stated maximum error)
//!        v
//!  ControllerRecord  -- check -->  ControllerTable  -- evaluate --> theta_v or a fault
//!        ^                              | compare with the curve at every code
//!        '---- a controller file -------' as text around its image
//! ```
//!
//! A [`ControllerRecord`] is what a file says; a [`ControllerTable`] is a record
//! that passed every check, so its arithmetic cannot leave 32-bit integers and
//! its answers cannot depend on the machine. Each file format is a way to write
//! a table down; the numbers, their order and their CRC-32 are defined here
//! once, so that every format of one calibration gives the same integers at
//! every code.
//!
//! # Units
//!
//! * theta_v, uncertainties and errors: m3/m3 x 10 000, so 2534 is 0.2534 m3/m3.
//! * corrected counts: sixteenths of a count, so that the temperature
//!   correction is finer than a count.
//! * temperatures: hundredths of a degree Celsius.
//! * dates: calendar dates; times: whole seconds.
//!
//! # Example
//!
//! A straight line from 0.40 m3/m3 at 300 counts to 0.10 m3/m3 at 700 counts.
//!
//! ```
//! use calib_core::calibration::Direction;
//! use calib_core::controller::{
//!     ControllerRecord, ControllerTable, Dates, Fault, IntegerSetPoints, Knot, LiveCodes,
//!     OpenCircuit, Timing, VERSION,
//! };
//!
//! let record = ControllerRecord {
//!     version: VERSION,
//!     probe: "north".into(),
//!     soil: "bed 3".into(),
//!     dates: Dates {
//!         calibrated_on: jiff::civil::date(2025, 4, 2),
//!         recheck_by: jiff::civil::date(2026, 4, 2),
//!     },
//!     adc_bits: 10,
//!     direction: Direction::FallsWhenWetter,
//!     live: LiveCodes { low: 10, high: 1013, open_circuit: OpenCircuit::ReadsLow },
//!     domain_low: 300 * 16,
//!     domain_high: 700 * 16,
//!     temperature: None,
//!     max_error: 1,
//!     knots: vec![
//!         Knot { count: 300, theta_v: 4000, expanded_uncertainty: 250 },
//!         Knot { count: 700, theta_v: 1000, expanded_uncertainty: 210 },
//!     ],
//!     set_points: IntegerSetPoints { refill: 1750, stop: 2500, refill_count: 600, stop_count: 500 },
//!     timing: Timing {
//!         minimum_on_s: 60,
//!         minimum_off_s: 600,
//!         maximum_on_s: 3600,
//!         stuck_after_s: 86_400,
//!     },
//! };
//! let table = ControllerTable::check(record)?;
//! // 4000 - 3000 x 201/400 = 4000 - 1507.5; the fall is rounded, half away from zero.
//! assert_eq!(table.evaluate(501, None).map(|reading| reading.theta_v), Ok(2492));
//! assert_eq!(table.evaluate(299, None), Err(Fault::CountBelowDomain));
//! # Ok::<(), calib_core::controller::ControllerError>(())
//! ```

mod build;
mod check;
mod compare;
mod delta;
mod error;
mod image;
mod knots;
mod pump;
mod record;
mod table;

#[cfg(test)]
mod example;

pub use build::DEFAULT_MAX_ERROR;
pub use compare::{Comparison, Disagreement, EDGE_COUNTS, LargestDifference};
pub use delta::{
    Answers, Changed, Delta, Difference, NotComparable, OnlyOne, SetPointMove, Settings, Stated,
    TemperatureUse,
};
pub use error::ControllerError;
pub use pump::{Pump, PumpStep};
pub use record::{
    ControllerRecord, Dates, IntegerSetPoints, IntegerTemperature, Knot, LiveCodes,
    MAX_KNOT_DISTANCE, MAX_KNOTS, MAX_NAME_BYTES, MAX_SECONDS, MAX_UNCERTAINTY, OpenCircuit,
    SIXTEENTHS, SUPPORTED_BITS, TEMPERATURE_SHIFTS, THETA_RANGE, THETA_SCALE, Timing, VERSION,
    celsius_from_centi, counts_from_sixteenths, date_of, day_number, theta_v_from_units,
};
pub use table::{ControllerTable, Fault, Reading};
