//! The simulated seasons of one probe.

use super::report::SeasonReport;
use super::{Replay, Subject};
use crate::failure::Failure;
use crate::output::OutputSet;
use crate::plot::{self, Course, Level, SeasonChart, ShownDays};
use crate::table::weather::Weather;
use crate::workbench::Controller;
use calib_core::irrigation::bucket::{
    DRAINAGE_TIME_S, Day, Lag, ProbeModel, Pumping, RootZone, Scenario, ScenarioError, compare,
};
use calib_core::irrigation::{DAY_S, Side};
use calib_core::quantity::{Quantity, Vwc};
use calib_core::soil::SoilEvidence;
use std::path::Path;

/// Room for air at field capacity where saturation is not known, m3/m3. Our choice.
const LEAST_AIR: f64 = 0.05;
/// Shortest step of a simulated season, s: a season then takes seconds at most.
const SHORTEST_STEP_S: u32 = 10;
/// Days shown in the chart.
const SHOWN_DAYS: usize = 14;
/// A point of the chart's lines each so many seconds.
const POINT_S: u32 = 1800;

/// Seasons, and what a chart of them needs.
pub(super) struct Simulated {
    pub(super) report: SeasonReport,
    seed: u64,
    scenario: Scenario,
    /// What the days are days of.
    days_of: &'static str,
}

/// Water content at which a soil is full, and where it comes from. Only heavy rain
/// reaches it.
pub(super) fn saturation(evidence: &SoilEvidence) -> Result<(Vwc, &'static str), Failure> {
    let capacity = evidence.water.field_capacity.value;
    match evidence.saturation {
        Some(found) if found.value > capacity => Ok((found.value, "recommended by `ovendry soil`")),
        _ => Vwc::new(capacity.value() + LEAST_AIR)
            .map(|value| (value, "field capacity and some air, assumed"))
            .map_err(|error| Failure::Internal(error.to_string())),
    }
}

/// Simulates the seasons of `subject` under each of its rules.
pub(super) fn simulate(
    subject: &Subject<'_>,
    pump: &Controller,
    weather: Option<&Weather>,
    command: &Replay,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Simulated, Failure> {
    let set = &subject.set_points;
    let days = match weather {
        Some(weather) => weather.days.clone(),
        None => vec![
            Day {
                evapotranspiration: pump.evapotranspiration,
                rain: 0.0,
            };
            pump.season.relay.season_days as usize
        ],
    };
    let lag = Lag::FirstOrder {
        time_s: pump.season.probe_lag_s,
    };
    let scenario = Scenario {
        zone: RootZone {
            depth: set.root_depth,
            saturation: subject.saturation.0,
            field_capacity: subject.water.field_capacity.value,
            wilting_point: subject.water.wilting_point.value,
            allowed_depletion: set.allowed_depletion,
            drainage_time_s: DRAINAGE_TIME_S,
        },
        pumping: Pumping::new(pump.area, pump.flow, pump.application_efficiency),
        probe: ProbeModel::of(
            subject.calibration,
            set.refill_count,
            0.5 * pump.daily_temperature_swing_c,
            subject.counts_per_c,
            lag,
        ),
        days,
        refill: set.refill,
        stop: set.stop,
        step_s: step(pump.read_every_s),
    };
    let rules = compare(
        &scenario,
        &subject.sides,
        command.seed,
        command.seasons,
        progress,
    )
    .map_err(|error| failed(subject, &error))?;
    Ok(Simulated {
        report: SeasonReport::new(subject, pump, weather, &scenario, rules, command),
        seed: command.seed,
        scenario,
        days_of: match weather {
            Some(_) => "the weather, when the crop takes most beyond rain",
            None => "a season without rain",
        },
    })
}

/// The longest step, no longer than the time between two readings, that parts a day and
/// the points of the chart evenly; where the probe is read more often than every
/// [`SHORTEST_STEP_S`], that.
fn step(read_every_s: u32) -> u32 {
    let longest = read_every_s.clamp(SHORTEST_STEP_S, DAY_S);
    (SHORTEST_STEP_S..=longest)
        .rev()
        .find(|step| {
            let of_chart = POINT_S.is_multiple_of(*step) || step.is_multiple_of(POINT_S);
            DAY_S.is_multiple_of(*step) && of_chart
        })
        .unwrap_or(SHORTEST_STEP_S)
}

fn failed(subject: &Subject<'_>, error: &ScenarioError) -> Failure {
    Failure::Internal(format!(
        "cannot simulate a season of probe {}: {error}",
        subject.calibration.probe
    ))
}

/// Where the `length` days begin in which the crop takes most beyond rain; the earliest
/// of several, and the beginning where there are no more days.
fn thirstiest(days: &[Day], length: usize) -> usize {
    let beyond_rain = |window: &[Day]| -> f64 {
        let each = window.iter().map(|day| day.evapotranspiration - day.rain);
        each.sum()
    };
    let mut best = (0, f64::NEG_INFINITY);
    for (begin, window) in days.windows(length.max(1)).enumerate() {
        let taken = beyond_rain(window);
        // What rounding alone makes larger is no larger.
        if taken > best.1 + 1e-9 {
            best = (begin, taken);
        }
    }
    best.0
}

/// Draws the days in which the crop takes most beyond rain, under one threshold and
/// under the band.
pub(super) fn chart(subject: &Subject<'_>, simulated: &Simulated) -> Result<SeasonChart, Failure> {
    let mut shown = simulated.scenario.clone();
    let begin = thirstiest(&shown.days, SHOWN_DAYS);
    shown.days.drain(..begin);
    shown.days.truncate(SHOWN_DAYS);
    let days = ShownDays {
        first: begin + 1,
        last: begin + shown.days.len(),
        of: simulated.days_of,
    };
    let course = |side: &Side| course(&shown, side, simulated.seed);
    let [single, _, band] = &subject.sides;
    let single = course(single).map_err(|error| failed(subject, &error))?;
    let band = course(band).map_err(|error| failed(subject, &error))?;
    let set = &subject.set_points;
    let levels = [
        ("field capacity", subject.water.field_capacity.value),
        ("stop", set.stop),
        ("refill", set.refill),
        ("wilting point", subject.water.wilting_point.value),
    ]
    .map(|(name, theta_v)| Level {
        name: name.to_owned(),
        theta_v: theta_v.value(),
    });
    let calibration = subject.calibration;
    Ok(SeasonChart::new(
        &calibration.probe,
        &calibration.soil,
        days,
        single,
        band,
        &levels,
    ))
}

/// A chart as the files of its probe in `out`.
pub(super) fn files(probe: &str, chart: &SeasonChart, out: &Path) -> Result<OutputSet, Failure> {
    let name = |ending: &str| out.join(format!("{probe}.replay.{ending}"));
    let mut outputs = OutputSet::default();
    outputs.add(name("svg"), plot::svg(chart)?);
    outputs.add(name("png"), plot::png(chart)?);
    Ok(outputs)
}

fn course(scenario: &Scenario, side: &Side, seed: u64) -> Result<Course, ScenarioError> {
    let day = |second: i64| second as f64 / f64::from(DAY_S);
    let step = i64::from(scenario.step_s);
    let mut course = Course::default();
    let mut on = false;
    scenario.season(side, seed, |moment| {
        if moment.second % i64::from(POINT_S) == 0 {
            course.theta_v.push((day(moment.second), moment.theta_v));
        }
        if moment.on {
            let end = day(moment.second + step);
            match course.runs.last_mut() {
                Some(run) if on => run.1 = end,
                _ => course.runs.push((day(moment.second), end)),
            }
        }
        on = moment.on;
    })?;
    Ok(course)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_parts_the_day_and_the_chart_and_is_no_longer_than_asked() {
        for (asked, taken) in [
            (1, 10),
            (60, 60),
            (61, 60),
            (599, 450),
            (3000, 1800),
            (86_400, 86_400),
        ] {
            assert_eq!(step(asked), taken, "{asked}");
        }
    }

    #[test]
    fn the_chart_shows_the_days_in_which_the_crop_takes_most_beyond_rain() {
        let day = |(evapotranspiration, rain)| Day {
            evapotranspiration,
            rain,
        };
        let days = [(4.0, 30.0), (3.0, 0.0), (5.0, 0.0), (6.0, 2.0), (1.0, 0.0)].map(day);
        // Beyond rain: -26, 3, 5, 4, 1.
        assert_eq!(thirstiest(&days, 1), 2);
        assert_eq!(thirstiest(&days, 2), 2);
        assert_eq!(thirstiest(&days, 3), 1);
        // No more days than are shown: all of them.
        assert_eq!(thirstiest(&days, 5), 0);
        assert_eq!(thirstiest(&days, 14), 0);
        // All days alike: the first.
        assert_eq!(thirstiest(&[day((5.0, 0.0)); 180], 14), 0);
        assert_eq!(thirstiest(&[day((5.1, 0.2)); 180], 14), 0);
    }
}
