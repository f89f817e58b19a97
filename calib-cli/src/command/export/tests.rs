//! Exporting as `export` does it, into a folder of the test's own.

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
        ring: None,
        plan: None,
        capture: crate::workbench::CaptureKeys::default(),
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
    export(&request, &site(), points).map(|written| written.files)
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
            "east.table.csv",
            "east.h",
            "ovendry_east.py",
            "east.sql",
            "west.controller.json",
            "west.table.csv",
            "west.h",
            "ovendry_west.py",
            "west.sql"
        ]
    );
    for (path, against) in &written {
        let findings = examine(path, Some(against)).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(Examined(findings).verdict(), Verdict::Good);
    }
    // The same calibrations give the same bytes, so no --force is needed.
    export_from(folder.path(), &[]).unwrap();
}

#[test]
fn all_probes_stand_in_the_fleet_with_the_tables_of_their_files() {
    let folder = folder_with(&["east", "west"]);
    export_from(folder.path(), &[]).unwrap();
    let findings = examine(&folder.path().join(FLEET_FILE), None).unwrap_or_else(|e| panic!("{e}"));
    let alone = examine(&folder.path().join("west.h"), None).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(findings.len(), 2);
    assert_eq!(findings[1].table(), alone[0].table());
}

#[test]
fn a_probe_named_as_the_reader_is_refused_and_one_named_as_its_functions_is_not() {
    let folder = folder_with(&["ovendry_reader"]);
    let said = complaint(export_from(folder.path(), &[]));
    assert!(said.contains("the same name as the reader in C"), "{said}");
    let folder = folder_with(&["pump"]);
    export_from(folder.path(), &[]).unwrap();
    let header = fs::read_to_string(folder.path().join("pump.h")).unwrap();
    assert!(header.contains("uint8_t ovendry_table_pump["), "{header}");
}

#[test]
fn files_that_are_replaced_are_kept() {
    let folder = folder_with(&["east"]);
    fs::write(folder.path().join("east.h"), "mine").unwrap();
    let request = Request {
        out: folder.path(),
        probes: &[],
        max_error: DEFAULT_MAX_ERROR,
        force: true,
    };
    export(&request, &site(), points).unwrap_or_else(|e| panic!("{e}"));
    let kept = fs::read_to_string(folder.path().join("east.h.previous")).unwrap();
    assert_eq!(kept, "mine");
}

#[test]
fn one_probe_can_be_chosen() {
    let folder = folder_with(&["east", "west"]);
    assert_eq!(
        export_from(folder.path(), &["west"]).unwrap().len(),
        FORMATS.len()
    );
    assert!(!folder.path().join(FLEET_FILE).exists());
    assert!(!folder.path().join("east.h").exists());
    let said = complaint(export_from(folder.path(), &["north"]));
    assert!(
        said.contains("holds no calibration of probe north"),
        "{said}"
    );
    assert!(said.contains("choose one of: east, west"), "{said}");
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
    let said = complaint(export(&request, &bare, points).map(|written| written.files));
    assert!(said.contains("site.toml: has no [controller]"), "{said}");
}
