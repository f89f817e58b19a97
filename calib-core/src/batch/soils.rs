//! May several soils be taken as one?

use super::arrow::{Arrow, Scaling};
use super::columns::Columns;
use super::error::BatchError;
use super::member::{Member, members};
use super::one_curve::{LEVEL, Sharing, SharingTest, Stage, stage, tests};
use super::pool::{Design, Deviation, Pool, pool_of};
use crate::curve::CurveKind;
use crate::fit::Choice;
use crate::pair::Pair;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Whether one curve serves several soils.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SoilsOneCurve {
    /// The soils, in order of name.
    pub soils: Vec<String>,
    /// How probes and cores go together.
    pub design: Design,
    /// The curve through all soils.
    pub choice: Choice,
    /// One curve against an offset a soil, and against a curve a soil: `enough` and
    /// `against` are of soils here.
    pub tests: Vec<SharingTest>,
    /// Mean deviation of each soil from the curve through all, m3/m3.
    pub offsets: Vec<f64>,
    /// Whether no test says that soils differ.
    pub one_curve: bool,
}

/// Tests whether the soils among the pairs may share a curve.
///
/// As [`one_curve`](super::one_curve()) with soils in the place of probes. Probes may
/// differ by an offset each, which is taken off. Where cores are shared a core counts
/// once, by the mean over its probes: its own error is then part of what soils are
/// judged by, as it must be.
///
/// # Errors
/// [`BatchError::TooFewSoils`], [`BatchError::SoilsHaveOwnProbes`], and those of
/// [`pool`](super::pool()) and [`one_curve`](super::one_curve()).
pub fn soils_one_curve(
    pairs: &[Pair],
    curve: Option<CurveKind>,
) -> Result<SoilsOneCurve, BatchError> {
    let names: Vec<String> = super::soils(pairs).into_iter().map(str::to_owned).collect();
    if names.len() < 2 {
        return Err(BatchError::TooFewSoils { soils: names.len() });
    }
    let (members, soil_of) = together(pairs, &names)?;
    let pool = pool_of(&members, curve, false)?;
    let deviations = match pool.design {
        Design::OwnCores => by_probe(&pool, &soil_of),
        Design::SharedCores => by_core(&pool, &soil_of)?,
    };
    // Where cores are own, what the second family holds are the probes' offsets.
    let family = match pool.design {
        Design::OwnCores => Design::SharedCores,
        Design::SharedCores => Design::OwnCores,
    };
    let curve_columns = pool.choice.fit.curve.parameters.len();
    let columns = Columns::from_deviations(&deviations, family, pool.columns, curve_columns);
    let stages: Vec<Stage> = [Sharing::OneCurve, Sharing::OwnOffset, Sharing::OwnCurve]
        .into_iter()
        .map(|sharing| stage(&columns, sharing))
        .collect::<Result<_, _>>()?;
    let weight: f64 = deviations.iter().map(|d| d.weight).sum();
    let largest = pool.largest_deviation();
    let tests = tests(&stages, deviations.len(), weight, largest, &PAIRED)?;
    Ok(SoilsOneCurve {
        one_curve: tests
            .iter()
            .all(|test| test.p_value >= LEVEL / tests.len() as f64),
        offsets: offsets(&columns, &deviations, names.len())?,
        soils: names,
        design: pool.design,
        choice: pool.choice,
        tests,
    })
}

const PAIRED: [(Sharing, Sharing); 2] = [
    (Sharing::OneCurve, Sharing::OwnOffset),
    (Sharing::OneCurve, Sharing::OwnCurve),
];

/// The probes with their cores of all soils, and the soil of each pair in the order of
/// the pool's deviations.
fn together(pairs: &[Pair], names: &[String]) -> Result<(Vec<Member>, Vec<usize>), BatchError> {
    let mut all: Vec<Pair> = pairs.to_vec();
    for pair in &mut all {
        // Cores of two soils are two cores, whatever their names.
        pair.observation.sample = format!("{} {}", pair.soil, pair.observation.sample);
    }
    let mut soils_of_probe: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for pair in pairs {
        let soil = names.iter().position(|name| *name == pair.soil);
        soils_of_probe.entry(&pair.probe).or_default().extend(soil);
    }
    let in_two = |soils: &Vec<usize>| soils.iter().any(|soil| Some(soil) != soils.first());
    if !soils_of_probe.values().any(in_two) {
        return Err(BatchError::SoilsHaveOwnProbes);
    }
    for pair in &mut all {
        pair.soil.clear();
    }
    let members = members(&all, &BTreeMap::new(), "")?;
    let soil_of = members
        .iter()
        .filter_map(|member| soils_of_probe.get(member.probe.as_str()))
        .flatten()
        .copied()
        .collect();
    Ok((members, soil_of))
}

/// Soils in the place of probes, probes in the place of cores.
fn by_probe(pool: &Pool, soil_of: &[usize]) -> Vec<Deviation> {
    pool.deviations
        .iter()
        .zip(soil_of)
        .map(|(deviation, soil)| Deviation {
            core: deviation.probe,
            probe: *soil,
            ..deviation.clone()
        })
        .collect()
}

/// One deviation a core, soils in the place of probes: the mean over the probes, what
/// is each one's own taken off.
fn by_core(pool: &Pool, soil_of: &[usize]) -> Result<Vec<Deviation>, BatchError> {
    let columns = Columns::of(pool);
    let own = columns.for_tests(Sharing::OwnOffset);
    let solved = Arrow::of(&columns.rows(&own))?.effects(Scaling::Fixed);
    let unit = own.first().copied().unwrap_or(1.0);
    let of_probe = |probe: usize| {
        let value = solved.probes.get(probe).and_then(|e| e.values.first());
        unit * value.copied().unwrap_or(0.0)
    };
    let mut means: Vec<Option<(Deviation, f64)>> = vec![None; pool.cores.len()];
    for (deviation, soil) in pool.deviations.iter().zip(soil_of) {
        let left = deviation.deviation - of_probe(deviation.probe);
        match &mut means[deviation.core] {
            Some((mean, n)) => {
                *n += 1.0;
                mean.deviation += (left - mean.deviation) / *n;
            }
            none => {
                let first = Deviation {
                    probe: *soil,
                    deviation: left,
                    weight: 1.0,
                    ..deviation.clone()
                };
                *none = Some((first, 1.0));
            }
        }
    }
    Ok(means.into_iter().flatten().map(|(mean, _)| mean).collect())
}

/// Offsets of the soils about their mean over the pairs.
fn offsets(
    columns: &Columns,
    deviations: &[Deviation],
    soils: usize,
) -> Result<Vec<f64>, BatchError> {
    let own = columns.for_tests(Sharing::OwnOffset);
    let unit = own.first().copied().unwrap_or(1.0);
    let solved = Arrow::of(&columns.rows(&own))?.effects(Scaling::Fixed);
    let of_soil: Vec<f64> = (0..soils)
        .map(|soil| {
            let value = solved.probes.get(soil).and_then(|e| e.values.first());
            unit * value.copied().unwrap_or(0.0)
        })
        .collect();
    let weight: f64 = deviations.iter().map(|d| d.weight).sum();
    let mean = deviations
        .iter()
        .map(|d| d.weight * of_soil[d.probe])
        .sum::<f64>()
        / weight;
    Ok(of_soil.iter().map(|offset| offset - mean).collect())
}
