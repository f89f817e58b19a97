//! `ovendry setpoints`: what it prints for a grower, what it gives a machine, and
//! what it refuses. The site and its calibrations are invented.

use calib_core::calibration::{Calibration, Direction, Domain, ReadingNoise};
use calib_core::curve::{Axis, Curve, CurveKind};
use calib_core::quantity::{Celsius, Quantity};
use calib_core::temperature::TemperatureTerm;
use ovendry_tests::Bench;

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

/// 0.001 m3/m3 a count around 0.25 m3/m3 at 500.
fn calibration(probe: &str, soil: &str, direction: Direction) -> Calibration {
    let slope = match direction {
        Direction::FallsWhenWetter => -0.2,
        Direction::RisesWhenWetter => 0.2,
    };
    Calibration {
        probe: probe.into(),
        soil: soil.into(),
        adc_bits: 12,
        curve: Curve {
            kind: CurveKind::StraightLine,
            axis: Axis {
                origin: 500.0,
                unit: 200.0,
            },
            parameters: vec![0.25, slope],
        },
        temperature: None,
        domain: Domain {
            low: 300.0,
            high: 700.0,
        },
        temperature_range: None,
        covariance: vec![vec![4e-6, 0.0], vec![0.0, 4e-6]],
        covariance_parts: Vec::new(),
        core_scatter: 0.006,
        scatter_draws: Vec::new(),
        rivals: Vec::new(),
        degrees_of_freedom: 13.0,
        relative_volume_u: 0.01,
        noise: ReadingNoise {
            standard_deviation: 1.0,
            degrees_of_freedom: 60.0,
        },
        temperature_u: 0.5,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction,
        cores: 15,
    }
}

fn saved(calibration: &Calibration) -> String {
    serde_json::json!({
        "format": "ovendry calibration",
        "version": 1,
        "program": "test",
        "calibrated_on": "2026-05-01",
        "recheck_by": "2027-05-01",
        "sources": [],
        "explanation": [],
        "calibration": calibration,
    })
    .to_string()
}

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
        .says("refill           530    0.220  0.031          60    16        35.9     24.1")
        .says("+- U: expanded uncertainty (95 %), probe and soil together.")
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
        .complains("it takes 3 runs to reach stop");
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
        .complains("mend: choose one of: lower-1, upper-1");
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

/// [`SITE`] with two probes of one soil at two depths, and their calibrations.
fn two_depths(bed: &str) -> Bench {
    let site = SITE.replace("soil = \"upper\"\n", "soil = \"upper\"\ndepth_mm = 100\n");
    let site = site.replace(
        "id = \"lower-1\"\nadc_bits = 12\nsoil = \"lower\"",
        "id = \"upper-2\"\nadc_bits = 12\nsoil = \"upper\"\ndepth_mm = 250",
    );
    let deep = calibration("upper-2", "upper", Direction::RisesWhenWetter);
    self::bench(&format!("{site}{bed}\n"), &[upper(), deep])
}

const STAGES: &str = r#"
[[stage]]
name = "initial"
days = 20
root_depth_mm = 150
allowed_depletion = 0.3
[[stage]]
name = "mid-season"
days = 40
root_depth_mm = 300
[[stage]]
name = "late season"
days = 15
root_depth_mm = 300
evapotranspiration_mm_per_day = 2.5
"#;

#[test]
fn each_stage_of_growth_gets_a_line_and_the_last_of_the_deepest_is_gone_by() {
    let site = format!("{}{STAGES}", SITE.replace("root_depth_mm = 300\n", ""));
    let bench = bench(&site, &[upper()]);
    // Late: 40 % + 4 x 2.5 = 50 %: refill 0.300 - 0.5 x 0.2, 30 mm.
    bench
        .run(&["setpoints", "."])
        .exits(0)
        .says("Stage of growth: late season, day 61 to 75 after planting: the last stage with the deepest roots")
        .says("Start the pump when the count rises to 550; stop it when it falls to 450.")
        .says("initial      1-20     150   0.240    510  0.300    450    9.0  23 min")
        .says("mid-season   21-60    300   0.220    530  0.300    450   24.0  1 h")
        .says("late season  61-75    300   0.200    550  0.300    450   30.0  1 h 15 min")
        .says("Root depth 300 mm (stage late season, the same from its first day to its last)");
    let json = bench
        .run(&["setpoints", ".", "--stage", "Initial", "--json"])
        .exits(0)
        .json();
    assert_eq!(json["stage"]["name"], "initial");
    assert_eq!(json["setpoints"][0]["set_points"]["refill_count"], 510.0);
    assert_eq!(
        json["setpoints"][0]["stages"][2]["set_points"]["net_depth"]
            .as_f64()
            .map(f64::round),
        Some(30.0)
    );
    bench
        .run(&["setpoints", ".", "--stage", "ripening"])
        .exits(2)
        .complains("command line: --stage = \"ripening\": is no stage of site.toml")
        .complains("mend: choose one of: initial, mid-season, late season");
}

#[test]
fn the_controller_file_carries_the_stage_asked_for_and_says_which() {
    let bench = bench(&format!("{SITE}{STAGES}"), &[upper()]);
    bench
        .run(&["export", ".", "--stage", "initial"])
        .exits(0)
        .says("Refill and stop are those of stage initial, day 1 to 20 after planting.");
    assert!(
        bench
            .read("out/upper-1.controller.json")
            .contains("\"refill_count\": 510")
    );
    let answer = bench.run(&["export", ".", "--force", "--json"]).exits(0);
    assert!(
        answer.json()["stage"]
            .as_str()
            .unwrap()
            .starts_with("late season")
    );
    assert!(
        bench
            .read("out/upper-1.controller.json")
            .contains("\"refill_count\": 550")
    );
}

#[test]
fn a_stage_where_there_are_none_is_answered_with_what_to_add() {
    bench(SITE, &[upper()])
        .run(&["setpoints", ".", "--stage", "initial"])
        .exits(2)
        .complains("--stage = \"initial\": asks for a stage, and site.toml has none")
        .complains("mend: add a [[stage]]");
}

#[test]
fn two_probes_at_two_depths_speak_for_one_root_zone() {
    // 0 to 175 and 175 to 300 mm of roots: 58 and 42 %.
    let bench = two_depths("[[bed]]\nid = \"south\"\nprobes = [\"upper-1\", \"upper-2\"]");
    bench
        .run(&["setpoints", "."])
        .exits(0)
        .says("Bed south: 2 probes over 300 mm of roots")
        .says("Start the pump when the root zone falls to 0.220 m3/m3; stop it when it rises to 0.300.")
        .says("Root zone = 0.58 x upper-1 + 0.42 x upper-2")
        .says("upper-1    100      58   0.220    530  0.300    450")
        .says("upper-2    250      42   0.220    470  0.300    550");
    let json = bench.run(&["setpoints", ".", "--json"]).exits(0).json();
    let zone = &json["beds"][0]["root_zone"];
    let number = |value: &serde_json::Value| value.as_f64().unwrap();
    // What one probe errs by alone counts for less where there are two.
    let one = number(&json["setpoints"][0]["refill_water"]["theta_v"]["u"]);
    assert!(number(&zone["refill"]["left"]["theta_v"]["u"]) < one);
    let by_roots = two_depths(
        "[[bed]]\nid = \"south\"\nprobes = [\"upper-1\", \"upper-2\"]\nweight_by = \"roots\"",
    );
    // To 175 of 300 mm: 40 and 30 % of the upper half, a third of 20 % below it.
    by_roots
        .run(&["setpoints", "."])
        .exits(0)
        .says("Root zone = 0.77 x upper-1 + 0.23 x upper-2");
}

#[test]
fn a_bed_with_a_probe_below_the_roots_or_without_calibration_is_refused() {
    let bed = "[[bed]]\nid = \"south\"\nprobes = [\"upper-1\", \"upper-2\"]";
    let bench = two_depths(bed);
    let site = bench.read("site.toml");
    bench.put(
        "site.toml",
        site.replace("depth_mm = 250", "depth_mm = 450"),
    );
    bench
        .run(&["setpoints", "."])
        .exits(2)
        .complains(
            "site.toml:32: bed south: probe upper-2 lies 450 mm deep, below the 300 mm of roots",
        )
        .complains("mend: leave it out of the bed, or state the depth the roots have reached");
    let bench = two_depths(bed);
    std::fs::remove_file(bench.path().join("out/upper-2.calibration.json")).unwrap();
    bench
        .run(&["setpoints", "."])
        .exits(2)
        .complains("site.toml:32: bed south: probe upper-2 has no calibration")
        .complains("mend: run `ovendry fit` for it, or leave it out of the bed");
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
        .says("In pulses: 9 of 7 min, with 10 min to soak in between; 2 h 20 min in all.")
        .complains("warning: the pump: water comes at 30 mm an hour and the soil takes in 12 (infiltration_mm_per_h)")
        .complains("runs off to the low end")
        .complains("set maximum_on_s = 400 and minimum_off_s = 600 in site.toml");
    // Then the controller keeps the pulses, and there is nothing to warn of.
    let kept = SITE.replace(
        "maximum_on_s = 7200",
        "maximum_on_s = 400\nminimum_off_s = 600\ninfiltration_mm_per_h = 12",
    );
    let answer = bench(&kept, &[upper()]).run(&["setpoints", "."]).exits(0);
    assert!(!answer.stderr.contains("infiltration"), "{}", answer.stderr);
    assert!(!answer.stderr.contains("maximum_on_s"), "{}", answer.stderr);
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
        .says("% (95 %) is left: 50.9 mm above the wilting point, 9.1 mm used up since field capacity.")
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
    // At 25 C 490 counts are 480 at 20 C; 2.5 C to either side are 5 counts.
    bench(SITE, &[corrected])
        .run(&["setpoints", ".", "--explain", "490", "--temperature", "25"])
        .exits(0)
        .says("The soil then holds 0.270")
        .says("read in soil of 25 C")
        .says("stands for 0.265 to 0.275 m3/m3, unless corrected for soil temperature");
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
        .run(&["setpoints", ".", "--explain", "480", "--temperature", "120"])
        .exits(2)
        .complains("--temperature = \"120\": temperature 120 C lies outside -40 to 85 C");
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
