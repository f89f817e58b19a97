//! theta_v where the count is a four-parameter logistic function of it: the count
//! levels off towards `L` on one side and `U` on the other,
//! `z = L + (U - L)/(1 + exp(-(theta_v - m)/w))`, so that
//! `theta_v = m + w ln((z - L)/(U - z))`.
//!
//! The logistic function is Verhulst's (1838, 1845); with a level at either end
//! it is common practice for calibrations that flatten both ways (references
//! recalled from memory).
//!
//! `L`, `U`, `m` and `w` cannot all be determined where the counts are far from
//! both levels, and run off to infinity where the curve is straight. The slope is
//! that of `w (U - L)/((z - L)(U - z))`, so the same curve is
//!
//! `d theta_v/d z = b/(1 + e z - s z^2)`, `theta_v = a` at `z = 0`,
//!
//! with `s = -1/(L U)` and `e = -1/L - 1/U`: `a` and `b` are value and slope at
//! the origin, `e` bends the curve one way, `s` steepens it at both ends, and at
//! `e = s = 0` it is the straight line. The integral is
//!
//! `theta_v = a + (b/q) ln((2 + (e + q) z)/(2 + (e - q) z))`, `q^2 = e^2 + 4 s`,
//!
//! with the levels at `L = -2/(e + q)` and `U = -2/(e - q)`. It is a logistic only
//! where `s > 0`. The search for the parameters may pass through `s <= 0`, where
//! the integral goes on smoothly; if it ends there the counts do not level off
//! both ways, and the curve is refused.

use super::start::{check_points, line_along, not_determined};
use super::{CurveError, CurveKind, CurveModel, StartPoint};

/// The inverted four-parameter logistic.
pub(super) struct InvertedLogistic;

/// Levels the start tries, as `reach/level`: 0 is a level infinitely far away,
/// 1 one at the outermost point.
const NEARNESS: [f64; 7] = [0.0, 0.3, 0.55, 0.75, 0.88, 0.95, 0.99];
/// Halvings of the step between them that follow.
const HALVINGS: usize = 16;

/// `integral from 0 to z of dt/(1 + e t - s t^2)` in its parts.
struct Integral {
    /// `z/(1 + e z/2)`
    w: f64,
    /// `(e^2/4 + s) w^2`, below 1
    y: f64,
    /// `1/(1 - y)`
    steepness: f64,
    /// `artanh(sqrt(y))/sqrt(y)`, and its smooth continuation to `y <= 0`
    artanh: f64,
}

impl Integral {
    /// `None` where a level lies between 0 and `z`.
    fn new(z: f64, e: f64, s: f64) -> Option<Self> {
        let half = 1.0 + 0.5 * e * z;
        let whole = 1.0 + z * (e - s * z);
        if !(half > 0.0 && whole > 0.0) {
            return None;
        }
        let w = z / half;
        let y = (0.25 * e * e + s) * w * w;
        let steepness = half * half / whole;
        let artanh = if y.abs() < 0.1 {
            series(|n| y.powi(n) / f64::from(2 * n + 1))
        } else if y > 0.0 {
            let root = y.sqrt();
            ((1.0 + root).powi(2) * steepness).ln() / (2.0 * root)
        } else {
            let root = (-y).sqrt();
            root.atan() / root
        };
        Some(Self {
            w,
            y,
            steepness,
            artanh,
        })
    }

    fn value(&self) -> f64 {
        self.w * self.artanh
    }

    /// Derivatives by `e` and by `s`.
    fn by_e_and_s(&self, e: f64, s: f64) -> (f64, f64) {
        let Self { w, y, .. } = *self;
        let artanh_by_y = if y.abs() < 0.1 {
            series(|n| f64::from(n + 1) * y.powi(n) / f64::from(2 * n + 3))
        } else {
            (self.steepness - self.artanh) / (2.0 * y)
        };
        let w_by_e = -0.5 * w * w;
        let y_by_e = 0.5 * e * w * w + 2.0 * (0.25 * e * e + s) * w * w_by_e;
        (
            w_by_e * self.artanh + w * artanh_by_y * y_by_e,
            w * artanh_by_y * w * w,
        )
    }
}

/// Terms enough for |y| < 0.1.
fn series(term: impl Fn(i32) -> f64) -> f64 {
    (0..18).map(term).sum()
}

impl CurveModel for InvertedLogistic {
    fn kind(&self) -> CurveKind {
        CurveKind::InvertedLogistic
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b", "e", "s"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + (b/q) ln((2 + (e + q) z)/(2 + (e - q) z)), q^2 = e^2 + 4 s"
    }

    /// Between the levels at which the count settles.
    fn extent(&self, p: &[f64]) -> Option<(f64, f64)> {
        let (e, s) = (p[2], p[3]);
        let q = (e * e + 4.0 * s).sqrt();
        (s > 0.0 && q.is_finite()).then(|| (-2.0 / (q + e), 2.0 / (q - e)))
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        Integral::new(z, p[2], p[3])
            .map_or(f64::INFINITY, |integral| p[0] + p[1] * integral.value())
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        Integral::new(z, p[2], p[3]).map_or(0.0, |_| p[1] / (1.0 + z * (p[2] - p[3] * z)))
    }

    fn gradient(&self, z: f64, p: &[f64], out: &mut [f64]) {
        out.fill(0.0);
        if let Some(integral) = Integral::new(z, p[2], p[3]) {
            let (by_e, by_s) = integral.by_e_and_s(p[2], p[3]);
            out[0] = 1.0;
            out[1] = integral.value();
            out[2] = p[1] * by_e;
            out[3] = p[1] * by_s;
        }
    }

    fn evaluate(&self, z: f64, p: &[f64], out: &mut [f64]) -> (f64, f64) {
        out.fill(0.0);
        let Some(integral) = Integral::new(z, p[2], p[3]) else {
            return (f64::INFINITY, 0.0);
        };
        let (by_e, by_s) = integral.by_e_and_s(p[2], p[3]);
        out[0] = 1.0;
        out[1] = integral.value();
        out[2] = p[1] * by_e;
        out[3] = p[1] * by_s;
        (p[0] + p[1] * out[1], p[1] / (1.0 + z * (p[2] - p[3] * z)))
    }

    fn turning_points(&self, _p: &[f64]) -> [Option<f64>; 2] {
        [None, None]
    }

    /// The logistic function itself, `w = (2/q) tanh(q y/2)` with `y` the
    /// integral, solved for `z = w/(1 - e w/2)`.
    fn inverse(&self, theta: f64, p: &[f64], _within: (f64, f64)) -> Option<f64> {
        let (e, s) = (p[2], p[3]);
        let q = (e * e + 4.0 * s).sqrt();
        let w = 2.0 / q * (0.5 * q * (theta - p[0]) / p[1]).tanh();
        (s > 0.0).then(|| w / (1.0 - 0.5 * e * w))
    }

    /// For given levels the curve is linear in `a` and `b`, so only the levels
    /// are searched: the best of a coarse grid, then its neighbours with a step
    /// that is halved again and again.
    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        check_points(self, points)?;
        let reach = points.iter().map(|p| p.z.abs()).fold(0.0, f64::max);
        let largest = NEARNESS[NEARNESS.len() - 1];
        let at = |low: f64, high: f64| -> Option<(f64, Vec<f64>)> {
            let (low, high) = (
                low.clamp(0.0, largest) / reach,
                high.clamp(0.0, largest) / reach,
            );
            let (e, s) = (low - high, low * high);
            let line = line_along(points, |z| {
                Integral::new(z, e, s).map_or(f64::NAN, |integral| integral.value())
            })?;
            Some((line.sum_of_squares, vec![line.intercept, line.slope, e, s]))
        };
        let mut best = (f64::INFINITY, Vec::new());
        let mut nearness = (0.0, 0.0);
        let mut consider = |low: f64, high: f64, nearness: &mut (f64, f64)| {
            if let Some(found) = at(low, high)
                && found.0 < best.0
            {
                best = found;
                *nearness = (low, high);
            }
        };
        for low in NEARNESS {
            for high in NEARNESS {
                consider(low, high, &mut nearness);
            }
        }
        let mut step = 0.15;
        for _ in 0..HALVINGS {
            let (low, high) = nearness;
            for (to_low, to_high) in NEIGHBOURS {
                consider(low + step * to_low, high + step * to_high, &mut nearness);
            }
            step *= 0.5;
        }
        if best.1.is_empty() {
            return Err(not_determined(self, points));
        }
        Ok(best.1)
    }
}

/// Steps to the eight neighbours of a place on a grid.
const NEIGHBOURS: [(f64, f64); 8] = [
    (-1.0, -1.0),
    (-1.0, 0.0),
    (-1.0, 1.0),
    (0.0, -1.0),
    (0.0, 1.0),
    (1.0, -1.0),
    (1.0, 0.0),
    (1.0, 1.0),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Levels at z = -1.25 and 1.6.
    const TYPICAL: [f64; 4] = [0.25, -0.2, 0.8 - 0.625, 0.8 * 0.625];

    #[test]
    fn the_count_is_the_logistic_of_the_water_content() {
        let [a, b, ..] = TYPICAL;
        let (low, high) = (-1.25, 1.6);
        // b = w (U - L)/(-L U) at z = 0, and theta = a there.
        let w = b * (-low * high) / (high - low);
        let m = a - w * f64::ln(-low / high);
        for z in [-1.2, -0.6, 0.0, 0.5, 1.0, 1.59] {
            let theta = InvertedLogistic.value(z, &TYPICAL);
            let logistic = low + (high - low) / (1.0 + (-(theta - m) / w).exp());
            assert!((logistic - z).abs() < 1e-12, "{z}: {logistic}");
        }
    }

    #[test]
    fn the_levels_are_the_ends_of_the_curve() {
        let (low, high) = InvertedLogistic.extent(&TYPICAL).unwrap();
        assert!((low + 1.25).abs() < 1e-12 && (high - 1.6).abs() < 1e-12);
        let mut g = [1.0; 4];
        for z in [low, low - 0.1, high, high + 3.0] {
            let z = if z == low || z == high {
                z * 1.000_000_1
            } else {
                z
            };
            assert_eq!(InvertedLogistic.value(z, &TYPICAL), f64::INFINITY);
            assert_eq!(InvertedLogistic.slope(z, &TYPICAL), 0.0);
            InvertedLogistic.gradient(z, &TYPICAL, &mut g);
            assert_eq!(g, [0.0; 4]);
        }
    }

    #[test]
    fn a_curve_without_two_levels_is_none_of_this_kind() {
        assert_eq!(InvertedLogistic.extent(&[0.2, 0.1, 0.3, 0.0]), None);
        assert_eq!(InvertedLogistic.extent(&[0.2, 0.1, 0.3, -0.2]), None);
    }

    #[test]
    fn the_logistic_passes_through_the_line_without_a_jump() {
        for (e, s) in [(0.0, 0.0), (1e-9, 1e-9), (1e-5, -1e-5), (0.0, 1e-7)] {
            let near = InvertedLogistic.value(0.7, &[0.2, 0.1, e, s]);
            assert!((near - 0.27).abs() < 1e-6, "{e} {s}: {near}");
        }
    }

    #[test]
    fn series_and_closed_forms_agree_where_they_meet() {
        // y = s z^2 at e = 0: just inside and just outside 0.1 either way.
        for sign in [1.0, -1.0] {
            let z = 0.5;
            let [inside, outside] = [0.1 - 1e-9, 0.1 + 1e-9]
                .map(|y| Integral::new(z, 0.0, sign * y / (z * z)).unwrap());
            assert!((inside.value() - outside.value()).abs() < 1e-9);
            let s = sign * 0.1 / (z * z);
            let (inside, outside) = (inside.by_e_and_s(0.0, s), outside.by_e_and_s(0.0, s));
            assert!((inside.0 - outside.0).abs() < 1e-8);
            assert!((inside.1 - outside.1).abs() < 1e-8);
        }
    }
}
