//! `ovendry soil`: texture class, field capacity, wilting point and saturation from
//! every source side by side, and what is recommended.

mod charts;
mod from_log;
mod report;

use super::fit::out_folder;
use crate::failure::{
    COMMAND_LINE, Complaint, Failure, Verdict, Warning, all_or_every_complaint, without_value,
};
use crate::meant;
use crate::output::{print, print_json};
use crate::table::load_site;
use crate::workbench::{self, Site};
use calib_core::quantity::{Density, Quantity};
use calib_core::soil::{Particles, SoilDescription, SoilError, SoilEvidence, Texture, evidence};
use clap::Args;
use from_log::FromLog;
pub(super) use report::{Recommended, SoilReport};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};

/// Which soil.
#[derive(Debug, Args)]
pub struct Soil {
    /// Workbench folder with a site.toml; the one you are in if no soil is given
    #[arg(conflicts_with_all = ["texture", "sand"])]
    dir: Option<PathBuf>,
    /// Only this soil of the folder
    #[arg(long, value_name = "ID", conflicts_with_all = ["texture", "sand"])]
    soil: Option<String>,
    /// One of the twelve USDA classes, e.g. "sandy loam"
    #[arg(long, value_name = "CLASS", conflicts_with = "sand")]
    texture: Option<String>,
    /// Sand (0.05 to 2 mm), percent by mass of the soil below 2 mm
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
    /// Grain at which silt was parted from sand, micrometres: 50 (USDA) if not
    /// given, 63 for ISO; converted to 50
    #[arg(
        long,
        value_name = "MICROMETRES",
        requires = "sand",
        allow_negative_numbers = true
    )]
    silt_upper_um: Option<f64>,
    /// Dry bulk density of the whole soil, stones included, g/cm3
    #[arg(
        long,
        value_name = "G_PER_CM3",
        conflicts_with = "dir",
        allow_negative_numbers = true
    )]
    bulk_density: Option<f64>,
    /// Stones above 2 mm, percent of the whole soil's dry mass
    #[arg(
        long,
        value_name = "PERCENT",
        conflicts_with = "dir",
        allow_negative_numbers = true
    )]
    gravel: Option<f64>,
    /// Draw texture triangle and retention curves into this folder
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Replace charts that are there
    #[arg(long, requires = "out")]
    force: bool,
    /// Read field capacity off the season's log too: DIR/log.csv, or --log=FILE
    #[arg(long, value_name = "FILE", num_args = 0..=1, require_equals = true,
          conflicts_with_all = ["texture", "sand"])]
    log: Option<Option<PathBuf>>,
    /// Folder of the saved calibrations that the log is read through; DIR/out if not
    /// given
    #[arg(long, value_name = "FOLDER", requires = "log")]
    calibrations: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// A soil with what it comes to.
struct Known {
    id: Option<String>,
    found: SoilEvidence,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    soils: Vec<SoilReport>,
    /// The files drawn.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    charts: Vec<PathBuf>,
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
        if self.charts.is_empty() {
            writeln!(
                f,
                "No charts drawn; --out FOLDER draws the texture triangle and the retention curves.\n"
            )?;
        } else {
            writeln!(f, "Charts")?;
            for chart in &self.charts {
                writeln!(f, "  {}", chart.display())?;
            }
            writeln!(f)?;
        }
        f.write_str(&report::printed_publications(&self.soils))
    }
}

/// Runs the command.
pub fn run(asked: &Soil) -> Result<Verdict, Failure> {
    let only = asked.soil.as_deref();
    let folder = folder(asked);
    let at = match &folder {
        Some(folder) => Some((folder, load_site(folder)?)),
        None => None,
    };
    let soils = match &at {
        Some((_, site)) => from_site(site, only)?,
        None => vec![from_command_line(asked)?],
    };
    let (from_log, warnings) = match (&at, &asked.log) {
        (Some((folder, site)), Some(log)) => {
            let out = out_folder(folder, asked.calibrations.as_deref());
            let (found, warnings) = FromLog::read(folder, log.as_deref(), &out, site, only)?;
            (Some(found), warnings)
        }
        (_, None) | (None, _) => (None, Vec::new()),
    };
    let reports = soils
        .iter()
        .map(|soil| SoilReport::new(soil.id.as_deref(), &soil.found))
        .collect::<Result<_, _>>()?;
    let charts = match &asked.out {
        Some(folder) => charts::draw(&soils, folder, asked.force)?,
        None => Vec::new(),
    };
    let answer = Answer {
        format: "ovendry soil",
        version: 1,
        verdict: Verdict::Good,
        soils: reports,
        charts,
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
    Ok(answer.verdict)
}

/// The folder that is meant: the one one is in, where nothing says another soil.
fn folder(asked: &Soil) -> Option<PathBuf> {
    let of_the_command_line = asked.texture.is_some()
        || asked.sand.is_some()
        || asked.bulk_density.is_some()
        || asked.gravel.is_some();
    let here = || (!of_the_command_line).then(|| PathBuf::from("."));
    asked.dir.clone().or_else(here)
}

/// The soils of the site, or the one asked for with `--soil`.
///
/// # Errors
/// [`Failure::Input`] if the site has no such soil.
pub(super) fn wanted<'a>(
    site: &'a Site,
    only: Option<&str>,
) -> Result<Vec<&'a workbench::Soil>, Failure> {
    let Some(id) = only else {
        return Ok(site.soils.iter().collect());
    };
    let soil = soil_of(site, id).ok_or_else(|| {
        let known: Vec<&str> = site.soils.iter().map(|soil| soil.id.as_str()).collect();
        command_line(
            "--soil",
            id,
            format!("is no soil of {}", site.file.display()),
            meant::choose(id, known),
        )
    })?;
    Ok(vec![soil])
}

fn from_site(site: &Site, only: Option<&str>) -> Result<Vec<Known>, Failure> {
    let wanted = wanted(site, only)?;
    all_or_every_complaint(wanted.into_iter().map(|soil| {
        let (_, found) = known(site, soil)?;
        Ok(Known {
            id: Some(soil.id.clone()),
            found,
        })
    }))
}

fn from_command_line(asked: &Soil) -> Result<Known, Failure> {
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
            if looks_like_shares(sand, clay) {
                return Err(command_line(
                    "--sand",
                    &sand.to_string(),
                    "looks like a share of 1, not a percentage, as does the clay",
                    "write percent by mass: 22 for 0.22; for a soil with less than 1 % of both, --texture silt",
                )
                .into());
            }
            Particles::from_sand_and_clay(sand, clay).map(Texture::Particles)
        }
        _ => {
            return Err(Complaint::about(
                Path::new(COMMAND_LINE),
                "no soil is given",
                "name a workbench folder, or add --texture, or --sand and --clay",
            )
            .into());
        }
    }
    .map_err(placed)?;
    let description = SoilDescription {
        texture: Some(texture),
        organic_matter_percent: asked.organic_matter,
        silt_upper_um: asked.silt_upper_um,
        bulk_density: asked.bulk_density.map(bulk_density).transpose()?,
        gravel_percent: asked.gravel,
        ..SoilDescription::default()
    };
    let found = evidence(&description).map_err(placed)?;
    Ok(Known { id: None, found })
}

/// Whether sand and clay were given as shares of 1: no more than the whole
/// together, and not nothing.
fn looks_like_shares(sand: f64, clay: f64) -> bool {
    let sum = sand + clay;
    sand >= 0.0 && clay >= 0.0 && sum > 0.0 && sum <= 1.0
}

fn bulk_density(g_cm3: f64) -> Result<Density, Failure> {
    let mend = "write it in g/cm3: 1.4 for 1400 kg/m3";
    let about = |what: String| command_line("--bulk-density", &g_cm3.to_string(), what, mend);
    if g_cm3 > 100.0 {
        return Err(about("looks like kg/m3, not g/cm3".to_owned()).into());
    }
    Density::new(g_cm3).map_err(|error| about(error.to_string()).into())
}

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
        silt_upper_um: soil.silt_upper_um,
        bulk_density: soil.bulk_density,
        gravel_percent: soil.gravel_percent,
        field_capacity: soil.field_capacity,
        wilting_point: soil.wilting_point,
    })
}
