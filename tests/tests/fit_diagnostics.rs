//! What `ovendry fit` says of single cores, of the drying order, of temperature
//! and of a break, and that it is true.

use ovendry_tests::{Answer, Bench};
use serde_json::Value;

const SAMPLES: &str = "samples.csv";
const READINGS: &str = "readings.csv";

fn fit(bench: &Bench, more: &[&str]) -> Answer {
    let arguments = [&["fit", ".", "--no-charts", "--force"], more].concat();
    bench.run(&arguments).exits(0)
}

/// The one probe's report.
fn report(bench: &Bench, probe: &str, curve: &str) -> Value {
    let answer = fit(bench, &["--json", "--probe", probe, "--curve", curve]).json();
    answer["probes"][0].clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

/// The text with its line breaks taken out, so that sentences can be looked for.
fn running(answer: &Answer) -> String {
    answer
        .stdout
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

#[track_caller]
fn says(answer: &Answer, text: &str) {
    let running = running(answer);
    assert!(running.contains(text), "expected: {text}\n{running}");
}

/// Takes every row that holds `text` out of both tables.
fn without(bench: &Bench, text: &str) {
    for file in [SAMPLES, READINGS] {
        let rows = bench.read(file);
        let kept: Vec<&str> = rows.lines().filter(|line| !line.contains(text)).collect();
        assert!(kept.len() < rows.lines().count());
        bench.put(file, kept.join("\n") + "\n");
    }
}

/// theta_v of a straight line at a count, and the count at a theta_v.
fn line(report: &Value) -> (impl Fn(f64) -> f64, impl Fn(f64) -> f64) {
    let curve = &report["calibration"]["curve"];
    let (origin, unit) = (
        number(&curve["axis"]["origin"]),
        number(&curve["axis"]["unit"]),
    );
    let (a, b) = (
        number(&curve["parameters"][0]),
        number(&curve["parameters"][1]),
    );
    (
        move |count| a + b * (count - origin) / unit,
        move |theta| origin + unit * (theta - a) / b,
    )
}

#[test]
fn leaving_the_named_core_out_for_good_moves_the_refill_count_as_was_said() {
    let bench = Bench::demo();
    let before = report(&bench, "lowfield-1", "straight-line");
    let hinge = &before["diagnosis"]["set_points"][0];
    assert_eq!(hinge["point"], "refill");
    let count = number(&hinge["count"]);
    let foremost = hinge["without"]
        .as_array()
        .unwrap()
        .iter()
        .max_by(|a, b| {
            let size = |core: &Value| number(&core["theta_v"]).abs();
            size(a).total_cmp(&size(b))
        })
        .unwrap();
    let named = foremost["sample"].as_str().unwrap();
    let text = fit(
        &bench,
        &["--probe", "lowfield-1", "--curve", "straight-line"],
    );
    says(
        &text,
        &format!("leaving out core {named}, which moves refill most"),
    );

    without(&bench, named);
    let after = report(&bench, "lowfield-1", "straight-line");
    let (theta_before, _) = line(&before);
    let (theta_after, count_after) = line(&after);
    let theta = theta_before(count);
    // The scatter of cores is estimated anew without the core, so the weights
    // differ a little.
    let moved = count_after(theta) - count;
    let said = number(&foremost["counts"]);
    assert!((moved - said).abs() < 0.05 * said.abs(), "{moved} {said}");
    let moved = theta_after(count) - theta;
    let said = number(&foremost["theta_v"]);
    assert!((moved - said).abs() < 0.05 * said.abs(), "{moved} {said}");
}

#[test]
fn a_slip_in_a_mass_is_followed_to_its_core_and_to_the_pump() {
    let bench = Bench::small();
    let samples = bench.read(SAMPLES);
    // 8 g too wet: 0.08 m3/m3.
    bench.put(SAMPLES, samples.replacen("216.29", "224.29", 1));
    let answer = fit(&bench, &["--curve", "straight-line"]);
    says(&answer, "Core A6 pulls the curve its own way: left out");
    says(
        &answer,
        "Refill hangs most on core A6: without it, it would lie at ",
    );
    says(
        &answer,
        "weigh what is left of such a core again if you can, and dig another",
    );
    // Core A6 makes the curve too wet there: the soil is really drier.
    says(&answer, " m3/m3 drier; stop hangs most on core A6");
    let report = report(&bench, "P1", "straight-line");
    let core = &report["diagnosis"]["influence"][5];
    assert_eq!(core["sample"], "A6");
    assert!(number(&core["cooks_distance"]) > 1.0);
}

#[test]
fn leverages_add_up_and_numbers_per_core_are_kept_for_details() {
    let bench = Bench::demo();
    let answer = fit(&bench, &["--json"]).json();
    for report in answer["probes"].as_array().unwrap() {
        let influence = report["diagnosis"]["influence"].as_array().unwrap();
        let sum: f64 = influence.iter().map(|core| number(&core["leverage"])).sum();
        let parameters = report["parameters"].as_array().unwrap().len();
        assert!((sum - parameters as f64).abs() < 1e-6, "{sum}");
    }
    let short = fit(&bench, &[]);
    assert!(!short.stdout.contains("Cook's D "), "{}", short.stdout);
    let long = fit(&bench, &["--details"]);
    for text in [
        "What each core decides\n",
        "Cook's D",
        "leverage above",
        "(4/n)",
        "wettest to driest: ",
    ] {
        assert!(long.stdout.contains(text), "{text}");
    }
}

#[test]
fn a_line_through_a_bent_soil_shows_its_pattern_and_the_right_curve_none() {
    let bench = Bench::demo();
    let bent = fit(
        &bench,
        &["--probe", "orchard-1", "--curve", "straight-line"],
    );
    says(
        &bent,
        "From wet to dry the cores keep to one side of the curve in long stretches",
    );
    says(&bent, "Leave --curve away");
    let chosen = fit(&bench, &[]);
    assert!(!chosen.stdout.contains("From wet to dry"));
}

#[test]
fn a_break_is_told_in_counts_as_the_parameters_have_it() {
    let bench = Bench::demo();
    let found = report(&bench, "orchard-1", "two-segment");
    let at = &found["diagnosis"]["break_count"];
    let axis = &found["calibration"]["curve"]["axis"];
    let c = &found["parameters"][3];
    assert_eq!(c["name"], "c");
    let count = number(&axis["origin"]) + number(&axis["unit"]) * number(&c["value"]);
    assert!((number(&at["count"]) - count).abs() < 1e-9);
    let u = number(&axis["unit"]) * number(&c["u"]);
    let half = number(&at["high"]) - count;
    // k of Student's t at 16 degrees of freedom, JCGM 100:2008, Table G.2, from
    // memory: 2.12.
    assert!((half / u - 2.12).abs() < 0.005, "{}", half / u);
    assert_eq!(at["within_calibrated"], true);
    let text = fit(&bench, &["--probe", "orchard-1", "--curve", "two-segment"]);
    says(
        &text,
        &format!("break at {count:.0} +- {half:.0} counts (95 %)"),
    );
    let none = report(&bench, "orchard-1", "cubic");
    assert_eq!(none["diagnosis"]["break_count"], Value::Null);
}

/// Coolest and warmest soil a probe logged.
fn logged(bench: &Bench, probe: &str) -> (f64, f64) {
    bench
        .read(READINGS)
        .lines()
        .filter(|line| line.contains(probe))
        .filter_map(|line| line.split(',').nth(3)?.parse().ok())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t: f64| {
            (low.min(t), high.max(t))
        })
}

#[test]
fn the_cost_of_no_correction_is_slope_times_coefficient_times_the_logged_span() {
    let bench = Bench::demo();
    // One reading of a hot day beside no core: it is of the season all the same.
    let readings = bench.read(READINGS);
    let hot = "2026-04-01T06:08:01Z,terrace-1,500,36.5,3302,\n";
    let (header, rows) = readings.split_once('\n').unwrap();
    bench.put(READINGS, format!("{header}\n{hot}{rows}"));
    let answer = fit(&bench, &["--json", "--probe", "terrace-1"]).json();
    let found = &answer["probes"][0];
    let cost = &found["diagnosis"]["temperature"];
    let (coolest, warmest) = logged(&bench, "terrace-1");
    assert_eq!(warmest, 36.5);
    assert_eq!(number(&cost["coolest_c"]), coolest);
    assert_eq!(number(&cost["warmest_c"]), warmest);
    assert_eq!(cost["upper_bound"], false);
    // theta_v = a + b (origin/count - 1): the slope is -b origin / count^2.
    let curve = &found["calibration"]["curve"];
    assert_eq!(curve["kind"], "hyperbolic");
    let count = number(&cost["at_count"]);
    let slope =
        -number(&curve["parameters"][1]) * number(&curve["axis"]["origin"]) / (count * count);
    let coefficient = number(&found["temperature"]["coefficient"]);
    let expected = (slope * coefficient * (warmest - coolest)).abs();
    assert!((number(&cost["difference"]) / expected - 1.0).abs() < 1e-9);
    let text = fit(&bench, &["--probe", "terrace-1"]);
    says(
        &text,
        &format!(
            "Without the correction one wetness would read up to {expected:.3} m3/m3 apart between the coolest and the warmest soil logged"
        ),
    );
    says(&text, "give the controller a soil thermometer");
}

/// Gives every reading of terrace-1 the soil temperature that `of` says for its
/// moisture level, counted from 1, and the place of its core there.
fn warm(bench: &Bench, of: impl Fn(f64, char) -> f64) {
    let rows: String = bench
        .read(READINGS)
        .lines()
        .map(|row| {
            let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
            if let Some(core) = cells[5].strip_prefix("terrace-L") {
                let level = core[..1].parse().unwrap();
                cells[3] = format!("{:.1}", of(level, core.chars().nth(1).unwrap()));
            }
            cells.join(",") + "\n"
        })
        .collect();
    bench.put(READINGS, rows);
}

#[test]
fn an_effect_that_cannot_be_told_is_bounded_by_itself_and_its_uncertainty() {
    let bench = Bench::demo();
    for (decision, of) in [
        (
            "confounded",
            (|level, _| 8.0 + 2.0 * level) as fn(f64, char) -> f64,
        ),
        ("no-effect-seen", |_, core| match core {
            'a' => 12.0,
            'b' => 16.0,
            _ => 20.0,
        }),
    ] {
        warm(&bench, of);
        let answer = fit(&bench, &["--json", "--probe", "terrace-1"]).json();
        let found = &answer["probes"][0];
        let told = &found["temperature"];
        assert_eq!(told["decision"], decision, "{told}");
        let (coefficient, expanded) = if decision == "confounded" {
            (&told["coefficient"][0], &told["coefficient"][1])
        } else {
            (&told["coefficient"], &told["coefficient_expanded"])
        };
        let largest = number(coefficient).abs() + number(expanded);
        let cost = &found["diagnosis"]["temperature"];
        assert_eq!(cost["upper_bound"], true);
        let (coolest, warmest) = logged(&bench, "terrace-1");
        let curve = &found["calibration"]["curve"];
        assert_eq!(curve["kind"], "hyperbolic");
        let count = number(&cost["at_count"]);
        let slope =
            number(&curve["parameters"][1]) * number(&curve["axis"]["origin"]) / (count * count);
        let expected = slope * largest * (warmest - coolest);
        assert!((number(&cost["difference"]) / expected - 1.0).abs() < 1e-9);
        says(
            &fit(&bench, &["--probe", "terrace-1"]),
            &format!("At worst (effect plus its +-) one wetness could read up to {expected:.3}"),
        );
    }
}

#[test]
fn where_temperature_was_not_logged_or_hardly_varied_it_is_said_what_to_log() {
    let bench = Bench::demo();
    let chosen = fit(&bench, &["--probe", "lowfield-1"]);
    says(&chosen, "Read cores of every wetness both cool");
    says(&chosen, "all soil this probe logged lies between ");
    let bare: String = bench
        .read(READINGS)
        .lines()
        .enumerate()
        .map(|(i, row)| {
            let mut cells: Vec<&str> = row.split(',').collect();
            if i > 0 {
                cells[3] = "";
            }
            cells.join(",") + "\n"
        })
        .collect();
    bench.put(READINGS, bare);
    says(
        &fit(&bench, &["--probe", "terrace-1"]),
        "Log soil temperature with every reading, and read cores of every wetness both cool",
    );
}

#[test]
fn without_set_points_nothing_is_said_of_them() {
    let bench = Bench::small();
    let site = bench.read("site.toml");
    let (before, _) = site.split_once("[controller]").unwrap();
    bench.put("site.toml", before);
    let answer = fit(&bench, &["--json"]).json();
    let diagnosis = &answer["probes"][0]["diagnosis"];
    assert_eq!(diagnosis["set_points"], serde_json::json!([]));
    let text = fit(&bench, &[]);
    assert!(!text.stdout.contains("efill"), "{}", text.stdout);
}
