//! The checked table and its arithmetic, in 32-bit integers throughout.
//!
//! # Why nothing overflows
//!
//! For every table that passed [`check`](ControllerTable::check), every code
//! and every accepted temperature:
//!
//! 1. `16 code <= 16 x 65535 = 1 048 560`.
//! 2. `|coefficient (T - reference)| + divisor/2 <= 2^31 - 1`: checked at both
//!    ends of the accepted temperatures, and the product is largest at an end.
//! 3. The correction is at most `16 x full scale` either way (checked at both
//!    ends), so a corrected count lies within `+-2 097 120` sixteenths.
//! 4. Two neighbouring knots are at most 4095 counts apart, so that their
//!    distance `w` in sixteenths fits 16 bits; theta_v differs by at most 14 000;
//!    so `|dy p| + w/2 < 2^30`, and the quotient fits 14 bits.
//! 5. The result lies between two knots' theta_v, so it fits 16 bits.

use super::error::ControllerError;
use super::record::{
    ControllerRecord, IntegerTemperature, Knot, LiveCodes, OpenCircuit, SIXTEENTHS,
};
use std::fmt;

/// A table that passed every check and may be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ControllerTable(pub(super) ControllerRecord);

/// What the controller reads: theta_v and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// theta_v x 10 000.
    pub theta_v: i16,
    /// Expanded uncertainty (95 %) x 10 000: the larger of the two knots the
    /// reading lies between.
    pub expanded_uncertainty: u16,
}

/// Why a reading has no water content. Whichever it is, the pump stays off or
/// goes off at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fault {
    /// The converter cannot give this code.
    NoSuchCode,
    /// The code is where the wire to the probe is broken.
    OpenCircuit,
    /// The code is where the wire to the probe is shorted.
    ShortCircuit,
    /// The code has not changed for longer than a live probe's would.
    Stuck,
    /// The table corrects for temperature and the reading has none.
    TemperatureMissing,
    /// The temperature lies outside those calibrated.
    TemperatureOutsideRange,
    /// The corrected count lies below those calibrated.
    CountBelowDomain,
    /// The corrected count lies above those calibrated.
    CountAboveDomain,
}

impl Fault {
    /// Every fault, in the order they are looked for.
    pub const ALL: [Fault; 8] = [
        Fault::NoSuchCode,
        Fault::OpenCircuit,
        Fault::ShortCircuit,
        Fault::Stuck,
        Fault::TemperatureMissing,
        Fault::TemperatureOutsideRange,
        Fault::CountBelowDomain,
        Fault::CountAboveDomain,
    ];

    /// The number a controller's reader returns in place of theta_v x 10 000;
    /// far below any water content.
    pub fn code(self) -> i16 {
        match self {
            Fault::NoSuchCode => -30_001,
            Fault::OpenCircuit => -30_002,
            Fault::ShortCircuit => -30_003,
            Fault::Stuck => -30_004,
            Fault::TemperatureMissing => -30_005,
            Fault::TemperatureOutsideRange => -30_006,
            Fault::CountBelowDomain => -30_007,
            Fault::CountAboveDomain => -30_008,
        }
    }

    /// Whether the code alone tells, before anything else is looked at.
    pub(super) fn is_of_the_wire(self) -> bool {
        matches!(
            self,
            Fault::NoSuchCode | Fault::OpenCircuit | Fault::ShortCircuit
        )
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Fault::NoSuchCode => "no count the converter can give",
            Fault::OpenCircuit => "open circuit: the wire to the probe is broken",
            Fault::ShortCircuit => "short circuit in the wire to the probe",
            Fault::Stuck => "stuck: the count has not changed for too long",
            Fault::TemperatureMissing => "soil temperature missing",
            Fault::TemperatureOutsideRange => "soil temperature outside those calibrated",
            Fault::CountBelowDomain => "count below those calibrated",
            Fault::CountAboveDomain => "count above those calibrated",
        })
    }
}

/// `numerator / denominator` to the nearest whole number, halves away from
/// zero. `denominator` is positive; `|numerator| + denominator/2` fits 32 bits.
pub(super) fn divide_half_away(numerator: i32, denominator: i32) -> i32 {
    let half = denominator / 2;
    if numerator < 0 {
        -((half - numerator) / denominator)
    } else {
        (numerator + half) / denominator
    }
}

impl LiveCodes {
    /// What is wrong with the wire, if the code tells.
    fn fault(&self, code: u32) -> Option<Fault> {
        let (at_low, at_high) = match self.open_circuit {
            OpenCircuit::ReadsLow => (Fault::OpenCircuit, Fault::ShortCircuit),
            OpenCircuit::ReadsHigh => (Fault::ShortCircuit, Fault::OpenCircuit),
        };
        if code < u32::from(self.low) {
            Some(at_low)
        } else if code > u32::from(self.high) {
            Some(at_high)
        } else {
            None
        }
    }
}

impl IntegerTemperature {
    /// Sixteenths of a count by which a reading at `centi` (C x 100) is lowered.
    pub(super) fn correction(&self, centi: i16) -> i32 {
        let difference = i32::from(centi) - i32::from(self.reference_centi);
        divide_half_away(self.coefficient * difference, self.divisor())
    }
}

/// theta_v x 10 000 on the straight line between two knots, at `sixteenths`.
pub(super) fn on_segment(from: &Knot, to: &Knot, sixteenths: i32) -> i32 {
    let start = SIXTEENTHS * i32::from(from.count);
    let width = SIXTEENTHS * i32::from(to.count) - start;
    let rise = i32::from(to.theta_v) - i32::from(from.theta_v);
    i32::from(from.theta_v) + divide_half_away(rise * (sixteenths - start), width)
}

impl ControllerTable {
    /// The numbers and names.
    pub fn record(&self) -> &ControllerRecord {
        &self.0
    }

    /// The largest code the converter can give.
    pub fn full_scale(&self) -> u16 {
        full_scale(self.0.adc_bits)
    }

    /// theta_v of a reading, exactly as a controller computes it.
    ///
    /// `code` is what the converter gave; `temperature_centi` the soil
    /// temperature in hundredths of a degree, not looked at where the table has
    /// no temperature term.
    ///
    /// # Errors
    /// The first [`Fault`] that applies, in the order of [`Fault::ALL`]. A single
    /// reading cannot tell that the probe is stuck; [`Pump`](super::Pump) can.
    pub fn evaluate(&self, code: u32, temperature_centi: Option<i16>) -> Result<Reading, Fault> {
        if code > u32::from(self.full_scale()) {
            return Err(Fault::NoSuchCode);
        }
        if let Some(fault) = self.0.live.fault(code) {
            return Err(fault);
        }
        let mut sixteenths = SIXTEENTHS * code as i32;
        if let Some(term) = &self.0.temperature {
            let centi = temperature_centi.ok_or(Fault::TemperatureMissing)?;
            if centi < term.lowest_centi || centi > term.highest_centi {
                return Err(Fault::TemperatureOutsideRange);
            }
            sixteenths -= term.correction(centi);
        }
        self.at_sixteenths(sixteenths)
    }

    /// theta_v at a corrected count in sixteenths.
    pub(super) fn at_sixteenths(&self, sixteenths: i32) -> Result<Reading, Fault> {
        if sixteenths < self.0.domain_low {
            return Err(Fault::CountBelowDomain);
        }
        if sixteenths > self.0.domain_high {
            return Err(Fault::CountAboveDomain);
        }
        let segment = self
            .0
            .knots
            .windows(2)
            .find(|pair| sixteenths <= SIXTEENTHS * i32::from(pair[1].count));
        // The last knot lies at or above the domain, so a segment is found.
        let Some([from, to]) = segment else {
            return Err(Fault::CountAboveDomain);
        };
        Ok(Reading {
            theta_v: on_segment(from, to, sixteenths) as i16,
            expanded_uncertainty: from.expanded_uncertainty.max(to.expanded_uncertainty),
        })
    }

    /// Checks a record and the CRC-32 stated for its numbers.
    ///
    /// # Errors
    /// [`ControllerError::Version`] first, then [`ControllerError::TableCrc`],
    /// then as [`check`](Self::check).
    pub fn check_with_crc(record: ControllerRecord, stated: u32) -> Result<Self, ControllerError> {
        super::check::version(&record)?;
        let computed = record.crc32();
        if stated != computed {
            return Err(ControllerError::TableCrc { stated, computed });
        }
        Self::check(record)
    }

    /// Checks a record: version, names, order and range of every number, and
    /// that its arithmetic fits 32 bits.
    ///
    /// # Errors
    /// The first [`ControllerError`] found.
    pub fn check(record: ControllerRecord) -> Result<Self, ControllerError> {
        super::check::record(&record)?;
        let table = Self(record);
        super::check::set_points(&table)?;
        Ok(table)
    }
}

/// The largest code a converter of `bits` can give; `bits` is at most 16.
pub(super) fn full_scale(bits: u8) -> u16 {
    ((1_u32 << bits.min(16)) - 1) as u16
}

#[cfg(test)]
mod tests {
    use super::super::example::record;
    use super::*;

    #[test]
    fn halves_round_away_from_zero_on_both_sides() {
        for (numerator, denominator, expected) in [
            (7, 2, 4),
            (-7, 2, -4),
            (5, 4, 1),
            (-5, 4, -1),
            (6, 4, 2),
            (-6, 4, -2),
            (0, 16, 0),
            (9, 1, 9),
        ] {
            assert_eq!(divide_half_away(numerator, denominator), expected);
        }
    }

    #[test]
    fn a_reading_is_corrected_for_temperature_before_the_table_is_read() {
        let table = ControllerTable::check(record()).unwrap();
        // 5 C above the reference: 8389 x 500 / 65536 = 64.003 -> 64 sixteenths,
        // 4 counts; 600 - 4 = 596 counts: 2000 - 1000 x 96/200 = 1520.
        let reading = table.evaluate(600, Some(2500)).unwrap();
        assert_eq!(reading.theta_v, 1520);
        assert_eq!(reading.expanded_uncertainty, 210);
        // Colder by 0.01 C: 0.128 sixteenths round to none.
        assert_eq!(table.evaluate(600, Some(1999)).unwrap().theta_v, 1500);
    }

    #[test]
    fn every_fault_is_named_in_its_order() {
        let table = ControllerTable::check(record()).unwrap();
        assert_eq!(table.evaluate(1024, None), Err(Fault::NoSuchCode));
        assert_eq!(table.evaluate(200, None), Err(Fault::TemperatureMissing));
        for power_on_code in [8500, -12700] {
            assert_eq!(
                table.evaluate(200, Some(power_on_code)),
                Err(Fault::TemperatureOutsideRange)
            );
        }
        assert_eq!(
            table.evaluate(300, Some(2000)),
            Err(Fault::CountBelowDomain)
        );
        assert_eq!(
            table.evaluate(700, Some(2000)),
            Err(Fault::CountAboveDomain)
        );
        // 4808 sixteenths are 300.5 counts.
        assert!(table.evaluate(301, Some(2000)).is_ok());
        assert!(table.evaluate(u32::MAX, Some(2000)).is_err());
    }

    #[test]
    fn a_fault_code_is_no_water_content() {
        for fault in Fault::ALL {
            assert!(fault.code() < -30_000);
        }
    }

    #[test]
    fn every_knot_is_read_back_exactly() {
        let mut record = record();
        record.temperature = None;
        record.domain_low = 4800;
        record.domain_high = 11200;
        let table = ControllerTable::check(record.clone()).unwrap();
        for knot in &record.knots {
            let reading = table.evaluate(u32::from(knot.count), None).unwrap();
            assert_eq!(reading.theta_v, knot.theta_v);
        }
    }
}
