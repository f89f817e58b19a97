//! `ovendry plan --next`: half-way through, where the next cores help most.

mod half_way;
mod words;

use super::super::fit::chosen;
use super::super::setpoints::allowed_depletion;
use super::super::soil::{known, soil_of};
use super::Arguments;
use crate::failure::{Failure, Verdict, Warning, all_or_every_complaint};
use crate::fitted::{Outcome, Refused, fit_probe};
use crate::output::{print, print_json};
use crate::pairing;
use crate::workbench::Workbench;
use calib_core::fit::Request;
use calib_core::plan::foretold::PlaceName;
use calib_core::plan::next_core::{NewCore, NextCores, Target, next_cores};
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;

/// What `ovendry plan --next --json` prints.
#[derive(Serialize, JsonSchema)]
pub struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    /// One a probe that has cores.
    probes: Vec<ProbeNext>,
    /// Probes whose cores so far give no calibration, and why.
    refused: Vec<Refused>,
    /// What was noticed.
    warnings: Vec<Warning>,
}

/// Where the next cores help one probe most.
#[derive(Serialize, JsonSchema)]
struct ProbeNext {
    /// The probe.
    probe: String,
    /// Its soil.
    soil: String,
    /// The curve that the cores so far lead to, by the name `--curve` takes.
    curve: &'static str,
    /// Where refill and stop are taken from; absent where they are not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    set_points_from: Option<String>,
    /// Cores of samples.csv that are not dry yet: the advice does not know of them.
    on_their_way: usize,
    /// The advice.
    #[serde(flatten)]
    advice: NextCores,
    /// Degrees of freedom of the fit, which is how well the cores know their own scatter.
    #[serde(skip)]
    degrees_of_freedom: f64,
}

/// Runs it.
///
/// # Errors
/// [`Failure`] as the workbench and its cores have it.
pub(super) fn run(folder: &Path, arguments: &Arguments) -> Result<Verdict, Failure> {
    let answer = work(folder, arguments)?;
    for warning in &answer.warnings {
        eprintln!("{warning}");
    }
    if arguments.json {
        print_json(&answer)?;
    } else {
        print(&words::of(&answer))?;
    }
    Ok(answer.verdict)
}

fn work(folder: &Path, arguments: &Arguments) -> Result<Answer, Failure> {
    let (workbench, undried) = half_way::load(folder, arguments)?;
    let paired = pairing::pair(&workbench)?;
    let mut warnings = workbench.warnings.clone();
    warnings.extend(half_way::left_out(folder, &undried));
    warnings.extend(paired.warnings.iter().cloned());
    let mut probes = chosen(&paired.probes, arguments.probe.as_deref(), &workbench)?;
    if let Some(soil) = &arguments.soil {
        probes.retain(|probe| &probe.soil == soil);
    }
    let outcomes = all_or_every_complaint(
        probes
            .iter()
            .map(|probe| fit_probe(&workbench, probe, Request::default())),
    )?;
    let (mut advised, mut refused) = (Vec::new(), Vec::new());
    for outcome in outcomes {
        let fitted = match outcome {
            Outcome::Fitted(fitted) => fitted,
            Outcome::Refused(one) => {
                refused.push(one);
                continue;
            }
        };
        let calibration = &fitted.calibration;
        let (targets, set_points_from) = targets(&workbench, &calibration.soil)?;
        let Some(new_core) = NewCore::like(&fitted.paired.observations) else {
            continue;
        };
        match next_cores(calibration, &new_core, &targets) {
            Ok(advice) => advised.push(ProbeNext {
                probe: calibration.probe.clone(),
                soil: calibration.soil.clone(),
                curve: calibration.curve.kind.key(),
                set_points_from,
                on_their_way: half_way::on_their_way(&undried, calibration),
                advice,
                degrees_of_freedom: calibration.degrees_of_freedom,
            }),
            Err(error) => warnings.push(Warning {
                place: calibration.probe.clone(),
                what: error.to_string(),
                why: "there is no advice on its next core".to_owned(),
                advice: "look at what `ovendry fit` says of it".to_owned(),
            }),
        }
    }
    Ok(Answer {
        format: "ovendry plan-next",
        version: 1,
        verdict: Verdict::good_if(refused.is_empty()),
        probes: advised,
        refused,
        warnings,
    })
}

/// Refill and stop of a soil, and where they are taken from.
fn targets(workbench: &Workbench, soil: &str) -> Result<(Vec<Target>, Option<String>), Failure> {
    let site = &workbench.site;
    let Some((soil, depletion)) = soil_of(site, soil).zip(allowed_depletion(site)?) else {
        return Ok((Vec::new(), None));
    };
    let (_, found) = known(site, soil)?;
    let target = |place, share: f64| Target {
        place,
        theta_v: found.water.depleted_by(share).value,
    };
    Ok((
        vec![
            target(PlaceName::Refill, depletion),
            target(PlaceName::Stop, 0.0),
        ],
        Some(format!(
            "stop at field capacity, refill {:.0} % of the available water below it, as the crop allows",
            100.0 * depletion
        )),
    ))
}
