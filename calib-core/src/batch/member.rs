//! A probe among many, with the cores it was read beside.

use super::error::BatchError;
use crate::fit::Observation;
use crate::pair::{Pair, TwoPoints};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// One probe of those compared, in one soil.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Member {
    /// The probe's identifier.
    pub probe: String,
    /// Batch it was made or bought in, where stated.
    pub batch: Option<String>,
    /// Its counts in the two media, where read.
    pub media: Option<TwoPoints>,
    /// The cores it was read beside. A core beside which several probes were read
    /// appears with each, under one `sample`.
    pub observations: Vec<Observation>,
}

/// The soils that appear among the pairs, in order of name.
pub fn soils(pairs: &[Pair]) -> Vec<&str> {
    let mut soils: Vec<&str> = pairs.iter().map(|pair| pair.soil.as_str()).collect();
    soils.sort_unstable();
    soils.dedup();
    soils
}

/// The probes read in `soil`, each with its cores, in the order in which they first
/// appear. `media` holds counts in the two media by probe.
///
/// # Errors
/// [`BatchError::NoPairs`] where the soil has none, [`BatchError::NotFinite`] for a
/// value that is no number.
pub fn members(
    pairs: &[Pair],
    media: &BTreeMap<String, TwoPoints>,
    soil: &str,
) -> Result<Vec<Member>, BatchError> {
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    let mut members: Vec<Member> = Vec::new();
    for pair in pairs.iter().filter(|pair| pair.soil == soil) {
        check(&pair.probe, &pair.observation)?;
        let place = *places.entry(pair.probe.as_str()).or_insert_with(|| {
            members.push(Member {
                probe: pair.probe.clone(),
                batch: pair.batch.clone(),
                media: media.get(&pair.probe).copied(),
                observations: Vec::new(),
            });
            members.len() - 1
        });
        if let Some(member) = members.get_mut(place) {
            member.batch = member.batch.take().or_else(|| pair.batch.clone());
            member.observations.push(pair.observation.clone());
        }
    }
    if members.is_empty() {
        return Err(BatchError::NoPairs {
            soil: soil.to_owned(),
        });
    }
    Ok(members)
}

/// Whether every number of an observation is one.
pub(super) fn check(probe: &str, observation: &Observation) -> Result<(), BatchError> {
    let bad = [
        ("the count", observation.count.value.is_finite()),
        (
            "the uncertainty of the count",
            observation.count.u.is_finite() && observation.count.u >= 0.0,
        ),
        (
            "the uncertainty of theta_v",
            observation.theta_v.u.is_finite() && observation.theta_v.u >= 0.0,
        ),
    ]
    .into_iter()
    .find(|(_, good)| !good);
    match bad {
        None => Ok(()),
        Some((what, _)) => Err(BatchError::NotFinite {
            probe: probe.to_owned(),
            core: observation.sample.clone(),
            what,
        }),
    }
}
