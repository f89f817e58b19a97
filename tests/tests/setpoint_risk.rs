//! The risk that `ovendry setpoints` tells of: the figures people read are those
//! machines get, and what is said to help does help once it is done.

use ovendry_tests::Bench;
use serde_json::Value;

/// The answer for the demo's soils, calibrated, with `mend` done to site.toml.
fn risks(mend: impl Fn(String) -> String) -> (Bench, Vec<Value>) {
    let bench = Bench::demo();
    let site = mend(bench.read("site.toml"));
    bench.put("site.toml", site);
    bench.run(&["fit", "."]).exits(0);
    let json = bench.run(&["setpoints", ".", "--json"]).exits(0).json();
    let found = json["setpoints"].as_array().unwrap().clone();
    assert_eq!(found.len(), 3);
    (bench, found)
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

#[test]
fn a_field_capacity_measured_on_the_bed_lowers_the_risk_to_what_was_promised() {
    let (bench, before) = risks(|site| site);
    let text = bench.run(&["setpoints", "."]).exits(0).stdout;
    let mut promised = Vec::new();
    for one in &before {
        let risk = &one["risk"];
        let now = number(&risk["now"]["in_band"]);
        assert!((0.1..0.5).contains(&now), "{now}");
        assert!(text.contains(&format!(
            "while the pump waits: {:.0} % ({:.0} % at refill itself",
            100.0 * now,
            100.0 * number(&risk["now"]["at_refill"])
        )));
        let largest = &risk["contributors"][0];
        assert_eq!(largest["origin"], "soil-water");
        assert!(number(&largest["variance_share"]) > 0.8);
        assert_eq!(risk["helps_most"]["help"], "field-capacity");
        let left = number(&risk["helps_most"]["left"]["in_band"]);
        assert!(text.contains(&format!(
            "would take the {:.0} % to {:.0} %",
            100.0 * now,
            100.0 * left
        )));
        assert!(number(&risk["numerical"]) < 0.005);
        promised.push(left);
    }
    // Measured, and found to be just what the sources say.
    let capacity = |one: &Value| number(&one["soil_water"]["field_capacity"]["value"]);
    let capacities: Vec<(String, f64)> = before
        .iter()
        .map(|one| (one["soil"].as_str().unwrap().to_owned(), capacity(one)))
        .collect();
    let (_, after) = risks(|mut site| {
        for (soil, theta) in &capacities {
            let id = format!("id = \"{soil}\"\n");
            site = site.replace(
                &id,
                &format!("{id}field_capacity = {theta}\nfield_capacity_u = 0.02\n"),
            );
        }
        site
    });
    for (one, promised) in after.iter().zip(promised) {
        let now = number(&one["risk"]["now"]["in_band"]);
        assert!((now - promised).abs() < 0.01, "{now} {promised}");
        assert!(one["risk"]["with_field_capacity_measured"].is_null());
    }
}

#[test]
fn the_same_workbench_always_gives_the_same_risk() {
    let (bench, first) = risks(|site| site);
    let again = bench.run(&["setpoints", ".", "--json"]).exits(0).json();
    for (one, other) in first.iter().zip(again["setpoints"].as_array().unwrap()) {
        assert_eq!(one["risk"], other["risk"]);
    }
}
