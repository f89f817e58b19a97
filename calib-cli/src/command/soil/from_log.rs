//! What the log of a season says of the water a soil holds, beside what the
//! sources say: `ovendry soil DIR --log`.

mod report;

use super::{known, soil_of};
use crate::calibration_file::CalibrationFile;
use crate::failure::{Complaint, Failure, Warning};
use crate::table::{LogRow, each_log_row, rfc_3339};
use crate::workbench::{Site, SourceFile};
use calib_core::calibration::Calibration;
use calib_core::quantity::{Estimate, Quantity, Timestamp, Vwc};
use calib_core::soil::drainage::{
    DrainageEvent, Hours, LogFieldCapacity, LoggedWater, LowerBound, from_log,
};
use calib_core::soil::{SoilDescription, evidence};
use jiff::tz::Offset;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;

/// What the log says, probe by probe.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct FromLog {
    log: SourceFile,
    rows: u64,
    probes: Vec<ProbeWater>,
}

/// What the log of one probe says.
#[derive(Debug, Serialize, JsonSchema)]
struct ProbeWater {
    probe: String,
    soil: String,
    /// Readings, and those of them without an answer.
    readings: u64,
    without_answer: u64,
    /// Every soaking, in order of time.
    soakings: Vec<Soaking>,
    field_capacity: Option<FieldCapacity>,
    driest_day: Option<DriestDay>,
    /// Whether the log says when it rained, and when the pump ran.
    says_rain: bool,
    says_pump: bool,
    /// What site.toml has for the field capacity of the soil, m3/m3.
    in_site: Option<Estimate<Vwc>>,
    /// What the published sources recommend, m3/m3.
    sources: Option<FromSources>,
}

/// A soaking with its time.
#[derive(Debug, Serialize, JsonSchema)]
struct Soaking {
    /// When the wetting ended, RFC 3339.
    ended: String,
    #[serde(flatten)]
    event: DrainageEvent,
}

/// Field capacity with its combined standard uncertainty `u`, m3/m3.
#[derive(Debug, Serialize, JsonSchema)]
struct FieldCapacity {
    /// Standard uncertainty, m3/m3.
    u: f64,
    /// Without the calibration's part, for set points of the same probe, m3/m3.
    u_for_the_same_probe: f64,
    #[serde(flatten)]
    found: LogFieldCapacity,
    /// Whether it agrees with the sources, where there are any.
    agrees_with_sources: Option<bool>,
}

/// The driest day, with the calibration's standard uncertainty `u` there, m3/m3.
#[derive(Debug, Serialize, JsonSchema)]
struct DriestDay {
    day: String,
    /// Standard uncertainty, m3/m3.
    u: f64,
    #[serde(flatten)]
    bound: LowerBound,
}

/// What the published sources recommend for the soil's texture.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
struct FromSources {
    field_capacity: Estimate<Vwc>,
    wilting_point: Estimate<Vwc>,
}

/// A probe's log as it is gathered.
struct Gathering<'a> {
    calibration: &'a Calibration,
    hours: Hours,
    readings: u64,
    without_answer: u64,
}

impl Gathering<'_> {
    fn push(&mut self, row: &LogRow) {
        let theta = self
            .calibration
            .theta_v(f64::from(row.count), row.temperature);
        self.readings += 1;
        self.without_answer += u64::from(theta.is_err());
        self.hours.push(LoggedWater {
            time: row.time,
            theta_v: theta.ok().map(Quantity::value),
            pump_on: row.pump_on,
            rain_mm: row.rain_mm,
        });
    }
}

impl FromLog {
    /// Reads the log of `folder`, or `log`, through the calibrations saved in `out`;
    /// with what is worth a warning.
    pub(super) fn read(
        folder: &Path,
        log: Option<&Path>,
        out: &Path,
        site: &Site,
        only_soil: Option<&str>,
    ) -> Result<(Self, Vec<Warning>), Failure> {
        let files = CalibrationFile::load_all(out)?;
        let mut gatherings: Vec<Gathering<'_>> = files
            .iter()
            .map(|(_, file)| &file.calibration)
            .filter(|calibration| only_soil.is_none_or(|soil| calibration.soil == soil))
            .map(|calibration| Gathering {
                calibration,
                hours: Hours::default(),
                readings: 0,
                without_answer: 0,
            })
            .collect();
        let mut without_calibration: Vec<String> = Vec::new();
        let read = each_log_row(folder, log, |row| {
            let of_probe = |g: &&mut Gathering<'_>| g.calibration.probe == row.probe;
            if let Some(gathering) = gatherings.iter_mut().find(of_probe) {
                gathering.push(&row);
            } else if !without_calibration.contains(&row.probe) {
                without_calibration.push(row.probe);
            }
        })?;
        let mut warnings = read.warnings;
        if only_soil.is_none() {
            warnings.extend(without_calibration.iter().map(|probe| Warning {
                place: read.file.display().to_string(),
                what: format!("probe {probe} has no calibration in {}", out.display()),
                why: "its counts cannot be read as water, and were left out".to_owned(),
                advice: "run `ovendry fit` for it first".to_owned(),
            }));
        }
        gatherings.retain(|gathering| gathering.readings > 0);
        if gatherings.is_empty() {
            return Err(Complaint::about(
                &read.file,
                "has no reading of a calibrated probe",
                "log a probe that `ovendry fit` has a calibration for",
            )
            .into());
        }
        let probes: Vec<ProbeWater> = gatherings
            .into_iter()
            .map(|gathering| ProbeWater::new(gathering, site))
            .collect();
        warnings.extend(probes.iter().filter_map(|p| p.silence(&read.file)));
        Ok((
            Self {
                log: read.stamp,
                rows: read.rows,
                probes,
            },
            warnings,
        ))
    }
}

impl ProbeWater {
    fn new(gathering: Gathering<'_>, site: &Site) -> Self {
        let calibration = gathering.calibration;
        let water = from_log(&gathering.hours.finish());
        let field_capacity = water
            .field_capacity
            .map(|found| found.with_calibration(calibration_u(calibration, found.theta_v)));
        let sources = soil_of(site, &calibration.soil)
            .and_then(|soil| known(site, soil).ok())
            .and_then(|(description, _)| {
                let unmeasured = SoilDescription {
                    field_capacity: None,
                    wilting_point: None,
                    ..description
                };
                evidence(&unmeasured).ok()
            })
            .map(|found| FromSources {
                field_capacity: found.water.field_capacity,
                wilting_point: found.water.wilting_point,
            });
        let in_site = soil_of(site, &calibration.soil).and_then(|soil| soil.field_capacity);
        Self {
            probe: calibration.probe.clone(),
            soil: calibration.soil.clone(),
            readings: gathering.readings,
            without_answer: gathering.without_answer,
            soakings: water
                .events
                .into_iter()
                .map(|event| Soaking {
                    ended: rfc_3339(event.time),
                    event,
                })
                .collect(),
            field_capacity: field_capacity.map(|found| FieldCapacity {
                u: found.estimate().u,
                u_for_the_same_probe: found.for_the_same_probe().u,
                agrees_with_sources: sources
                    .map(|sources| agree(found.estimate(), sources.field_capacity)),
                found,
            }),
            driest_day: water.lower_bound.map(|bound| DriestDay {
                day: date(bound.day),
                u: calibration_u(calibration, bound.theta_v),
                bound,
            }),
            says_rain: water.says_rain,
            says_pump: water.says_pump,
            in_site,
            sources,
        }
    }

    /// A warning where much of the log has no answer.
    fn silence(&self, log: &Path) -> Option<Warning> {
        (self.without_answer * 20 > self.readings).then(|| Warning {
            place: log.display().to_string(),
            what: format!(
                "{} of {} readings of probe {} have no answer",
                self.without_answer, self.readings, self.probe
            ),
            why: "they lie outside the calibrated range or lack a temperature; what the log would show there stays unseen".to_owned(),
            advice: "take cores as wet and as dry as the bed becomes, and log the soil temperature".to_owned(),
        })
    }
}

/// Whether what was seen and what the sources have agree: within twice their combined
/// standard uncertainty.
fn agree(seen: Estimate<f64>, sources: Estimate<Vwc>) -> bool {
    (seen.value - sources.value.value()).abs() <= 2.0 * seen.u.hypot(sources.u)
}

/// What the calibration adds at `theta_v`, noise of one reading left out: the hours
/// average over it.
fn calibration_u(calibration: &Calibration, theta_v: f64) -> f64 {
    Vwc::new(theta_v)
        .ok()
        .and_then(|theta| calibration.count_at(theta).ok())
        .and_then(|count| {
            let reference = calibration.temperature.map(|term| term.reference);
            let at_reference = calibration.predict(count, reference).ok()?;
            Some(
                at_reference
                    .budget
                    .only(|source| !source.is_of_one_reading())
                    .standard(),
            )
        })
        .unwrap_or(calibration.core_scatter)
}

fn date(time: Timestamp) -> String {
    jiff::Timestamp::from_second(time.0).map_or_else(
        |_| String::new(),
        |time| Offset::UTC.to_datetime(time).date().to_string(),
    )
}
