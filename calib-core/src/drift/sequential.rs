//! The sequential test: cumulative sums with limits for a stated number of checks.
//!
//! With scores `z_1, z_2, ...`, standard normal and independent while the calibration
//! holds,
//!
//! `up_t = max(0, up_(t-1) + z_t - k)`, `down_t = max(0, down_(t-1) - z_t - k)`
//!
//! (Page 1954, Biometrika 41:100). The alarm is raised when either reaches the limit `h`.
//! Both begin at `h / 2`, so that a calibration that is off already at the first check is
//! found sooner (the head start of Lucas and Crosier 1982, Technometrics 24:199).
//!
//! A calibration whose gain has changed is too wet at one end of its range and too dry at
//! the other, and its scores cancel in these sums. Two more take the scores of checks in
//! the dry third of the range with their sign turned, those of the wet third as they are,
//! and none between.
//!
//! Each pair of sums is a Markov chain, whose kernel is integrated numerically (the
//! approach of Brook and Evans 1972, Biometrika 59:539, with polynomials through Chebyshev
//! points in place of steps); its limit is solved so that within the checks planned it
//! raises an alarm with the probability it is given: [`FALSE_ALARM`] in all, of which
//! [`FOR_GAIN`] goes to the second pair. So both together raise one in at most
//! [`FALSE_ALARM`] of cases, whenever one looks, and in hardly fewer, for they share
//! little. References recalled from memory.

use schemars::JsonSchema;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// Probability of any alarm within the checks planned while the calibration holds.
pub const FALSE_ALARM: f64 = 0.05;

/// What of [`FALSE_ALARM`] goes to the sums that look for a change of gain (our choice: a
/// shift is the likelier fault, and a change of gain shows at both ends).
pub const FOR_GAIN: f64 = 0.01;

/// Standard deviations a score may lie off before it counts towards a sum: half the shift
/// that is found soonest. A drift of 0.02 m3/m3 is some one and a half to two and a half
/// standard deviations of one core (our choice).
pub const SLACK: f64 = 0.75;

/// Share of the limit at which both sums begin.
pub const HEAD_START: f64 = 0.5;

/// Chebyshev points each way.
const POINTS: usize = 17;
/// Points of each integral.
const ABSCISSAS: usize = 20;
/// How closely the probability is met.
const CLOSE: f64 = 1e-10;

/// Which way a calibration has gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The soil is wetter than the probe says.
    Wetter,
    /// The soil is drier than the probe says.
    Drier,
    /// From dry to wet the soil changes more than the probe says: it is drier than that
    /// at the dry end and wetter at the wet one.
    Narrower,
    /// From dry to wet the soil changes less than the probe says.
    Wider,
}

impl Side {
    /// The sign with which a score at `end` speaks for this side.
    pub(super) fn sign(self, end: End) -> f64 {
        match self {
            Side::Wetter => 1.0,
            Side::Drier => -1.0,
            Side::Narrower => end.sign(),
            Side::Wider => -end.sign(),
        }
    }
}

/// In which third of the calibrated range, by water content, a check lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// The driest third.
    Dry,
    /// Neither.
    Middle,
    /// The wettest third.
    Wet,
}

impl End {
    /// The third of the range from `driest` to `wettest` in which `theta_v` lies, m3/m3.
    pub fn of(theta_v: f64, driest: f64, wettest: f64) -> Self {
        let share = (theta_v - driest) / (wettest - driest);
        if share < 1.0 / 3.0 {
            End::Dry
        } else if share > 2.0 / 3.0 {
            End::Wet
        } else {
            End::Middle
        }
    }

    fn sign(self) -> f64 {
        match self {
            End::Dry => -1.0,
            End::Middle => 0.0,
            End::Wet => 1.0,
        }
    }
}

/// The test for a number of checks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Plan {
    /// Checks within which the chance of a false alarm is kept.
    pub checks: usize,
    /// The limit of the sums of all scores, standard deviations.
    pub limit: f64,
    /// The limit of the sums that look for a change of gain.
    pub gain_limit: f64,
    /// Chance of any false alarm within them, at most.
    pub false_alarm: f64,
}

/// The sums after a check.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Sums {
    /// Of scores above zero.
    pub up: f64,
    /// Of scores below zero.
    pub down: f64,
    /// Of scores above zero at the wet end and below zero at the dry one.
    pub narrower: f64,
    /// The other way round.
    pub wider: f64,
}

/// The first time a sum reached the limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Alarm {
    /// The check that raised it, counted from 0.
    pub check: usize,
    /// Which way the calibration has gone.
    pub side: Side,
    /// The first check that the change most likely lies before, counted from 0: the mean of
    /// the scores from there to the alarm is the largest for its number of checks.
    pub began: usize,
}

/// The test on the scores at hand.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Run {
    /// The test.
    pub plan: Plan,
    /// Both sums after each check; they go on after an alarm.
    pub sums: Vec<Sums>,
    /// The first alarm.
    pub alarm: Option<Alarm>,
}

impl Plan {
    /// The test for so many checks; for one if there are none.
    pub fn new(checks: usize) -> Self {
        let checks = checks.max(1);
        Self {
            checks,
            limit: limit(checks, FALSE_ALARM - FOR_GAIN),
            gain_limit: limit(checks, FOR_GAIN),
            false_alarm: FALSE_ALARM,
        }
    }

    /// The sums before any check.
    pub fn start(&self) -> Sums {
        let (head, gain_head) = (HEAD_START * self.limit, HEAD_START * self.gain_limit);
        Sums {
            up: head,
            down: head,
            narrower: gain_head,
            wider: gain_head,
        }
    }

    /// The same test where more checks have come than were planned: its limits stay, so
    /// that no alarm is withdrawn, and false alarms become likelier as it says.
    pub fn extended(self, checks: usize) -> Self {
        if checks <= self.checks {
            return self;
        }
        let both = false_alarm(self.limit, checks) + false_alarm(self.gain_limit, checks);
        Self {
            checks,
            false_alarm: both,
            ..self
        }
    }

    /// The test on `scores` of checks that lie at `ends`.
    pub fn run(&self, scores: &[f64], ends: &[End]) -> Run {
        let (mut sums, mut alarm) = (Vec::with_capacity(scores.len()), None);
        let mut now = self.start();
        for (check, (score, end)) in scores.iter().zip(ends).enumerate() {
            now = now.after(*score, *end);
            sums.push(now);
            if alarm.is_none()
                && let Some(side) = self.reached(now)
            {
                alarm = Some(Alarm {
                    check,
                    side,
                    began: began(&scores[..=check], ends, side),
                });
            }
        }
        Run {
            plan: *self,
            sums,
            alarm,
        }
    }

    /// The check, counted from 0, at which `scores` raise an alarm.
    pub fn alarm_at(&self, scores: &[f64], ends: &[End]) -> Option<usize> {
        let mut now = self.start();
        scores.iter().zip(ends).position(|(score, end)| {
            now = now.after(*score, *end);
            self.reached(now).is_some()
        })
    }

    /// Which sum has reached its limit; the one farthest beyond where several have.
    fn reached(&self, sums: Sums) -> Option<Side> {
        [
            (Side::Wetter, sums.up / self.limit),
            (Side::Drier, sums.down / self.limit),
            (Side::Narrower, sums.narrower / self.gain_limit),
            (Side::Wider, sums.wider / self.gain_limit),
        ]
        .into_iter()
        .filter(|(_, share)| *share >= 1.0)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(side, _)| side)
    }
}

impl Sums {
    fn after(self, score: f64, end: End) -> Self {
        let (up, down) = both(self.up, self.down, score);
        let (narrower, wider) = match end {
            End::Middle => (self.narrower, self.wider),
            _ => both(self.narrower, self.wider, end.sign() * score),
        };
        Self {
            up,
            down,
            narrower,
            wider,
        }
    }
}

/// A pair of sums after a score.
fn both(up: f64, down: f64, score: f64) -> (f64, f64) {
    (
        (up + score - SLACK).max(0.0),
        (down - score - SLACK).max(0.0),
    )
}

/// The first of the last scores that, taken together, lie farthest on `side`: the change
/// most likely in the sense of the likelihood, were it a shift that stayed.
fn began(scores: &[f64], ends: &[End], side: Side) -> usize {
    let (mut sum, mut number) = (0.0, 0.0_f64);
    let mut best = (f64::NEG_INFINITY, scores.len().saturating_sub(1));
    for (place, (score, end)) in scores.iter().zip(ends).enumerate().rev() {
        let sign = side.sign(*end);
        if sign == 0.0 {
            continue;
        }
        sum += sign * score;
        number += 1.0;
        let together = sum / number.sqrt();
        if together > best.0 {
            best = (together, place);
        }
    }
    best.1
}

/// The limit of a pair of sums whose chance of any alarm within `checks` is `chance`.
fn limit(checks: usize, chance: f64) -> f64 {
    let excess = |limit: f64| false_alarm(limit, checks) - chance;
    // One check alone reaches the limit from h/2 where |z| >= h/2 + k; more checks ask for
    // more.
    let quantile = Normal::standard().inverse_cdf(1.0 - 0.5 * chance);
    let mut low = (quantile - SLACK) / (1.0 - HEAD_START) - 0.1;
    let mut at_low = excess(low);
    let mut high = low + 1.0;
    let mut at_high = excess(high);
    while at_high > 0.0 && high < 60.0 {
        (low, at_low) = (high, at_high);
        high += 1.0;
        at_high = excess(high);
    }
    // The secant kept inside its bracket by halving the value at the end that stays.
    let mut stayed = 0_i8;
    for _ in 0..100 {
        let middle = (low * at_high - high * at_low) / (at_high - at_low);
        let at = excess(middle);
        if at.abs() < CLOSE || high - low < CLOSE {
            return middle;
        }
        if at > 0.0 {
            (low, at_low) = (middle, at);
            if stayed == 1 {
                at_high *= 0.5;
            }
            stayed = 1;
        } else {
            (high, at_high) = (middle, at);
            if stayed == -1 {
                at_low *= 0.5;
            }
            stayed = -1;
        }
    }
    0.5 * (low + high)
}

/// Probability that a pair of sums reaches `limit` within `checks` under independent
/// standard normal scores.
pub fn false_alarm(limit: f64, checks: usize) -> f64 {
    let points = chebyshev(limit);
    let kernel = kernel(limit, &points);
    let states = POINTS * POINTS;
    // Probability of no alarm in so many more checks, from each pair of sums.
    let mut quiet = vec![1.0; states];
    for _ in 0..checks {
        quiet = kernel
            .chunks_exact(states)
            .map(|row| row.iter().zip(&quiet).map(|(k, q)| k * q).sum())
            .collect();
    }
    let head = interpolation(&points, HEAD_START * limit);
    let mut stays = 0.0;
    for (i, a) in head.iter().enumerate() {
        for (j, b) in head.iter().enumerate() {
            stays += a * b * quiet[i * POINTS + j];
        }
    }
    1.0 - stays
}

/// From each pair of sums, what each pair weighs one check later.
fn kernel(limit: f64, points: &[f64; POINTS]) -> Vec<f64> {
    let states = POINTS * POINTS;
    let legendre = legendre();
    let mut kernel = vec![0.0; states * states];
    for (state, row) in kernel.chunks_exact_mut(states).enumerate() {
        let (up, down) = (points[state / POINTS], points[state % POINTS]);
        // Scores that raise no alarm, parted where either sum begins again at zero.
        let (lowest, highest) = (down - limit - SLACK, limit + SLACK - up);
        let cut = |at: f64| at.clamp(lowest, highest);
        let (up_rests, down_rests) = (cut(SLACK - up), cut(down - SLACK));
        let edges = [
            lowest,
            up_rests.min(down_rests),
            up_rests.max(down_rests),
            highest,
        ];
        for piece in edges.windows(2) {
            let half = 0.5 * (piece[1] - piece[0]);
            if half <= 0.0 {
                continue;
            }
            for (x, weight) in &legendre {
                let score = piece[0] + half * (1.0 + x);
                let mass =
                    half * weight * (-0.5 * score * score).exp() / std::f64::consts::TAU.sqrt();
                let (next_up, next_down) = both(up, down, score);
                let by_up = interpolation(points, next_up);
                let by_down = interpolation(points, next_down);
                for (i, a) in by_up.iter().enumerate().filter(|(_, a)| **a != 0.0) {
                    for (entry, b) in row[i * POINTS..].iter_mut().zip(&by_down) {
                        *entry += mass * a * b;
                    }
                }
            }
        }
    }
    kernel
}

/// Chebyshev points of the second kind between 0 and `limit`.
fn chebyshev(limit: f64) -> [f64; POINTS] {
    std::array::from_fn(|i| {
        let angle = std::f64::consts::PI * i as f64 / (POINTS - 1) as f64;
        0.5 * limit * (1.0 - angle.cos())
    })
}

/// What each of the Chebyshev `points` weighs at `x` (the barycentric formula; Berrut and
/// Trefethen 2004, SIAM Rev. 46:501; recalled from memory).
fn interpolation(points: &[f64; POINTS], x: f64) -> [f64; POINTS] {
    let mut weights = [0.0; POINTS];
    let mut total = 0.0;
    for (i, (weight, point)) in weights.iter_mut().zip(points).enumerate() {
        let difference = x - point;
        if difference.abs() < 1e-14 {
            let mut only = [0.0; POINTS];
            only[i] = 1.0;
            return only;
        }
        let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
        let end = if i == 0 || i == POINTS - 1 { 0.5 } else { 1.0 };
        *weight = sign * end / difference;
        total += *weight;
    }
    weights.map(|weight| weight / total)
}

/// Points and weights of Gauss and Legendre between -1 and 1, by Newton's method on the
/// Legendre polynomial.
fn legendre() -> [(f64, f64); ABSCISSAS] {
    let n = ABSCISSAS as f64;
    std::array::from_fn(|i| {
        let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..100 {
            let (mut before, mut value) = (1.0, x);
            for k in 2..=ABSCISSAS {
                let k = k as f64;
                (before, value) = (
                    value,
                    ((2.0 * k - 1.0) * x * value - (k - 1.0) * before) / k,
                );
            }
            slope = n * (x * value - before) / (x * x - 1.0);
            let step = value / slope;
            x -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        (x, 2.0 / ((1.0 - x * x) * slope * slope))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};
    use rayon::prelude::*;

    /// Checks that lie dry, wet and between by turns.
    fn by_turns(checks: usize) -> Vec<End> {
        let ends = [End::Wet, End::Dry, End::Middle, End::Dry, End::Wet];
        ends.into_iter().cycle().take(checks).collect()
    }

    /// Share of runs of independent scores that raise an alarm, in per cent.
    fn simulated(plan: &Plan, ends: &[End], runs: u64) -> f64 {
        let alarms = (0..runs)
            .into_par_iter()
            .filter(|run| {
                let mut rng = ChaCha8Rng::seed_from_u64(*run);
                let scores: Vec<f64> = (0..plan.checks)
                    .map(|_| StandardNormal.sample(&mut rng))
                    .collect();
                plan.alarm_at(&scores, ends).is_some()
            })
            .count();
        100.0 * alarms as f64 / runs as f64
    }

    #[test]
    fn the_chance_of_a_false_alarm_within_the_plan_is_what_it_says() {
        // Few checks say little of a gain.
        for (checks, least) in [(1, 3.87), (3, 4.2), (12, 4.5), (40, 4.5)] {
            let plan = Plan::new(checks);
            let shift = FALSE_ALARM - FOR_GAIN;
            assert!((false_alarm(plan.limit, checks) - shift).abs() < 1e-9);
            assert!((false_alarm(plan.gain_limit, checks) - FOR_GAIN).abs() < 1e-9);
            // 400,000 runs: one standard error is 0.034 %. Between the ends only the first
            // pair of sums is at work.
            let alone = simulated(&plan, &vec![End::Middle; checks], 400_000);
            let together = simulated(&plan, &by_turns(checks), 400_000);
            println!("{checks} checks: {alone:.3} % and {together:.3} %");
            assert!((alone - 4.0).abs() < 0.13, "{checks} checks: {alone} %");
            assert!(
                together < 5.1 && together >= alone,
                "{checks}: {together} %"
            );
            assert!(together > least - 0.13, "{checks}: {together} %");
        }
    }

    #[test]
    fn one_check_alone_is_a_two_sided_normal_test() {
        let plan = Plan::new(1);
        let quantile = Normal::standard().inverse_cdf(1.0 - 0.5 * (FALSE_ALARM - FOR_GAIN));
        assert!((plan.limit - 2.0 * (quantile - SLACK)).abs() < 1e-8);
        let wet = [End::Wet];
        assert!(plan.alarm_at(&[quantile + 1e-6], &wet).is_some());
        assert!(plan.alarm_at(&[1e-6 - quantile], &wet).is_none());
    }

    #[test]
    fn more_checks_ask_for_a_higher_limit() {
        let limits: Vec<f64> = (1..30).map(|n| Plan::new(n).limit).collect();
        assert!(limits.windows(2).all(|two| two[0] < two[1]), "{limits:?}");
    }

    #[test]
    fn an_alarm_says_where_to_and_since_when() {
        let plan = Plan::new(12);
        let quiet = [0.3, -0.4, 0.1, -0.2, 0.2];
        let ends = by_turns(12);
        for (sign, side) in [(1.0, Side::Wetter), (-1.0, Side::Drier)] {
            let mut scores: Vec<f64> = quiet.to_vec();
            scores.extend([2.4, 2.1, 2.6, 2.2].map(|score| sign * score));
            let run = plan.run(&scores, &ends);
            let alarm = run.alarm.unwrap();
            assert_eq!((alarm.side, alarm.began), (side, 5));
            assert!((6..9).contains(&alarm.check), "{alarm:?}");
            assert_eq!(plan.alarm_at(&scores, &ends), Some(alarm.check));
            assert_eq!(run.sums.len(), scores.len());
        }
        assert_eq!(plan.run(&quiet, &ends).alarm, None);
    }

    #[test]
    fn a_change_of_gain_is_found_though_its_scores_cancel() {
        let plan = Plan::new(12);
        let ends = by_turns(12);
        for (gain, side) in [(2.2, Side::Narrower), (-2.2, Side::Wider)] {
            let scores: Vec<f64> = ends.iter().map(|end| gain * end.sign()).collect();
            let alarm = plan.run(&scores, &ends).alarm.unwrap();
            assert_eq!((alarm.side, alarm.began), (side, 0), "{alarm:?}");
            assert!(alarm.check < 6, "{alarm:?}");
        }
    }

    #[test]
    fn checks_beyond_the_plan_leave_the_limits_and_tell_the_chance() {
        let plan = Plan::new(12);
        let longer = plan.extended(24);
        assert_eq!(
            (longer.limit, longer.gain_limit),
            (plan.limit, plan.gain_limit)
        );
        let found = simulated(&longer, &by_turns(24), 100_000);
        let said = 100.0 * longer.false_alarm;
        println!("24 checks by the limits of 12: said {said:.2} %, found {found:.2} %");
        assert!(said > 5.5 && found < said + 0.2 && found > 0.9 * said);
        assert_eq!(plan.extended(7), plan);
    }

    #[test]
    fn a_third_of_the_range_is_an_end() {
        let ends = [0.05, 0.14, 0.16, 0.24, 0.26, 0.36].map(|theta| End::of(theta, 0.05, 0.35));
        let (dry, middle, wet) = (End::Dry, End::Middle, End::Wet);
        assert_eq!(ends, [dry, dry, middle, middle, wet, wet]);
    }
}
