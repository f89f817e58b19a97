//! One curve through all probes together, and how far each pair lies from it.

use super::arrow::{Arrow, Scaling};
use super::columns::Columns;
use super::error::BatchError;
use super::member::{Member, check};
use super::one_curve::Sharing;
use crate::curve::{CurveKind, MAX_CURVE_PARAMETERS};
use crate::fit::{Choice, ModelFit, Observation, choose};
use crate::quantity::Quantity;
use crate::temperature::count_at_reference;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Most pairs that the shared curve is chosen from; more change no curve, and leaving
/// each out in turn takes the square of their number (our choice). The deviations are
/// those of all pairs.
pub const MOST_FOR_CURVE: usize = 1_000;

/// Share of the typical variance below which none is taken, so that no pair pulls
/// more than a million times its share.
const LEAST_VARIANCE: f64 = 1e-6;

/// How probes and cores go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Design {
    /// Each probe has cores of its own. (Up to half of the pairs may share theirs;
    /// what they have in common is then taken for chance.)
    OwnCores,
    /// Cores were read by several probes; what is peculiar to a core drops out of
    /// the comparison.
    SharedCores,
}

/// One pair as the shared curve sees it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Deviation {
    /// Place of the probe in [`Pool::probes`].
    pub probe: usize,
    /// Place of the core in [`Pool::cores`].
    pub core: usize,
    /// Place of the moisture level in [`Pool::levels`].
    pub level: usize,
    /// Count, at the reference temperature where there is a term; on the common
    /// scale where normalised.
    pub count: f64,
    /// theta_v of the core, m3/m3.
    pub theta_v: f64,
    /// What the shared curve says at the count, m3/m3.
    pub apparent: f64,
    /// `apparent - theta_v`, m3/m3.
    pub deviation: f64,
    /// What a gain acts on, m3/m3: `apparent` less [`Pool::centre`]; where cores are
    /// shared, what the curve says at the mean count beside the core instead, for
    /// else the noise of a reading would be taken for wetness.
    pub z: f64,
    /// Pull in the least squares; 1 for a pair of typical stated uncertainty.
    pub weight: f64,
    /// Gradient of the shared curve by its parameters (then by the temperature
    /// coefficient), at the count averaged over the probes beside the core.
    #[serde(skip)]
    pub gradient: [f64; MAX_CURVE_PARAMETERS + 1],
}

/// All probes on one curve.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Pool {
    /// The shared curve and what it was chosen from.
    pub choice: Choice,
    /// Pairs the curve was chosen from, at most [`MOST_FOR_CURVE`] or so.
    pub chosen_from: usize,
    /// Whether counts were brought onto one scale by two media.
    pub normalised: bool,
    /// Probes.
    pub probes: Vec<String>,
    /// Batch of each probe, where stated.
    pub batches: Vec<Option<String>>,
    /// Cores.
    pub cores: Vec<String>,
    /// Moisture levels.
    pub levels: Vec<String>,
    /// How probes and cores go together.
    pub design: Design,
    /// theta_v about which gains turn: the mean of what the curve says, m3/m3.
    pub centre: f64,
    /// Entries of [`Deviation::gradient`] in use.
    pub columns: usize,
    /// Scatter of a pair beyond what its count and theta_v state, m3/m3, by which
    /// the weights were set.
    pub scatter: f64,
    /// One entry a pair, probe by probe.
    pub deviations: Vec<Deviation>,
}

/// Draws one curve through all probes and takes the deviation of every pair.
/// `curve` fixes the kind of curve; where it is `None` it is chosen.
///
/// Where pairs are more than [`MOST_FOR_CURVE`] the curve is drawn through that many,
/// evenly by rank of their counts, the lowest and the highest among them.
///
/// # Errors
/// [`BatchError::TooFewProbes`], [`BatchError::NotFinite`],
/// [`BatchError::TooInterlaced`], and [`BatchError::Fit`] where no curve fits.
pub fn pool(members: &[Member], curve: Option<CurveKind>) -> Result<Pool, BatchError> {
    enough_probes(members)?;
    pool_of(members, curve, false)
}

/// As [`pool`], after bringing every probe's counts onto one scale: the straight line
/// that takes its counts in the two media to their means over all probes.
///
/// # Errors
/// As [`pool`]; [`BatchError::NoMedia`] and [`BatchError::MediaStandStill`] where a
/// probe's media fix no scale.
pub fn normalised(members: &[Member], curve: Option<CurveKind>) -> Result<Pool, BatchError> {
    enough_probes(members)?;
    pool_of(&on_one_scale(members)?, curve, true)
}

fn enough_probes(members: &[Member]) -> Result<(), BatchError> {
    if members.len() < 2 {
        return Err(BatchError::TooFewProbes {
            probes: members.len(),
        });
    }
    Ok(())
}

/// The pool of any number of probes.
pub(super) fn pool_of(
    members: &[Member],
    curve: Option<CurveKind>,
    normalised: bool,
) -> Result<Pool, BatchError> {
    for member in members {
        for observation in &member.observations {
            check(&member.probe, observation)?;
        }
    }
    let chosen_from = taken_for_curve(members);
    let choice = choose(&chosen_from, curve)?;
    let mut cores = Names::default();
    let mut levels = Names::default();
    let mut apparents = Vec::new();
    for (probe, member) in members.iter().enumerate() {
        for observation in &member.observations {
            let core = cores.place(&observation.sample);
            let level = levels.place(&observation.level);
            apparents.push(Apparent::of(&choice.fit, observation, probe, core, level));
        }
    }
    if let Some(bad) = apparents.iter().find(|a| !a.value.is_finite()) {
        return Err(BatchError::NotFinite {
            probe: members[bad.probe].probe.clone(),
            core: cores.names[bad.core].clone(),
            what: "what the shared curve says",
        });
    }
    let design = design(&apparents, cores.names.len());
    let centre = apparents.iter().map(|a| a.value).sum::<f64>() / apparents.len().max(1) as f64;
    let stated = stated_variances(&apparents, design);
    let columns = choice.fit.curve.parameters.len() + usize::from(choice.fit.temperature.is_some());
    let mut pool = Pool {
        deviations: deviations(&choice.fit, &apparents, design, centre, cores.names.len()),
        chosen_from: chosen_from.len(),
        normalised,
        probes: members.iter().map(|m| m.probe.clone()).collect(),
        batches: members.iter().map(|m| m.batch.clone()).collect(),
        cores: cores.names,
        levels: levels.names,
        design,
        centre,
        columns,
        scatter: 0.0,
        choice,
    };
    pool.weigh(&stated)?;
    Ok(pool)
}

/// Every member with its counts on the scale of the mean of all.
fn on_one_scale(members: &[Member]) -> Result<Vec<Member>, BatchError> {
    let without: Vec<&Member> = members.iter().filter(|m| m.media.is_none()).collect();
    if let Some(first) = without.first() {
        return Err(BatchError::NoMedia {
            missing: without.len(),
            probes: members.len(),
            first: first.probe.clone(),
        });
    }
    let with_media = || members.iter().filter_map(|m| Some((m, m.media?)));
    let n = members.len().max(1) as f64;
    let low = with_media().map(|(_, media)| media.low).sum::<f64>() / n;
    let high = with_media().map(|(_, media)| media.high).sum::<f64>() / n;
    with_media()
        .map(|(member, media)| {
            let stretch = (high - low) / (media.high - media.low);
            if !stretch.is_finite() || stretch == 0.0 {
                return Err(BatchError::MediaStandStill {
                    probe: member.probe.clone(),
                    low: media.low,
                    high: media.high,
                });
            }
            let mut member = member.clone();
            for observation in &mut member.observations {
                observation.count.value = low + stretch * (observation.count.value - media.low);
                observation.count.u *= stretch.abs();
            }
            Ok(member)
        })
        .collect()
}

/// The pairs that the curve is drawn through.
fn taken_for_curve(members: &[Member]) -> Vec<Observation> {
    let mut all: Vec<&Observation> = members.iter().flat_map(|m| &m.observations).collect();
    if all.len() <= MOST_FOR_CURVE {
        return all.into_iter().cloned().collect();
    }
    all.sort_by(|a, b| a.count.value.total_cmp(&b.count.value));
    let (last, steps) = (all.len() - 1, MOST_FOR_CURVE - 1);
    (0..MOST_FOR_CURVE)
        .filter_map(|i| all.get(i * last / steps))
        .map(|observation| (*observation).clone())
        .collect()
}

/// Names in the order in which they first appear.
#[derive(Default)]
struct Names {
    places: BTreeMap<String, usize>,
    names: Vec<String>,
}

impl Names {
    fn place(&mut self, name: &str) -> usize {
        if let Some(place) = self.places.get(name) {
            return *place;
        }
        let place = self.names.len();
        self.places.insert(name.to_owned(), place);
        self.names.push(name.to_owned());
        place
    }
}

/// A pair as the curve sees it, before others beside the core are looked at.
struct Apparent {
    probe: usize,
    core: usize,
    level: usize,
    count: f64,
    warmth: f64,
    theta_v: f64,
    value: f64,
    u_theta: f64,
    u_count: f64,
}

impl Apparent {
    fn of(fit: &ModelFit, o: &Observation, probe: usize, core: usize, level: usize) -> Self {
        let count = count_at_reference(fit.temperature, o.count.value, o.temperature);
        Self {
            probe,
            core,
            level,
            count,
            warmth: fit
                .temperature
                .zip(o.temperature)
                .map_or(0.0, |(term, t)| t.value() - term.reference.value()),
            theta_v: o.theta_v.value.value(),
            value: fit.curve.value(count),
            u_theta: o.theta_v.u,
            u_count: fit.curve.slope(count) * o.count.u,
        }
    }
}

fn design(apparents: &[Apparent], cores: usize) -> Design {
    let mut first: Vec<Option<usize>> = vec![None; cores];
    let mut shared = vec![false; cores];
    for a in apparents {
        match first[a.core] {
            None => first[a.core] = Some(a.probe),
            Some(probe) => shared[a.core] |= probe != a.probe,
        }
    }
    let at_shared = apparents.iter().filter(|a| shared[a.core]).count();
    if 2 * at_shared >= apparents.len() && at_shared > 0 {
        Design::SharedCores
    } else {
        Design::OwnCores
    }
}

/// What is stated of each pair's variance, (m3/m3)^2. The error of a shared core's
/// theta_v is its own, not the pair's.
fn stated_variances(apparents: &[Apparent], design: Design) -> Vec<f64> {
    apparents
        .iter()
        .map(|a| match design {
            Design::OwnCores => a.u_count.powi(2) + a.u_theta.powi(2),
            Design::SharedCores => a.u_count.powi(2),
        })
        .collect()
}

fn deviations(
    fit: &ModelFit,
    apparents: &[Apparent],
    design: Design,
    centre: f64,
    cores: usize,
) -> Vec<Deviation> {
    let mut sums = vec![(0.0, 0.0); cores];
    for a in apparents {
        sums[a.core].0 += a.count;
        sums[a.core].1 += 1.0;
    }
    let parameters = fit.curve.parameters.len();
    apparents
        .iter()
        .map(|a| {
            let count = match design {
                Design::OwnCores => a.count,
                Design::SharedCores => sums[a.core].0 / sums[a.core].1,
            };
            let mut gradient = [0.0; MAX_CURVE_PARAMETERS + 1];
            fit.curve.gradient(count, &mut gradient[..parameters]);
            if fit.temperature.is_some() {
                gradient[parameters] = -fit.curve.slope(count) * a.warmth;
            }
            Deviation {
                probe: a.probe,
                core: a.core,
                level: a.level,
                count: a.count,
                theta_v: a.theta_v,
                apparent: a.value,
                deviation: a.value - a.theta_v,
                z: fit.curve.value(count) - centre,
                weight: 1.0,
                gradient,
            }
        })
        .collect()
}

impl Pool {
    /// Sets the weights. What is stated of each pair is known; the scatter beyond is
    /// what the pairs show about offsets and gains of their probes, unweighted, on the
    /// average.
    fn weigh(&mut self, stated: &[f64]) -> Result<(), BatchError> {
        let n = stated.len().max(1) as f64;
        let mean = stated.iter().sum::<f64>() / n;
        let seen = self.variance_about_probes()?;
        let scatter = (seen.unwrap_or(self.choice.fit.core_scatter.powi(2)) - mean).max(0.0);
        self.scatter = scatter.sqrt();
        let typical = scatter + mean;
        if typical > 0.0 {
            for (deviation, stated) in self.deviations.iter_mut().zip(stated) {
                deviation.weight = typical / (scatter + stated).max(LEAST_VARIANCE * typical);
            }
        }
        Ok(())
    }

    /// Variance about the most that is tried of offsets and gains; `None` where
    /// nothing is left to see it by.
    fn variance_about_probes(&self) -> Result<Option<f64>, BatchError> {
        let columns = Columns::of(self);
        for sharing in [Sharing::OwnOffsetAndGain, Sharing::OwnOffset] {
            let own = columns.for_tests(sharing);
            let reduced = Arrow::of(&columns.rows(&own))?.reduce(Scaling::Fixed);
            let effects = reduced.rank + reduced.rank_shared;
            if self.deviations.len() > effects {
                let freedom = (self.deviations.len() - effects) as f64;
                return Ok(Some(reduced.sum_of_squares / freedom));
            }
        }
        Ok(None)
    }
}
