//! A probe's log hour by hour: what drainage is followed in.

use crate::quantity::Timestamp;
use crate::readings::{PER_MAD, median};

/// Seconds in an hour.
const HOUR_S: i64 = 3600;

/// Rain in an hour that does not count as wetting, mm: less than a leaf holds. Our
/// choice.
const TRACE_OF_RAIN_MM: f64 = 0.1;

/// Most hours a log may skip before what follows is called another log, and the
/// hours between are left out: a year. Keeps one wrong date from filling memory.
const LONGEST_GAP_H: i64 = 366 * 24;

/// One row of a log, as drainage sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoggedWater {
    /// When.
    pub time: Timestamp,
    /// theta_v, m3/m3; `None` where the reading has no answer.
    pub theta_v: Option<f64>,
    /// Whether the pump ran, where the log says so.
    pub pump_on: Option<bool>,
    /// Rain since the row before, mm, where the log says so.
    pub rain_mm: Option<f64>,
}

/// What wetted an hour, where the log tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Wetting {
    /// Rain.
    Rain,
    /// The pump.
    Irrigation,
}

/// One hour of a log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hour {
    /// Median theta_v, m3/m3; `None` without a reading.
    pub(super) theta_v: Option<f64>,
    /// What wetted the soil in it, as far as the log says.
    pub(super) wetting: Option<Wetting>,
}

const SILENT: Hour = Hour {
    theta_v: None,
    wetting: None,
};

/// A log gathered hour by hour, from rows pushed in order of time. The median of
/// each hour is kept, so that a wild reading does not pass for water, and a season
/// takes a few thousand numbers however often it was read.
#[derive(Debug, Clone, Default)]
pub struct Hours {
    /// Hours since 1970 of the first.
    first: i64,
    pub(super) hours: Vec<Hour>,
    current: Vec<f64>,
    rain: f64,
    pump_on: bool,
    says_rain: bool,
    says_pump: bool,
    any: bool,
}

impl Hours {
    /// Adds a row; rows must come in order of time. A row before the current hour is
    /// counted into it.
    pub fn push(&mut self, row: LoggedWater) {
        let hour = row.time.0.div_euclid(HOUR_S);
        if !self.any {
            (self.first, self.any) = (hour, true);
        }
        self.close_until(hour);
        if let Some(theta) = row.theta_v.filter(|theta| theta.is_finite()) {
            self.current.push(theta);
        }
        self.says_rain |= row.rain_mm.is_some();
        self.says_pump |= row.pump_on.is_some();
        self.rain += row.rain_mm.unwrap_or(0.0).max(0.0);
        self.pump_on |= row.pump_on == Some(true);
    }

    /// Ends the log.
    pub fn finish(mut self) -> Self {
        if self.any {
            self.close();
        }
        self
    }

    /// Whether the log says when it rained.
    pub fn says_rain(&self) -> bool {
        self.says_rain
    }

    /// Whether the log says when the pump ran.
    pub fn says_pump(&self) -> bool {
        self.says_pump
    }

    /// Hours from the first to midnight, UTC; none where it starts there.
    pub(super) fn hours_before_midnight(&self) -> usize {
        usize::try_from((-self.first).rem_euclid(24)).unwrap_or(0)
    }

    /// When hour number `index` starts.
    pub(super) fn time(&self, index: usize) -> Timestamp {
        let hours = self.first.saturating_add(i64::try_from(index).unwrap_or(0));
        Timestamp(hours.saturating_mul(HOUR_S))
    }

    /// Standard deviation of one hour's theta_v about what it should be, m3/m3, from
    /// the steps between neighbouring hours; robust, so that wetting does not count.
    pub(super) fn noise(&self) -> f64 {
        let mut steps: Vec<f64> = self
            .hours
            .windows(2)
            .filter_map(|pair| Some((pair[1].theta_v? - pair[0].theta_v?).abs()))
            .collect();
        PER_MAD * median(&mut steps).unwrap_or(0.0) * std::f64::consts::FRAC_1_SQRT_2
    }

    fn open(&self) -> i64 {
        self.first
            .saturating_add(i64::try_from(self.hours.len()).unwrap_or(i64::MAX))
    }

    fn close_until(&mut self, hour: i64) {
        if hour <= self.open() {
            return;
        }
        self.close();
        let missing = hour.saturating_sub(self.open());
        let kept = missing.min(LONGEST_GAP_H);
        self.hours.extend((0..kept).map(|_| SILENT));
        // Beyond the longest gap the calendar slips; no event spans a gap anyway.
        self.first = self.first.saturating_add(missing - kept);
    }

    fn close(&mut self) {
        let wetting = if self.rain > TRACE_OF_RAIN_MM {
            Some(Wetting::Rain)
        } else if self.pump_on {
            Some(Wetting::Irrigation)
        } else {
            None
        };
        self.hours.push(Hour {
            theta_v: median(&mut self.current),
            wetting,
        });
        self.current.clear();
        (self.rain, self.pump_on) = (0.0, false);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(minute: i64, theta: f64) -> LoggedWater {
        LoggedWater {
            time: Timestamp(60 * minute),
            theta_v: Some(theta),
            pump_on: Some(false),
            rain_mm: None,
        }
    }

    fn gathered(rows: &[LoggedWater]) -> Hours {
        let mut hours = Hours::default();
        for row in rows {
            hours.push(*row);
        }
        hours.finish()
    }

    #[test]
    fn an_hour_is_its_median_and_a_silent_one_is_kept() {
        let found = gathered(&[
            row(600, 0.20),
            row(610, 0.21),
            row(650, 0.90),
            row(725, 0.25),
        ]);
        let thetas: Vec<_> = found.hours.iter().map(|hour| hour.theta_v).collect();
        assert_eq!(thetas, [Some(0.21), None, Some(0.25)]);
        assert_eq!(found.time(2), Timestamp(12 * 3600));
    }

    #[test]
    fn rain_and_pump_mark_their_hour_and_a_trace_does_not() {
        let wet = LoggedWater {
            rain_mm: Some(0.4),
            ..row(60, 0.2)
        };
        let trace = LoggedWater {
            rain_mm: Some(0.05),
            ..row(120, 0.2)
        };
        let pumped = LoggedWater {
            pump_on: Some(true),
            ..row(180, 0.2)
        };
        let found = gathered(&[row(0, 0.2), wet, trace, pumped]);
        let wettings: Vec<_> = found.hours.iter().map(|hour| hour.wetting).collect();
        assert_eq!(
            wettings,
            [None, Some(Wetting::Rain), None, Some(Wetting::Irrigation)]
        );
        assert!(found.says_rain() && found.says_pump());
    }

    #[test]
    fn one_wrong_date_does_not_fill_memory() {
        let far = LoggedWater {
            time: Timestamp(i64::MAX / 2),
            ..row(0, 0.2)
        };
        assert!(gathered(&[row(0, 0.2), far]).hours.len() < 10_000);
        assert!(gathered(&[]).hours.is_empty());
    }
}
