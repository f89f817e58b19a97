//! `[controller]`: what the pump waters, and the times it must keep.

use super::declaration::{Declaration, Key};
use super::document::File;
use super::season;
use crate::failure::without_value;
use crate::findings::{Findings, Refused};
use crate::table::number::quantity;
use crate::workbench::{Controller, GrowthStage};
use calib_core::controller::OpenCircuit;
use calib_core::irrigation::{
    DayOfReadings, LEAST_FALSE_START, MAXIMUM_EVAPOTRANSPIRATION, MOST_FALSE_START,
    TABLE_EVAPOTRANSPIRATION, crop,
};
use calib_core::quantity::{Fraction, Millimetre, Quantity};

/// Share of the water pumped that reaches the root zone, where none is given:
/// drip lines. Common practice.
const APPLICATION_EFFICIENCY: f64 = 0.9;
/// Shortest time on, s, where none is given: lines fill before they water evenly.
/// Common practice.
const MINIMUM_ON_S: u32 = 30;
/// Shortest time off, s, where none is given: motors and valves want rest, and
/// water takes time to reach the probe. Common practice.
const MINIMUM_OFF_S: u32 = 300;
/// Longest time on, s, where none is given: the most a burst line or a failed
/// probe may cost. Common practice.
const MAXIMUM_ON_S: u32 = 3600;
/// Time without any change of the count after which a probe is taken for stuck, s,
/// where none is given: a day, over which water used up and warmth move a live
/// probe by a count or more. Common practice, no source.
const STUCK_AFTER_S: u32 = 86_400;
/// Fewer equal readings than this are no sign of a stuck probe. Common practice.
const FEWEST_READINGS: u32 = 10;
/// A live probe may well give the same count for this long, s. Common practice.
const LEAST_STUCK_AFTER_S: f64 = 3600.0;
/// No soil takes in water faster than this, mm/h; a plausibility limit of our own.
const FASTEST_INFILTRATION: f64 = 2000.0;
/// No soil swings more than this over a day, C; a plausibility limit of our own.
const WIDEST_SWING_C: f64 = 40.0;
/// A root depth below this many millimetres was meant in metres or centimetres.
const SHALLOWEST_ROOTS_MM: f64 = 20.0;

pub(super) const KEYS: &[Key] = &[
    Key::new("area_m2", "120: area the pump waters, m2"),
    Key::new("flow_l_per_min", "18: flow of the pump or valve, L/min"),
    Key::new("crop", "\"lettuce\": the crop"),
    Key::new("root_depth_mm", "300: root depth, mm"),
    Key::new(
        "allowed_depletion",
        "0.3: share of the available water the crop may use up",
    ),
    Key::new(
        "evapotranspiration_mm_per_day",
        "5: water the crop uses up, mm a day",
    ),
    Key::new(
        "application_efficiency",
        "0.9: share of the water that reaches the roots",
    ),
    Key::new(
        "distribution_uniformity",
        "0.85: depth on the driest quarter over the mean depth",
    ),
    Key::new(
        "infiltration_mm_per_h",
        "15: how fast the soil takes in water, mm/h",
    ),
    Key::new("read_every_s", "60: seconds between two readings"),
    Key::new(
        "false_start_probability",
        "0.01: chance a day that the pump starts by itself",
    ),
    Key::new(
        "daily_temperature_swing_c",
        "5: swing of soil temperature over a day at the probe, C",
    ),
    Key::new("minimum_on_s", "30: shortest time on, s"),
    Key::new("minimum_off_s", "300: shortest time off, s"),
    Key::new("maximum_on_s", "3600: longest time on, s"),
    Key::new(
        "stuck_after_s",
        "86400: a count that has not changed for so long is a fault, s; 0 for never",
    ),
    Key::new(
        "open_circuit",
        "\"reads-low\": what a broken probe wire reads, reads-low or reads-high",
    ),
    Key::new(
        "relay_rated_operations",
        "100000: operations the pump's relay is rated for",
    ),
    Key::new("season_days", "180: days a year the pump is wanted"),
    Key::new(
        "probe_lag_s",
        "1200: time constant by which the probe lags behind the pump, s",
    ),
];

/// Reads the controller, if there is one. With `stages` the root depth is theirs.
pub(super) fn read(
    file: &File<'_>,
    stages: &[GrowthStage],
    findings: &mut Findings,
) -> Result<Option<Controller>, Refused> {
    let Some(table) = file.table("controller", "[controller]", KEYS, findings)? else {
        return Ok(None);
    };
    let area = table.quantity("area_m2", "write it in square metres", findings);
    let area = table.needed("area_m2", area, findings);
    let flow = table.quantity("flow_l_per_min", "write it in litres per minute", findings);
    let flow = table.needed("flow_l_per_min", flow, findings);
    let root_depth = read_depth(&table, "root_depth_mm", findings);
    let allowed_depletion = read_share(&table, "allowed_depletion", findings);
    // A crop with figures of its own may have any name.
    let depths_known = !stages.is_empty() || !matches!(root_depth, Ok(None));
    let depletions_known = !matches!(allowed_depletion, Ok(None))
        || (!stages.is_empty() && stages.iter().all(|s| s.allowed_depletion.is_some()));
    let needs_figures = !(depths_known && depletions_known);
    let crop = read_crop(&table, needs_figures, findings);
    let evapotranspiration = read_evapotranspiration(&table, findings)
        .map(|stated| stated.unwrap_or(TABLE_EVAPOTRANSPIRATION));
    let efficiency = read_share(&table, "application_efficiency", findings);
    let uniformity = read_share(&table, "distribution_uniformity", findings);
    let infiltration = read_infiltration(&table, findings);
    let usual = DayOfReadings::default();
    let read_every = read_interval(&table, usual.read_every_s, findings);
    let false_start = read_false_start(&table, usual.false_start_probability, findings);
    let swing = read_swing(&table, usual.temperature_swing_c, findings);
    let minimum_on = read_seconds(&table, "minimum_on_s", MINIMUM_ON_S, findings);
    let minimum_off = read_seconds(&table, "minimum_off_s", MINIMUM_OFF_S, findings);
    let maximum_on = read_seconds(&table, "maximum_on_s", MAXIMUM_ON_S, findings);
    let stuck_after = read_stuck_after(&table, findings);
    let open_circuit = read_open_circuit(&table, findings);
    let season = season::read(&table, findings);
    if let (Ok(interval), Ok(longest)) = (read_every, maximum_on)
        && interval > longest
    {
        return findings.refuse(table.complaint(
            format!("read_every_s = {interval} is longer than maximum_on_s = {longest}"),
            "read at least that often: only a reading can switch the pump off",
        ));
    }
    if let (Ok(interval), Ok(stuck)) = (read_every, stuck_after)
        && stuck > 0
        && stuck < FEWEST_READINGS * interval
    {
        return findings.refuse(table.complaint(
            format!("stuck_after_s = {stuck} is less than {FEWEST_READINGS} readings at read_every_s = {interval}"),
            "make it longer, read more often, or write 0 for never: a few equal counts are no stuck probe",
        ));
    }
    if let (Ok(shortest), Ok(longest)) = (minimum_on, maximum_on)
        && shortest > longest
    {
        return findings.refuse(table.complaint(
            format!("minimum_on_s = {shortest} is longer than maximum_on_s = {longest}"),
            "make the shortest time on the smaller of the two",
        ));
    }
    Ok(Some(Controller {
        area: area?,
        flow: flow?,
        crop: crop?,
        root_depth: root_depth?,
        allowed_depletion: allowed_depletion?,
        evapotranspiration: evapotranspiration?,
        application_efficiency: match efficiency? {
            Some(efficiency) => efficiency,
            None => Fraction::new(APPLICATION_EFFICIENCY).map_err(|_| Refused)?,
        },
        distribution_uniformity: match uniformity? {
            Some(uniformity) => uniformity,
            None => Fraction::new(1.0).map_err(|_| Refused)?,
        },
        infiltration_mm_per_h: infiltration?,
        minimum_on_s: minimum_on?,
        minimum_off_s: minimum_off?,
        maximum_on_s: maximum_on?,
        stuck_after_s: stuck_after?,
        open_circuit: open_circuit?,
        read_every_s: read_every?,
        false_start_probability: false_start?,
        daily_temperature_swing_c: swing?,
        season: season?,
        line: table.line,
    }))
}

fn read_crop(
    table: &Declaration<'_>,
    needs_figures: bool,
    findings: &mut Findings,
) -> Result<Option<String>, Refused> {
    let Some(entry) = table.text("crop", findings)? else {
        return Ok(None);
    };
    match crop(entry.value) {
        Err(error) if needs_figures => findings.refuse(
            entry
                .cell
                .complaint(without_value(&error.to_string(), entry.value), error.mend()),
        ),
        _ => Ok(Some(entry.value.to_owned())),
    }
}

/// The crop's use of water, mm a day, if stated.
pub(super) fn read_evapotranspiration(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<Option<f64>, Refused> {
    match table.number("evapotranspiration_mm_per_day", findings)? {
        None => Ok(None),
        Some(entry) if !(0.0..=MAXIMUM_EVAPOTRANSPIRATION).contains(&entry.value) => findings
            .refuse(entry.cell.complaint(
                format!("lies outside 0 to {MAXIMUM_EVAPOTRANSPIRATION} mm a day"),
                "give the crop's use of water in millimetres a day, 2 to 9 in most weather",
            )),
        Some(entry) => Ok(Some(entry.value)),
    }
}

fn read_stuck_after(table: &Declaration<'_>, findings: &mut Findings) -> Result<u32, Refused> {
    match table.number("stuck_after_s", findings)? {
        Some(entry) if entry.value > 0.0 && entry.value < LEAST_STUCK_AFTER_S => {
            findings.refuse(entry.cell.complaint(
                "is so short that a live probe in quiet soil would pass for stuck",
                "write an hour (3600) or more, or 0 for never",
            ))
        }
        _ => read_seconds(table, "stuck_after_s", STUCK_AFTER_S, findings),
    }
}

fn read_open_circuit(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<OpenCircuit, Refused> {
    match table.text("open_circuit", findings)? {
        None => Ok(OpenCircuit::ReadsLow),
        Some(entry) => match entry.value {
            "reads-low" => Ok(OpenCircuit::ReadsLow),
            "reads-high" => Ok(OpenCircuit::ReadsHigh),
            _ => findings.refuse(entry.cell.complaint(
                "is neither reads-low nor reads-high",
                "unplug a probe and look: near 0 is reads-low, near full scale is reads-high; \
                 a count that wanders wants a resistor from the input to ground",
            )),
        },
    }
}

fn read_infiltration(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<Option<f64>, Refused> {
    match table.number("infiltration_mm_per_h", findings)? {
        Some(entry) if !(entry.value > 0.0 && entry.value <= FASTEST_INFILTRATION) => findings
            .refuse(entry.cell.complaint(
                format!("is not above 0 and up to {FASTEST_INFILTRATION} mm an hour"),
                "write how many millimetres of water the ground takes in an hour once it is wet: \
                 press a ring into it, pour 20 mm, and take the time",
            )),
        entry => Ok(entry.map(|entry| entry.value)),
    }
}

fn read_interval(
    table: &Declaration<'_>,
    usual: u32,
    findings: &mut Findings,
) -> Result<u32, Refused> {
    match table.number("read_every_s", findings)? {
        None => Ok(usual),
        Some(entry) if entry.value.fract() == 0.0 && (1.0..=86_400.0).contains(&entry.value) => {
            Ok(entry.value as u32)
        }
        Some(entry) => findings.refuse(entry.cell.complaint(
            "is not a whole number of seconds from 1 to a day (86400)",
            format!("write how often the controller reads the probe; {usual} is taken where it is left out"),
        )),
    }
}

fn read_false_start(
    table: &Declaration<'_>,
    usual: f64,
    findings: &mut Findings,
) -> Result<f64, Refused> {
    match table.number("false_start_probability", findings)? {
        None => Ok(usual),
        Some(entry) if (LEAST_FALSE_START..=MOST_FALSE_START).contains(&entry.value) => {
            Ok(entry.value)
        }
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!("is not a chance a day from {LEAST_FALSE_START} to {MOST_FALSE_START}"),
            format!("write 0.01 for one false start in a hundred days; {usual} is taken where it is left out"),
        )),
    }
}

fn read_swing(
    table: &Declaration<'_>,
    usual: f64,
    findings: &mut Findings,
) -> Result<f64, Refused> {
    match table.number("daily_temperature_swing_c", findings)? {
        None => Ok(usual),
        Some(entry) if (0.0..=WIDEST_SWING_C).contains(&entry.value) => Ok(entry.value),
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!("lies outside 0 to {WIDEST_SWING_C} C"),
            format!("write how far the soil at the probe goes from its coolest to its warmest hour, in C; {usual} is taken where it is left out"),
        )),
    }
}

/// A depth in the soil, mm, if stated.
pub(super) fn read_depth(
    table: &Declaration<'_>,
    key: &'static str,
    findings: &mut Findings,
) -> Result<Option<Millimetre>, Refused> {
    let mend = "write it in millimetres: 300 for 0.3 m";
    match table.number(key, findings)? {
        None => Ok(None),
        Some(entry) if entry.value > 0.0 && entry.value < SHALLOWEST_ROOTS_MM => findings.refuse(
            entry
                .cell
                .complaint("looks like metres or centimetres, not millimetres", mend),
        ),
        Some(entry) => quantity(entry.cell, entry.value, mend, findings).map(Some),
    }
}

/// A share above 0 and up to 1, if stated.
pub(super) fn read_share(
    table: &Declaration<'_>,
    key: &'static str,
    findings: &mut Findings,
) -> Result<Option<Fraction>, Refused> {
    let mend = "write a share above 0 and up to 1: 0.4 for 40 %";
    match table.number(key, findings)? {
        None => Ok(None),
        Some(entry) if entry.value > 1.0 && entry.value <= 100.0 => findings.refuse(
            entry
                .cell
                .complaint("looks like a percentage, not a share", mend),
        ),
        Some(entry) if entry.value <= 0.0 => {
            findings.refuse(entry.cell.complaint("is not above 0", mend))
        }
        Some(entry) => quantity(entry.cell, entry.value, mend, findings).map(Some),
    }
}

pub(super) fn read_seconds(
    table: &Declaration<'_>,
    key: &'static str,
    usual: u32,
    findings: &mut Findings,
) -> Result<u32, Refused> {
    match table.number(key, findings)? {
        None => Ok(usual),
        Some(entry) if entry.value.fract() == 0.0 && (0.0..=86_400.0).contains(&entry.value) => {
            Ok(entry.value as u32)
        }
        Some(entry) => findings.refuse(entry.cell.complaint(
            "is not a whole number of seconds up to a day (86400)",
            format!("write whole seconds; {usual} is taken where it is left out"),
        )),
    }
}
