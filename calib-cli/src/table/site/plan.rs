//! `[plan]`: the container, the stock, the levels and the oven of the bench.

use super::declaration::{Declaration, Key};
use super::document::File;
use super::soil::{WATER_CONTENT_MEND, water_share};
use crate::findings::{Findings, Refused};
use crate::table::number::quantity;
use crate::workbench::{ContainerSize, PlanKeys};
use calib_core::plan::{
    CORES_PER_LEVEL, LEVELS, MOST_HEADROOM, OVEN_PLACES, USUAL_CORES_PER_LEVEL, USUAL_HEADROOM,
    USUAL_LEVELS, USUAL_OVEN_PLACES,
};
use calib_core::quantity::{Centimetre, Fraction, Gravimetric, Millilitre, Quantity, Vwc};
use std::ops::RangeInclusive;

/// No container that soil is mixed and carried in is wider or higher than this, cm; a
/// larger figure is in millimetres. Common practice.
const LARGEST_CONTAINER_CM: f64 = 80.0;
/// A container of fewer millilitres was meant in litres. Common practice.
const LITRES_BELOW: f64 = 100.0;
/// Less water than this many percent was meant as a share. The driest sands hold
/// about as much; common practice.
const SHARE_BELOW_PERCENT: f64 = 0.1;
/// Most water in stock that can still be sieved and mixed, percent of the dry soil.
/// Our choice.
const WETTEST_STOCK_PERCENT: f64 = 60.0;

pub(super) const KEYS: &[Key] = &[
    Key::new(
        "container_diameter_cm",
        "18: inner diameter of the container, cm",
    ),
    Key::new(
        "container_height_cm",
        "20: inner height of the container, cm",
    ),
    Key::new(
        "container_volume_ml",
        "5000: inner volume of the container, ml",
    ),
    Key::new("container_tare_g", "310: the empty container, g"),
    Key::new(
        "headroom_percent",
        "10: share of the container left empty, percent",
    ),
    Key::new(
        "stock_water_percent",
        "2.5: water in the air-dry stock, percent of the dry mass",
    ),
    Key::new(
        "water_temperature_c",
        "20: temperature of the water that is added, C",
    ),
    Key::new("levels", "6: moisture levels"),
    Key::new("cores_per_level", "3: cores taken at each level"),
    Key::new("oven_places", "12: cores the oven holds at once"),
    Key::new(
        "targets",
        "[0.05, 0.12, 0.20, 0.28, 0.36]: water contents of the levels, m3/m3",
    ),
];

/// Reads the plan's keys, if there are any.
pub(super) fn read(file: &File<'_>, findings: &mut Findings) -> Result<Option<PlanKeys>, Refused> {
    let Some(table) = file.table("plan", "[plan]", KEYS, findings)? else {
        return Ok(None);
    };
    let container = container(&table, findings);
    let container_tare = table.quantity("container_tare_g", "write it in grams", findings);
    let headroom = headroom(&table, findings);
    let stock_water = stock_water(&table, findings);
    let water_temperature = table.quantity(
        "water_temperature_c",
        "write it in degrees Celsius",
        findings,
    );
    let mut whole = |key, usual, limits| count(&table, key, usual, limits, findings);
    let levels = whole("levels", USUAL_LEVELS, LEVELS);
    let cores_per_level = whole("cores_per_level", USUAL_CORES_PER_LEVEL, CORES_PER_LEVEL);
    let oven_places = whole("oven_places", USUAL_OVEN_PLACES, OVEN_PLACES);
    let targets = targets(&table, findings);
    if let (Ok(Some(_)), Ok(Some(levels))) = (&targets, &levels) {
        return findings.refuse(table.complaint(
            format!("levels = {levels} stands beside targets"),
            "keep one of the two: the list of targets says how many levels there are",
        ));
    }
    Ok(Some(PlanKeys {
        container: container?,
        container_tare: container_tare?,
        headroom: headroom?,
        stock_water: stock_water?,
        water_temperature: water_temperature?,
        levels: levels?,
        cores_per_level: cores_per_level?,
        oven_places: oven_places?,
        targets: targets?,
        line: table.line,
    }))
}

fn container(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<Option<ContainerSize>, Refused> {
    let diameter = length(table, "container_diameter_cm", findings);
    let height = length(table, "container_height_cm", findings);
    let volume = match table.number("container_volume_ml", findings)? {
        None => None,
        Some(entry) if entry.value > 0.0 && entry.value < LITRES_BELOW => {
            return findings.refuse(entry.cell.complaint(
                "looks like litres, not millilitres",
                "write it in millilitres: 5000 for 5 L",
            ));
        }
        Some(entry) => {
            let ml: Millilitre = quantity(
                entry.cell,
                entry.value,
                "write the container's inner volume in millilitres: 5000 for 5 L",
                findings,
            )?;
            Some((entry, ml))
        }
    };
    match (diameter?, height?, volume) {
        (None, None, None) => Ok(None),
        (None, None, Some((_, ml))) => Ok(Some(ContainerSize::Volume(ml))),
        (Some(diameter), Some(height), None) => {
            Ok(Some(ContainerSize::Cylinder { diameter, height }))
        }
        (_, _, Some((entry, _))) => findings.refuse(entry.cell.complaint(
            "stands beside the container's diameter or height",
            "keep one of the two: the volume, or diameter and height",
        )),
        (Some(_), None, None) => table.needed("container_height_cm", Ok(None), findings),
        (None, Some(_), None) => table.needed("container_diameter_cm", Ok(None), findings),
    }
}

fn length(
    table: &Declaration<'_>,
    key: &'static str,
    findings: &mut Findings,
) -> Result<Option<Centimetre>, Refused> {
    const IN_CM: &str = "write it in centimetres: 18 for a bucket of 180 mm";
    match table.number(key, findings)? {
        Some(entry) if entry.value > LARGEST_CONTAINER_CM => findings.refuse(entry.cell.complaint(
            format!(
                "looks like millimetres: no container for the bench measures {} cm",
                entry.value
            ),
            IN_CM,
        )),
        Some(entry) => quantity(entry.cell, entry.value, IN_CM, findings).map(Some),
        None => Ok(None),
    }
}

fn headroom(table: &Declaration<'_>, findings: &mut Findings) -> Result<Option<Fraction>, Refused> {
    let most = 100.0 * MOST_HEADROOM;
    match table.number("headroom_percent", findings)? {
        None => Ok(None),
        Some(entry) if entry.value == 0.0 || (1.0..=most).contains(&entry.value) => {
            Fraction::new(entry.value / 100.0)
                .map(Some)
                .map_err(|_| Refused)
        }
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!("is not a percentage: 0, or 1 to {most}"),
            format!(
                "write how much of the container stays empty above the soil, in percent; {} is \
                 taken where it is left out",
                100.0 * USUAL_HEADROOM
            ),
        )),
    }
}

fn stock_water(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<Option<Gravimetric>, Refused> {
    match table.number("stock_water_percent", findings)? {
        None => Ok(None),
        Some(entry) => match stock_water_of(entry.value) {
            Ok(water) => Ok(Some(water)),
            Err(what) => findings.refuse(entry.cell.complaint(what, STOCK_WATER_MEND)),
        },
    }
}

/// What to do about a water content of the stock that cannot be.
pub const STOCK_WATER_MEND: &str = "write percent of the dry soil's mass: 2.5 for 0.025, 0 for \
    oven-dry stock; weigh some stock, dry it at 105 C, and divide the water lost by the dry mass";

/// The water content of stock with `percent` of its dry mass in water, or why there is
/// none.
pub fn stock_water_of(percent: f64) -> Result<Gravimetric, &'static str> {
    if percent > 0.0 && percent < SHARE_BELOW_PERCENT {
        return Err("looks like a share of 1, not a percentage");
    }
    if percent > WETTEST_STOCK_PERCENT {
        return Err("is more than the 60 % of the dry mass with which stock can still be sieved");
    }
    Gravimetric::new(percent / 100.0).map_err(|_| "is no percentage of the dry mass")
}

fn count(
    table: &Declaration<'_>,
    key: &'static str,
    usual: usize,
    limits: RangeInclusive<usize>,
    findings: &mut Findings,
) -> Result<Option<usize>, Refused> {
    match table.number(key, findings)? {
        None => Ok(None),
        Some(entry)
            if entry.value.fract() == 0.0
                && (*limits.start() as f64..=*limits.end() as f64).contains(&entry.value) =>
        {
            Ok(Some(entry.value as usize))
        }
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!(
                "is not a whole number from {} to {}",
                limits.start(),
                limits.end()
            ),
            format!("write such a number; {usual} is taken where it is left out"),
        )),
    }
}

fn targets(table: &Declaration<'_>, findings: &mut Findings) -> Result<Option<Vec<Vwc>>, Refused> {
    let Some(entries) = table.numbers("targets", findings)? else {
        return Ok(None);
    };
    let mut targets = Vec::new();
    for entry in entries {
        let entry = water_share(entry, findings)?;
        targets.push(quantity(
            entry.cell,
            entry.value,
            WATER_CONTENT_MEND,
            findings,
        )?);
    }
    Ok(Some(targets))
}
