use super::example::{as_members, batch, normal, pair};
use super::*;
use crate::curve::CurveKind;
use crate::pair::{Pair, TwoPoints};
use proptest::prelude::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;

const LINE: Option<CurveKind> = Some(CurveKind::StraightLine);

fn on_line(pairs: &[Pair]) -> Pool {
    pool(&as_members(pairs), LINE).unwrap()
}

#[test]
fn members_come_in_the_order_of_the_pairs_with_their_media() {
    let mut pairs = vec![
        pair("b", "1", 500.0, 0.2),
        pair("a", "1", 510.0, 0.2),
        pair("b", "2", 400.0, 0.3),
    ];
    pairs[2].batch = Some("spring".to_owned());
    pairs.push(Pair {
        soil: "other".to_owned(),
        ..pair("c", "3", 1.0, 0.1)
    });
    let two = TwoPoints {
        low: 700.0,
        high: 200.0,
    };
    let media = BTreeMap::from([("a".to_owned(), two)]);
    let found = members(&pairs, &media, "bed").unwrap();
    assert_eq!(found.len(), 2);
    assert_eq!(
        (found[0].probe.as_str(), found[0].observations.len()),
        ("b", 2)
    );
    assert_eq!(found[0].batch.as_deref(), Some("spring"));
    assert_eq!((found[0].media, found[1].media), (None, Some(two)));
    assert_eq!(soils(&pairs), ["bed", "other"]);
    let error = members(&pairs, &media, "sand").unwrap_err();
    assert_eq!(
        error.to_string(),
        "no core of soil sand was read by any probe"
    );
}

#[test]
fn a_count_that_is_no_number_is_refused_by_probe_and_core() {
    let pairs = [pair("a", "1", f64::NAN, 0.2)];
    let error = members(&pairs, &BTreeMap::new(), "bed").unwrap_err();
    assert_eq!(
        error.to_string(),
        "probe a, core 1: the count is not a finite number"
    );
}

#[test]
fn a_deviation_is_what_the_curve_says_less_the_core() {
    let pool = on_line(&batch(4, 6, false, 0.01, 1));
    assert_eq!((pool.design, pool.deviations.len()), (Design::OwnCores, 24));
    for d in &pool.deviations {
        assert_eq!(d.apparent, pool.choice.fit.curve.value(d.count));
        assert_eq!(d.deviation, d.apparent - d.theta_v);
        assert!((d.z - (d.apparent - pool.centre)).abs() < 1e-15);
    }
    let mean: f64 = pool.deviations.iter().map(|d| d.z).sum();
    assert!(mean.abs() < 1e-12);
}

#[test]
fn beside_a_shared_core_all_probes_have_one_z() {
    let pool = on_line(&batch(4, 6, true, 0.01, 1));
    assert_eq!(pool.design, Design::SharedCores);
    let (a, b) = (&pool.deviations[2], &pool.deviations[8]);
    assert_eq!((a.core, b.core), (2, 2));
    assert!(a.z == b.z && a.apparent != b.apparent);
}

#[test]
fn a_noisier_count_pulls_less() {
    let mut pairs = batch(4, 8, false, 0.01, 2);
    pairs[3].observation.count.u = 20.0;
    let pool = on_line(&pairs);
    let typical = pool.deviations[4].weight;
    assert!(pool.deviations[3].weight < 0.5 * typical);
    assert!((0.8..1.3).contains(&typical), "{typical}");
    assert!((0.005..0.012).contains(&pool.scatter), "{}", pool.scatter);
}

#[test]
fn the_curve_of_many_pairs_is_drawn_through_some_with_both_ends() {
    let pairs = batch(150, 20, false, 0.01, 3);
    let pool = on_line(&pairs);
    assert_eq!(pool.chosen_from, MOST_FOR_CURVE);
    let counts = || pairs.iter().map(|p| p.observation.count.value);
    let domain = pool.choice.fit.domain;
    assert_eq!(domain.low, counts().fold(f64::INFINITY, f64::min));
    assert_eq!(domain.high, counts().fold(0.0, f64::max));
}

#[test]
fn two_media_bring_probes_of_different_scales_onto_one_curve() {
    let mut pairs = batch(4, 8, true, 0.0, 4);
    let mut media = BTreeMap::new();
    for (i, name) in ["p0", "p1", "p2", "p3"].into_iter().enumerate() {
        let scaled = |count: f64| 30.0 * i as f64 + (1.0 + 0.1 * i as f64) * count;
        let two = TwoPoints {
            low: scaled(700.0),
            high: scaled(200.0),
        };
        media.insert(name.to_owned(), two);
        for pair in pairs.iter_mut().filter(|pair| pair.probe == name) {
            pair.observation.count.value = scaled(pair.observation.count.value);
        }
    }
    let members = members(&pairs, &media, "bed").unwrap();
    let apart = one_curve(&pool(&members, LINE).unwrap()).unwrap();
    assert_eq!(apart.enough, Sharing::OwnOffsetAndGain);
    let together = normalised(&members, LINE).unwrap();
    assert!(together.normalised);
    let study = one_curve(&together).unwrap();
    assert_eq!(study.enough, Sharing::OneCurve);
    // The common scale is that of the mean of the media.
    let mean_low: f64 = media.values().map(|two| two.low).sum::<f64>() / 4.0;
    let mean_high: f64 = media.values().map(|two| two.high).sum::<f64>() / 4.0;
    let (two, was) = (media["p3"], pairs[3 * 8].observation.count.value);
    let share = (was - two.low) / (two.high - two.low);
    let expected = mean_low + share * (mean_high - mean_low);
    assert!((together.deviations[3 * 8].count - expected).abs() < 1e-9);
}

#[test]
fn media_that_are_missing_or_fix_no_scale_are_refused() {
    let mut members = as_members(&batch(3, 5, false, 0.01, 5));
    let error = normalised(&members, LINE).unwrap_err();
    assert_eq!(
        error.to_string(),
        "3 of 3 probes have no counts in the two media, the first of them p0"
    );
    for member in &mut members {
        member.media = Some(TwoPoints {
            low: 700.0,
            high: 200.0,
        });
    }
    members[1].media = Some(TwoPoints {
        low: 300.0,
        high: 300.0,
    });
    let error = normalised(&members, LINE).unwrap_err();
    assert!(
        error.to_string().starts_with("probe p1 reads 300 counts"),
        "{error}"
    );
    assert!(!error.mend().is_empty());
}

#[test]
fn one_probe_is_no_batch_and_pairs_too_few_leave_nothing_to_judge_by() {
    let members = as_members(&batch(1, 8, false, 0.01, 5));
    assert_eq!(
        pool(&members, LINE),
        Err(BatchError::TooFewProbes { probes: 1 })
    );
    // Eight probes of one pair each.
    let pairs: Vec<Pair> = (0..8)
        .map(|i| {
            let theta = 0.1 + 0.03 * f64::from(i);
            let name = i.to_string();
            pair(
                &name,
                &name,
                700.0 - 1000.0 * theta + f64::from(i % 3),
                theta,
            )
        })
        .collect();
    let pool = on_line(&pairs);
    assert!(matches!(
        one_curve(&pool),
        Err(BatchError::NoFreedom { .. })
    ));
    assert!(matches!(mixed(&pool), Err(BatchError::NoFreedom { .. })));
}

#[test]
fn deviations_without_scatter_are_not_judged() {
    let mut pairs = batch(3, 6, false, 0.0, 6);
    for pair in &mut pairs {
        let theta = pair.observation.theta_v.value;
        let theta: f64 = theta.into();
        pair.observation.count.value = 500.0 - (theta - 0.25) / 0.0009;
    }
    let pool = on_line(&pairs);
    // What is left is rounding, if anything.
    match one_curve(&pool) {
        Err(BatchError::NoScatter { .. }) => {}
        Ok(study) => assert!(study.stages[0].residual_sd < 1e-12),
        Err(other) => panic!("{other}"),
    }
}

#[test]
fn probes_far_apart_are_told_apart_and_by_how_much() {
    let pool = on_line(&batch(20, 9, true, 0.03, 7));
    let study = one_curve(&pool).unwrap();
    let test = study.test(Sharing::OneCurve, Sharing::OwnOffset).unwrap();
    assert!(test.needed && test.p_value < 1e-10);
    assert_eq!(
        (test.extra_freedom, study.probes, study.pairs),
        (19.0, 20, 180)
    );
    assert!((0.018..0.045).contains(&test.spread), "{}", test.spread);
    // n ln(RSS0 / RSS1).
    let (one, offset) = (&study.stages[0], &study.stages[1]);
    let ratio = 180.0 * (one.sum_of_squares / offset.sum_of_squares).ln();
    assert!((test.likelihood_ratio / ratio - 1.0).abs() < 1e-9);
}

#[test]
fn the_spread_of_alike_probes_is_zero_and_said_to_be_at_an_edge() {
    let mut at_edge = 0;
    for seed in 0..12 {
        let spread = mixed(&on_line(&batch(6, 8, seed % 2 == 0, 0.0, 100 + seed))).unwrap();
        let offset = spread.offset_sd;
        assert!(offset.value >= 0.0 && offset.low.is_some());
        let high = offset.high.unwrap();
        assert!(high > offset.value && high < 0.05, "{offset:?}");
        assert!(spread.residual_sd.value > 0.0 && spread.log_likelihood.is_finite());
        if spread.boundaries.contains(&Boundary::NoOffsets) {
            at_edge += 1;
            assert_eq!((offset.value, offset.low), (0.0, Some(0.0)));
            assert_eq!(spread.correlation, None);
            assert_eq!(spread.between_interval(spread.centre), None);
            assert!(spread.effects.iter().all(|e| e.offset.value == 0.0));
        }
    }
    assert!(at_edge >= 2, "{at_edge}");
}

#[test]
fn the_spread_at_the_centre_is_that_of_the_offsets_and_grows_with_the_gains() {
    let spread = mixed(&on_line(&batch(25, 9, true, 0.02, 8))).unwrap();
    let at_centre = spread.between_sd(spread.centre);
    assert!((at_centre - spread.offset_sd.value).abs() < 1e-12);
    let (low, high) = spread.between_interval(spread.centre).unwrap();
    assert!(low < at_centre && at_centre < high);
    let [[v, c], [_, w]] = spread.spread;
    let z = 0.1;
    let expected = (v + 2.0 * c * z + w * z * z).sqrt();
    assert!((spread.between_sd(spread.centre + z) - expected).abs() < 1e-15);
    assert!((spread.gain_sd.unwrap().value.powi(2) - w).abs() < 1e-12);
    let correlation = spread.correlation.unwrap().value;
    assert!((correlation - c / (v * w).sqrt()).abs() < 1e-9);
    let core = spread.core_sd.unwrap();
    assert!((0.003..0.016).contains(&core.value), "{core:?}");
    let outside = spread.mean_deviation(0.9).unwrap_err();
    assert!(matches!(outside, BatchError::OutsideCurve { .. }));
    let mean = spread.mean_deviation(spread.centre).unwrap();
    assert!(mean.value.abs() < 0.02 && mean.u > 0.0 && mean.u < 0.02);
}

#[test]
fn a_probe_read_more_often_is_known_better() {
    let mut pairs = batch(10, 12, false, 0.02, 9);
    // The last probe keeps two of its twelve.
    pairs.truncate(9 * 12 + 2);
    let spread = mixed(&on_line(&pairs)).unwrap();
    let (first, last) = (&spread.effects[0], &spread.effects[9]);
    assert_eq!((first.pairs, last.pairs), (12, 2));
    assert!(last.offset.u > 1.3 * first.offset.u);
    let at = first.at(spread.centre, spread.centre);
    assert_eq!(at, first.offset);
}

#[test]
fn soils_that_differ_are_told_apart_and_by_how_much() {
    for shared in [false, true] {
        let mut pairs = batch(4, 12, shared, 0.005, 10);
        for (i, pair) in pairs.iter_mut().enumerate() {
            pair.soil = ["clay", "sand"][i % 2].to_owned();
            if i % 2 == 0 {
                pair.observation.count.value -= 0.04 / 0.0009;
            }
        }
        let study = soils_one_curve(&pairs, LINE).unwrap();
        assert_eq!(study.soils, ["clay", "sand"]);
        assert!(!study.one_curve);
        let apart = study.offsets[0] - study.offsets[1];
        assert!((apart - 0.04).abs() < 0.012, "{shared} {apart}");
    }
}

#[test]
fn soils_with_probes_of_their_own_or_one_soil_alone_are_refused() {
    let mut pairs = batch(4, 6, false, 0.005, 10);
    assert_eq!(
        soils_one_curve(&pairs, LINE),
        Err(BatchError::TooFewSoils { soils: 1 })
    );
    for pair in &mut pairs {
        if pair.probe.as_str() > "p1" {
            pair.soil = "sand".to_owned();
        }
    }
    assert_eq!(
        soils_one_curve(&pairs, LINE),
        Err(BatchError::SoilsHaveOwnProbes)
    );
}

#[test]
fn one_probe_can_tell_two_soils_apart() {
    let mut pairs = batch(1, 14, false, 0.0, 11);
    for (i, pair) in pairs.iter_mut().enumerate() {
        pair.soil = ["clay", "sand"][i % 2].to_owned();
    }
    let study = soils_one_curve(&pairs, LINE).unwrap();
    assert_eq!(study.tests.len(), 2);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]
    #[test]
    fn whatever_the_pairs_there_is_an_answer_or_a_reason(
        rows in prop::collection::vec((0..4_u8, 0..6_u8, -2000.0..2000.0_f64, -0.1..0.8_f64), 0..40),
        seed in 0..1000_u64,
        tidy in any::<bool>(),
    ) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let pairs: Vec<Pair> = rows
            .into_iter()
            .map(|(probe, core, count, theta)| {
                let count = if tidy {
                    600.0 - 900.0 * theta + normal(&mut rng, 5.0)
                } else {
                    count
                };
                pair(&format!("p{probe}"), &format!("c{core}"), count, theta)
            })
            .collect();
        let Ok(members) = members(&pairs, &BTreeMap::new(), "bed") else {
            return Ok(());
        };
        if let Ok(pool) = pool(&members, LINE) {
            if let Ok(study) = one_curve(&pool) {
                for test in &study.tests {
                    prop_assert!((0.0..=1.0).contains(&test.p_value), "{test:?}");
                }
            }
            if let Ok(spread) = mixed(&pool) {
                prop_assert!(spread.residual_sd.value > 0.0);
                for effect in &spread.effects {
                    prop_assert!(effect.offset.value.is_finite() && effect.offset.u.is_finite());
                }
            }
        }
    }
}
