//! The canonical list of numbers and its CRC-32.
//!
//! Every number the controller uses, each as one 32-bit little-endian word
//! (two's complement where negative), in this order:
//!
//! | word | number |
//! | ---: | --- |
//! | 0 | format version |
//! | 1 | converter bits |
//! | 2 | direction: 0 counts rise, 1 counts fall as the soil gets wetter |
//! | 3, 4 | domain, lowest and highest corrected count, sixteenths |
//! | 5 | temperature term: 1 there is one, 0 there is none |
//! | 6 | reference temperature, C x 100 (0 where there is no term) |
//! | 7, 8 | lowest and highest accepted temperature, C x 100 (0) |
//! | 9, 10 | temperature coefficient and its divisor (0) |
//! | 11 | stated maximum error, theta_v x 10 000 |
//! | 12, 13 | refill and stop, theta_v x 10 000 |
//! | 14, 15 | refill and stop, raw counts |
//! | 16, 17, 18 | shortest on, shortest off, longest on, seconds |
//! | 19, 20 | calibrated on, recheck by, as the number YYYYMMDD |
//! | 21 | number of knots |
//! | 22 ... | for each knot: count, theta_v x 10 000, expanded uncertainty x 10 000 |
//!
//! The CRC-32 is the common one of ISO/IEC 8802-3 and zip files: polynomial
//! 0x04C11DB7 reflected, initial value and final exclusive-or 0xFFFFFFFF; the
//! nine ASCII digits `123456789` give CBF43926.

use super::record::{ControllerRecord, day_number};
use super::table::ControllerTable;
use crate::calibration::Direction;

/// Number of words before the knots.
const FIXED_WORDS: usize = 22;

/// A signed number as its two's complement word.
fn signed(value: impl Into<i32>) -> u32 {
    value.into().cast_unsigned()
}

impl ControllerRecord {
    /// The canonical list of numbers.
    pub fn words(&self) -> Vec<u32> {
        let mut words = Vec::with_capacity(FIXED_WORDS + 3 * self.knots.len());
        words.push(self.version);
        words.push(u32::from(self.adc_bits));
        words.push(match self.direction {
            Direction::RisesWhenWetter => 0,
            Direction::FallsWhenWetter => 1,
        });
        words.push(signed(self.domain_low));
        words.push(signed(self.domain_high));
        match &self.temperature {
            None => words.extend([0; 6]),
            Some(term) => words.extend([
                1,
                signed(term.reference_centi),
                signed(term.lowest_centi),
                signed(term.highest_centi),
                signed(term.coefficient),
                signed(term.divisor),
            ]),
        }
        words.push(u32::from(self.max_error));
        words.push(signed(self.set_points.refill));
        words.push(signed(self.set_points.stop));
        words.push(u32::from(self.set_points.refill_count));
        words.push(u32::from(self.set_points.stop_count));
        words.push(self.timing.minimum_on_s);
        words.push(self.timing.minimum_off_s);
        words.push(self.timing.maximum_on_s);
        words.push(day_number(self.dates.calibrated_on));
        words.push(day_number(self.dates.recheck_by));
        words.push(u32::try_from(self.knots.len()).unwrap_or(u32::MAX));
        for knot in &self.knots {
            words.push(u32::from(knot.count));
            words.push(signed(knot.theta_v));
            words.push(u32::from(knot.expanded_uncertainty));
        }
        words
    }

    /// CRC-32 of the canonical list.
    pub fn crc32(&self) -> u32 {
        let mut crc = crc32fast::Hasher::new();
        for word in self.words() {
            crc.update(&word.to_le_bytes());
        }
        crc.finalize()
    }
}

impl ControllerTable {
    /// CRC-32 of the canonical list: `table_crc32` of every format.
    pub fn crc32(&self) -> u32 {
        self.record().crc32()
    }
}

#[cfg(test)]
mod tests {
    use super::super::example::record;
    use super::*;

    #[test]
    fn the_canonical_list_is_the_one_documented() {
        let words = record().words();
        assert_eq!(
            words[..FIXED_WORDS],
            [
                1, 10, 1, 4808, 11192, 1, 2000, 1000, 3000, 8389, 65_536, 3, 1500, 2500, 600, 450,
                60, 600, 3600, 20_250_402, 20_260_402, 3
            ]
        );
        assert_eq!(
            words[FIXED_WORDS..],
            [300, 4000, 250, 500, 2000, 180, 700, 1000, 210]
        );
    }

    /// Bit by bit from the definition, as a small controller computes it.
    fn bitwise(words: &[u32]) -> u32 {
        let mut crc = u32::MAX;
        for word in words {
            crc ^= word;
            for _ in 0..32 {
                crc = if crc & 1 == 1 {
                    crc >> 1 ^ 0xEDB8_8320
                } else {
                    crc >> 1
                };
            }
        }
        !crc
    }

    #[test]
    fn the_crc_is_the_one_defined() {
        assert_eq!(crc32fast::hash(b"123456789"), 0xCBF4_3926);
        assert_eq!(record().crc32(), bitwise(&record().words()));
    }

    #[test]
    fn negative_numbers_enter_as_twos_complement() {
        let mut record = record();
        record.knots[2].theta_v = -5;
        assert_eq!(record.words()[29], 0xFFFF_FFFB);
    }

    #[test]
    fn every_number_counts_and_names_do_not() {
        let base = record().crc32();
        let changed = |change: &dyn Fn(&mut ControllerRecord)| {
            let mut record = record();
            change(&mut record);
            record.crc32()
        };
        assert_eq!(changed(&|r| r.probe = "south".into()), base);
        let changes: [&dyn Fn(&mut ControllerRecord); 9] = [
            &|r| r.version += 1,
            &|r| r.adc_bits += 1,
            &|r| r.direction = Direction::RisesWhenWetter,
            &|r| r.domain_high += 1,
            &|r| r.temperature = None,
            &|r| r.max_error += 1,
            &|r| r.set_points.stop_count += 1,
            &|r| r.timing.maximum_on_s += 1,
            &|r| r.knots[1].expanded_uncertainty += 1,
        ];
        for change in changes {
            assert_ne!(changed(change), base);
        }
    }
}
