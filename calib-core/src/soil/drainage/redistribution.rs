//! The water content of a soaked soil as it drains ever more slowly.
//!
//! `theta(t) = W (t / 48 h)^-b - e t / 24 h + s sin(2 pi t / 24 h) + c cos(2 pi t / 24 h)`
//!
//! with t the hours since the wetting ended. The power of time is the usual
//! description of redistribution (Ogata and Richards 1957, Soil Sci. Soc. Am. Proc.
//! 21:355; recalled from memory): it is what a flux that goes with a power of
//! theta comes to. `e` is what the crop and the sun take in a day, and the sine and
//! cosine are the day's swing of evapotranspiration and of what temperature is left
//! in the reading. So W is the water content two days after the wetting, had nothing
//! been taken: field capacity as it is commonly read off a field (common practice:
//! after one day in sand to three in clay).

use super::EventFault;
use super::hours::Hours;
use super::wetting::Soaking;
use crate::fit::{Points, Regression, Settings, solve};
use schemars::JsonSchema;
use serde::Serialize;
use std::f64::consts::PI;

/// Hours after the wetting at which field capacity is read. Common practice.
pub const FIELD_CAPACITY_HOURS: f64 = 48.0;

/// Field capacity by another custom would be read somewhere between these, hours.
/// Common practice.
pub const CUSTOMARY_HOURS: (f64, f64) = (24.0, 72.0);

/// Hours after the wetting from which drainage is followed: before, the wetting front
/// itself passes. Our choice.
const FROM_HOURS: usize = 4;

/// Fall by drainage from [`FIRST_LOOK_HOURS`] to two days below which no drainage was
/// seen, m3/m3. Our choice.
const LEAST_DRAINED: f64 = 0.006;

/// Hour from which the fall by drainage is reckoned.
const FIRST_LOOK_HOURS: f64 = 6.0;

/// Standard uncertainty above which W is not worth having, m3/m3. Our choice.
const LARGEST_U: f64 = 0.02;

/// Most that one hour's residual may tell of the next, for the widening of the
/// uncertainties: beyond, the widening would rest on next to nothing.
const MOST_CORRELATED: f64 = 0.9;

const PARAMETERS: usize = 5;

/// What one drainage came to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Drained {
    /// theta_v two days after the wetting, had nothing been taken, m3/m3.
    pub field_capacity: f64,
    /// Its standard uncertainty from the scatter of the hours alone, m3/m3.
    pub u: f64,
    /// The exponent b: how fast drainage slows.
    pub exponent: f64,
    /// What left by evapotranspiration in a day at the probe, m3/m3.
    pub taken_per_day: f64,
    /// Standard deviation of the hours about the curve, m3/m3.
    pub residual: f64,
}

impl Drained {
    /// theta_v by drainage alone `hours` after the wetting, m3/m3.
    pub fn at(&self, hours: f64) -> f64 {
        self.field_capacity * (hours / FIELD_CAPACITY_HOURS).powf(-self.exponent)
    }

    /// Fall by drainage from one time to another, hours, m3/m3.
    pub fn fall(&self, from: f64, until: f64) -> f64 {
        self.at(from) - self.at(until)
    }
}

/// The model; the only input, time, is exact and kept beside it.
struct Redistribution<'a> {
    hours: &'a [f64],
}

impl Regression for Redistribution<'_> {
    fn parameters(&self) -> usize {
        PARAMETERS
    }

    fn inputs(&self) -> usize {
        0
    }

    fn evaluate(
        &self,
        point: usize,
        _: &[f64],
        p: &[f64],
        by_parameter: &mut [f64],
        _: &mut [f64],
    ) -> f64 {
        let t = self
            .hours
            .get(point)
            .copied()
            .unwrap_or(FIELD_CAPACITY_HOURS);
        let [w, b, e, s, c] = p else { return f64::NAN };
        let ratio = t / FIELD_CAPACITY_HOURS;
        let power = ratio.powf(-b);
        let (sine, cosine) = (2.0 * PI * t / 24.0).sin_cos();
        by_parameter.copy_from_slice(&[power, -w * power * ratio.ln(), -t / 24.0, sine, cosine]);
        w * power - e * t / 24.0 + s * sine + c * cosine
    }
}

/// Follows the drainage after `soaking`.
///
/// # Errors
/// [`EventFault`] if it was not left alone for two days, no drainage was seen, or
/// evapotranspiration hides it.
pub(super) fn follow(log: &Hours, soaking: &Soaking) -> Result<Drained, EventFault> {
    if (soaking.hours as f64) < FIELD_CAPACITY_HOURS {
        return Err(EventFault::CutShort {
            hours: soaking.hours,
            by: soaking.ended_by,
        });
    }
    let (mut t, mut y) = (Vec::new(), Vec::new());
    for since in FROM_HOURS..=soaking.hours {
        if let Some(theta) = log.hours.get(soaking.peak + since).and_then(|h| h.theta_v) {
            t.push(since as f64);
            y.push(theta);
        }
    }
    let start = [y.last().copied().unwrap_or(0.2), 0.05, 0.003, 0.0, 0.0];
    let ones = vec![1.0; y.len()];
    let points = Points {
        y: &y,
        u_y: &ones,
        x: &[],
        u_x: &[],
    };
    let found = solve(
        &Redistribution { hours: &t },
        &points,
        &start,
        &Settings::default(),
    );
    let freedom = y.len() as f64 - PARAMETERS as f64;
    if !found.found_minimum() || freedom < 10.0 {
        return Err(EventFault::NoCurve);
    }
    let residual = (found.chi_square / freedom).sqrt();
    let mut first = [0.0; PARAMETERS];
    first[0] = 1.0;
    let [w, exponent, taken_per_day, ..] = found.parameters[..] else {
        return Err(EventFault::NoCurve);
    };
    let widening = widening(&found.residuals);
    let drained = Drained {
        field_capacity: w,
        u: residual * (widening * found.variance_of(&first)).max(0.0).sqrt(),
        exponent,
        taken_per_day,
        residual,
    };
    judge(drained)
}

/// What neighbouring hours that stray together add to a variance: `(1 + r) / (1 - r)`
/// with r their correlation, the number of independent values being so much smaller
/// (Bartlett's formula for an autoregression of first order; recalled from memory).
fn widening(residuals: &[f64]) -> f64 {
    let squares: f64 = residuals.iter().map(|r| r * r).sum();
    let products: f64 = residuals.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let r = if squares > 0.0 {
        (products / squares).clamp(0.0, MOST_CORRELATED)
    } else {
        0.0
    };
    (1.0 + r) / (1.0 - r)
}

fn judge(drained: Drained) -> Result<Drained, EventFault> {
    let by_drainage = drained.fall(FIRST_LOOK_HOURS, FIELD_CAPACITY_HOURS);
    let days = (FIELD_CAPACITY_HOURS - FIRST_LOOK_HOURS) / 24.0;
    let taken = drained.taken_per_day * days;
    if !(drained.field_capacity > 0.0 && drained.field_capacity < 1.0) {
        return Err(EventFault::NoCurve);
    }
    if by_drainage < LEAST_DRAINED {
        return Err(EventFault::NotAboveFieldCapacity {
            fell: by_drainage.max(0.0),
        });
    }
    if taken.abs() > by_drainage {
        return Err(EventFault::Evaporation {
            drained: by_drainage,
            taken,
        });
    }
    if drained.u > LARGEST_U {
        return Err(EventFault::Unsure { u: drained.u });
    }
    Ok(drained)
}
