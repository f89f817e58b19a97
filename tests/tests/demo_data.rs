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

/// What a probe of the orchard's kind reads beyond the response of its kind, by its
/// offset and gain about the pivot: least squares over the cores, each weighed by how
/// little its count answers to water.
fn offset_and_gain(rows: &[demo::PairRow], probe: &str) -> (f64, f64) {
    let plots = demo::plots();
    let plot = plots.iter().find(|plot| plot.probe == "orchard-1").unwrap();
    let pivot = demo::MEDIA_AND_PIVOT[2];
    let mut sums = [0.0; 5];
    for row in rows.iter().filter(|row| row.probe == probe) {
        let alike = plot.response.count(row.theta_v);
        let warmth = plot.counts_per_c * (row.soil_temp_c - 20.0);
        let slope = (plot.response.count(row.theta_v + 0.001) - alike) / 0.001;
        let (x, y, weight) = (alike - pivot, row.count - warmth - alike, slope.powi(-2));
        let terms = [1.0, x, y, x * x, x * y];
        for (sum, term) in sums.iter_mut().zip(terms) {
            *sum += weight * term;
        }
    }
    let [one, x, y, xx, xy] = sums;
    let gain = (one * xy - x * y) / (one * xx - x * x);
    ((y - gain * x) / one, gain)
}

#[test]
fn the_forty_demo_probes_differ_as_their_scenario_says() {
    let rows = demo::forty_probes(&demo::plots());
    let names: std::collections::BTreeSet<&str> =
        rows.iter().map(|row| row.probe.as_str()).collect();
    assert_eq!(names.len(), 2 * demo::PROBES);
    let (outlying, _, _) = demo::OUTLYING;
    let found: Vec<(&str, f64, f64)> = names
        .into_iter()
        .map(|name| (name, offset_and_gain(&rows, name)))
        .map(|(name, (offset, gain))| (name, offset, gain))
        .collect();
    let (farthest, _, _) = found
        .iter()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .unwrap();
    assert_eq!(*farthest, outlying);
    for (batch, letter) in demo::BATCHES.into_iter().zip(['A', 'B']) {
        let of_batch = found
            .iter()
            .filter(|(name, ..)| *name != outlying && name.starts_with(&format!("silt-{letter}")));
        let (offsets, gains): (Vec<f64>, Vec<f64>) =
            of_batch.map(|(_, offset, gain)| (*offset, *gain)).unzip();
        let spread = |values: &[f64]| {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            let squares = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
            (mean, (squares / (n - 1.0)).sqrt())
        };
        let (mean, sd) = spread(&offsets);
        let expected = if letter == 'B' {
            demo::BATCH_SHIFT
        } else {
            0.0
        };
        // Twenty draws: a mean within three of its standard deviations, a standard
        // deviation by a third or so.
        let most = 3.0 * demo::OFFSET_SD / (demo::PROBES as f64).sqrt();
        assert!((mean - expected).abs() < most, "{batch}: {mean}");
        assert!(
            (0.6..1.5).contains(&(sd / demo::OFFSET_SD)),
            "{batch}: {sd}"
        );
        let (_, sd) = spread(&gains);
        assert!((0.6..1.5).contains(&(sd / demo::GAIN_SD)), "{batch}: {sd}");
    }
}

#[test]
fn later_demo_pairs_follow_the_truth_of_the_calibrations_but_for_the_drift() {
    let plots = demo::plots();
    let begins: jiff::Timestamp = demo::DRIFTING.1.parse().unwrap();
    let mut late = Vec::new();
    for row in demo::later_cores(&plots)
        .iter()
        .chain(&demo::spot_checks(&plots))
    {
        let plot = plots.iter().find(|plot| plot.probe == row.probe).unwrap();
        // The count a probe would give if it had the core's water around it.
        let expected =
            plot.response.count(row.theta_v) + plot.counts_per_c * (row.soil_temp_c - 20.0);
        let off = row.count - expected;
        let nearby =
            (plot.response.count(row.theta_v + 0.001) - plot.response.count(row.theta_v)) / 0.001;
        let apart = plot.scatter.hypot(demo::PLACE_SD) * nearby.abs() + 3.0;
        if row.probe == demo::DRIFTING.0 && row.taken_at > begins {
            late.push(off);
        } else {
            assert!(off.abs() < 3.5 * apart, "{}: {off} of {apart}", row.sample);
        }
    }
    assert!(late.len() >= 5);
    let mean = late.iter().sum::<f64>() / late.len() as f64;
    assert!((10.0..40.0).contains(&mean), "{mean}");
}
