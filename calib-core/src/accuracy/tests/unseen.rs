//! Tests of what keeps fitted and tested cores apart.

use super::super::example::{pair, pairs};
use super::super::*;
use rand::{RngExt, SeedableRng};

#[test]
fn a_core_fitted_and_tested_on_is_found_by_name_and_by_values() {
    let fitted = pairs(1, 1, 12);
    let copy = |from: &crate::pair::Pair, name: &str| {
        let mut copy = from.clone();
        copy.observation.sample = name.to_owned();
        copy
    };
    let full = pair("full", "p", "s", 512.33, 0.251_294_123);
    let mut fitted = fitted;
    fitted.push(full);
    let tested = vec![
        copy(&fitted[3], "S0P0C3 "),
        copy(&fitted[5], "renamed"),
        // The same core, written with fewer digits.
        pair("rounded", "p", "s", 512.0, 0.2513),
        // Another core of a name that was fitted too.
        pair("s0p0c1", "p", "s", 700.0, 0.4),
        // Near, but another.
        pair("other", "p", "s", 512.0, 0.2515),
        pair("far", "p", "s", 300.0, 0.1),
    ];
    let found = find_shared(&fitted, &tested);
    let told: Vec<(&str, &str, Recognised)> = found
        .shared
        .iter()
        .map(|core| (core.tested.as_str(), core.fitted.as_str(), core.recognised))
        .collect();
    assert_eq!(
        told,
        [
            ("S0P0C3 ", "s0p0c3", Recognised::ByNameAndValues),
            ("renamed", "s0p0c5", Recognised::ByValues),
            ("rounded", "full", Recognised::ByValues),
            ("s0p0c1", "s0p0c1", Recognised::ByName),
        ]
    );
    assert!(found.values_are_copies());
    let Err(AccuracyError::Leaked { cores }) = found.refuse() else {
        panic!("not refused");
    };
    assert_eq!(cores.len(), 4);
    assert!(cores[1].contains("renamed") && cores[1].contains("s0p0c5"));
    assert_eq!(find_shared(&fitted, &tested[4..]).refuse(), Ok(()));
}

#[test]
fn equal_values_that_chance_explains_are_not_refused() {
    // Two thousand cores each, written with three decimals and whole counts: some are
    // alike by chance.
    let set = |name: &str, seed: u64| -> Vec<crate::pair::Pair> {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        (0..2_000)
            .map(|i| {
                let theta: f64 = rng.random_range(0.05..0.45);
                let noise: f64 = rng.random_range(-20.0..20.0);
                let count = (800.0 - 1_000.0 * theta + noise).round();
                let written = (theta * 1e3).round() / 1e3;
                pair(&format!("{name}{i}"), "p", "s", count, written)
            })
            .collect()
    };
    let found = find_shared(&set("a", 0), &set("b", 3));
    assert!(found.by_values() > 0, "the sets share nothing");
    assert!(
        !found.values_are_copies(),
        "{} {}",
        found.by_values(),
        found.by_chance
    );
    assert_eq!(found.refuse(), Ok(()));
    // As many again that are copies are more than chance.
    let (fitted, mut tested) = (set("a", 0), set("b", 3));
    for (i, pair) in fitted.iter().take(400).enumerate() {
        tested[i] = pair.clone();
        tested[i].observation.sample = format!("renamed {i}");
    }
    assert!(find_shared(&fitted, &tested).values_are_copies());
}

/// Forty cores written with `decimals` of theta_v and `of_count` of the count.
fn written(name: &str, seed: u64, decimals: i32, of_count: i32) -> Vec<crate::pair::Pair> {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let round = |value: f64, to: i32| (value * 10_f64.powi(to)).round() / 10_f64.powi(to);
    (0..40)
        .map(|i| {
            let theta: f64 = rng.random_range(0.1..0.4);
            let noise: f64 = rng.random_range(-20.0..20.0);
            let count = round(800.0 - 1_000.0 * theta + noise, of_count);
            pair(
                &format!("{name}{i}"),
                "p",
                "s",
                count,
                round(theta, decimals),
            )
        })
        .collect()
}

#[test]
fn one_renamed_core_of_many_digits_is_a_copy_and_one_of_few_is_doubtful() {
    for (decimals, of_count, copy) in [(9, 1, true), (6, 2, true), (3, 0, false), (4, 0, false)] {
        let fitted = written("a", 1, decimals, of_count);
        let mut tested = written("b", 2, decimals, of_count);
        assert_eq!(find_shared(&fitted, &tested).refuse(), Ok(()));
        tested[7] = fitted[11].clone();
        tested[7].observation.sample = "renamed".into();
        let found = find_shared(&fitted, &tested);
        let one = found.shared.iter().find(|one| one.tested == "renamed");
        let one = one.expect("recognised");
        assert_eq!(
            (one.fitted.as_str(), one.is_copy),
            ("a11", copy),
            "{decimals}"
        );
        assert_eq!(found.refuse().is_err(), copy, "{decimals}");
        assert_eq!(found.doubtful().any(|one| one.tested == "renamed"), !copy);
    }
}

#[test]
fn a_time_that_few_cores_share_tells_a_copy_and_one_that_all_share_does_not() {
    use crate::quantity::Timestamp;
    for (apart, copy) in [(600, true), (0, false)] {
        let mut fitted = written("a", 1, 4, 1);
        for (i, pair) in fitted.iter_mut().enumerate() {
            pair.taken_at = Some(Timestamp(1_800_000_000 + apart * i as i64));
        }
        let mut tested = written("b", 2, 4, 1);
        tested[7] = fitted[11].clone();
        tested[7].observation.sample = "renamed".into();
        let found = find_shared(&fitted, &tested);
        assert_eq!(found.by_values(), 1);
        assert_eq!(
            found.values_are_copies(),
            copy,
            "{apart} {}",
            found.by_chance
        );
    }
}

#[test]
fn leaving_out_a_probe_foretells_it_by_the_others_of_its_soil() {
    let all = pairs(4, 2, 13);
    let request = CrossValidationRequest::leaving_out(LeaveOut::Probe);
    let found = cross_validate(&all, &request).unwrap();
    assert_eq!(found.folds.len(), 8);
    assert_eq!(found.folds[0].left_out, "p0 in soil 0");
    assert!(found.folds.iter().all(|fold| fold.fitted == 42));
    let foretold: usize = found.folds.iter().map(|fold| fold.foretold).sum();
    assert_eq!(found.samples.len(), foretold);
    assert_eq!(foretold + found.unforetold.len(), all.len());
    // Probes read more from one to the next: with falling counts the first, which reads
    // least, is foretold too wet and the last too dry.
    let bias = |fold: usize| found.folds[fold].bias.unwrap();
    assert!(bias(0) > bias(3), "{} {}", bias(0), bias(3));
    let study = study(&found.samples, &StudyRequest::default()).unwrap();
    assert_eq!((study.probes.len(), study.soils.len()), (4, 2));
}

#[test]
fn counts_beyond_those_fitted_are_counted_apart() {
    let mut all = pairs(3, 1, 14);
    let mut beyond = pair("beyond", "p1", "soil 0", 400.0, 0.45);
    beyond.observation.level = "level 9".into();
    all.push(beyond);
    let found =
        cross_validate(&all, &CrossValidationRequest::leaving_out(LeaveOut::Probe)).unwrap();
    let one = found
        .unforetold
        .iter()
        .find(|reading| reading.core == "beyond")
        .unwrap();
    assert!(one.extrapolated && one.why.contains("outside"), "{one:?}");
}

#[test]
fn leaving_out_places_keeps_cores_of_one_place_together() {
    let mut all = pairs(1, 1, 15);
    for pair in &mut all {
        pair.place = Some(format!("bed {}", pair.observation.level));
    }
    let request = CrossValidationRequest::leaving_out(LeaveOut::Core { groups: 3 });
    let found = cross_validate(&all, &request).unwrap();
    assert_eq!(found.folds.len(), 3);
    let sizes: Vec<usize> = found.folds.iter().map(|fold| 14 - fold.fitted).collect();
    assert_eq!(sizes.iter().sum::<usize>(), 14);
    assert!(sizes.iter().all(|size| size % 2 == 0), "{sizes:?}");
    let again = cross_validate(&all, &request).unwrap();
    assert_eq!(found, again);
}

#[test]
fn a_part_whose_fit_fails_is_told_and_its_readings_are_counted() {
    // Leaving soil 0 out leaves two cores of soil 1.
    let mut all = pairs(1, 1, 16);
    all.push(pair("x", "p0", "soil 1", 500.0, 0.3));
    all.push(pair("y", "p0", "soil 1", 600.0, 0.2));
    let found = cross_validate(&all, &CrossValidationRequest::leaving_out(LeaveOut::Soil)).unwrap();
    assert_eq!(found.folds.len(), 2);
    assert!(found.folds[0].failure.is_some() && found.folds[0].curve.is_none());
    assert_eq!(found.in_failed_folds, 14);
    assert!(found.folds[1].failure.is_none());
}

#[test]
fn with_nothing_to_leave_out_nothing_is_foretold() {
    for leave_out in [LeaveOut::Probe, LeaveOut::Soil] {
        let error = cross_validate(
            &pairs(1, 1, 17),
            &CrossValidationRequest::leaving_out(leave_out),
        )
        .unwrap_err();
        assert!(
            matches!(error, AccuracyError::TooFewGroups { .. }),
            "{error}"
        );
    }
    let empty = CrossValidationRequest::leaving_out(LeaveOut::Core { groups: 0 });
    assert!(cross_validate(&[], &empty).is_err());
}

#[test]
fn cores_that_the_fit_saw_beside_another_probe_are_counted() {
    // Two probes read the same cores.
    let mut all = pairs(1, 1, 18);
    let again: Vec<crate::pair::Pair> = all
        .iter()
        .map(|pair| {
            let mut other = pair.clone();
            other.probe = "p9".into();
            other.observation.count.value += 3.0;
            other
        })
        .collect();
    all.extend(again);
    let found =
        cross_validate(&all, &CrossValidationRequest::leaving_out(LeaveOut::Probe)).unwrap();
    assert!(found.folds.iter().all(|fold| fold.cores_seen == 14));
}
