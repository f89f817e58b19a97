//! Which knots a straight line from one knot can reach.
//!
//! Each point passed narrows the range of slopes a line may have, so one pass
//! outward from a knot finds every place it reaches. With a temperature term
//! there are sixteen points a count, and nearly all lie where the curve is
//! straight for what matters: then only the points at the places are passed, with
//! two ranges of slopes. Outside the wide one the line surely fails; inside the
//! narrow one, which allows for how far the curve bulges between places, it
//! surely holds; between the two every point is looked at. Where the curve bulges
//! more (a kink, a coarse converter) all its points are passed. Either way a line
//! is taken exactly if [`Ground::holds`] says so.

use crate::controller::record::{Knot, MAX_KNOT_DISTANCE, SIXTEENTHS};

/// Bulge between two places that the narrow range may allow for, as a share of
/// the tolerance; where it is more, every point between them is passed.
const SMALL_BULGE: f64 = 1.0 / 32.0;
/// What rounding of binary fractions can add to a difference, with a wide
/// margin, theta_v x 10 000.
const ROUNDING_OF_FRACTIONS: f64 = 1e-6;

/// What the table must follow.
pub(in crate::controller) struct Target<'a> {
    /// First point, sixteenths of a count.
    pub low: i32,
    /// Sixteenths between points: 16 where only whole codes can occur.
    pub stride: i32,
    /// theta_v x 10 000 at every point.
    pub values: &'a [f64],
}

impl Target<'_> {
    /// Points strictly between two positions, as position and value.
    fn between(&self, from: i32, to: i32) -> impl Iterator<Item = (i32, f64)> + '_ {
        // Number of the first point at or after a position.
        let number = |at: i32| {
            let steps = at - self.low + self.stride - 1;
            usize::try_from(steps.div_euclid(self.stride)).unwrap_or(0)
        };
        let first = number(from + 1);
        let end = number(to).min(self.values.len());
        self.values
            .get(first..end)
            .unwrap_or_default()
            .iter()
            .enumerate()
            .map(move |(i, value)| (self.low + self.stride * (first + i) as i32, *value))
    }

    /// The value at a position, if there is a point.
    fn at(&self, position: i32) -> Option<f64> {
        self.between(position - 1, position + 1)
            .next()
            .map(|(_, value)| value)
    }
}

/// Where a knot may stand.
struct Place {
    knot: Knot,
    /// Sixteenths of a count.
    at: i32,
    /// The target there, theta_v x 10 000; where it has no point, the knot.
    value: f64,
    /// Whether the target has a point there.
    is_point: bool,
    /// Largest distance of the points between here and the next place from the
    /// straight line between the two values.
    bulge: f64,
}

/// A target and the places knots may stand at.
pub(super) struct Ground<'a> {
    target: &'a Target<'a>,
    places: Vec<Place>,
}

/// Slopes a line may have.
#[derive(Clone, Copy)]
struct Slopes {
    flattest: f64,
    steepest: f64,
}

impl Slopes {
    const ALL: Slopes = Slopes {
        flattest: f64::NEG_INFINITY,
        steepest: f64::INFINITY,
    };

    /// Only those passing within `tolerance` of a point that lies `rise` above
    /// the start, `1 / inverse` after it.
    fn pass(&mut self, rise: f64, inverse: f64, tolerance: f64) {
        self.flattest = self.flattest.max((rise - tolerance) * inverse);
        self.steepest = self.steepest.min((rise + tolerance) * inverse);
    }

    fn contains(&self, slope: f64) -> bool {
        self.flattest <= slope && slope <= self.steepest
    }
}

impl<'a> Ground<'a> {
    /// Places at every `step`th of `knots` and at the last.
    pub(super) fn new(target: &'a Target<'a>, knots: &[Knot], step: usize) -> Self {
        let end = knots.len().saturating_sub(1);
        let mut places: Vec<Place> = knots
            .iter()
            .enumerate()
            .filter(|(i, _)| i % step == 0 || *i == end)
            .map(|(_, knot)| {
                let at = SIXTEENTHS * i32::from(knot.count);
                let point = target.at(at);
                Place {
                    knot: *knot,
                    at,
                    value: point.unwrap_or(f64::from(knot.theta_v)),
                    is_point: point.is_some(),
                    bulge: 0.0,
                }
            })
            .collect();
        let bulges: Vec<f64> = places
            .windows(2)
            .map(|pair| match pair {
                [from, to] => bulge(target, from, to),
                _ => 0.0,
            })
            .collect();
        for (place, bulge) in places.iter_mut().zip(bulges) {
            place.bulge = bulge;
        }
        Self { target, places }
    }

    /// The number of the last place.
    pub(super) fn last(&self) -> usize {
        self.places.len().saturating_sub(1)
    }

    /// The count of a place; 0 if there is none.
    pub(super) fn count(&self, place: usize) -> u16 {
        self.places.get(place).map_or(0, |place| place.knot.count)
    }

    /// The knots at these places.
    pub(super) fn knots(&self, places: &[usize]) -> Vec<Knot> {
        places
            .iter()
            .filter_map(|place| self.places.get(*place))
            .map(|place| place.knot)
            .collect()
    }

    /// Whether the line between two knots passes within `tolerance` of every
    /// point between them.
    fn holds(&self, from: &Place, to: &Place, tolerance: f64) -> bool {
        let start = f64::from(from.knot.theta_v);
        let rise = f64::from(to.knot.theta_v) - start;
        let width = f64::from(to.at - from.at);
        self.target.between(from.at, to.at).all(|(at, value)| {
            let line = start + rise * f64::from(at - from.at) / width;
            (line - value).abs() <= tolerance
        })
    }

    /// Finds every place after `from` that one line leads to and that was not
    /// reached before: it is added to `found`, with `from` as its `previous`.
    pub(super) fn reach(
        &self,
        from: usize,
        tolerance: f64,
        previous: &mut [Option<usize>],
        found: &mut Vec<usize>,
    ) {
        let Some(start) = self.places.get(from) else {
            return;
        };
        let level = f64::from(start.knot.theta_v);
        let small = |place: &Place| {
            if place.bulge <= SMALL_BULGE * tolerance {
                Some(place.bulge)
            } else {
                None
            }
        };
        let off_start = (start.value - level).abs();
        let (mut wide, mut narrow) = (Slopes::ALL, Slopes::ALL);
        if small(start).is_some_and(|bulge| off_start + bulge > tolerance - ROUNDING_OF_FRACTIONS) {
            narrow.steepest = f64::NEG_INFINITY;
        }
        let mut before = start;
        let following = self.places.iter().zip(previous.iter_mut()).enumerate();
        for (number, (to, reached_from)) in following.skip(from + 1) {
            if to.knot.count - start.knot.count > MAX_KNOT_DISTANCE {
                break;
            }
            let bulge_before = small(before);
            if bulge_before.is_none() {
                for (at, value) in self.target.between(before.at, to.at) {
                    let inverse = 1.0 / f64::from(at - start.at);
                    wide.pass(value - level, inverse, tolerance + ROUNDING_OF_FRACTIONS);
                    narrow.pass(value - level, inverse, tolerance - ROUNDING_OF_FRACTIONS);
                }
            }
            if wide.flattest > wide.steepest {
                break;
            }
            let inverse = 1.0 / f64::from(to.at - start.at);
            let bulge_before = bulge_before.unwrap_or(0.0);
            if reached_from.is_none() {
                let slope = (f64::from(to.knot.theta_v) - level) * inverse;
                let off = (f64::from(to.knot.theta_v) - to.value).abs();
                let surely = narrow.contains(slope)
                    && off + bulge_before <= tolerance - ROUNDING_OF_FRACTIONS;
                if surely || wide.contains(slope) && self.holds(start, to, tolerance) {
                    *reached_from = Some(from);
                    found.push(number);
                }
            }
            if to.is_point {
                let bulge = bulge_before.max(small(to).unwrap_or(0.0));
                let rise = to.value - level;
                wide.pass(rise, inverse, tolerance + ROUNDING_OF_FRACTIONS);
                narrow.pass(rise, inverse, tolerance - bulge - ROUNDING_OF_FRACTIONS);
            }
            before = to;
        }
    }
}

/// Largest distance of the points between two places from the straight line
/// between the values there.
fn bulge(target: &Target, from: &Place, to: &Place) -> f64 {
    let width = f64::from(to.at - from.at);
    target
        .between(from.at, to.at)
        .map(|(at, value)| {
            let share = f64::from(at - from.at) / width;
            (value - from.value - share * (to.value - from.value)).abs()
        })
        .fold(0.0, f64::max)
}
