//! What an old threshold means.

use super::{SITE, bench, calibration, upper};
use calib_core::calibration::Direction;
use calib_core::quantity::{Celsius, Quantity};
use calib_core::temperature::TemperatureTerm;

#[test]
fn a_raw_threshold_is_explained() {
    // 480 counts: 0.270 m3/m3, 85 % of the available water; in 300 mm 51 mm above
    // the wilting point.
    let bench = bench(SITE, &[upper()]);
    bench
        .run(&["setpoints", ".", "--explain", "480"])
        .exits(0)
        .says("Probe upper-1 in soil upper: count 480")
        .says("The soil then holds 0.270 +- 0.0")
        .says("inside the calibrated 300 to 700 counts")
        .says(" % (95 %): 50.9 mm above the wilting point, 9.1 mm used up since field capacity.")
        .says("Of the available water 85 % is left, likely between ")
        .says("It lies between refill and stop")
        .says("Refill is count 530 (0.220 m3/m3), stop 450 (0.300).")
        .says("Chance that the soil is really drier than refill")
        .says("swing in the soil does to it is not known")
        .says("backflow preventer")
        .says("Local codes");
    let json = bench
        .run(&["setpoints", ".", "--explain", "560", "--json"])
        .exits(0)
        .json();
    let suction = &json["meanings"][0]["suction"];
    let kpa = |key: &str| suction[key].as_f64().unwrap();
    assert!(kpa("low_kpa") < kpa("kpa") && kpa("kpa") < kpa("high_kpa"));
    let meaning = &json["meanings"][0]["meaning"];
    assert_eq!(meaning["place"], "at-or-below-refill");
    assert!(meaning["below_refill"].as_f64().unwrap() > 0.8);
    assert_eq!(json["cautions"].as_array().unwrap().len(), 6);
}

#[test]
fn a_mark_of_an_old_percent_scale_is_explained_by_its_two_ends() {
    // From 700 (0 %) to 300 (100 %), 55 % is count 480.
    let bench = bench(SITE, &[upper()]);
    bench
        .run(&[
            "setpoints",
            ".",
            "--explain",
            "55%",
            "--count-at-0",
            "700",
            "--count-at-100",
            "300",
        ])
        .exits(0)
        .says("55 % of the scale from 700 (0 %) to 300 (100 %) is count 480.")
        .says("The soil then holds 0.270");
    bench
        .run(&["setpoints", ".", "--explain", "55%"])
        .exits(2)
        .complains("--explain = \"55%\": is a mark of a scale whose ends are not known")
        .complains("mend: add --count-at-0 and --count-at-100");
    bench
        .run(&[
            "setpoints",
            ".",
            "--explain",
            "55%",
            "--count-at-0",
            "500",
            "--count-at-100",
            "500",
        ])
        .exits(2)
        .complains("whose ends are the same count");
}

#[test]
fn a_threshold_means_other_water_as_the_soil_warms_and_cools() {
    let mut corrected = upper();
    corrected.temperature = Some(TemperatureTerm {
        reference: Celsius::new(20.0).unwrap(),
        coefficient: 2.0,
    });
    corrected.covariance = vec![
        vec![4e-6, 0.0, 0.0],
        vec![0.0, 4e-6, 0.0],
        vec![0.0, 0.0, 0.01],
    ];
    corrected.temperature_range = Some((8.0, 28.0));
    // At 25 C 490 counts are 480 at 20 C; 2.5 C to either side are 5 counts.
    let bench_of = |known| bench(SITE, &[known]);
    bench_of(corrected.clone())
        .run(&["setpoints", ".", "--explain", "490", "--temperature", "30"])
        .exits(0)
        .complains(
            "warning: upper-1: --temperature 30 lies outside the 8.0 to 28.0 C of its cores",
        );
    bench_of(upper())
        .run(&["setpoints", ".", "--explain", "490", "--temperature", "25"])
        .exits(0)
        .complains(
            "--temperature 25 changes nothing: this calibration does not look at soil temperature",
        );
    let answer = bench_of(corrected)
        .run(&["setpoints", ".", "--explain", "490", "--temperature", "25"])
        .exits(0)
        .says("The soil then holds 0.270")
        .says("read in soil of 25 C, which is count 480 at 20 C;")
        .says("stands for 0.265 to 0.275 m3/m3, unless corrected for soil temperature");
    assert!(
        !answer.stderr.contains("--temperature"),
        "{}",
        answer.stderr
    );
}

#[test]
fn a_count_on_several_probes_says_that_it_means_something_else_on_each() {
    const OTHER: &str = "The same count means something else on each probe";
    let lower = calibration("lower-1", "lower", Direction::FallsWhenWetter);
    let bench = bench(SITE, &[upper(), lower]);
    let explain = ["setpoints", ".", "--explain", "480"];
    bench.run(&explain).exits(0).says(OTHER);
    let one = bench
        .run(&[&explain[..], &["--probe", "upper-1"]].concat())
        .exits(0);
    assert!(!one.stdout.contains(OTHER), "{}", one.stdout);
}

#[test]
fn a_count_without_an_answer_says_so_and_nonsense_is_refused() {
    let bench = bench(SITE, &[upper()]);
    bench
        .run(&["setpoints", ".", "--explain", "750"])
        .exits(0)
        .says("No answer: it lies outside the calibrated 300 to 700 counts, in soil drier than any core.");
    bench
        .run(&["setpoints", ".", "--explain", "9000"])
        .exits(2)
        .complains("is no count of probe upper-1, whose converter gives 0 to 4095");
    bench
        .run(&["setpoints", ".", "--explain", "wet"])
        .exits(2)
        .complains("--explain = \"wet\": is neither a count nor a percentage");
    bench
        .run(&["setpoints", ".", "--explain", "35"])
        .exits(0)
        .says("Write 35% if it is a mark of an old percent scale.");
    for (given, said) in [
        ("0.148", "looks like a water content"),
        ("0,148", "looks like a water content"),
        ("492.5", "is not a whole number, as a raw count is"),
        ("492,5", "is not a whole number, as a raw count is"),
    ] {
        bench
            .run(&["setpoints", ".", "--explain", given])
            .exits(2)
            .complains(&format!("--explain = \"{given}\": {said}"));
    }
    bench
        .run(&["setpoints", ".", "--explain", "480", "--temperature", "120"])
        .exits(2)
        .complains("--temperature = \"120\": temperature 120 C lies outside -40 to 85 C");
}
