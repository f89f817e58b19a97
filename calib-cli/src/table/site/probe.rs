//! `[[probe]]`: each probe, its converter and the soil it is calibrated in.

use super::all_or_refused;
use super::controller::read_depth;
use super::declaration::{Declaration, Key};
use super::document::File;
use super::id::read_id;
use crate::findings::{Cell, Findings, Refused};
use crate::table::names::{BATCH, COUNTS_WHEN_WETTER, direction_word};
use crate::table::nearest::{listed, nearest};
use crate::workbench::{Probe, Soil};
use calib_core::calibration::Direction;

/// Bits a converter may have: fewer cannot calibrate, more do not fit the
/// controller's tables.
const BITS: std::ops::RangeInclusive<f64> = 8.0..=16.0;
/// A voltage below this many millivolts was meant in volts.
pub const LOWEST_MILLIVOLTS: f64 = 100.0;
/// A voltage above this many millivolts is no supply of a probe.
pub const HIGHEST_MILLIVOLTS: f64 = 60_000.0;

/// A relative uncertainty of the supply above this is a percentage or a slip: a
/// supply that moves by a tenth is no reference. Common practice.
const LARGEST_SUPPLY_U: f64 = 0.1;
/// Share of the converter's range above which a standard deviation between probes
/// leaves nothing to calibrate. Common practice.
const LARGEST_PROBE_TO_PROBE: f64 = 0.1;

pub(super) const KEYS: &[Key] = &[
    Key::new("id", "\"P1\": the probe's identifier"),
    Key::new(BATCH, "\"2026-A\": batch it was made or bought in"),
    Key::new("adc_bits", "10: bits of the converter it is read with"),
    Key::new(
        "reference_mv",
        "3300: reference voltage of the converter, mV",
    ),
    Key::new(
        "supply_relative_u",
        "0.002: relative standard uncertainty of the supply or reference",
    ),
    Key::new(
        "probe_to_probe_counts",
        "6: standard deviation between probes of the type, counts",
    ),
    Key::new(
        COUNTS_WHEN_WETTER,
        "\"unknown\": \"rise\", \"fall\" or \"unknown\"",
    ),
    Key::new(
        "threshold_count",
        "540: the one raw count at which the pump was switched so far",
    ),
    Key::new("soil", "\"loam\": id of the soil it is calibrated in"),
    Key::new("depth_mm", "150: how deep it lies, mm"),
    Key::new(
        "counts_per_c",
        "0.4: counts by which it moves per degree, where no correction was fitted",
    ),
    Key::new(
        "drift_counts",
        "2: counts by which it may drift within a day",
    ),
];

/// Reads every probe. A soil can only be called unknown if all `soils` are known.
pub(super) fn read_all(
    file: &File<'_>,
    soils: Option<&[Soil]>,
    findings: &mut Findings,
) -> Result<Vec<Probe>, Refused> {
    let tables = file.tables("probe", "[[probe]]", KEYS, findings)?;
    let mut taken = Vec::new();
    all_or_refused(
        tables
            .iter()
            .map(|table| read(table, &mut taken, soils, findings))
            .collect(),
    )
}

fn read(
    table: &Declaration<'_>,
    taken: &mut Vec<(String, u64)>,
    soils: Option<&[Soil]>,
    findings: &mut Findings,
) -> Result<Probe, Refused> {
    let id = read_id(table, taken, findings);
    let batch = read_batch(table, findings);
    let bits = table.number("adc_bits", findings);
    let bits = match table.needed("adc_bits", bits, findings) {
        Ok(entry) if BITS.contains(&entry.value) && entry.value.fract() == 0.0 => {
            Ok(entry.value as u8)
        }
        Ok(entry) => findings.refuse(entry.cell.complaint(
            "is not a whole number of bits from 8 to 16",
            "write the converter's bits: 10 if its counts end at 1023, 12 at 4095, 16 at 65535",
        )),
        Err(Refused) => Err(Refused),
    };
    let reference = match table.number("reference_mv", findings) {
        Ok(Some(entry)) => millivolts(entry.cell, entry.value, findings).map(Some),
        Ok(None) => Ok(None),
        Err(Refused) => Err(Refused),
    };
    let supply = read_supply(table, findings);
    let between = read_probe_to_probe(table, bits.ok(), findings);
    let direction = read_direction(table, findings);
    let depth = read_depth(table, "depth_mm", findings);
    let counts_per_c = read_counts(table, "counts_per_c", bits.ok(), true, findings);
    let drift = read_counts(table, "drift_counts", bits.ok(), false, findings);
    let threshold = read_threshold(table, bits.ok(), findings);
    let soil = table.text("soil", findings);
    let soil = table.needed("soil", soil, findings)?;
    let (id, direction) = (id?, direction?);
    if let Some(soils) = soils {
        known_soil(soil.cell, soils, findings)?;
    }
    Ok(Probe {
        id,
        batch: batch?,
        adc_bits: bits?,
        reference_mv: reference?,
        supply_relative_u: supply?,
        probe_to_probe_counts: between?,
        direction,
        threshold_count: threshold?,
        soil: soil.value.to_owned(),
        media: None,
        depth: depth?,
        counts_per_c: counts_per_c?,
        drift_counts: drift?.unwrap_or(0.0),
        line: table.line,
    })
}

fn read_batch(table: &Declaration<'_>, findings: &mut Findings) -> Result<Option<String>, Refused> {
    let batch = table.text(BATCH, findings)?;
    Ok(batch.map(|entry| entry.value.to_owned()))
}

/// Where the bits are not known, a converter of the most bits sets the limit.
fn read_threshold(
    table: &Declaration<'_>,
    bits: Option<u8>,
    findings: &mut Findings,
) -> Result<Option<u32>, Refused> {
    let largest = f64::from(bits.unwrap_or(*BITS.end() as u8)).exp2() - 1.0;
    match table.number("threshold_count", findings)? {
        None => Ok(None),
        Some(entry) if entry.value.fract() == 0.0 && (0.0..=largest).contains(&entry.value) => {
            Ok(Some(entry.value as u32))
        }
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!("is not a whole count from 0 to {largest}"),
            "write the raw count the pump was switched at, as the converter gave it",
        )),
    }
}

fn read_supply(table: &Declaration<'_>, findings: &mut Findings) -> Result<f64, Refused> {
    let mend = "write a share of the reading: 0.002 for 0.2 %; leave the key out where the \
                converter measures against the voltage that feeds the probe";
    match table.number("supply_relative_u", findings)? {
        None => Ok(0.0),
        Some(entry) if (0.0..=LARGEST_SUPPLY_U).contains(&entry.value) => Ok(entry.value),
        Some(entry) if entry.value > LARGEST_SUPPLY_U && entry.value < 100.0 => findings.refuse(
            entry
                .cell
                .complaint("looks like a percentage, not a share", mend),
        ),
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!("is not a relative standard uncertainty from 0 to {LARGEST_SUPPLY_U}"),
            mend,
        )),
    }
}

fn read_probe_to_probe(
    table: &Declaration<'_>,
    bits: Option<u8>,
    findings: &mut Findings,
) -> Result<f64, Refused> {
    let most = largest_share(bits);
    match table.number("probe_to_probe_counts", findings)? {
        None => Ok(0.0),
        Some(entry) if (0.0..=most).contains(&entry.value) => Ok(entry.value),
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!("is not a standard deviation from 0 to {most} counts, a tenth of the converter's range"),
            "read several probes of the type side by side in one soil and write the standard \
             deviation of their counts; leave the key out if no other probe shares the calibration",
        )),
    }
}

/// A number of counts, below a tenth of the converter's range, if stated.
fn read_counts(
    table: &Declaration<'_>,
    key: &'static str,
    bits: Option<u8>,
    may_fall: bool,
    findings: &mut Findings,
) -> Result<Option<f64>, Refused> {
    let most = largest_share(bits);
    let least = if may_fall { -most } else { 0.0 };
    match table.number(key, findings)? {
        Some(entry) if !(least..=most).contains(&entry.value) => {
            findings.refuse(entry.cell.complaint(
                format!("lies outside {least} to {most} counts, a tenth of the converter's range"),
                "write it in counts of this converter",
            ))
        }
        entry => Ok(entry.map(|entry| entry.value)),
    }
}

/// [`LARGEST_PROBE_TO_PROBE`] of the converter's range, counts. Where the bits are
/// not known, a converter of the most bits sets the limit.
fn largest_share(bits: Option<u8>) -> f64 {
    let range = f64::from(bits.unwrap_or(*BITS.end() as u8)).exp2();
    (LARGEST_PROBE_TO_PROBE * range).floor()
}

fn read_direction(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<Option<Direction>, Refused> {
    let Some(entry) = table.text(COUNTS_WHEN_WETTER, findings)? else {
        return Ok(None);
    };
    let directions = [Direction::RisesWhenWetter, Direction::FallsWhenWetter];
    let named = |direction: &Direction| direction_word(*direction) == entry.value;
    match directions.into_iter().find(named) {
        Some(direction) => Ok(Some(direction)),
        None if entry.value == "unknown" => Ok(None),
        None => findings.refuse(entry.cell.complaint(
            "is none of \"rise\", \"fall\" and \"unknown\"",
            "write \"unknown\" if you have not watched it; the cores will tell",
        )),
    }
}

/// A voltage in millivolts, wherever it is given.
pub fn millivolts(cell: Cell<'_>, value: f64, findings: &mut Findings) -> Result<f64, Refused> {
    let mend = "write it in millivolts: 3300 for 3.3 V";
    if value > 0.0 && value < LOWEST_MILLIVOLTS {
        findings.refuse(cell.complaint("looks like volts, not millivolts", mend))
    } else if !(LOWEST_MILLIVOLTS..=HIGHEST_MILLIVOLTS).contains(&value) {
        findings.refuse(cell.complaint(
            format!("lies outside {LOWEST_MILLIVOLTS} to {HIGHEST_MILLIVOLTS} mV"),
            mend,
        ))
    } else {
        Ok(value)
    }
}

/// The soil that `cell` names.
pub fn known_soil<'s>(
    cell: Cell<'_>,
    soils: &'s [Soil],
    findings: &mut Findings,
) -> Result<&'s Soil, Refused> {
    known(cell, "soil", soils, |soil| &soil.id, findings)
}

/// The probe that `cell` names.
pub fn known_probe<'p>(
    cell: Cell<'_>,
    probes: &'p [Probe],
    findings: &mut Findings,
) -> Result<&'p Probe, Refused> {
    known(cell, "probe", probes, |probe| &probe.id, findings)
}

fn known<'t, T>(
    cell: Cell<'_>,
    kind: &str,
    things: &'t [T],
    id: impl Fn(&T) -> &str,
    findings: &mut Findings,
) -> Result<&'t T, Refused> {
    if let Some(thing) = things.iter().find(|thing| id(thing) == cell.text) {
        return Ok(thing);
    }
    let ids = || things.iter().map(&id);
    let mend = match nearest(cell.text, ids()) {
        Some(near) => format!("write {near}, or add the {kind} to site.toml"),
        None => format!("add the {kind} to site.toml; it knows {}", listed(ids())),
    };
    findings.refuse(cell.complaint(format!("is not a {kind} of site.toml"), mend))
}
