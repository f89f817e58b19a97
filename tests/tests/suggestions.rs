//! What a person is told who mistyped a command, a folder, a file or an id: what was
//! probably meant. Nothing is ever done on a guess.

use ovendry_tests::Bench;

/// A workbench `my-garden` in an empty folder, calibrated and exported.
fn calibrated() -> Bench {
    let bench = Bench::empty();
    let small = Bench::small();
    for (name, bytes) in small.contents() {
        bench.put(&format!("my-garden/{name}"), bytes);
    }
    bench.run(&["calibrate", "my-garden"]).exits(0);
    bench
}

#[test]
fn a_command_is_found_by_what_it_is_for_or_by_its_neighbour() {
    let bench = Bench::empty();
    for (typed, command) in [
        ("calibration", "ovendry calibrate"),
        ("init", "ovendry start"),
        ("threshold", "ovendry setpoints"),
    ] {
        bench
            .run(&[typed])
            .exits(2)
            .complains(&format!("tip: for that there is `{command}`"));
    }
    bench.run(&["setpoitns"]).exits(2).complains("'setpoints'");
    let json = bench.run(&["init", "--json"]).exits(2).json();
    let mend = json["problems"][0]["mend"].as_str().unwrap_or_default();
    assert!(
        mend.starts_with("for that there is `ovendry start`"),
        "{json}"
    );
}

#[test]
fn a_folder_typed_before_its_command_is_turned_round() {
    let bench = calibrated();
    bench
        .run(&["my-garden", "check"])
        .exits(2)
        .complains("the command comes first: `ovendry check my-garden`");
    bench
        .run(&["my-garden"])
        .exits(2)
        .complains("`ovendry status my-garden` says what is next there");
}

#[test]
fn a_workbench_one_level_away_is_named() {
    let bench = calibrated();
    for command in ["fit", "setpoints", "export", "replay", "pair"] {
        bench
            .run(&[command])
            .exits(2)
            .complains(".: holds no workbench")
            .complains("mend: did you mean my-garden?");
    }
    bench
        .run(&["check", "my-gardn"])
        .exits(2)
        .says("mend: did you mean my-garden?");
    bench
        .run(&["fit", "my-garden/out"])
        .exits(2)
        .complains("mend: did you mean my-garden?");
}

#[test]
fn a_command_works_on_the_folder_one_is_in() {
    let bench = Bench::small();
    bench.run(&["check"]).exits(0);
    bench.run(&["calibrate"]).exits(0);
    bench.run(&["setpoints"]).exits(0);
    assert!(bench.path().join("out/P1.h").is_file());
}

#[test]
fn a_mistyped_file_is_met_with_the_one_there() {
    let bench = calibrated();
    for (arguments, meant) in [
        (["verify", "my-garden/out/P.h"], "my-garden/out/P1.h"),
        (["verify", "P1.h"], "my-garden/out/P1.h"),
        (["verify", "my-garden"], "my-garden/out/fleet.json"),
    ] {
        bench
            .run(&arguments)
            .exits(2)
            .complains(&format!("mend: did you mean {meant}?"));
    }
    bench.put("my-garden/log.csv", "timestamp,probe_id,raw_count\n");
    bench
        .run(&["replay", "my-garden", "--log", "my-garden/lgo.csv"])
        .exits(2)
        .complains("mend: did you mean my-garden/log.csv?");
}

#[test]
fn a_mistyped_probe_or_soil_is_met_with_the_nearest() {
    let bench = Bench::demo();
    bench
        .run(&["fit", ".", "--probe", "terace-1"])
        .exits(2)
        .complains("mend: did you mean terrace-1? If not, choose one of: terrace-1, orchard-1");
    bench
        .run(&["soil", ".", "--soil", "lowfeild"])
        .exits(2)
        .complains("mend: did you mean lowfield?");
}
