//! The spread of probes: how often its intervals hold the truth.
//!
//! Simulated batches of ten probes, with errors on the counts and on theta_v, whose
//! spread is known, on the scale of the shared curve: where probes differ, the curve
//! that foretells cores best is a little flatter than each probe's own. Intervals of 95 % must hold it in 91 to 98 of a hundred; by chance
//! alone six hundred batches vary by 1 in a hundred.

use calib_core::batch::{Boundary, Component, members, mixed, pool};
use calib_core::curve::CurveKind;
use ovendry_tests::batch::Batch;
use rayon::prelude::*;
use std::collections::BTreeMap;

const BATCHES: u64 = 600;

fn spread(shared: bool) -> Batch {
    Batch {
        offset: 0.012,
        gain: 0.15,
        correlation: 0.4,
        ..Batch::alike(10, 9, shared)
    }
}

fn holds(component: Component, truth: f64) -> bool {
    component.low.is_some_and(|low| low <= truth)
        && component.high.is_some_and(|high| truth <= high)
}

/// Which intervals of a batch hold the truth, by name.
fn held(batch: &Batch, seed: u64) -> Vec<(&'static str, bool)> {
    let members = members(&batch.pairs(seed), &BTreeMap::new(), "bed").expect("members");
    let pool = pool(&members, Some(CurveKind::StraightLine)).expect("a pool");
    let found = mixed(&pool).expect("a spread");
    // 0.0009 m3/m3 a count.
    let flatter = pool.choice.fit.curve.slope(500.0) / -0.0009;
    let (reading, ring) = (0.0009 * batch.noise, batch.core.hypot(batch.weighing));
    let (mut pair, mut offset, mut gain) = (reading.hypot(batch.place), batch.offset, batch.gain);
    if batch.shared {
        // Stated for given water: what the probe says of it is flatter.
        pair *= flatter;
        offset *= flatter;
    } else {
        // Stated for what the probe says: more water for each step of that.
        gain /= flatter;
    }
    let residual = if batch.shared { pair } else { pair.hypot(ring) };
    let mut held = vec![
        ("offsets", holds(found.offset_sd, offset)),
        ("gains", found.gain_sd.is_some_and(|sd| holds(sd, gain))),
        ("the rest", holds(found.residual_sd, residual)),
    ];
    held.extend(
        found
            .correlation
            .map(|c| ("correlation", holds(c, batch.correlation))),
    );
    held.extend(found.core_sd.map(|sd| ("cores", holds(sd, ring))));
    if let Some((low, high)) = found.between_interval(0.32) {
        let z = 0.32 - 0.25;
        let variance =
            offset.powi(2) + 2.0 * z * batch.correlation * offset * gain + (z * gain).powi(2);
        held.push(("spread at 0.32", (low..=high).contains(&variance.sqrt())));
    }
    held
}

#[test]
fn intervals_of_the_spread_hold_the_truth_as_often_as_they_say() {
    for shared in [false, true] {
        let batch = spread(shared);
        let all: Vec<(&str, bool)> = (0..BATCHES)
            .into_par_iter()
            .flat_map_iter(|seed| held(&batch, 40_000 + seed))
            .collect();
        let mut counts: BTreeMap<&str, (u64, u64)> = BTreeMap::new();
        for (name, held) in all {
            let entry = counts.entry(name).or_default();
            entry.0 += u64::from(held);
            entry.1 += 1;
        }
        for (name, (held, of)) in &counts {
            let share = *held as f64 / *of as f64;
            println!("shared {shared}, {name}: {held} of {of}");
            assert!(*of > BATCHES / 2, "{name}: only {of}");
            assert!((0.91..=0.98).contains(&share), "{name}: {share}");
        }
        assert_eq!(counts.len(), if shared { 6 } else { 5 });
    }
}

#[test]
fn a_spread_is_found_where_there_is_none_and_is_mostly_at_an_edge() {
    let found: Vec<(bool, bool)> = (0..BATCHES)
        .into_par_iter()
        .map(|seed| {
            let batch = Batch::alike(5 + seed as usize % 9, 7, seed % 2 == 0);
            let members =
                members(&batch.pairs(60_000 + seed), &BTreeMap::new(), "bed").expect("members");
            let pool = pool(&members, Some(CurveKind::StraightLine)).expect("a pool");
            let found = mixed(&pool).unwrap_or_else(|error| panic!("{seed}: {error}"));
            let none = found.boundaries.contains(&Boundary::NoOffsets);
            assert_eq!(none, found.offset_sd.value == 0.0, "{seed}");
            assert!(holds(found.offset_sd, 0.0) || found.offset_sd.value > 0.0);
            (none, !found.boundaries.is_empty())
        })
        .collect();
    let share = |chosen: fn(&(bool, bool)) -> bool| {
        found.iter().filter(|f| chosen(f)).count() as f64 / found.len() as f64
    };
    let (none, at_edge) = (share(|f| f.0), share(|f| f.1));
    println!("no offsets {none:.2}, at an edge {at_edge:.2}");
    // Did offset and gain scatter alike and apart, chance would leave neither in
    // 1/2 - 1/sqrt(8) of them, and both to themselves in as many (the two cones of
    // covariances and of their opposites, as a share of all directions).
    assert!((0.08..=0.3).contains(&none), "{none}");
    assert!((0.7..=0.95).contains(&at_edge), "{at_edge}");
}
