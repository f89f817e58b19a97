//! Which way the counts of probes move: one curve cannot serve those that rise with the
//! water and those that fall.

use super::held::How;
use crate::failure::Warning;
use calib_core::accuracy::LeaveOut;
use calib_core::pair::Pair;
use calib_core::quantity::Quantity;
use std::collections::{BTreeMap, BTreeSet};

/// A probe in a soil.
type Bed = (String, String);

/// The pairs of probes whose counts move as those of most do, and the probes of which they
/// do not: within each soil where probes are left out, over all where soils are.
pub(super) fn alike(pairs: &[Pair], leave_out: LeaveOut) -> (Vec<Pair>, BTreeSet<Bed>) {
    let mut beds: BTreeMap<Bed, Vec<&Pair>> = BTreeMap::new();
    for pair in pairs {
        beds.entry(bed(pair)).or_default().push(pair);
    }
    let group = |(_, soil): &Bed| match leave_out {
        LeaveOut::Soil => String::new(),
        LeaveOut::Probe | LeaveOut::Core { .. } => soil.clone(),
    };
    let mut votes: BTreeMap<String, f64> = BTreeMap::new();
    for (of, pairs) in &beds {
        *votes.entry(group(of)).or_default() += way(pairs);
    }
    let contrary: BTreeSet<Bed> = beds
        .iter()
        .filter(|(of, pairs)| {
            // As many one way as the other: those that fall are kept.
            let most = votes.get(&group(of)).copied().unwrap_or(0.0);
            let most = if most > 0.0 { 1.0 } else { -1.0 };
            way(pairs) == -most
        })
        .map(|(of, _)| of.clone())
        .collect();
    let kept = pairs
        .iter()
        .filter(|pair| !contrary.contains(&bed(pair)))
        .cloned()
        .collect();
    (kept, contrary)
}

fn bed(pair: &Pair) -> Bed {
    (pair.probe.clone(), pair.soil.clone())
}

/// 1 where counts rise with the water, -1 where they fall, 0 where neither is seen.
fn way(pairs: &[&Pair]) -> f64 {
    let n = pairs.len() as f64;
    let theta = |pair: &Pair| pair.observation.theta_v.value.value();
    let count = |pair: &Pair| pair.observation.count.value;
    let mean = |of: &dyn Fn(&Pair) -> f64| pairs.iter().map(|pair| of(pair)).sum::<f64>() / n;
    let (mean_theta, mean_count) = (mean(&theta), mean(&count));
    let moved: f64 = pairs
        .iter()
        .map(|pair| (theta(pair) - mean_theta) * (count(pair) - mean_count))
        .sum();
    if moved > 0.0 {
        1.0
    } else if moved < 0.0 {
        -1.0
    } else {
        0.0
    }
}

/// Probes left out because their counts move the other way.
pub(super) fn said(contrary: &BTreeSet<Bed>, how: How, place: String) -> Option<Warning> {
    let names: Vec<String> = contrary
        .iter()
        .map(|(probe, soil)| format!("{probe} in {soil}"))
        .collect();
    (!names.is_empty()).then(|| Warning {
        place,
        what: format!(
            "the counts of {} move the other way than those of most probes",
            names.join(", ")
        ),
        why: format!(
            "no curve serves both, so nothing is said of {} with them",
            how.subject()
        ),
        advice: "nothing need be done; each probe's own figures stand".to_owned(),
    })
}
