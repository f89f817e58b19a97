//! The image against its documentation, and damaged.

use super::*;
use crate::controller::example::record;

fn again(record: &ControllerRecord) -> Result<ControllerRecord, ControllerError> {
    ControllerRecord::from_image(&record.image(), &record.probe, &record.soil)
}

#[test]
fn the_image_is_the_one_documented() {
    let image = record().image();
    assert_eq!(image.len(), 62 + 6 * 3 + 4);
    assert_eq!(image[..10], [2, 3, 16, 3, 0xFF, 3, 10, 0, 0xF5, 3]);
    let number = |at: usize| u32::from_le_bytes(image[at..at + 4].try_into().unwrap());
    assert_eq!(number(16), 8389);
    assert_eq!((number(20), number(24)), (4808, 11_192));
    assert_eq!(number(50), 86_400);
    assert_eq!(number(58), 20_260_402);
    assert_eq!(image[62..64], 300_u16.to_le_bytes());
    assert_eq!(image[68..70], 4000_i16.to_le_bytes());
    assert_eq!(image[74..76], 250_u16.to_le_bytes());
    assert_eq!(number(80), record().crc32());
}

/// Bit by bit from the definition, as a small controller computes it.
fn bitwise(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
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
    assert_eq!(bitwise(b"123456789"), 0xCBF4_3926);
    assert_eq!(record().crc32(), bitwise(&record().bytes()));
}

#[test]
fn an_image_gives_its_record_back() {
    let mut other = record();
    assert_eq!(again(&other).as_ref(), Ok(&other));
    other.temperature = None;
    other.direction = Direction::RisesWhenWetter;
    other.live.open_circuit = OpenCircuit::ReadsHigh;
    other.knots[2].theta_v = -5;
    other.adc_bits = 16;
    assert_eq!(again(&other).as_ref(), Ok(&other));
}

#[test]
fn a_damaged_image_is_refused() {
    let image = record().image();
    for length in 0..image.len() {
        assert!(ControllerRecord::from_image(&image[..length], "p", "s").is_err());
    }
    for position in 0..image.len() {
        for bit in 0..8 {
            let mut damaged = image.clone();
            damaged[position] ^= 1 << bit;
            assert!(ControllerRecord::from_image(&damaged, "p", "s").is_err());
        }
    }
}

#[test]
fn unused_bits_and_numbers_must_be_zero() {
    let mut bare = record();
    bare.temperature = None;
    for (position, value) in [(1, 0x81), (2, 8), (10, 1), (16, 1), (4, 0xFE)] {
        let mut image = bare.bytes();
        image[position] = value;
        image.extend(crc32fast::hash(&image).to_le_bytes());
        assert!(
            matches!(
                ControllerRecord::from_image(&image, "p", "s"),
                Err(ControllerError::Image { .. })
            ),
            "{position}"
        );
    }
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
    let changes: [&dyn Fn(&mut ControllerRecord); 12] = [
        &|r| r.version += 1,
        &|r| r.adc_bits += 1,
        &|r| r.direction = Direction::RisesWhenWetter,
        &|r| r.live.low += 1,
        &|r| r.live.open_circuit = OpenCircuit::ReadsHigh,
        &|r| r.domain_high += 1,
        &|r| r.temperature = None,
        &|r| r.max_error += 1,
        &|r| r.set_points.stop_count += 1,
        &|r| r.timing.maximum_on_s += 1,
        &|r| r.timing.stuck_after_s += 1,
        &|r| r.knots[1].expanded_uncertainty += 1,
    ];
    for change in changes {
        assert_ne!(changed(change), base);
    }
}
