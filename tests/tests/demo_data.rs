//! The committed demo data is what its program makes, and could have been
//! measured: physically consistent, in order, inside the converter's range.

use ovendry_tests::demo::{self, RING_VOLUME_CM3};
use std::collections::BTreeMap;

#[test]
fn making_the_demo_data_again_gives_the_committed_bytes() {
    for (name, expected) in demo::files() {
        let path = ovendry_tests::repository().join("demo-data").join(name);
        let committed = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(
            committed == expected,
            "{} differs from what the generator makes; \
             run `cargo run -p ovendry-tests --example make_demo_data`",
            path.display()
        );
    }
}

#[test]
fn demo_cores_are_physically_possible() {
    for core in demo::cores(&demo::plots()) {
        let name = &core.sample;
        assert!(core.wet_g > core.dry_g, "{name}");
        assert!(core.dry_g > core.tare_g, "{name}");
        if let Some(again) = core.dry_again_g {
            let loss = (core.dry_g - again) / (core.dry_g - core.tare_g);
            assert!((0.0..0.001).contains(&loss), "{name}: lost {loss}");
        }
        let bulk_density = (core.dry_g - core.tare_g) / RING_VOLUME_CM3;
        assert!((1.2..1.7).contains(&bulk_density), "{name}: {bulk_density}");
        let theta = (core.wet_g - core.dry_g) / RING_VOLUME_CM3;
        // Particle density 2.65 g/cm3: common practice.
        let saturation = theta / (1.0 - bulk_density / 2.65);
        assert!((0.0..0.99).contains(&saturation), "{name}: {saturation}");
    }
}

#[test]
fn demo_readings_are_in_order_and_inside_the_converter() {
    let mut last_of_probe = BTreeMap::new();
    for core in demo::cores(&demo::plots()) {
        assert_eq!(core.readings.len(), 12, "{}", core.sample);
        for reading in &core.readings {
            assert!((1..1023).contains(&reading.count), "{}", core.sample);
            assert!((8.0..=30.0).contains(&reading.soil_temp_c));
            let last = last_of_probe.insert(core.probe, reading.at);
            assert!(last.is_none_or(|last| last < reading.at), "{}", core.sample);
        }
        assert!(last_of_probe[core.probe] < core.taken_at);
    }
}

#[test]
fn the_demo_season_stays_inside_converter_and_soil_and_has_its_gaps() {
    let rows = demo::log(&demo::plots());
    let steps = 86_400 / demo::LOG_STEP_S as usize;
    // Seven hours of one probe are missing; a row stands at each switch of the pump.
    let regular = rows
        .iter()
        .filter(|row| row.at.as_second() % demo::LOG_STEP_S == 0)
        .count();
    assert_eq!(regular, 3 * demo::DAYS * steps - 7 * steps / 24);
    assert!((50..5000).contains(&(rows.len() - regular)));
    assert!(rows.windows(2).all(|pair| pair[0].at <= pair[1].at));
    let silent = rows.iter().filter(|row| row.soil_temp_c.is_none()).count();
    assert!((3 * steps / 24..=200).contains(&silent), "{silent}");
    let fallen: f64 = demo::weather().iter().map(|day| day.rain_mm).sum();
    for bed in demo::BEDS {
        let of_bed: Vec<_> = rows.iter().filter(|row| row.probe == bed.probe).collect();
        assert!(of_bed.iter().all(|row| (250..800).contains(&row.count)));
        let logged: f64 = of_bed.iter().map(|row| row.rain_mm).sum();
        assert!((logged - fallen).abs() < 1.0, "{}: {logged}", bed.probe);
        // The old rule chatters: far more than the starts a band would need.
        let starts = of_bed
            .windows(2)
            .filter(|pair| !pair[0].pump_on && pair[1].pump_on)
            .count();
        assert!((60..1000).contains(&starts), "{}: {starts}", bed.probe);
    }
}

/// Two days after a soaking, the beds' drainage has slowed by far: the truth that
/// the field capacity read off the log is held against.
#[test]
fn a_soaked_demo_bed_drains_ever_more_slowly() {
    for bed in demo::BEDS {
        let at = |hours| demo::undisturbed(&bed, 0.9 * bed.full, hours);
        let (half, first, second, third) = (at(12.0), at(24.0), at(48.0), at(72.0));
        assert!(half - first > first - second, "{}", bed.probe);
        assert!(first - second > 1.5 * (second - third), "{}", bed.probe);
        assert!((second - bed.drained).abs() < 0.02, "{}", bed.probe);
    }
}

/// The driest and wettest levels go past the wilting point and field capacity
/// of each texture class in Saxton and Rawls (2006), Table 3 (second copy:
/// ten rows matched by their values; see reference-data/soil/NOTES.md).
#[test]
fn demo_levels_reach_past_wilting_point_and_field_capacity() {
    let table = ovendry_tests::reference_data("soil/saxton_rawls_2006_table3.csv");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let limits: BTreeMap<String, (f64, f64)> = rows
        .records()
        .map(|row| {
            let row = row.unwrap();
            let percent = |column: usize| row[column].parse::<f64>().unwrap() / 100.0;
            (row[0].to_owned(), (percent(4), percent(5)))
        })
        .collect();
    for plot in demo::plots() {
        let (wilting_point, field_capacity) = limits[plot.described_as];
        assert!(plot.levels[6] < wilting_point, "{}", plot.soil);
        assert!(plot.levels[0] > field_capacity, "{}", plot.soil);
    }
}
