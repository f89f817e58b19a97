//! Placing the fewest knots that hold a table to a stated error.
//!
//! Knots stand at whole counts and carry the curve's value rounded to a whole
//! unit. From one knot the search goes to the farthest later count that a
//! straight line can reach while passing within the tolerance of every point on
//! the way, and repeats from there. Which counts a line can reach is known
//! exactly in one pass: each point passed narrows the range of slopes allowed,
//! and a count is reachable if the slope to its knot lies in that range.
//!
//! Among tables whose knots lie on the curve this greedy choice needs the fewest
//! knots wherever the curve bends one way only, since there a shorter chord
//! never strays farther than a longer one over the same counts. Past an
//! inflection it may need one more. (Tested against every possible choice on
//! small tables.) With that number of knots, the search then looks for the
//! smallest tolerance that still does with it, so that no byte is wasted.

use super::record::{Knot, MAX_KNOT_DISTANCE, SIXTEENTHS};

/// Halvings of the tolerance in search of the smallest that needs no more knots.
const HALVINGS: u32 = 12;
/// Rounding of a knot to a whole unit; no tolerance is smaller.
const ROUNDING: f64 = 0.5;

/// What the table must follow.
pub(super) struct Target<'a> {
    /// First point, sixteenths of a count.
    pub low: i32,
    /// Sixteenths between points: 16 where only whole codes can occur.
    pub stride: i32,
    /// theta_v x 10 000 at every point.
    pub values: &'a [f64],
}

impl Target<'_> {
    /// Points strictly after `sixteenths`, as position and value.
    fn after(&self, sixteenths: i32) -> impl Iterator<Item = (i32, f64)> + '_ {
        let skip = (sixteenths - self.low).div_euclid(self.stride) + 1;
        let skip = usize::try_from(skip).unwrap_or(0);
        self.values
            .iter()
            .enumerate()
            .skip(skip)
            .map(|(i, value)| (self.low + self.stride * i as i32, *value))
    }
}

/// The farthest of `candidates` a line from `from` can reach; `candidates` are
/// the knots at each following count, in order.
fn farthest(target: &Target, from: &Knot, candidates: &[Knot], tolerance: f64) -> Option<usize> {
    let start = SIXTEENTHS * i32::from(from.count);
    let level = f64::from(from.theta_v);
    let (mut flattest, mut steepest) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut points = target.after(start).peekable();
    let mut reached = None;
    for (i, to) in candidates.iter().enumerate() {
        let end = SIXTEENTHS * i32::from(to.count);
        let mut pass = |last: i32| {
            while let Some((at, value)) = points.next_if(|(at, _)| *at <= last) {
                let distance = f64::from(at - start);
                flattest = flattest.max((value - tolerance - level) / distance);
                steepest = steepest.min((value + tolerance - level) / distance);
            }
            (flattest, steepest)
        };
        let (flattest, steepest) = pass(end - 1);
        if flattest > steepest || to.count - from.count > MAX_KNOT_DISTANCE {
            break;
        }
        let slope = (f64::from(to.theta_v) - level) / f64::from(end - start);
        if (flattest..=steepest).contains(&slope) {
            reached = Some(i);
        }
        pass(end);
    }
    reached
}

/// Greedy placement at one tolerance. `knots` holds a knot for every whole
/// count of the table, in order.
///
/// # Errors
/// The count from which not even the next is within reach.
fn place(target: &Target, knots: &[Knot], tolerance: f64) -> Result<Vec<Knot>, u16> {
    let mut placed: Vec<Knot> = knots.first().copied().into_iter().collect();
    let mut rest = knots.get(1..).unwrap_or_default();
    while let (Some(from), false) = (placed.last(), rest.is_empty()) {
        let stuck = from.count;
        let next = farthest(target, from, rest, tolerance).ok_or(stuck)?;
        placed.extend(rest.get(next));
        rest = rest.get(next + 1..).unwrap_or_default();
    }
    Ok(placed)
}

/// The fewest knots within `tolerance` (theta_v x 10 000, before rounding) of
/// the target and, among placements of that many, the closest found.
///
/// # Errors
/// The count from which not even the next is within reach.
pub(super) fn fewest(target: &Target, knots: &[Knot], tolerance: f64) -> Result<Vec<Knot>, u16> {
    let mut best = place(target, knots, tolerance)?;
    let (mut too_tight, mut enough) = (ROUNDING, tolerance);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (too_tight + enough);
        match place(target, knots, middle) {
            Ok(placed) if placed.len() <= best.len() => {
                best = placed;
                enough = middle;
            }
            _ => too_tight = middle,
        }
    }
    Ok(best)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Knots at every count of `counts` on `curve`, and the target at the same
    /// counts.
    fn tabulate(
        curve: impl Fn(f64) -> f64,
        counts: std::ops::RangeInclusive<u16>,
    ) -> (Vec<Knot>, Vec<f64>) {
        counts
            .map(|count| {
                let value = curve(f64::from(count));
                let knot = Knot {
                    count,
                    theta_v: value.round() as i16,
                    expanded_uncertainty: 0,
                };
                (knot, value)
            })
            .unzip()
    }

    fn line_fits(from: &Knot, to: &Knot, values: &[f64], first: u16, tolerance: f64) -> bool {
        (from.count..=to.count).all(|count| {
            let share = f64::from(count - from.count) / f64::from(to.count - from.count);
            let line =
                f64::from(from.theta_v) + share * (f64::from(to.theta_v) - f64::from(from.theta_v));
            (line - values[usize::from(count - first)]).abs() <= tolerance + 1e-9
        })
    }

    /// The true minimum, by looking at every pair of counts.
    fn fewest_by_trying_all(knots: &[Knot], values: &[f64], tolerance: f64) -> usize {
        let first = knots[0].count;
        let mut least = vec![usize::MAX; knots.len()];
        least[0] = 1;
        for j in 1..knots.len() {
            for i in 0..j {
                if least[i] < usize::MAX
                    && line_fits(&knots[i], &knots[j], values, first, tolerance)
                {
                    least[j] = least[j].min(least[i] + 1);
                }
            }
        }
        least[knots.len() - 1]
    }

    fn placed(curve: impl Fn(f64) -> f64, tolerance: f64) -> (usize, usize) {
        let (knots, values) = tabulate(curve, 60..=220);
        let target = Target {
            low: 60 * SIXTEENTHS,
            stride: SIXTEENTHS,
            values: &values,
        };
        let placed = fewest(&target, &knots, tolerance).unwrap();
        for pair in placed.windows(2) {
            assert!(line_fits(&pair[0], &pair[1], &values, 60, tolerance));
        }
        (
            placed.len(),
            fewest_by_trying_all(&knots, &values, tolerance),
        )
    }

    #[test]
    fn curves_that_bend_one_way_get_the_fewest_knots_there_are() {
        for tolerance in [1.0, 2.0, 5.0, 20.0] {
            for bend in [-3000.0, -800.0, 500.0, 2500.0] {
                let z = |count: f64| (count - 140.0) / 80.0;
                let (greedy, best) = placed(
                    |c| 2500.0 - 3500.0 * z(c) + 0.5 * bend * z(c) * z(c),
                    tolerance,
                );
                assert_eq!(greedy, best, "bend {bend}, tolerance {tolerance}");
            }
            let (greedy, best) = placed(|c| 400_000.0 / c - 1000.0, tolerance);
            assert_eq!(greedy, best, "hyperbolic, tolerance {tolerance}");
        }
    }

    #[test]
    fn a_curve_with_an_inflection_needs_at_most_one_knot_more_than_the_fewest() {
        for tolerance in [1.0, 2.0, 5.0, 20.0] {
            let z = |count: f64| (count - 140.0) / 80.0;
            let (greedy, best) =
                placed(|c| 2500.0 - 900.0 * z(c) - 1400.0 * z(c).powi(3), tolerance);
            assert!(greedy <= best + 1, "{greedy} against {best} at {tolerance}");
        }
    }

    #[test]
    fn a_straight_line_needs_its_two_ends() {
        let (greedy, best) = placed(|c| 5000.0 - 20.0 * c, 1.0);
        assert_eq!((greedy, best), (2, 2));
    }

    #[test]
    fn a_jump_no_line_can_follow_names_the_count_before_it() {
        let (knots, _) = tabulate(|c| c, 10..=20);
        // Points between the counts that no knot at a whole count can reach.
        let values: Vec<f64> = (0..=160)
            .map(|i| if i == 72 { 900.0 } else { 15.0 })
            .collect();
        let target = Target {
            low: 160,
            stride: 1,
            values: &values,
        };
        assert_eq!(place(&target, &knots, 20.0), Err(14));
    }

    #[test]
    fn a_step_too_steep_for_32_bits_is_split() {
        let knot = |count: u16, theta_v: i16| Knot {
            count,
            theta_v,
            expanded_uncertainty: 0,
        };
        let line = |count: u16| f64::from(count) * 9000.0 / 60_000.0;
        let knots: Vec<Knot> = (0..=60_000)
            .map(|c| knot(c, line(c).round() as i16))
            .collect();
        let values: Vec<f64> = (0..=60_000).map(line).collect();
        let target = Target {
            low: 0,
            stride: SIXTEENTHS,
            values: &values,
        };
        let placed = fewest(&target, &knots, 5.0).unwrap();
        assert_eq!(placed.len(), 4, "{placed:?}");
        assert!(
            placed
                .windows(2)
                .all(|pair| pair[1].count - pair[0].count <= MAX_KNOT_DISTANCE)
        );
    }
}
