//! What the log of a season says of the water a soil holds, beside what the
//! sources say: `ovendry soil DIR --log`.

use super::{known, soil_of};
use crate::calibration_file::CalibrationFile;
use crate::failure::{Complaint, Failure, Warning};
use crate::table::{LogRow, each_log_row};
use crate::text_table::{Column, TextTable};
use crate::workbench::{Site, SourceFile};
use calib_core::calibration::Calibration;
use calib_core::quantity::{Estimate, Quantity, Timestamp, Vwc};
use calib_core::soil::drainage::{
    EventFault, FIELD_CAPACITY_HOURS, Hours, LogFieldCapacity, LogWater, LoggedWater, LowerBound,
    Outcome, from_log,
};
use calib_core::soil::{SoilDescription, evidence};
use calib_core::uncertainty::Source;
use jiff::tz::Offset;
use serde::Serialize;
use std::fmt;
use std::path::Path;

/// What the log says, probe by probe.
#[derive(Debug, Serialize)]
pub(super) struct FromLog {
    log: SourceFile,
    rows: u64,
    probes: Vec<ProbeWater>,
}

/// What the log of one probe says.
#[derive(Debug, Serialize)]
struct ProbeWater {
    probe: String,
    soil: String,
    /// Readings, and those of them without an answer.
    readings: u64,
    without_answer: u64,
    #[serde(flatten)]
    water: LogWater,
    /// When each soaking ended, RFC 3339, in the order of the events.
    soaking_ended: Vec<String>,
    /// Day of the lower bound.
    driest_day: Option<String>,
    /// Field capacity with its combined standard uncertainty, m3/m3.
    field_capacity_estimate: Option<Estimate<f64>>,
    /// Standard uncertainty of the calibration at the lower bound, m3/m3.
    lower_bound_u: Option<f64>,
    /// What the published sources recommend, m3/m3.
    sources: Option<FromSources>,
}

/// What the published sources recommend for the soil's texture.
#[derive(Debug, Clone, Copy, Serialize)]
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
        let mut water = from_log(&gathering.hours.finish());
        water.field_capacity = water
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
        Self {
            probe: calibration.probe.clone(),
            soil: calibration.soil.clone(),
            readings: gathering.readings,
            without_answer: gathering.without_answer,
            soaking_ended: water
                .events
                .iter()
                .map(|event| written(event.time))
                .collect(),
            driest_day: water.lower_bound.map(|bound| date(bound.day)),
            field_capacity_estimate: water.field_capacity.map(|found| found.estimate()),
            lower_bound_u: water
                .lower_bound
                .map(|bound| calibration_u(calibration, bound.theta_v)),
            sources,
            water,
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

/// What the calibration adds at `theta_v`, noise of one reading left out: the hours
/// average over it.
fn calibration_u(calibration: &Calibration, theta_v: f64) -> f64 {
    let of_reading = [
        Source::ReadingNoise,
        Source::Quantisation,
        Source::TemperatureSensor,
    ];
    Vwc::new(theta_v)
        .ok()
        .and_then(|theta| calibration.count_at(theta).ok())
        .and_then(|count| {
            let reference = calibration.temperature.map(|term| term.reference);
            let at_reference = calibration.predict(count, reference).ok()?;
            Some(
                at_reference
                    .budget
                    .only(|s| !of_reading.contains(&s))
                    .standard(),
            )
        })
        .unwrap_or(calibration.core_scatter)
}

impl fmt::Display for FromLog {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for probe in &self.probes {
            writeln!(f, "{probe}")?;
        }
        Ok(())
    }
}

impl fmt::Display for ProbeWater {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let title = format!("{}: from the log of {}", self.soil, self.probe);
        writeln!(f, "{title}\n{}", "-".repeat(title.len()))?;
        self.write_field_capacity(f)?;
        self.write_lower_bound(f)
    }
}

impl ProbeWater {
    fn write_field_capacity(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let soakings = self.water.events.len();
        match &self.water.field_capacity {
            Some(found) => {
                let estimate = found.estimate();
                writeln!(
                    f,
                    "Field capacity {:.3} +- {:.3} m3/m3 (one standard uncertainty), from {} of {soakings} {}.",
                    estimate.value,
                    estimate.u,
                    found.events,
                    soakings_word(soakings)
                )?;
                writeln!(f, "  {}", parts(found))?;
                if let Some(sources) = &self.sources {
                    writeln!(
                        f,
                        "  {}",
                        compared("field capacity", estimate, sources.field_capacity)
                    )?;
                }
                if found.events == 1 {
                    writeln!(
                        f,
                        "  One soaking is one soaking: a second would show whether the first was like others."
                    )?;
                }
                writeln!(
                    f,
                    "  To go by it, write below soil {} in site.toml: field_capacity = {:.3} and field_capacity_u = {:.3}",
                    self.soil, estimate.value, estimate.u
                )?;
            }
            None if soakings == 0 => writeln!(
                f,
                "No field capacity: the log shows no soaking. Soak the bed, cover it, leave the pump off for four days, and log it."
            )?,
            None if soakings == 1 => {
                writeln!(f, "No field capacity: the one soaking does not show it.")?;
            }
            None => writeln!(
                f,
                "No field capacity: none of {soakings} soakings shows it."
            )?,
        }
        if soakings > 0 {
            write!(f, "{}", self.table())?;
            self.write_mends(f)?;
        }
        if !self.water.says_rain || !self.water.says_pump {
            let missing = match (self.water.says_rain, self.water.says_pump) {
                (false, false) => "neither rain (rain_mm) nor pump (pump_on)",
                (false, true) => "no rain (rain_mm)",
                _ => "no pump (pump_on)",
            };
            writeln!(
                f,
                "  The log has {missing}: a small wetting while the soil drained would go unseen."
            )?;
        }
        Ok(())
    }

    fn table(&self) -> TextTable<5> {
        let mut table = TextTable::new([
            Column::words("soaking ended"),
            Column::numbers("wettest", "m3/m3"),
            Column::numbers("left alone", "h"),
            Column::numbers("after two days", "m3/m3"),
            Column::words("remark"),
        ]);
        for (event, ended) in self.water.events.iter().zip(&self.soaking_ended) {
            let (capacity, remark) = match &event.outcome {
                Outcome::Drained(drained) => (
                    format!("{:.3}", drained.field_capacity),
                    format!(
                        "+- {:.4}; crop and sun took {:.3} a day",
                        drained.u,
                        // No minus before a nought.
                        drained.taken_per_day.max(0.0)
                    ),
                ),
                Outcome::Refused(fault) => ("-".to_owned(), format!("not used: {fault}")),
            };
            table.push([
                ended.clone(),
                format!("{:.3}", event.wettest),
                event.hours.to_string(),
                capacity,
                remark,
            ]);
        }
        table
    }

    /// What to do for the next soaking to count, each mend once.
    fn write_mends(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self
            .water
            .field_capacity
            .is_some_and(|found| found.events > 1)
        {
            return Ok(());
        }
        let mut mends: Vec<&str> = self
            .water
            .events
            .iter()
            .filter_map(|event| match &event.outcome {
                Outcome::Refused(fault) => Some(EventFault::mend(fault)),
                Outcome::Drained(_) => None,
            })
            .collect();
        mends.sort_unstable();
        mends.dedup();
        for mend in mends {
            writeln!(f, "  For the next to count: {mend}.")?;
        }
        Ok(())
    }

    fn write_lower_bound(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (Some(bound), Some(day), Some(u)) = (
            &self.water.lower_bound,
            &self.driest_day,
            self.lower_bound_u,
        ) else {
            return Ok(());
        };
        writeln!(
            f,
            "Driest day {day}: {:.3} +- {u:.3} m3/m3 on the mean{}.",
            bound.theta_v,
            still_falling(bound)
        )?;
        let Some(sources) = &self.sources else {
            return Ok(());
        };
        let wilting = sources.wilting_point;
        if bound.has_stopped() {
            writeln!(
                f,
                "  The crop's lower limit is near there; {}",
                compared("wilting point", Estimate::new(bound.theta_v, u), wilting)
            )
        } else if bound.theta_v < wilting.value.value() {
            writeln!(
                f,
                "  That is below the {:.3} +- {:.3} the sources have for the wilting point: the crop takes water they call out of reach.",
                wilting.value.value(),
                wilting.u
            )
        } else {
            writeln!(
                f,
                "  The wilting point lies below that; the sources have {:.3} +- {:.3}.",
                wilting.value.value(),
                wilting.u
            )
        }
    }
}

fn soakings_word(number: usize) -> &'static str {
    if number == 1 { "soaking" } else { "soakings" }
}

fn still_falling(bound: &LowerBound) -> String {
    match (bound.fall_when_dry, bound.fall_when_wetter) {
        (Some(dry), Some(wet)) if wet > 0.0 => {
            format!(
                "; on dry days it fell by {:.3} there, by {wet:.3} when wetter",
                // No minus before a nought.
                dry.max(0.0)
            )
        }
        _ => String::new(),
    }
}

/// What the uncertainty is made of.
fn parts(found: &LogFieldCapacity) -> String {
    format!(
        "of which: what is meant by it {:.3}, calibration {:.3}, the soakings {:.3}; {:.3} a day still drains there, {:.0} h after wetting",
        found.u_definition,
        found.u_calibration,
        found.u_events,
        found.drains_per_day,
        FIELD_CAPACITY_HOURS
    )
}

/// Whether what was seen and what the sources have agree: within twice their
/// combined standard uncertainty.
fn compared(name: &str, seen: Estimate<f64>, sources: Estimate<Vwc>) -> String {
    let difference = seen.value - sources.value.value();
    let together = seen.u.hypot(sources.u);
    let agree = difference.abs() <= 2.0 * together;
    format!(
        "{} the {name} of the sources, {:.3} +- {:.3}: {:.3} {}, {} twice the combined uncertainty ({:.3}).",
        if agree { "Agrees with" } else { "Differs from" },
        sources.value.value(),
        sources.u,
        difference.abs(),
        if difference < 0.0 { "drier" } else { "wetter" },
        if agree { "within" } else { "more than" },
        2.0 * together
    )
}

fn written(time: Timestamp) -> String {
    jiff::Timestamp::from_second(time.0).map_or_else(|_| String::new(), |time| time.to_string())
}

fn date(time: Timestamp) -> String {
    jiff::Timestamp::from_second(time.0).map_or_else(
        |_| String::new(),
        |time| Offset::UTC.to_datetime(time).date().to_string(),
    )
}
