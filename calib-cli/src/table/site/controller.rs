//! `[controller]`: what the pump waters, and the times it must keep.

use super::declaration::{Declaration, Key};
use super::document::File;
use super::season;
use crate::failure::without_value;
use crate::findings::{Findings, Refused};
use crate::table::number::quantity;
use crate::workbench::Controller;
use calib_core::irrigation::{MAXIMUM_EVAPOTRANSPIRATION, TABLE_EVAPOTRANSPIRATION, crop};
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
    Key::new("minimum_on_s", "30: shortest time on, s"),
    Key::new("minimum_off_s", "300: shortest time off, s"),
    Key::new("maximum_on_s", "3600: longest time on, s"),
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

/// Reads the controller, if there is one.
pub(super) fn read(
    file: &File<'_>,
    findings: &mut Findings,
) -> Result<Option<Controller>, Refused> {
    let Some(table) = file.table("controller", "[controller]", KEYS, findings)? else {
        return Ok(None);
    };
    let area = table.quantity("area_m2", "write it in square metres", findings);
    let area = table.needed("area_m2", area, findings);
    let flow = table.quantity("flow_l_per_min", "write it in litres per minute", findings);
    let flow = table.needed("flow_l_per_min", flow, findings);
    let root_depth = read_root_depth(&table, findings);
    let allowed_depletion = read_share(&table, "allowed_depletion", findings);
    // A crop with figures of its own may have any name.
    let needs_figures = matches!(root_depth, Ok(None)) || matches!(allowed_depletion, Ok(None));
    let crop = read_crop(&table, needs_figures, findings);
    let evapotranspiration = read_evapotranspiration(&table, findings);
    let efficiency = read_share(&table, "application_efficiency", findings);
    let minimum_on = read_seconds(&table, "minimum_on_s", MINIMUM_ON_S, findings);
    let minimum_off = read_seconds(&table, "minimum_off_s", MINIMUM_OFF_S, findings);
    let maximum_on = read_seconds(&table, "maximum_on_s", MAXIMUM_ON_S, findings);
    let season = season::read(&table, findings);
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
        minimum_on_s: minimum_on?,
        minimum_off_s: minimum_off?,
        maximum_on_s: maximum_on?,
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

fn read_evapotranspiration(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<f64, Refused> {
    match table.number("evapotranspiration_mm_per_day", findings)? {
        None => Ok(TABLE_EVAPOTRANSPIRATION),
        Some(entry) if !(0.0..=MAXIMUM_EVAPOTRANSPIRATION).contains(&entry.value) => findings
            .refuse(entry.cell.complaint(
                format!("lies outside 0 to {MAXIMUM_EVAPOTRANSPIRATION} mm a day"),
                "give the crop's use of water in millimetres a day, 2 to 9 in most weather",
            )),
        Some(entry) => Ok(entry.value),
    }
}

fn read_root_depth(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<Option<Millimetre>, Refused> {
    let mend = "write it in millimetres: 300 for 0.3 m";
    match table.number("root_depth_mm", findings)? {
        None => Ok(None),
        Some(entry) if entry.value > 0.0 && entry.value < SHALLOWEST_ROOTS_MM => findings.refuse(
            entry
                .cell
                .complaint("looks like metres or centimetres, not millimetres", mend),
        ),
        Some(entry) => quantity(entry.cell, entry.value, mend, findings).map(Some),
    }
}

fn read_share(
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
