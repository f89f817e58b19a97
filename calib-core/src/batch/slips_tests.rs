use super::*;
use crate::batch::example::{as_members, batch};
use crate::pair::Pair;

fn found(pairs: &[Pair]) -> Vec<(Option<String>, String)> {
    let slips = slips(&as_members(pairs), 1).unwrap();
    slips.found.into_iter().map(|s| (s.probe, s.core)).collect()
}

#[test]
fn a_count_slipped_by_ten_is_named_with_its_probe_and_core() {
    for shared in [false, true] {
        for place in [2, 8, 31, 47] {
            let mut pairs = batch(12, 6, shared, 0.01, 3);
            assert_eq!(found(&pairs), [], "shared {shared}");
            pairs[place].observation.count.value *= 10.0;
            let expected = (
                Some(pairs[place].probe.clone()),
                pairs[place].core().to_owned(),
            );
            assert_eq!(found(&pairs), [expected], "shared {shared}, pair {place}");
        }
    }
}

#[test]
fn two_slips_do_not_hide_one_another() {
    let mut pairs = batch(12, 8, false, 0.01, 5);
    pairs[3].observation.count.value *= 10.0;
    pairs[40].observation.count.value /= 10.0;
    let mut named: Vec<String> = found(&pairs).into_iter().map(|(_, core)| core).collect();
    named.sort();
    let mut put_in = [pairs[3].core().to_owned(), pairs[40].core().to_owned()];
    put_in.sort();
    assert_eq!(named, put_in);
}

#[test]
fn a_mass_slipped_is_named_by_its_core() {
    let slipped = crate::quantity::Vwc::new(0.60).unwrap();
    let mut pairs = batch(12, 6, false, 0.01, 7);
    pairs[20].observation.theta_v.value = slipped;
    let core = pairs[20].core().to_owned();
    assert_eq!(found(&pairs), [(Some(pairs[20].probe.clone()), core)]);
    // Shared by all probes, it is the core's and no probe's.
    let mut pairs = batch(6, 18, true, 0.01, 7);
    for pair in pairs.iter_mut().filter(|pair| pair.core() == "c9") {
        pair.observation.theta_v.value = slipped;
    }
    assert_eq!(found(&pairs), [(None, "c9".to_owned())]);
}

#[test]
fn a_probe_that_is_off_is_no_slip() {
    let mut pairs = batch(10, 7, false, 0.01, 9);
    for pair in pairs.iter_mut().filter(|pair| pair.probe == "p4") {
        pair.observation.count.value += 90.0;
    }
    assert_eq!(found(&pairs), []);
}

/// 10,000 batches in all; a limit of its own is simulated for each kind. At most 5 %
/// and what chance leaves (three standard errors of 2,500 batches), of the limit that
/// [`LEAST_TIMES`] does not raise.
#[test]
fn a_sound_batch_seldom_raises_an_alarm() {
    for (probes, cores, shared) in [(12, 6, false), (30, 8, false), (12, 8, true), (4, 3, false)] {
        let members = as_members(&batch(probes, cores, shared, 0.01, 1));
        let (layout, ..) = Layout::of(&members);
        let limit = layout.limit(FALSE_ALARMS, 77).unwrap();
        let alarms = (0..2_500_u64)
            .into_par_iter()
            .filter(|batch| layout.largest(&layout.sound(4_711, *batch)) > limit)
            .count();
        let share = alarms as f64 / 2_500.0;
        println!("{probes} x {cores}, shared {shared}: limit {limit:.2}, alarms {share:.4}");
        assert!(share < 0.075, "{probes} x {cores}, {shared}: {share}");
    }
}
