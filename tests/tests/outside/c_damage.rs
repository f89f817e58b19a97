//! A table damaged in any small way is refused by the C reader, and one whose
//! CRC-32 was mended after is judged as we judge it; nothing undefined happens
//! in judging, nor in using what is found sound.
//!
//! Outside: clang's sanitisers for addresses and undefined behaviour.

use super::c_compilers::made_up;
use super::reader::{WARNINGS, put_table, readings};
use crate::{Check, output_of};
use calib_core::controller::{ControllerRecord, ControllerTable};
use ovendry_tests::Bench;
use ovendry_tests::controller::worked_example;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "a damaged table is refused in C, a mended one judged as we do",
    needs: &["clang"],
    run,
};

/// Whether we take an image.
fn sound(image: &[u8]) -> bool {
    ControllerRecord::from_image(image, "p", "s")
        .and_then(ControllerTable::check)
        .is_ok()
}

fn mend(image: &mut [u8]) {
    if let Some((body, crc)) = image.split_last_chunk_mut::<4>() {
        *crc = crc32fast::hash(body).to_le_bytes();
    }
}

/// Our verdicts on every damage of `damage.c`, in its order.
fn verdicts(image: &[u8]) -> Vec<bool> {
    let mut verdicts = Vec::new();
    for mended in [false, true] {
        let mut judge = |mut damaged: Vec<u8>| {
            if mended {
                mend(&mut damaged);
            }
            verdicts.push(sound(&damaged));
        };
        for bit in 0..8 * image.len() {
            let mut damaged = image.to_vec();
            damaged[bit / 8] ^= 1 << (bit % 8);
            judge(damaged);
        }
        for length in 0..image.len() {
            judge(image[..length].to_vec());
        }
    }
    verdicts
}

fn agrees(table: &ControllerTable) -> Result<(usize, usize), String> {
    let bench = Bench::empty();
    put_table(&bench, table, &readings(table, 200), &[0]);
    bench.put("damage.c", include_str!("targets/damage.c"));
    output_of(
        Command::new("clang")
            .current_dir(bench.path())
            .args(["-std=c99", "-O1", "-fsanitize=undefined,address"])
            .arg("-fno-sanitize-recover=all")
            .args(WARNINGS)
            .args(["damage.c", "-o", "damage"]),
    )?;
    let bytes = output_of(&mut Command::new(bench.path().join("damage")))?;
    let image = table.image();
    let ours = verdicts(&image);
    if bytes.len() != ours.len() {
        return Err(format!("{} verdicts, not {}", bytes.len(), ours.len()));
    }
    for (i, (theirs, ours)) in bytes.iter().zip(&ours).enumerate() {
        let as_it_is = i < ours_per_pass(&image);
        if (*theirs != 0) != *ours || (as_it_is && *ours) {
            return Err(format!(
                "probe {}, damage {i} (bits turned, then cuts; as it is, then mended): C says {theirs}, we say {ours}",
                table.record().probe
            ));
        }
    }
    Ok((ours.len(), ours.iter().filter(|sound| **sound).count()))
}

fn ours_per_pass(image: &[u8]) -> usize {
    9 * image.len()
}

fn run() -> Result<(), String> {
    let example = ControllerTable::check(worked_example()).map_err(|error| error.to_string())?;
    for table in [example, made_up(9), made_up(11), made_up(12)] {
        let (damages, sound) = agrees(&table)?;
        println!(
            "{} knots: {damages} damages judged alike, {sound} of them mended into another sound table",
            table.record().knots.len()
        );
        if sound == 0 {
            return Err("no mended table was sound, so none was used".into());
        }
    }
    Ok(())
}
