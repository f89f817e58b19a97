//! The sequential test: two cumulative sums with a limit for a stated number of checks.
//!
//! With scores `z_1, z_2, ...`, standard normal and independent while the calibration
//! holds,
//!
//! `up_t = max(0, up_(t-1) + z_t - k)`, `down_t = max(0, down_(t-1) - z_t - k)`
//!
//! (Page 1954, Biometrika 41:100). The alarm is raised when either reaches the limit `h`.
//! Both begin at `h / 2`, so that a calibration that is off already at the first check is
//! found sooner (the head start of Lucas and Crosier 1982, Technometrics 24:199). `h` is
//! solved so that the probability of any alarm within the checks planned is
//! [`FALSE_ALARM`], whenever one looks: the pair of sums is a Markov chain, whose kernel is
//! integrated numerically (the approach of Brook and Evans 1972, Biometrika 59:539, with
//! polynomials through Chebyshev points in place of steps). References recalled from
//! memory.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// Probability of any alarm within the checks planned while the calibration holds.
pub const FALSE_ALARM: f64 = 0.05;

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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The soil is wetter than the probe says.
    Wetter,
    /// The soil is drier than the probe says.
    Drier,
}

/// The test for a number of checks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Plan {
    /// Checks within which the chance of a false alarm is kept.
    pub checks: usize,
    /// The limit, standard deviations.
    pub limit: f64,
    /// Chance of any false alarm within them.
    pub false_alarm: f64,
}

/// Both sums after a check.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sums {
    /// Of scores above zero.
    pub up: f64,
    /// Of scores below zero.
    pub down: f64,
}

/// The first time a sum reached the limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
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
            limit: limit(checks),
            false_alarm: FALSE_ALARM,
        }
    }

    /// Both sums before any check.
    pub fn start(&self) -> Sums {
        let head = HEAD_START * self.limit;
        Sums {
            up: head,
            down: head,
        }
    }

    /// The test on `scores`.
    pub fn run(&self, scores: &[f64]) -> Run {
        let (mut sums, mut alarm) = (Vec::with_capacity(scores.len()), None);
        let mut now = self.start();
        for (check, score) in scores.iter().enumerate() {
            now = now.after(*score);
            sums.push(now);
            if alarm.is_none() && now.reaches(self.limit) {
                let side = if now.up >= now.down {
                    Side::Wetter
                } else {
                    Side::Drier
                };
                alarm = Some(Alarm {
                    check,
                    side,
                    began: began(&scores[..=check], side),
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
    pub fn alarm_at(&self, scores: &[f64]) -> Option<usize> {
        let mut now = self.start();
        scores.iter().position(|score| {
            now = now.after(*score);
            now.reaches(self.limit)
        })
    }
}

impl Sums {
    fn after(self, score: f64) -> Self {
        Self {
            up: (self.up + score - SLACK).max(0.0),
            down: (self.down - score - SLACK).max(0.0),
        }
    }

    fn reaches(self, limit: f64) -> bool {
        self.up >= limit || self.down >= limit
    }
}

/// The first of the last scores that, taken together, lie farthest on `side`: the change
/// most likely in the sense of the likelihood, were it a shift that stayed.
fn began(scores: &[f64], side: Side) -> usize {
    let sign = match side {
        Side::Wetter => 1.0,
        Side::Drier => -1.0,
    };
    let (mut sum, mut best) = (0.0, (f64::NEG_INFINITY, scores.len().saturating_sub(1)));
    for (number, (place, score)) in scores.iter().enumerate().rev().enumerate() {
        sum += sign * score;
        let together = sum / (number as f64 + 1.0).sqrt();
        if together > best.0 {
            best = (together, place);
        }
    }
    best.1
}

/// The limit whose chance of any alarm within `checks` is [`FALSE_ALARM`].
fn limit(checks: usize) -> f64 {
    let excess = |limit: f64| false_alarm(limit, checks) - FALSE_ALARM;
    // One check alone reaches the limit from h/2 where |z| >= h/2 + k; more checks ask for
    // more.
    let quantile = Normal::standard().inverse_cdf(1.0 - 0.5 * FALSE_ALARM);
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

/// Probability of an alarm within `checks` under independent standard normal scores.
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
                let next = Sums { up, down }.after(score);
                let by_up = interpolation(points, next.up);
                let by_down = interpolation(points, next.down);
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

    /// Share of runs of independent scores that raise an alarm, in per cent.
    fn simulated(plan: &Plan, runs: u64) -> f64 {
        let alarms = (0..runs)
            .into_par_iter()
            .filter(|run| {
                let mut rng = ChaCha8Rng::seed_from_u64(*run);
                let scores: Vec<f64> = (0..plan.checks)
                    .map(|_| StandardNormal.sample(&mut rng))
                    .collect();
                plan.alarm_at(&scores).is_some()
            })
            .count();
        100.0 * alarms as f64 / runs as f64
    }

    #[test]
    fn the_chance_of_a_false_alarm_within_the_plan_is_what_it_says() {
        for checks in [1, 3, 12, 40] {
            let plan = Plan::new(checks);
            assert!((false_alarm(plan.limit, checks) - FALSE_ALARM).abs() < 1e-9);
            // 400,000 runs: one standard error is 0.034 %.
            let found = simulated(&plan, 400_000);
            println!("{checks} checks: limit {:.4}, {found:.3} %", plan.limit);
            assert!((found - 5.0).abs() < 0.14, "{checks} checks: {found} %");
        }
    }

    /// Share of runs of `checks` independent scores in which a look after each of them
    /// finds an alarm at any time, in per cent; the plan is `planned`, or all that are
    /// there once they are more.
    fn looked_at_each_time(planned: usize, checks: usize, runs: u64) -> f64 {
        let plans: Vec<Plan> = (1..=checks).map(|n| Plan::new(planned.max(n))).collect();
        let alarms = (0..runs)
            .into_par_iter()
            .filter(|run| {
                let mut rng = ChaCha8Rng::seed_from_u64(*run);
                let scores: Vec<f64> = (0..checks)
                    .map(|_| StandardNormal.sample(&mut rng))
                    .collect();
                let looks = plans.iter().enumerate();
                looks
                    .skip(planned.min(checks) - 1)
                    .any(|(n, plan)| plan.alarm_at(&scores[..=n]).is_some())
            })
            .count();
        100.0 * alarms as f64 / runs as f64
    }

    #[test]
    fn a_look_after_every_check_keeps_the_chance_within_the_plan_and_not_beyond() {
        let [within, half_more, twice] = [12, 18, 24].map(|n| looked_at_each_time(12, n, 40_000));
        println!(
            "12 planned, a look each time: {within:.2} % in 12, {half_more:.2} % in 18, {twice:.2} % in 24"
        );
        // One standard error is 0.11 %.
        assert!((within - 5.0).abs() < 0.5, "{within} %");
        // All 24 looked at once raise 5 in 100; looked at each time, the limits that were
        // lower before raise more.
        assert!(
            (5.0..12.0).contains(&twice) && half_more <= twice,
            "{half_more} {twice}"
        );
    }

    #[test]
    fn one_check_alone_is_a_two_sided_normal_test() {
        let plan = Plan::new(1);
        let quantile = Normal::standard().inverse_cdf(0.975);
        assert!((plan.limit - 2.0 * (quantile - SLACK)).abs() < 1e-8);
        assert!(plan.alarm_at(&[quantile + 1e-6]).is_some());
        assert!(plan.alarm_at(&[1e-6 - quantile]).is_none());
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
        for (sign, side) in [(1.0, Side::Wetter), (-1.0, Side::Drier)] {
            let mut scores: Vec<f64> = quiet.to_vec();
            scores.extend([2.4, 2.1, 2.6, 2.2].map(|score| sign * score));
            let run = plan.run(&scores);
            let alarm = run.alarm.unwrap();
            assert_eq!((alarm.side, alarm.began), (side, 5));
            assert!((6..9).contains(&alarm.check), "{alarm:?}");
            assert_eq!(plan.alarm_at(&scores), Some(alarm.check));
            assert_eq!(run.sums.len(), scores.len());
        }
        assert_eq!(plan.run(&quiet).alarm, None);
    }
}
