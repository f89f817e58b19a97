//! The advice, as numbers.

use super::knowledge::Knowledge;
use super::search::{Found, least_mean_variance, most_information};
use crate::calibration::{COVERAGE, Calibration, ConvertError};
use crate::fit::Observation;
use crate::plan::foretold::PlaceName;
use crate::readings::median;
use crate::uncertainty::{Expanded, coverage_factor};
use schemars::JsonSchema;
use serde::Serialize;
use statrs::function::gamma::ln_gamma;

/// Most cores advised on at once: three at 31 places are some five thousand ways, all
/// of them tried.
pub const MOST_MORE_CORES: usize = 3;

/// Places in the calibrated range where a core may be dug. Finer than a container can
/// be wetted to.
const GRID: usize = 31;

/// What makes cores best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Criterion {
    /// The mean variance of what the curve says at the set points.
    SetPoints,
    /// The mean variance of what the curve says over the calibrated range
    /// (I-criterion).
    WholeRange,
    /// The determinant of the information on the parameters (D-criterion).
    Parameters,
}

/// How sure a new core would be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct NewCore {
    /// Standard uncertainty of its theta_v from weighing and drying, m3/m3.
    pub reference_u: f64,
    /// Standard uncertainty of the count beside it, counts.
    pub count_u: f64,
}

impl NewCore {
    /// One like the middle one of those so far; `None` without any.
    pub fn like(observations: &[Observation]) -> Option<Self> {
        let mut reference: Vec<f64> = observations.iter().map(|o| o.theta_v.u).collect();
        let mut count: Vec<f64> = observations.iter().map(|o| o.count.u).collect();
        Some(Self {
            reference_u: median(&mut reference)?,
            count_u: median(&mut count)?,
        })
    }
}

/// A place whose uncertainty matters.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Target {
    /// Its name.
    pub place: PlaceName,
    /// theta_v there, m3/m3.
    pub theta_v: f64,
}

/// What a place gains by the cores.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PlaceAfter {
    /// Its name.
    pub place: PlaceName,
    /// theta_v there, m3/m3.
    pub theta_v: f64,
    /// Expanded uncertainty (95 %) of one new reading there now, m3/m3.
    pub expanded_now: f64,
    /// What it would become, m3/m3.
    pub expanded_after: f64,
}

/// So many cores, where they help most, and what they would do.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Advice {
    /// What makes them best.
    pub criterion: Criterion,
    /// theta_v at which to dig each, m3/m3, driest first; one may stand there twice.
    pub theta_v: Vec<f64>,
    /// What the probe reads there at the reference temperature.
    pub counts: Vec<f64>,
    /// Mean, over the places the criterion looks at, of the standard uncertainty of the
    /// curve there before and after, as a root of the mean variance, m3/m3; over the
    /// range for [`Criterion::Parameters`].
    pub curve_u_now: f64,
    /// The same with these cores.
    pub curve_u_after: f64,
    /// By how much they raise the logarithm of the determinant of the information on the
    /// parameters.
    pub information_gain: f64,
    /// The places asked about.
    pub places: Vec<PlaceAfter>,
}

/// The advice on the next cores.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct NextCores {
    /// Cores so far.
    pub cores: usize,
    /// Driest and wettest water content calibrated, m3/m3: no core is advised beyond.
    pub range: (f64, f64),
    /// How sure a new core is taken to be.
    pub new_core: NewCore,
    /// Scatter of the cores as the cores so far have it, m3/m3.
    pub core_scatter: f64,
    /// Share of what the curve is unsure of that comes from not knowing which curve it
    /// is, over the range.
    pub share_from_choice: f64,
    /// Targets outside the range: there a core has to be dug before anything can be said.
    pub outside: Vec<Target>,
    /// For one core, two and so on up to [`MOST_MORE_CORES`]: first by the set points if
    /// any are in the range, then over the whole range, then by the determinant.
    pub advice: Vec<Advice>,
}

impl NextCores {
    /// The advice by a criterion for so many cores.
    pub fn by(&self, criterion: Criterion, cores: usize) -> Option<&Advice> {
        self.advice
            .iter()
            .find(|advice| advice.criterion == criterion && advice.theta_v.len() == cores)
    }
}

/// Why there is no advice.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NextCoreError {
    /// The calibration knows its curve without any uncertainty.
    #[error("the calibration holds no uncertainty of its curve, so no core would help")]
    NothingUnsure,
    /// A place could not be asked.
    #[error(transparent)]
    Convert(#[from] ConvertError),
}

/// Where the next cores help most, given what the `calibration` on the cores so far is
/// unsure of. `targets` are places that matter, as refill and stop; without any inside the
/// calibrated range, the whole range does.
///
/// # Errors
/// [`NextCoreError`] where the calibration says nothing of its own uncertainty.
pub fn next_cores(
    calibration: &Calibration,
    new_core: &NewCore,
    targets: &[Target],
) -> Result<NextCores, NextCoreError> {
    let ends = [calibration.domain.low, calibration.domain.high];
    let ends = ends.map(|count| calibration.curve.value(count));
    let range = (ends[0].min(ends[1]), ends[0].max(ends[1]));
    let (inside, outside): (Vec<Target>, Vec<Target>) = targets
        .iter()
        .copied()
        .partition(|t| t.theta_v >= range.0 && t.theta_v <= range.1);
    let asked = if inside.is_empty() {
        usual_places(range)
    } else {
        inside.clone()
    };
    let theta: Vec<f64> = asked.iter().map(|t| t.theta_v).collect();
    let knowledge = Knowledge::of(calibration, new_core, GRID, &theta);
    let grid: Vec<usize> = (0..knowledge.grid).collect();
    let places: Vec<usize> = (knowledge.grid..knowledge.theta_v.len()).collect();
    let mean = |of: &[usize]| -> f64 {
        of.iter().map(|i| knowledge.together[(*i, *i)]).sum::<f64>() / of.len().max(1) as f64
    };
    let whole = mean(&grid);
    // Written so that no number is refused too.
    if !(whole > 0.0 && whole.is_finite()) {
        return Err(NextCoreError::NothingUnsure);
    }
    let expanded: Vec<Expanded> = places
        .iter()
        .filter_map(|i| knowledge.counts.get(*i))
        .map(|count| {
            let reference = calibration.temperature.map(|term| term.reference);
            calibration.predict(*count, reference).map(|p| p.expanded)
        })
        .collect::<Result<_, _>>()?;

    let mut advice = Vec::new();
    let mut add = |criterion: Criterion, of: &[usize], found: Found| {
        let ends = found.at.split_last();
        let Some((last, before)) = ends else { return };
        let mut left = knowledge.together.clone();
        for at in before {
            left = knowledge.after(&left, *at);
        }
        let variance_after = |of: usize| knowledge.variance_after(&left, *last, of);
        let mean_after = of.iter().map(|i| variance_after(*i)).sum::<f64>() / of.len() as f64;
        advice.push(Advice {
            criterion,
            theta_v: found.at.iter().map(|i| knowledge.theta_v[*i]).collect(),
            counts: found.at.iter().map(|i| knowledge.counts[*i]).collect(),
            curve_u_now: mean(of).sqrt(),
            curve_u_after: mean_after.max(0.0).sqrt(),
            information_gain: information(&knowledge, &found.at),
            places: asked
                .iter()
                .zip(&places)
                .zip(&expanded)
                .map(|((target, i), now)| PlaceAfter {
                    place: target.place,
                    theta_v: target.theta_v,
                    expanded_now: now.expanded,
                    expanded_after: expanded_after(
                        now,
                        knowledge.together[(*i, *i)] - variance_after(*i),
                        calibration.degrees_of_freedom,
                        found.at.len(),
                    ),
                })
                .collect(),
        });
    };
    if !inside.is_empty() {
        for cores in 1..=MOST_MORE_CORES {
            let found = least_mean_variance(&knowledge, cores, &places);
            add(Criterion::SetPoints, &places, found);
        }
    }
    for cores in 1..=MOST_MORE_CORES {
        let found = least_mean_variance(&knowledge, cores, &grid);
        add(Criterion::WholeRange, &grid, found);
    }
    for cores in 1..=MOST_MORE_CORES {
        let found = most_information(&knowledge, cores);
        add(Criterion::Parameters, &grid, found);
    }
    let from_parameters: f64 = knowledge
        .curves
        .iter()
        .map(|(weight, c)| weight * grid.iter().map(|i| c[(*i, *i)]).sum::<f64>())
        .sum::<f64>()
        / grid.len().max(1) as f64;
    Ok(NextCores {
        cores: calibration.cores,
        range,
        new_core: *new_core,
        core_scatter: calibration.core_scatter,
        share_from_choice: (1.0 - from_parameters / whole).clamp(0.0, 1.0),
        outside,
        advice,
    })
}

/// A tenth in from either end, and the middle.
fn usual_places((dry, wet): (f64, f64)) -> Vec<Target> {
    [
        (PlaceName::Dry, 0.1),
        (PlaceName::Middle, 0.5),
        (PlaceName::Wet, 0.9),
    ]
    .into_iter()
    .map(|(place, share)| Target {
        place,
        theta_v: dry + share * (wet - dry),
    })
    .collect()
}

fn information(knowledge: &Knowledge, at: &[usize]) -> f64 {
    knowledge
        .curves
        .iter()
        .map(|(weight, covariance)| {
            let mut left = covariance.clone();
            let mut gain = 0.0;
            for place in at {
                gain += knowledge.information(&left, *place);
                left = knowledge.after(&left, *place);
            }
            weight * gain
        })
        .sum()
}

/// The expanded uncertainty once `fall` is off the variance and `more` degrees of
/// freedom are there. What makes the coverage factor larger than the normal
/// distribution's shrinks as Student's t does with the degrees of freedom; and, to the
/// same degree, the scatter comes out larger, for few cores show too little of it on
/// average.
fn expanded_after(now: &Expanded, fall: f64, degrees_of_freedom: f64, more: usize) -> f64 {
    let variance = (now.standard.powi(2) - fall).max(0.0);
    let normal = coverage_factor(COVERAGE, None);
    let beyond = |freedom: f64| coverage_factor(COVERAGE, Some(freedom)) - normal;
    let freedom = degrees_of_freedom.max(1.0);
    let with_more = freedom + more as f64;
    // How much of it rests on a scatter that was estimated: all of it, or none.
    let estimated = ((now.coverage_factor - normal) / beyond(freedom)).clamp(0.0, 1.0);
    let factor = normal + (now.coverage_factor - normal) * beyond(with_more) / beyond(freedom);
    let growth = 1.0 + estimated * (mean_of_estimate(with_more) / mean_of_estimate(freedom) - 1.0);
    factor * growth * variance.sqrt()
}

/// Mean of a standard deviation estimated with these degrees of freedom, over the true
/// one: c4 of quality control, `sqrt(2/v) Gamma((v+1)/2) / Gamma(v/2)` (e.g. Montgomery,
/// Introduction to Statistical Quality Control; recalled from memory).
fn mean_of_estimate(freedom: f64) -> f64 {
    (0.5 * (2.0 / freedom).ln() + ln_gamma(0.5 * (freedom + 1.0)) - ln_gamma(0.5 * freedom)).exp()
}
