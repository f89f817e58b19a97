//! What the probe says of a soil: late, with noise, and swinging with the day.

use super::ScenarioError;
use crate::calibration::{Calibration, QUANTISATION};
use crate::irrigation::DAY_S;
use crate::irrigation::dead_band::{TemperatureBasis, effect_left_possible};
use crate::quantity::{Quantity, Vwc};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::VecDeque;

/// Time constant of the probe's lag, s, where none is stated: 20 minutes for water
/// to spread from an emitter to a probe between the rows. Our choice; a soaked bed
/// and a stopwatch give the real one.
pub const PROBE_LAG_S: u32 = 1200;

/// Hour of the day at which the soil at the probe is warmest. Our choice, for some 10 cm below a bed without cover.
const WARMEST_HOUR: f64 = 16.0;

/// How late the probe sees what the root zone holds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Lag {
    /// It closes in on it with a time constant of `time_s` seconds.
    FirstOrder {
        /// s; 0 is no lag.
        time_s: u32,
    },
    /// It sees it as it was `time_s` seconds ago.
    Delay {
        /// s; 0 is no lag.
        time_s: u32,
    },
}

/// A probe in its soil.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ProbeModel {
    /// Standard deviation of one reading, m3/m3.
    #[serde(rename = "noise_theta_v")]
    pub noise: f64,
    /// How far off a reading that nobody corrects for temperature lies at the
    /// warmest hour, m3/m3; as far the other way at the coldest.
    #[serde(rename = "swing_theta_v")]
    pub swing: f64,
    /// Where that comes from. Without a temperature term in the calibration its own
    /// reading swings too; with one, only the count as it stands does.
    pub basis: TemperatureBasis,
    /// How late it is.
    pub lag: Lag,
    /// Driest and wettest calibrated water content, m3/m3; beyond, a calibrated
    /// reading has no answer.
    #[serde(rename = "range_theta_v")]
    pub range: (f64, f64),
}

impl ProbeModel {
    /// The probe of `calibration` near `count` (at its reference temperature):
    /// noise and rounding of a single reading, and the swing of an uncorrected one
    /// by `temperature_swing` C, each through the curve's slope there. What a degree
    /// does is the calibration's term; without one, `counts_per_c` as stated, else the
    /// largest effect its cores leave possible, as the dead band has it; where nothing
    /// is known, there is no swing. What a correction leaves, and the thermometer's own
    /// error, are left out.
    pub fn of(
        calibration: &Calibration,
        count: f64,
        temperature_swing: f64,
        counts_per_c: Option<f64>,
        lag: Lag,
    ) -> Self {
        let slope = calibration.curve.slope(count);
        let domain = calibration.domain;
        let ends = [domain.low, domain.high].map(|end| calibration.curve.value(end));
        let (coefficient, basis) = match (calibration.temperature, counts_per_c) {
            (Some(term), _) => (term.coefficient, TemperatureBasis::Corrected),
            (None, Some(stated)) => (stated, TemperatureBasis::Stated),
            (None, None) => match effect_left_possible(calibration) {
                Some(effect) => (effect, TemperatureBasis::LeftPossible),
                None => (0.0, TemperatureBasis::Unknown),
            },
        };
        Self {
            noise: slope.abs() * calibration.noise.standard_deviation.hypot(QUANTISATION),
            swing: slope * coefficient * temperature_swing,
            basis,
            lag,
            range: (ends[0].min(ends[1]), ends[0].max(ends[1])),
        }
    }

    pub(super) fn check(&self) -> Result<(), ScenarioError> {
        for (what, value) in [
            ("probe noise", self.noise),
            ("daily swing", self.swing.abs()),
            ("width of the calibrated range", self.range.1 - self.range.0),
        ] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(ScenarioError::Figure { what, value });
            }
        }
        Ok(())
    }

    /// Swing at each step of a day, m3/m3: a sine with its top at the warmest hour.
    pub(super) fn swings(&self, step_s: u32) -> Vec<f64> {
        day_steps(step_s)
            .map(|second| {
                let hours = second / 3600.0 - WARMEST_HOUR;
                self.swing * (std::f64::consts::TAU * hours / 24.0).cos()
            })
            .collect()
    }

    /// How far temperature takes the calibrated reading along where it takes the
    /// count by `swing`, m3/m3.
    pub(super) fn uncorrected(&self, swing: f64) -> f64 {
        match self.basis {
            TemperatureBasis::Corrected => 0.0,
            _ => swing,
        }
    }

    /// A calibrated reading of `theta_v`: no answer beyond the range.
    pub(super) fn calibrated(&self, theta_v: f64) -> Option<Vwc> {
        let (low, high) = self.range;
        (low..=high)
            .contains(&theta_v)
            .then(|| Vwc::new(theta_v).ok())
            .flatten()
    }

    /// A reading of `theta_v` as it stands, held at the ends of the range.
    pub(super) fn as_read(&self, theta_v: f64) -> Option<Vwc> {
        let (low, high) = self.range;
        Vwc::new(theta_v.max(low).min(high)).ok()
    }
}

/// Seconds of the day at which steps of `step_s` start.
pub(super) fn day_steps(step_s: u32) -> impl Iterator<Item = f64> {
    (0..DAY_S / step_s.max(1)).map(move |i| f64::from(i * step_s.max(1)))
}

/// What a lagging probe is at.
#[derive(Debug, Clone)]
pub(super) enum Lagging {
    FirstOrder {
        seen: f64,
        /// Water content a step ago.
        before: f64,
        /// Share of the distance it closes in a step.
        closes: f64,
    },
    Delay {
        held: VecDeque<f64>,
    },
}

impl Lagging {
    /// At rest at `theta_v`.
    pub(super) fn new(lag: Lag, theta_v: f64, step_s: u32) -> Self {
        match lag {
            Lag::FirstOrder { time_s: 0 } => Lagging::Delay {
                held: VecDeque::new(),
            },
            Lag::FirstOrder { time_s } => Lagging::FirstOrder {
                seen: theta_v,
                before: theta_v,
                closes: 1.0 - (-f64::from(step_s) / f64::from(time_s)).exp(),
            },
            Lag::Delay { time_s } => {
                let steps = (f64::from(time_s) / f64::from(step_s.max(1))).round() as usize;
                Lagging::Delay {
                    held: VecDeque::from(vec![theta_v; steps]),
                }
            }
        }
    }

    /// A step later, with the root zone at `theta_v`: what the probe sees.
    pub(super) fn see(&mut self, theta_v: f64) -> f64 {
        match self {
            Lagging::FirstOrder {
                seen,
                before,
                closes,
            } => {
                // Between the two the water content went evenly from one to the other.
                let middle = 0.5 * (std::mem::replace(before, theta_v) + theta_v);
                *seen += (middle - *seen) * *closes;
                *seen
            }
            Lagging::Delay { held } => {
                held.push_back(theta_v);
                held.pop_front().unwrap_or(theta_v)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn model() -> ProbeModel {
        ProbeModel {
            noise: 0.001,
            swing: 0.004,
            basis: TemperatureBasis::Corrected,
            lag: Lag::FirstOrder { time_s: 0 },
            range: (0.05, 0.30),
        }
    }

    #[test]
    fn a_first_order_lag_has_seen_63_percent_after_its_time_constant() {
        let mut lagging = Lagging::new(Lag::FirstOrder { time_s: 1200 }, 0.0, 60);
        // The rise itself takes the first of these steps.
        let seen = (0..21).map(|_| lagging.see(1.0)).last().unwrap();
        assert!((seen - (1.0 - (-1.025_f64).exp())).abs() < 1e-3, "{seen}");
    }

    #[test]
    fn a_delay_shows_what_was() {
        let mut lagging = Lagging::new(Lag::Delay { time_s: 180 }, 0.0, 60);
        let seen: Vec<f64> = (1..=5).map(|i| lagging.see(f64::from(i))).collect();
        assert_eq!(seen, [0.0, 0.0, 0.0, 1.0, 2.0]);
    }

    #[test]
    fn no_lag_sees_at_once() {
        for lag in [Lag::Delay { time_s: 0 }, Lag::FirstOrder { time_s: 0 }] {
            assert_eq!(Lagging::new(lag, 0.1, 60).see(0.2), 0.2);
        }
    }

    #[test]
    fn the_swing_tops_in_the_afternoon_and_is_nothing_over_a_day() {
        let swings = model().swings(60);
        assert_eq!(swings.len(), 1440);
        assert!((swings[16 * 60] - 0.004).abs() < 1e-15);
        assert!((swings[4 * 60] + 0.004).abs() < 1e-15);
        assert!(swings.iter().sum::<f64>().abs() < 1e-12);
    }

    #[test]
    fn beyond_the_calibrated_range_only_the_raw_count_answers() {
        assert_eq!(model().calibrated(0.049), None);
        assert_eq!(model().calibrated(0.301), None);
        assert_eq!(model().as_read(0.049), Vwc::new(0.05).ok());
        assert_eq!(model().as_read(0.2), model().calibrated(0.2));
    }
}
