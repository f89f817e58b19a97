//! `ovendry replay`: the pump's starts on a log and in simulated seasons, by one
//! threshold and by refill and stop. Logs counted by hand and by a second, naive
//! program text; the demo season; what is written and what is refused.

use calib_core::calibration::Calibration;
use calib_core::quantity::{Celsius, Quantity};
use ovendry_tests::Bench;
use ovendry_tests::straight_line::{SITE, bench};
use serde_json::Value;

/// A log of the one probe: minutes after midnight, count, and what the pump did.
fn log(rows: &[(i64, u32, &str)]) -> String {
    let mut text = "timestamp,probe_id,raw_count,pump_on\n".to_owned();
    for (minute, count, pump) in rows {
        let (hour, minute) = (minute / 60, minute % 60);
        text += &format!("2026-06-01T{hour:02}:{minute:02}:00Z,upper-1,{count},{pump}\n");
    }
    text
}

#[track_caller]
fn replayed(bench: &Bench, more: &[&str]) -> Value {
    let arguments = [&["replay", ".", "--json", "--no-charts"], more].concat();
    bench.run(&arguments).exits(0).json()
}

/// Figures of a rule on the log.
#[track_caller]
fn on_log(answer: &Value, rule: &str) -> Value {
    let rules = answer["probes"][0]["log"]["rules"].as_array().unwrap();
    let found = rules.iter().find(|row| row["rule"] == rule);
    found
        .unwrap_or_else(|| panic!("{rule} in {rules:?}"))
        .clone()
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is a number"))
}

#[track_caller]
fn close(found: &Value, expected: f64) {
    let found = number(found);
    assert!(
        (found - expected).abs() < 1e-9 * (1.0 + expected.abs()),
        "{found} {expected}"
    );
}

/// Tomato at 5 mm a day: depletion 0.4. Stop is 450 counts (0.300 m3/m3), refill 530
/// (0.220). Rows 20 minutes apart.
#[test]
fn a_log_counted_by_hand_gives_these_counts() {
    let rows = [
        (0, 500, "0"),   // single off                  band off
        (20, 530, "1"),  // single on   slowed on       band on: 0.220 is refill
        (40, 529, "0"),  // single off  slowed off      band stays on
        (60, 531, "1"),  // single on   slowed on       band stays on until 70 min
        (80, 450, "0"),  // single off  slowed off      band off
        (100, 540, "0"), // single on   slowed on       band on
        (120, 710, "1"), // single on   slowed on       band off: no answer
        (140, 440, "0"), // single off  slowed off      band off
    ];
    let answer = replayed(&bench().with("log.csv", log(&rows)), &[]);
    let sums = &answer["probes"][0]["log"];
    let days = 140.0 / 1440.0;
    close(&sums["counted_s"], 8400.0);
    // Below 0.220: rows at 60 and 100 min. At 120 min there is no answer.
    close(&sums["below_refill_s"], 2400.0);
    close(&sums["unanswered_s"], 1200.0);
    assert_eq!(sums["span"]["first"], "2026-06-01T00:00:00Z");
    assert_eq!(sums["span"]["last"], "2026-06-01T02:20:00Z");
    for (rule, starts, minutes_on) in [
        ("pump-as-recorded", 3.0, 60.0),
        ("one-threshold", 3.0, 80.0),
        ("with-pump-times", 3.0, 80.0),
        ("refill-and-stop", 2.0, 70.0),
    ] {
        let found = on_log(&answer, rule);
        close(&found["starts_per_day"], starts / days);
        close(&found["hours_on_per_day"], minutes_on / 60.0 / days);
        // 60 L/min over 120 m2 are 0.5 mm a minute.
        if rule == "pump-as-recorded" {
            close(&found["applied_mm_per_day"], 0.5 * minutes_on / days);
        } else {
            assert!(found["applied_mm_per_day"].is_null(), "only asked for");
        }
        close(
            &found["relay"]["operations_per_season"],
            180.0 * starts / days,
        );
        close(
            &found["relay"]["years"],
            100_000.0 / (180.0 * starts / days),
        );
    }
    assert_eq!(sums["sides"][2]["rule"], "refill-and-stop");
    close(&sums["sides"][2]["stops_at_maximum"], 1.0);
    close(&sums["sides"][2]["stops_without_answer"], 1.0);
}

#[test]
fn a_log_with_a_gap_is_counted_on_both_sides_of_it() {
    let rows = [
        (0, 540, "1"),
        (20, 540, "1"),
        (200, 540, "1"),
        (220, 540, "1"),
    ];
    let answer = replayed(&bench().with("log.csv", log(&rows)), &[]);
    let sums = &answer["probes"][0]["log"];
    close(&sums["counted_s"], 2400.0);
    close(&sums["gaps"], 1.0);
    close(&sums["gap_s"], 10_800.0);
    // On at the first row each time: the pump was never seen to start.
    close(&on_log(&answer, "pump-as-recorded")["starts_per_day"], 0.0);
    close(
        &on_log(&answer, "pump-as-recorded")["hours_on_per_day"],
        24.0,
    );
    // So it is with one threshold.
    close(&on_log(&answer, "one-threshold")["starts_per_day"], 0.0);
}

/// What a rule would do, told again as plainly as possible: no state machine, every
/// row looks back at when the pump last switched.
struct Naive {
    start_at: f64,
    stop_above: f64,
    /// Whether reaching `stop_above` itself is enough.
    stop_at: bool,
    times: [i64; 3],
}

fn naive(rule: &Naive, rows: &[(i64, Option<f64>)]) -> (u64, i64) {
    let [shortest_on, shortest_off, longest_on] = rule.times;
    let (mut starts, mut on_s, mut on, mut switched) = (0, 0, false, rows[0].0);
    for (i, (time, theta)) in rows.iter().enumerate() {
        let gap = i > 0 && time - rows[i - 1].0 > 7200;
        if i > 0 && !gap && on {
            let until = (*time).min(switched + longest_on);
            on_s += until - rows[i - 1].0;
            if until == switched + longest_on {
                (on, switched) = (false, until);
            }
        }
        if gap {
            (on, switched) = (false, *time);
        }
        match theta {
            None if on => (on, switched) = (false, *time),
            None => {}
            Some(theta) => {
                let wet = *theta > rule.stop_above || (rule.stop_at && *theta == rule.stop_above);
                if on && wet && time - switched >= shortest_on {
                    (on, switched) = (false, *time);
                } else if !on && *theta <= rule.start_at && time - switched >= shortest_off {
                    (on, switched) = (true, *time);
                    starts += 1;
                }
            }
        }
    }
    (starts, on_s)
}

fn demo() -> Bench {
    let bench = Bench::demo().with_demo(&["log.csv", "weather.csv"]);
    bench.run(&["fit", ".", "--no-charts"]).exits(0);
    bench
}

#[test]
fn the_demo_log_is_counted_as_a_naive_count_does() {
    let bench = demo();
    let answer = replayed(&bench, &["--seasons", "1"]);
    let text = bench.read("log.csv");
    for probe in answer["probes"].as_array().unwrap() {
        let id = probe["probe"].as_str().unwrap();
        let file: Value =
            serde_json::from_str(&bench.read(&format!("out/{id}.calibration.json"))).unwrap();
        let calibration: Calibration = serde_json::from_value(file["calibration"].clone()).unwrap();
        let (mut calibrated, mut as_read, mut pump) = (Vec::new(), Vec::new(), Vec::new());
        for line in text.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            if cells[1] != id {
                continue;
            }
            let time = cells[0].parse::<jiff::Timestamp>().unwrap().as_second();
            let count: f64 = cells[2].parse().unwrap();
            let temperature = cells[3].parse().ok().and_then(|t| Celsius::new(t).ok());
            let theta = calibration.theta_v(count, temperature).ok();
            calibrated.push((time, theta.map(Quantity::value)));
            let held = count.clamp(calibration.domain.low, calibration.domain.high);
            as_read.push((time, Some(calibration.curve.value(held))));
            pump.push((time, cells[4] == "1"));
        }
        let set = &probe["set_points"];
        let threshold = number(&probe["threshold"]["theta_v"]);
        let one = |times| Naive {
            start_at: threshold,
            stop_above: threshold,
            stop_at: false,
            times,
        };
        let band = Naive {
            start_at: number(&set["refill"]),
            stop_above: number(&set["stop"]),
            stop_at: true,
            times: [120, 1800, 7200],
        };
        let never = i64::from(u32::MAX);
        let expected = [
            naive(&one([0, 0, never]), &as_read),
            naive(&one([120, 1800, 7200]), &as_read),
            naive(&band, &calibrated),
        ];
        for (side, (starts, on_s)) in probe["log"]["sides"]
            .as_array()
            .unwrap()
            .iter()
            .zip(expected)
        {
            assert_eq!(side["duty"]["starts"], starts, "{id}");
            close(&side["duty"]["on_s"], on_s as f64);
        }
        let seen = pump.windows(2).filter(|w| w[1].0 - w[0].0 <= 7200);
        let starts = seen.filter(|w| !w[0].1 && w[1].1).count();
        assert_eq!(probe["log"]["recorded"]["starts"], starts, "{id}");
        let below: i64 = calibrated
            .windows(2)
            .filter(|w| w[1].0 - w[0].0 <= 7200)
            .filter(|w| w[0].1.is_some_and(|theta| theta < number(&set["refill"])))
            .map(|w| w[1].0 - w[0].0)
            .sum();
        close(&probe["log"]["below_refill_s"], below as f64);
    }
}

#[test]
fn refill_and_stop_cut_starts_by_95_percent_with_no_more_time_below_refill() {
    let bench = demo();
    // The demo's weather, and a season without rain in which all water is pumped.
    let dry = Bench::demo();
    dry.run(&["fit", ".", "--no-charts"]).exits(0);
    for (bench, seasons) in [(&bench, "20"), (&dry, "4")] {
        let answer = replayed(bench, &["--seasons", seasons]);
        let probes = answer["probes"].as_array().unwrap();
        assert_eq!(probes.len(), 3);
        for probe in probes {
            let rules = probe["season"]["rules"].as_array().unwrap();
            let (single, band) = (&rules[0], &rules[2]);
            let cut = number(&probe["starts_cut_percent"]);
            assert!(cut >= 95.0, "{}", probe["verdict"]);
            let starts = |rule: &Value| number(&rule["starts_per_day"]["mean"]);
            let by_hand = 100.0 * (1.0 - starts(band) / starts(single));
            assert!((cut - by_hand).abs() < 1e-9);
            let below = |rule: &Value| number(&rule["hours_below_refill"]["mean"]);
            // A tenth of an hour a season is nothing anyone could tell.
            assert!(below(band) <= below(single) + 0.1, "{}", probe["verdict"]);
            let verdict = probe["verdict"].as_str().unwrap();
            assert!(verdict.contains("no more time below refill"), "{verdict}");
            // The comparison is none if the bed goes without water.
            assert!(number(&band["unmet_mm"]["mean"]) < 1.0);
        }
    }
}

#[test]
fn the_answer_is_a_table_a_sentence_and_the_cautions() {
    let bench = demo();
    let answer = bench
        .run(&["replay", ".", "--probe", "terrace-1"])
        .exits(0)
        .says("Refill and stop cut starts from ")
        .says("They pump ")
        .says("starts a day")
        .says("years the relay lasts")
        .says("pump as recorded")
        .says("In the log as it was, whatever ran the pump, the bed was below refill")
        .says("What the pump does between two rows goes unseen")
        .says("one bucket of evenly moist soil")
        .says("Take care:")
        .says("backflow preventer");
    assert!(answer.stdout.is_ascii(), "{}", answer.stdout);
    // What the rows of the log mean stands above them, once.
    let (before, after) = answer
        .stdout
        .split_once("water it asked for never came")
        .expect("the caveat");
    assert!(before.contains("The log: ") && !before.contains("on the log"));
    assert!(after.contains("on the log") && !after.contains("asked for"));
    let line = |name: &str| {
        let mut lines = after.lines().filter(|line| line.starts_with(name));
        lines.next().expect("a row").to_owned()
    };
    let cells = |name: &str| line(name).split_whitespace().filter(|c| *c == "-").count();
    assert_eq!(
        (cells("pump as recorded"), cells("refill and stop")),
        (0, 1)
    );
    let charts: Vec<String> = bench
        .listing()
        .into_iter()
        .filter(|name| name.contains("replay"))
        .collect();
    assert_eq!(
        charts,
        ["out/terrace-1.replay.png", "out/terrace-1.replay.svg"]
    );
}

#[test]
fn charts_of_another_seed_replace_those_there_only_when_told_to_and_the_answer_is_given() {
    let bench = bench();
    bench
        .run(&["replay", "."])
        .exits(0)
        .says("wrote out/upper-1.replay.svg");
    let before = bench.contents();
    bench.run(&["replay", "."]).exits(0);
    let again = bench
        .run(&["replay", ".", "--seed", "5"])
        .exits(0)
        .says("Refill and stop cut starts from ")
        .complains("upper-1.replay.svg: exists already with other content, from other input or options, and was left as it is")
        .complains("add --force to draw it anew");
    assert!(!again.stdout.contains("wrote "), "{}", again.stdout);
    assert!(bench.contents() == before, "a file was changed");
    let answer = bench
        .run(&["replay", ".", "--seed", "5", "--json"])
        .exits(0);
    let answer = answer.json();
    assert_eq!(answer["written"].as_array().map(Vec::len), Some(0));
    assert_eq!(answer["warnings"].as_array().map(Vec::len), Some(1));
    bench
        .run(&["replay", ".", "--seed", "5", "--force"])
        .exits(0)
        .says("wrote out/upper-1.replay.svg");
    assert!(bench.contents() != before, "the charts are new");
}

#[test]
fn the_same_seed_gives_the_same_answer() {
    let bench = bench();
    let answer = |seed| replayed(&bench, &["--seasons", "3", "--seed", seed]);
    assert_eq!(answer("7"), answer("7"));
    assert_ne!(answer("7"), answer("8"));
}

#[test]
fn without_log_and_weather_a_constant_season_is_simulated_and_said_to_be() {
    let answer = bench()
        .run(&["replay", ".", "--no-charts"])
        .exits(0)
        .says("Simulated: 20 seasons of 180 days, seed 101; 5 mm of evapotranspiration every day (evapotranspiration_mm_per_day), no rain.")
        .says("530 counts (0.220 m3/m3), the refill count itself");
    assert!(!answer.stdout.contains("The log:"), "{}", answer.stdout);
}

#[test]
fn the_season_and_the_relay_are_those_of_the_site() {
    let site = SITE.to_owned() + "season_days = 100\nrelay_rated_operations = 30000\n";
    let answer = replayed(&bench().with("site.toml", site), &[]);
    let season = &answer["probes"][0]["season"];
    assert_eq!(season["days"], 100);
    let single = &season["rules"][0];
    let a_day = number(&single["starts_per_day"]["mean"]);
    close(&single["relay"]["operations_per_season"], 100.0 * a_day);
    close(&single["relay"]["years"], 300.0 / a_day);
}

#[test]
fn the_old_threshold_is_taken_from_the_command_line_then_the_site() {
    let site = SITE.replace("adc_bits = 12", "adc_bits = 12\nthreshold_count = 560");
    let stated = bench().with("site.toml", site);
    let count = |more: &[&str]| replayed(&stated, more)["probes"][0]["threshold"]["count"].clone();
    close(&count(&[]), 560.0);
    close(&count(&["--threshold", "520"]), 520.0);
    // 0.190 m3/m3: the bed is then mostly drier than refill, and the band is better.
    stated
        .run(&["replay", ".", "--no-charts"])
        .exits(0)
        .says("560 counts (0.190 m3/m3), threshold_count of site.toml")
        .says("with no more time below refill");
}

#[test]
fn a_threshold_no_core_was_taken_at_is_refused() {
    bench()
        .run(&["replay", ".", "--threshold", "900"])
        .exits(2)
        .complains("error: command line: --threshold = \"900\": lies outside the calibrated 300.0 to 700.0; nobody knows what it means in water\n  mend: give a count that was calibrated");
    let site = SITE.replace("adc_bits = 12", "adc_bits = 12\nthreshold_count = 200");
    bench()
        .with("site.toml", site)
        .run(&["replay", "."])
        .exits(2)
        .complains("error: site.toml:12: threshold_count = \"200\": lies outside the calibrated");
}

#[test]
fn a_probe_the_log_does_not_have_is_named_and_simulated_all_the_same() {
    let bench = demo();
    let text = bench.read("log.csv");
    let terrace = text
        .lines()
        .filter(|line| line.contains("terrace") || line.contains("raw"));
    let terrace: Vec<&str> = terrace.collect();
    bench.put("log.csv", terrace.join("\n") + "\n");
    let answer = bench
        .run(&["replay", ".", "--no-charts", "--json", "--seasons", "1"])
        .exits(0)
        .complains("warning: log.csv: has no row of probe orchard-1")
        .complains("warning: log.csv: has no row of probe lowfield-1")
        .json();
    for probe in answer["probes"].as_array().unwrap() {
        assert_eq!(probe["log"].is_null(), probe["probe"] != "terrace-1");
        assert!(probe["season"]["rules"].is_array());
    }
}

/// Two days, a row every ten minutes; the pump goes on and off every `rows` rows.
fn switched_every(rows: usize) -> String {
    let mut text = "timestamp,probe_id,raw_count,pump_on\n".to_owned();
    for row in 0..2 * 144 {
        let (day, minute) = (1 + row / 144, 10 * (row % 144));
        let on = row / rows % 2;
        let (hour, minute) = (minute / 60, minute % 60);
        text += &format!("2026-06-0{day}T{hour:02}:{minute:02}:00Z,upper-1,500,{on}\n");
    }
    text
}

#[test]
fn a_log_that_speaks_against_the_simulation_is_set_beside_the_verdict() {
    let stated = SITE.replace("adc_bits = 12", "adc_bits = 12\nthreshold_count = 530");
    let bench = bench().with("site.toml", &stated);
    let doubt = |log: String, more: &[&str]| {
        bench.put("log.csv", log);
        let answer = replayed(&bench, more);
        let simulated = &answer["probes"][0]["season"]["rules"][0]["starts_per_day"]["mean"];
        let recorded = &answer["probes"][0]["log"]["rules"][0]["starts_per_day"];
        let ratio = number(simulated) / number(recorded);
        (
            ratio,
            answer["probes"][0]["doubt"].as_str().map(str::to_owned),
        )
    };
    // One start in two days.
    let (ratio, said) = doubt(switched_every(144), &[]);
    assert!(ratio > 2.0, "{ratio}");
    let said = said.expect("a doubt");
    assert!(said.starts_with("Your log shows 0.50 starts a day with the old rule; the simulation, reading every 60 s, "), "{said}");
    assert!(said.contains("Set read_every_s to what your controller does before going by this; rows further apart than the controller's reads hide starts"), "{said}");
    bench
        .run(&["replay", ".", "--no-charts"])
        .exits(0)
        .says(&said);
    // One start in twenty minutes, and a controller that reads once in fifty.
    bench.put("site.toml", stated.clone() + "read_every_s = 3000\n");
    let (ratio, said) = doubt(switched_every(1), &[]);
    assert!(ratio < 0.5, "{ratio}");
    let said = said.expect("a doubt");
    assert!(
        said.contains("something else may have started the pump"),
        "{said}"
    );
    // Nobody said what the pump went by.
    bench.put("site.toml", SITE);
    assert_eq!(doubt(switched_every(144), &[]).1, None);
    assert!(
        doubt(switched_every(144), &["--threshold", "530"])
            .1
            .is_some()
    );
}

#[test]
fn beds_are_said_once_not_to_be_simulated() {
    let bed = "[[bed]]\nid = \"east\"\nprobes = [\"upper-1\"]\n";
    let with = bench().with(
        "site.toml",
        SITE.replace("adc_bits", "depth_mm = 150\nadc_bits") + bed,
    );
    let said = "The beds of site.toml are not simulated: each probe is taken alone";
    let answer = with.run(&["replay", ".", "--no-charts"]).exits(0);
    assert_eq!(answer.stdout.matches(said).count(), 1, "{}", answer.stdout);
    let without = bench().run(&["replay", ".", "--no-charts"]).exits(0);
    assert!(!without.stdout.contains(said), "{}", without.stdout);
}

#[test]
fn a_threshold_that_is_no_raw_count_is_told_what_one_is() {
    bench()
        .run(&["replay", ".", "--threshold", "4.92"])
        .exits(2)
        .complains("a raw count is a whole number, such as 480");
}

#[test]
fn a_stage_the_site_does_not_have_is_complained_of_once() {
    let answer = demo().run(&["replay", ".", "--stage", "full"]).exits(2);
    let said = "asks for a stage, and site.toml has none";
    assert_eq!(answer.stderr.matches(said).count(), 1, "{}", answer.stderr);
}

#[test]
fn one_threshold_for_several_probes_is_refused() {
    demo()
        .run(&["replay", ".", "--threshold", "500"])
        .exits(2)
        .complains("--threshold = \"500\": is one raw count, and there are several probes");
}

#[test]
fn a_bed_watered_by_the_longest_time_is_warned_of() {
    // 15 mm/h gross for ten minutes at most, 24 mm to fill.
    let site = SITE.replace("maximum_on_s = 3000", "maximum_on_s = 600");
    bench()
        .with("site.toml", site)
        .run(&["replay", ".", "--no-charts"])
        .exits(0)
        .complains("at its longest time on");
}

#[test]
fn a_folder_without_calibrations_says_to_fit_first() {
    Bench::empty()
        .with("site.toml", SITE)
        .run(&["replay", "."])
        .exits(2)
        .complains("run `ovendry fit` first");
}
