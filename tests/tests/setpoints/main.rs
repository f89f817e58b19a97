//! `ovendry setpoints`: what it prints for a grower, what it gives a machine, and
//! what it refuses. The site and its calibrations are invented.

use calib_core::calibration::{Calibration, Direction};
use calib_core::quantity::{Celsius, Quantity};
use calib_core::temperature::TemperatureTerm;
use ovendry_tests::Bench;
use ovendry_tests::straight_line::{calibration, saved};

mod beds;
mod explain;
mod stages;

const SITE: &str = r#"
[site]
name = "invented"
[balance]
resolution_g = 0.01
[[soil]]
id = "upper"
field_capacity = 0.3005
field_capacity_u = 0.02
wilting_point = 0.1005
wilting_point_u = 0.02
[[soil]]
id = "lower"
texture = "silt loam"
[[probe]]
id = "upper-1"
adc_bits = 12
soil = "upper"
[[probe]]
id = "lower-1"
adc_bits = 12
soil = "lower"
[controller]
area_m2 = 120
flow_l_per_min = 60
crop = "tomato"
root_depth_mm = 300
application_efficiency = 0.8
maximum_on_s = 7200
"#;

fn bench(site: &str, calibrations: &[Calibration]) -> Bench {
    let bench = Bench::empty().with("site.toml", site);
    for calibration in calibrations {
        bench.put(
            &format!("out/{}.calibration.json", calibration.probe),
            saved(calibration),
        );
    }
    bench
}

fn upper() -> Calibration {
    calibration("upper-1", "upper", Direction::FallsWhenWetter)
}

#[test]
fn a_grower_reads_when_to_start_and_when_to_stop() {
    // Refill: 0.300 - 0.4 x 0.2 = 0.220, count 530; stop 0.300, count 450.
    // 0.08 x 300 mm = 24 mm, / 0.8 = 30 mm, x 120 m2 = 3600 L, / 60 = 60 min.
    bench(SITE, &[upper()])
        .run(&["setpoints", "."])
        .exits(0)
        .says("Probe upper-1 in soil upper: counts fall as the soil gets wetter")
        .says("refill           530    0.220  0.031          60   44 to 75        35.9     24.1")
        .says("+- U: how far the soil may be from the refill or stop it should have (95 %), probe and soil's")
        .says("figures together; one reading at refill alone: +- 0.0")
        .says("Field capacity 0.300 +- 0.039, measured (site.toml), wilting point 0.101 +- 0.039 m3/m3, measured (site.toml) (95 %).")
        .says("Start the pump when the count rises to 530; stop it when it falls to 450.")
        .says("Dead band: 0.080 m3/m3 or 80 counts, set by the allowed depletion.")
        .says("That is one false start in 100 days at most, read every 1 min.")
        .says("24.0 mm over 300 mm of roots; 30.0 mm to pump at an efficiency of 0.8")
        .says("Pump: 3600 L over 120 m2 at 60 L/min, about 1 h.")
        .says("Over the roots the soil holds 60 mm available (TAW), of which 24 mm readily (RAW).")
        .says("Allowed depletion 40 % of the available water (tomato, FAO-56, Table 22 at 5 mm a day)")
        .says("from memory, not checked: p = p_table + 0.04 (5 - ETc), kept within 0.1 to 0.8");
}

#[test]
fn a_controller_file_with_older_set_points_is_warned_of() {
    let bench = bench(SITE, &[upper()]);
    bench.run(&["export", "."]).exits(0);
    let fresh = bench.run(&["setpoints", "."]).exits(0);
    assert!(!fresh.stderr.contains("controller"), "{}", fresh.stderr);
    let site = bench.read("site.toml");
    bench.put(
        "site.toml",
        site.replace("field_capacity = 0.3005", "field_capacity = 0.3105"),
    );
    bench
        .run(&["setpoints", "."])
        .exits(0)
        .complains("warning: upper-1: the controller files upper-1.controller.json, upper-1.table.csv, upper-1.h")
        .complains("still hold 530/450, and refill/stop are 5")
        .complains("run `ovendry export . --force` (and load it again)");
}

#[test]
fn a_file_in_place_of_the_folder_is_answered_with_the_folder() {
    let bench = bench(SITE, &[upper()]);
    bench
        .run(&["setpoints", "site.toml"])
        .exits(2)
        .complains("site.toml: is not a folder")
        .complains("mend: give the folder: .");
    bench
        .run(&["setpoints", "out/upper-1.calibration.json"])
        .exits(2)
        .complains("mend: give the folder: out");
}

#[test]
fn a_log_that_may_give_the_field_capacity_is_pointed_to() {
    let lower = calibration("lower-1", "lower", Direction::FallsWhenWetter);
    let bench = bench(SITE, &[lower, upper()]);
    const HINT: &str = "log.csv is there: `ovendry soil . --log` may read it off.";
    let answer = bench.run(&["setpoints", "."]).exits(0);
    assert!(!answer.stdout.contains(HINT), "{}", answer.stdout);
    bench.put("log.csv", "time,probe,count\n");
    let answer = bench.run(&["setpoints", "."]).exits(0);
    // Field capacity was measured in the upper soil.
    assert_eq!(answer.stdout.matches(HINT).count(), 1, "{}", answer.stdout);
}

#[test]
fn a_probe_whose_counts_rise_starts_the_pump_on_a_falling_count() {
    let rising = calibration("upper-1", "upper", Direction::RisesWhenWetter);
    bench(SITE, &[rising])
        .run(&["setpoints", "."])
        .exits(0)
        .says("Start the pump when the count falls to 470; stop it when it rises to 550.");
}

#[test]
fn cautions_stand_below_every_answer() {
    let bench = bench(SITE, &[upper()]);
    let answer = bench.run(&["setpoints", "."]).exits(0);
    for caution in [
        "RCD",
        "GFCI",
        "low voltage",
        "backflow preventer",
        "leaches",
        "pump without water",
        "Over-irrigation",
        "licensed practice",
        "Local codes",
    ] {
        answer.clone().says(caution);
    }
    let json = bench.run(&["setpoints", ".", "--json"]).exits(0).json();
    assert_eq!(json["cautions"].as_array().unwrap().len(), 6);
}

#[test]
fn machines_get_the_same_numbers_with_their_budgets() {
    let json = bench(SITE, &[upper()])
        .run(&["setpoints", ".", "--json"])
        .exits(0)
        .json();
    assert_eq!(json["format"], "ovendry setpoints");
    let one = &json["setpoints"][0];
    assert_eq!(one["probe"], "upper-1");
    assert_eq!(one["set_points"]["refill_count"], 530.0);
    assert_eq!(one["set_points"]["stop_count"], 450.0);
    assert_eq!(one["set_points"]["governor"], "allowed-depletion");
    assert_eq!(one["application"]["run_time"], "fits");
    let squares: f64 = one["refill_budget"]["lines"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| line["u"].as_f64().unwrap().powi(2))
        .sum();
    let combined = one["refill_standard_uncertainty"].as_f64().unwrap();
    assert!((combined - squares.sqrt()).abs() < 1e-12);
}

#[test]
fn a_noisy_probe_says_that_it_governs_the_band() {
    let mut noisy = upper();
    noisy.noise.standard_deviation = 20.0;
    bench(SITE, &[noisy])
        .run(&["setpoints", "."])
        .exits(0)
        .says("counts, set by what the probe resolves.")
        .says("For the pump to keep still it takes")
        .says("The allowed depletion asks for 0.080 m3/m3 only");
}

#[test]
fn counts_with_a_temperature_term_say_at_what_temperature_they_hold() {
    let mut corrected = upper();
    corrected.temperature = Some(TemperatureTerm {
        reference: Celsius::new(18.5).unwrap(),
        coefficient: 0.4,
    });
    corrected.covariance = vec![
        vec![4e-6, 0.0, 0.0],
        vec![0.0, 4e-6, 0.0],
        vec![0.0, 0.0, 0.01],
    ];
    bench(SITE, &[corrected])
        .run(&["setpoints", "."])
        .exits(0)
        .says("Both counts hold at 18.5 C in the soil");
}

#[test]
fn a_hot_day_allows_less_depletion() {
    let hot = SITE.replace(
        "maximum_on_s = 7200",
        "evapotranspiration_mm_per_day = 7.5\nmaximum_on_s = 7200",
    );
    bench(&hot, &[upper()])
        .run(&["setpoints", "."])
        .exits(0)
        .says("Allowed depletion 30 % of the available water")
        .says("rises to 510; stop it when it falls to 450");
}

#[test]
fn runs_outside_the_pumps_times_are_warned_of() {
    let short = SITE.replace(
        "maximum_on_s = 7200",
        "minimum_on_s = 3700\nmaximum_on_s = 7200",
    );
    bench(&short, &[upper()])
        .run(&["setpoints", "."])
        .exits(0)
        .complains("warning: upper-1: from refill to stop takes the pump 1 h, and it must stay on for 1 h 2 min (minimum_on_s)");
    let long = SITE.replace("maximum_on_s = 7200", "maximum_on_s = 1500");
    bench(&long, &[upper()])
        .run(&["setpoints", "."])
        .exits(0)
        .complains("it may run for 25 min at one go (maximum_on_s)")
        .complains("starts again at refill only, so the bed is not filled to stop; a timer would take 3 runs");
}

#[test]
fn one_probe_can_be_asked_for_and_a_wrong_name_is_answered_with_the_right_ones() {
    let lower = calibration("lower-1", "lower", Direction::FallsWhenWetter);
    let bench = bench(SITE, &[upper(), lower]);
    let json = bench
        .run(&["setpoints", ".", "--probe", "lower-1", "--json"])
        .exits(0)
        .json();
    assert_eq!(json["setpoints"].as_array().unwrap().len(), 1);
    bench
        .run(&["setpoints", ".", "--probe", "upper"])
        .exits(2)
        .complains("command line: --probe = \"upper\": has no calibration in out")
        .complains("mend: did you mean upper-1? If not, choose one of: lower-1, upper-1");
}

#[test]
fn set_points_the_cores_do_not_cover_are_refused_with_the_mend() {
    let mut dry_only = upper();
    dry_only.domain.low = 480.0;
    bench(SITE, &[dry_only])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("error: out/upper-1.calibration.json: probe upper-1: the stop point 0.300 m3/m3 lies beyond the wet end of the calibrated 0.050 to 0.270 m3/m3; the curve is not extended")
        .complains("mend: take wetter cores at this probe and fit again");
    let mut wet_only = upper();
    wet_only.domain.high = 520.0;
    bench(SITE, &[wet_only])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("the refill point 0.220 m3/m3 lies beyond the dry end of the calibrated 0.230 to 0.450 m3/m3")
        .complains("mend: take drier cores");
}

#[test]
fn a_crop_the_table_does_not_have_is_answered_with_its_line_and_the_names() {
    bench(&SITE.replace("tomato", "moss"), &[upper()])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("site.toml:26: crop = \"moss\": is not a crop of FAO-56 Table 22 as carried here: tomato, lettuce,")
        .complains("mend: choose one of these names");
}

#[test]
fn a_site_without_a_controller_or_a_crop_is_told_what_to_add() {
    let (without, _) = SITE.split_once("[controller]").unwrap();
    bench(without, &[upper()])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("site.toml: has no [controller]")
        .complains("mend: add [controller] with area_m2");
    bench(&SITE.replace("crop = \"tomato\"\n", ""), &[upper()])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("site.toml:23: [controller] states neither a crop nor allowed_depletion")
        .complains("mend: add crop = \"...\" by its name in FAO-56 Table 22, or allowed_depletion");
}

#[test]
fn a_calibration_of_a_soil_the_site_does_not_have_is_refused() {
    let stray = calibration("upper-1", "meadow", Direction::FallsWhenWetter);
    bench(SITE, &[stray])
        .run(&["setpoints", "."])
        .exits(2)
        .complains(
            "out/upper-1.calibration.json: was made in soil meadow, which site.toml does not have",
        );
}

#[test]
fn a_root_zone_without_depth_is_refused_where_it_is_stated() {
    let rootless = SITE.replace("root_depth_mm = 300", "root_depth_mm = 0");
    bench(&rootless, &[upper()])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("site.toml: probe upper-1: the root depth must be above 0 mm");
}

#[test]
fn a_water_use_no_field_has_is_refused() {
    let impossible = SITE.replace(
        "maximum_on_s = 7200",
        "evapotranspiration_mm_per_day = 55\nmaximum_on_s = 7200",
    );
    bench(&impossible, &[upper()])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("evapotranspiration_mm_per_day = \"55\": lies outside 0 to 20 mm a day");
}

#[test]
fn a_folder_without_calibrations_is_told_to_fit_first() {
    bench(SITE, &[])
        .run(&["setpoints", "."])
        .exits(2)
        .complains("holds no calibration")
        .complains("mend: run `ovendry fit` first");
}

/// [`SITE`] with more keys of `[controller]`.
fn with_controller(keys: &str) -> String {
    format!("{SITE}{keys}\n")
}

#[test]
fn unevenness_gives_the_driest_quarter_its_depth() {
    // 24 mm / 0.8 / 0.75 = 40 mm; 4800 L; 80 min.
    bench(
        &with_controller("distribution_uniformity = 0.75"),
        &[upper()],
    )
    .run(&["setpoints", "."])
    .exits(0)
    .says("40.0 mm to pump at an efficiency of 0.8 and a distribution uniformity of 0.75")
    .says("So the driest quarter gets its 24.0 mm; on average 32.0 mm enter the soil")
    .says("about 1 h 20 min");
}

#[test]
fn water_faster_than_the_soil_drinks_is_parted_into_pulses() {
    // 30 mm/h on soil that takes 12: 18 mm/h stand, 2 mm after 400 s; 60 min are 9
    // pulses of 400 s with 400 x (30/12 - 1) = 600 s to soak.
    let bench_of = |keys: &str| bench(&with_controller(keys), &[upper()]);
    bench_of("infiltration_mm_per_h = 12")
        .run(&["setpoints", "."])
        .exits(0)
        .says("In pulses: 9 of 7 min, with 10 min to soak in between; 2 h 20 min in all. That takes a timer")
        .complains("warning: the pump: water comes at 30 mm an hour and the soil takes in 12 (infiltration_mm_per_h)")
        .complains("runs off to the low end")
        .complains("let a timer give the water in pulses: 7 min on, 10 min to soak in; maximum_on_s = 400 stops the pump in time");
    // Then nothing stands on the ground, but the controller gives one pulse a refill.
    let kept = SITE.replace(
        "maximum_on_s = 7200",
        "maximum_on_s = 400\nminimum_off_s = 600\ninfiltration_mm_per_h = 12",
    );
    let answer = bench(&kept, &[upper()]).run(&["setpoints", "."]).exits(0);
    assert!(!answer.stderr.contains("infiltration"), "{}", answer.stderr);
    answer.complains("it may run for 7 min at one go (maximum_on_s)");
    // A soil that takes all of it needs none.
    let answer = bench_of("infiltration_mm_per_h = 30")
        .run(&["setpoints", "."])
        .exits(0);
    assert!(!answer.stdout.contains("In pulses"), "{}", answer.stdout);
}

#[test]
fn a_probe_whose_answer_to_warmth_is_not_known_is_told_how_to_learn_it() {
    bench(SITE, &[upper()])
        .run(&["setpoints", "."])
        .exits(0)
        .says("soil temperature not known and left out")
        .complains("what soil temperature does to its readings is not known")
        .complains("write the difference in counts for each degree as counts_per_c");
    let known = SITE.replacen(
        "soil = \"upper\"\n",
        "soil = \"upper\"\ncounts_per_c = -0.8\ndrift_counts = 2\n",
        1,
    );
    let answer = bench(&known, &[upper()])
        .run(&["setpoints", "."])
        .exits(0)
        .says("soil temperature 4.0 (5 C a day by counts_per_c, uncorrected), drift 2.0.");
    assert!(!answer.stderr.contains("counts_per_c"), "{}", answer.stderr);
}

#[test]
fn the_invented_demo_garden_gets_set_points_for_its_three_soils() {
    let bench = Bench::empty();
    bench.run(&["start", "garden", "--demo"]).exits(0);
    bench.run(&["fit", "garden", "--no-charts"]).exits(0);
    let json = bench
        .run(&["setpoints", "garden", "--json"])
        .exits(0)
        .json();
    let soils: Vec<&str> = json["setpoints"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["soil"].as_str().unwrap())
        .collect();
    assert_eq!(soils, ["lowfield", "orchard", "terrace"]);
    for one in json["setpoints"].as_array().unwrap() {
        let set = &one["set_points"];
        let number = |key: &str| set[key].as_f64().unwrap();
        assert!(number("refill") < number("stop"), "{one:#}");
        assert!(
            number("stop") - number("refill") >= number("resolvable"),
            "{one:#}"
        );
        let part = |key: &str| one["least_band"][key].as_f64().unwrap();
        let least = part("noise_counts") + part("temperature_counts") + part("drift_counts");
        let band = (number("refill_count") - number("stop_count")).abs();
        assert!(band >= least && least > 1.0, "{one:#}");
        let rising = one["direction"] == "rises-when-wetter";
        assert_eq!(
            number("refill_count") < number("stop_count"),
            rising,
            "{one:#}"
        );
    }
}
