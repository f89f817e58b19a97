//! `ovendry batch`: what the demo's forty probes were made with comes out, the text
//! says what the JSON says, and what cannot be compared is refused with a mend.

use ovendry_tests::demo::{
    BATCH_SHIFT, BATCHES, BESIDE_SD, CONTAINER_SD, GAIN_SD, MEDIA_AND_PIVOT, OFFSET_SD, OUTLYING,
};
use ovendry_tests::{Answer, Bench, repository};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::Value;
use std::fmt::Write;
use std::sync::OnceLock;

const FORTY: &str = "forty-probes.csv";

fn forty() -> Bench {
    let file = repository().join("demo-data").join(FORTY);
    Bench::empty().with(FORTY, std::fs::read(file).unwrap())
}

/// The demo's probes, studied once for all tests that only look.
fn studied() -> &'static (Answer, Value) {
    static STUDIED: OnceLock<(Answer, Value)> = OnceLock::new();
    STUDIED.get_or_init(|| {
        let bench = forty();
        let asked = [
            "--hourly-cost",
            "24",
            "--currency",
            "EUR",
            "--root-depth-mm",
            "400",
            "--no-charts",
        ];
        let text = bench
            .run(&[&["batch", FORTY][..], &asked].concat())
            .exits(0);
        let json = bench
            .run(&[&["batch", FORTY, "--json"][..], &asked].concat())
            .exits(0)
            .json();
        (text, json)
    })
}

fn soil() -> &'static Value {
    &studied().1["soils"][0]
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("no number: {value}"))
}

fn holds(interval: &Value, truth: f64) -> bool {
    number(&interval["low"]) <= truth && truth <= number(&interval["high"])
}

/// The way of this name in a decision.
fn way<'a>(decision: &'a Value, name: &str) -> &'a Value {
    let ways = decision["ways"].as_array().unwrap();
    ways.iter().find(|way| way["way"] == name).unwrap()
}

#[test]
fn the_probe_that_is_off_is_the_one_that_stands_out() {
    let each = soil()["each"].as_array().unwrap();
    assert_eq!(each.len(), 40);
    let out: Vec<&str> = each
        .iter()
        .filter(|probe| probe["stands_out"] == true)
        .map(|probe| probe["probe"].as_str().unwrap())
        .collect();
    assert_eq!(out, [OUTLYING.0]);
    let last = each
        .iter()
        .find(|probe| probe["placed"]["rank"] == 40)
        .unwrap();
    assert_eq!(last["probe"], OUTLYING.0);
}

#[test]
fn the_spread_put_in_lies_in_the_intervals_that_come_out() {
    let spread = &soil()["as_read"]["spread"];
    // Weighing adds 0.001 m3/m3 to what a container's core has of its own.
    assert!(
        holds(&spread["core_sd"], CONTAINER_SD.hypot(0.001)),
        "{spread}"
    );
    // What is left: around each probe, and the count (0.6 counts and more, at some
    // 0.001 m3/m3 a count).
    let left = number(&spread["residual_sd"]["value"]);
    assert!((BESIDE_SD..1.35 * BESIDE_SD).contains(&left), "{left}");
    // Without the one that is off: an offset, the second batch's shift, and a gain that
    // turns about the pivot, all in counts; the largest from dry to wet.
    let without = &soil()["without_standing_out"];
    let found = number(&without["probe_to_probe_counts"]);
    let [air, _, pivot] = MEDIA_AND_PIVOT;
    let shift = BATCH_SHIFT / 2.0;
    let least = OFFSET_SD.hypot(shift);
    let most = least.hypot(GAIN_SD * (air - pivot));
    // Of two probes, so by the square root of 2 more. The standard deviation of 39 probes
    // is known to 11 %; three of those.
    let of_one = found / std::f64::consts::SQRT_2;
    assert!((0.67 * least..1.37 * most).contains(&of_one), "{found}");
    assert!(number(&soil()["decision"]["probe_to_probe_counts"]) > found);
}

#[test]
fn the_second_batch_is_told_to_read_drier_by_what_was_put_in() {
    let pairs = soil()["batches"].as_array().unwrap();
    assert_eq!(pairs.len(), 1);
    assert_eq!([&pairs[0]["a"], &pairs[0]["b"]], BATCHES);
    // Counts fall as the soil gets wetter, so more counts read drier.
    let curve = &soil()["curve"];
    let middle = &soil()["precision"][1];
    assert_eq!(middle["wetness"], "middle");
    let slope = slope_at(curve, number(&middle["theta_v"]));
    let put_in = BATCH_SHIFT * slope;
    let difference = &pairs[0]["compared"]["mean"]["difference"];
    assert!(holds(difference, put_in), "{put_in} not in {difference}");
    assert!(number(&difference["value"]) > 0.0);
}

/// m3/m3 per count, without its sign, where the curve gives `theta_v`.
fn slope_at(curve: &Value, theta_v: f64) -> f64 {
    let curve: calib_core::curve::Curve = serde_json::from_value(curve.clone()).unwrap();
    let count = curve.count_at(theta_v, 150.0, 750.0).unwrap();
    curve.slope(count).abs()
}

#[test]
fn two_media_are_found_to_tell_nearly_all_of_it() {
    let decision = &soil()["decision"];
    assert_eq!(decision["advice"], "two-media");
    let shared = number(&way(decision, "one-curve")["expanded"]["value"]);
    let normalised = number(&way(decision, "two-media")["expanded"]["value"]);
    let own = number(&way(decision, "own-cores")["expanded"]["value"]);
    assert!(normalised < shared / 2.0 && normalised < 1.3 * own);
    // The least there can be: cores and what is around the probe, 1.96 standard
    // deviations.
    assert!(own > 1.96 * CONTAINER_SD.hypot(BESIDE_SD) * 0.8);
}

#[test]
fn the_text_says_what_the_json_says() {
    let (text, json) = studied();
    let soil = &json["soils"][0];
    let decision = &soil["decision"];
    let text = text.stdout.replace("\n  ", " ").replace('\n', " ");
    let says = |phrase: &str| assert!(text.contains(phrase), "{phrase:?} not in {text}");
    for name in ["two-media", "own-cores"] {
        let found = way(decision, name);
        let gain = &found["gain"];
        says(&format!(
            "{:.3} m3/m3 ({:.3} to {:.3}) over one shared curve: {:.1} mm of water",
            number(&gain["value"]),
            number(&gain["low"]),
            number(&gain["high"]),
            number(&gain["value"]) * 400.0
        ));
        let work = &found["work"];
        let cost = number(&work["minutes"]) / 60.0 * 24.0;
        assert!((number(&work["cost"]) - cost).abs() < 1e-9);
        says(&format!("{cost:.0} EUR"));
    }
    for found in decision["ways"].as_array().unwrap() {
        let expanded = &found["expanded"];
        says(&format!(
            "{:.3}  {:.3} to {:.3}",
            number(&expanded["value"]),
            number(&expanded["low"]),
            number(&expanded["high"])
        ));
    }
    for test in soil["as_read"]["tests"]["tests"].as_array().unwrap() {
        says(&format!(
            "F({}, {}) = {:.2}",
            number(&test["extra_freedom"]),
            number(&test["freedom"]),
            number(&test["f"])
        ));
    }
    says(OUTLYING.0);
    let counts = number(&decision["probe_to_probe_counts"]);
    says(&format!(
        "probe_to_probe_counts = {:.1}",
        (counts * 10.0).ceil() / 10.0
    ));
    let next = soil["next_probe"].as_array().unwrap();
    assert_eq!(next.len(), 3);
    for at in next {
        says(&format!("{:+.3}", number(&at["high"])));
    }
    assert!(text.is_ascii());
}

#[test]
fn the_same_seed_says_the_same_and_another_nearly_so() {
    let bench = forty();
    let run = |seed: &str| {
        let arguments = [
            "batch",
            FORTY,
            "--json",
            "--no-charts",
            "--force",
            "--seed",
            seed,
        ];
        bench.run(&arguments).exits(0).stdout
    };
    let first = run("4");
    assert_eq!(first, run("4"));
    let other = run("5");
    assert_ne!(first, other);
    let high = |text: &str| {
        let json: Value = serde_json::from_str(text).unwrap();
        number(&way(&json["soils"][0]["decision"], "one-curve")["expanded"]["high"])
    };
    assert!((high(&first) / high(&other) - 1.0).abs() < 0.05);
}

#[test]
fn each_soil_gets_a_table_and_two_charts_and_nothing_is_overwritten_unasked() {
    let bench = forty();
    bench.run(&["batch", FORTY]).exits(0);
    assert_eq!(
        bench.listing(),
        [
            FORTY,
            "out/orchard.batch-lines.png",
            "out/orchard.batch-lines.svg",
            "out/orchard.batch.png",
            "out/orchard.batch.svg",
            "out/orchard.probes.csv"
        ]
    );
    let table = bench.read("out/orchard.probes.csv");
    assert_eq!(table.lines().count(), 41);
    let off = table.lines().filter(|line| line.ends_with(",yes"));
    assert_eq!(off.count(), 1);
    assert!(bench.read("out/orchard.batch.svg").contains(OUTLYING.0));
    // Another curve gives another table.
    let before = bench.contents();
    bench
        .run(&["batch", FORTY, "--curve", "hyperbolic"])
        .exits(2)
        .complains("--force");
    assert_eq!(bench.contents(), before);
}

#[test]
fn a_target_decides_and_one_that_nothing_meets_is_exit_1() {
    let bench = forty();
    let run =
        |target: &str| bench.run(&["batch", FORTY, "--no-charts", "--force", "--target", target]);
    run("0.1")
        .exits(0)
        .says("Yes: one curve serves all 40 probes.")
        .says("This is firm");
    run("0.002").exits(1).says("No, and cores of its own");
    // Between the figure of one curve and the upper end of its interval.
    let figure = &way(&soil()["decision"], "one-curve")["expanded"];
    let between = 0.3 * number(&figure["value"]) + 0.7 * number(&figure["high"]);
    run(&format!("{between:.4}"))
        .exits(0)
        .says("Whether one curve would do is not settled. With ")
        .says("more probe");
}

/// A table of pairs: `probes` probes of one soil, each beside `cores` cores of its own,
/// with an offset of this standard deviation (counts).
fn pairs(soil: &str, probes: usize, cores: usize, offset_sd: f64, scatter: f64) -> String {
    let mut draws = ChaCha8Rng::seed_from_u64(64);
    let mut normal = |sd: f64| {
        let draw: f64 = StandardNormal.sample(&mut draws);
        sd * draw
    };
    let mut text = String::new();
    for probe in 1..=probes {
        let offset = normal(offset_sd);
        for core in 0..cores {
            let theta = 0.08 + 0.28 * core as f64 / (cores.max(2) - 1) as f64;
            let count = 800.0 - 1200.0 * theta + offset;
            writeln!(
                text,
                "{soil}-{probe}-{core},{soil},{soil}-p{probe},{count:.1},{:.4},0.001,0.3",
                theta + normal(scatter)
            )
            .unwrap();
        }
    }
    text
}

const HEAD: &str = "sample_id,soil,probe_id,raw_count,theta_v,theta_v_u,count_u\n";

fn refused(rows: &str) -> Answer {
    let bench = Bench::empty().with("pairs.csv", format!("{HEAD}{rows}"));
    let answer = bench
        .run(&["batch", "pairs.csv"])
        .exits(2)
        .complains("mend: ");
    assert_eq!(bench.listing(), ["pairs.csv"], "something was written");
    answer
}

#[test]
fn fewer_than_three_probes_are_refused() {
    refused(&pairs("loam", 1, 9, 0.0, 0.005)).complains("at least 3 probes");
    refused(&pairs("loam", 2, 9, 0.0, 0.005)).complains("two probes were read in it");
}

#[test]
fn one_core_beside_each_probe_is_refused() {
    refused(&pairs("loam", 12, 1, 5.0, 0.005)).complains("soil loam");
    // At many wetnesses too: nothing tells a probe from its core.
    let rows = pairs("loam", 1, 12, 0.0, 0.005);
    let rows: String = rows
        .lines()
        .enumerate()
        .map(|(i, row)| row.replace("loam-p1", &format!("loam-p{i}")) + "\n")
        .collect();
    refused(&rows).complains("soil loam");
}

#[test]
fn pairs_all_alike_are_refused() {
    let row = |i: usize| format!("c{i},loam,p{},500.0,0.2000,0.001,0.3\n", i % 5);
    refused(&(0..40).map(row).collect::<String>()).complains("soil loam");
}

#[test]
fn theta_v_reckoned_from_the_counts_is_warned_of() {
    let rows = pairs("loam", 5, 9, 8.0, 0.0);
    let bench = Bench::empty().with("pairs.csv", format!("{HEAD}{rows}"));
    let answer = bench.run(&["batch", "pairs.csv", "--no-charts"]);
    answer
        .complains("theta_v may have been reckoned from the counts")
        .complains("see that theta_v comes from weighing");
}

#[test]
fn a_soil_without_enough_probes_is_passed_over_with_a_warning() {
    let rows = pairs("loam", 8, 9, 8.0, 0.004) + &pairs("sand", 1, 9, 0.0, 0.004);
    let bench = Bench::empty().with("pairs.csv", format!("{HEAD}{rows}"));
    let answer = bench.run(&["batch", "pairs.csv", "--no-charts"]);
    assert!(matches!(answer.code, Some(0 | 1)), "{answer:?}");
    answer
        .says("Soil loam: 8 probes")
        .says("Two-point normalisation cannot be judged")
        .says("One curve for several soils?")
        .complains("soil sand: ")
        .complains("its probes are not compared");
    assert_eq!(bench.listing(), ["out/loam.probes.csv", "pairs.csv"]);
}

#[test]
fn probes_without_differences_are_told_to_share_a_curve() {
    let rows = pairs("loam", 12, 9, 0.0, 0.004);
    let bench = Bench::empty().with("pairs.csv", format!("{HEAD}{rows}"));
    bench
        .run(&["batch", "pairs.csv", "--no-charts"])
        .exits(0)
        .says("Yes: one curve serves all 12 probes.")
        .says("No probe reads wetter or drier than the others by more than chance.");
}

#[test]
fn a_soil_that_is_not_there_and_numbers_that_mean_nothing_are_refused() {
    let bench = forty();
    bench
        .run(&["batch", FORTY, "--soil", "clay"])
        .exits(2)
        .complains("--soil = \"clay\": is no soil with cores")
        .complains("choose one of: orchard");
    bench
        .run(&["batch", FORTY, "--target", "0"])
        .exits(2)
        .complains("'--target <M3/M3>': give a water content in m3/m3");
    bench
        .run(&["batch", FORTY, "--margin", "-1"])
        .exits(2)
        .complains("'--margin <M3/M3>': give a water content in m3/m3");
    bench
        .run(&[
            "batch",
            FORTY,
            "--minutes-per-core",
            "-5",
            "--root-depth-mm",
            "nan",
        ])
        .exits(2)
        .complains("--minutes-per-core")
        .complains("--root-depth-mm");
    bench
        .run(&["batch", "nowhere.csv"])
        .exits(2)
        .complains("mend: ");
    assert_eq!(bench.listing(), [FORTY]);
}

#[test]
fn a_workbench_of_single_probes_is_told_what_it_takes() {
    let bench = Bench::demo();
    let before = bench.listing();
    bench
        .run(&["batch", "."])
        .exits(2)
        .complains("soil terrace: one probe was read in it")
        .complains("calibrate a single one with `ovendry fit`");
    assert_eq!(bench.listing(), before);
}
