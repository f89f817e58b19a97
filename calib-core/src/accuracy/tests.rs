//! Tests of the room as a whole; those of one file stand there.

mod unseen;

use super::example::{sample, samples};
use super::*;
use crate::quantity::{Celsius, Quantity};
use proptest::prelude::*;

#[test]
fn every_measure_is_what_its_definition_says() {
    // Differences 0.01, -0.02, 0.03, 0.00.
    let set = [
        sample("a", 0.10, 0.11),
        sample("b", 0.20, 0.18),
        sample("c", 0.30, 0.33),
        sample("d", 0.40, 0.40),
    ];
    let m = Measures::of(&set).unwrap();
    let near = |a: f64, b: f64| (a - b).abs() < 1e-12;
    assert!(near(m.bias, 0.005));
    assert!(near(m.rmse, (0.0014_f64 / 4.0).sqrt()));
    assert!(near(
        m.unbiased_rmse.powi(2),
        m.rmse.powi(2) - m.bias.powi(2)
    ));
    assert!(near(m.mean_absolute_error, 0.015));
    assert!(near(m.nash_sutcliffe.unwrap(), 1.0 - 0.0014 / 0.05));
    let c = m.concordance.unwrap();
    assert!(near(c.precision * c.accuracy.unwrap(), c.value));
    assert!(near(c.precision.powi(2), m.r_squared.unwrap()));
    assert!(c.interval.unwrap().holds(c.value));
}

#[test]
fn what_has_no_value_is_none_or_refused_and_never_no_number() {
    let alike = [
        sample("a", 0.2, 0.1),
        sample("b", 0.2, 0.2),
        sample("c", 0.2, 0.4),
    ];
    let m = Measures::of(&alike).unwrap();
    assert_eq!(m.r_squared, None);
    assert_eq!(m.nash_sutcliffe, None);
    assert_eq!(m.concordance, None);
    assert!(m.rmse.is_finite());
    assert_eq!(
        Measures::of(&alike[..2]),
        Err(AccuracyError::TooFewPairs {
            pairs: 2,
            needed: 3
        })
    );
    let mut broken = samples(9, 0.0, 0.01, 1);
    broken[4].reading = f64::NAN;
    assert!(matches!(
        study(&broken, &StudyRequest::default()),
        Err(AccuracyError::NotFinite { core, .. }) if core == "c4"
    ));
    // A probe that shows one and the same value everywhere.
    let stuck: Vec<Sample> = samples(12, 0.0, 0.01, 1)
        .into_iter()
        .map(|s| Sample { reading: 0.2, ..s })
        .collect();
    let text = serde_json::to_string(&study(&stuck, &StudyRequest::default()).unwrap()).unwrap();
    // serde_json writes what is no number as null.
    let told: serde_json::Value = serde_json::from_str(&text).unwrap();
    for key in ["bias", "rmse", "unbiased_rmse", "mean_absolute_error"] {
        assert!(told["measures"][key].is_number(), "{key}: {text}");
    }
    assert!(told["measures"]["concordance"].is_null());
}

#[test]
fn readings_that_equal_their_cores_are_studied_without_a_panic() {
    let perfect: Vec<Sample> = samples(12, 0.0, 0.0, 1);
    let found = study(&perfect, &StudyRequest::default()).unwrap();
    assert_eq!(found.measures.rmse, 0.0);
    assert!(found.bias.is_none() && found.limits.is_none() && found.class.is_none());
    let withheld = found
        .notices
        .iter()
        .filter(|notice| matches!(notice, Notice::Withheld { .. }))
        .count();
    assert!(withheld >= 3, "{:?}", found.notices);
}

#[test]
fn the_references_share_of_a_stretched_ring_is_laid_to_bias_and_slope() {
    let set = samples(20, 0.01, 0.01, 2);
    let bias = Bias::of(&set, 0.95).unwrap();
    // One percent of the mean water content, 0.24.
    assert!((bias.shared_reference_u - 0.0024).abs() < 1e-12);
    assert!(bias.expanded.standard > bias.standard_error);
    let line = ProportionalBias::of(&set, 0.95).unwrap();
    assert!((line.shared_reference_u - 0.01 * line.slope.value).abs() < 1e-12);
}

#[test]
fn the_references_own_error_comes_off_scatter_and_is_never_more_than_there_is() {
    let set = samples(24, 0.0, 0.012, 3);
    let drawn = Bootstrap {
        replicates: 400,
        seed: 1,
        confidence: 0.95,
    }
    .of(&set)
    .unwrap();
    let found = ReferenceError::of(&set, Some(&drawn)).unwrap();
    let expected = (found.rmse.observed.powi(2) - 0.004_f64.powi(2)).sqrt();
    assert!((found.rmse.value - expected).abs() < 1e-15);
    assert!(!found.rmse.floored && found.rmse.interval.unwrap().holds(found.rmse.value));
    // About the mean of 24 cores a little less comes off.
    let square = found.unbiased_rmse.observed.powi(2) - found.unbiased_rmse.value.powi(2);
    assert!((square - 0.004_f64.powi(2) * 23.0 / 24.0).abs() < 1e-15);
    // Pairs of one core share its error: 12 cores read twice.
    let twice: Vec<Sample> = set
        .iter()
        .enumerate()
        .map(|(i, s)| Sample {
            core: format!("c{}", i / 2),
            ..s.clone()
        })
        .collect();
    let shared = ReferenceError::of(&twice, None).unwrap();
    let square = shared.unbiased_rmse.observed.powi(2) - shared.unbiased_rmse.value.powi(2);
    assert!((square - 0.004_f64.powi(2) * 11.0 / 12.0).abs() < 1e-15);

    let vague: Vec<Sample> = set
        .into_iter()
        .map(|mut s| {
            s.reference.u = 0.05;
            s
        })
        .collect();
    let found = study(&vague, &StudyRequest::default()).unwrap();
    let correction = found.reference_error.unwrap();
    assert!(correction.rmse.floored && correction.rmse.value == 0.0);
    assert!(
        found
            .notices
            .iter()
            .any(|notice| matches!(notice, Notice::ReferenceExplainsAll { .. }))
    );
}

#[test]
fn a_target_is_met_missed_or_open_and_more_cores_settle_it() {
    let request = |target| StudyRequest {
        target: Some(target),
        ..StudyRequest::default()
    };
    let verdict = |sd: f64, n: usize, target: f64| {
        let class = study(&samples(n, 0.0, sd, 5), &request(target))
            .unwrap()
            .class;
        class.unwrap().target.unwrap()
    };
    let met = verdict(0.008, 30, 0.03);
    assert_eq!((met.verdict, met.more_clusters), (Verdict::Meets, None));
    assert_eq!(verdict(0.03, 30, 0.02).verdict, Verdict::DoesNotMeet);
    // 90 % within 1.645 standard deviations: a target a little above is open.
    let open = verdict(0.0155, 20, 0.03);
    assert_eq!(open.verdict, Verdict::NotSettled);
    let more = open.more_clusters.unwrap();
    assert!(more > 3, "{more}");
    assert!(open.normal.lower < open.normal.estimate && open.normal.estimate < open.normal.upper);
    assert!(open.counted.lower < open.counted.estimate);
    // Counting needs at least 29 cores for 90 %.
    let counted = StudyRequest {
        basis: Basis::Counted,
        ..request(0.05)
    };
    let few = study(&samples(20, 0.0, 0.005, 6), &counted).unwrap();
    let few = few.class.unwrap().target.unwrap();
    assert_eq!((few.within, few.of), (20, 20));
    assert_eq!(
        (few.verdict, few.more_clusters),
        (Verdict::NotSettled, Some(9))
    );
}

#[test]
fn places_whose_readings_are_all_within_count_once_each() {
    // Eight places of five cores, all within: as sure as eight cores, not forty.
    let mut set = samples(40, 0.0, 0.004, 20);
    for (i, sample) in set.iter_mut().enumerate() {
        sample.cluster = format!("place {}", i / 5);
    }
    let request = ClassRequest {
        target: Some(0.05),
        share: 0.9,
        confidence: 0.95,
        basis: Basis::Counted,
    };
    let counted = ClassStatement::of(&set, &request)
        .unwrap()
        .target
        .unwrap()
        .counted;
    assert!((counted.lower - 0.05_f64.powf(1.0 / 8.0)).abs() < 1e-12);
    assert_eq!(counted.upper, 1.0);
}

#[test]
fn the_class_is_the_narrowest_met_and_just_met_lies_between_its_neighbours() {
    let class = ClassStatement::of(
        &samples(40, 0.0, 0.009, 7),
        &ClassRequest {
            target: None,
            share: 0.9,
            confidence: 0.95,
            basis: Basis::Normal,
        },
    )
    .unwrap();
    let met = class.class.unwrap();
    let place = LADDER.iter().position(|step| *step == met).unwrap();
    assert!(class.just_met <= met && class.just_met > LADDER[place - 1]);
    assert!(class.ladder[place - 1].verdict != Verdict::Meets);
    assert!(class.target.is_none());
}

#[test]
fn a_request_that_is_none_is_refused() {
    let set = samples(12, 0.0, 0.01, 1);
    let usual = StudyRequest::default();
    for (request, reason) in [
        (
            StudyRequest {
                target: Some(3.0),
                ..usual.clone()
            },
            "target",
        ),
        (
            StudyRequest {
                share: 1.0,
                ..usual.clone()
            },
            "level",
        ),
        (
            StudyRequest {
                confidence: f64::NAN,
                ..usual.clone()
            },
            "level",
        ),
        (
            StudyRequest {
                moisture_cuts: vec![0.3, 0.1],
                ..usual.clone()
            },
            "cuts",
        ),
    ] {
        let error = study(&set, &request).unwrap_err();
        let told = serde_json::to_value(&error).unwrap();
        assert_eq!(told["reason"], reason, "{error}");
        assert!(!error.mend().is_empty());
    }
}

#[test]
fn strata_hold_every_sample_once_and_say_where_there_are_too_few() {
    let mut set = samples(30, 0.0, 0.01, 8);
    for (i, sample) in set.iter_mut().enumerate() {
        sample.soil = if i < 2 { "peat" } else { "loam" }.to_owned();
        sample.temperature = (i != 0).then(|| Celsius::new(5.0 + i as f64).unwrap());
    }
    let found = study(&set, &StudyRequest::default()).unwrap();
    let of = |division| -> Vec<&Stratum> {
        found
            .strata
            .iter()
            .filter(|stratum| stratum.division == division)
            .collect()
    };
    let moisture = of(Division::Moisture);
    assert_eq!(moisture.len(), 3);
    assert!(moisture.iter().all(|stratum| stratum.pairs == 10));
    assert!(moisture.windows(2).all(|two| two[0].high == two[1].low));
    assert_eq!(
        of(Division::Temperature)
            .iter()
            .map(|s| s.pairs)
            .sum::<usize>(),
        29
    );
    // One probe is no division.
    assert!(of(Division::Probe).is_empty());
    let peat = of(Division::Soil)[1];
    assert_eq!((peat.name.as_deref(), peat.pairs), (Some("peat"), 2));
    assert!(peat.measures.is_none() && !peat.missing.is_empty());
    // Cuts given are the ones used.
    let cut = StudyRequest {
        moisture_cuts: vec![0.15],
        ..StudyRequest::default()
    };
    let strata = study(&set, &cut).unwrap().strata;
    assert_eq!(strata[0].high, Some(0.15));
    assert_eq!(strata[0].pairs + strata[1].pairs, 30);
}

#[test]
fn few_places_have_no_bootstrap_and_the_reason_is_told() {
    let found = study(&samples(6, 0.0, 0.01, 9), &StudyRequest::default()).unwrap();
    assert!(found.bootstrap.is_none());
    assert!(found.notices.iter().any(|notice| matches!(
        notice,
        Notice::Withheld {
            why: AccuracyError::TooFewClusters { needed: 8, .. },
            ..
        }
    )));
    let text = found.notices[0].to_string();
    assert!(text.is_ascii() && text.contains("at least 8"), "{text}");
}

#[test]
fn the_same_seed_draws_the_same_intervals_on_any_number_of_threads() {
    let set = samples(15, 0.005, 0.01, 10);
    let drawing = Bootstrap {
        replicates: 400,
        seed: 3,
        confidence: 0.95,
    };
    let once = drawing.of(&set).unwrap();
    let alone = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .unwrap()
        .install(|| drawing.of(&set).unwrap());
    assert_eq!(once, alone);
    assert_eq!(once.measures.len(), 7);
    for one in &once.measures {
        assert!(one.interval.holds(one.value), "{one:?}");
    }
    assert_ne!(once, Bootstrap { seed: 4, ..drawing }.of(&set).unwrap());
}

#[test]
fn places_with_several_cores_widen_the_interval_of_the_bias() {
    // Ten places, three cores each that share their difference.
    let mut set = samples(30, 0.0, 0.001, 11);
    for (i, sample) in set.iter_mut().enumerate() {
        sample.reading += 0.004 * ((i / 3) as f64 - 4.5);
    }
    let alone = Bias::of(&set, 0.95).unwrap();
    for (i, sample) in set.iter_mut().enumerate() {
        sample.cluster = format!("place {}", i / 3);
    }
    let placed = Bias::of(&set, 0.95).unwrap();
    assert!((placed.value - alone.value).abs() < 1e-12);
    assert!(placed.standard_error > 1.5 * alone.standard_error);
    assert!((placed.degrees_of_freedom - 9.0).abs() < 1e-9);
}

#[test]
fn a_study_reads_back_from_what_it_was_written_to() {
    let found = study(&samples(20, 0.0, 0.01, 19), &StudyRequest::default()).unwrap();
    let text = serde_json::to_string(&found).unwrap();
    let back: AccuracyStudy = serde_json::from_str(&text).unwrap();
    assert_eq!(back, found);
}

/// Few values, so that many are equal: what is constant, tied or alone comes often.
fn awkward() -> impl Strategy<Value = Vec<Sample>> {
    let reference = prop::sample::select(vec![0.0, 0.1, 0.1, 0.25, 0.3, 0.45]);
    let reading = prop::sample::select(vec![-0.1, 0.0, 0.1, 0.1, 0.25, 0.3, 0.9]);
    let u = prop::sample::select(vec![0.0, 0.003, 0.2]);
    let one = (reference, reading, u, 0..12_usize, 0..3_usize);
    prop::collection::vec(one, 0..30).prop_map(|rows| {
        rows.into_iter()
            .enumerate()
            .map(|(i, (reference, reading, u, place, probe))| {
                let mut one = sample(&format!("c{i}"), reference, reading);
                one.reference.u = u;
                one.cluster = format!("place {place}");
                one.probe = format!("p{probe}");
                one
            })
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// serde_json writes what is no finite number as null, which no number reads from.
    #[test]
    fn whatever_the_samples_a_study_is_refused_or_holds_finite_numbers(set in awkward()) {
        let request = StudyRequest {
            target: Some(0.1),
            replicates: 400,
            ..StudyRequest::default()
        };
        if let Ok(found) = study(&set, &request) {
            let text = serde_json::to_string(&found).unwrap();
            let back: Option<AccuracyStudy> = serde_json::from_str(&text).ok();
            prop_assert_eq!(back.as_ref(), Some(&found), "{}", text);
            for stratum in &found.strata {
                prop_assert!(stratum.measures.is_some() || !stratum.missing.is_empty());
            }
            for part in &found.notices {
                prop_assert!(part.to_string().is_ascii());
            }
        } else {
            prop_assert!(set.len() < 3);
        }
    }
}
