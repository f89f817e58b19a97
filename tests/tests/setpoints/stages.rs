//! Set points by stage of growth.

use super::{SITE, bench, upper};

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
fn a_controller_file_of_another_stage_is_told_as_such() {
    let bench = bench(&format!("{SITE}{STAGES}"), &[upper()]);
    bench.run(&["export", ".", "--stage", "initial"]).exits(0);
    let same = bench
        .run(&["setpoints", ".", "--stage", "initial"])
        .exits(0);
    assert!(!same.stderr.contains("controller"), "{}", same.stderr);
    bench
        .run(&["setpoints", ".", "--stage", "mid-season"])
        .exits(0)
        .complains("still hold 510/450, those of stage initial, and refill/stop are 530/450 now")
        .complains("while the crop is in stage initial, leave it; otherwise run `ovendry export . --stage \"mid-season\" --force`");
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
