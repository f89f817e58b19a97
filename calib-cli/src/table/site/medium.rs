//! `[[medium]]`: what a probe reads in media of known permittivity.

use super::declaration::{Declaration, Key};
use super::document::File;
use super::probe::known_probe;
use crate::findings::{Findings, Refused};
use crate::workbench::{Media, Probe};
use calib_core::dielectric::{AIR_PERMITTIVITY, Medium, ReferenceMedia, water_permittivity};
use calib_core::pair::TwoPoints;
use calib_core::quantity::{Celsius, Estimate, Permittivity, Quantity};

pub(super) const KEYS: &[Key] = &[
    Key::new("probe", "\"P1\": id of the probe that was read in it"),
    Key::new(
        "name",
        "\"water\": \"air\", \"water\" or a liquid between the two",
    ),
    Key::new("count", "214: what the probe read in it"),
    Key::new("temperature_c", "20: temperature of the water, C"),
    Key::new(
        "permittivity",
        "25: relative permittivity of the liquid at its temperature, from its data sheet",
    ),
];

/// One medium of one probe.
struct Measured<'a> {
    table: &'a Declaration<'a>,
    probe: String,
    name: String,
    medium: Medium,
}

/// Reads every medium and gives each probe what it read.
pub(super) fn read_all(
    file: &File<'_>,
    probes: Result<Vec<Probe>, Refused>,
    findings: &mut Findings,
) -> Result<Vec<Probe>, Refused> {
    let tables = file.tables_if_any("medium", "[[medium]]", KEYS, findings)?;
    let known = probes.as_deref().ok();
    let read: Vec<Result<Measured<'_>, Refused>> = tables
        .iter()
        .map(|table| read(table, known, findings))
        .collect();
    let media = super::all_or_refused(read);
    let (mut probes, media) = (probes?, media?);
    let mut sound = true;
    for probe in &mut probes {
        let of_it: Vec<&Measured<'_>> = media.iter().filter(|m| m.probe == probe.id).collect();
        if !of_it.is_empty() {
            match together(of_it, findings) {
                Ok(media) => probe.media = Some(media),
                Err(Refused) => sound = false,
            }
        }
    }
    if sound { Ok(probes) } else { Err(Refused) }
}

fn read<'a>(
    table: &'a Declaration<'a>,
    probes: Option<&[Probe]>,
    findings: &mut Findings,
) -> Result<Measured<'a>, Refused> {
    let probe = table.text("probe", findings);
    let probe = table.needed("probe", probe, findings);
    let name = table.text("name", findings);
    let name = table.needed("name", name, findings);
    let count = table.number("count", findings);
    let count = table.needed("count", count, findings);
    let temperature = table.quantity(
        "temperature_c",
        "write the temperature of the medium in C",
        findings,
    );
    let stated = table.quantity(
        "permittivity",
        "write the relative permittivity, a pure number: about 80 for water, 2 to 40 for most liquids",
        findings,
    );
    let (probe, name, count) = (probe?, name?, count?);
    if let Some(probes) = probes {
        let known = known_probe(probe.cell, probes, findings)?;
        let largest = f64::from((1_u32 << known.adc_bits) - 1);
        if !(0.0..=largest).contains(&count.value) {
            return findings.refuse(count.cell.complaint(
                format!(
                    "lies outside 0 to {largest}, the codes of probe {}'s converter",
                    known.id
                ),
                "write the middle of a dozen readings, the probe wholly in the medium",
            ));
        }
    }
    let permittivity = match stated? {
        Some(permittivity) => permittivity,
        None => permittivity_of(table, name.value, temperature, findings)?,
    };
    Ok(Measured {
        table,
        probe: probe.value.to_owned(),
        name: name.value.to_owned(),
        // What the media are off by is off alike at every core, so it weighs
        // none of them.
        medium: Medium {
            count: Estimate::new(count.value, 0.0),
            permittivity: Estimate::new(permittivity, 0.0),
        },
    })
}

/// The permittivity of a medium that states none.
fn permittivity_of(
    table: &Declaration<'_>,
    name: &str,
    temperature: Result<Option<Celsius>, Refused>,
    findings: &mut Findings,
) -> Result<Permittivity, Refused> {
    match name {
        "air" => Permittivity::new(AIR_PERMITTIVITY).map_err(|_| Refused),
        "water" => {
            let celsius = table.needed("temperature_c", temperature, findings)?;
            water_permittivity(celsius).or_else(|error| {
                findings.refuse(table.complaint(
                    error.to_string(),
                    "give the temperature of the water while the probe was read in it",
                ))
            })
        }
        _ => table.needed("permittivity", Ok(None), findings),
    }
}

/// What the media of one probe say together: two bring it onto the scale of others,
/// three fix its response.
fn together(mut media: Vec<&Measured<'_>>, findings: &mut Findings) -> Result<Media, Refused> {
    let Some(last) = media.last().copied() else {
        return Err(Refused);
    };
    let (one, number) = (media[0], media.len());
    let of = |m: &Measured<'_>| m.medium.permittivity.value.value();
    media.sort_by(|a, b| of(a).total_cmp(&of(b)));
    match media.as_slice() {
        [low, high] => {
            let ends = TwoPoints {
                low: low.medium.count.value,
                high: high.medium.count.value,
            };
            if ends.low != ends.high && of(low) < of(high) {
                return Ok(Media {
                    ends,
                    response: None,
                });
            }
        }
        [low, middle, high] => {
            if let Ok(response) = ReferenceMedia::new([low.medium, middle.medium, high.medium]) {
                return Ok(Media {
                    ends: response.ends(),
                    response: Some(response),
                });
            }
        }
        _ => {
            let what = match number {
                1 => format!(
                    "is the one medium of probe {}; two are the fewest",
                    last.probe
                ),
                _ => format!(
                    "is the last of {number} media of probe {}; three are the most",
                    last.probe
                ),
            };
            return findings.refuse(last.table.complaint(
                what,
                "give [[medium]] for air and for water, for `fit` also for one liquid between them, or leave all away",
            ));
        }
    }
    let read: Vec<String> = media
        .iter()
        .map(|m| {
            format!(
                "{} in {} (permittivity {:.1})",
                m.medium.count.value,
                m.name,
                of(m)
            )
        })
        .collect();
    findings.refuse(one.table.complaint(
        format!(
            "begins media of probe {} whose counts do not move one way as permittivity rises: {}",
            one.probe,
            read.join(", ")
        ),
        "look for two counts exchanged or one medium named twice; if there are none, read the media again",
    ))
}
