//! Several probes at depths, one root zone.

use super::{SITE, bench, calibration, upper};
use calib_core::calibration::Direction;
use ovendry_tests::Bench;

/// [`SITE`] with two probes of one soil at two depths, and their calibrations.
fn two_depths(bed: &str) -> Bench {
    let site = SITE.replace("soil = \"upper\"\n", "soil = \"upper\"\ndepth_mm = 100\n");
    let site = site.replace(
        "id = \"lower-1\"\nadc_bits = 12\nsoil = \"lower\"",
        "id = \"upper-2\"\nadc_bits = 12\nsoil = \"upper\"\ndepth_mm = 250",
    );
    let deep = calibration("upper-2", "upper", Direction::RisesWhenWetter);
    bench(&format!("{site}{bed}\n"), &[upper(), deep])
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
fn a_probe_below_the_roots_of_a_stage_does_not_count_then() {
    let stages = "[[bed]]\nid = \"south\"\nprobes = [\"upper-1\", \"upper-2\"]\n\
        [[stage]]\nname = \"young\"\ndays = 20\nroot_depth_mm = 150\n\
        [[stage]]\nname = \"grown\"\ndays = 40\nroot_depth_mm = 300";
    let bench = two_depths(stages);
    bench
        .run(&["setpoints", ".", "--stage", "young"])
        .exits(0)
        .says("Bed south: 1 probe over 150 mm of roots")
        .says("upper-2 (250 mm) lies below the roots of this stage and does not count.")
        .says("Root zone = 1.00 x upper-1, in theta_v")
        .says("No raw count (-): water contents are weighted, not counts");
    let grown = bench.run(&["setpoints", "."]).exits(0);
    assert!(!grown.stdout.contains("does not count"), "{}", grown.stdout);
    grown.says("Root zone = 0.58 x upper-1 + 0.42 x upper-2");
}

#[test]
fn a_bed_with_all_probes_below_the_roots_or_without_calibration_is_refused() {
    let bed = "[[bed]]\nid = \"south\"\nprobes = [\"upper-1\", \"upper-2\"]";
    let bench = two_depths(bed);
    let site = bench.read("site.toml");
    bench.put(
        "site.toml",
        site.replace("depth_mm = 250", "depth_mm = 450")
            .replace("depth_mm = 100", "depth_mm = 400"),
    );
    bench
        .run(&["setpoints", "."])
        .exits(2)
        .complains(
            "site.toml:32: bed south: no probe lies within the 300 mm of roots: the least deep, upper-1, lies 400 mm deep",
        )
        .complains("mend: name a probe among the roots in the bed, or state the depth the roots have reached");
    let bench = two_depths(bed);
    std::fs::remove_file(bench.path().join("out/upper-2.calibration.json")).unwrap();
    bench
        .run(&["setpoints", "."])
        .exits(2)
        .complains("site.toml:32: bed south: probe upper-2 has no calibration")
        .complains("mend: run `ovendry fit` for it, or leave it out of the bed");
}

#[test]
fn two_probes_at_one_depth_are_told_by_check_before_there_are_set_points() {
    let bench = two_depths("[[bed]]\nid = \"south\"\nprobes = [\"upper-1\", \"upper-2\"]");
    let site = bench.read("site.toml");
    bench.put(
        "site.toml",
        site.replace("depth_mm = 250", "depth_mm = 100"),
    );
    let what = "bed south: probes upper-1 and upper-2 both lie 100 mm deep";
    let mend = "mend: one probe a depth steers: take the other out of the bed's probes, and it only watches";
    bench.run(&["check", "."]).exits(2).says(what).says(mend);
    bench
        .run(&["setpoints", "."])
        .exits(2)
        .complains(what)
        .complains(mend);
}
