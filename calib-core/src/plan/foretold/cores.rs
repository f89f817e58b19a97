//! Cores against uncertainty: what more levels and more cores at each would buy.

use super::simulation::{Foretold, PlaceName};
use super::{ForetellError, Middle, Place, Sampling, Settings, Share, Truth, foretell};
use schemars::JsonSchema;
use serde::Serialize;

/// One more core at every level no longer pays once it lowers the uncertainty by less
/// than this share of it. Our own choice: less is not seen in how a pump is run.
pub const LEAST_GAIN: f64 = 0.05;

/// Most cores at a level that are looked at unasked.
pub const MOST_CORES_PER_LEVEL: usize = 5;

/// Numbers of levels and of cores at each to compare.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternatives {
    /// theta_v of the plan's own levels, m3/m3; other numbers of levels lie evenly
    /// between its driest and wettest.
    pub levels: Vec<f64>,
    /// Cores at each level in the plan.
    pub cores_per_level: usize,
    /// Other numbers of levels to compare.
    pub other_levels: Vec<usize>,
    /// Most cores at each.
    pub most_cores_per_level: usize,
}

impl Alternatives {
    /// The plan's own levels with one core at each up to
    /// [`MOST_CORES_PER_LEVEL`] (or one more than planned), and two levels fewer and
    /// more.
    pub fn around(plan: &Sampling) -> Self {
        let levels = plan.levels.len();
        Self {
            levels: plan.levels.clone(),
            cores_per_level: plan.cores_per_level,
            other_levels: [levels.saturating_sub(2), levels + 2]
                .into_iter()
                .filter(|n| *n >= 3)
                .collect(),
            most_cores_per_level: MOST_CORES_PER_LEVEL.max(plan.cores_per_level + 1),
        }
    }

    /// Every plan compared: by number of levels, then of cores.
    pub fn plans(&self) -> Vec<Sampling> {
        let mut numbers = self.other_levels.clone();
        numbers.push(self.levels.len());
        numbers.sort_unstable();
        numbers.dedup();
        let mut plans = Vec::new();
        for number in numbers {
            for cores_per_level in 1..=self.most_cores_per_level {
                plans.push(Sampling {
                    levels: self.spread(number),
                    cores_per_level,
                });
            }
        }
        plans
    }

    fn spread(&self, number: usize) -> Vec<f64> {
        if number == self.levels.len() || number < 2 {
            return self.levels.clone();
        }
        let (low, high) = crate::quantity::lowest_and_highest(self.levels.iter().copied());
        (0..number)
            .map(|i| low + (high - low) * i as f64 / (number - 1) as f64)
            .collect()
    }
}

/// One plan among those compared.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CoresPoint {
    /// Levels.
    pub levels: usize,
    /// Cores at each.
    pub cores_per_level: usize,
    /// Cores in all.
    pub cores: usize,
    /// Whether this is the plan asked about.
    pub planned: bool,
    /// Share of simulated calibrations that the fit refused.
    pub refused: Share,
    /// Expanded uncertainty (95 %) of one new reading there, m3/m3; `None` where hardly
    /// any calibration had an answer.
    pub expanded: Option<Middle>,
    /// Share of new readings whose interval held the truth.
    pub held: Option<Share>,
}

/// What one more core at every level of the plan would buy.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Step {
    /// From so many at each level ...
    pub from: usize,
    /// ... to one more.
    pub to: usize,
    /// By how much the uncertainty falls, m3/m3; below zero where it does not.
    pub gain: f64,
    /// Its standard error from the simulation being finite, m3/m3.
    pub gain_standard_error: f64,
    /// The same as a share of the uncertainty before.
    pub share: f64,
    /// Whether it pays: the share is at least [`LEAST_GAIN`].
    pub pays: bool,
}

/// Cores against uncertainty at one place.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CurveOfCores {
    /// Where.
    pub place: PlaceName,
    /// theta_v there, m3/m3.
    pub theta_v: f64,
    /// No number of cores goes below this expanded uncertainty, m3/m3.
    pub floor: f64,
    /// Every plan, by number of levels, then of cores.
    pub points: Vec<CoresPoint>,
    /// Steps of one more core at each of the plan's levels.
    pub steps: Vec<Step>,
    /// Cores at each of the plan's levels from which one more no longer pays; `None`
    /// where it still does at the most looked at.
    pub enough: Option<usize>,
}

/// Simulates every plan of `alternatives` and sets uncertainty against cores at each place, the
/// answers in the order of `places`. The same worlds are calibrated by every plan, so that
/// chance moves all alike. `progress` is called with 1 for every simulated calibration, of
/// which there are `settings.runs` for each of [`Alternatives::plans`].
///
/// # Errors
/// As [`foretell`].
pub fn curve_of_cores(
    truth: &Truth,
    alternatives: &Alternatives,
    places: &[Place],
    settings: &Settings,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Vec<CurveOfCores>, ForetellError> {
    let all = alternatives
        .plans()
        .iter()
        .map(|plan| foretell(truth, plan, places, settings, progress))
        .collect::<Result<Vec<_>, _>>()?;
    Ok((0..places.len())
        .filter_map(|place| at_place(alternatives, &all, place))
        .collect())
}

fn at_place(alternatives: &Alternatives, all: &[Foretold], place: usize) -> Option<CurveOfCores> {
    let here = all.first()?.places.get(place)?;
    let own = alternatives.levels.len();
    let points: Vec<CoresPoint> = all
        .iter()
        .filter_map(|foretold| {
            let found = foretold.places.get(place)?;
            let (levels, cores_per_level) = (foretold.levels.len(), foretold.cores_per_level);
            Some(CoresPoint {
                levels,
                cores_per_level,
                cores: foretold.cores,
                planned: levels == own && cores_per_level == alternatives.cores_per_level,
                refused: foretold.refused,
                expanded: found.expanded,
                held: found.held,
            })
        })
        .collect();
    let row: Vec<&CoresPoint> = points.iter().filter(|p| p.levels == own).collect();
    let steps: Vec<Step> = row
        .windows(2)
        .filter_map(|pair| step(pair.first()?, pair.last()?))
        .collect();
    // The first from which on none pays: one that falls short by chance does not end it.
    let enough = match steps.iter().rposition(|step| step.pays) {
        Some(last) => steps.get(last + 1).map(|step| step.from),
        None => steps.first().map(|step| step.from),
    };
    Some(CurveOfCores {
        place: here.place,
        theta_v: here.theta_v,
        floor: here.floor,
        points,
        steps,
        enough,
    })
}

fn step(fewer: &CoresPoint, more: &CoresPoint) -> Option<Step> {
    let (before, after) = (fewer.expanded?, more.expanded?);
    let gain = before.median - after.median;
    let share = gain / before.median;
    Some(Step {
        from: fewer.cores_per_level,
        to: more.cores_per_level,
        gain,
        // As if the two were independent: worlds are shared, so it is less.
        gain_standard_error: before.standard_error.hypot(after.standard_error),
        share,
        pays: share >= LEAST_GAIN,
    })
}
