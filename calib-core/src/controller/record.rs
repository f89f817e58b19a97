//! What a controller file says, before anyone has checked it.

use crate::calibration::Direction;
use jiff::civil::Date;
use std::ops::RangeInclusive;

/// The version of the table's meaning. A reader refuses any other.
pub const VERSION: u8 = 2;
/// Steps a corrected count is counted in: sixteenths of a count.
pub const SIXTEENTHS: i32 = 16;
/// What theta_v in m3/m3 is multiplied by.
pub const THETA_SCALE: f64 = 10_000.0;
/// theta_v x 10 000 a table can hold: the plausible range of
/// [`Vwc`](crate::quantity::Vwc).
pub const THETA_RANGE: RangeInclusive<i16> = -2_000..=12_000;
/// Converter sizes a table can hold, bits.
pub const SUPPORTED_BITS: RangeInclusive<u8> = 8..=16;
/// Most knots a table can hold, so that an 8-bit index counts them.
pub const MAX_KNOTS: usize = 255;
/// Largest expanded uncertainty a table can hold, x 10 000: 1 m3/m3, beyond
/// which a reading says nothing.
pub const MAX_UNCERTAINTY: u16 = 10_000;
/// Farthest a knot may stand from the one before, counts: sixteen times that fits
/// 16 bits, so that a small controller divides in 16 bits only.
pub const MAX_KNOT_DISTANCE: u16 = 4095;
/// Shifts a divisor of the temperature coefficient may be: whole bytes, which
/// cost a small controller nothing.
pub const TEMPERATURE_SHIFTS: [u8; 3] = [0, 8, 16];
/// Longest name of a probe or soil, bytes of UTF-8.
pub const MAX_NAME_BYTES: usize = 64;
/// Longest time a table can hold, seconds: seven days.
pub const MAX_SECONDS: u32 = 604_800;

/// What a controller file says. [`ControllerTable::check`](super::ControllerTable::check)
/// decides whether it may be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ControllerRecord {
    /// [`VERSION`].
    pub version: u8,
    /// The probe's identifier.
    pub probe: String,
    /// The soil's name.
    pub soil: String,
    /// When it was calibrated and when that should be checked again.
    pub dates: Dates,
    /// Bits of the analogue-to-digital converter, within [`SUPPORTED_BITS`].
    pub adc_bits: u8,
    /// Which way the count moves as the soil gets wetter.
    pub direction: Direction,
    /// Which codes a probe that is alive can give.
    pub live: LiveCodes,
    /// Lowest corrected count that has an answer, sixteenths.
    pub domain_low: i32,
    /// Highest corrected count that has an answer, sixteenths.
    pub domain_high: i32,
    /// The temperature term, where the calibration has one.
    pub temperature: Option<IntegerTemperature>,
    /// Largest difference from the fitted curve at any code and accepted
    /// temperature, theta_v x 10 000.
    pub max_error: u16,
    /// The table itself, counts rising; straight lines between.
    pub knots: Vec<Knot>,
    /// When to start and stop the pump.
    pub set_points: IntegerSetPoints,
    /// How the pump may be switched, and when a probe counts as stuck.
    pub timing: Timing,
}

/// Codes beyond which the wire is broken or shorted, not the soil dry or wet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LiveCodes {
    /// Lowest code of a live probe; 0 if none is too low.
    pub low: u16,
    /// Highest code of a live probe; full scale if none is too high.
    pub high: u16,
    /// What an open circuit reads.
    pub open_circuit: OpenCircuit,
}

/// What the converter reads when the wire to the probe is broken; a short
/// circuit reads the other end.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum OpenCircuit {
    /// Near 0, as with a resistor to ground.
    ReadsLow,
    /// Near full scale, as with a resistor to the supply.
    ReadsHigh,
}

/// One corner of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Knot {
    /// Count at the reference temperature.
    pub count: u16,
    /// theta_v x 10 000 there.
    pub theta_v: i16,
    /// Expanded uncertainty (95 %) of a new reading there, theta_v x 10 000,
    /// the largest over the calibrated temperatures.
    pub expanded_uncertainty: u16,
}

/// The temperature term in whole numbers: a reading is first lowered by
/// `coefficient (T - reference) / 2^shift` sixteenths of a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IntegerTemperature {
    /// Temperature at which counts need no correction, C x 100.
    pub reference_centi: i16,
    /// Lowest temperature with an answer, C x 100.
    pub lowest_centi: i16,
    /// Highest temperature with an answer, C x 100.
    pub highest_centi: i16,
    /// Sixteenths of a count per hundredth of a degree, times the divisor.
    pub coefficient: i32,
    /// The divisor is two to the power of this, one of [`TEMPERATURE_SHIFTS`].
    pub shift: u8,
}

/// When to start and stop the pump.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IntegerSetPoints {
    /// Start when theta_v x 10 000 falls to this.
    pub refill: i16,
    /// Stop when theta_v x 10 000 reaches this.
    pub stop: i16,
    /// `refill` as a raw count at the reference temperature.
    pub refill_count: u16,
    /// `stop` as a raw count at the reference temperature.
    pub stop_count: u16,
}

/// Times in seconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timing {
    /// Shortest time it stays on, unless a fault stops it.
    pub minimum_on_s: u32,
    /// Shortest time it stays off.
    pub minimum_off_s: u32,
    /// Longest time it may run at one go.
    pub maximum_on_s: u32,
    /// A probe that gives the same code for this long is stuck; 0 if that is not
    /// watched.
    pub stuck_after_s: u32,
}

/// When the calibration was made and when it should be checked again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dates {
    /// Date of the last reading behind the calibration.
    pub calibrated_on: Date,
    /// Date by which it should be checked again.
    pub recheck_by: Date,
}

impl IntegerTemperature {
    /// What the product is divided by.
    pub fn divisor(&self) -> i32 {
        1 << self.shift.min(16)
    }
}

/// m3/m3 of a number x 10 000: theta_v, an uncertainty or an error.
pub fn theta_v_from_units(units: impl Into<f64>) -> f64 {
    units.into() / THETA_SCALE
}

/// Counts of a number of sixteenths.
pub fn counts_from_sixteenths(sixteenths: i32) -> f64 {
    f64::from(sixteenths) / f64::from(SIXTEENTHS)
}

/// Degrees Celsius of a number of hundredths.
pub fn celsius_from_centi(centi: i16) -> f64 {
    f64::from(centi) / 100.0
}

/// A date as the number YYYYMMDD.
pub fn day_number(date: Date) -> u32 {
    let part = |value: i32| value.unsigned_abs();
    part(i32::from(date.year())) * 10_000
        + part(i32::from(date.month())) * 100
        + part(i32::from(date.day()))
}

/// The date of a number YYYYMMDD, if there is one.
pub fn date_of(number: u32) -> Option<Date> {
    let part = |value: u32| i8::try_from(value).ok();
    let year = i16::try_from(number / 10_000).ok()?;
    Date::new(year, part(number / 100 % 100)?, part(number % 100)?).ok()
}
