//! site.toml: the site, its balance and rings, its soils, probes and pump,
//! and the plan of the bench.

mod bed;
pub mod capture;
mod controller;
mod declaration;
mod document;
mod general;
mod id;
mod medium;
mod plan;
mod probe;
mod season;
mod soil;
mod stage;

pub use general::{Ring, ring_length};
pub use plan::{STOCK_WATER_MEND, stock_water_of};
pub use probe::{known_probe, known_soil, millivolts};
pub use soil::{WATER_CONTENT_MEND, water_share_fault};

use super::source::Source;
use super::time::Clock;
use crate::findings::{Findings, Refused};
use crate::workbench::{Probe, Site, Soil};
use declaration::Key;
use document::{File, complain_of_syntax, refuse_unknown_tables};
use general::{read_balance, read_readings, read_ring, read_site};
use toml::de::DeTable;

/// Every table with its keys.
const TABLES: [(&str, &[Key]); 12] = [
    ("[site]", general::SITE),
    ("[balance]", general::BALANCE),
    ("[ring]", general::RING),
    ("[readings]", general::READINGS),
    ("[[soil]]", soil::KEYS),
    ("[[probe]]", probe::KEYS),
    ("[[medium]]", medium::KEYS),
    ("[controller]", controller::KEYS),
    ("[[stage]]", stage::KEYS),
    ("[[bed]]", bed::KEYS),
    ("[plan]", plan::KEYS),
    ("[capture]", capture::KEYS),
];

/// Every key of the file.
#[cfg(test)]
pub fn keys() -> impl Iterator<Item = &'static str> {
    TABLES
        .into_iter()
        .flat_map(|(_, keys)| keys)
        .map(|key| key.name)
}

/// The tables that have a key of this name.
fn tables_with(name: &str) -> Vec<&'static str> {
    TABLES
        .into_iter()
        .filter(|(_, keys)| keys.iter().any(|key| key.name == name))
        .map(|(heading, _)| heading)
        .collect()
}

/// What the other files need from site.toml, even where parts of it are faulty.
#[derive(Debug)]
pub struct SiteFile {
    /// The site, if nothing in it was refused.
    pub site: Option<Site>,
    /// How times are written; `None` if that itself was refused.
    pub clock: Option<Clock>,
    /// The ring; `None` if it was refused.
    pub ring: Option<Ring>,
    /// The soils; `None` if one was refused, so that none can be called unknown.
    pub soils: Option<Vec<Soil>>,
    /// The probes; `None` likewise.
    pub probes: Option<Vec<Probe>>,
}

/// A file that could not be read at all.
pub const UNREADABLE: SiteFile = SiteFile {
    site: None,
    clock: None,
    ring: None,
    soils: None,
    probes: None,
};

/// Reads site.toml.
pub fn read(source: &Source, findings: &mut Findings) -> SiteFile {
    let (document, errors) = DeTable::parse_recoverable(&source.text);
    if !errors.is_empty() {
        complain_of_syntax(source, &errors, findings);
        return UNREADABLE;
    }
    let document = document.get_ref();
    refuse_unknown_tables(source, document, findings);
    let file = File { source, document };

    let heading = read_site(&file, findings);
    let balance = read_balance(&file, findings);
    let ring = read_ring(&file, findings);
    let readings = read_readings(&file, findings);
    let soils = soil::read_all(&file, findings);
    let probes = probe::read_all(&file, soils.as_deref().ok(), findings);
    let probes = medium::read_all(&file, probes, findings);
    let stages = stage::read_all(&file, findings);
    let controller = controller::read(&file, stages.as_deref().unwrap_or_default(), findings);
    let beds = bed::read_all(&file, probes.as_deref().ok(), findings);
    let plan = plan::read(&file, findings);
    let capture = capture::read(&file, probes.as_deref().ok(), findings);

    let clock = heading.as_ref().ok().map(|(_, clock)| clock.clone());
    let site = (|| {
        let (window_seconds, temperature_u) = readings.ok()?;
        Some(Site {
            name: heading.ok()?.0,
            file: source.file.clone(),
            balance: balance.ok()?,
            temperature_u,
            window_seconds,
            soils: soils.clone().ok()?,
            probes: probes.clone().ok()?,
            controller: controller.ok()?,
            stages: stages.ok()?,
            beds: beds.ok()?,
            ring: ring.as_ref().ok()?.size(),
            plan: plan.ok()?,
            capture: capture.ok()?,
        })
    })();
    SiteFile {
        site,
        clock,
        ring: ring.ok(),
        soils: soils.ok(),
        probes: probes.ok(),
    }
}

/// Unwraps all, or none if one was refused.
fn all_or_refused<T>(read: Vec<Result<T, Refused>>) -> Result<Vec<T>, Refused> {
    read.into_iter().collect()
}
