//! `ovendry compare OLD NEW`, as a person runs it: what is the same, what reads
//! wetter or drier and by how much, how set points moved, and what is refused.

use calib_cli::controller::{FLEET_FILE, FORMATS, render, render_fleet};
use calib_core::calibration::{Calibration, Direction};
use calib_core::controller::{ControllerRecord, ControllerTable, Delta};
use ovendry_tests::controller::{Recipe, calibration_file, format, table, worked_example};
use ovendry_tests::{Answer, Bench};
use serde_json::Value;

/// The documented example, changed.
fn example(change: impl Fn(&mut ControllerRecord)) -> ControllerTable {
    let mut record = worked_example();
    change(&mut record);
    ControllerTable::check(record).unwrap()
}

/// A bench with `old.h` and `new.controller.json`.
fn bench(old: &ControllerTable, new: &ControllerTable) -> Bench {
    Bench::empty()
        .with("old.h", render(format("C header"), old))
        .with("new.controller.json", render(format("JSON"), new))
}

fn compare(old: &ControllerTable, new: &ControllerTable) -> Answer {
    bench(old, new).run(&["compare", "old.h", "new.controller.json"])
}

fn compare_json(old: &ControllerTable, new: &ControllerTable) -> Value {
    bench(old, new)
        .run(&["compare", "old.h", "new.controller.json", "--json"])
        .json()
}

/// A calibration, and the same wetter by `shift` m3/m3 at every count.
fn shifted(shift: f64) -> (Calibration, Calibration) {
    let old = Recipe::default().calibration("north");
    let mut new = old.clone();
    new.curve.parameters[0] += shift;
    (old, new)
}

#[test]
fn every_format_of_one_table_is_the_same() {
    let one = example(|_| ());
    for old in FORMATS {
        for new in FORMATS {
            let bench = Bench::empty();
            bench.put(&old.file_name("a"), render(old, &one));
            bench.put(&new.file_name("b"), render(new, &one));
            let answer = bench
                .run(&["compare", &old.file_name("a"), &new.file_name("b")])
                .exits(0)
                .says("The same table: every number is equal.\n")
                .says("What to do: nothing;");
            assert_eq!(answer.stderr, "");
        }
    }
}

#[test]
fn a_wetter_curve_is_said_at_the_count_where_it_differs_most() {
    let (old, new) = shifted(0.021);
    let (old, new) = (table(&old).unwrap(), table(&new).unwrap());
    let answer = compare(&old, &new).exits(1);
    let json = compare_json(&old, &new);

    // By looking at every code and temperature here.
    let term = new.record().temperature.unwrap();
    let mut largest = (0, 0, 0, 0);
    let (mut sum, mut compared) = (0, 0);
    for centi in [term.lowest_centi, term.reference_centi, term.highest_centi] {
        for code in 0..=u32::from(new.full_scale()) {
            let read = |table: &ControllerTable| table.evaluate(code, Some(centi));
            if let (Ok(before), Ok(now)) = (read(&old), read(&new)) {
                let (before, now) = (i32::from(before.theta_v), i32::from(now.theta_v));
                sum += now - before;
                compared += 1;
                if now - before > largest.0 {
                    largest = (now - before, code, before, now);
                }
            }
        }
    }
    assert!((205..=215).contains(&largest.0), "{largest:?}");
    let readings = &json["readings"];
    assert_eq!(readings["compared"], compared);
    let near = |found: &Value, units: f64| {
        let found = found.as_f64().unwrap();
        assert!((found - units / 10_000.0).abs() < 1e-9, "{found} {units}");
    };
    near(
        &readings["mean_difference_theta_v"],
        f64::from(sum) / f64::from(compared),
    );
    let wetter = &readings["most_wetter"];
    near(&wetter["difference_theta_v"], f64::from(largest.0));
    near(&wetter["old_theta_v"], f64::from(largest.2));
    near(&wetter["new_theta_v"], f64::from(largest.3));
    assert_eq!(wetter["count"], largest.1);
    assert!(readings["most_drier"].is_null());
    assert_eq!(json["same"], false);

    let units = |units: i32| format!("{:.3}", f64::from(units) / 10_000.0);
    answer
        .says("On average the new table reads 0.021 m3/m3 wetter")
        .says(&format!(
            "  at {} counts and {:.2} C the new table reads {} m3/m3 wetter ({} before, {} now)\n",
            largest.1,
            wetter["temperature_c"].as_f64().unwrap(),
            units(largest.0),
            units(largest.2),
            units(largest.3)
        ))
        .says("At 19.87 C:\ncounts  before")
        .says("What to do: ")
        .says("Take care:\n")
        .says("kill together");
}

#[test]
fn a_moved_start_is_said_in_counts_and_in_water() {
    // 541 counts: 2310 - 858 x 86/107 = 1620; 532 counts: 1693.
    let new = example(|record| {
        record.set_points.refill = 1620;
        record.set_points.refill_count = 541;
    });
    compare(&example(|_| ()), &new)
        .exits(1)
        .says("Both give the same water content wherever both answer.\n")
        .says("The pump now starts at 541 counts, before 532: by the new table 0.0073 m3/m3 drier (0.1620 m3/m3 now, 0.1690 by the old table).\n")
        .says("The pump stops at 443 counts as before: 0.2440 m3/m3.\n")
        .says("the same within the stated bounds");
}

#[test]
fn other_pump_times_are_no_other_curve_but_are_not_the_same() {
    let new = example(|record| record.timing.maximum_on_s = 3600);
    let answer = compare(&example(|_| ()), &new)
        .exits(1)
        .says("Also changed:\n  longest time on: 3600 s; before 2700 s\n");
    assert!(!answer.stdout.contains("shortest"), "{}", answer.stdout);
}

#[test]
fn another_probe_or_soil_is_warned_of_and_later_dates_are_told() {
    let new = example(|record| {
        record.probe = "bench-4".into();
        record.soil = "clay bed".into();
        record.dates.recheck_by = jiff::civil::date(2027, 4, 2);
    });
    compare(&example(|_| ()), &new)
        .exits(0)
        .complains(
            "warning: new.controller.json: is for probe bench-4, but old.h is for probe bench-3\n",
        )
        .complains("is for soil clay bed, but old.h is for soil test bed\n")
        .complains("why it matters: ")
        .says("  check again by: 2027-04-02; before 2026-04-02\n");
}

#[test]
fn counts_that_lost_their_answer_are_named() {
    let new = example(|record| {
        // Along the same lines: 4180 - 953 x 31/62 is half way.
        record.temperature = None;
        record.domain_low = 16 * 341;
        (record.knots[0].count, record.knots[0].theta_v) = (341, 3704);
    });
    let old = example(|record| record.temperature = None);
    compare(&old, &new)
        .exits(1)
        .says("  counts 311 to 340 had an answer and have none now, so that the pump stays off there\n")
        .says("What to do: where both answer the water contents are the same")
        .says("  calibrated counts: 341.0 to 699.2; before 310.6 to 699.2\n");
    compare(&new, &old)
        .exits(1)
        .says("  counts 311 to 340 have an answer now and had none\n");
}

#[test]
fn a_change_is_held_against_both_uncertainties() {
    for (shift, says, advice) in [
        (
            0.004,
            "The change is no more than both uncertainties explain",
            "chance alone can do this",
        ),
        (
            0.05,
            "The change is more than both uncertainties explain",
            "do not load it before you know why",
        ),
    ] {
        let (old, new) = shifted(shift);
        let bench = Bench::empty()
            .with("old.calibration.json", calibration_file(&old))
            .with("new.calibration.json", calibration_file(&new));
        bench
            .run(&["compare", "old.calibration.json", "new.calibration.json"])
            .exits(1)
            .says(&format!(
                "On average the new curve reads {shift:.3} m3/m3 wetter"
            ))
            .says(says)
            .says(advice);
        // Both uncertainties as the calibrations state them there.
        let least = Delta::between(&old, &new).unwrap().least_explained.unwrap();
        let temperature = least.temperature_centi.map(|centi| {
            use calib_core::quantity::{Celsius, Quantity};
            Celsius::new(f64::from(centi) / 100.0).unwrap()
        });
        let stated = [&old, &new].map(|calibration| {
            let said = calibration.predict(f64::from(least.code), temperature);
            said.unwrap().expanded.expanded
        });
        let both = (stated[0].powi(2) + stated[1].powi(2)).sqrt();
        assert!((least.both_uncertainties() - both).abs() < 1e-12);
        assert!((least.share() - shift / both).abs() < 1e-6);
    }
}

#[test]
fn a_table_says_what_its_own_calibration_says() {
    let (old, new) = shifted(0.021);
    let bench = Bench::empty()
        .with("old.calibration.json", calibration_file(&old))
        .with("old.h", render(format("C header"), &table(&old).unwrap()))
        .with("new.h", render(format("C header"), &table(&new).unwrap()));
    bench
        .run(&["compare", "old.calibration.json", "old.h"])
        .exits(0)
        .says("Readings are the same within the stated bounds")
        .says("nothing needs to change at the pump");
    bench
        .run(&["compare", "old.calibration.json", "new.h"])
        .exits(1)
        .says("the new table reads 0.021 m3/m3 wetter");
}

#[test]
fn counts_of_another_converter_or_wiring_are_refused_with_a_mend() {
    let with = |recipe: Recipe| table(&recipe.calibration("north")).unwrap();
    let old = with(Recipe::default());
    let ten_bits = with(Recipe {
        bits: 10,
        ..Recipe::default()
    });
    let answer = compare(&old, &ten_bits).exits(2);
    assert_eq!(answer.stdout, "");
    assert_eq!(
        answer.stderr,
        "error: new.controller.json: cannot be compared with old.h: the old one is for a \
         converter of 12 bits, the new one for 10 bits\n  mend: compare two files for the same \
         converter; if it was exchanged, take cores and readings with the new one and fit again\n"
    );
    let turned = with(Recipe {
        direction: Direction::RisesWhenWetter,
        ..Recipe::default()
    });
    compare(&old, &turned)
        .exits(2)
        .complains(
            "with the old one counts fall as the soil gets wetter, with the new one counts rise",
        )
        .complains("mend: compare two files for the same wiring");
}

#[test]
fn every_file_that_cannot_be_read_is_named() {
    let answer = Bench::empty()
        .with("notes.txt", "none")
        .run(&["compare", "notes.txt", "absent.calibration.json"])
        .exits(2)
        .complains("notes.txt: is no kind of controller file this program knows")
        .complains("absent.calibration.json: cannot be read");
    assert_eq!(answer.stdout, "");

    let one = example(|_| ());
    let damaged = render(format("JSON"), &one).replace("4180", "4181");
    bench(&one, &one)
        .with("new.controller.json", damaged)
        .run(&["compare", "old.h", "new.controller.json"])
        .exits(2)
        .complains("error: new.controller.json: ");
}

#[test]
fn one_probe_of_a_fleet_is_compared() {
    let named = |probe: &str| table(&Recipe::default().calibration(probe)).unwrap();
    let bench = Bench::empty()
        .with(FLEET_FILE, render_fleet(&[named("north"), named("south")]))
        .with("south.h", render(format("C header"), &named("south")))
        .with("west.h", render(format("C header"), &named("west")));
    bench
        .run(&["compare", FLEET_FILE, "south.h"])
        .exits(0)
        .says(&format!(
            "old: fleet.json: table {:08x} of probe south",
            named("south").crc32()
        ))
        .says("The same table");
    bench
        .run(&["compare", FLEET_FILE, FLEET_FILE])
        .exits(2)
        .complains("holds the tables of a fleet\n  mend: name one of its probes with --probe: north, south");
    bench
        .run(&["compare", FLEET_FILE, FLEET_FILE, "--probe", "north"])
        .exits(0);
    bench
        .run(&["compare", FLEET_FILE, "west.h"])
        .exits(2)
        .complains("fleet.json: holds no table of probe west");
}

#[test]
fn a_new_one_much_less_sure_is_not_explained_away_by_its_own_width() {
    let one = example(|_| ());
    let wide = example(|record| {
        for knot in &mut record.knots {
            knot.expanded_uncertainty *= 3;
            knot.theta_v += 100;
        }
        record.set_points.refill += 100;
        record.set_points.stop += 100;
    });
    bench(&one, &wide)
        .run(&["compare", "old.h", "new.controller.json"])
        .exits(1)
        .complains("is much less sure than the old one: its +- is 3.0 times as wide")
        .says("do not load it before you know why the new one is so much less sure");
}

#[test]
fn a_lost_correction_for_soil_temperature_is_warned_of() {
    let one = example(|_| ());
    let bare = example(|record| record.temperature = None);
    bench(&one, &bare)
        .run(&["compare", "old.h", "new.controller.json"])
        .complains("no longer corrects for soil temperature, which the old one did");
}

#[test]
fn a_probe_asked_for_must_be_the_one_of_the_file() {
    let one = example(|_| ());
    bench(&one, &one)
        .run(&[
            "compare",
            "old.h",
            "new.controller.json",
            "--probe",
            "other",
        ])
        .exits(2)
        .complains("old.h: holds no table of probe other");
}
