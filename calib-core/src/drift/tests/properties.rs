//! What must hold for any checks.

use super::*;
use crate::drift::sequential::End;
use proptest::prelude::*;

fn departures() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-0.05..0.05_f64, 1..9)
}

fn scored(calibration: &Calibration, pairs: &[Pair]) -> Vec<f64> {
    let checks = choose_checks(calibration, Timestamp(0), &[], pairs)
        .unwrap()
        .0;
    let departures: Vec<f64> = checks.iter().map(Check::departure).collect();
    Foreteller::new(calibration, &checks, false)
        .unwrap()
        .scores(&departures)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn departures_the_other_way_have_the_scores_the_other_way(given in departures()) {
        let calibration = line(9);
        let turned: Vec<f64> = given.iter().map(|d| -d).collect();
        let one = scored(&calibration, &pairs(&calibration, 20, &given));
        let other = scored(&calibration, &pairs(&calibration, 20, &turned));
        for (a, b) in one.iter().zip(&other) {
            prop_assert!((a + b).abs() < 1e-6, "{a} {b}");
        }
        let plan = sequential::Plan::new(12);
        let ends = [End::Dry, End::Wet, End::Middle].into_iter().cycle();
        let ends: Vec<End> = ends.take(one.len()).collect();
        let (one, other) = (plan.run(&one, &ends), plan.run(&other, &ends));
        prop_assert_eq!(one.alarm.map(|a| a.check), other.alarm.map(|a| a.check));
        if let (Some(one), Some(other)) = (one.alarm, other.alarm) {
            prop_assert!(one.side != other.side);
        }
    }

    #[test]
    fn a_check_less_well_weighed_says_less(departure in 0.002..0.05_f64, u in 0.001..0.03_f64) {
        let calibration = line(9);
        let mut given = pairs(&calibration, 20, &[departure]);
        let sharp = scored(&calibration, &given)[0];
        given[0].observation.theta_v.u = u;
        let blunt = scored(&calibration, &given)[0];
        prop_assert!(0.0 < blunt && blunt < sharp, "{blunt} {sharp}");
    }

    #[test]
    fn no_score_depends_on_a_later_check(given in departures(), last in -0.05..0.05_f64) {
        let calibration = line(9);
        let one = scored(&calibration, &pairs(&calibration, 20, &given));
        let mut more = given.clone();
        more.push(last);
        let longer = scored(&calibration, &pairs(&calibration, 20, &more));
        for (a, b) in one.iter().zip(&longer) {
            prop_assert!((a - b).abs() < 1e-12, "{a} {b}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(6))]

    #[test]
    fn who_allows_more_risks_less_and_may_wait_longer(given in departures(), allow in 0.01..0.03_f64) {
        let calibration = line(9);
        let pairs = pairs(&calibration, 20, &given);
        let of = |allow| studied(&calibration, &pairs, &Settings { allow, ..Settings::default() });
        let (strict, mild) = (of(allow), of(1.5 * allow));
        prop_assert!(mild.update.beyond_anywhere <= strict.update.beyond_anywhere);
        prop_assert!(mild.update.places[0].beyond_allowed <= strict.update.places[0].beyond_allowed);
        prop_assert!(mild.schedule.next_check_days >= strict.schedule.next_check_days);
        prop_assert_eq!(mild.run, strict.run);
    }

    #[test]
    fn the_checks_draw_the_answer_between_the_calibration_and_themselves(
        shift in 0.01..0.05_f64, number in 1..8_usize,
    ) {
        let calibration = line(21);
        // All at the count of the place asked for: where wetness varies, the gain takes a
        // part of the shift and may give the offset a little more than all of it.
        let mut pairs = pairs(&calibration, 20, &vec![shift; number]);
        for pair in &mut pairs {
            pair.observation.count.value = 560.0;
            let theta = calibration.curve.value(560.0) + shift;
            pair.observation.theta_v.value = Vwc::new(theta).unwrap();
        }
        let found = studied(&calibration, &pairs, &Settings::default());
        let (offset, there) = (found.update.offset, &found.update.places[0]);
        prop_assert!(0.0 < offset.value && offset.value < shift, "{offset:?}");
        let moved = there.after.value - there.before;
        prop_assert!(0.0 < moved && moved < shift, "{moved}");
        prop_assert!(offset.low < offset.value && offset.value < offset.high);
    }
}
