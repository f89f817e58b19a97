//! From paired cores to a calibration, one probe at a time.

use crate::failure::{Complaint, Failure};
use crate::pairing::PairedProbe;
use crate::workbench::Workbench;
use calib_core::calibration::{Calibration, Direction, Instrument};
use calib_core::curve::CurveKind;
use calib_core::fit::{Choice, FitError, Observation, choose};
use std::path::PathBuf;

/// A probe that could be calibrated.
#[derive(Debug, Clone)]
pub struct Fitted<'a> {
    /// Its cores and readings.
    pub paired: &'a PairedProbe,
    /// The curve taken and the comparison it came out of.
    pub choice: Choice,
    /// The calibration.
    pub calibration: Calibration,
}

/// A probe whose data are sound but give no calibration to rely on.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Refused {
    /// The probe.
    pub probe: String,
    /// Its soil.
    pub soil: String,
    /// Why.
    pub reason: String,
    /// What to do.
    pub mend: String,
    /// The cores as paired, for a look at what is wrong.
    pub observations: Vec<Observation>,
}

/// What became of one probe.
#[derive(Debug, Clone)]
pub enum Outcome<'a> {
    /// Calibrated.
    Fitted(Box<Fitted<'a>>),
    /// Judged not fit for use.
    Refused(Refused),
}

/// Fits one probe.
///
/// # Errors
/// [`Failure::Input`] where the cores cannot fix a curve at all, or move against
/// the direction site.toml states.
pub fn fit_probe<'a>(
    workbench: &Workbench,
    paired: &'a PairedProbe,
    curve: Option<CurveKind>,
) -> Result<Outcome<'a>, Failure> {
    let choice = match choose(&paired.observations, curve) {
        Ok(choice) => choice,
        Err(error) => return refuse(workbench, paired, &error),
    };
    let probe = workbench
        .site
        .probes
        .iter()
        .find(|probe| probe.id == paired.probe)
        .ok_or_else(|| Failure::Internal(format!("probe {} vanished", paired.probe)))?;
    if let Some(stated) = probe
        .direction
        .filter(|stated| *stated != choice.fit.direction)
    {
        return Err(Complaint::about(
            &workbench.site.file,
            format!(
                "but in the cores of probe {} {}",
                probe.id, choice.fit.direction
            ),
            "look for samples.csv or readings.csv rows under the wrong probe, level or sample; \
             if the data are right, correct this key or set it to \"unknown\"",
        )
        .at_line(probe.line)
        .in_column("counts_when_wetter", word(stated))
        .into());
    }
    let instrument = Instrument {
        probe: paired.probe.clone(),
        soil: paired.soil.clone(),
        adc_bits: probe.adc_bits,
        noise: paired.noise,
        temperature_u: workbench.site.temperature_u,
    };
    Ok(Outcome::Fitted(Box::new(Fitted {
        paired,
        calibration: Calibration::new(instrument, &choice, &paired.observations),
        choice,
    })))
}

/// The word site.toml has for a direction.
fn word(direction: Direction) -> &'static str {
    match direction {
        Direction::RisesWhenWetter => "rise",
        Direction::FallsWhenWetter => "fall",
    }
}

fn refuse<'a>(
    workbench: &Workbench,
    paired: &PairedProbe,
    error: &FitError,
) -> Result<Outcome<'a>, Failure> {
    let at_core = |column: &str, value: String, mend: &str| -> Failure {
        let line = paired.observations.first().and_then(|first| {
            let sample = workbench.samples.iter().find(|s| s.id == first.sample);
            sample.map(|sample| sample.line)
        });
        let file: PathBuf = workbench.folder.join("samples.csv");
        let mut complaint =
            Complaint::about(&file, format!("probe {}: {error}", paired.probe), mend)
                .in_column(column, value);
        complaint.line = line;
        complaint.into()
    };
    match error {
        FitError::TooFewCores { cores, .. } => Err(at_core(
            "sample_id",
            format!("{cores} cores"),
            "take more cores, at other moisture levels too, or choose a simpler curve with --curve",
        )),
        FitError::TooFewLevels { levels, .. } => Err(at_core(
            "level",
            format!("{levels} levels"),
            "take cores at more moisture levels, or choose a simpler curve with --curve",
        )),
        FitError::NoCurve { reasons } if reasons.iter().all(is_shortage) => Err(at_core(
            "sample_id",
            format!("{} cores", paired.observations.len()),
            "take cores at five or more moisture levels, two or three at each",
        )),
        _ => Ok(Outcome::Refused(Refused {
            probe: paired.probe.clone(),
            soil: paired.soil.clone(),
            reason: error.to_string(),
            mend:
                "look below for a core whose count does not belong to its water content: readings \
                   or masses under the wrong sample, level or time; then for slips in its masses"
                    .to_owned(),
            observations: paired.observations.clone(),
        })),
    }
}

fn is_shortage(error: &FitError) -> bool {
    matches!(
        error,
        FitError::TooFewCores { .. } | FitError::TooFewLevels { .. } | FitError::Start(_)
    )
}
