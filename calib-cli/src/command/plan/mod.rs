//! `ovendry plan`: the hours around the oven, before the first core is taken.

mod asked;
mod foretell;
mod next;
mod report;
mod sheet;
mod text;
mod to_fill;

use crate::failure::{COMMAND_LINE, Complaint, Failure, Verdict, Warning, all_or_every_complaint};
use crate::output::{OutputSet, print, print_json};
use crate::table::{HeaderLine, header_line, load_site, sample_ids};
use asked::{Asked, from_command_line, from_site};
use calib_core::plan::DaysOff;
use clap::{ArgGroup, Args, ValueEnum};
use foretell::{Foretelling, Given};
use jiff::civil::Date;
pub(super) use next::Answer as NextAnswer;
pub(super) use report::Answer;
use report::SoilPlan;
use std::collections::HashSet;
use std::path::{Path, PathBuf};

/// What to plan.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("which soil").args(["dir", "texture"]).required(true)))]
pub struct Arguments {
    /// Workbench folder with a site.toml
    dir: Option<PathBuf>,
    /// Only this soil of the folder
    #[arg(long, value_name = "ID", requires = "dir")]
    soil: Option<String>,
    /// Without a folder: one of the twelve USDA classes, e.g. "sandy loam"
    #[arg(long, value_name = "CLASS")]
    texture: Option<String>,
    /// Dry bulk density to pack to, that of the field, g/cm3
    #[arg(long, value_name = "G_PER_CM3", allow_negative_numbers = true, value_parser = decimal)]
    bulk_density: Option<f64>,
    /// Inner volume of the container, ml
    #[arg(long, value_name = "ML", allow_negative_numbers = true, value_parser = decimal)]
    container_ml: Option<f64>,
    /// The empty container, g
    #[arg(long, value_name = "G", allow_negative_numbers = true, value_parser = decimal)]
    container_tare: Option<f64>,
    /// Volume of a core, cm3: what the ring holds
    #[arg(long, value_name = "CM3", allow_negative_numbers = true, value_parser = decimal)]
    core_cm3: Option<f64>,
    /// Water in the air-dry stock, percent of its dry mass
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, value_parser = decimal)]
    stock_water: Option<f64>,
    /// Moisture levels, evenly from the dry stock to nearly full pores
    #[arg(long, value_name = "N", conflicts_with = "targets")]
    levels: Option<usize>,
    /// Water contents of the levels instead, m3/m3, e.g. 0.05,0.12,0.20,0.28,0.36
    #[arg(
        long,
        value_name = "THETA_V",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    targets: Vec<f64>,
    /// Cores taken at each level
    #[arg(long, value_name = "N")]
    cores: Option<usize>,
    /// Cores the oven holds at once
    #[arg(long, value_name = "N")]
    oven_places: Option<usize>,
    /// Day the container is first packed, e.g. 2026-11-30: the timetable then has dates
    #[arg(long, value_name = "DATE")]
    start: Option<String>,
    /// Days of the week without work, e.g. sat,sun
    #[arg(long, value_name = "DAYS", value_delimiter = ',', requires = "start")]
    days_off: Vec<Weekday>,
    /// Write the record sheet and samples-to-fill.csv into this folder
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Replace files of an earlier plan
    #[arg(long, requires = "out")]
    force: bool,
    /// Instead: where the next cores help most, given those that are dry already
    #[arg(long, requires = "dir", conflicts_with_all = ["texture", "targets", "levels", "out", "start"])]
    next: bool,
    /// With --next: only this probe
    #[arg(long, value_name = "ID", requires = "next")]
    probe: Option<String>,
    #[command(flatten)]
    foretelling: Foretelling,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// A day of the week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Weekday {
    Mon,
    Tue,
    Wed,
    Thu,
    Fri,
    Sat,
    Sun,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] with every fault of site.toml, of an option or of the plan
/// itself; [`Failure`] as the disk has it.
pub fn run(arguments: &Arguments) -> Result<Verdict, Failure> {
    if let (true, Some(folder)) = (arguments.next, &arguments.dir) {
        return next::run(folder, arguments);
    }
    let start = arguments.start.as_deref().map(day).transpose()?;
    let days_off = days_off(start, &arguments.days_off);
    let (site, asked, taken) = match &arguments.dir {
        Some(folder) => {
            let site = load_site(folder)?;
            let asked = from_site(&site, arguments, days_off)?;
            (Some(site), asked, sample_ids(folder))
        }
        None => (
            None,
            vec![from_command_line(arguments, days_off)?],
            HashSet::new(),
        ),
    };
    let (asked, warnings): (Vec<Asked>, Vec<Vec<Warning>>) = asked.into_iter().unzip();
    let mut soils = all_or_every_complaint(
        asked
            .iter()
            .map(|asked| Ok(SoilPlan::new(asked, asked.plan(arguments)?, start, &taken))),
    )?;
    let mut warnings: Vec<Warning> = warnings.into_iter().flatten().collect();
    for soil in &mut soils {
        let given = Given {
            site: site.as_ref().zip(arguments.dir.as_deref()),
            soil,
        };
        match foretell::work(&given, &arguments.foretelling)? {
            Some(Ok(worth)) => soil.foretold = Some(worth),
            Some(Err(warning)) => warnings.push(warning),
            None => {}
        }
    }
    let site_name = site.map(|site| site.name);
    warnings.extend(soils.iter().flat_map(SoilPlan::warnings));
    if soils.len() > 1 {
        warnings.push(one_oven(soils.len()));
    }
    let written = match &arguments.out {
        Some(folder) => {
            let header = arguments.dir.as_deref().and_then(header_line);
            let header = header.unwrap_or_default();
            write(
                &soils,
                site_name.as_deref(),
                &header,
                folder,
                arguments.force,
            )?
        }
        None => Vec::new(),
    };
    let answer = Answer::new(site_name, soils, written, warnings);
    for warning in &answer.warnings {
        eprintln!("{warning}");
    }
    if arguments.json {
        print_json(&answer)?;
    } else {
        print(&text::of(&answer))?;
    }
    Ok(Verdict::Good)
}

/// A number of the command line; a decimal comma is told of as such.
fn decimal(text: &str) -> Result<f64, String> {
    text.trim().parse::<f64>().map_err(|error| {
        let with_point = text.replacen(',', ".", 1);
        match with_point.trim().parse::<f64>() {
            Ok(_) => format!("write a decimal point, not a comma: {with_point}"),
            Err(_) => error.to_string(),
        }
    })
}

/// Writes a record sheet a soil and the table of cores to fill in, below `header`.
fn write(
    soils: &[SoilPlan],
    site_name: Option<&str>,
    header: &HeaderLine,
    folder: &Path,
    force: bool,
) -> Result<Vec<PathBuf>, Failure> {
    let mut outputs = OutputSet::default();
    for soil in soils {
        let name = format!("record-sheet-{}.html", soil.file_name());
        outputs.add(folder.join(name), sheet::render(soil, site_name));
        if let Some(worth) = &soil.foretold {
            worth.add_chart(&mut outputs, folder, soil)?;
        }
    }
    outputs.add(
        folder.join("samples-to-fill.csv"),
        to_fill::render(soils, header)?,
    );
    let written = outputs.paths().map(Path::to_owned).collect();
    outputs.write(force)?;
    Ok(written)
}

/// That plans side by side share what each takes for its own.
fn one_oven(soils: usize) -> Warning {
    Warning {
        place: "the oven".to_owned(),
        what: format!("{soils} soils are planned, each as if it had the oven to itself"),
        why: "side by side their loads meet, and moist cores must not stand beside dry ones"
            .to_owned(),
        advice: "plan one soil after the other, each with --soil and a --start of its own, or \
                 keep apart which shelf is whose"
            .to_owned(),
    }
}

/// The days off, counted from day 1.
fn days_off(start: Option<Date>, days: &[Weekday]) -> DaysOff {
    let mut off = [false; 7];
    for (is_off, day) in off.iter_mut().zip(Weekday::value_variants()) {
        *is_off = days.contains(day);
    }
    let first = start.map_or(0, |start| start.weekday().to_monday_zero_offset());
    DaysOff {
        first: u8::try_from(first).unwrap_or(0),
        off,
    }
}

fn day(text: &str) -> Result<Date, Failure> {
    text.trim().parse::<Date>().map_err(|_| {
        Complaint::about(
            Path::new(COMMAND_LINE),
            "is not a day",
            "write year, month and day: 2026-11-30",
        )
        .in_column("--start", text)
        .into()
    })
}
