//! A cubic spline that cannot turn: two cubic pieces that meet at the middle of
//! the calibrated counts with value, slope and curvature in common.
//!
//! Its slope is a quadratic spline on the knots -1, 0 and 1, whose coefficients
//! `s1..s4` are the slopes of the control polygon; if all four have one sign so
//! has the slope everywhere (de Boor, A Practical Guide to Splines, 1978; as a
//! regression curve Ramsay 1988, Stat. Sci. 3:425; references recalled from
//! memory). They are
//!
//! `s1 = b r1`, `s2 = b r2`, `s3 = b r3`, `s4 = b r4`,
//! `ln(r2/r1) = e1`, `ln(r3/r2) = e2`, `ln(r4/r3) = e3`,
//!
//! with the `r` scaled so that `b` is the mean slope from end to end. Each `e` is
//! the bend from one part to the next, and with none the curve is the straight
//! line. Beyond its ends it goes on straight.
//!
//! The number of pieces is fixed. How far the bends may follow the scatter of the
//! cores is not: they are pulled towards none, as strongly as cores left out say
//! they should be (the smoothing of the fit, chosen by cross-validation).

use super::start::{check_points, least_squares, not_determined};
use super::{CurveError, CurveKind, CurveModel, StartPoint};

/// The monotone cubic spline.
pub(super) struct MonotoneSpline;

/// Share of each `r` in the mean slope: the integral of its spline over -1 to 1,
/// halved.
const SHARE: [f64; 4] = [1.0 / 6.0, 1.0 / 3.0, 1.0 / 3.0, 1.0 / 6.0];

/// Smallest slope the start allows, as a share of the mean: a flat stretch has
/// no logarithm.
const LEAST_SLOPE: f64 = 0.05;

/// The coefficients' part of the slope at `z`.
fn slope_basis(z: f64) -> [f64; 4] {
    let t = z.abs().min(1.0);
    // Bernstein polynomials from the middle knot outwards; the coefficient at
    // the middle is the mean of its two neighbours.
    let (middle, near, far) = ((1.0 - t) * (1.0 - t), 2.0 * t * (1.0 - t), t * t);
    outwards(z, middle, near, far)
}

/// The coefficients' part of the integral of the slope from 0 to `z`.
fn value_basis(z: f64) -> [f64; 4] {
    let t = z.abs().min(1.0);
    let beyond = z.abs() - t;
    let far = t * t * t / 3.0;
    let near = t * t - 2.0 * far;
    let middle = t - near - far;
    let sign = if z < 0.0 { -1.0 } else { 1.0 };
    outwards(z, middle, near, far + beyond).map(|part| sign * part)
}

/// Parts of the middle, the nearer and the farther coefficient on the side `z`
/// lies, in the order `s1..s4`.
fn outwards(z: f64, middle: f64, near: f64, far: f64) -> [f64; 4] {
    let half = 0.5 * middle;
    if z < 0.0 {
        [far, near + half, half, 0.0]
    } else {
        [0.0, half, near + half, far]
    }
}

/// `r1..r4` for the bends `e`.
fn ratios(e: &[f64]) -> [f64; 4] {
    let mut logarithms = [0.0; 4];
    for i in 0..3 {
        logarithms[i + 1] = logarithms[i] + e[i];
    }
    let largest = logarithms.iter().copied().fold(f64::MIN, f64::max);
    let unscaled = logarithms.map(|l| (l - largest).exp());
    let mean = dot(&SHARE, &unscaled);
    unscaled.map(|r| r / mean)
}

fn dot(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl CurveModel for MonotoneSpline {
    fn kind(&self) -> CurveKind {
        CurveKind::MonotoneSpline
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b", "e1", "e2", "e3"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b times a cubic spline of z with the bends e1, e2, e3"
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        p[0] + p[1] * dot(&value_basis(z), &ratios(&p[2..5]))
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        p[1] * dot(&slope_basis(z), &ratios(&p[2..5]))
    }

    fn gradient(&self, z: f64, p: &[f64], out: &mut [f64]) {
        self.evaluate(z, p, out);
    }

    /// With `v_i` the value's parts, `d/de_j` moves all `r_i` with `i > j` by
    /// their own size, and the scaling takes the mean's share of it back.
    fn evaluate(&self, z: f64, p: &[f64], out: &mut [f64]) -> (f64, f64) {
        let r = ratios(&p[2..5]);
        let basis = value_basis(z);
        let value = dot(&basis, &r);
        out[0] = 1.0;
        out[1] = value;
        for j in 0..3 {
            let (mut moved, mut share) = (0.0, 0.0);
            for i in j + 1..4 {
                moved += basis[i] * r[i];
                share += SHARE[i] * r[i];
            }
            out[2 + j] = p[1] * (moved - value * share);
        }
        (p[0] + p[1] * value, p[1] * dot(&slope_basis(z), &r))
    }

    fn smoothed(&self) -> usize {
        3
    }

    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [None, None]
    }

    /// The spline is linear in `a` and `s1..s4`; slopes of the wrong sign are
    /// raised to a little of the right one.
    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        check_points(self, points)?;
        let (linear, _) = least_squares(points, 5, |z, row| {
            row[0] = 1.0;
            row[1..].copy_from_slice(&value_basis(z));
        })
        .ok_or_else(|| not_determined(self, points))?;
        let slopes = [linear[1], linear[2], linear[3], linear[4]];
        let mean = dot(&SHARE, &slopes);
        let r = match slopes.map(|s| (s / mean).max(LEAST_SLOPE)) {
            r if r.iter().all(|r| r.is_finite()) => r,
            _ => [1.0; 4],
        };
        let scale = dot(&SHARE, &r);
        Ok(vec![
            linear[0],
            mean * scale,
            (r[1] / r[0]).ln(),
            (r[2] / r[1]).ln(),
            (r[3] / r[2]).ln(),
        ])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BENT: [f64; 5] = [0.25, -0.15, 0.8, -1.2, 0.5];

    #[test]
    fn a_spline_without_bends_is_the_straight_line() {
        for z in [-1.3, -1.0, -0.4, 0.0, 0.7, 1.0, 1.2] {
            let value = MonotoneSpline.value(z, &[0.25, -0.15, 0.0, 0.0, 0.0]);
            assert!((value - (0.25 - 0.15 * z)).abs() < 1e-15, "{z}: {value}");
        }
    }

    #[test]
    fn b_is_the_mean_slope_from_end_to_end() {
        let rise = MonotoneSpline.value(1.0, &BENT) - MonotoneSpline.value(-1.0, &BENT);
        assert!((rise / 2.0 - BENT[1]).abs() < 1e-15);
    }

    #[test]
    fn value_slope_and_curvature_have_no_jump_at_the_knots() {
        let h = 1e-7;
        for knot in [-1.0, 0.0, 1.0] {
            let value = |z| MonotoneSpline.value(z, &BENT);
            let slope = |z| MonotoneSpline.slope(z, &BENT);
            assert!((value(knot + h) - value(knot - h)).abs() < 1e-6);
            assert!((slope(knot + h) - slope(knot - h)).abs() < 1e-6);
            if knot == 0.0 {
                let curvature = |z: f64| (slope(z + h) - slope(z - h)) / (2.0 * h);
                assert!((curvature(3.0 * h) - curvature(-3.0 * h)).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn no_bends_however_sharp_make_it_turn_or_overflow() {
        for e in [-2000.0, -30.0, -3.0, 3.0, 30.0, 2000.0] {
            for which in 0..3 {
                let mut p = [0.2, 0.1, 0.3, -0.2, 0.1];
                p[2 + which] = e;
                for z in [-1.2, -1.0, -0.5, 0.0, 0.5, 1.0, 1.2] {
                    let slope = MonotoneSpline.slope(z, &p);
                    assert!(slope >= 0.0 && slope.is_finite(), "{e} {z}: {slope}");
                    assert!(MonotoneSpline.value(z, &p).is_finite());
                }
            }
        }
    }
}
