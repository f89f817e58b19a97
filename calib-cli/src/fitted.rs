//! From paired cores to a calibration, one probe at a time.

use crate::failure::{Complaint, Failure, Warning};
use crate::pairing::PairedProbe;
use crate::table::names::{COUNTS_WHEN_WETTER, LEVEL, SAMPLE_ID, SAMPLES, direction_word};
use crate::table::shown_path;
use crate::workbench::Workbench;
use calib_core::calibration::{Calibration, Instrument};
use calib_core::fit::{Choice, FitError, Observation, Request, choose};

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
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Refused {
    /// The probe.
    pub probe: String,
    /// Its soil.
    pub soil: String,
    /// Why.
    pub reason: String,
    /// What to do about it.
    pub mend: &'static str,
    /// The cores as paired, for a look at what is wrong.
    pub observations: Vec<Observation>,
}

impl From<Refused> for Warning {
    fn from(refused: Refused) -> Self {
        Self {
            place: format!("probe {} in {}", refused.probe, refused.soil),
            what: refused.reason,
            why: "it gets no calibration".to_owned(),
            advice: refused.mend.to_owned(),
        }
    }
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
    request: Request,
) -> Result<Outcome<'a>, Failure> {
    let choice = match choose(&paired.observations, request) {
        Ok(choice) => choice,
        Err(error) => return refuse(workbench, paired, &error),
    };
    let probe = workbench
        .site
        .probe(&paired.probe)
        .ok_or_else(|| Failure::Internal(format!("probe {} vanished", paired.probe)))?;
    if let Some(stated) = probe
        .direction
        .filter(|stated| *stated != choice.fit.direction)
    {
        return Err(Complaint::about(
            &workbench.site.file,
            format!(
                "is not what the cores of probe {} show: {}",
                probe.id, choice.fit.direction
            ),
            "look for rows of samples.csv or readings.csv under the wrong probe or core; \
             if they are right, correct this key or set it to \"unknown\"",
        )
        .at_line(probe.line)
        .in_column(COUNTS_WHEN_WETTER, direction_word(stated))
        .into());
    }
    let instrument = Instrument {
        probe: paired.probe.clone(),
        soil: paired.soil.clone(),
        adc_bits: probe.adc_bits,
        noise: paired.noise,
        temperature_u: workbench.site.temperature_u,
        supply_relative_u: probe.supply_relative_u,
        probe_to_probe: probe.probe_to_probe_counts,
    };
    Ok(Outcome::Fitted(Box::new(Fitted {
        paired,
        calibration: Calibration::new(instrument, &choice, &paired.observations),
        choice,
    })))
}

fn refuse<'a>(
    workbench: &Workbench,
    paired: &PairedProbe,
    error: &FitError,
) -> Result<Outcome<'a>, Failure> {
    let last = paired.observations.last().and_then(|last| {
        let mut samples = workbench.samples.iter();
        samples.find(|sample| sample.id == last.sample)
    });
    let Some(last) = last.filter(|_| error.is_shortage()) else {
        return Ok(Outcome::Refused(Refused {
            probe: paired.probe.clone(),
            soil: paired.soil.clone(),
            reason: error.to_string(),
            mend: error.mend(),
            observations: paired.observations.clone(),
        }));
    };
    // Where every curve is refused, the simplest, which asks for least, says it.
    let shortage = match error {
        FitError::NoCurve { reasons } => reasons.first().unwrap_or(error),
        _ => error,
    };
    let (column, value, noun) = match shortage {
        FitError::TooFewLevels { .. } => (LEVEL, &last.level, "the level of the last core"),
        _ => (SAMPLE_ID, &last.id, "the last core"),
    };
    Err(Complaint::about(
        &shown_path(&workbench.folder, SAMPLES),
        format!("is {noun} of probe {}, and {shortage}", paired.probe),
        error.mend(),
    )
    .at_line(last.line)
    .in_column(column, value)
    .into())
}
