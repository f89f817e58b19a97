//! Whether a probe has come to rest, while its readings come in.
//!
//! A straight line is drawn through the last readings. They are steady once it is shown,
//! with 95 % confidence, that the count moved by no more than a stated amount over them
//! (a test of equivalence: too few or too noisy readings show nothing), and nothing else
//! than noise is left about the line. They move if the line's slope differs from none, or
//! if they wander about it. Between the two nothing is claimed.

mod line;
#[cfg(test)]
mod tests;

use super::robust::{PER_MAD, median};
use crate::quantity::Timestamp;
use line::Line;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::VecDeque;

/// A reading this many robust standard deviations off the middle of its two neighbours,
/// which agree, is a spike. Our own choice.
const SPIKE: f64 = 6.0;
/// Most readings looked back on, whatever the time they cover.
const MOST_READINGS: usize = 20_000;

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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
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

    /// Takes a reading. One that is earlier than the one before it begins anew, and so
    /// does one after a pause that the pace of the others makes long: what lies between
    /// is not known.
    pub fn take(&mut self, time: Timestamp, count: u32) {
        if let Some((last, _)) = self.window.back()
            && time.seconds_since(*last) < 0
        {
            self.forget(self.window.len());
        }
        self.window.push_back((time, count));
        let longest = self.longest_pause();
        let later = self.window.iter().skip(1);
        let broken = self
            .window
            .iter()
            .zip(later)
            .rposition(|((a, _), (b, _))| b.seconds_since(*a) as f64 > longest);
        if let Some(before) = broken {
            self.forget(before + 1);
        }
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

    /// Forgets the first `readings`.
    fn forget(&mut self, readings: usize) {
        self.window.drain(..readings.min(self.window.len()));
        self.was_steady = false;
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
