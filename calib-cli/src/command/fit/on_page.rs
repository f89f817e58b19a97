//! The fit as the report's page shows it: the same values and charts, and no file.

use super::{SEED, calibration_file, charts, full_report, levels, surroundings};
use crate::calibration_file::CalibrationFile;
use crate::cores::Core;
use crate::failure::{Failure, Warning, all_or_every_complaint};
use crate::fit_report::{self, ProbeReport};
use crate::fitted::{Fitted, Outcome, Refused, fit_probe};
use crate::pairing::{self, PairedProbe};
use crate::plot::{self, OnPage};
use crate::workbench::Workbench;
use calib_core::fit::{Loss, Request};
use rayon::prelude::*;
use std::path::Path;

/// The fit of a whole workbench.
pub(in crate::command) struct Shown {
    /// Probes with a calibration.
    pub probes: Vec<ShownProbe>,
    /// Probes without.
    pub refused: Vec<Refused>,
    /// What was noticed.
    pub warnings: Vec<Warning>,
}

/// A probe with its calibration.
pub(in crate::command) struct ShownProbe {
    /// What is said about the fit.
    pub report: ProbeReport,
    /// The calibration as it would be saved.
    pub file: CalibrationFile,
    /// The curve through its cores.
    pub curve: OnPage,
    /// What the curve leaves over.
    pub residuals: OnPage,
}

/// Fits every probe of a workbench, each with the curve and the loss of its calibration
/// in `saved` where that gives the same calibration again, else as `fit` does unasked.
///
/// # Errors
/// As `fit`.
pub(in crate::command) fn fit(
    workbench: &Workbench,
    saved: &[CalibrationFile],
) -> Result<Shown, Failure> {
    let paired = pairing::pair(workbench)?;
    let mut warnings = workbench.warnings.clone();
    warnings.extend(paired.warnings.iter().cloned());
    let outcomes = all_or_every_complaint(
        paired
            .probes
            .iter()
            .map(|probe| as_saved(workbench, probe, saved)),
    )?;
    let shown: Vec<Result<_, Failure>> = outcomes
        .into_par_iter()
        .map(|outcome| match outcome {
            Outcome::Refused(why) => Ok(Err(why)),
            Outcome::Fitted(fitted) => {
                let shown = show(workbench, &fitted, &paired.cores)?;
                Ok(Ok((shown, fit_report::warnings(&fitted))))
            }
        })
        .collect();
    let (mut probes, mut refused) = (Vec::new(), Vec::new());
    for one in shown {
        match one? {
            Ok((probe, of_fit)) => {
                warnings.extend(of_fit);
                probes.push(probe);
            }
            Err(why) => refused.push(why),
        }
    }
    Ok(Shown {
        probes,
        refused,
        warnings,
    })
}

fn show(workbench: &Workbench, fitted: &Fitted<'_>, cores: &[Core]) -> Result<ShownProbe, Failure> {
    let file = calibration_file(workbench, fitted)?;
    let surroundings = surroundings(workbench, &file);
    let levels = levels(workbench, fitted, surroundings.set_points.as_ref());
    let (curve, residuals) = charts(fitted, &levels)?;
    Ok(ShownProbe {
        report: full_report(workbench, fitted, &surroundings, cores, SEED)?,
        file,
        curve: plot::on_page(&curve)?,
        residuals: plot::on_page(&residuals)?,
    })
}

/// A calibration may have been made with a curve or a loss that was asked for; the file
/// does not say which loss.
fn as_saved<'a>(
    workbench: &Workbench,
    probe: &'a PairedProbe,
    saved: &[CalibrationFile],
) -> Result<Outcome<'a>, Failure> {
    let unasked = fit_probe(workbench, probe, Request::default())?;
    let saved = saved
        .iter()
        .map(|file| &file.calibration)
        .find(|calibration| calibration.probe == probe.probe);
    let Some(saved) = saved else {
        return Ok(unasked);
    };
    let same = |outcome: &Outcome<'_>| matches!(outcome, Outcome::Fitted(fitted) if fitted.calibration == *saved);
    if same(&unasked) {
        return Ok(unasked);
    }
    for curve in [None, Some(saved.curve.kind)] {
        for loss in Loss::ALL {
            let again = fit_probe(workbench, probe, Request { curve, loss });
            if let Ok(again) = again
                && same(&again)
            {
                return Ok(again);
            }
        }
    }
    Ok(unasked)
}

/// A warning for each calibration of `saved` that is not the one shown: controller
/// files made from it say something else than the page.
pub(in crate::command) fn otherwise_saved(
    shown: &[ShownProbe],
    saved: &[CalibrationFile],
    out: &Path,
) -> Vec<Warning> {
    let other = saved.iter().filter(|file| {
        let probe = &file.calibration.probe;
        let now = shown
            .iter()
            .find(|one| &one.file.calibration.probe == probe);
        now.is_some_and(|now| now.file.calibration != file.calibration)
    });
    other
        .map(|file| Warning {
            place: out.join(file.file_name()).display().to_string(),
            what: "is not the calibration shown here, which comes from the cores and readings as they are now".to_owned(),
            why: "a controller file made from it goes by other figures than this page".to_owned(),
            advice: "run `ovendry calibrate` again, with --force, and load the new controller file".to_owned(),
        })
        .collect()
}
