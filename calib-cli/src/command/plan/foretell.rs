//! What the plan will be worth: calibrations of it simulated, and what more cores would
//! buy.

mod words;

use super::super::fit::{SEED, out_folder};
use super::super::setpoints::allowed_depletion;
use super::super::soil::{command_line, known, soil_of};
use super::report::SoilPlan;
use crate::calibration_file::{CalibrationFile, SUFFIX};
use crate::failure::{Failure, Warning};
use crate::output::OutputSet;
use crate::plot::{self, CoresAndUncertaintyChart};
use crate::progress::Progress;
use crate::workbench::Site;
use calib_core::calibration::{Calibration, Direction};
use calib_core::fit::Request;
use calib_core::plan::foretold::{
    Alternatives, CurveOfCores, ForetellError, Foretold, LEAST_RUNS, Place, PlaceName, Sampling,
    Settings, Truth, curve_of_cores, foretell,
};
use calib_core::soil::{SoilDescription, SoilWater, Texture, TextureClass, evidence};
use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;

/// Simulated calibrations of each plan where none are asked for: the uncertainty is then
/// sure to a hundredth or so of itself.
const SIMULATIONS: u32 = 200;
/// Most that may be asked for.
const MOST_SIMULATIONS: i64 = 20_000;
/// Bits of a converter that nothing is said of.
const USUAL_BITS: u8 = 12;
/// Share of the available water that may be used up where no crop is named. Our own
/// choice: half, as for many field crops.
const USUAL_DEPLETION: f64 = 0.5;

/// How the foretelling is made.
#[derive(Debug, Args)]
pub struct Foretelling {
    /// Simulated calibrations of each number of cores (20 or more); 0 for no foretelling
    #[arg(long, value_name = "N", default_value_t = SIMULATIONS, value_parser = clap::value_parser!(u32).range(0..=MOST_SIMULATIONS))]
    simulations: u32,
    /// By how much core and probe differ from place to place, m3/m3 (standard deviation); the saved calibration's, or 0.010, if not given
    #[arg(long, value_name = "THETA_V", allow_negative_numbers = true)]
    core_scatter: Option<f64>,
    /// Chooses the random numbers; the same seed, the same answer
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    seed: u64,
}

/// What one soil's plan will be worth.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Worth {
    /// The probe that was simulated; absent where the workbench has none in this soil.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub probe: Option<String>,
    /// Seed of the random numbers.
    pub seed: u64,
    /// What the simulation takes for true.
    pub truth: Truth,
    /// The same in sentences, with where the set points are taken from.
    pub assumptions: Vec<String>,
    /// The plan as it stands.
    pub plan: Foretold,
    /// Cores against uncertainty, at each place of the plan in its order.
    pub cores: Vec<CurveOfCores>,
}

/// Where the plan belongs.
pub(super) struct Given<'a> {
    /// The workbench and its folder, if there is one.
    pub site: Option<(&'a Site, &'a Path)>,
    /// The soil's plan.
    pub soil: &'a SoilPlan,
}

/// Foretells one soil's plan; `None` if that was not asked for. What keeps it from being
/// foretold is a warning, for the plan itself stands.
///
/// # Errors
/// [`Failure::Input`] for an option out of its range or a calibration file that cannot be
/// read.
pub(super) fn work(
    given: &Given<'_>,
    asked: &Foretelling,
) -> Result<Option<Result<Worth, Warning>>, Failure> {
    let runs = asked.simulations as usize;
    if runs == 0 {
        return Ok(None);
    }
    if runs < LEAST_RUNS {
        let error = ForetellError::TooFewRuns {
            runs,
            least: LEAST_RUNS,
        };
        let value = runs.to_string();
        return Err(command_line("--simulations", &value, error.to_string(), error.mend()).into());
    }
    let (probe, mut truth) = truth_of(given)?;
    if let Some(scatter) = asked.core_scatter {
        truth.core_scatter = scatter;
    }
    let sampling = Sampling {
        levels: given.soil.plan.targets().collect(),
        cores_per_level: given.soil.plan.cores_per_level,
    };
    let mut places = sampling.places();
    let (points, taken_from) = set_points(given)?;
    places.extend(points);
    let settings = Settings {
        runs,
        seed: asked.seed,
        request: Request::default(),
    };
    let alternatives = Alternatives::around(&sampling);
    let steps = runs * (1 + alternatives.plans().len());
    let progress = Progress::new("simulating calibrations of this plan", steps);
    let hook = |steps| progress.advance(steps);
    let found = foretell(&truth, &sampling, &places, &settings, &hook).and_then(|plan| {
        let cores = curve_of_cores(&truth, &alternatives, &places, &settings, &hook)?;
        Ok((plan, cores))
    });
    drop(progress);
    match found {
        Ok((plan, cores)) => {
            let mut assumptions = truth.assumptions();
            if let (Some(first), Some(_)) = (assumptions.get_mut(1), asked.core_scatter) {
                *first = first.replace(
                    "standard deviation;",
                    "standard deviation, as --core-scatter says, not",
                );
            }
            assumptions.extend(taken_from);
            Ok(Some(Ok(Worth {
                probe,
                seed: asked.seed,
                truth,
                assumptions,
                plan,
                cores,
            })))
        }
        Err(error) => match (asked.core_scatter, &error) {
            (Some(value), ForetellError::Figure { .. }) => Err(command_line(
                "--core-scatter",
                &value.to_string(),
                error.to_string(),
                error.mend(),
            )
            .into()),
            _ => Ok(Some(Err(Warning {
                place: format!("soil {}", given.soil.name()),
                what: format!("what the plan will be worth is not foretold: {error}"),
                why: "the plan itself stands".to_owned(),
                advice: error.mend().to_owned(),
            }))),
        },
    }
}

impl Worth {
    /// The place that decides: refill where it lies within the levels, or else the
    /// middle.
    pub(super) fn deciding(&self) -> Option<&CurveOfCores> {
        let answered = |curve: &&CurveOfCores| {
            let point = curve.points.iter().find(|point| point.planned);
            point.is_some_and(|point| point.expanded.is_some())
        };
        [PlaceName::Refill, PlaceName::Middle]
            .into_iter()
            .find_map(|name| {
                self.cores
                    .iter()
                    .filter(|curve| curve.place == name)
                    .find(answered)
            })
    }

    /// Draws cores against uncertainty and adds it to what is written into `folder`.
    ///
    /// # Errors
    /// [`Failure::Internal`] if it cannot be drawn.
    pub(super) fn add_chart(
        &self,
        outputs: &mut OutputSet,
        folder: &Path,
        soil: &SoilPlan,
    ) -> Result<(), Failure> {
        let Some(curve) = self.deciding() else {
            return Ok(());
        };
        let chart = CoresAndUncertaintyChart::new(soil.name(), curve);
        let name = format!("cores-and-uncertainty-{}", soil.file_name());
        outputs.add(folder.join(format!("{name}.svg")), plot::svg(&chart)?);
        outputs.add(folder.join(format!("{name}.png")), plot::png(&chart)?);
        Ok(())
    }
}

/// What is taken for true: the saved calibration of the first probe of the soil that has
/// one, or a made-up probe.
fn truth_of(given: &Given<'_>) -> Result<(Option<String>, Truth), Failure> {
    let probes = &given.soil.probes;
    let Some((site, folder)) = given.site else {
        return Ok((None, Truth::assumed(USUAL_BITS, Direction::FallsWhenWetter)));
    };
    for probe in probes {
        if let Some(calibration) = saved(folder, probe)? {
            return Ok((
                Some(probe.clone()),
                Truth::of_calibration(&calibration, None),
            ));
        }
    }
    let first = probes.first().and_then(|id| site.probe(id));
    let bits = first.map_or(USUAL_BITS, |probe| probe.adc_bits);
    let direction = first.and_then(|probe| probe.direction);
    let truth = Truth::assumed(bits, direction.unwrap_or(Direction::FallsWhenWetter));
    Ok((first.map(|probe| probe.id.clone()), truth))
}

/// The calibration of a probe that lies where `fit` leaves it, if there is one.
fn saved(folder: &Path, probe: &str) -> Result<Option<Calibration>, Failure> {
    let path = out_folder(folder, None).join(format!("{probe}{SUFFIX}"));
    if !path.is_file() {
        return Ok(None);
    }
    CalibrationFile::load(&path).map(|file| Some(file.calibration))
}

/// Refill and stop where the soil's water is known, and where they are taken from.
fn set_points(given: &Given<'_>) -> Result<(Vec<Place>, Option<String>), Failure> {
    let Some(water) = water_of(given)? else {
        return Ok((Vec::new(), None));
    };
    let stated = given
        .site
        .map(|(site, _)| allowed_depletion(site))
        .transpose()?
        .flatten();
    let depletion = stated.unwrap_or(USUAL_DEPLETION);
    let place = |name, share: f64| {
        let at = water.depleted_by(share);
        Place {
            name,
            theta_v: at.value,
            soil_water_u: at.u,
        }
    };
    let why = if stated.is_some() {
        "as the crop allows"
    } else {
        "our own choice, for no crop is named"
    };
    let sentence = format!(
        "Stop is field capacity, refill lies {:.0} % of the available water below it ({why}).",
        100.0 * depletion
    );
    Ok((
        vec![
            place(PlaceName::Refill, depletion),
            place(PlaceName::Stop, 0.0),
        ],
        Some(sentence),
    ))
}

fn water_of(given: &Given<'_>) -> Result<Option<SoilWater>, Failure> {
    // The plan has looked at both already: where it knows neither, there is nothing.
    if given.soil.field_capacity.is_none() || given.soil.wilting_point.is_none() {
        return Ok(None);
    }
    if let (Some((site, _)), Some(id)) = (given.site, &given.soil.soil) {
        return match soil_of(site, id) {
            Some(soil) => known(site, soil).map(|(_, found)| Some(found.water)),
            None => Ok(None),
        };
    }
    let class = given
        .soil
        .class
        .and_then(|class| class.parse::<TextureClass>().ok());
    Ok(class.and_then(|class| {
        let description = SoilDescription {
            texture: Some(Texture::Class(class)),
            ..SoilDescription::default()
        };
        evidence(&description).ok().map(|found| found.water)
    }))
}
