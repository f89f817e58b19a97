//! What a calibration of each probe's own is worth: the uncertainty of a reading by
//! one shared curve, after two-point normalisation, and by own cores, each with its
//! interval, its minutes and its money; and which is the least that meets a target.
//!
//! The uncertainty here is that of a reading taken as those beside the cores were,
//! against a core of the same soil: differences between probes, between cores, what a
//! pair scatters, the curve's own uncertainty and the ring's volume, added in squares
//! (JCGM 100:2008, 5.1) and expanded by the factor of the normal distribution. How far
//! such a figure may be off is not put into the factor but into the interval beside
//! it, so that a target is met only where the whole interval is.

mod own;
mod parts;
#[cfg(test)]
mod tests;
mod work;

pub use own::Own;
pub use work::Work;

use super::error::BatchError;
use super::mixed::Mixed;
use super::one_curve::OneCurve;
use super::pool::Pool;
use crate::calibration::COVERAGE;
use crate::uncertainty::coverage_factor;
use parts::{Bounds, Parts, Role};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// Times as many probes beyond which more are not called a way to settle a question.
const MOST_TIMES_AS_MANY: usize = 50;

/// A value with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Bounded {
    /// Estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Bounded {
    /// The same in another unit, `factor` of which make one of this; `factor` is
    /// positive.
    pub fn times(self, factor: f64) -> Self {
        Self {
            value: self.value * factor,
            low: self.low * factor,
            high: self.high * factor,
        }
    }
}

/// A place between dry and wet: where a tenth, half and nine tenths of the pairs are
/// drier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Wetness {
    /// A tenth of the pairs are drier.
    Dry,
    /// Half are.
    Middle,
    /// Nine tenths are.
    Wet,
}

impl Wetness {
    /// From dry to wet.
    pub const ALL: [Wetness; 3] = [Wetness::Dry, Wetness::Middle, Wetness::Wet];

    /// Its theta_v among the pairs of a pool, m3/m3, kept where the curve reaches.
    pub fn theta_v(self, pool: &Pool) -> f64 {
        let mut theta: Vec<f64> = pool.deviations.iter().map(|pair| pair.theta_v).collect();
        let share = match self {
            Wetness::Dry => 0.1,
            Wetness::Middle => 0.5,
            Wetness::Wet => 0.9,
        };
        let (low, high) = reached(pool);
        if theta.is_empty() {
            return low;
        }
        let place = (share * (theta.len() - 1) as f64).round() as usize;
        let (_, found, _) = theta.select_nth_unstable_by(place, f64::total_cmp);
        found.clamp(low, high)
    }
}

/// The water contents that the shared curve reaches, a little inside its ends, m3/m3.
fn reached(pool: &Pool) -> (f64, f64) {
    let fit = &pool.choice.fit;
    let ends = [fit.domain.low, fit.domain.high].map(|count| fit.curve.value(count));
    let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
    let inset = 1e-6 * (high - low);
    (low + inset, high - inset)
}

impl fmt::Display for Wetness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Wetness::Dry => "dry",
            Wetness::Middle => "middle",
            Wetness::Wet => "wet",
        })
    }
}

/// A way to calibrate many probes, the one that asks for least first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// One curve for all.
    OneCurve,
    /// One curve for all, after each was brought onto one scale in two media.
    TwoMedia,
    /// Cores beside each.
    OwnCores,
}

/// How a figure stands to the target.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Judged {
    /// Its whole interval is within.
    Within,
    /// Its whole interval is beyond.
    Beyond,
    /// Its interval holds the target.
    Open,
}

impl Judged {
    fn of(figure: Bounded, target: f64) -> Self {
        if figure.high <= target {
            Judged::Within
        } else if figure.low > target {
            Judged::Beyond
        } else {
            Judged::Open
        }
    }
}

/// The uncertainty at one place between dry and wet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct AtWetness {
    /// The place.
    pub wetness: Wetness,
    /// Its theta_v, m3/m3.
    pub theta_v: f64,
    /// Expanded uncertainty of a reading there, m3/m3.
    pub expanded: Bounded,
}

/// What one way gives and asks for.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WayFound {
    /// The way.
    pub way: Way,
    /// From dry to wet.
    pub at: Vec<AtWetness>,
    /// The largest of them, by which the way is judged, m3/m3.
    pub expanded: Bounded,
    /// Against the target.
    pub judged: Judged,
    /// By how much less uncertain than one curve for all, m3/m3; `None` for that way.
    pub gain: Option<Bounded>,
    /// The same as depth of water over the root zone, mm.
    pub gain_mm: Option<Bounded>,
    /// For one more probe.
    pub work_per_probe: Work,
    /// For as many probes as were studied, beside as many cores.
    pub work: Work,
}

/// Whether more probes would change the answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "answer", rename_all = "kebab-case")]
pub enum Firmness {
    /// No: the ways that ask for less are surely not enough.
    Firm,
    /// So many more, if they differ as these do, would tell whether `way` is within
    /// the target or beyond it.
    WithMoreProbes {
        /// The way in question.
        way: Way,
        /// Probes more.
        probes: usize,
        /// Whether it would be within.
        within: bool,
    },
    /// `way` lies so near the target that more probes hardly tell.
    TooNear {
        /// The way in question.
        way: Way,
    },
}

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Circumstances {
    /// Largest expanded uncertainty (95 %) of a reading that will do, m3/m3.
    pub target: f64,
    /// Minutes to take, weigh, dry and weigh again one core.
    pub minutes_per_core: f64,
    /// Minutes to read one probe in one medium.
    pub minutes_per_medium: f64,
    /// What an hour costs, in any currency.
    pub hourly_cost: Option<f64>,
    /// Depth of the root zone, mm.
    pub root_depth_mm: f64,
    /// Relative standard uncertainty of the cores' volume, shared by all.
    pub relative_volume_u: f64,
    /// Chooses the draws.
    pub seed: u64,
}

/// One soil's probes on one scale, tested and fitted.
#[derive(Debug, Clone, Copy)]
pub struct Study<'a> {
    /// The shared curve with the deviations.
    pub pool: &'a Pool,
    /// The tests.
    pub one_curve: &'a OneCurve,
    /// The spread.
    pub mixed: &'a Mixed,
}

/// What to do with these probes.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Decision {
    /// What was asked.
    pub asked: Circumstances,
    /// The ways, the one that asks for least first; two media only where each probe
    /// was read in both.
    pub ways: Vec<WayFound>,
    /// The way of least work that is surely within the target; `None` where none is.
    pub advice: Option<Way>,
    /// Whether more probes would change that.
    pub firmness: Firmness,
    /// What an own calibration is taken to be.
    pub own: Own,
    /// Standard deviation between two probes in counts, where it is largest from dry to
    /// wet: with it the calibration of one probe serves any other. That is the square root
    /// of 2 times the standard deviation of probes about their mean, for the probe
    /// calibrated lies off the mean too; where few probes show it, it is widened as
    /// Student's distribution is beside the normal, since a budget takes it as known.
    pub probe_to_probe_counts: f64,
}

impl Decision {
    /// The finding about a way, if it was looked at.
    pub fn way(&self, way: Way) -> Option<&WayFound> {
        self.ways.iter().find(|found| found.way == way)
    }
}

/// Weighs the ways against the target. `normalised` is the same study after two-point
/// normalisation, where each probe was read in both media.
///
/// # Errors
/// [`BatchError::OutsideCurve`] where the curve does not reach its own cores.
pub fn decide(
    plain: Study<'_>,
    normalised: Option<Study<'_>>,
    asked: Circumstances,
) -> Result<Decision, BatchError> {
    let at_each = |study: Study<'_>| {
        Wetness::ALL
            .into_iter()
            .map(|wetness| Ok((wetness, Parts::at(wetness, study, asked.relative_volume_u)?)))
            .collect::<Result<Vec<_>, BatchError>>()
    };
    let of_plain = at_each(plain)?;
    let of_normalised = normalised.map(at_each).transpose()?;
    let mut considered = vec![Considered::new(
        Way::OneCurve,
        Role::Shared,
        &of_plain,
        asked.seed,
    )];
    if let Some(parts) = &of_normalised {
        considered.push(Considered::new(
            Way::TwoMedia,
            Role::Normalised,
            parts,
            asked.seed,
        ));
    }
    considered.push(Considered::new(
        Way::OwnCores,
        Role::Own,
        &of_plain,
        asked.seed,
    ));

    let own = Own::of(plain.pool);
    let mut ways = Vec::new();
    for one in &considered {
        let gain = considered
            .first()
            .filter(|shared| shared.way != one.way)
            .map(|shared| shared.bounds.less(&one.bounds));
        ways.push(WayFound {
            way: one.way,
            at: one.at.clone(),
            expanded: one.bounds.figure(),
            judged: Judged::of(one.bounds.figure(), asked.target),
            gain,
            gain_mm: gain.map(|gain| gain.times(asked.root_depth_mm)),
            work_per_probe: Work::for_one(one.way, own.cores, asked),
            work: Work::for_all(one.way, plain.pool, asked),
        });
    }
    let advice = ways
        .iter()
        .find(|found| found.judged == Judged::Within)
        .map(|found| found.way);
    let firmness = ways
        .iter()
        .zip(&considered)
        .take_while(|(found, _)| found.judged != Judged::Within)
        .find(|(found, _)| found.judged == Judged::Open)
        .map_or(Firmness::Firm, |(_, one)| one.more_probes(asked));
    Ok(Decision {
        asked,
        ways,
        advice,
        firmness,
        own,
        probe_to_probe_counts: probe_to_probe_counts(plain)?,
    })
}

/// A way with all that its figure is made of.
struct Considered {
    way: Way,
    role: Role,
    at: Vec<AtWetness>,
    /// At the place where the figure is largest.
    parts: Parts,
    bounds: Bounds,
}

impl Considered {
    fn new(way: Way, role: Role, parts: &[(Wetness, Parts)], seed: u64) -> Self {
        let mut at = Vec::new();
        let mut worst: Option<(Parts, Bounds)> = None;
        for (wetness, parts) in parts {
            let bounds = parts.bounds(role, seed);
            at.push(AtWetness {
                wetness: *wetness,
                theta_v: parts.theta_v,
                expanded: bounds.figure(),
            });
            let larger = worst
                .as_ref()
                .is_none_or(|(_, so_far)| bounds.figure().value > so_far.figure().value);
            if larger {
                worst = Some((*parts, bounds));
            }
        }
        let (parts, bounds) = worst.unwrap_or_default();
        Self {
            way,
            role,
            at,
            parts,
            bounds,
        }
    }

    /// How many probes more would settle whether this way is within the target.
    fn more_probes(&self, asked: Circumstances) -> Firmness {
        let way = self.way;
        let probes = self.parts.probes;
        let judged = |many: usize| {
            let parts = self.parts.with_probes(many as f64);
            Judged::of(parts.bounds(self.role, asked.seed).figure(), asked.target)
        };
        let most = probes as usize * MOST_TIMES_AS_MANY;
        let mut settled = probes as usize + 1;
        while judged(settled) == Judged::Open {
            settled *= 2;
            if settled > most {
                return Firmness::TooNear { way };
            }
        }
        // Halve what lies between the last that did not settle it and the first that did.
        let mut open = (settled / 2).max(probes as usize);
        while settled - open > 1 {
            let middle = open + (settled - open) / 2;
            if judged(middle) == Judged::Open {
                open = middle;
            } else {
                settled = middle;
            }
        }
        Firmness::WithMoreProbes {
            way,
            probes: settled - probes as usize,
            within: judged(settled) == Judged::Within,
        }
    }
}

/// As [`Decision::probe_to_probe_counts`] says.
fn probe_to_probe_counts(study: Study<'_>) -> Result<f64, BatchError> {
    let fit = &study.pool.choice.fit;
    let mut largest = 0.0_f64;
    for wetness in Wetness::ALL {
        let theta = wetness.theta_v(study.pool);
        let count = parts::count_at(study.pool, theta)?;
        let slope = fit.curve.slope(count).abs();
        if slope > 0.0 {
            let freedom = study.mixed.between_freedom(theta);
            let of_few = coverage_factor(COVERAGE, Some(freedom)) / coverage_factor(COVERAGE, None);
            let of_two = std::f64::consts::SQRT_2 * study.mixed.between_sd(theta);
            largest = largest.max(of_few * of_two / slope);
        }
    }
    Ok(largest)
}
