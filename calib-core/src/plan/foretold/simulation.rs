//! One plan simulated many times.

use super::middle::mean_and_variance;
use super::world::World;
use super::{ForetellError, Middle, Share, Truth};
use crate::calibration::{COVERAGE, Calibration, QUANTISATION};
use crate::curve::CurveKind;
use crate::fit::Request;
use crate::irrigation::SetPoint;
use crate::uncertainty::{Source, coverage_factor};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// New readings taken at each place with each simulated calibration.
pub const NEW_READINGS: usize = 4;

/// Fewest simulated calibrations: below it the ends of the spread are single values.
pub const LEAST_RUNS: usize = 20;

/// Most cores simulated: more than anybody digs for one probe.
const MOST_CORES: usize = 500;

/// What is planned.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampling {
    /// theta_v of each level, m3/m3.
    pub levels: Vec<f64>,
    /// Cores at each.
    pub cores_per_level: usize,
}

impl Sampling {
    /// Cores in all.
    pub fn cores(&self) -> usize {
        self.levels.len().saturating_mul(self.cores_per_level)
    }

    /// Driest and wettest level, m3/m3.
    pub fn range(&self) -> (f64, f64) {
        crate::quantity::lowest_and_highest(self.levels.iter().copied())
    }

    /// The usual places to ask: a tenth in from the driest level, the middle, and a
    /// tenth in from the wettest. At the very ends half of all readings lie beyond the
    /// calibrated counts, where there is no answer.
    pub fn places(&self) -> Vec<Place> {
        let (low, high) = self.range();
        let at = |name, share: f64| Place {
            name,
            theta_v: low + share * (high - low),
            soil_water_u: 0.0,
        };
        vec![
            at(PlaceName::Dry, 0.1),
            at(PlaceName::Middle, 0.5),
            at(PlaceName::Wet, 0.9),
        ]
    }

    fn check(&self, truth: &Truth) -> Result<(), ForetellError> {
        if self.cores() == 0 {
            return Err(ForetellError::NoCores {
                levels: self.levels.len(),
                cores_per_level: self.cores_per_level,
            });
        }
        if self.cores() > MOST_CORES {
            return Err(ForetellError::TooManyCores {
                cores: self.cores(),
                most: MOST_CORES,
            });
        }
        self.levels
            .iter()
            .try_for_each(|level| truth.count_of(*level).map(|_| ()))
    }
}

/// What a place is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PlaceName {
    /// Near the driest level.
    Dry,
    /// Halfway.
    Middle,
    /// Near the wettest level.
    Wet,
    /// Where an irrigation starts.
    Refill,
    /// Where it stops.
    Stop,
}

impl From<SetPoint> for PlaceName {
    fn from(point: SetPoint) -> Self {
        match point {
            SetPoint::Refill => Self::Refill,
            SetPoint::Stop => Self::Stop,
        }
    }
}

impl fmt::Display for PlaceName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            PlaceName::Dry => "dry",
            PlaceName::Middle => "middle",
            PlaceName::Wet => "wet",
            PlaceName::Refill => "refill",
            PlaceName::Stop => "stop",
        })
    }
}

/// Where the calibration is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Its name.
    pub name: PlaceName,
    /// theta_v there, m3/m3.
    pub theta_v: f64,
    /// Standard uncertainty of a set point from field capacity and wilting point, m3/m3;
    /// 0 where this is no set point.
    pub soil_water_u: f64,
}

/// How it is simulated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Simulated calibrations of each plan.
    pub runs: usize,
    /// The same seed, the same answer, whatever the number of threads.
    pub seed: u64,
    /// What is asked of the fit.
    pub request: Request,
}

/// What a plan comes to.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Foretold {
    /// theta_v of each level, m3/m3.
    pub levels: Vec<f64>,
    /// Cores at each.
    pub cores_per_level: usize,
    /// Cores in all.
    pub cores: usize,
    /// Simulated calibrations.
    pub runs: usize,
    /// Share of them that the fit refused.
    pub refused: Share,
    /// What the first of these was refused for.
    pub refused_for: Option<String>,
    /// Share of the calibrations, refused ones aside, that carried a temperature term.
    pub temperature_term: Option<Share>,
    /// The curves chosen, commonest first.
    pub curves: Vec<ChosenCurve>,
    /// What they say at the places asked for.
    pub places: Vec<ForetoldPlace>,
}

impl Foretold {
    /// The place of this name.
    pub fn at(&self, name: PlaceName) -> Option<&ForetoldPlace> {
        self.places.iter().find(|place| place.place == name)
    }
}

/// A curve and how often it was chosen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ChosenCurve {
    /// Which.
    pub curve: CurveKind,
    /// Share of the calibrations that were not refused.
    pub share: f64,
}

/// What simulated calibrations say at one place. Refused calibrations are left out, and
/// so is one where this place lies outside its calibrated counts.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ForetoldPlace {
    /// Its name.
    pub place: PlaceName,
    /// theta_v there, m3/m3.
    pub theta_v: f64,
    /// What the probe reads there at the reference temperature.
    pub count: f64,
    /// Share of new readings that had an answer.
    pub answered: Option<Share>,
    /// Expanded uncertainty (95 %) that the calibration states of one new reading,
    /// m3/m3; `None` where fewer than two had an answer.
    pub expanded: Option<Middle>,
    /// The same of a set point, with what is not known of field capacity and wilting
    /// point, m3/m3; `None` where this is no set point.
    pub set_point_expanded: Option<Middle>,
    /// Root mean square of how far new readings were really off, m3/m3.
    pub error: Option<f64>,
    /// Its standard error.
    pub error_standard_error: Option<f64>,
    /// Root mean square of how far the curve alone was off, m3/m3.
    pub curve_error: Option<f64>,
    /// Share of new readings whose stated interval held the truth.
    pub held: Option<Share>,
    /// What the expanded uncertainty would be, m3/m3, were curve and scatter known
    /// without error: no number of cores goes below it.
    pub floor: f64,
}

/// Simulates `plan` against `truth` and asks at `places`. `progress` is called with 1
/// for every simulated calibration.
///
/// # Errors
/// [`ForetellError`] where plan, places, truth or settings are no such thing.
pub fn foretell(
    truth: &Truth,
    plan: &Sampling,
    places: &[Place],
    settings: &Settings,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Foretold, ForetellError> {
    if settings.runs < LEAST_RUNS {
        return Err(ForetellError::TooFewRuns {
            runs: settings.runs,
            least: LEAST_RUNS,
        });
    }
    truth.check()?;
    plan.check(truth)?;
    let counts = places
        .iter()
        .map(|place| truth.count_of(place.theta_v))
        .collect::<Result<Vec<f64>, _>>()?;
    let runs: Vec<Run> = (0..settings.runs)
        .into_par_iter()
        .map(|number| {
            let run = one_run(truth, plan, places, settings, number);
            progress(1);
            run
        })
        .collect();
    let calibrated: Vec<&Calibrated> = runs.iter().filter_map(|run| run.as_ref().ok()).collect();
    let refused: Vec<f64> = runs.iter().map(|run| share_of(run.is_err())).collect();
    let carried: Vec<f64> = calibrated.iter().map(|c| share_of(c.temperature)).collect();
    let foretold_places = places.iter().zip(counts).enumerate();
    Ok(Foretold {
        levels: plan.levels.clone(),
        cores_per_level: plan.cores_per_level,
        cores: plan.cores(),
        runs: settings.runs,
        refused: Share::of(&refused).unwrap_or(Share {
            share: 0.0,
            standard_error: 0.0,
        }),
        refused_for: runs.iter().find_map(|run| run.as_ref().err()).cloned(),
        temperature_term: Share::of(&carried),
        curves: curves(&calibrated),
        places: foretold_places
            .map(|(i, (place, count))| {
                let seen: Vec<&Seen> = calibrated.iter().filter_map(|c| c.seen.get(i)).collect();
                at_place(truth, place, count, &seen)
            })
            .collect(),
    })
}

/// What became of one simulated calibration; why it was refused.
type Run = Result<Calibrated, String>;

struct Calibrated {
    curve: CurveKind,
    temperature: bool,
    seen: Vec<Seen>,
}

/// What one calibration did at one place.
#[derive(Default)]
struct Seen {
    expanded: Option<f64>,
    set_point_expanded: Option<f64>,
    curve_error: Option<f64>,
    /// Errors of the new readings that had an answer, m3/m3.
    errors: Vec<f64>,
    /// Of these, those whose interval held the truth.
    held: usize,
}

fn one_run(
    truth: &Truth,
    plan: &Sampling,
    places: &[Place],
    settings: &Settings,
    number: usize,
) -> Run {
    let mut world = World::new(truth, settings.seed, number as u64);
    let (observations, noise) = world.dig(&plan.levels, plan.cores_per_level);
    let (calibration, choice) = world
        .calibration(&observations, noise, settings.request)
        .map_err(|error| error.to_string())?;
    Ok(Calibrated {
        curve: choice.fit.curve.kind,
        temperature: choice.temperature.is_carried(),
        seen: places
            .iter()
            .map(|place| look(&mut world, &calibration, place))
            .collect(),
    })
}

fn look(world: &mut World<'_>, calibration: &Calibration, place: &Place) -> Seen {
    let mut seen = Seen::default();
    let (count, temperature) = world.undisturbed(place.theta_v);
    if let Ok(prediction) = calibration.predict(count, temperature) {
        seen.expanded = Some(prediction.expanded.expanded);
        seen.curve_error = Some(prediction.theta_v.into());
        seen.curve_error = seen.curve_error.map(|theta: f64| theta - place.theta_v);
        if place.soil_water_u > 0.0 {
            let mut budget = prediction.budget;
            budget.add_known(Source::SoilWater, place.soil_water_u);
            seen.set_point_expanded = Some(budget.expand(COVERAGE).expanded);
        }
    }
    for _ in 0..NEW_READINGS {
        let reading = world.reading(place.theta_v);
        if let Ok(prediction) = calibration.predict(reading.count, reading.temperature) {
            let error = f64::from(prediction.theta_v) - reading.theta_v;
            seen.held += usize::from(error.abs() <= prediction.expanded.expanded);
            seen.errors.push(error);
        }
    }
    seen
}

fn at_place(truth: &Truth, place: &Place, count: f64, seen: &[&Seen]) -> ForetoldPlace {
    let answered: Vec<f64> = seen
        .iter()
        .map(|s| s.errors.len() as f64 / NEW_READINGS as f64)
        .collect();
    let with_answer: Vec<&&Seen> = seen.iter().filter(|s| !s.errors.is_empty()).collect();
    let held: Vec<f64> = with_answer
        .iter()
        .map(|s| s.held as f64 / s.errors.len() as f64)
        .collect();
    let squares: Vec<f64> = with_answer
        .iter()
        .map(|s| s.errors.iter().map(|e| e * e).sum::<f64>() / s.errors.len() as f64)
        .collect();
    let curve_squares: Vec<f64> = seen
        .iter()
        .filter_map(|s| s.curve_error.map(|e| e * e))
        .collect();
    let error = mean_and_variance(&squares);
    ForetoldPlace {
        place: place.name,
        theta_v: place.theta_v,
        count,
        answered: Share::of(&answered),
        expanded: Middle::of(seen.iter().filter_map(|s| s.expanded).collect()),
        set_point_expanded: Middle::of(seen.iter().filter_map(|s| s.set_point_expanded).collect()),
        error: error.map(|(mean, _)| mean.sqrt()),
        // The error of a root is that of the square over twice the root.
        error_standard_error: error
            .filter(|(mean, _)| *mean > 0.0)
            .map(|(mean, v)| 0.5 * (v / squares.len() as f64 / mean).sqrt()),
        curve_error: mean_and_variance(&curve_squares).map(|(mean, _)| mean.sqrt()),
        held: Share::of(&held),
        floor: floor(truth, place, count),
    }
}

/// The expanded uncertainty of one new reading with the truth itself for a curve: what
/// is left is normal and known.
pub(super) fn floor(truth: &Truth, place: &Place, count: f64) -> f64 {
    let slope = truth.curve.slope(count);
    let warmth = truth
        .temperature
        .map_or(0.0, |term| slope * term.coefficient * truth.temperature_u);
    let variance: f64 = [
        truth.core_scatter,
        truth.relative_volume_u * place.theta_v,
        slope * truth.noise_counts,
        slope * QUANTISATION,
        warmth,
        slope * count * truth.supply_relative_u,
        slope * truth.probe_to_probe_counts,
    ]
    .iter()
    .map(|u| u * u)
    .sum();
    coverage_factor(COVERAGE, None) * variance.sqrt()
}

fn curves(calibrated: &[&Calibrated]) -> Vec<ChosenCurve> {
    let mut curves: Vec<ChosenCurve> = CurveKind::ALL
        .into_iter()
        .filter_map(|curve| {
            let times = calibrated.iter().filter(|c| c.curve == curve).count();
            (times > 0).then(|| ChosenCurve {
                curve,
                share: times as f64 / calibrated.len() as f64,
            })
        })
        .collect();
    curves.sort_by(|a, b| b.share.total_cmp(&a.share));
    curves
}

fn share_of(it_is_so: bool) -> f64 {
    f64::from(u8::from(it_is_so))
}
