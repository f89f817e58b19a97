use super::*;
use crate::controller::record::{MAX_KNOT_DISTANCE, SIXTEENTHS};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A table to be: knots at whole counts on a curve, and the curve at every point.
struct World {
    knots: Vec<Knot>,
    low: i32,
    stride: i32,
    values: Vec<f64>,
}

impl World {
    /// `curve` gives theta_v x 10 000 at a count. The points begin `inset`
    /// sixteenths after the first count and end as far before the last.
    fn new(
        curve: impl Fn(f64) -> f64,
        counts: std::ops::RangeInclusive<u16>,
        stride: i32,
        inset: i32,
    ) -> Self {
        let low = SIXTEENTHS * i32::from(*counts.start()) + inset;
        let high = SIXTEENTHS * i32::from(*counts.end()) - inset;
        Self {
            knots: counts
                .map(|count| Knot {
                    count,
                    theta_v: curve(f64::from(count)).round() as i16,
                    expanded_uncertainty: 0,
                })
                .collect(),
            low,
            stride,
            values: (low..=high)
                .step_by(stride as usize)
                .map(|at| curve(f64::from(at) / 16.0))
                .collect(),
        }
    }

    fn place(&self, tolerance: f64) -> Result<Vec<Knot>, u16> {
        let target = Target {
            low: self.low,
            stride: self.stride,
            values: &self.values,
        };
        fewest(&target, &self.knots, tolerance)
    }

    /// The largest distance of the points strictly between two knots from the
    /// line between them.
    fn strays(&self, from: &Knot, to: &Knot) -> f64 {
        let (start, end) = (16 * i32::from(from.count), 16 * i32::from(to.count));
        let mut largest = 0.0_f64;
        for (i, value) in self.values.iter().enumerate() {
            let at = self.low + self.stride * i as i32;
            if start < at && at < end {
                let (before, after) = (f64::from(at - start), f64::from(end - at));
                let line = (f64::from(from.theta_v) * after + f64::from(to.theta_v) * before)
                    / (before + after);
                largest = largest.max((line - value).abs());
            }
        }
        largest
    }

    /// The largest distance of any point from a placement.
    fn strays_at_most(&self, placed: &[Knot]) -> f64 {
        placed
            .windows(2)
            .map(|pair| self.strays(&pair[0], &pair[1]))
            .fold(0.0, f64::max)
    }

    /// For every pair of counts, how far the line between their knots strays.
    fn matrix(&self) -> Vec<Vec<f64>> {
        (0..self.knots.len())
            .map(|from| {
                (0..self.knots.len())
                    .map(|to| {
                        if from < to {
                            self.strays(&self.knots[from], &self.knots[to])
                        } else {
                            f64::INFINITY
                        }
                    })
                    .collect()
            })
            .collect()
    }
}

/// The fewest knots within `tolerance` and the smallest distance a placement of
/// that many strays, by trying every choice of the counts between first and last.
fn by_trying_every_choice(strays: &[Vec<f64>], tolerance: f64) -> Option<(usize, f64)> {
    let last = strays.len() - 1;
    let mut best: Option<(usize, f64)> = None;
    for choice in 0_u32..1 << (last - 1) {
        let (mut before, mut number, mut largest) = (0, 1, 0.0_f64);
        for place in (1..=last).filter(|place| *place == last || choice >> (place - 1) & 1 == 1) {
            largest = largest.max(strays[before][place]);
            number += 1;
            before = place;
        }
        let better = best.is_none_or(|(fewest, smallest)| {
            number < fewest || number == fewest && largest < smallest
        });
        if largest <= tolerance && better {
            best = Some((number, largest));
        }
    }
    best
}

/// The fewest knots within `tolerance`, by every pair of counts.
fn by_every_pair(strays: &[Vec<f64>], tolerance: f64) -> Option<usize> {
    let mut least = vec![None; strays.len()];
    least[0] = Some(1);
    for to in 1..strays.len() {
        least[to] = (0..to)
            .filter(|from| strays[*from][to] <= tolerance)
            .filter_map(|from| least[from].map(|number: usize| number + 1))
            .min();
    }
    least[strays.len() - 1]
}

/// How many knots going to the farthest count each time takes.
fn by_going_farthest(strays: &[Vec<f64>], tolerance: f64) -> Option<usize> {
    let (mut from, mut number) = (0, 1);
    while from + 1 < strays.len() {
        from = (from + 1..strays.len()).rfind(|to| strays[from][*to] <= tolerance)?;
        number += 1;
    }
    Some(number)
}

/// A curve that falls, with a bend, an inflection, a wave or kinks.
fn seeded_curve(random: &mut ChaCha8Rng, width: f64) -> impl Fn(f64) -> f64 + use<> {
    let slope = random.random_range(-120.0..-2.0);
    let [bend, cubic, wave] = [1.0, 1.0, 0.3].map(|share: f64| {
        if random.random_bool(0.6) {
            share * random.random_range(-400.0..400.0)
        } else {
            0.0
        }
    });
    let kinks: Vec<(f64, f64)> = (0..random.random_range(0..3))
        .map(|_| {
            (
                random.random_range(0.0..width),
                random.random_range(-60.0..60.0),
            )
        })
        .collect();
    move |count: f64| {
        let z = count / width;
        let kinked: f64 = kinks
            .iter()
            .map(|(at, change)| change * (count - at).max(0.0))
            .sum();
        3000.0 + slope * count + bend * z * z + cubic * z.powi(3) + wave * (9.0 * z).sin() + kinked
    }
}

#[test]
fn no_choice_of_counts_needs_fewer_knots_or_strays_less_with_as_many() {
    let mut random = ChaCha8Rng::seed_from_u64(41);
    let (mut more, mut refused) = (0, 0);
    for trial in 0..600 {
        let last = random.random_range(2..=11_u16);
        let (stride, inset) = match trial % 3 {
            0 => (16, 0),
            1 => (1, 0),
            _ => (1, random.random_range(0..16)),
        };
        let curve = seeded_curve(&mut random, f64::from(last));
        let world = World::new(curve, 0..=last, stride, inset);
        let tolerance = random.random_range(0.6..25.0);
        let strays = world.matrix();
        match by_trying_every_choice(&strays, tolerance) {
            Some((number, smallest)) => {
                let placed = world.place(tolerance).unwrap();
                assert_eq!(placed.len(), number, "trial {trial}");
                let found = world.strays_at_most(&placed);
                // The halving ends within a 4096th of where it began.
                assert!(
                    found <= smallest.max(ROUNDING) + tolerance / 4096.0,
                    "trial {trial}: {found} where {smallest} is possible"
                );
                more += usize::from(by_going_farthest(&strays, tolerance) != Some(number));
            }
            None => {
                assert!(world.place(tolerance).is_err(), "trial {trial}");
                refused += 1;
            }
        }
    }
    assert!(more > 2, "going farthest was hardly ever worse: {more}");
    assert!(refused > 5 && refused < 300, "refused {refused}");
}

#[test]
fn longer_tables_get_the_fewest_knots_too() {
    let mut random = ChaCha8Rng::seed_from_u64(42);
    let mut more = 0;
    for trial in 0..40 {
        let stride = if trial % 2 == 0 { 16 } else { 1 };
        let curve = seeded_curve(&mut random, 90.0);
        let world = World::new(curve, 0..=90, stride, 0);
        let strays = world.matrix();
        for tolerance in [1.037, 4.91, 21.3] {
            let number = by_every_pair(&strays, tolerance);
            let placed = world.place(tolerance).ok().map(|placed| placed.len());
            assert_eq!(placed, number, "trial {trial}, tolerance {tolerance}");
            more += usize::from(by_going_farthest(&strays, tolerance) > placed);
        }
    }
    assert!(more > 5, "going farthest was hardly ever worse: {more}");
}

#[test]
fn going_to_the_farthest_count_can_need_a_knot_more() {
    // Falling by 30 a count, by 5 from the fifth, by 28 from the seventh.
    let world = World::new(
        |c| 3000.0 - 30.0 * c + 25.0 * (c - 5.0).max(0.0) - 23.0 * (c - 7.0).max(0.0),
        0..=12,
        16,
        0,
    );
    assert_eq!(by_going_farthest(&world.matrix(), 20.5), Some(4));
    assert_eq!(world.place(20.5).unwrap().len(), 3);
}

#[test]
fn a_straight_line_needs_its_two_ends() {
    let world = World::new(|c| 5000.0 - 20.0 * c, 60..=220, 1, 3);
    assert_eq!(world.place(1.0).unwrap().len(), 2);
}

#[test]
fn a_jump_no_line_can_follow_names_the_count_before_it() {
    let mut world = World::new(|c| c, 10..=20, 1, 0);
    // Points between the counts that no knot at a whole count can reach.
    world.values = (0..=160)
        .map(|i| if i == 72 { 900.0 } else { 15.0 })
        .collect();
    assert_eq!(world.place(20.0), Err(14));
}

#[test]
fn knots_of_a_fine_converter_stand_as_far_apart_as_they_may_and_hold_every_point() {
    let line = World::new(|c| c * 9000.0 / 60_000.0, 0..=60_000, 16, 0);
    let placed = line.place(5.0).unwrap();
    // At every 16th count the farthest is 4080, and 60 000 take 15 of those.
    assert_eq!(placed.len(), 16, "{placed:?}");
    let near = |pair: &[Knot]| pair[1].count - pair[0].count <= MAX_KNOT_DISTANCE;
    assert!(placed.windows(2).all(near));

    // A wave too short for every fourth count: the knots move closer together.
    let wave = World::new(
        |c| 4000.0 - 0.05 * c + 40.0 * (c / 3.0).sin() * f64::from(u8::from(c < 60.0)),
        0..=9000,
        16,
        0,
    );
    let placed = wave.place(2.0).unwrap();
    assert!(wave.strays_at_most(&placed) <= 2.0);
}
