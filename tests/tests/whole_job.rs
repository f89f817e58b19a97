//! The whole job on the demo data and on the small workbench: two tables in, a
//! proven controller file out.

use calib_cli::controller::{ControllerFormat, FORMATS, load};
use ovendry_tests::Bench;
use rayon::prelude::*;

#[test]
fn each_of_the_three_demo_soils_yields_a_verified_file_of_every_format() {
    let bench = Bench::demo();
    let answer = bench.run(&["calibrate", ".", "--json"]).exits(0).json();
    assert_eq!(answer["verdict"], "good");
    assert_eq!(answer["fit"]["probes"].as_array().map(Vec::len), Some(3));
    let files = answer["export"]["files"].as_array().expect("files");
    assert_eq!(files.len(), 3 * FORMATS.len());
    for file in files {
        let against = &file["calibration"];
        assert_eq!(against["within_bound"], true, "{file}");
        assert!(against["readings_compared"].as_u64() > Some(100), "{file}");
        let bound = file["bound_theta_v"].as_f64().expect("a bound");
        let largest = &against["largest_difference"]["difference_theta_v"];
        assert!(
            largest.as_f64().expect("a difference").abs() <= bound + 1e-12,
            "{file}"
        );
        assert!(bound <= 0.0007, "{file}");
    }
    bench.run(&["verify", "out/fleet.json"]).exits(0);
    for probe in ["terrace-1", "orchard-1", "lowfield-1"] {
        for format in FORMATS {
            let file = format!("out/{}", format.file_name(probe));
            bench.run(&["verify", &file]).exits(0);
            no_flipped_bit_is_loaded(format, bench.read(&file).into_bytes());
        }
        for chart in ["svg", "png", "residuals.svg", "residuals.png"] {
            assert!(
                bench.listing().contains(&format!("out/{probe}.{chart}")),
                "{chart}"
            );
        }
    }
}

fn no_flipped_bit_is_loaded(format: &dyn ControllerFormat, whole: Vec<u8>) {
    (0..whole.len()).into_par_iter().for_each(|position| {
        let mut damaged = whole.clone();
        for bit in 0..8 {
            damaged[position] ^= 1 << bit;
            assert!(
                load(format, &damaged).is_err(),
                "{}: bit {bit} of byte {position}",
                format.name()
            );
            damaged[position] ^= 1 << bit;
        }
        assert!(
            load(format, &whole[..position]).is_err(),
            "{position} bytes"
        );
    });
}

#[test]
fn a_calibration_judged_unfit_is_not_exported_either() {
    let bench = Bench::demo();
    let samples = bench.read("samples.csv");
    assert!(samples.contains("35.94,198.87,"));
    bench.put(
        "samples.csv",
        samples.replace("35.94,198.87,", "35.94,210.00,"),
    );
    bench.run(&["fit", ".", "--no-charts"]);
    bench
        .run(&["export", "."])
        .exits(1)
        .complains("probe terrace-1 is judged not fit for use: one reading at refill is sure to +-")
        .complains("nothing was written");
    assert!(!bench.listing().iter().any(|file| file.ends_with(".h")));
}

#[test]
fn one_probe_exported_alone_leaves_the_fleet_and_says_so() {
    let bench = Bench::demo();
    bench.run(&["calibrate", ".", "--json"]).exits(0);
    let fleet = bench.read("out/fleet.json");
    let site = bench.read("site.toml");
    let changed = site.replace("minimum_on_s = 120", "minimum_on_s = 180");
    assert_ne!(site, changed);
    bench.put("site.toml", changed);
    bench
        .run(&["export", ".", "--probe", "terrace-1", "--force"])
        .exits(0)
        .says("5 files took the place of older ones, which are kept as FILE.previous")
        .complains("out/fleet.json: does not hold the new table of probe terrace-1");
    assert_eq!(bench.read("out/fleet.json"), fleet);
    bench
        .run(&["compare", "out/terrace-1.sql.previous", "out/terrace-1.sql"])
        .exits(1)
        .says("shortest time on: 180 s; before 120 s");
    bench.run(&["export", ".", "--force"]).exits(0);
    bench
        .run(&[
            "compare",
            "out/fleet.json.previous",
            "out/fleet.json",
            "--probe",
            "terrace-1",
        ])
        .exits(1)
        .says("shortest time on: 180 s; before 120 s");
}

#[test]
fn the_demo_tells_the_truth_it_was_made_from() {
    // The truths stand in tests/src/demo/scenario.rs.
    let bench = Bench::demo();
    let answer = bench
        .run(&["fit", ".", "--no-charts", "--json"])
        .exits(0)
        .json();
    for probe in answer["probes"].as_array().expect("probes") {
        let calibration = &probe["calibration"];
        let term = &calibration["temperature"];
        let expected = match calibration["probe"].as_str() {
            Some("terrace-1") => Some(1.0),
            Some("orchard-1") => Some(0.7),
            _ => None,
        };
        match expected {
            None => assert!(term.is_null(), "{term}"),
            Some(truth) => {
                let expanded = probe["temperature"]["coefficient_expanded"].as_f64();
                let found = term["coefficient"].as_f64().expect("a coefficient");
                assert!(
                    (found - truth).abs() <= 1.5 * expanded.expect("an uncertainty"),
                    "{found} for {truth}"
                );
            }
        }
    }
}

#[test]
fn a_workbench_goes_from_two_tables_to_a_header_and_says_what_it_did() {
    let bench = Bench::small();
    bench
        .run(&["calibrate", "."])
        .exits(0)
        .says("1. Calibrations")
        .says("2. Set points")
        .says("Start the pump when the count rises to")
        .says("3. Controller files, read back and compared")
        .says("gives the curve of out/P1.calibration.json at every code")
        .says("Mains and water kill together")
        .says("Local codes");
    let header = bench.read("out/P1.h");
    assert!(!header.contains("float") && !header.contains("double"));
}

#[test]
fn running_again_changes_nothing_and_needs_no_force() {
    let bench = Bench::small();
    bench.run(&["calibrate", "."]).exits(0);
    let first = bench.contents();
    bench.run(&["calibrate", "."]).exits(0);
    assert_eq!(first, bench.contents());
}

#[test]
fn cores_that_changed_since_the_fit_are_noticed_and_not_silently_exported() {
    let bench = Bench::small();
    bench.run(&["calibrate", "."]).exits(0);
    let samples = bench.read("samples.csv");
    bench.put("samples.csv", samples.replace("204.91", "205.21"));
    bench
        .run(&["export", "."])
        .exits(0)
        .complains("samples.csv is no longer the one it was made from")
        .complains("run `ovendry fit` again");
    bench
        .run(&["calibrate", "."])
        .exits(2)
        .complains("exists already with other content")
        .complains("--force");
    bench.run(&["calibrate", ".", "--force"]).exits(0);
}

#[test]
fn a_controller_file_with_one_number_changed_is_refused() {
    let bench = Bench::small();
    bench.run(&["calibrate", "."]).exits(0);
    for name in ["out/P1.h", "out/P1.controller.json"] {
        let text = bench.read(name);
        let digit = text.rfind("3600").expect("the longest run time");
        let mut changed = text.clone();
        changed.replace_range(digit..digit + 4, "3601");
        bench.put(name, changed);
        bench.run(&["verify", name]).exits(2).complains("mend:");
    }
}

#[test]
fn a_mistyped_mass_is_noticed_beside_its_siblings_and_not_signed_off() {
    let bench = Bench::demo();
    let samples = bench.read("samples.csv");
    // 30 g too little water in one of three cores of a level.
    let line = samples
        .lines()
        .find(|line| line.starts_with("lowfield-L3b,"))
        .expect("the core");
    let cells: Vec<&str> = line.split(',').collect();
    let wet: f64 = cells[4].parse().expect("a mass");
    let mistyped = line.replace(cells[4], &format!("{:.2}", wet - 30.0));
    bench.put("samples.csv", samples.replace(line, &mistyped));
    bench
        .run(&["check", "."])
        .exits(0)
        .says("lowfield-L3b and lowfield-L3c of level L3 differ by 0.29 m3/m3")
        .says("look for a slip in the masses or the level");
    bench.run(&["calibrate", "."]).complains(
        "from the curve of probe lowfield-1; of so many cores one lies so far out by chance",
    );
}
