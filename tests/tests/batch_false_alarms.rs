//! Where probes do not differ, how often does a test say that they do?
//!
//! Ten thousand seeded batches for each test, with errors as real data have them: on
//! the counts, on the weighing, between the soil in the ring and the soil a probe
//! feels, cores of each probe's own or shared by all. A test at 5 % must say so in 4 to
//! 6 of a hundred; by chance alone ten thousand batches vary by 0.2 in a hundred.

use calib_core::batch::{
    LEVEL, OneCurve, Sharing, members, normalised, one_curve, pool, soils_one_curve,
};
use calib_core::curve::CurveKind;
use calib_core::pair::{Pair, TwoPoints};
use ovendry_tests::batch::{Batch, quadratic};
use rayon::prelude::*;
use std::collections::BTreeMap;

const BATCHES: u64 = 10_000;

/// Counts of what happened, by name.
type Counts = BTreeMap<String, u64>;

/// Runs all batches and adds up what `alarms` names for each.
fn count(alarms: impl Fn(u64) -> Vec<String> + Sync + Send) -> Counts {
    (0..BATCHES)
        .into_par_iter()
        .map(alarms)
        .fold(Counts::new, |mut sum, names| {
            for name in names {
                *sum.entry(name).or_insert(0) += 1;
            }
            sum
        })
        .reduce(Counts::new, |mut a, b| {
            for (name, n) in b {
                *a.entry(name).or_insert(0) += n;
            }
            a
        })
}

/// Whether each of the tests named raised alarms in 4 to 6 of a hundred batches.
fn assert_at_level(counts: &Counts, names: &[&str]) {
    for name in names {
        let n = counts.get(*name).copied().unwrap_or(0);
        let share = n as f64 / BATCHES as f64;
        println!("{name}: {:.2} %", 100.0 * share);
        assert!((0.04..=0.06).contains(&share), "{name}: {share} {counts:?}");
    }
}

fn name(enough: Sharing, against: Sharing) -> String {
    format!("{enough:?} against {against:?}")
}

/// The tests of a batch that raise an alarm, and "too little" where one curve is
/// said not to be enough.
fn raised(study: &OneCurve) -> Vec<String> {
    let tests = study.tests.iter().filter(|test| test.p_value < LEVEL);
    let mut raised: Vec<String> = tests.map(|t| name(t.enough, t.against)).collect();
    if study.enough != Sharing::OneCurve {
        raised.push("too little".to_owned());
    }
    raised
}

fn study(pairs: &[Pair], kind: CurveKind) -> OneCurve {
    let members = members(pairs, &BTreeMap::new(), "bed").expect("members");
    one_curve(&pool(&members, Some(kind)).expect("a pool")).expect("a study")
}

const OFFSET: &str = "OneCurve against OwnOffset";
const OWN: &str = "OneCurve against OwnCurve";
const GAIN: &str = "OwnOffset against OwnOffsetAndGain";
const OFFSET_OWN: &str = "OwnOffset against OwnCurve";
const GAIN_OWN: &str = "OwnOffsetAndGain against OwnCurve";

fn bending(shared: bool) -> Batch {
    Batch {
        theta_v: quadratic,
        ..Batch::alike(6, 8, shared)
    }
}

#[test]
fn probes_alike_with_cores_of_their_own_are_told_apart_five_times_in_a_hundred() {
    let counts = count(|seed| raised(&study(&bending(false).pairs(seed), CurveKind::Quadratic)));
    assert_at_level(&counts, &[OFFSET, OWN, GAIN, OFFSET_OWN, GAIN_OWN]);
    assert!(counts["too little"] <= BATCHES * 55 / 1000, "{counts:?}");
}

#[test]
fn probes_alike_beside_shared_cores_are_told_apart_five_times_in_a_hundred() {
    let counts = count(|seed| raised(&study(&bending(true).pairs(seed), CurveKind::Quadratic)));
    assert_at_level(&counts, &[OFFSET, OWN, GAIN, OFFSET_OWN, GAIN_OWN]);
    assert!(counts["too little"] <= BATCHES * 55 / 1000, "{counts:?}");
}

/// Probes that differ by offsets much larger than the scatter, and by nothing else.
fn shifted(shared: bool) -> Batch {
    Batch {
        offset: 0.02,
        ..Batch::alike(5, 7, shared)
    }
}

#[test]
fn probes_that_only_differ_by_offsets_are_said_to_differ_in_gain_five_times_in_a_hundred() {
    for shared in [false, true] {
        let counts = count(|seed| {
            raised(&study(
                &shifted(shared).pairs(seed),
                CurveKind::StraightLine,
            ))
        });
        assert_at_level(&counts, &[GAIN]);
        assert!(counts[OFFSET] > BATCHES * 9 / 10, "{counts:?}");
    }
}

#[test]
fn probes_that_two_media_bring_together_are_told_apart_five_times_in_a_hundred() {
    let counts = count(|seed| {
        let mut pairs = Batch::alike(5, 7, seed % 2 == 0).pairs(seed);
        let mut media = BTreeMap::new();
        for i in 0..5_u64 {
            let probe = format!("p{i}");
            // Each probe on a scale of its own, which its media show.
            let (shift, stretch) = (20.0 * i as f64, 1.0 + 0.03 * i as f64);
            let scaled = |count: f64| shift + stretch * count;
            let two = TwoPoints {
                low: scaled(650.0),
                high: scaled(250.0),
            };
            media.insert(probe.clone(), two);
            for pair in pairs.iter_mut().filter(|pair| pair.probe == probe) {
                pair.observation.count.value = scaled(pair.observation.count.value);
                pair.observation.count.u *= stretch;
            }
        }
        let members = members(&pairs, &media, "bed").expect("members");
        let kind = Some(CurveKind::StraightLine);
        let apart = one_curve(&pool(&members, kind).expect("a pool")).expect("a study");
        assert!(apart.enough != Sharing::OneCurve);
        let pool = normalised(&members, kind).expect("a normalised pool");
        raised(&one_curve(&pool).expect("a study"))
    });
    assert_at_level(&counts, &[OFFSET, OWN, GAIN]);
}

#[test]
fn soils_alike_are_told_apart_five_times_in_a_hundred() {
    for shared in [false, true] {
        let counts = count(|seed| {
            let batch = Batch {
                offset: 0.01,
                ..Batch::alike(4, 8, shared)
            };
            // Probes keep their offsets from soil to soil; so every second level of
            // one batch becomes the other soil.
            let mut pairs = batch.pairs(seed);
            for (i, pair) in pairs.iter_mut().enumerate() {
                pair.soil = ["clay", "sand"][i % 2].to_owned();
            }
            let study = soils_one_curve(&pairs, Some(CurveKind::StraightLine)).expect("a study");
            let tests = study.tests.iter().filter(|test| test.p_value < LEVEL);
            let mut raised: Vec<String> = tests.map(|t| name(t.enough, t.against)).collect();
            if !study.one_curve {
                raised.push("too little".to_owned());
            }
            raised
        });
        assert_at_level(&counts, &[OFFSET, OWN]);
        assert!(counts["too little"] <= BATCHES * 55 / 1000, "{counts:?}");
    }
}
