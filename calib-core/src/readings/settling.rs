//! Whether a probe has come to rest, while its readings come in.
//!
//! A straight line is drawn through the last readings. They are steady once it is shown,
//! with 95 % confidence, that the count moved by no more than a stated amount over them
//! (a test of equivalence: too few or too noisy readings show nothing), and nothing else
//! than noise is left about the line. They move if the line's slope differs from none, or
//! if they wander about it. Between the two nothing is claimed.

use super::robust::{PER_MAD, median};
use crate::quantity::Timestamp;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};
use std::collections::VecDeque;

/// Standard deviation of what rounding to whole counts hides: a rectangle one count wide.
const ROUNDING: f64 = 0.288_675_134_594_812_9;
/// A reading this many robust standard deviations off the middle of its two neighbours,
/// which agree, is a spike. Our own choice.
const SPIKE: f64 = 6.0;
/// Most readings looked back on, whatever the time they cover.
const MOST_READINGS: usize = 20_000;
/// One-sided 1 % point of the normal distribution, for the wander.
const NORMAL_99: f64 = 2.326_347_874_040_841;

/// What steady means. Every default is our own choice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettlingRule {
    /// Largest code of the converter; it and code 0 are the rails.
    pub full_scale: u32,
    /// Shortest time looked back over, s. Default 600.
    pub span_s: i64,
    /// Fewest readings looked back on. Default 12: what a core wants beside it.
    pub fewest: usize,
    /// The count may move by this many standard deviations of a reading's noise in that
    /// time. Default 3: the mean is then off by less than half of that.
    pub noises: f64,
    /// It may always move by this, counts. Default 2.
    pub least_counts: f64,
    /// It may never move by more than this share of the converter's range. Default
    /// 0.005, about a two-hundredth of what a probe spans.
    pub share: f64,
    /// A pause this many times the usual one is silence. Default 5.
    pub pauses: f64,
}

impl SettlingRule {
    /// The defaults for a converter whose largest code is `full_scale`.
    pub fn for_full_scale(full_scale: u32) -> Self {
        Self {
            full_scale,
            span_s: 600,
            fewest: 12,
            noises: 3.0,
            least_counts: 2.0,
            share: 0.005,
            pauses: 5.0,
        }
    }

    /// How far readings of this noise (standard deviation, counts) may move, counts.
    fn allowed(&self, noise: f64) -> f64 {
        let most = self.share * f64::from(self.full_scale);
        (self.noises * noise).min(most).max(self.least_counts)
    }
}

/// What a probe does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Motion {
    /// No reading came for long.
    NoSignal,
    /// Most readings are at 0 or at full scale.
    Saturated,
    /// Too few readings yet, or over too short a time.
    Filling,
    /// The count moves.
    Moving,
    /// It may move or not: there is too much noise to tell.
    Unsure,
    /// It does not move by more than allowed.
    Steady,
}

/// A probe as it is just now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Settled {
    /// What it does.
    pub motion: Motion,
    /// Readings looked back on.
    pub readings: usize,
    /// Time they cover, s.
    pub span_s: i64,
    /// Mean of their counts, spikes left out; `None` without any.
    pub centre: Option<f64>,
    /// Slope of the line through them, counts an hour; `None` of fewer than three.
    pub counts_per_hour: Option<f64>,
    /// Standard deviation about that line, counts, at least what rounding hides.
    pub noise: Option<f64>,
}

/// Follows one probe.
#[derive(Debug, Clone)]
pub struct Settling {
    rule: SettlingRule,
    window: VecDeque<(Timestamp, u32)>,
    was_steady: bool,
}

impl Settling {
    /// A probe of which nothing was heard yet.
    pub fn new(rule: SettlingRule) -> Self {
        Self {
            rule,
            window: VecDeque::new(),
            was_steady: false,
        }
    }

    /// Takes a reading. One that is earlier than the one before it, or comes after a long
    /// pause, begins anew: what lies between is not known.
    pub fn take(&mut self, time: Timestamp, count: u32) {
        if let Some((last, _)) = self.window.back() {
            let pause = time.seconds_since(*last);
            if pause < 0 || pause as f64 > self.longest_pause() {
                self.window.clear();
                self.was_steady = false;
            }
        }
        self.window.push_back((time, count));
        let enough = |window: &VecDeque<(Timestamp, u32)>| {
            window.len() > self.rule.fewest
                && window
                    .get(1)
                    .is_some_and(|(second, _)| time.seconds_since(*second) >= self.rule.span_s)
        };
        while self.window.len() > MOST_READINGS || enough(&self.window) {
            self.window.pop_front();
        }
    }

    /// The longest pause between readings that belong together, s.
    fn longest_pause(&self) -> f64 {
        let half = self.rule.span_s as f64 / 2.0;
        half.max(self.rule.pauses * self.usual_pause())
    }

    /// The usual pause between readings, s; 0 where it is not known yet.
    fn usual_pause(&self) -> f64 {
        let later = self.window.iter().skip(1);
        let mut pauses: Vec<f64> = self
            .window
            .iter()
            .zip(later)
            .map(|((a, _), (b, _))| b.seconds_since(*a) as f64)
            .collect();
        median(&mut pauses).unwrap_or(0.0)
    }

    /// What the probe does at `now`, by the readings taken so far.
    pub fn look(&mut self, now: Timestamp) -> Settled {
        let kept = self.without_spikes();
        let span_s = match (self.window.front(), self.window.back()) {
            (Some((first, _)), Some((last, _))) => last.seconds_since(*first),
            _ => 0,
        };
        let line = Line::through(&kept);
        let centre = (!kept.is_empty())
            .then(|| kept.iter().map(|(_, count)| count).sum::<f64>() / kept.len() as f64);
        let motion = self.motion(now, span_s, line.as_ref());
        self.was_steady = motion == Motion::Steady;
        Settled {
            motion,
            readings: self.window.len(),
            span_s,
            centre,
            counts_per_hour: line.as_ref().map(|line| line.slope * 3600.0),
            noise: line.as_ref().map(|line| line.noise),
        }
    }

    fn motion(&self, now: Timestamp, span_s: i64, line: Option<&Line>) -> Motion {
        let Some((last, _)) = self.window.back() else {
            return Motion::NoSignal;
        };
        let silence = now.seconds_since(*last) as f64;
        // Ten seconds of grace for a probe whose pace is not known yet or is fast.
        if silence > (self.rule.pauses * self.usual_pause()).max(10.0)
            && (self.window.len() > 1 || silence > self.longest_pause())
        {
            return Motion::NoSignal;
        }
        let at_rail = self
            .window
            .iter()
            .filter(|(_, count)| *count == 0 || *count >= self.rule.full_scale)
            .count();
        if 2 * at_rail > self.window.len() {
            return Motion::Saturated;
        }
        let enough = self.window.len() >= self.rule.fewest && span_s >= self.rule.span_s;
        let (Some(line), true) = (line, enough) else {
            return Motion::Filling;
        };
        line.motion(&self.rule, self.was_steady)
    }

    /// Seconds since the first reading and count, without spikes. The first and the last
    /// reading are never taken for spikes: the last may be the first of a step.
    fn without_spikes(&self) -> Vec<(f64, f64)> {
        let Some((first, _)) = self.window.front() else {
            return Vec::new();
        };
        let all: Vec<(f64, f64)> = self
            .window
            .iter()
            .map(|(time, count)| (time.seconds_since(*first) as f64, f64::from(*count)))
            .collect();
        let off = |three: &[(f64, f64)]| match three {
            [(_, before), (_, this), (_, after)] => {
                (this - before.midpoint(*after), (before - after).abs())
            }
            _ => (0.0, 0.0),
        };
        let mut sizes: Vec<f64> = all.windows(3).map(|three| off(three).0.abs()).collect();
        let scale = PER_MAD * (median(&mut sizes).unwrap_or(0.0) + 0.5);
        let mut kept = Vec::with_capacity(all.len());
        kept.extend(all.first());
        for three in all.windows(3) {
            let (this, between) = off(three);
            let spike = this.abs() > SPIKE * scale && between <= SPIKE / 2.0 * scale;
            if let (false, [_, reading, _]) = (spike, three) {
                kept.push(*reading);
            }
        }
        if all.len() > 1 {
            kept.extend(all.last());
        }
        kept
    }
}

/// The straight line through readings.
#[derive(Debug, Clone, Copy)]
struct Line {
    readings: f64,
    /// Counts a second.
    slope: f64,
    slope_u: f64,
    /// Time covered, s.
    span: f64,
    noise: f64,
    /// Standard deviation of what is left about the line but does not change from one
    /// reading to the next, counts; 0 where it may be chance.
    wander: f64,
}

impl Line {
    fn through(readings: &[(f64, f64)]) -> Option<Self> {
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

    fn motion(&self, rule: &SettlingRule, was_steady: bool) -> Motion {
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
