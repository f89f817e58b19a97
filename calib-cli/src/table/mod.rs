//! Reading the workbench's files: what they say, then what it means.
//!
//! Every fault is gathered, with file, line, column, value and mend; nothing
//! stops at the first.

mod delimited;
mod far_apart;
mod header;
pub mod heard;
mod log;
mod lost_mark;
pub mod names;
mod nearest;
mod number;
pub mod pairs;
mod readings;
mod samples;
mod site;
mod source;
pub mod tidy;
mod time;
pub mod weather;

use crate::failure::{Complaint, Failure, Warning};
use crate::findings::Findings;
use crate::meant;
use crate::workbench::{Site, Workbench};
pub use log::{LogRow, each_log_row};
pub use names::{LOG, READINGS, SAMPLES, SITE, WEATHER};
pub use nearest::{listed, nearest};
pub use readings::COLUMNS as READING_COLUMNS;
#[cfg(test)]
pub use samples::COLUMNS as SAMPLE_COLUMNS;
pub use samples::{HeaderLine, Undried, header_line};
pub use site::capture::STEADY_MINUTES;
#[cfg(test)]
pub use site::keys as site_keys;
pub use site::{STOCK_WATER_MEND, WATER_CONTENT_MEND, stock_water_of, water_share_fault};
pub use source::{Source, sha256_of, shown_path};
use std::collections::HashSet;
use std::path::Path;
pub use time::{how_long, rfc_3339};

/// What a folder holds and all that was found in it.
#[derive(Debug)]
pub struct Inspection {
    /// The workbench, if nothing was refused.
    pub workbench: Option<Workbench>,
    /// Every fault, by file and line. Empty exactly if there is a workbench.
    pub complaints: Vec<Complaint>,
    /// What does not stop the work; the workbench holds the same.
    pub warnings: Vec<Warning>,
}

/// Reads a workbench folder.
///
/// # Errors
/// [`Failure::Input`] with every fault found.
pub fn load(folder: &Path) -> Result<Workbench, Failure> {
    let inspection = inspect(folder);
    inspection
        .workbench
        .ok_or(Failure::Input(inspection.complaints))
}

/// Reads a workbench folder half-way through a bench: cores that are not dry yet, and the
/// readings that name them, are left out of it and come beside it.
///
/// # Errors
/// [`Failure::Input`] with every other fault found.
pub fn load_half_way(folder: &Path) -> Result<(Workbench, Vec<Undried>), Failure> {
    let mut undried = Vec::new();
    let inspection = inspect_with(folder, Some(&mut undried));
    let mut workbench = inspection
        .workbench
        .ok_or(Failure::Input(inspection.complaints))?;
    let ids: HashSet<&str> = undried.iter().map(|core| core.id.as_str()).collect();
    let names_one = |sample: &Option<String>| sample.as_deref().is_some_and(|id| ids.contains(id));
    workbench
        .readings
        .retain(|logged| !names_one(&logged.sample));
    Ok((workbench, undried))
}

/// Reads the site.toml of a workbench folder alone.
///
/// # Errors
/// [`Failure::Input`] with every fault found.
pub fn load_site(folder: &Path) -> Result<Site, Failure> {
    if let Some(complaint) = no_workbench(folder) {
        return Err(complaint.into());
    }
    let mut findings = Findings::default();
    let site = Source::read(folder, SITE, &mut findings)
        .ok()
        .and_then(|source| site::read(&source, &mut findings).site);
    let (complaints, _) = finished(folder, findings);
    site.filter(|_| complaints.is_empty())
        .ok_or(Failure::Input(complaints))
}

/// Ids of the cores in samples.csv, as far as it is there and can be read.
pub fn sample_ids(folder: &Path) -> HashSet<String> {
    let mut findings = Findings::default();
    let mut ids = HashSet::new();
    if let Ok(source) = Source::read(folder, SAMPLES, &mut findings)
        && let Ok(sheet) = delimited::Sheet::open(&source, &samples::COLUMNS, &mut findings)
    {
        let place = sheet.place(names::SAMPLE_ID);
        sheet.rows(&mut findings, |row, _| {
            ids.insert(row.cell(place).text.to_owned());
        });
    }
    ids
}

/// That this is no folder, and which one may be meant.
pub fn no_folder(given: &Path) -> Complaint {
    let mend = if given.is_file() {
        format!("give the folder: {}", folder_of(given).display())
    } else {
        meant::mend(
            given,
            "name the folder that holds site.toml, samples.csv and readings.csv, \
             or run `ovendry start` to have one laid out",
        )
    };
    Complaint::about(given, "is not a folder", mend)
}

/// That no workbench lies in `folder`, and where one does; `None` where one of its
/// files is there.
pub fn no_workbench(folder: &Path) -> Option<Complaint> {
    if !folder.is_dir() {
        return Some(no_folder(folder));
    }
    let is_there = |name| folder.join(name).exists();
    if [SITE, SAMPLES, READINGS].into_iter().any(is_there) {
        return None;
    }
    let near = meant::workbenches_near(folder);
    let mend = match near.as_slice() {
        [] => "name the folder that holds them, or run `ovendry start` to have one laid out"
            .to_owned(),
        [one] => format!("did you mean {}?", one.display()),
        [first, more @ ..] => format!(
            "name the one you mean: {} or {}",
            first.display(),
            match more {
                [other] => other.display().to_string(),
                more => format!("one of {} others beside it", more.len()),
            }
        ),
    };
    Some(Complaint::about(
        folder,
        "holds no workbench: neither site.toml nor samples.csv nor readings.csv",
        mend,
    ))
}

/// The folder a file lies in, as a person in the current folder would write it.
pub fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    }
}

/// Reads a workbench folder and tells everything about it.
pub fn inspect(folder: &Path) -> Inspection {
    inspect_with(folder, None)
}

fn inspect_with(folder: &Path, undried: Option<&mut Vec<Undried>>) -> Inspection {
    if let Some(complaint) = no_workbench(folder) {
        return Inspection {
            workbench: None,
            complaints: vec![complaint],
            warnings: Vec::new(),
        };
    }
    let mut findings = Findings::default();
    let workbench = read(folder, undried, &mut findings);
    let (complaints, warnings) = finished(folder, findings);
    Inspection {
        workbench: workbench
            .filter(|_| complaints.is_empty())
            .map(|workbench| Workbench {
                warnings: warnings.clone(),
                ..workbench
            }),
        complaints,
        warnings,
    }
}

/// All that was found in the files of `folder`, file by file.
pub fn finished(folder: &Path, findings: Findings) -> (Vec<Complaint>, Vec<Warning>) {
    let files = [SITE, SAMPLES, READINGS].map(|name| shown_path(folder, name));
    findings.finish(&files.each_ref().map(AsRef::as_ref))
}

fn read(
    folder: &Path,
    undried: Option<&mut Vec<Undried>>,
    findings: &mut Findings,
) -> Option<Workbench> {
    let site_source = Source::read(folder, SITE, findings);
    let samples_source = Source::read(folder, SAMPLES, findings);
    let readings_source = Source::read(folder, READINGS, findings);
    let site = match &site_source {
        Ok(source) => site::read(source, findings),
        Err(_) => site::UNREADABLE,
    };
    let samples = samples_source
        .as_ref()
        .ok()
        .map(|source| samples::read(source, &site, undried, findings));
    let readings = readings_source
        .as_ref()
        .ok()
        .map(|source| readings::read(source, &site, findings));
    if let (Some(Ok(samples)), Some(Ok(readings))) = (&samples, &readings) {
        far_apart::warn(samples, readings, &shown_path(folder, READINGS), findings);
    }
    Some(Workbench {
        folder: folder.to_owned(),
        site: site.site?,
        samples: samples?.ok()?,
        readings: readings?.ok()?,
        warnings: Vec::new(),
        sources: [site_source, samples_source, readings_source]
            .into_iter()
            .map(|source| source.map(|source| source.stamp))
            .collect::<Result<_, _>>()
            .ok()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use calib_core::calibration::Direction;
    use calib_core::gravimetry::CoreVolume;
    use calib_core::quantity::{Quantity, Timestamp};
    use std::fs;

    const SITE_TEXT: &str = r#"
[site]
name = "Terrace field"
[balance]
resolution_g = 0.01
[ring]
diameter_cm = 5.0
height_cm = 5.1
[[soil]]
id = "loam"
sand_percent = 40
silt_percent = 40.5
clay_percent = 20
field_capacity = 0.28
[[probe]]
id = "P1"
adc_bits = 10
counts_when_wetter = "fall"
soil = "loam"
[controller]
area_m2 = 120
flow_l_per_min = 18
"#;
    const SAMPLES_TEXT: &str = "\
sample_id,soil,level,tare_g,wet_g,dry_g,core_volume_cm3,taken_at
A1,loam,1,38.42,214.87,188.15,,2026-11-25T14:05:00Z
A2,loam,1,38.5,214.9,188.2,98.5,
";
    const READINGS_TEXT: &str = "\
timestamp,probe_id,raw_count,soil_temp_c,sample_id
2026-11-25T14:00:00Z,P1,512,18.5,A1
2026-11-25T14:01:00Z,P1,513,,A1
";

    fn bench(samples: &str, readings: &str) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in [(SITE, SITE_TEXT), (SAMPLES, samples), (READINGS, readings)] {
            fs::write(folder.path().join(name), text).unwrap();
        }
        folder
    }

    fn read(samples: &str, readings: &str) -> Workbench {
        let folder = bench(samples, readings);
        load(folder.path()).unwrap_or_else(|failure| panic!("{failure}"))
    }

    #[test]
    fn a_workbench_means_what_its_files_say() {
        let workbench = read(SAMPLES_TEXT, READINGS_TEXT);
        let site = &workbench.site;
        assert_eq!(site.name, "Terrace field");
        assert_eq!(site.balance.repeatability_g, 0.01, "the resolution");
        assert_eq!((site.window_seconds, site.temperature_u), (1800, 0.5));
        assert_eq!(site.probes[0].direction, Some(Direction::FallsWhenWetter));
        assert_eq!(site.probes[0].line, 15);
        let soil = &site.soils[0];
        let Some(crate::workbench::Texture::Fractions { sand, silt, clay }) = soil.texture else {
            panic!("{soil:?}")
        };
        assert!(
            (sand + silt + clay - 100.0).abs() < 1e-9,
            "rounding is shared out"
        );
        assert_eq!(soil.field_capacity.map(|fc| fc.u), Some(0.02));
        let controller = site.controller.as_ref().unwrap();
        assert_eq!(controller.application_efficiency.value(), 0.9);
        assert_eq!(
            (
                controller.minimum_on_s,
                controller.minimum_off_s,
                controller.maximum_on_s
            ),
            (30, 300, 3600)
        );

        let [ringed, stated] = workbench.samples.as_slice() else {
            panic!("{:?}", workbench.samples)
        };
        assert_eq!(ringed.taken_at, Some(Timestamp(1_795_615_500)));
        assert_eq!(ringed.line, 2);
        assert!(matches!(ringed.volume, CoreVolume::Ring { height, .. }
                if height.value.value() == 5.1 && height.u == 0.02));
        assert!(matches!(stated.volume, CoreVolume::Stated(volume)
                if volume.value.value() == 98.5 && (volume.u - 0.985).abs() < 1e-12));
        let [first, second] = workbench.readings.as_slice() else {
            panic!("{:?}", workbench.readings)
        };
        assert_eq!(first.reading.count, 512);
        assert_eq!(first.sample.as_deref(), Some("A1"));
        assert_eq!(second.reading.soil_temperature, None);
        assert_eq!(second.line, 3);
        assert_eq!(workbench.sources.len(), 3);
    }

    #[test]
    fn a_spreadsheets_export_means_the_same() {
        let exported = |text: &str| {
            let semicolons = text.replace(',', ";").replace('\n', ";;\r\n");
            let commas: String = semicolons
                .split(';')
                .map(|cell| match cell.parse::<f64>() {
                    Ok(_) => cell.replace('.', ","),
                    Err(_) => cell.to_owned(),
                })
                .collect::<Vec<_>>()
                .join(";");
            format!("\u{feff}{commas};;;;\r\n\r\n")
        };
        let mut plain = read(SAMPLES_TEXT, READINGS_TEXT);
        let mut exported = read(&exported(SAMPLES_TEXT), &exported(READINGS_TEXT));
        let samples = plain.samples.iter_mut().chain(&mut exported.samples);
        for sample in samples {
            sample.written.clear();
        }
        assert_eq!(plain.samples, exported.samples);
        assert_eq!(plain.readings, exported.readings);
    }

    #[test]
    fn columns_may_stand_in_any_order() {
        let turned = |text: &str| -> String {
            text.lines()
                .map(|line| line.split(',').rev().collect::<Vec<_>>().join(",") + "\n")
                .collect()
        };
        let plain = read(SAMPLES_TEXT, READINGS_TEXT);
        let turned = read(&turned(SAMPLES_TEXT), &turned(READINGS_TEXT));
        assert_eq!(plain.samples, turned.samples);
        assert_eq!(plain.readings, turned.readings);
    }

    #[test]
    fn readings_of_one_second_are_kept_and_mentioned() {
        let folder = bench(
            SAMPLES_TEXT,
            &READINGS_TEXT.replace("14:01:00Z,P1,513", "14:00:00Z,P1,513"),
        );
        let workbench = load(folder.path()).unwrap();
        assert_eq!(workbench.readings.len(), 2);
        assert!(
            workbench.warnings[0]
                .what
                .starts_with("1 reading carries the same time as the one before"),
            "{:?}",
            workbench.warnings
        );
    }

    #[test]
    fn readings_that_name_a_core_of_another_day_are_remarkable() {
        let late = format!("{READINGS_TEXT}2027-01-20T14:00:00Z,P1,530,,A1\n");
        let workbench = read(SAMPLES_TEXT, &late);
        let [warning] = workbench.warnings.as_slice() else {
            panic!("{:?}", workbench.warnings)
        };
        assert!(warning.place.ends_with("readings.csv:4"), "{warning:?}");
        assert!(
            warning
                .what
                .starts_with("1 reading with sample_id A1 lies 56 days or more after its taken_at"),
            "{warning:?}"
        );
        let near = format!("{READINGS_TEXT}2026-11-26T14:00:00Z,P1,530,,A1\n");
        assert!(read(SAMPLES_TEXT, &near).warnings.is_empty());
    }

    #[test]
    fn all_faults_of_all_files_are_told_at_once() {
        let folder = bench(
            &SAMPLES_TEXT.replace("38.42", "x").replace("188.2", "y"),
            &READINGS_TEXT.replace("512", "-1"),
        );
        fs::write(folder.path().join(SITE), SITE_TEXT.replace("= 10", "= 40")).unwrap();
        let inspection = inspect(folder.path());
        assert!(inspection.workbench.is_none());
        let places: Vec<_> = inspection
            .complaints
            .iter()
            .map(|complaint| {
                (
                    complaint.line.unwrap_or(0),
                    complaint.column.clone().unwrap_or_default(),
                )
            })
            .collect();
        let expected = [
            (17, "adc_bits"),
            (2, "tare_g"),
            (3, "dry_g"),
            (2, "raw_count"),
        ];
        assert_eq!(
            places,
            expected.map(|(line, column)| (line, column.to_owned()))
        );
    }
}
