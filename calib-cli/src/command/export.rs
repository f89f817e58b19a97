//! `ovendry export DIR`: controller files from the saved calibrations, proved
//! against them after writing.

use super::fit::out_folder;
use super::setpoints::{for_calibration, stage_gone_by};
use super::verify::{Against, Examined, examine};
use crate::calibration_file::CalibrationFile;
use crate::caution;
use crate::failure::{Complaint, Failure, Verdict, Warning};
use crate::output::{self, OutputSet};
use crate::table::load_site;
use crate::workbench::{Controller, Site};
use calib_cli::controller::{Companion, FORMATS, clashing, render};
use calib_core::controller::{ControllerTable, DEFAULT_MAX_ERROR, Dates, Timing};
use calib_core::irrigation::SetPoints;
use jiff::civil::Date;
use std::path::{Path, PathBuf};

/// Write controller files from the saved calibrations, and prove them.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The workbench folder
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,
    /// Where the calibrations lie and the files go [default: DIR/out]
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
    /// Only this probe; may be given more than once
    #[arg(long, value_name = "ID")]
    pub(super) probe: Vec<String>,
    /// Set points for this stage of growth; the last with the deepest roots if not given
    #[arg(long, value_name = "NAME")]
    pub(super) stage: Option<String>,
    /// Largest difference from the curve the table may add, m3/m3
    #[arg(long, value_name = "M3_PER_M3", default_value_t = DEFAULT_MAX_ERROR)]
    pub(super) max_error: f64,
    /// Overwrite files that exist
    #[arg(long)]
    pub(super) force: bool,
    /// Print JSON
    #[arg(long)]
    pub(super) json: bool,
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> Result<Verdict, Failure> {
    let Exported {
        findings,
        warnings,
        stage,
    } = work(arguments)?;
    for warning in &warnings {
        eprintln!("{warning}");
    }
    if arguments.json {
        let mut answer = findings.to_json();
        answer["stage"] = stage.into();
        output::print_json(&answer)?;
    } else {
        output::print(&format!(
            "{findings}{}\n{}",
            stage_line(stage.as_deref()),
            caution::take_care(&[caution::PUMP])
        ))?;
    }
    Ok(findings.verdict())
}

/// The stage of growth the set points are for, as a line; empty without stages.
pub(super) fn stage_line(stage: Option<&str>) -> String {
    stage.map_or_else(String::new, |stage| {
        format!("Refill and stop are those of stage {stage}.\n")
    })
}

/// What was written, read back and compared.
pub(super) struct Exported {
    pub(super) findings: Examined,
    pub(super) warnings: Vec<Warning>,
    /// The stage of growth the set points are for.
    pub(super) stage: Option<String>,
}

/// Everything the command does but print.
pub(super) fn work(arguments: &Arguments) -> Result<Exported, Failure> {
    let site = load_site(&arguments.folder)?;
    let out = out_folder(&arguments.folder, arguments.out.as_deref());
    let request = Request {
        out: &out,
        probes: &arguments.probe,
        max_error: arguments.max_error,
        force: arguments.force,
    };
    let wanted = arguments.stage.as_deref();
    let written = export(&request, &site, |path, file| {
        for_calibration(&site, path, file, wanted)
    })?;
    let findings = written
        .iter()
        .map(|(path, against)| examine(path, Some(against)))
        .collect::<Result<Vec<_>, Failure>>()?;
    // Every format of a probe was made from the same calibration.
    let mut made_from: Vec<_> = written.iter().map(|(_, against)| against.file()).collect();
    made_from.dedup_by_key(|(path, _)| *path);
    Ok(Exported {
        findings: Examined(findings),
        warnings: CalibrationFile::stale(made_from, &arguments.folder),
        stage: stage_gone_by(&site, wanted)?,
    })
}

/// What to export, and where.
struct Request<'a> {
    /// The folder of calibrations and controller files.
    out: &'a Path,
    /// Probes chosen; all if empty.
    probes: &'a [String],
    /// Maximum error asked of the tables, m3/m3.
    max_error: f64,
    /// Whether to overwrite.
    force: bool,
}

/// Writes every format of every chosen probe, all or none, and gives the files
/// with the calibration each was made from.
fn export(
    request: &Request,
    site: &Site,
    set_points: impl Fn(&Path, &CalibrationFile) -> Result<SetPoints, Failure>,
) -> Result<Vec<(PathBuf, Against)>, Failure> {
    let calibrations = chosen(request)?;
    let controller = controller(site)?;
    let mut outputs = OutputSet::default();
    let mut written = Vec::new();
    for (path, file) in calibrations {
        let calibration = &file.calibration;
        let table = ControllerTable::from_calibration(
            calibration,
            &set_points(&path, &file)?,
            timing(controller),
            controller.open_circuit,
            dates(&path, &file)?,
            request.max_error,
        )
        .map_err(|error| Complaint::about(&path, error.to_string(), error.mend()))?;
        for format in FORMATS {
            let target = request.out.join(format.file_name(&calibration.probe));
            outputs.add(&target, render(format, &table));
            written.push((target, Against::new(path.clone(), file.clone())));
        }
    }
    for Companion { file_name, text } in FORMATS.iter().filter_map(|format| format.companion()) {
        outputs.add(request.out.join(file_name), text);
    }
    outputs.write(request.force)?;
    Ok(written)
}

/// The saved calibrations of the chosen probes.
fn chosen(request: &Request) -> Result<Vec<(PathBuf, CalibrationFile)>, Failure> {
    let all = CalibrationFile::load_all(request.out)?;
    // Two calibrations of one probe would write the same file.
    if let Some((path, file)) = all
        .iter()
        .find(|(path, file)| path.file_name() != Some(file.file_name().as_ref()))
    {
        return Err(Complaint::about(
            path,
            format!("holds the calibration of probe {}", file.calibration.probe),
            format!("name it {}, or move it elsewhere", file.file_name()),
        )
        .into());
    }
    let probe = |file: &CalibrationFile| file.calibration.probe.clone();
    if let Some(unknown) = request
        .probes
        .iter()
        .find(|wanted| all.iter().all(|(_, file)| probe(file) != **wanted))
    {
        let known: Vec<String> = all.iter().map(|(_, file)| probe(file)).collect();
        return Err(Complaint::about(
            request.out,
            format!("holds no calibration of probe {unknown}"),
            format!(
                "choose among {} or run `ovendry fit` for it",
                known.join(", ")
            ),
        )
        .into());
    }
    let calibrations: Vec<_> = all
        .into_iter()
        .filter(|(_, file)| request.probes.is_empty() || request.probes.contains(&probe(file)))
        .collect();
    let names = calibrations
        .iter()
        .map(|(_, file)| file.calibration.probe.as_str());
    if let Some((one, other)) = clashing(names) {
        return Err(Complaint::about(
            request.out,
            format!("probes {one} and {other} would have the same names in C and MicroPython"),
            "rename one of them in site.toml so that they differ in letters or digits",
        )
        .into());
    }
    Ok(calibrations)
}

fn controller(site: &Site) -> Result<&Controller, Failure> {
    Ok(site.controller.as_ref().ok_or_else(|| {
        Complaint::about(
            &site.file,
            "has no [controller], so pump times and water are not known",
            "add a [controller] table with area, flow and pump times",
        )
    })?)
}

fn timing(controller: &Controller) -> Timing {
    Timing {
        minimum_on_s: controller.minimum_on_s,
        minimum_off_s: controller.minimum_off_s,
        maximum_on_s: controller.maximum_on_s,
        stuck_after_s: controller.stuck_after_s,
    }
}

fn dates(path: &Path, file: &CalibrationFile) -> Result<Dates, Failure> {
    let date = |key: &str, value: &str| -> Result<Date, Failure> {
        Ok(value.parse::<Date>().map_err(|_| {
            Complaint::about(
                path,
                "is not a date as YYYY-MM-DD",
                "run `ovendry fit` again to make the calibration anew",
            )
            .in_column(key, value)
        })?)
    };
    Ok(Dates {
        calibrated_on: date("calibrated_on", &file.calibrated_on)?,
        recheck_by: date("recheck_by", &file.recheck_by)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workbench::{Balance, SeasonKeys};
    use calib_core::calibration::{Calibration, Direction, Domain, ReadingNoise};
    use calib_core::controller::OpenCircuit;
    use calib_core::curve::{Axis, Curve, CurveKind};
    use calib_core::irrigation::{DeadBandGovernor, RelayLife};
    use calib_core::quantity::{Fraction, LitrePerMinute, Millimetre, Quantity, SquareMetre, Vwc};
    use std::fs;

    fn calibration(probe: &str) -> CalibrationFile {
        CalibrationFile {
            format: crate::calibration_file::FORMAT.into(),
            version: crate::calibration_file::VERSION,
            program: "test".into(),
            calibrated_on: "2025-04-02".into(),
            recheck_by: "2026-04-02".into(),
            sources: Vec::new(),
            explanation: Vec::new(),
            calibration: Calibration {
                probe: probe.into(),
                soil: "bed".into(),
                adc_bits: 10,
                curve: Curve {
                    kind: CurveKind::Quadratic,
                    axis: Axis::centred(300.0, 700.0),
                    parameters: vec![0.22, -0.17, 0.04],
                },
                temperature: None,
                domain: Domain {
                    low: 300.4,
                    high: 699.2,
                },
                temperature_range: None,
                covariance: vec![
                    vec![1e-6, 0.0, 0.0],
                    vec![0.0, 1e-6, 0.0],
                    vec![0.0, 0.0, 1e-6],
                ],
                covariance_parts: Vec::new(),
                core_scatter: 0.005,
                scatter_draws: Vec::new(),
                rivals: Vec::new(),
                degrees_of_freedom: 14.0,
                relative_volume_u: 0.01,
                noise: ReadingNoise {
                    standard_deviation: 1.0,
                    degrees_of_freedom: 100.0,
                },
                temperature_u: 0.3,
                supply_relative_u: 0.0,
                probe_to_probe: 0.0,
                direction: Direction::FallsWhenWetter,
                cores: 18,
            },
        }
    }

    fn site() -> Site {
        Site {
            name: "test".into(),
            file: "site.toml".into(),
            balance: Balance {
                resolution_g: 0.01,
                repeatability_g: 0.01,
            },
            temperature_u: 0.3,
            window_seconds: 600,
            soils: Vec::new(),
            probes: Vec::new(),
            controller: Some(Controller {
                area: SquareMetre::new(40.0).unwrap(),
                flow: LitrePerMinute::new(12.0).unwrap(),
                crop: None,
                root_depth: None,
                allowed_depletion: None,
                evapotranspiration: 5.0,
                application_efficiency: Fraction::new(0.9).unwrap(),
                distribution_uniformity: Fraction::new(1.0).unwrap(),
                infiltration_mm_per_h: None,
                minimum_on_s: 60,
                minimum_off_s: 600,
                maximum_on_s: 1800,
                stuck_after_s: 86_400,
                open_circuit: OpenCircuit::ReadsLow,
                read_every_s: 60,
                false_start_probability: 0.01,
                daily_temperature_swing_c: 5.0,
                season: SeasonKeys {
                    relay: RelayLife::default(),
                    probe_lag_s: 1200,
                },
                line: 1,
            }),
            stages: Vec::new(),
            beds: Vec::new(),
        }
    }

    fn points(_: &Path, file: &CalibrationFile) -> Result<SetPoints, Failure> {
        let calibration = &file.calibration;
        let (refill, stop) = (Vwc::new(0.18).unwrap(), Vwc::new(0.26).unwrap());
        Ok(SetPoints {
            refill,
            stop,
            refill_count: calibration.count_at(refill).unwrap(),
            stop_count: calibration.count_at(stop).unwrap(),
            resolvable: 0.004,
            governor: DeadBandGovernor::AllowedDepletion,
            allowed_depletion: Fraction::new(0.4).unwrap(),
            root_depth: Millimetre::new(300.0).unwrap(),
            net_depth: Millimetre::new(24.0).unwrap(),
        })
    }

    fn folder_with(probes: &[&str]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for probe in probes {
            let file = calibration(probe);
            fs::write(folder.path().join(file.file_name()), file.render().unwrap()).unwrap();
        }
        folder
    }

    fn export_from(out: &Path, probes: &[&str]) -> Result<Vec<(PathBuf, Against)>, Failure> {
        let probes: Vec<String> = probes.iter().map(|probe| (*probe).to_owned()).collect();
        let request = Request {
            out,
            probes: &probes,
            max_error: DEFAULT_MAX_ERROR,
            force: false,
        };
        export(&request, &site(), points)
    }

    fn complaint(result: Result<Vec<(PathBuf, Against)>, Failure>) -> String {
        let failure = result.err().expect("must be refused");
        assert_eq!(failure.exit_code(), 2);
        failure.to_string()
    }

    #[test]
    fn every_format_of_every_probe_is_written_and_verifies() {
        let folder = folder_with(&["east", "west"]);
        let written = export_from(folder.path(), &[]).unwrap();
        let names: Vec<_> = written
            .iter()
            .map(|(path, _)| path.file_name().unwrap().to_str().unwrap())
            .collect();
        assert_eq!(
            names,
            [
                "east.controller.json",
                "east.h",
                "west.controller.json",
                "west.h"
            ]
        );
        for (path, against) in &written {
            let finding = examine(path, Some(against)).unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(Examined(vec![finding]).verdict(), Verdict::Good);
        }
        // The same calibrations give the same bytes, so no --force is needed.
        export_from(folder.path(), &[]).unwrap();
    }

    #[test]
    fn one_probe_can_be_chosen() {
        let folder = folder_with(&["east", "west"]);
        assert_eq!(export_from(folder.path(), &["west"]).unwrap().len(), 2);
        assert!(!folder.path().join("east.h").exists());
        let said = complaint(export_from(folder.path(), &["north"]));
        assert!(
            said.contains("holds no calibration of probe north"),
            "{said}"
        );
        assert!(said.contains("choose among east, west"), "{said}");
    }

    #[test]
    fn nothing_is_overwritten_unless_forced() {
        let folder = folder_with(&["east"]);
        fs::write(folder.path().join("east.h"), "mine").unwrap();
        let said = complaint(export_from(folder.path(), &[]));
        assert!(said.contains("--force"), "{said}");
        assert!(!folder.path().join("east.controller.json").exists());
    }

    #[test]
    fn probes_with_the_same_c_name_are_refused_before_writing() {
        let folder = folder_with(&["bed 1", "bed-1"]);
        let said = complaint(export_from(folder.path(), &[]));
        assert!(
            said.contains("probes bed 1 and bed-1 would have the same names"),
            "{said}"
        );
        assert!(!folder.path().join("bed 1.h").exists());
    }

    #[test]
    fn a_calibration_under_another_name_is_refused() {
        let folder = folder_with(&["east"]);
        fs::copy(
            folder.path().join("east.calibration.json"),
            folder.path().join("old.calibration.json"),
        )
        .unwrap();
        let said = complaint(export_from(folder.path(), &[]));
        assert!(
            said.contains("name it east.calibration.json, or move it elsewhere"),
            "{said}"
        );
    }

    #[test]
    fn a_date_that_is_none_names_its_key_and_value() {
        let folder = folder_with(&[]);
        let mut file = calibration("east");
        file.recheck_by = "2026-13-01".into();
        fs::write(folder.path().join(file.file_name()), file.render().unwrap()).unwrap();
        let said = complaint(export_from(folder.path(), &[]));
        assert!(said.contains("recheck_by = \"2026-13-01\""), "{said}");
    }

    #[test]
    fn a_site_without_a_controller_is_refused() {
        let mut bare = site();
        bare.controller = None;
        let folder = folder_with(&["east"]);
        let request = Request {
            out: folder.path(),
            probes: &[],
            max_error: DEFAULT_MAX_ERROR,
            force: false,
        };
        let said = complaint(export(&request, &bare, points));
        assert!(said.contains("site.toml: has no [controller]"), "{said}");
    }
}
