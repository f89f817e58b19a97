//! How dry a log has seen the soil, and whether it still dried there.

use super::hours::Hours;
use crate::quantity::Timestamp;
use crate::readings::median;
use schemars::JsonSchema;
use serde::Serialize;

const HOURS_A_DAY: usize = 24;

/// Hours of a day that must have a reading for its mean to count. Our choice.
const HOURS_NEEDED: usize = 18;

/// Share of the log's span of theta_v, from either end, that counts as dry or wet.
/// Our choice.
const END_SHARE: f64 = 0.25;

/// Share of the wet soil's daily fall below which the fall of the dry soil has
/// stopped, for the purpose. Our choice.
const STOPPED_SHARE: f64 = 0.25;

/// The driest day of a log.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct LowerBound {
    /// Mean theta_v of that day, m3/m3.
    pub theta_v: f64,
    /// When that day starts, UTC.
    #[serde(skip)]
    pub day: Timestamp,
    /// Median fall from a day without wetting to the next while the soil was in the
    /// driest quarter of the log's span, m3/m3.
    pub fall_when_dry: Option<f64>,
    /// The same in the wettest three quarters.
    pub fall_when_wetter: Option<f64>,
}

impl LowerBound {
    /// Whether the soil had all but stopped drying: then the crop's lower limit is
    /// near; otherwise it lies below.
    pub fn has_stopped(&self) -> bool {
        match (self.fall_when_dry, self.fall_when_wetter) {
            (Some(dry), Some(wet)) => wet > 0.0 && dry < STOPPED_SHARE * wet,
            _ => false,
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Day {
    number: usize,
    mean: f64,
    wetted: bool,
}

/// The driest day of `log`; `None` without a day that has enough readings.
pub(super) fn lower_bound(log: &Hours) -> Option<LowerBound> {
    // Days from midnight to midnight, UTC; the first may hold fewer hours.
    let lead = log.hours_before_midnight();
    let (first, rest) = log.hours.split_at(lead.min(log.hours.len()));
    let days: Vec<Day> = std::iter::once(first)
        .chain(rest.chunks(HOURS_A_DAY))
        .enumerate()
        .filter_map(|(number, hours)| {
            let read: Vec<f64> = hours.iter().filter_map(|hour| hour.theta_v).collect();
            (read.len() >= HOURS_NEEDED).then(|| Day {
                number,
                mean: read.iter().sum::<f64>() / read.len() as f64,
                wetted: hours.iter().any(|hour| hour.wetting.is_some()),
            })
        })
        .collect();
    let driest = days.iter().min_by(|a, b| a.mean.total_cmp(&b.mean))?;
    let wettest = days.iter().map(|day| day.mean).fold(driest.mean, f64::max);
    let limit = driest.mean + END_SHARE * (wettest - driest.mean);
    let falls = |dry: bool| {
        let mut falls: Vec<f64> = days
            .windows(2)
            .filter(|pair| {
                let follows = pair[1].number == pair[0].number + 1;
                follows && !pair[0].wetted && !pair[1].wetted && (pair[0].mean < limit) == dry
            })
            .map(|pair| pair[0].mean - pair[1].mean)
            .collect();
        median(&mut falls)
    };
    Some(LowerBound {
        theta_v: driest.mean,
        day: match driest.number {
            0 => log.time(0),
            number => log.time(lead + (number - 1) * HOURS_A_DAY),
        },
        fall_when_dry: falls(true),
        fall_when_wetter: falls(false),
    })
}

#[cfg(test)]
mod tests {
    use super::super::hours::LoggedWater;
    use super::*;

    fn log(theta_of_hour: impl Fn(usize) -> f64, hours: usize) -> Hours {
        let mut log = Hours::default();
        for hour in 0..hours {
            log.push(LoggedWater {
                time: Timestamp(3600 * hour as i64),
                theta_v: Some(theta_of_hour(hour)),
                pump_on: None,
                rain_mm: None,
            });
        }
        log.finish()
    }

    #[test]
    fn a_soil_that_dries_towards_a_limit_has_stopped_there() {
        let bound = lower_bound(&log(|h| 0.1 + 0.2 * (-(h as f64) / 96.0).exp(), 24 * 25)).unwrap();
        assert!(bound.has_stopped(), "{bound:?}");
        assert!((bound.theta_v - 0.1).abs() < 0.001);
        assert_eq!(bound.day, Timestamp(24 * 86_400));
        // From seven in the morning on, the last whole day is the same one.
        let mut later = Hours::default();
        for hour in 7..24 * 25 {
            later.push(LoggedWater {
                time: Timestamp(3600 * hour),
                theta_v: Some(0.1 + 0.2 * (-(hour as f64) / 96.0).exp()),
                pump_on: None,
                rain_mm: None,
            });
        }
        assert_eq!(
            lower_bound(&later.finish()).unwrap().day,
            Timestamp(24 * 86_400)
        );
    }

    #[test]
    fn a_soil_that_dries_on_has_not() {
        let bound = lower_bound(&log(|h| 0.3 - 0.0004 * h as f64, 24 * 20)).unwrap();
        assert!(!bound.has_stopped(), "{bound:?}");
        assert!((bound.fall_when_dry.unwrap() - 0.0096).abs() < 1e-9);
    }

    #[test]
    fn a_log_shorter_than_a_day_has_none() {
        assert_eq!(lower_bound(&log(|_| 0.2, 17)), None);
    }
}
