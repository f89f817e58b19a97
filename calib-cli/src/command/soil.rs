//! `ovendry soil`: texture class, field capacity and wilting point from every
//! source side by side, and what is recommended.

mod from_log;
mod report;

use super::fit::out_folder;
use crate::failure::{Complaint, Failure, Verdict, Warning, all_or_every_complaint, without_value};
use crate::output::{print, print_json};
use crate::table::load_site;
use crate::workbench::{self, Site};
use calib_core::soil::{Particles, SoilDescription, SoilError, SoilEvidence, Texture, evidence};
use clap::{ArgGroup, Args};
use from_log::FromLog;
use report::SoilReport;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};

/// Which soil.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("which soil").args(["dir", "texture", "sand"]).required(true)))]
pub struct Soil {
    /// Workbench folder with a site.toml
    dir: Option<PathBuf>,
    /// Only this soil of the folder
    #[arg(long, value_name = "ID", requires = "dir")]
    soil: Option<String>,
    /// One of the twelve USDA classes, e.g. "sandy loam"
    #[arg(long, value_name = "CLASS")]
    texture: Option<String>,
    /// Sand (0.05 to 2 mm), percent by mass
    #[arg(
        long,
        value_name = "PERCENT",
        requires = "clay",
        allow_negative_numbers = true
    )]
    sand: Option<f64>,
    /// Clay (below 0.002 mm), percent by mass; silt is the rest
    #[arg(
        long,
        value_name = "PERCENT",
        requires = "sand",
        allow_negative_numbers = true
    )]
    clay: Option<f64>,
    /// Organic matter, percent by mass
    #[arg(
        long,
        value_name = "PERCENT",
        requires = "sand",
        allow_negative_numbers = true
    )]
    organic_matter: Option<f64>,
    /// Read field capacity off the season's log too: DIR/log.csv, or this file
    #[arg(long, value_name = "FILE", requires = "dir", num_args = 0..=1)]
    log: Option<Option<PathBuf>>,
    /// Folder of the saved calibrations that the log is read through; DIR/out if not
    /// given
    #[arg(long, value_name = "FOLDER", requires = "log")]
    calibrations: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Answer {
    format: &'static str,
    version: u32,
    soils: Vec<SoilReport>,
    #[serde(skip_serializing_if = "Option::is_none")]
    from_log: Option<FromLog>,
    warnings: Vec<Warning>,
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for soil in &self.soils {
            writeln!(f, "{soil}")?;
        }
        if let Some(log) = &self.from_log {
            write!(f, "{log}")?;
        }
        f.write_str(&report::printed_publications(&self.soils))
    }
}

/// Runs the command.
pub fn run(asked: &Soil) -> Result<Verdict, Failure> {
    let soils = match &asked.dir {
        Some(folder) => from_folder(folder, asked.soil.as_deref())?,
        None => vec![from_command_line(asked)?],
    };
    let (from_log, warnings) = match (&asked.dir, &asked.log) {
        (Some(folder), Some(log)) => {
            let out = out_folder(folder, asked.calibrations.as_deref());
            let site = load_site(folder)?;
            let only = asked.soil.as_deref();
            let (found, warnings) = FromLog::read(folder, log.as_deref(), &out, &site, only)?;
            (Some(found), warnings)
        }
        _ => (None, Vec::new()),
    };
    let answer = Answer {
        format: "ovendry soil",
        version: 1,
        soils,
        from_log,
        warnings,
    };
    for warning in &answer.warnings {
        eprintln!("{warning}");
    }
    if asked.json {
        print_json(&answer)?;
    } else {
        print(&answer.to_string())?;
    }
    Ok(Verdict::Good)
}

fn from_folder(folder: &Path, only: Option<&str>) -> Result<Vec<SoilReport>, Failure> {
    let site = load_site(folder)?;
    let wanted: Vec<&workbench::Soil> = match only {
        None => site.soils.iter().collect(),
        Some(id) => vec![soil_of(&site, id).ok_or_else(|| {
            let known: Vec<&str> = site.soils.iter().map(|soil| soil.id.as_str()).collect();
            command_line(
                "--soil",
                id,
                format!("is no soil of {}", site.file.display()),
                format!("choose one of: {}", known.join(", ")),
            )
        })?],
    };
    all_or_every_complaint(wanted.into_iter().map(|soil| {
        let (description, found) = known(&site, soil)?;
        SoilReport::new(Some(&soil.id), &description, &found)
    }))
}

fn from_command_line(asked: &Soil) -> Result<SoilReport, Failure> {
    let placed = |error: SoilError| match (&asked.texture, asked.sand) {
        (Some(class), _) => command_line(
            "--texture",
            class,
            without_value(&error.to_string(), class),
            error.mend(),
        ),
        _ => Complaint::about(Path::new(COMMAND_LINE), error.to_string(), error.mend()),
    };
    let texture = match (&asked.texture, asked.sand, asked.clay) {
        (Some(class), ..) => class.parse().map(Texture::Class),
        (None, Some(sand), Some(clay)) => {
            Particles::from_sand_and_clay(sand, clay).map(Texture::Particles)
        }
        _ => Err(SoilError::NothingKnown {
            missing: "field capacity",
        }),
    }
    .map_err(placed)?;
    let description = SoilDescription {
        texture: Some(texture),
        organic_matter_percent: asked.organic_matter,
        ..SoilDescription::default()
    };
    let found = evidence(&description).map_err(placed)?;
    SoilReport::new(None, &description, &found)
}

/// Where a complaint about an option stands.
const COMMAND_LINE: &str = "command line";

/// A complaint about the value of an option.
pub(super) fn command_line(
    option: &str,
    value: &str,
    what: impl Into<String>,
    mend: impl Into<String>,
) -> Complaint {
    Complaint::about(Path::new(COMMAND_LINE), what, mend).in_column(option, value)
}

/// The site's soil of this name.
pub(super) fn soil_of<'a>(site: &'a Site, id: &str) -> Option<&'a workbench::Soil> {
    site.soils.iter().find(|soil| soil.id == id)
}

/// What is known of a soil of site.toml, and what it comes to; the complaint
/// stands at the soil's line.
pub(super) fn known(
    site: &Site,
    soil: &workbench::Soil,
) -> Result<(SoilDescription, SoilEvidence), Failure> {
    let described = describe(soil);
    described
        .and_then(|description| Ok((description, evidence(&description)?)))
        .map_err(|error| {
            Complaint::about(
                &site.file,
                format!("soil {}: {error}", soil.id),
                error.mend(),
            )
            .at_line(soil.line)
            .into()
        })
}

fn describe(soil: &workbench::Soil) -> Result<SoilDescription, SoilError> {
    let texture = match &soil.texture {
        None => None,
        Some(workbench::Texture::Class(class)) => Some(Texture::Class(*class)),
        Some(workbench::Texture::Fractions { sand, silt, clay }) => {
            Some(Texture::Particles(Particles::new(*sand, *silt, *clay)?))
        }
    };
    Ok(SoilDescription {
        texture,
        organic_matter_percent: soil.organic_matter_percent,
        field_capacity: soil.field_capacity,
        wilting_point: soil.wilting_point,
    })
}
