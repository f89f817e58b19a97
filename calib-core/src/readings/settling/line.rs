//! The straight line through the readings looked back on, and what it says.

use super::{Motion, SettlingRule};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Standard deviation of what rounding to whole counts hides: a rectangle one count wide.
const ROUNDING: f64 = 0.288_675_134_594_812_9;
/// One-sided 1 % point of the normal distribution, for the wander.
const NORMAL_99: f64 = 2.326_347_874_040_841;

/// The straight line through readings.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    readings: f64,
    /// Counts a second.
    pub(super) slope: f64,
    slope_u: f64,
    /// Time covered, s.
    span: f64,
    pub(super) noise: f64,
    /// Standard deviation of what is left about the line but does not change from one
    /// reading to the next, counts; 0 where it may be chance.
    wander: f64,
}

impl Line {
    pub(super) fn through(readings: &[(f64, f64)]) -> Option<Self> {
        let n = readings.len() as f64;
        let mean = |value: fn(&(f64, f64)) -> f64| readings.iter().map(value).sum::<f64>() / n;
        let (mean_t, mean_c) = (mean(|r| r.0), mean(|r| r.1));
        let (mut tt, mut tc) = (0.0, 0.0);
        for (t, c) in readings {
            tt += (t - mean_t).powi(2);
            tc += (t - mean_t) * (c - mean_c);
        }
        if readings.len() < 3 || tt <= 0.0 {
            return None;
        }
        let slope = tc / tt;
        let left: Vec<f64> = readings
            .iter()
            .map(|(t, c)| c - mean_c - slope * (t - mean_t))
            .collect();
        let about = left.iter().map(|r| r * r).sum::<f64>() / (n - 2.0);
        let steps = left.windows(2).map(|two| match two {
            [a, b] => (b - a).powi(2),
            _ => 0.0,
        });
        let step = steps.sum::<f64>() / (2.0 * (n - 1.0));
        // Von Neumann's ratio of the two is 1 for noise alone, with this spread.
        let spread = ((n - 2.0) / (n * n - 1.0)).sqrt();
        let wanders = about > 0.0 && step / about < 1.0 - NORMAL_99 * spread;
        let noise = about.sqrt().max(ROUNDING);
        Some(Self {
            readings: n,
            slope,
            slope_u: noise / tt.sqrt(),
            span: readings.last()?.0 - readings.first()?.0,
            noise,
            wander: if wanders {
                (about - step).max(0.0).sqrt()
            } else {
                0.0
            },
        })
    }

    pub(super) fn motion(&self, rule: &SettlingRule, was_steady: bool) -> Motion {
        let (moved, moved_u) = ((self.slope * self.span).abs(), self.slope_u * self.span);
        let allowed = rule.allowed(self.noise);
        let quantile = |p: f64| {
            StudentsT::new(0.0, 1.0, self.readings - 2.0)
                .map_or(f64::INFINITY, |t| t.inverse_cdf(p))
        };
        let moves = moved > quantile(0.995) * moved_u;
        if self.wander > allowed / 4.0 {
            return Motion::Moving;
        }
        if moved + quantile(0.95) * moved_u <= allowed {
            return Motion::Steady;
        }
        if moves {
            return Motion::Moving;
        }
        // Once shown to be steady it stays so until something speaks against it.
        if was_steady && moved <= allowed {
            return Motion::Steady;
        }
        Motion::Unsure
    }
}
