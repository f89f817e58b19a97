//! `ovendry report`: one page that says what the other commands say, with nothing
//! fetched and nothing hidden that speaks against it.

use ovendry_tests::{Answer, Bench};
use serde_json::Value;

/// The page that `report` writes about a bench.
fn page(bench: &Bench) -> String {
    bench.run(&["report", "."]).exits(0);
    bench.read("out/report.html")
}

/// The JSON a command prints.
fn told(bench: &Bench, command: &str) -> Value {
    let out: Answer = bench.run(&[command, ".", "--json"]);
    out.json()
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn the_page_shows_the_figures_that_the_commands_print() {
    let bench = Bench::demo();
    bench.run(&["calibrate", "."]).exits(0);
    let page = page(&bench);
    let points = told(&bench, "setpoints");
    let mut looked_at = 0;
    for probe in points["setpoints"].as_array().unwrap() {
        let set = &probe["set_points"];
        for count in [&set["refill_count"], &set["stop_count"]] {
            let shown = format!("<b class=\"count\">{:.0}</b>", number(count));
            assert!(page.contains(&shown), "{shown} is not on the page");
        }
        for theta_v in [
            &set["refill"],
            &set["stop"],
            &probe["refill_expanded_uncertainty"],
            &probe["reading_expanded"],
            &probe["driest"],
        ] {
            let cubic = format!("{:.3}\u{a0}m\u{b3}/m\u{b3}", number(theta_v));
            assert!(page.contains(&cubic), "{cubic} is not on the page");
            looked_at += 1;
        }
        let litres = format!("{:.0}\u{a0}L", number(&probe["application"]["volume_l"]));
        assert!(page.contains(&litres), "{litres} is not on the page");
        let risk = format!(
            "<b>{:.0}\u{a0}%</b>",
            100.0 * number(&probe["risk"]["now"]["in_band"])
        );
        assert!(page.contains(&risk), "{risk} is not on the page");
    }
    assert_eq!(looked_at, 15);
    let replay = told(&bench, "replay");
    for probe in replay["probes"].as_array().unwrap() {
        let verdict = probe["verdict"].as_str().unwrap().replace(" %", "\u{a0}%");
        assert!(page.contains(&verdict), "{verdict} is not on the page");
    }
    for warning in points["warnings"].as_array().unwrap() {
        let place = warning["place"].as_str().unwrap();
        assert!(
            page.contains(&format!("<b>{place}</b>")),
            "{place} is not on the page"
        );
    }
}

#[test]
fn the_page_fetches_nothing_and_is_the_same_every_time() {
    let bench = Bench::demo();
    let first = page(&bench);
    for way_out in [
        "<link rel=\"stylesheet\"",
        "<img",
        "<iframe",
        "src=\"",
        "@import",
        "fetch(",
    ] {
        assert!(!first.contains(way_out), "{way_out}");
    }
    // Names of formats, not addresses anything is fetched from.
    let addresses = first.matches("http").count();
    let names =
        first.matches("http://www.w3.org/2000/svg").count() + first.matches("http-equiv").count();
    assert_eq!(addresses, names);
    assert!(first.contains("default-src 'none'"));
    bench.run(&["report", ".", "--force"]).exits(0);
    assert!(
        bench.read("out/report.html") == first,
        "another page from the same files"
    );
}

#[test]
fn it_names_what_it_was_made_from() {
    let bench = Bench::demo();
    let page = page(&bench);
    let fit = told(&bench, "fit");
    let saved = fit["written"][0].as_str().unwrap();
    let file: Value = serde_json::from_str(&bench.read(saved.trim_start_matches("./"))).unwrap();
    let sources = file["sources"].as_array().unwrap();
    assert_eq!(sources.len(), 3);
    for source in sources {
        assert!(page.contains(source["sha256"].as_str().unwrap()));
    }
    assert!(page.contains(concat!("ovendry ", env!("CARGO_PKG_VERSION"))));
}

#[test]
fn a_page_that_is_there_is_kept_unless_forced() {
    let bench = Bench::demo().with("out/report.html", "mine");
    bench
        .run(&["report", "."])
        .exits(2)
        .complains("out/report.html");
    assert_eq!(bench.read("out/report.html"), "mine");
}

#[test]
fn without_a_pump_it_shows_the_calibrations_and_says_what_is_missing() {
    let bench = Bench::demo();
    let site = bench.read("site.toml");
    let (before, _) = site.split_once("[controller]").unwrap();
    bench.put("site.toml", before);
    let page = page(&bench);
    assert!(page.contains("All 3 probes are calibrated."));
    assert!(page.contains("There are no set points yet"));
    assert!(!page.contains("may steer a pump."));
}

#[test]
fn set_points_that_cannot_be_placed_are_told_and_end_with_one() {
    let bench = Bench::demo();
    let site = bench.read("site.toml");
    bench.put(
        "site.toml",
        site.replace(
            "id = \"terrace\"",
            "id = \"terrace\"\nfield_capacity = 0.45\nfield_capacity_u = 0.01",
        ),
    );
    let answer = bench.run(&["report", ".", "--json"]).exits(1).json();
    assert_eq!(answer["verdict"], "unfit");
    assert_eq!(answer["ready"].as_array().unwrap().len(), 0);
    let page = bench.read("out/report.html");
    assert!(page.contains("None of these 3 probes may steer a pump yet."));
    assert!(page.contains("Set points could not be placed"));
    assert!(page.contains("not ready"));
}

#[test]
fn a_saved_calibration_of_other_cores_is_warned_of() {
    let bench = Bench::demo();
    bench.run(&["fit", ".", "--no-charts"]).exits(0);
    let page_before = page(&bench);
    assert!(!page_before.contains("is not the calibration shown here"));
    let samples = bench.read("samples.csv");
    let weighed_again = samples.replace("35.94,198.87,", "35.94,199.07,");
    assert_ne!(samples, weighed_again);
    bench.put("samples.csv", weighed_again);
    bench.run(&["report", ".", "--force"]).exits(0);
    let page = bench.read("out/report.html");
    assert!(page.contains("1.calibration.json"));
    assert!(page.contains("is not the calibration shown here"));
}

#[test]
fn a_saved_calibration_that_cannot_be_read_is_warned_of() {
    let bench = Bench::demo().with("out/terrace-1.calibration.json", "{}");
    assert!(page(&bench).contains("whether it is the calibration shown here is not known"));
    bench
        .run(&["report", ".", "--force", "--calibrations", "nowhere"])
        .exits(2)
        .complains("nowhere: holds no calibration");
}

#[test]
fn a_curve_that_was_asked_for_is_the_curve_shown() {
    let bench = Bench::demo();
    bench
        .run(&[
            "fit",
            ".",
            "--no-charts",
            "--curve",
            "cubic",
            "--loss",
            "huber",
        ])
        .exits(0);
    let page = page(&bench);
    assert!(page.contains("Cubic through 21 cores"));
    assert!(!page.contains("Hyperbolic curve through"));
    assert!(!page.contains("is not the calibration shown here"));
}

#[test]
fn names_that_look_like_markup_stay_names() {
    let bench = Bench::demo();
    let site = bench.read("site.toml");
    let named = site.replace(
        "A market-garden cooperative (invented)",
        "<script>alert(1)</script> & Sons",
    );
    assert_ne!(site, named);
    bench.put("site.toml", named);
    let page = page(&bench);
    assert!(!page.contains("<script>alert"));
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; Sons"));
}

#[test]
fn units_and_language_are_taken_from_the_command_line() {
    let bench = Bench::demo();
    bench.run(&["report", ".", "--units", "us"]).exits(0);
    let page = bench.read("out/report.html");
    for chosen in [
        "id=\"water-inch\" value=\"inch\" checked",
        "id=\"measures-us\" value=\"us\" checked",
    ] {
        assert!(page.contains(chosen), "{chosen}");
    }
    bench
        .run(&["report", ".", "--language", "xx"])
        .exits(2)
        .complains("xx");
}

#[test]
fn many_probes_are_compared_where_a_file_of_pairs_is_given() {
    let bench = Bench::demo().with_demo(&["forty-probes.csv"]);
    bench
        .run(&["report", ".", "--batch", "forty-probes.csv"])
        .exits(0);
    let page = bench.read("out/report.html");
    assert!(page.contains("40 probes in orchard"));
    assert!(page.contains("silt-A13"));
    assert!(page.contains("forty-probes.csv"));
}

#[test]
fn the_page_says_of_batches_and_of_the_next_probe_what_the_batch_command_says() {
    let bench = Bench::demo().with_demo(&["forty-probes.csv"]);
    bench
        .run(&["report", ".", "--batch", "forty-probes.csv"])
        .exits(0);
    let page = bench.read("out/report.html");
    let told = bench
        .run(&["batch", "forty-probes.csv", "--json", "--no-charts"])
        .json();
    let soil = &told["soils"][0];
    let cubic = |value: &Value| format!("{:.3}\u{a0}m\u{b3}/m\u{b3}", number(value).abs());
    assert!(page.contains("<h2>Can one curve serve all probes?</h2>"));
    let pairs = soil["batches"].as_array().unwrap();
    assert_eq!(pairs.len(), 1);
    let [a, b] = ["a", "b"].map(|of| pairs[0][of].as_str().unwrap());
    let mean = &pairs[0]["compared"]["mean"];
    assert_eq!(mean["verdict"]["verdict"], "equivalent");
    let alike = format!("<b>{a}</b> and <b>{b}</b> are alike: ");
    let (_, after) = page.split_once(&alike).expect("no verdict between batches");
    assert!(after.contains(&cubic(&mean["margin"])));
    let next = soil["next_probe"].as_array().unwrap();
    assert!(!next.is_empty());
    for at in next {
        for end in [&at["low"], &at["high"]] {
            let shown = format!("{:.3}", number(end)).replace('-', "\u{2212}");
            assert!(page.contains(&format!("<span class=\"cubic\">{shown}</span>")));
        }
    }
    let without = soil["without_standing_out"]["ways"].as_array().unwrap();
    let one = without
        .iter()
        .find(|way| way["way"] == "one-curve")
        .unwrap();
    let (_, after) = page.split_once("Standing out: ").unwrap();
    let (said, _) = after.split_once("</p>").unwrap();
    assert!(said.contains(&cubic(&one["expanded"]["value"])), "{said}");
}

#[test]
fn batches_that_differ_are_told_with_size_and_direction() {
    let bench = Bench::demo().with_demo(&["forty-probes.csv"]);
    let pairs = bench.read("forty-probes.csv");
    let mut lines = pairs.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    let place = |name: &str| header.iter().position(|column| *column == name).unwrap();
    let (count, batch) = (place("raw_count"), place("batch"));
    let mut shifted = header.join(",");
    for line in lines {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        if cells[batch] == "2026-A" {
            // Counts fall when wetter.
            let wetter = cells[count].parse::<f64>().unwrap() - 40.0;
            cells[count] = format!("{wetter:.1}");
        }
        shifted.push('\n');
        shifted.push_str(&cells.join(","));
    }
    bench.put("shifted.csv", format!("{shifted}\n"));
    let told = bench
        .run(&["batch", "shifted.csv", "--json", "--no-charts"])
        .json();
    let mean = &told["soils"][0]["batches"][0]["compared"]["mean"];
    assert_eq!(mean["verdict"]["beyond_margin"], true);
    bench
        .run(&["report", ".", "--batch", "shifted.csv"])
        .exits(0);
    let page = bench.read("out/report.html");
    let (_, after) = page
        .split_once("<b>2026-A</b> reads ")
        .expect("no verdict between batches");
    let (said, _) = after.split_once("</li>").unwrap();
    let size = format!(
        "{:.3}\u{a0}m\u{b3}/m\u{b3}",
        number(&mean["difference"]["value"]).abs()
    );
    assert!(said.contains(&size), "{said}");
    assert!(said.contains("wetter than <b>2026-B</b>"), "{said}");
    assert!(said.contains("do not let them share a curve"), "{said}");
}

/// The files that a page lists, each with its hash.
fn listed(page: &str) -> Vec<(String, String)> {
    let (_, table) = page.split_once("<table class=\"hashes\">").unwrap();
    let (table, _) = table.split_once("</table>").unwrap();
    let rows = table.split("<th scope=\"row\">").skip(1);
    rows.map(|row| {
        let (name, rest) = row.split_once("</th>").unwrap();
        let (_, hash) = rest.split_once("<code>").unwrap();
        (
            name.to_owned(),
            hash.split_once("</code>").unwrap().0.to_owned(),
        )
    })
    .collect()
}

#[test]
fn every_file_that_changes_the_page_is_listed_with_a_hash_that_changes_with_it() {
    let bench = Bench::demo().with_demo(&["weather.csv", "log.csv"]);
    bench.run(&["calibrate", "."]).exits(0);
    let first = page(&bench);
    let files = listed(&first);
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    for expected in [
        "site.toml",
        "samples.csv",
        "readings.csv",
        "weather.csv",
        "log.csv",
        "terrace-1.calibration.json",
    ] {
        assert!(names.contains(&expected), "{expected} is not in {names:?}");
    }
    for name in ["weather.csv", "log.csv", "out/terrace-1.calibration.json"] {
        let held = bench.read(name);
        bench.put(name, format!("{held}\n"));
    }
    bench.run(&["report", ".", "--force"]).exits(0);
    let second = listed(&bench.read("out/report.html"));
    for ((name, before), (again, after)) in files.iter().zip(&second) {
        assert_eq!(name, again);
        let edited = ["weather.csv", "log.csv", "terrace-1.calibration.json"];
        assert_eq!(before != after, edited.contains(&name.as_str()), "{name}");
    }
}

#[test]
fn the_page_names_the_units_it_was_made_with_and_a_probe_without_temperature() {
    let bench = Bench::demo();
    bench.run(&["report", ".", "--units", "us"]).exits(0);
    let page = bench.read("out/report.html");
    assert!(page.contains("<code>ovendry report . --units us</code>"));
    assert!(page.contains("From 63 oven-dried cores and 756 readings"));
    assert!(page.contains("Not corrected for soil temperature: lowfield."));
    assert!(!page.contains("on these readings, not what would have happened"));
    // Sentences of the page's own are in every unit.
    let (_, season) = page.split_once("They pump ").unwrap();
    assert!(season.split_once("</p>").unwrap().0.contains("\u{a0}in<"));
}

#[test]
fn a_calibration_that_later_cores_speak_against_steers_no_pump() {
    let bench = Bench::demo().with_demo(&["spot-checks.csv"]);
    bench.run(&["calibrate", "."]).exits(0);
    bench
        .run(&["drift", ".", "spot-checks.csv", "--probe", "terrace-1"])
        .exits(1);
    bench.run(&["report", "."]).exits(1);
    let page = bench.read("out/report.html");
    assert!(page.contains("2 of 3 probes"), "the headline");
    assert!(page.contains("the calibration no longer holds, by "));
    assert!(
        listed(&page)
            .iter()
            .any(|(name, _)| name == "terrace-1.drift.json"),
        "the verdict is no source"
    );
}

#[test]
fn water_that_the_longest_run_cuts_off_is_not_promised() {
    let bench = Bench::demo();
    let site = bench.read("site.toml");
    bench.put(
        "site.toml",
        site.replace("maximum_on_s = 7200", "maximum_on_s = 1800"),
    );
    bench.run(&["calibrate", "."]).exits(0);
    let page = page(&bench);
    assert!(page.contains("but the longest run stops the pump before"));
    assert!(!page.contains(" each time"));
}
