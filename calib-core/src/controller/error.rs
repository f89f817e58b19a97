//! Why a record is no controller's table, or why none can be made.

use super::record::{
    MAX_KNOT_DISTANCE, MAX_KNOTS, MAX_NAME_BYTES, MAX_SECONDS, MAX_UNCERTAINTY, SUPPORTED_BITS,
    THETA_RANGE, VERSION,
};
use crate::calibration::ConvertError;
use jiff::civil::Date;

/// Why a record was refused, or why a calibration gives no table.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ControllerError {
    /// The record is of another version.
    #[error("the table is of version {found}; this reader knows version {VERSION} only")]
    Version {
        /// Version stated.
        found: u32,
    },
    /// The numbers are not those the CRC-32 was taken over.
    #[error(
        "table_crc32 is stated as {stated:08x}, but the numbers give {computed:08x}: one of them was changed"
    )]
    TableCrc {
        /// CRC-32 stated.
        stated: u32,
        /// CRC-32 of the numbers.
        computed: u32,
    },
    /// The bytes are no image of a table.
    #[error("the table's bytes are damaged: {what}")]
    Image {
        /// What is wrong with them.
        what: &'static str,
    },
    /// The codes of a live probe leave out some that have an answer.
    #[error(
        "codes from {low} to {high} are said to be those of a live probe, but {lowest} to {highest} can have an answer on a converter that gives up to {full_scale}"
    )]
    LiveCodes {
        /// Lowest code of a live probe.
        low: u16,
        /// Highest code of a live probe.
        high: u16,
        /// Lowest code with an answer.
        lowest: i32,
        /// Highest code with an answer.
        highest: i32,
        /// Full scale of the converter.
        full_scale: u16,
    },
    /// A name is empty, too long or holds control characters.
    #[error(
        "the {what} name {name:?} must be 1 to {MAX_NAME_BYTES} bytes without control characters"
    )]
    Name {
        /// `probe` or `soil`.
        what: &'static str,
        /// The name.
        name: String,
    },
    /// The converter's size is not supported.
    #[error(
        "a converter of {bits} bits is not supported; {} to {} bits are",
        SUPPORTED_BITS.start(),
        SUPPORTED_BITS.end()
    )]
    AdcBits {
        /// Bits stated.
        bits: u8,
    },
    /// Too few or too many knots.
    #[error("a table has 2 to {MAX_KNOTS} knots, not {found}")]
    KnotNumber {
        /// Knots found.
        found: usize,
    },
    /// Counts of knots do not rise.
    #[error("knot counts must rise, but {count} follows {previous}")]
    KnotOrder {
        /// Count of the earlier knot.
        previous: u16,
        /// Count of the later knot.
        count: u16,
    },
    /// A theta_v is out of range.
    #[error(
        "theta_v x 10 000 at {count} counts is {theta_v}, outside {} to {}",
        THETA_RANGE.start(),
        THETA_RANGE.end()
    )]
    KnotTheta {
        /// Count of the knot.
        count: u16,
        /// theta_v x 10 000 there.
        theta_v: i16,
    },
    /// An uncertainty is out of range.
    #[error(
        "the expanded uncertainty x 10 000 at {count} counts is {found}, more than {MAX_UNCERTAINTY}: such a reading says nothing"
    )]
    KnotUncertainty {
        /// Count of the knot.
        count: u16,
        /// Uncertainty x 10 000 there.
        found: u32,
    },
    /// The table turns, or runs against its stated direction.
    #[error(
        "theta_v x 10 000 goes from {from} at {from_count} counts to {to} at {to_count} counts, against the stated direction"
    )]
    KnotDirection {
        /// Count of the earlier knot.
        from_count: u16,
        /// theta_v x 10 000 there.
        from: i16,
        /// Count of the later knot.
        to_count: u16,
        /// theta_v x 10 000 there.
        to: i16,
    },
    /// Two neighbouring knots are too far apart.
    #[error(
        "the step from {from_count} to {to_count} counts is longer than {MAX_KNOT_DISTANCE} counts"
    )]
    StepTooLong {
        /// Count of the earlier knot.
        from_count: u16,
        /// Count of the later knot.
        to_count: u16,
    },
    /// The domain is empty, or the knots do not enclose it.
    #[error(
        "the domain {low} to {high} (sixteenths of a count) must rise and end within a count of the first and last knot, {first} and {last} counts"
    )]
    Domain {
        /// Lowest corrected count, sixteenths.
        low: i32,
        /// Highest corrected count, sixteenths.
        high: i32,
        /// Count of the first knot.
        first: u16,
        /// Count of the last knot.
        last: u16,
    },
    /// The temperatures are not in order or not plausible.
    #[error(
        "temperatures in hundredths of a degree must lie within -4000 to 8500 and lowest below highest; stated are reference {reference}, lowest {lowest}, highest {highest}"
    )]
    TemperatureRange {
        /// Reference, C x 100.
        reference: i16,
        /// Lowest accepted, C x 100.
        lowest: i16,
        /// Highest accepted, C x 100.
        highest: i16,
    },
    /// The divisor is none of those that can be.
    #[error("the temperature divisor must be 1, 256 or 65536, not two to the power of {shift}")]
    TemperatureDivisor {
        /// Shift stated.
        shift: u8,
    },
    /// The temperature correction would not fit 32 bits or exceeds the converter.
    #[error(
        "the temperature coefficient {coefficient}/{divisor} moves the count by more than the converter's whole scale"
    )]
    TemperatureCorrection {
        /// Coefficient stated.
        coefficient: i32,
        /// Divisor stated.
        divisor: i32,
    },
    /// The stated error bound is out of range.
    #[error("the stated maximum error x 10 000 must be 1 to 10000, not {found}")]
    MaxError {
        /// Bound stated.
        found: u16,
    },
    /// Refill is not below stop.
    #[error("refill (theta_v x 10 000 = {refill}) must lie below stop ({stop})")]
    SetPointOrder {
        /// Refill, x 10 000.
        refill: i16,
        /// Stop, x 10 000.
        stop: i16,
    },
    /// The raw counts of refill and stop are equal or the wrong way round.
    #[error(
        "refill at {refill_count} counts and stop at {stop_count} counts do not fit the wiring direction: {direction}"
    )]
    SetPointCounts {
        /// Raw count of refill.
        refill_count: u16,
        /// Raw count of stop.
        stop_count: u16,
        /// Which way counts move.
        direction: crate::calibration::Direction,
    },
    /// A set point lies where the table has no answer.
    #[error("{which} at {count} counts lies outside the calibrated counts")]
    SetPointOutsideDomain {
        /// `refill` or `stop`.
        which: &'static str,
        /// Its raw count.
        count: u16,
    },
    /// A set point's raw count and its theta_v do not belong together.
    #[error(
        "{which} is stated as theta_v x 10 000 = {theta_v} and as {count} counts, but the table gives {from_table} there"
    )]
    SetPointMismatch {
        /// `refill` or `stop`.
        which: &'static str,
        /// theta_v x 10 000 stated.
        theta_v: i16,
        /// Raw count stated.
        count: u16,
        /// theta_v x 10 000 of the table at that count.
        from_table: i16,
    },
    /// A time is out of range, or the shortest run exceeds the longest.
    #[error(
        "times must be at most {MAX_SECONDS} s, the longest run at least 1 s and no shorter than the shortest; stated are shortest on {minimum_on_s} s, shortest off {minimum_off_s} s, longest on {maximum_on_s} s, stuck after {stuck_after_s} s"
    )]
    Timing {
        /// Shortest time on, s.
        minimum_on_s: u32,
        /// Shortest time off, s.
        minimum_off_s: u32,
        /// Longest time on, s.
        maximum_on_s: u32,
        /// Time without change after which a probe is stuck, s.
        stuck_after_s: u32,
    },
    /// The dates are not in order, or before 1970.
    #[error(
        "calibrated on {calibrated_on} and to be checked again by {recheck_by}: the second must not come first, and both lie after 1970"
    )]
    Dates {
        /// Date of calibration.
        calibrated_on: Date,
        /// Date of the next check.
        recheck_by: Date,
    },
    /// The maximum error asked for cannot be asked for.
    #[error("a maximum error of {asked} m3/m3 cannot be asked for; 0.0001 to 0.05 m3/m3 can")]
    MaxErrorAsked {
        /// Error asked for, m3/m3.
        asked: f64,
    },
    /// The curve bends so sharply that a step of one count misses it.
    #[error(
        "near {count} counts the curve bends so sharply that no table in whole counts stays within {asked} m3/m3 of it"
    )]
    BoundNotReachable {
        /// Count where the search stopped.
        count: u16,
        /// Error asked for, m3/m3.
        asked: f64,
    },
    /// The calibrated counts do not fit a table.
    #[error("the calibrated counts {low:.1} to {high:.1} hold no whole step within 0 to 65535")]
    DomainNotUsable {
        /// Lowest calibrated count.
        low: f64,
        /// Highest calibrated count.
        high: f64,
    },
    /// There is a temperature term but no range of temperatures behind it.
    #[error("the calibration has a temperature term but states no range of temperatures")]
    TemperatureRangeMissing,
    /// The curve has no plausible value where the table needs one.
    #[error("the curve cannot be tabulated: {0}")]
    Curve(#[from] ConvertError),
}

impl ControllerError {
    /// What to do about it where a table was being made; a file that was read is
    /// best exported again.
    pub fn mend(&self) -> &'static str {
        match self {
            Self::Version { .. } => {
                "use the program version that wrote the file, or export it again with this one"
            }
            Self::TableCrc { .. } | Self::Image { .. } => {
                "export the file again from its calibration"
            }
            Self::AdcBits { .. } => "correct adc_bits of the probe in site.toml",
            Self::Name { .. } => "give the probe or soil a shorter, plain name in site.toml",
            Self::SetPointOrder { .. }
            | Self::SetPointCounts { .. }
            | Self::SetPointOutsideDomain { .. }
            | Self::SetPointMismatch { .. } => {
                "look at `ovendry setpoints`: refill and stop must lie inside the calibrated counts, at least a count apart"
            }
            Self::Timing { .. } => "correct the times of [controller] in site.toml",
            Self::KnotUncertainty { .. } => {
                "calibrate with more cores or steadier readings; look at the budget `ovendry fit` prints"
            }
            Self::MaxErrorAsked { .. } => "choose a maximum error in that range",
            Self::BoundNotReachable { .. } | Self::KnotNumber { .. } => {
                "allow a larger error with --max-error"
            }
            _ => "calibrate again: run `ovendry check`, then `ovendry fit`",
        }
    }
}
