//! A table damaged in any small way is refused by the C reader, and one whose
//! CRC-32 was mended after is judged as we judge it; nothing undefined happens
//! in judging, nor in using what is found sound.
//!
//! Outside: clang's sanitisers for addresses and undefined behaviour.

use super::c_compilers::made_up;
use super::reader::{WARNINGS, put_readings, readings};
use crate::{Check, output_of};
use calib_core::controller::{
    ControllerRecord, ControllerTable, IntegerSetPoints, IntegerTemperature, Knot, LiveCodes,
};
use ovendry_tests::Bench;
use ovendry_tests::controller::worked_example;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "a damaged table is refused in C, a mended one judged as we do",
    needs: &["clang"],
    run,
};

/// Bytes that may be a table.
struct Suspect {
    image: Vec<u8>,
    what: String,
    mended: bool,
    /// Whether it is used, too, if it is sound.
    used: bool,
}

/// Numbers at the limits of some number of a table, for two and four bytes.
const LIMITS: [u32; 46] = [
    0,
    1,
    2,
    7,
    8,
    9,
    15,
    16,
    17,
    254,
    255,
    256,
    511,
    1023,
    1024,
    4095,
    4096,
    8500,
    8501,
    9999,
    10_000,
    10_001,
    12_000,
    12_001,
    32_767,
    32_768,
    63_536,
    63_535,
    61_536,
    61_535,
    65_535,
    604_800,
    604_801,
    19_691_231,
    19_700_101,
    20_000_229,
    20_240_229,
    20_250_100,
    20_250_229,
    20_250_332,
    20_250_430,
    20_250_431,
    20_251_301,
    21_000_229,
    99_991_231,
    100_000_101,
];

/// By how much a number is raised or lowered.
const STEPS: [u32; 13] = [1, 2, 3, 5, 7, 8, 13, 15, 16, 17, 100, 255, 10_000];

fn mend(image: &mut [u8]) {
    if let Some((body, crc)) = image.split_last_chunk_mut::<4>() {
        *crc = crc32fast::hash(body).to_le_bytes();
    }
}

/// Every bit turned, every cut, each also mended; and, mended, every two and four
/// bytes set to a limit and raised and lowered a little.
fn suspects(image: &[u8]) -> Vec<Suspect> {
    let mut suspects = Vec::new();
    let mut add = |what: String, mut image: Vec<u8>, mended: bool, used: bool| {
        if mended {
            mend(&mut image);
        }
        suspects.push(Suspect {
            image,
            what,
            mended,
            used,
        });
    };
    for mended in [false, true] {
        for bit in 0..8 * image.len() {
            let mut damaged = image.to_vec();
            damaged[bit / 8] ^= 1 << (bit % 8);
            add(format!("bit {bit}"), damaged, mended, true);
        }
        for length in 0..image.len() {
            add(
                format!("cut at {length}"),
                image[..length].to_vec(),
                mended,
                true,
            );
        }
    }
    for at in 0..image.len() - 4 {
        let mut set = |bytes: &[u8]| {
            let mut damaged = image.to_vec();
            damaged[at..at + bytes.len()].copy_from_slice(bytes);
            add(format!("{bytes:?} at {at}"), damaged, true, false);
        };
        let two = u16::from_le_bytes([image[at], image[at + 1]]);
        let four = u32::from_le_bytes([image[at], image[at + 1], image[at + 2], image[at + 3]]);
        for limit in LIMITS {
            set(&limit.to_le_bytes());
            set(&(limit as u16).to_le_bytes());
        }
        for step in STEPS {
            set(&four.wrapping_add(step).to_le_bytes());
            set(&four.wrapping_sub(step).to_le_bytes());
            set(&two.wrapping_add(step as u16).to_le_bytes());
            set(&two.wrapping_sub(step as u16).to_le_bytes());
        }
    }
    suspects
}

fn agrees(table: &ControllerTable) -> Result<(usize, usize), String> {
    let bench = Bench::empty();
    put_readings(&bench, &readings(table, 200));
    bench.put("damage.c", include_str!("targets/damage.c"));
    output_of(
        Command::new("clang")
            .current_dir(bench.path())
            .args(["-std=c99", "-O1", "-fsanitize=undefined,address"])
            .arg("-fno-sanitize-recover=all")
            .args(WARNINGS)
            .args(["damage.c", "-o", "damage"]),
    )?;
    let suspects = suspects(&table.image());
    let mut given = Vec::new();
    for suspect in &suspects {
        given.push(u8::from(suspect.used));
        given.extend((suspect.image.len() as u16).to_le_bytes());
        given.extend(&suspect.image);
    }
    bench.put("suspects", given);
    let from = std::fs::File::open(bench.path().join("suspects")).map_err(|e| e.to_string())?;
    let verdicts = output_of(Command::new(bench.path().join("damage")).stdin(from))?;
    if verdicts.len() != suspects.len() {
        return Err(format!("{} verdicts of {}", verdicts.len(), suspects.len()));
    }
    let mut sound = 0;
    for (suspect, verdict) in suspects.iter().zip(verdicts) {
        let ours =
            ControllerRecord::from_image(&suspect.image, "p", "s").and_then(ControllerTable::check);
        if (verdict != 0) != ours.is_ok() || (verdict != 0 && !suspect.mended) {
            return Err(format!(
                "probe {}, {} (mended: {}): C says {verdict}, we say {:?}",
                table.record().probe,
                suspect.what,
                suspect.mended,
                ours.err().map(|error| error.to_string())
            ));
        }
        sound += usize::from(verdict != 0);
    }
    Ok((suspects.len(), sound))
}

/// The documented example as near to its limits as it can be: dates and times
/// that meet, and live codes that just cut off none with an answer.
fn tight() -> ControllerRecord {
    let mut record = worked_example();
    record.dates.recheck_by = record.dates.calibrated_on;
    record.timing.minimum_on_s = record.timing.maximum_on_s;
    record.live.low = 306;
    record.live.high = 703;
    record
}

/// The longest step between knots and the largest product with a temperature.
fn large() -> ControllerRecord {
    let example = worked_example();
    let knot = |count, theta_v| Knot {
        count,
        theta_v,
        expanded_uncertainty: 10_000,
    };
    ControllerRecord {
        adc_bits: 16,
        live: LiveCodes {
            low: 0,
            high: u16::MAX,
            ..example.live
        },
        domain_low: 16_000,
        domain_high: 95_990,
        temperature: example.temperature.map(|term| IntegerTemperature {
            lowest_centi: 1150,
            highest_centi: 2850,
            coefficient: (i32::MAX - 32_768) / 850,
            ..term
        }),
        max_error: 1,
        knots: vec![knot(1000, 12_000), knot(5095, -1000), knot(6000, -2000)],
        set_points: IntegerSetPoints {
            refill: -1890,
            stop: 12_000,
            refill_count: 5900,
            stop_count: 1000,
        },
        ..example
    }
}

fn run() -> Result<(), String> {
    for record in [
        worked_example(),
        tight(),
        large(),
        made_up(9).record().clone(),
        made_up(11).record().clone(),
        made_up(12).record().clone(),
    ] {
        let table = ControllerTable::check(record).map_err(|error| error.to_string())?;
        let (judged, sound) = agrees(&table)?;
        println!(
            "{} knots: {judged} damages judged alike, {sound} of them mended into another sound table",
            table.record().knots.len()
        );
        if sound == 0 {
            return Err("no mended table was sound, so none was used".into());
        }
    }
    Ok(())
}
