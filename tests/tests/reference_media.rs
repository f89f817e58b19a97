//! The physical route in `ovendry fit`: reference media in site.toml, and whether
//! they could replace cores.

use calib_core::dielectric::{
    AIR_PERMITTIVITY, Medium, ReferenceMedia, Topp, WaterFromPermittivity, water_permittivity,
};
use calib_core::quantity::{Celsius, Estimate, Permittivity, Quantity, Vwc};
use ovendry_tests::Bench;
use serde_json::Value;

const MEDIA: &str = "
[[medium]]
probe = \"P1\"
name = \"air\"
count = 842

[[medium]]
probe = \"P1\"
name = \"water\"
count = 205
temperature_c = 19

[[medium]]
probe = \"P1\"
name = \"propanol\"
count = 438
permittivity = 20.0
";

/// The response that `MEDIA` states, made here from its own numbers.
fn response() -> ReferenceMedia {
    let water = water_permittivity(Celsius::new(19.0).unwrap()).unwrap();
    let medium = |permittivity: f64, count| Medium {
        count: Estimate::new(count, 0.0),
        permittivity: Estimate::new(Permittivity::new(permittivity).unwrap(), 0.0),
    };
    ReferenceMedia::new([
        medium(AIR_PERMITTIVITY, 842.0),
        medium(20.0, 438.0),
        medium(water.value(), 205.0),
    ])
    .unwrap()
}

fn with_media() -> Bench {
    let bench = Bench::small();
    let site = bench.read("site.toml");
    bench.with("site.toml", site + MEDIA)
}

fn report(bench: &Bench) -> Value {
    let answer = bench
        .run(&["fit", ".", "--no-charts", "--force", "--json"])
        .exits(0)
        .json();
    answer["probes"][0].clone()
}

fn text(bench: &Bench) -> String {
    let answer = bench
        .run(&["fit", ".", "--no-charts", "--force"])
        .exits(0)
        .stdout;
    answer.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn route<'a>(report: &'a Value, name: &str) -> &'a Value {
    let routes = report["physical"]["routes"].as_array().unwrap();
    routes.iter().find(|r| r["route"] == name).unwrap()
}

#[test]
fn without_media_nothing_is_said() {
    let bench = Bench::small();
    assert_eq!(report(&bench)["physical"], Value::Null);
    assert!(!text(&bench).contains("media"));
}

/// Air and water serve `batch`; `fit` says what it lacks.
#[test]
fn two_media_are_taken_and_the_comparison_asks_for_a_third() {
    let bench = Bench::small();
    let two = MEDIA
        .split("\n[[medium]]\nprobe = \"P1\"\nname = \"propanol\"")
        .next()
        .unwrap();
    let site = bench.read("site.toml");
    let bench = bench.with("site.toml", site + two);
    bench.run(&["check", "."]).exits(0);
    let pairs = bench.run(&["pair", "."]).exits(0).stdout;
    assert!(
        pairs.lines().skip(1).all(|row| row.contains(",842,205,")),
        "{pairs}"
    );
    assert_eq!(report(&bench)["physical"], Value::Null);
    let text = text(&bench);
    assert!(text.contains("Probe P1 was read in two media"), "{text}");
    assert!(text.contains("needs a third [[medium]]"), "{text}");
}

#[test]
fn the_errors_of_topp_are_those_reckoned_here_from_the_cores() {
    let bench = with_media();
    let report = report(&bench);
    let response = response();
    let errors: Vec<f64> = report["residuals"]
        .as_array()
        .unwrap()
        .iter()
        .map(|core| {
            let count = core["count"].as_f64().unwrap();
            let permittivity = response.permittivity(count).unwrap();
            Topp.theta_v(permittivity).unwrap().value() - core["theta_v"].as_f64().unwrap()
        })
        .collect();
    let n = errors.len() as f64;
    let topp = route(&report, "topp");
    let bias = errors.iter().sum::<f64>() / n;
    let rmse = (errors.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
    assert!((topp["bias"].as_f64().unwrap() - bias).abs() < 1e-12);
    assert!((topp["rmse"].as_f64().unwrap() - rmse).abs() < 1e-12);
    assert_eq!(topp["cores"], 6);
    let text = text(&bench);
    assert!(text.contains("Reference media instead of cores?"), "{text}");
    assert!(text.contains("do not replace oven-dry cores"), "{text}");
    assert!(text.contains("soil's own root line"), "{text}");
}

#[test]
fn a_soil_that_follows_topp_is_told_to_need_media_only() {
    let bench = with_media();
    let first = report(&bench);
    let response = response();
    // Each core's readings are made those that Topp and the media would give.
    let mut readings = bench.read("readings.csv");
    for core in first["residuals"].as_array().unwrap() {
        let theta = Vwc::new(core["theta_v"].as_f64().unwrap()).unwrap();
        let count = response.count(Topp.permittivity(theta).unwrap()).unwrap();
        let sample = core["sample"].as_str().unwrap();
        readings = readings
            .lines()
            .enumerate()
            .map(|(i, row)| {
                let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
                if cells[5] == sample {
                    cells[2] = format!("{:.0}", count + [-1.0, 0.0, 1.0][i % 3]);
                }
                cells.join(",") + "\n"
            })
            .collect();
    }
    bench.put("readings.csv", readings);
    let report = report(&bench);
    let topp = route(&report, "topp")["rmse"].as_f64().unwrap();
    assert!(topp < 0.003, "{topp}");
    assert!(route(&report, "mixture")["rmse"].as_f64().unwrap() > topp);
    let text = text(&bench);
    assert!(
        text.contains("In this soil the Topp (1980) relation does nearly as well as cores"),
        "{text}"
    );
}
