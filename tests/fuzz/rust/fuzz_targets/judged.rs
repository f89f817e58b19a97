//! What must hold for any bytes at all. The fuzzer calls these, and so does the test
//! that runs the kept corpus (`tests/tests/fuzz_corpus.rs`).

use calib_cli::controller::{FORMATS, load, load_fleet, render, render_fleet};
use calib_core::controller::{ControllerRecord, ControllerTable, Pump};

/// Any bytes as a controller file of any format: no panic, and whatever is loaded
/// is written again as the same bytes. The first byte chooses the format and
/// whether the digests are mended, so that what lies behind them is reached.
///
/// # Panics
/// If that does not hold.
#[allow(dead_code)]
pub fn any_bytes_as_a_file(bytes: &[u8]) {
    let Some((choice, bytes)) = bytes.split_first() else {
        return;
    };
    let number = usize::from(choice / 2) % (FORMATS.len() + 1);
    let format = FORMATS.get(number).copied().unwrap_or(FORMATS[0]);
    let bytes = match (choice % 2, std::str::from_utf8(bytes)) {
        (1, Ok(body)) => format.seal().close(body.to_owned()).into_bytes(),
        _ => bytes.to_vec(),
    };
    if number < FORMATS.len() {
        if let Ok(table) = load(format, &bytes) {
            assert_eq!(render(format, &table).as_bytes(), bytes);
        }
    } else if let Ok(tables) = load_fleet(&bytes) {
        assert_eq!(render_fleet(&tables).as_bytes(), bytes);
    }
}

/// Any bytes as the image of a table, as they are and with the CRC-32 mended: no
/// panic and no overflow, at any code and temperature, nor in the pump; theta_v
/// stays between the knots, and the pump never runs with a fault.
///
/// # Panics
/// If that does not hold.
#[allow(dead_code)]
pub fn any_bytes_as_an_image(bytes: &[u8]) {
    image(bytes);
    if let Some((body, _)) = bytes.split_last_chunk::<4>() {
        let mut mended = body.to_vec();
        mended.extend(crc32fast::hash(body).to_le_bytes());
        image(&mended);
    }
}

fn image(image: &[u8]) {
    let Ok(record) = ControllerRecord::from_image(image, "p", "s") else {
        return;
    };
    assert_eq!(record.image(), image);
    let Ok(table) = ControllerTable::check(record) else {
        return;
    };
    let term = table.record().temperature;
    let temperatures = term.map_or(vec![None, Some(0)], |term| {
        vec![
            None,
            Some(i16::MIN),
            Some(term.lowest_centi),
            Some(term.reference_centi),
            Some(term.highest_centi),
            Some(i16::MAX),
        ]
    });
    let mut pump = Pump::start(&table, 0);
    let mut now = 0_u32;
    for code in
        (0..=u32::from(table.full_scale()) + 1).step_by(1 + usize::from(table.full_scale()) / 997)
    {
        for temperature in &temperatures {
            if let Ok(reading) = table.evaluate(code, *temperature) {
                let knots = &table.record().knots;
                let ends = [knots[0].theta_v, knots[knots.len() - 1].theta_v];
                assert!(reading.theta_v >= ends[0].min(ends[1]));
                assert!(reading.theta_v <= ends[0].max(ends[1]));
            }
            let step = pump.step(now, code, *temperature);
            assert!(step.answer.is_ok() || !step.on());
            now = now.wrapping_add(code.wrapping_mul(7919));
        }
    }
}
