//! `[site]`, `[balance]`, `[ring]` and `[readings]`.

use super::declaration::{Entry, Key};
use super::document::File;
use crate::failure::Complaint;
use crate::findings::{Cell, Findings, Refused};
use crate::table::number::quantity;
use crate::table::time::{Clock, PatternFault, parse_offset};
use crate::workbench::{Balance, RingSize};
use calib_core::quantity::Centimetre;

/// Standard uncertainty assumed for a ring's diameter, cm: a caliper read to
/// 0.1 mm. Common practice.
const DIAMETER_U_CM: f64 = 0.01;
/// Standard uncertainty assumed for a ring's height, cm: wider than the
/// diameter's, for soil struck off by hand. Common practice.
const HEIGHT_U_CM: f64 = 0.02;
/// Standard uncertainty assumed for the soil temperature sensor, C. Common
/// practice for a digital one-wire sensor.
const TEMPERATURE_U_C: f64 = 0.5;
/// Length of the window of readings before a core, minutes, where none is given.
const WINDOW_MINUTES: f64 = 30.0;
/// No sampling ring is wider or higher than this, cm; a larger figure is a ring
/// measured in millimetres. Common practice.
const LARGEST_RING_CM: f64 = 20.0;

pub(super) const SITE: &[Key] = &[
    Key::new("name", "\"...\": the site's name"),
    Key::new(
        "time_format",
        "\"%d/%m/%Y %H:%M\": the pattern of the times, or a list of patterns",
    ),
    Key::new("utc_offset", "\"+01:00\": the offset of the times from UTC"),
];
pub(super) const BALANCE: &[Key] = &[
    Key::new(
        "resolution_g",
        "0.01: the smallest step the balance shows, g",
    ),
    Key::new(
        "repeatability_g",
        "0.01: the standard deviation of repeated weighings, g",
    ),
];
pub(super) const RING: &[Key] = &[
    Key::new("diameter_cm", "5.0: the ring's inner diameter, cm"),
    Key::new("height_cm", "5.0: the ring's height, cm"),
    Key::new(
        "diameter_u_cm",
        "0.01: standard uncertainty of the diameter, cm",
    ),
    Key::new(
        "height_u_cm",
        "0.02: standard uncertainty of the height, cm",
    ),
];
pub(super) const READINGS: &[Key] = &[
    Key::new(
        "window_minutes",
        "30: readings this long before a core belong to it",
    ),
    Key::new(
        "temperature_u_c",
        "0.5: standard uncertainty of the soil temperature sensor, C",
    ),
];

/// The ring that holds for cores which give none, and the uncertainties that
/// hold for all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    /// Inner diameter.
    pub diameter: Option<Centimetre>,
    /// Height.
    pub height: Option<Centimetre>,
    /// Standard uncertainty of the diameter, cm.
    pub diameter_u: f64,
    /// Standard uncertainty of the height, cm.
    pub height_u: f64,
}

impl Ring {
    /// Its size, where both measures are given.
    pub(super) fn size(&self) -> Option<RingSize> {
        Some(RingSize {
            diameter: self.diameter?,
            height: self.height?,
        })
    }
}

/// The name and how times are written.
pub(super) fn read_site(
    file: &File<'_>,
    findings: &mut Findings,
) -> Result<(String, Clock), Refused> {
    let Some(table) = file.table("site", "[site]", SITE, findings)? else {
        return findings.refuse(Complaint::about(
            &file.source.file,
            "has no [site]",
            "add [site] and below it name = \"...\": the site's name",
        ));
    };
    let name = table.text("name", findings);
    let name = table.needed("name", name, findings);
    let offset = table.text("utc_offset", findings);
    let patterns = table.texts("time_format", findings);
    let offset = match offset? {
        None => None,
        Some(entry) => match parse_offset(entry.value) {
            Some(offset) => Some(offset),
            None => {
                return findings.refuse(entry.cell.complaint(
                    "is not an offset from UTC",
                    "write it like \"+01:00\", \"-03:30\" or \"Z\"; a zone's name will not do, \
                     since summer time would shift it",
                ));
            }
        },
    };
    let patterns = patterns?;
    let clock = Clock {
        patterns: patterns.iter().map(|p| p.value.to_owned()).collect(),
        offset,
    };
    for entry in patterns {
        let Err(fault) = clock.check_pattern(entry.value) else {
            continue;
        };
        let (what, mend) = match fault {
            PatternFault::Unreadable | PatternFault::Incomplete => (
                "does not fix a time to the minute",
                "name year, month, day, hour and minute, as in \"%d/%m/%Y %H:%M\" \
                 (%Y year, %m month, %d day, %H hour, %M minute, %S second, %I with %p for am/pm)",
            ),
            PatternFault::NoOffset => (
                "carries no offset from UTC, and utc_offset is not declared",
                "add utc_offset = \"+01:00\" (your own) below it",
            ),
        };
        return findings.refuse(entry.cell.complaint(what, mend));
    }
    Ok((name?.value.to_owned(), clock))
}

/// The balance.
pub(super) fn read_balance(file: &File<'_>, findings: &mut Findings) -> Result<Balance, Refused> {
    let Some(table) = file.table("balance", "[balance]", BALANCE, findings)? else {
        return findings.refuse(Complaint::about(
            &file.source.file,
            "has no [balance]",
            "add [balance] and below it resolution_g = 0.01: the smallest step the balance shows, g",
        ));
    };
    let resolution = table.number("resolution_g", findings);
    let resolution = table.needed("resolution_g", resolution, findings);
    let repeatability = table.number("repeatability_g", findings);
    let (resolution, repeatability) = (resolution?, repeatability?);
    let mut check = |entry: Entry<'_, f64>, zero_allowed: bool| {
        let enough = entry.value > 0.0 || (zero_allowed && entry.value == 0.0);
        if enough && entry.value <= 10.0 {
            Ok(entry.value)
        } else {
            findings.refuse(entry.cell.complaint(
                "is not a step of a balance fit for cores: above 0 and up to 10 g",
                "write it in grams, e.g. 0.01",
            ))
        }
    };
    let resolution_g = check(resolution, false)?;
    Ok(Balance {
        resolution_g,
        repeatability_g: match repeatability {
            Some(entry) => check(entry, true)?,
            None => resolution_g,
        },
    })
}

/// The ring.
pub(super) fn read_ring(file: &File<'_>, findings: &mut Findings) -> Result<Ring, Refused> {
    let Some(table) = file.table("ring", "[ring]", RING, findings)? else {
        return Ok(Ring {
            diameter: None,
            height: None,
            diameter_u: DIAMETER_U_CM,
            height_u: HEIGHT_U_CM,
        });
    };
    let mut length = |key| match table.number(key, findings)? {
        None => Ok(None),
        Some(entry) => ring_length(entry.cell, entry.value, findings).map(Some),
    };
    let (diameter, height) = (length("diameter_cm"), length("height_cm"));
    let diameter_u = table.uncertainty("diameter_u_cm", DIAMETER_U_CM, 1.0, findings);
    let height_u = table.uncertainty("height_u_cm", HEIGHT_U_CM, 1.0, findings);
    Ok(Ring {
        diameter: diameter?,
        height: height?,
        diameter_u: diameter_u?,
        height_u: height_u?,
    })
}

/// A ring's diameter or height, wherever it is given.
pub fn ring_length(
    cell: Cell<'_>,
    value: f64,
    findings: &mut Findings,
) -> Result<Centimetre, Refused> {
    let in_cm = "write it in centimetres: 5.0 for a ring of 50 mm";
    if value > LARGEST_RING_CM {
        return findings.refuse(cell.complaint(
            format!("looks like millimetres: no sampling ring measures {value} cm"),
            in_cm,
        ));
    }
    quantity(cell, value, in_cm, findings)
}

/// Length of the window, s, and uncertainty of the soil temperature, C.
pub(super) fn read_readings(
    file: &File<'_>,
    findings: &mut Findings,
) -> Result<(i64, f64), Refused> {
    let Some(table) = file.table("readings", "[readings]", READINGS, findings)? else {
        return Ok(((WINDOW_MINUTES * 60.0) as i64, TEMPERATURE_U_C));
    };
    let window = match table.number("window_minutes", findings) {
        Ok(None) => Ok(WINDOW_MINUTES),
        Ok(Some(entry)) if (1.0..=1440.0).contains(&entry.value) => Ok(entry.value),
        Ok(Some(entry)) => findings.refuse(entry.cell.complaint(
            "is not a window between 1 and 1440 minutes",
            "write how many minutes of readings before a core belong to it, e.g. 30",
        )),
        Err(Refused) => Err(Refused),
    };
    let temperature_u = table.uncertainty("temperature_u_c", TEMPERATURE_U_C, 10.0, findings);
    Ok(((window? * 60.0).round() as i64, temperature_u?))
}
