//! `[[soil]]`: what each soil is, and what was measured in it.

use super::all_or_refused;
use super::declaration::{Declaration, Entry, Key};
use super::document::File;
use super::id::read_id;
use crate::failure::{Warning, without_value};
use crate::findings::{Findings, Refused};
use crate::table::number::quantity;
use crate::workbench::{Soil, Texture};
use calib_core::quantity::{Density, Estimate, Vwc};
use calib_core::soil::{COARSEST_SILT_UPPER_UM, SoilError, USDA_SILT_UPPER_UM};

/// Standard uncertainty assumed for a measured field capacity or wilting point,
/// m3/m3. Common practice.
const SOIL_WATER_U: f64 = 0.02;
/// Standard uncertainty assumed for a measured particle density, g/cm3. Common
/// practice.
const PARTICLE_DENSITY_U: f64 = 0.02;
/// How far sand, silt and clay may miss 100 % by rounding.
const ROUNDING_PERCENT: f64 = 1.0;
/// Mineral soil cannot be packed denser than its grains, g/cm3. Common practice.
const DENSEST_SOIL: f64 = 2.4;

pub(super) const KEYS: &[Key] = &[
    Key::new("id", "\"loam\": the soil's identifier"),
    Key::new("texture", "\"sandy loam\": one of the twelve USDA classes"),
    Key::new("sand_percent", "60: sand, percent by mass"),
    Key::new("silt_percent", "25: silt, percent by mass"),
    Key::new("clay_percent", "15: clay, percent by mass"),
    Key::new(
        "organic_matter_percent",
        "3: organic matter, percent by mass",
    ),
    Key::new(
        "silt_upper_um",
        "63: the grain at which the laboratory parts silt from sand, micrometres; 50 if left out",
    ),
    Key::new(
        "bulk_density_g_cm3",
        "1.4: dry bulk density, stones included, g/cm3",
    ),
    Key::new(
        "gravel_percent",
        "15: stones above 2 mm, percent of the dry mass",
    ),
    Key::new("particle_density_g_cm3", "2.65: particle density, g/cm3"),
    Key::new(
        "particle_density_u_g_cm3",
        "0.02: standard uncertainty of the particle density, g/cm3",
    ),
    Key::new("field_capacity", "0.28: measured field capacity, m3/m3"),
    Key::new(
        "field_capacity_u",
        "0.02: standard uncertainty of the field capacity, m3/m3",
    ),
    Key::new("wilting_point", "0.12: measured wilting point, m3/m3"),
    Key::new(
        "wilting_point_u",
        "0.02: standard uncertainty of the wilting point, m3/m3",
    ),
];

/// Reads every soil.
pub(super) fn read_all(file: &File<'_>, findings: &mut Findings) -> Result<Vec<Soil>, Refused> {
    let tables = file.tables("soil", "[[soil]]", KEYS, findings)?;
    let mut taken = Vec::new();
    all_or_refused(
        tables
            .iter()
            .map(|table| read(file, table, &mut taken, findings))
            .collect(),
    )
}

fn read(
    file: &File<'_>,
    table: &Declaration<'_>,
    taken: &mut Vec<(String, u64)>,
    findings: &mut Findings,
) -> Result<Soil, Refused> {
    let id = read_id(table, taken, findings);
    let texture = read_texture(table, findings);
    let organic_matter = percent(table, "organic_matter_percent", findings);
    let silt_upper = silt_upper(table, &texture, findings);
    let gravel = percent(table, "gravel_percent", findings);
    let bulk_density = density(table, "bulk_density_g_cm3", DENSEST_SOIL, findings);
    let particle_density = density(table, "particle_density_g_cm3", 6.0, findings);
    let particle_u = table.uncertainty(
        "particle_density_u_g_cm3",
        PARTICLE_DENSITY_U,
        1.0,
        findings,
    );
    let field_capacity = water_content(table, "field_capacity", findings);
    let field_capacity_u = table.uncertainty("field_capacity_u", SOIL_WATER_U, 0.2, findings);
    let wilting_point = water_content(table, "wilting_point", findings);
    let wilting_point_u = table.uncertainty("wilting_point_u", SOIL_WATER_U, 0.2, findings);

    if let (Ok(Some(fc)), Ok(Some(wp))) = (&field_capacity, &wilting_point)
        && fc.value <= wp.value
    {
        return findings.refuse(wp.cell.complaint(
            format!("is not below field_capacity = {}", fc.cell.text),
            "check both: a soil at its wilting point holds less water than at field capacity",
        ));
    }
    if let (Ok(Some(bulk)), Ok(Some(particle))) = (&bulk_density, &particle_density)
        && bulk.value >= particle.value
    {
        return findings.refuse(bulk.cell.complaint(
            format!(
                "is not below particle_density_g_cm3 = {}",
                particle.cell.text
            ),
            "check both: soil with pores is lighter than its grains",
        ));
    }
    let measured = matches!(
        (&field_capacity, &wilting_point),
        (Ok(Some(_)), Ok(Some(_)))
    );
    let (id, texture) = (id?, texture?);
    if texture.is_none() && !measured {
        findings.warn(Warning {
            place: format!("{}:{}", file.source.file.display(), table.line),
            what: format!(
                "soil {id} has neither a texture nor a measured field capacity and wilting point"
            ),
            why: "its set points cannot be worked out; its calibration can".to_owned(),
            advice: "add texture = \"...\", or sand_percent and clay_percent, or field_capacity \
                     and wilting_point"
                .to_owned(),
        });
    }
    let content = |entry: Option<Entry<'_, f64>>, u: f64, findings: &mut Findings| match entry {
        None => Ok(None),
        Some(entry) => quantity::<Vwc>(entry.cell, entry.value, WATER_CONTENT_MEND, findings)
            .map(|value| Some(Estimate::new(value, u))),
    };
    let grain = |entry: Option<Entry<'_, f64>>, findings: &mut Findings| match entry {
        None => Ok(None),
        Some(entry) => {
            quantity::<Density>(entry.cell, entry.value, DENSITY_MEND, findings).map(Some)
        }
    };
    Ok(Soil {
        id,
        texture,
        organic_matter_percent: organic_matter?.map(|entry| entry.value),
        silt_upper_um: silt_upper?,
        bulk_density: grain(bulk_density?, findings)?,
        gravel_percent: gravel?.map(|entry| entry.value),
        particle_density: match grain(particle_density?, findings)? {
            Some(density) => Some(Estimate::new(density, particle_u?)),
            None => None,
        },
        field_capacity: content(field_capacity?, field_capacity_u?, findings)?,
        wilting_point: content(wilting_point?, wilting_point_u?, findings)?,
        line: table.line,
    })
}

fn read_texture(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<Option<Texture>, Refused> {
    let class = table.text("texture", findings);
    let sand = percent(table, "sand_percent", findings);
    let silt = percent(table, "silt_percent", findings);
    let clay = percent(table, "clay_percent", findings);
    let (class, sand, silt, clay) = (class?, sand?, silt?, clay?);
    let fractions = sand.or(clay).or(silt);
    match (class, fractions) {
        (None, None) => Ok(None),
        (Some(class), None) => match class.value.parse() {
            Ok(known) => Ok(Some(Texture::Class(known))),
            Err::<_, SoilError>(error) => findings.refuse(
                class
                    .cell
                    .complaint(without_value(&error.to_string(), class.value), error.mend()),
            ),
        },
        (Some(class), Some(_)) => findings.refuse(class.cell.complaint(
            "stands beside sand, silt or clay percentages",
            "keep one of the two: the class, or the percentages (they say more)",
        )),
        (None, Some(one)) => match (sand, clay) {
            (Some(sand), Some(clay)) => fractions_of(sand, silt, clay, findings).map(Some),
            (None, _) => findings.refuse(table_lacks(&one, "sand_percent")),
            (_, None) => findings.refuse(table_lacks(&one, "clay_percent")),
        },
    }
}

fn table_lacks(one: &Entry<'_, f64>, missing: &str) -> crate::failure::Complaint {
    one.cell.complaint(
        format!("stands without {missing}"),
        format!("add {missing}; silt may be left out, it is the rest to 100"),
    )
}

fn fractions_of(
    sand: Entry<'_, f64>,
    silt: Option<Entry<'_, f64>>,
    clay: Entry<'_, f64>,
    findings: &mut Findings,
) -> Result<Texture, Refused> {
    let rest = 100.0 - sand.value - clay.value;
    let sum = 100.0 - rest + silt.map_or(0.0, |entry| entry.value);
    if sum <= 1.0 + ROUNDING_PERCENT / 100.0 {
        return findings.refuse(sand.cell.complaint(
            "looks like a share of 1, not a percentage",
            "write percent by mass: 60 for 0.60",
        ));
    }
    let misses = match silt {
        Some(_) => (sum - 100.0).abs() > ROUNDING_PERCENT,
        None => rest < 0.0,
    };
    if misses {
        return findings.refuse(sand.cell.complaint(
            format!("sand, silt and clay add up to {sum} %"),
            "correct them to add up to 100",
        ));
    }
    // What rounding left over is shared out in proportion.
    let scale = match silt {
        Some(_) => 100.0 / sum,
        None => 1.0,
    };
    Ok(Texture::Fractions {
        sand: sand.value * scale,
        silt: silt.map_or(rest, |entry| entry.value * scale),
        clay: clay.value * scale,
    })
}

/// Where silt and sand part; only where there are percentages to part.
fn silt_upper(
    table: &Declaration<'_>,
    texture: &Result<Option<Texture>, Refused>,
    findings: &mut Findings,
) -> Result<Option<f64>, Refused> {
    let Some(entry) = table.number("silt_upper_um", findings)? else {
        return Ok(None);
    };
    if let Ok(None | Some(Texture::Class(_))) = texture {
        return findings.refuse(entry.cell.complaint(
            "stands without sand_percent and clay_percent",
            "remove it, or give the percentages the laboratory reported",
        ));
    }
    if entry.value > 0.0 && entry.value < 1.0 {
        return findings.refuse(entry.cell.complaint(
            "looks like millimetres, not micrometres",
            "write it in micrometres: 63 for 0.063 mm",
        ));
    }
    if !(USDA_SILT_UPPER_UM..=COARSEST_SILT_UPPER_UM).contains(&entry.value) {
        let error = SoilError::SiltBound { um: entry.value };
        return findings.refuse(entry.cell.complaint(
            format!(
                "lies outside {USDA_SILT_UPPER_UM} to {COARSEST_SILT_UPPER_UM} micrometres, from where sand and silt can be converted"
            ),
            error.mend(),
        ));
    }
    Ok(Some(entry.value))
}

fn percent<'a>(
    table: &Declaration<'a>,
    key: &'static str,
    findings: &mut Findings,
) -> Result<Option<Entry<'a, f64>>, Refused> {
    match table.number(key, findings)? {
        Some(entry) if !(0.0..=100.0).contains(&entry.value) => findings.refuse(
            entry
                .cell
                .complaint("is not a percentage", "write it between 0 and 100"),
        ),
        entry => Ok(entry),
    }
}

const DENSITY_MEND: &str = "write it in g/cm3: 1.4 for 1400 kg/m3";

fn density<'a>(
    table: &Declaration<'a>,
    key: &'static str,
    most: f64,
    findings: &mut Findings,
) -> Result<Option<Entry<'a, f64>>, Refused> {
    match table.number(key, findings)? {
        Some(entry) if entry.value > 100.0 => findings.refuse(
            entry
                .cell
                .complaint("looks like kg/m3, not g/cm3", DENSITY_MEND),
        ),
        Some(entry) if !(0.05..=most).contains(&entry.value) => findings.refuse(
            entry
                .cell
                .complaint(format!("lies outside 0.05 to {most} g/cm3"), DENSITY_MEND),
        ),
        entry => Ok(entry),
    }
}

/// What to do about a water content that cannot be.
pub const WATER_CONTENT_MEND: &str =
    "write the share of the soil's volume that is water: 0.28 for 28 %";

fn water_content<'a>(
    table: &Declaration<'a>,
    key: &'static str,
    findings: &mut Findings,
) -> Result<Option<Entry<'a, f64>>, Refused> {
    match table.number(key, findings)? {
        None => Ok(None),
        Some(entry) => water_share(entry, findings).map(Some),
    }
}

/// `entry`, if it can be a water content, m3/m3.
pub(super) fn water_share<'a>(
    entry: Entry<'a, f64>,
    findings: &mut Findings,
) -> Result<Entry<'a, f64>, Refused> {
    match water_share_fault(entry.value) {
        Some(what) => findings.refuse(entry.cell.complaint(what, WATER_CONTENT_MEND)),
        None => Ok(entry),
    }
}

/// Why `value` is no water content of soil, m3/m3, if it is none.
pub fn water_share_fault(value: f64) -> Option<&'static str> {
    if (1.0..=100.0).contains(&value) {
        Some("looks like a percentage, not a share")
    } else if !(value > 0.0 && value < 1.0) {
        Some("lies outside 0 to 1 m3/m3")
    } else {
        None
    }
}
