//! Pairing, on workbenches built in code.

use super::*;
use crate::table::names::{DIAMETER, DRY, DRY_AGAIN, WET};
use crate::workbench::{Balance, LoggedReading, Site, Soil};
use calib_core::gravimetry::{CoreMasses, CoreVolume};
use calib_core::quantity::{Celsius, Centimetre, Estimate, Gram, Quantity};
use calib_core::readings::Reading;

/// Seconds between the taking of one core and the next.
const APART: i64 = 10_000;
const NOON: i64 = 1_700_000_000;

fn gram(mass: f64) -> Gram {
    Gram::new(mass).unwrap()
}

fn soil(id: &str) -> Soil {
    Soil {
        id: id.to_owned(),
        texture: None,
        organic_matter_percent: None,
        silt_upper_um: None,
        bulk_density: None,
        gravel_percent: None,
        particle_density: None,
        field_capacity: None,
        wilting_point: None,
        line: 20,
    }
}

fn probe(id: &str, soil: &str) -> Probe {
    Probe {
        id: id.to_owned(),
        batch: None,
        adc_bits: 10,
        reference_mv: None,
        supply_relative_u: 0.0,
        probe_to_probe_counts: 0.0,
        direction: None,
        threshold_count: None,
        soil: soil.to_owned(),
        media: None,
        depth: None,
        counts_per_c: None,
        drift_counts: 0.0,
        line: 30,
    }
}

/// A core with `water` grams of water, the `n`th taken.
fn core(id: &str, level: &str, water: f64, n: i64) -> Sample {
    let side = Centimetre::new(5.0).unwrap();
    Sample {
        id: id.to_owned(),
        soil: "loam".to_owned(),
        probe: None,
        level: level.to_owned(),
        masses: CoreMasses {
            tare: gram(40.0),
            wet: gram(180.0 + water),
            dry: gram(180.0),
            dry_again: Some(gram(180.0)),
        },
        volume: CoreVolume::Ring {
            diameter: Estimate::new(side, 0.01),
            height: Estimate::new(side, 0.02),
        },
        taken_at: Some(Timestamp(NOON + APART * n)),
        place: None,
        note: String::new(),
        written: Vec::new(),
        line: 2 + n as u64,
    }
}

/// Ten readings of `probe` in the ten minutes before the `n`th core, about
/// `count`.
fn readings(probe: &str, count: u32, n: i64) -> Vec<LoggedReading> {
    (0..10)
        .map(|i| LoggedReading {
            probe: probe.to_owned(),
            reading: Reading {
                time: Timestamp(NOON + APART * n - 60 * (9 - i)),
                count: count + (i % 3) as u32,
                soil_temperature: Celsius::new(15.0).ok(),
                supply_mv: None,
            },
            sample: None,
            line: (2 + 100 * n + i) as u64,
        })
        .collect()
}

fn tagged(sample: &str, mut readings: Vec<LoggedReading>) -> Vec<LoggedReading> {
    for logged in &mut readings {
        logged.sample = Some(sample.to_owned());
    }
    readings
}

fn workbench(samples: Vec<Sample>, readings: Vec<Vec<LoggedReading>>) -> Workbench {
    Workbench {
        folder: "bench".into(),
        site: Site {
            name: "plot".to_owned(),
            file: "bench/site.toml".into(),
            balance: Balance {
                resolution_g: 0.01,
                repeatability_g: 0.01,
            },
            temperature_u: 0.5,
            window_seconds: 900,
            soils: vec![soil("loam"), soil("clay")],
            probes: vec![probe("p1", "loam")],
            controller: None,
            stages: Vec::new(),
            beds: Vec::new(),
            ring: None,
            plan: None,
            capture: crate::workbench::CaptureKeys::default(),
        },
        samples,
        readings: readings.into_iter().flatten().collect(),
        warnings: Vec::new(),
        sources: Vec::new(),
    }
}

/// Two levels, one core each, paired by time.
fn simple() -> Workbench {
    workbench(
        vec![core("A1", "dry", 10.0, 0), core("A2", "wet", 35.0, 1)],
        vec![readings("p1", 700, 0), readings("p1", 400, 1)],
    )
}

fn complaints(workbench: &Workbench) -> Vec<String> {
    match pair(workbench) {
        Err(Failure::Input(complaints)) => complaints.iter().map(ToString::to_string).collect(),
        other => panic!("expected complaints, got {other:?}"),
    }
}

#[test]
fn a_core_takes_the_readings_of_the_window_before_it() {
    let paired = pair(&simple()).unwrap();
    assert_eq!(paired.warnings, []);
    assert_eq!(paired.cores.len(), 2);
    let probe = &paired.probes[0];
    assert_eq!((probe.probe.as_str(), probe.soil.as_str()), ("p1", "loam"));
    let [dry, wet] = &probe.observations[..] else {
        panic!("{:?}", probe.observations);
    };
    assert_eq!((dry.sample.as_str(), dry.level.as_str()), ("A1", "dry"));
    assert_eq!((dry.count.value, wet.count.value), (701.0, 401.0));
    assert_eq!(dry.temperature.unwrap().value(), 15.0);
    assert_eq!(probe.last_reading, Timestamp(NOON + APART));
    assert_eq!(probe.noise.degrees_of_freedom, 18.0);

    let reduced = &paired.cores[1].reduced;
    assert_eq!(wet.theta_v.value, reduced.theta_v.value);
    assert_eq!(wet.theta_v.u, reduced.theta_u_independent);
    assert_eq!(wet.relative_volume_u, reduced.relative_volume_u);
}

#[test]
fn only_readings_up_to_the_core_and_inside_the_window_count() {
    let mut bench = simple();
    bench.site.window_seconds = 240;
    let paired = pair(&bench).unwrap();
    // at 0, 60, 120, 180 and 240 s before
    assert_eq!(paired.probes[0].windows[0].used, 5);

    bench.samples[0].taken_at = Some(Timestamp(NOON - 60));
    let paired = pair(&bench).unwrap();
    assert_eq!(paired.probes[0].windows[0].last, Timestamp(NOON - 60));
}

#[test]
fn the_order_of_the_log_does_not_matter() {
    let mut bench = simple();
    let paired = pair(&bench).unwrap();
    bench.readings.reverse();
    assert_eq!(pair(&bench).unwrap(), paired);
}

#[test]
fn readings_that_name_a_core_belong_to_it_whatever_the_time() {
    let mut bench = simple();
    bench.readings.extend(tagged("A1", readings("p1", 650, 40)));
    let paired = pair(&bench).unwrap();
    assert_eq!(paired.probes[0].observations[0].count.value, 651.0);
    assert_eq!(paired.probes[0].observations[1].count.value, 401.0);
}

#[test]
fn readings_that_name_one_core_are_not_taken_by_time_for_another() {
    let mut bench = simple();
    bench.samples.push(core("A3", "middle", 20.0, 1));
    bench.readings.extend(tagged("A3", readings("p1", 550, 1)));
    let paired = pair(&bench).unwrap();
    let counts: Vec<f64> = paired.probes[0]
        .observations
        .iter()
        .map(|point| point.count.value)
        .collect();
    assert_eq!(counts, [701.0, 401.0, 551.0]);
}

#[test]
fn a_core_pairs_with_every_probe_of_its_soil_that_has_readings() {
    let mut bench = simple();
    bench.site.probes.push(probe("p2", "loam"));
    bench.readings.extend(readings("p2", 300, 0));
    bench.readings.extend(readings("p2", 600, 1));
    let paired = pair(&bench).unwrap();
    assert_eq!(paired.probes.len(), 2);
    assert_eq!(paired.probes[1].observations[1].count.value, 601.0);
}

#[test]
fn a_core_that_names_a_probe_pairs_with_that_one_only() {
    let mut bench = simple();
    bench.site.probes.push(probe("p2", "loam"));
    for (n, count) in [(0, 300), (1, 600)] {
        bench.readings.extend(readings("p2", count, n));
        bench.samples[n as usize].probe = Some("p1".to_owned());
    }
    let paired = pair(&bench).unwrap();
    assert_eq!(paired.probes.len(), 1);
    assert_eq!(
        paired.warnings[0].what,
        "no core of soil loam pairs with it"
    );
    assert_eq!(paired.warnings[0].place, "probe p2");
}

#[test]
fn a_core_without_readings_says_how_far_off_the_last_was() {
    let mut bench = simple();
    bench.samples.push(core("A3", "wet", 30.0, 2));
    bench.samples.push(core("A4", "wet", 30.0, 3));
    bench.samples[3].taken_at = None;
    assert_eq!(
        complaints(&bench),
        [
            "bench/samples.csv:4: sample_id = \"A3\": has no readings: none of probe p1 names it, and none that names no core came in the 15 min up to taken_at; the last such came 3 h before\n  \
             mend: write the core's id into sample_id of its readings, check taken_at and its offset from UTC, or lengthen window_minutes in site.toml",
            "bench/samples.csv:5: sample_id = \"A4\": has no readings: none of probe p1 names it, and its taken_at is empty\n  \
             mend: write the core's id into sample_id of its readings, or fill taken_at to pair by time",
        ]
    );
}

#[test]
fn a_core_whose_soil_has_no_probe_is_refused() {
    let mut bench = simple();
    bench.samples[1].soil = "clay".to_owned();
    assert!(
        complaints(&bench)[1].starts_with("bench/samples.csv:3: soil = \"clay\": has no probe"),
        "{:?}",
        complaints(&bench)
    );
}

#[test]
fn readings_that_name_no_core_are_complained_about_once() {
    let mut bench = simple();
    bench.readings.extend(tagged("A9", readings("p1", 500, 5)));
    assert_eq!(
        complaints(&bench),
        [
            "bench/readings.csv:502: sample_id = \"A9\": is no core of samples.csv (10 readings of p1 say so)\n  \
             mend: correct the id, add the core to samples.csv, or leave the cell empty to pair by time"
        ]
    );
}

/// Three cores that pair by sample, the last two under ids samples.csv does not
/// have.
fn mistyped(ids: [&str; 2]) -> Workbench {
    let mut bench = workbench(
        vec![
            core("A1", "dry", 10.0, 0),
            core("A2", "middle", 20.0, 1),
            core("A3", "wet", 35.0, 2),
        ],
        vec![
            tagged("A1", readings("p1", 700, 0)),
            tagged(ids[0], readings("p1", 550, 1)),
            tagged(ids[1], readings("p1", 400, 2)),
        ],
    );
    for core in &mut bench.samples {
        core.taken_at = None;
    }
    bench
}

#[test]
fn a_mistyped_id_and_the_core_it_leaves_alone_are_one_fault() {
    let mut bench = mistyped(["A2", "A9"]);
    let one = [
        "bench/readings.csv:202: sample_id = \"A9\": is no core of samples.csv, and core A3 there (line 4) has no readings (10 readings of p1 say so)\n  \
         mend: if core A3 is meant, write the same id in both files; otherwise add the core to samples.csv, or leave the cell empty to pair by time",
    ];
    assert_eq!(complaints(&bench), one);
    bench.samples[2].taken_at = Some(Timestamp(NOON + 2 * APART));
    assert_eq!(complaints(&bench), one, "the times agree");
    bench.samples[2].taken_at = Some(Timestamp(NOON + 4 * APART));
    assert_eq!(complaints(&bench).len(), 2, "the times do not agree");
}

#[test]
fn of_several_cores_left_alone_the_one_with_the_most_similar_id_is_meant() {
    let found = complaints(&mistyped(["a-2", "a-3"]));
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found[0].contains("\"a-2\": is no core of samples.csv, and core A2 there"));
    assert!(found[1].contains("\"a-3\": is no core of samples.csv, and core A3 there"));
    let found = complaints(&mistyped(["x", "y"]));
    assert_eq!(found.len(), 4, "nobody can tell which is which: {found:?}");
}

#[test]
fn with_nothing_to_pair_by_that_is_told_once() {
    let mut bench = simple();
    for core in &mut bench.samples {
        core.taken_at = None;
    }
    assert_eq!(
        complaints(&bench),
        [
            "bench/samples.csv:2: taken_at = \"\": is empty for every core, and so is sample_id in readings.csv: nothing says which readings belong to which core\n  \
             mend: fill taken_at with the time each core was taken, or sample_id in readings.csv with the core each reading belongs to"
        ]
    );
}

#[test]
fn readings_that_name_a_core_of_another_probe_or_soil_are_refused() {
    let mut bench = simple();
    bench.site.probes.push(probe("p2", "loam"));
    bench.site.probes.push(probe("p3", "clay"));
    bench.samples[0].probe = Some("p1".to_owned());
    bench.readings.extend(tagged("A1", readings("p2", 500, 5)));
    bench.readings.extend(tagged("A2", readings("p3", 500, 6)));
    let found = complaints(&bench);
    assert!(
        found[0].starts_with(
            "bench/readings.csv:502: sample_id = \"A1\": stands beside probe p1 in samples.csv, and this is a reading of p2"
        ),
        "{found:?}"
    );
    assert!(
        found[1].starts_with(
            "bench/readings.csv:602: sample_id = \"A2\": is a core of soil loam (samples.csv:3), and this is a reading of probe p3, calibrated in soil clay"
        ),
        "{found:?}"
    );
}

#[test]
fn every_fault_of_a_core_names_its_column() {
    let with = |change: fn(&mut Sample)| {
        let mut bench = simple();
        change(&mut bench.samples[1]);
        let found = complaints(&bench);
        assert_eq!(found.len(), 1, "{found:?}");
        found[0].lines().next().unwrap().to_owned()
    };
    assert_eq!(
        with(|core| {
            core.masses.wet = gram(170.0);
            core.written = vec![(WET, "170".to_owned())];
        }),
        "bench/samples.csv:3: wet_g = \"170\": wet mass 170 g is not above the dry mass, 180 g"
    );
    assert_eq!(
        with(|core| {
            core.masses.dry = gram(39.5);
            core.written = vec![(DRY, "39,50".to_owned())];
        }),
        "bench/samples.csv:3: dry_g = \"39,50\": dry mass 39.5 g is not above the tare, 40 g"
    );
    assert!(
        with(|core| {
            core.masses.dry_again = Some(gram(179.0));
            core.written = vec![(DRY_AGAIN, "179".to_owned())];
        })
        .starts_with("bench/samples.csv:3: dry_again_g = \"179\": the core lost 1.000 g")
    );
    assert!(
        with(|core| {
            core.masses.wet = gram(240.0);
            core.written = vec![(WET, "240".to_owned())];
        })
        .starts_with("bench/samples.csv:3: wet_g = \"240\": the core holds 1.")
    );
    let wide = |core: &mut Sample| {
        core.volume = CoreVolume::Ring {
            diameter: Estimate::new(Centimetre::new(50.0).unwrap(), 0.01),
            height: Estimate::new(Centimetre::new(5.0).unwrap(), 0.02),
        };
        core.written = vec![(DRY, "180".to_owned()), (DIAMETER, "50".to_owned())];
    };
    assert!(with(wide).starts_with(
        "bench/samples.csv:3: ring_diameter_cm = \"50\": dry bulk density 0.014 g/cm3"
    ));
    let by_the_sites_ring = |core: &mut Sample| {
        core.masses.dry = gram(45.0);
        core.masses.dry_again = None;
        core.written = vec![(DRY, "45".to_owned())];
    };
    assert!(
        with(by_the_sites_ring)
            .starts_with("bench/samples.csv:3: dry_g = \"45\": dry bulk density 0.051 g/cm3")
    );
}

#[test]
fn a_fault_of_the_soil_is_looked_for_in_site_toml() {
    let mut bench = simple();
    let density = calib_core::quantity::Density::new(2.6).unwrap();
    bench.site.soils[0].particle_density = Some(Estimate::new(density, f64::NAN));
    let found = complaints(&bench);
    assert_eq!(found.len(), 1, "the same fault of every core is told once");
    assert!(found[0].starts_with("bench/site.toml:20: standard uncertainty NaN of the particle"));
}

#[test]
fn a_balance_that_cannot_be_is_looked_for_in_site_toml() {
    let mut bench = simple();
    bench.site.balance.resolution_g = -0.01;
    assert_eq!(
        complaints(&bench),
        [
            "bench/site.toml: the balance's mass -0.01 g lies outside 0 to 50000 g\n  \
             mend: correct [balance] in site.toml"
        ]
    );
}

#[test]
fn a_probe_that_always_says_the_same_is_refused() {
    let mut bench = simple();
    for logged in &mut bench.readings {
        logged.reading.count = 512;
    }
    assert_eq!(
        complaints(&bench),
        [
            "bench/readings.csv:2: raw_count = \"512\": is what all 20 readings of probe p1 say, dry or wet\n  \
             mend: check the probe's wiring and supply and the converter's channel, then log again"
        ]
    );
}

#[test]
fn one_moisture_level_fixes_no_curve() {
    let mut bench = simple();
    bench.samples[1].level = "dry".to_owned();
    assert_eq!(
        complaints(&bench),
        [
            "bench/samples.csv:2: level = \"dry\": is the level of all 2 cores of probe p1\n  \
             mend: take cores at more moisture levels, from near dry to near saturation"
        ]
    );
}

#[test]
fn a_window_at_the_rail_is_refused_where_it_starts() {
    let mut bench = simple();
    for logged in &mut bench.readings[10..] {
        logged.reading.count = 1023;
    }
    assert_eq!(
        complaints(&bench),
        [
            "bench/readings.csv:102: raw_count = \"1023\": probe p1, core A2: 10 of 10 readings say 1023, where the converter's range ends\n  \
             mend: check the probe's wiring and supply, and the converter's reference voltage and number of bits; log again, or remove these readings"
        ]
    );
}

#[test]
fn every_fault_is_told_not_the_first_only() {
    let mut bench = simple();
    bench.samples[0].masses.wet = gram(170.0);
    bench.samples.push(core("A3", "wet", 30.0, 7));
    bench.readings.extend(tagged("A9", readings("p1", 500, 5)));
    let found = complaints(&bench);
    let places: Vec<&str> = found.iter().map(|c| &c[..c.find(": ").unwrap()]).collect();
    assert_eq!(
        places,
        [
            "bench/samples.csv:2",
            "bench/samples.csv:9",
            "bench/readings.csv:502"
        ]
    );
}

#[test]
fn a_probe_stuck_across_levels_is_told() {
    let mut bench = simple();
    bench.samples.push(core("A3", "middle", 20.0, 2));
    bench.readings.extend(readings("p1", 550, 2));
    for logged in &mut bench.readings[..20] {
        logged.reading.count = 512;
    }
    let paired = pair(&bench).unwrap();
    assert_eq!(paired.warnings.len(), 1);
    assert_eq!(paired.warnings[0].place, "probe p1");
    assert_eq!(
        paired.warnings[0].what,
        "core A2: all 10 readings say 512, as they did at another moisture level"
    );
}

#[test]
fn a_quiet_converter_at_one_level_is_not_stuck() {
    let mut bench = simple();
    bench.samples.insert(1, core("A0", "dry", 11.0, 2));
    bench.readings.extend(readings("p1", 700, 2));
    for logged in &mut bench.readings {
        if logged.reading.count >= 700 {
            logged.reading.count = 700;
        }
    }
    assert_eq!(pair(&bench).unwrap().warnings, []);
}

#[test]
fn single_readings_leave_the_noise_unknown_and_say_so() {
    let mut bench = simple();
    bench.readings.retain(|logged| logged.line % 100 == 2);
    let paired = pair(&bench).unwrap();
    assert_eq!(paired.probes[0].noise, UNKNOWN_NOISE);
    let what: Vec<&str> = paired.warnings.iter().map(|w| w.what.as_str()).collect();
    assert_eq!(
        what,
        [
            "core A1: only 1 usable reading where 5 are wanted (likewise A2)",
            "every core has a single reading, so the noise of a reading is not known"
        ]
    );
}

#[test]
fn odd_cores_of_one_soil_make_one_warning() {
    let mut bench = simple();
    for core in &mut bench.samples {
        core.masses.tare = gram(165.0);
        core.masses.wet = gram(182.0);
        core.volume = CoreVolume::Ring {
            diameter: Estimate::new(Centimetre::new(2.0).unwrap(), 0.01),
            height: Estimate::new(Centimetre::new(3.0).unwrap(), 0.02),
        };
    }
    let paired = pair(&bench).unwrap();
    assert_eq!(paired.warnings.len(), 1);
    assert_eq!(
        paired.warnings[0].to_string().lines().next().unwrap(),
        "warning: soil loam: core A1: only 15.0 g of dry soil, below the 20.0 g a core should hold (likewise A2)"
    );
}

#[test]
fn the_cores_make_a_table_and_json() {
    let paired = pair(&simple()).unwrap();
    let table = crate::cores::table(&paired.cores).to_string();
    assert_eq!(
        table,
        "core  soil  level       w   bulk  theta_v    +- u  saturation   void\n\
         \x20                     g/g  g/cm3    m3/m3   m3/m3              ratio\n\
         ----  ----  -----  ------  -----  -------  ------  ----------  -----\n\
         A1    loam  dry    0.0714  1.426   0.1020  0.0006       0.221  0.858\n\
         A2    loam  wet    0.2500  1.426   0.3571  0.0021       0.773  0.858\n"
    );
    let json = serde_json::to_value(&paired.cores[0]).unwrap();
    assert_eq!(json["sample"], "A1");
    assert!(json["theta_v"]["value"].is_number());
    assert_eq!(json["budget"]["lines"][0]["source"], "balance");
}
