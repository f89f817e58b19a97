//! Two straight lines that meet: `theta_v = a + b1 (z - c)` below the break `c`,
//! `a + b2 (z - c)` above. All four are fitted; `a` is theta_v at the break.
//!
//! # The kink
//!
//! The value is continuous, its derivative is not: at `z = c` exactly the slope
//! and the derivative by `c` are those of the upper side. The sum of squares is
//! smooth in `c` as long as no core crosses the break, so a search from one side
//! of a core need not find a better break on the other; the starts therefore
//! cover all of them. For a break between two neighbouring counts the best one
//! is where the lines fitted to either side cross, if they cross there, and one
//! of the two counts otherwise (Hudson 1966, J. Am. Stat. Assoc. 61:1097;
//! reference recalled from memory).
//!
//! The covariance is that of the two lines with the break between the two cores
//! where it was found. With many cores and slopes that differ clearly the break
//! is normally distributed with it (Feder 1975, Ann. Stat. 3:49; reference
//! recalled from memory). With few cores, or slopes that hardly differ, it is
//! too small for the break and for theta_v close to the break: it knows nothing
//! of the break lying on the far side of the next core. Where the slopes do not
//! differ at all the break is not determined and the fit says so.

use super::start::{check_points, distinct_counts, line_along, linear_start, not_determined};
use super::{CurveError, CurveKind, CurveModel, StartPoint};

/// The continuous two-segment line.
pub(super) struct TwoSegment;

/// Distinct counts that must lie on either side of a break the start considers.
const LEAST_ON_A_SIDE: usize = 2;

/// Most breaks that a search starts from.
const MOST_STARTS: usize = 24;

impl CurveModel for TwoSegment {
    fn kind(&self) -> CurveKind {
        CurveKind::TwoSegment
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b1", "b2", "c"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b1 (z - c) where z < c, a + b2 (z - c) where z >= c"
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        p[0] + self.slope(z, p) * (z - p[3])
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        if z < p[3] { p[1] } else { p[2] }
    }

    fn gradient(&self, z: f64, p: &[f64], out: &mut [f64]) {
        out[0] = 1.0;
        out[1] = (z - p[3]).min(0.0);
        out[2] = (z - p[3]).max(0.0);
        out[3] = -self.slope(z, p);
    }

    fn turning_points(&self, p: &[f64]) -> [Option<f64>; 2] {
        [(p[1] * p[2] < 0.0).then_some(p[3]), None]
    }

    fn inverse(&self, theta: f64, p: &[f64], _within: (f64, f64)) -> Option<f64> {
        let rise = theta - p[0];
        let below = rise / p[1];
        let above = rise / p[2];
        // Lines that rise both, or fall both, reach a value on one side only.
        match (below <= 0.0, above >= 0.0) {
            (true, _) => Some(p[3] + below),
            (false, true) => Some(p[3] + above),
            (false, false) => None,
        }
    }

    fn break_parameter(&self) -> Option<usize> {
        Some(3)
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        let first = self.starts(points)?.into_iter().next();
        first.ok_or_else(|| not_determined(self, points))
    }

    /// The best break of each gap between neighbouring counts, for the lowest
    /// plain sum of squares need not be in the gap of the lowest weighted one.
    fn starts(&self, points: &[StartPoint]) -> Result<Vec<Vec<f64>>, CurveError> {
        check_points(self, points)?;
        let counts = distinct_counts(points);
        let mut starts: Vec<(Vec<f64>, f64)> = Vec::new();
        for pair in counts
            .windows(2)
            .skip(LEAST_ON_A_SIDE - 1)
            .take((counts.len() + 1).saturating_sub(2 * LEAST_ON_A_SIDE))
        {
            let [last, first] = [pair[0], pair[1]];
            let mut best: Option<(Vec<f64>, f64)> = None;
            let crossing = crossing(points, last).filter(|c| (last..=first).contains(c));
            for c in [crossing, Some(last), Some(first)].into_iter().flatten() {
                let frozen = [0.0, 0.0, 0.0, c];
                let (mut lines, sum_of_squares) = linear_start(self, points, &frozen, 3)?;
                if best
                    .as_ref()
                    .is_none_or(|(_, least)| sum_of_squares < *least)
                {
                    lines.push(c);
                    best = Some((lines, sum_of_squares));
                }
            }
            starts.extend(best);
        }
        if starts.is_empty() {
            return Err(not_determined(self, points));
        }
        starts.sort_by(|(_, a), (_, b)| a.total_cmp(b));
        starts.truncate(MOST_STARTS);
        Ok(starts.into_iter().map(|(start, _)| start).collect())
    }
}

/// Where the line through the points up to `last` meets that through the rest.
fn crossing(points: &[StartPoint], last: f64) -> Option<f64> {
    let (below, above): (Vec<StartPoint>, Vec<StartPoint>) =
        points.iter().copied().partition(|p| p.z <= last);
    let below = line_along(&below, |z| z)?;
    let above = line_along(&above, |z| z)?;
    let c = (above.intercept - below.intercept) / (below.slope - above.slope);
    c.is_finite().then_some(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    const KINKED: [f64; 4] = [0.2, -0.05, -0.25, 0.15];

    #[test]
    fn the_lines_meet_and_the_slope_at_the_break_is_the_upper_one() {
        let below = TwoSegment.value(0.15 - 1e-12, &KINKED);
        assert!((below - 0.2).abs() < 1e-12);
        assert_eq!(TwoSegment.value(0.15, &KINKED), 0.2);
        assert_eq!(TwoSegment.slope(0.15, &KINKED), -0.25);
        let mut g = [0.0; 4];
        TwoSegment.gradient(0.15, &KINKED, &mut g);
        assert_eq!(g, [1.0, 0.0, 0.0, 0.25]);
    }

    #[test]
    fn a_rise_and_a_fall_turn_at_the_break() {
        assert_eq!(
            TwoSegment.turning_points(&[0.2, 0.1, -0.1, 0.3]),
            [Some(0.3), None]
        );
        assert_eq!(TwoSegment.turning_points(&KINKED), [None, None]);
    }

    #[test]
    fn a_break_between_two_counts_is_found_from_exact_lines() {
        let points: Vec<StartPoint> = (0..8)
            .map(|i| -1.0 + 0.28 * f64::from(i))
            .map(|z| StartPoint {
                z,
                theta: TwoSegment.value(z, &KINKED),
            })
            .collect();
        let start = TwoSegment.start(&points).unwrap();
        for (found, expected) in start.iter().zip(KINKED) {
            assert!((found - expected).abs() < 1e-10, "{start:?}");
        }
    }

    #[test]
    fn a_break_at_a_count_is_found_too() {
        let kinked = [0.2, -0.05, -0.25, 0.0];
        let points: Vec<StartPoint> = (-4..=4)
            .map(|i| 0.25 * f64::from(i))
            .map(|z| StartPoint {
                z,
                theta: TwoSegment.value(z, &kinked),
            })
            .collect();
        let start = TwoSegment.start(&points).unwrap();
        assert!(start[3].abs() < 1e-10, "{start:?}");
    }
}
