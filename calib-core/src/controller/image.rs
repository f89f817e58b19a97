//! The image: the table as bytes, the same on every machine.
//!
//! Numbers are little-endian, negative ones in two's complement, without gaps:
//!
//! | offset | type | number |
//! | ---: | --- | --- |
//! | 0 | u8 | version |
//! | 1 | u8 | flags: 1 counts fall when wetter, 2 temperature term, 4 an open circuit reads high |
//! | 2 | u8 | temperature shift: the divisor is two to its power |
//! | 3 | u8 | number `n` of knots |
//! | 4 | u16 | full scale of the converter |
//! | 6, 8 | u16 | lowest and highest code of a live probe |
//! | 10, 12, 14 | i16 | reference, lowest and highest temperature, C x 100 |
//! | 16 | i32 | temperature coefficient |
//! | 20, 24 | i32 | domain: lowest and highest corrected count, sixteenths |
//! | 28, 30 | i16 | refill and stop, theta_v x 10 000 |
//! | 32, 34 | u16 | refill and stop, raw counts |
//! | 36 | u16 | stated maximum error, theta_v x 10 000 |
//! | 38, 42, 46 | u32 | shortest on, shortest off, longest on, seconds |
//! | 50 | u32 | stuck after so many seconds |
//! | 54, 58 | u32 | calibrated on, recheck by, as the number YYYYMMDD |
//! | 62 | u16 x n | counts of the knots |
//! | 62 + 2n | i16 x n | theta_v x 10 000 there |
//! | 62 + 4n | u16 x n | expanded uncertainty x 10 000 there |
//! | 62 + 6n | u32 | CRC-32 of every byte before |
//!
//! Without a temperature term, offsets 2 and 10 to 19 hold zeros. Names are not
//! part of it.
//!
//! The CRC-32 is the common one of ISO/IEC 8802-3 and zip files: polynomial
//! 0x04C11DB7 reflected, initial value and final exclusive-or 0xFFFFFFFF; the
//! nine ASCII digits `123456789` give CBF43926.

use super::error::ControllerError;
use super::record::{
    ControllerRecord, Dates, IntegerSetPoints, IntegerTemperature, Knot, LiveCodes, OpenCircuit,
    Timing, VERSION, date_of, day_number,
};
use super::table::{ControllerTable, full_scale};
use crate::calibration::Direction;

/// Bytes before the knots.
const FIXED: usize = 62;
/// Bytes a knot takes.
const PER_KNOT: usize = 6;
/// Bytes of the CRC-32.
const CRC: usize = 4;

const FALLS: u8 = 1;
const CORRECTED: u8 = 2;
const OPEN_READS_HIGH: u8 = 4;

impl ControllerRecord {
    /// The image without its CRC-32.
    fn bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(FIXED + PER_KNOT * self.knots.len() + CRC);
        let term = self.temperature;
        let flag = |set: bool, bit: u8| if set { bit } else { 0 };
        bytes.push(self.version);
        bytes.push(
            flag(self.direction == Direction::FallsWhenWetter, FALLS)
                | flag(term.is_some(), CORRECTED)
                | flag(
                    self.live.open_circuit == OpenCircuit::ReadsHigh,
                    OPEN_READS_HIGH,
                ),
        );
        bytes.push(term.map_or(0, |term| term.shift));
        bytes.push(u8::try_from(self.knots.len()).unwrap_or(u8::MAX));
        let mut u16s = |numbers: &[u16]| {
            for number in numbers {
                bytes.extend(number.to_le_bytes());
            }
        };
        u16s(&[full_scale(self.adc_bits), self.live.low, self.live.high]);
        let centi = term.map_or([0; 3], |term| {
            [term.reference_centi, term.lowest_centi, term.highest_centi]
        });
        u16s(&centi.map(i16::cast_unsigned));
        for number in [
            term.map_or(0, |term| term.coefficient),
            self.domain_low,
            self.domain_high,
        ] {
            bytes.extend(number.to_le_bytes());
        }
        let points = self.set_points;
        for number in [points.refill, points.stop] {
            bytes.extend(number.to_le_bytes());
        }
        for number in [points.refill_count, points.stop_count, self.max_error] {
            bytes.extend(number.to_le_bytes());
        }
        for number in [
            self.timing.minimum_on_s,
            self.timing.minimum_off_s,
            self.timing.maximum_on_s,
            self.timing.stuck_after_s,
            day_number(self.dates.calibrated_on),
            day_number(self.dates.recheck_by),
        ] {
            bytes.extend(number.to_le_bytes());
        }
        let knots = &self.knots;
        bytes.extend(knots.iter().flat_map(|knot| knot.count.to_le_bytes()));
        bytes.extend(knots.iter().flat_map(|knot| knot.theta_v.to_le_bytes()));
        bytes.extend(
            knots
                .iter()
                .flat_map(|knot| knot.expanded_uncertainty.to_le_bytes()),
        );
        bytes
    }

    /// CRC-32 of the image's other bytes.
    pub fn crc32(&self) -> u32 {
        crc32fast::hash(&self.bytes())
    }

    /// The image, its CRC-32 at the end.
    pub fn image(&self) -> Vec<u8> {
        let mut bytes = self.bytes();
        bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
        bytes
    }

    /// What an image says; `probe` and `soil` are named beside it.
    ///
    /// Only its form is looked at, not whether the table may be used:
    /// [`ControllerTable::check`](super::ControllerTable::check) decides that.
    ///
    /// # Errors
    /// [`ControllerError::Image`] if the bytes are no image, then
    /// [`ControllerError::Version`] and [`ControllerError::TableCrc`].
    pub fn from_image(image: &[u8], probe: &str, soil: &str) -> Result<Self, ControllerError> {
        let damaged = |what: &'static str| ControllerError::Image { what };
        let version = *image.first().ok_or(damaged("it is empty"))?;
        if version != VERSION {
            return Err(ControllerError::Version {
                found: u32::from(version),
            });
        }
        let (body, crc) = image
            .split_last_chunk::<CRC>()
            .ok_or(damaged("it is cut short"))?;
        let stated = u32::from_le_bytes(*crc);
        let computed = crc32fast::hash(body);
        if stated != computed {
            return Err(ControllerError::TableCrc { stated, computed });
        }
        let mut numbers = Numbers(body.get(1..).unwrap_or_default());
        let [flags, shift, knots] = numbers.take().ok_or(damaged("it is cut short"))?;
        if body.len() != FIXED + PER_KNOT * usize::from(knots) {
            return Err(damaged("its length is not that of its knots"));
        }
        let record = numbers.record(flags, shift, knots).ok_or(damaged(
            "a date or the converter's full scale is impossible",
        ))?;
        let record = Self {
            version,
            probe: probe.to_owned(),
            soil: soil.to_owned(),
            ..record
        };
        // Unused bits and numbers are zero in exactly one image of a record.
        if record.bytes() != body {
            return Err(damaged("a flag or number that must be zero is not"));
        }
        Ok(record)
    }
}

/// What is left of an image.
struct Numbers<'a>(&'a [u8]);

impl Numbers<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(*first)
    }

    fn u16(&mut self) -> Option<u16> {
        self.take().map(u16::from_le_bytes)
    }

    fn i16(&mut self) -> Option<i16> {
        self.take().map(i16::from_le_bytes)
    }

    fn u32(&mut self) -> Option<u32> {
        self.take().map(u32::from_le_bytes)
    }

    fn i32(&mut self) -> Option<i32> {
        self.take().map(i32::from_le_bytes)
    }

    /// The numbers from full scale on, with no names.
    fn record(&mut self, flags: u8, shift: u8, knots: u8) -> Option<ControllerRecord> {
        let full = self.u16()?;
        let adc_bits = u8::try_from(full.count_ones()).ok()?;
        if full_scale(adc_bits) != full {
            return None;
        }
        let live = LiveCodes {
            low: self.u16()?,
            high: self.u16()?,
            open_circuit: if flags & OPEN_READS_HIGH == 0 {
                OpenCircuit::ReadsLow
            } else {
                OpenCircuit::ReadsHigh
            },
        };
        let term = IntegerTemperature {
            reference_centi: self.i16()?,
            lowest_centi: self.i16()?,
            highest_centi: self.i16()?,
            coefficient: self.i32()?,
            shift,
        };
        Some(ControllerRecord {
            version: VERSION,
            probe: String::new(),
            soil: String::new(),
            adc_bits,
            direction: if flags & FALLS == 0 {
                Direction::RisesWhenWetter
            } else {
                Direction::FallsWhenWetter
            },
            live,
            domain_low: self.i32()?,
            domain_high: self.i32()?,
            temperature: (flags & CORRECTED != 0).then_some(term),
            set_points: IntegerSetPoints {
                refill: self.i16()?,
                stop: self.i16()?,
                refill_count: self.u16()?,
                stop_count: self.u16()?,
            },
            max_error: self.u16()?,
            timing: Timing {
                minimum_on_s: self.u32()?,
                minimum_off_s: self.u32()?,
                maximum_on_s: self.u32()?,
                stuck_after_s: self.u32()?,
            },
            dates: Dates {
                calibrated_on: date_of(self.u32()?)?,
                recheck_by: date_of(self.u32()?)?,
            },
            knots: self.knots(knots)?,
        })
    }

    fn knots(&mut self, number: u8) -> Option<Vec<Knot>> {
        let counts = (0..number)
            .map(|_| self.u16())
            .collect::<Option<Vec<_>>>()?;
        let thetas = (0..number)
            .map(|_| self.i16())
            .collect::<Option<Vec<_>>>()?;
        counts
            .into_iter()
            .zip(thetas)
            .map(|(count, theta_v)| {
                Some(Knot {
                    count,
                    theta_v,
                    expanded_uncertainty: self.u16()?,
                })
            })
            .collect()
    }
}

impl ControllerTable {
    /// CRC-32 of the image's other bytes: `table_crc32` of every format.
    pub fn crc32(&self) -> u32 {
        self.record().crc32()
    }

    /// The image, its CRC-32 at the end.
    pub fn image(&self) -> Vec<u8> {
        self.record().image()
    }
}

#[cfg(test)]
mod tests;
