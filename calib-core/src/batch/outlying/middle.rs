//! The middle and the spread of a batch, which three in ten of its probes cannot move.
//!
//! Each probe's estimate is its true place plus sampling error of known covariance
//! `V_j`, and true places scatter about the middle with covariance `S`. Those
//! seven in ten probes are sought that lie closest together (trimmed likelihood; Hadi
//! and Luceno 1997). Where there is no sampling error this is the minimum covariance
//! determinant (Rousseeuw 1985), found as there by steps that take the nearest anew
//! (Rousseeuw and Van Driessen 1999) from starts of three probes each. Then every
//! probe counts that is not far out as seen from them. All recalled from memory. The figures follow any turning and
//! stretching of the axes.

use super::plane::Symmetric;
use crate::batch::distribution::{chi_square_lower, chi_square_point};

/// One probe: where it lies, and the covariance of that.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    pub at: [f64; 2],
    pub sampling: Symmetric,
}

/// A middle and a spread.
#[derive(Debug, Clone, Copy)]
pub(super) struct Middle {
    pub centre: [f64; 2],
    pub spread: Symmetric,
}

/// What the search needs to know of the batch's size alone.
#[derive(Debug, Clone)]
pub(super) struct Search {
    /// 1 for offsets, 2 for offsets and gains.
    dimension: usize,
    /// Starting sets, by place in the batch thinned out.
    starts: Vec<[usize; 3]>,
    /// Every how many probes one is taken into the batch thinned out.
    every: usize,
    /// Squared distance within which a probe counts at last.
    rim: f64,
    /// Mean squared distance a dimension of those within, over that of all.
    rim_share: f64,
}

/// Probes of the batch thinned out, on which starts are tried.
const THINNED: usize = 100;
/// Starts tried.
const STARTS: usize = 20;
/// In batches below this size seven probes in ten are taken as the nearest; in larger
/// ones just over half, which resists more bad probes but needs many to be steady.
const SMALL: usize = 100;
/// Starts tried where no probe is bad.
const STARTS_OF_SOUND: usize = 5;
/// Steps from each start, before the best is followed to its end.
const FIRST_STEPS: usize = 2;
/// Steps at most to that end.
const LAST_STEPS: usize = 12;
/// Steps of the estimate from all probes that count.
const FINAL_STEPS: usize = 5;
/// Probability that a sound probe is farther out than the rim, were the middle
/// known: at most this, and of a large batch a tenth of one probe.
const BEYOND_RIM: f64 = 0.025;

impl Search {
    pub fn new(probes: usize, dimension: usize) -> Search {
        let every = probes.div_ceil(THINNED).max(1);
        let thinned = probes.div_ceil(every);
        let free = dimension as f64;
        let wide = 1.0 + 4.0 / (probes as f64).sqrt();
        let rim = wide * chi_square_point(free, BEYOND_RIM);
        Search {
            dimension,
            starts: starts(thinned, dimension + 1),
            every,
            rim,
            rim_share: chi_square_lower(free + 2.0, rim) / chi_square_lower(free, rim),
        }
    }

    /// 1 for offsets, 2 for offsets and gains.
    pub fn dimension(&self) -> usize {
        self.dimension
    }

    /// The same search from fewer starts, enough where no probe is bad.
    pub fn of_sound_batches(&self) -> Search {
        let mut search = self.clone();
        search.starts.truncate(STARTS_OF_SOUND);
        search
    }

    /// A probe without sampling error.
    pub fn exactly(&self, point: &Point) -> Point {
        Point {
            at: point.at,
            sampling: self.inflated(point, 0.0),
        }
    }

    /// A probe's sampling covariance times `factor`. What stands in for the gain
    /// where none is asked for stays as it is.
    pub fn inflated(&self, point: &Point, factor: f64) -> Symmetric {
        if self.dimension == 1 {
            Symmetric {
                first: point.sampling.first * factor,
                ..point.sampling
            }
        } else {
            point.sampling * factor
        }
    }

    /// The sampling covariance with which a batch would tell as much of its spread if
    /// it were that of every probe: that of the harmonic mean.
    pub fn typical_sampling(&self, points: &[Point], middle: &Middle) -> Symmetric {
        let (mut sum, mut counted) = (Symmetric::default(), 0.0);
        for point in points {
            if let Some((inverse, _)) = (middle.spread + point.sampling).inverse() {
                sum = sum + inverse;
                counted += 1.0;
            }
        }
        match (sum * (1.0 / f64::max(counted, 1.0))).inverse() {
            Some((mean, _)) => (mean - middle.spread).without_negative(mean),
            None => Symmetric::default(),
        }
    }

    /// The middle of the batch; `None` where most of it does not spread at all.
    pub fn middle(&self, points: &[Point]) -> Option<Middle> {
        let thinned: Vec<Point>;
        let few = if self.every > 1 {
            thinned = points.iter().step_by(self.every).copied().collect();
            &thinned[..]
        } else {
            points
        };
        let mut on_few = Work::new(few, self.dimension);
        let mut best: Option<(f64, Middle)> = None;
        for start in &self.starts {
            let Some(found) = on_few.begun_at(start) else {
                continue;
            };
            if best.is_none_or(|(least, _)| found.0 < least) {
                best = Some(found);
            }
        }
        let (_, mut middle) = best?;
        if self.every > 1 {
            middle = on_few.followed(middle)?;
        }
        let mut on_all = Work::new(points, self.dimension);
        middle = on_all.followed(middle)?;
        // Those within the rim of that middle, then those within the rim of theirs.
        for _ in 0..2 {
            on_all.measure(&middle)?;
            on_all.take_within(self.rim);
            for step in 0..FINAL_STEPS {
                if step > 0 {
                    on_all.measure(&middle)?;
                }
                let next = on_all.improved(&middle, self.rim_share)?;
                let settled = next.spread_settled(&middle);
                middle = next;
                if settled {
                    break;
                }
            }
        }
        Some(middle)
    }
}

impl Middle {
    /// Squared distance of a point, its sampling error allowed for.
    pub fn squared_distance(&self, point: &Point) -> Option<f64> {
        let (inverse, _) = (self.spread + point.sampling).inverse()?;
        Some(inverse.form([point.at[0] - self.centre[0], point.at[1] - self.centre[1]]))
    }

    fn spread_settled(&self, before: &Middle) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-7 * b.abs();
        near(self.spread.first, before.spread.first)
            && near(self.spread.second, before.spread.second)
    }
}

/// Sets of `size` probes to start from: all there are if they are few, else some
/// spread evenly by a fixed rule.
fn starts(probes: usize, size: usize) -> Vec<[usize; 3]> {
    let mut all = Vec::new();
    if size == 2 && probes * (probes - 1) / 2 <= STARTS {
        for i in 0..probes {
            for j in 0..i {
                all.push([i, j, j]);
            }
        }
        return all;
    }
    if size == 3 && probes <= 6 {
        for i in 0..probes {
            for j in 0..i {
                for k in 0..j {
                    all.push([i, j, k]);
                }
            }
        }
        return all;
    }
    // A multiplicative generator (Lehmer's of 1951, with the multiplier 48271).
    let mut state: u64 = 20_011;
    let mut next = || {
        state = state * 48_271 % 2_147_483_647;
        state as usize % probes
    };
    while all.len() < STARTS {
        let (i, j, k) = (next(), next(), next());
        if i == j || (size == 3 && (i == k || j == k)) {
            continue;
        }
        all.push([i, j, if size == 3 { k } else { j }]);
    }
    all
}

/// A batch, and room for what is reckoned of each probe.
struct Work<'a> {
    points: &'a [Point],
    dimension: usize,
    /// Mean of the sampling covariances.
    unit: Symmetric,
    /// Probes taken as the nearest, and their share of the spread of all.
    nearest: usize,
    nearest_share: f64,
    inverse: Vec<Symmetric>,
    squared: Vec<f64>,
    sorted: Vec<f64>,
    taken: Vec<bool>,
}

impl<'a> Work<'a> {
    fn new(points: &'a [Point], dimension: usize) -> Work<'a> {
        let n = points.len();
        let nearest = if n < SMALL {
            n - 3 * n / 10
        } else {
            n.div_ceil(2) + 1
        };
        let free = dimension as f64;
        let share = nearest as f64 / n as f64;
        let edge = chi_square_point(free, 1.0 - share);
        let sum = points
            .iter()
            .fold(Symmetric::default(), |sum, p| sum + p.sampling);
        Work {
            points,
            dimension,
            unit: sum * (1.0 / n as f64),
            nearest,
            nearest_share: chi_square_lower(free + 2.0, edge) / share,
            inverse: vec![Symmetric::default(); n],
            squared: vec![0.0; n],
            sorted: vec![0.0; n],
            taken: vec![false; n],
        }
    }

    /// Squared distance of each probe; gives the mean logarithm of the determinants.
    fn measure(&mut self, middle: &Middle) -> Option<f64> {
        let mut product = 1.0_f64;
        let mut logarithms = 0.0;
        for ((point, inverse), squared) in self
            .points
            .iter()
            .zip(&mut self.inverse)
            .zip(&mut self.squared)
        {
            let (matrix, determinant) = (middle.spread + point.sampling).inverse()?;
            *inverse = matrix;
            *squared = matrix.form([
                point.at[0] - middle.centre[0],
                point.at[1] - middle.centre[1],
            ]);
            // One logarithm for many determinants.
            product *= determinant;
            if !(1e-150..1e150).contains(&product) {
                logarithms += product.ln();
                product = 1.0;
            }
        }
        Some((logarithms + product.ln()) / self.points.len() as f64)
    }

    /// Takes the nearest; gives the mean of their squared distances.
    fn take_nearest(&mut self) -> f64 {
        self.sorted.copy_from_slice(&self.squared);
        let (_, edge, _) = self
            .sorted
            .select_nth_unstable_by(self.nearest - 1, f64::total_cmp);
        let edge = *edge;
        self.take_within(edge);
        self.sorted.iter().take(self.nearest).sum::<f64>() / self.nearest as f64
    }

    fn take_within(&mut self, edge: f64) {
        for (taken, squared) in self.taken.iter_mut().zip(&self.squared) {
            *taken = *squared <= edge;
        }
    }

    /// One step of scoring for the probes taken, whose squared distances are `share`
    /// of those of all.
    fn improved(&self, before: &Middle, share: f64) -> Option<Middle> {
        let taken = || {
            self.points
                .iter()
                .zip(&self.inverse)
                .zip(&self.taken)
                .filter_map(|(both, taken)| taken.then_some(both))
        };
        let mut weight = Symmetric::default();
        let mut pulled = [0.0; 2];
        for (point, inverse) in taken() {
            weight = weight + *inverse;
            let pull = inverse.times([
                point.at[0] - before.centre[0],
                point.at[1] - before.centre[1],
            ]);
            pulled = [pulled[0] + pull[0], pulled[1] + pull[1]];
        }
        let shift = weight.inverse()?.0.times(pulled);
        let centre = [before.centre[0] + shift[0], before.centre[1] + shift[1]];
        // sum g A X A = sum g A (r r' / share - V) A, solved for X. With g = 1 it would
        // be that of greatest likelihood, which leans on the most precise probes so
        // much that it can take them for outlying and find no spread without them.
        // With g the size of A^-1 every probe counts alike, as in the estimate of
        // Paule and Mandel (1982; recalled from memory).
        let mut right = Symmetric::default();
        let mut products = [0.0; 6];
        for (point, inverse) in taken() {
            let determinant = inverse.determinant()?;
            let size = if self.dimension == 1 {
                1.0 / determinant
            } else {
                1.0 / determinant.sqrt()
            };
            let pull = inverse.times([point.at[0] - centre[0], point.at[1] - centre[1]]);
            let square = Symmetric::square_of(pull) * (1.0 / share);
            right = right + (square - inverse.around(point.sampling)) * size;
            let Symmetric {
                first: a,
                both: b,
                second: c,
            } = *inverse;
            for (sum, product) in
                products
                    .iter_mut()
                    .zip([a * a, a * b, b * b, a * c, b * c, c * c])
            {
                *sum += size * product;
            }
        }
        let unbounded = if self.dimension == 1 {
            Symmetric {
                first: right.first / products[0],
                ..Symmetric::default()
            }
        } else {
            solve(products, right)?
        };
        Some(Middle {
            centre,
            spread: unbounded.without_negative(self.unit),
        })
    }

    /// Middle and spread of a few probes, improved by the first steps.
    fn begun_at(&mut self, start: &[usize; 3]) -> Option<(f64, Middle)> {
        let size = self.dimension + 1;
        let chosen = || start.iter().take(size).filter_map(|i| self.points.get(*i));
        let count = size as f64;
        let mut centre = [0.0; 2];
        for point in chosen() {
            centre = [
                centre[0] + point.at[0] / count,
                centre[1] + point.at[1] / count,
            ];
        }
        let mut spread = Symmetric::default();
        for point in chosen() {
            let off = [point.at[0] - centre[0], point.at[1] - centre[1]];
            spread = spread + Symmetric::square_of(off) * (1.0 / (count - 1.0))
                - point.sampling * (1.0 / count);
        }
        spread = spread.without_negative(self.unit);
        if self.dimension == 1 {
            spread.second = 0.0;
        }
        let mut middle = Middle { centre, spread };
        for _ in 0..FIRST_STEPS {
            self.measure(&middle)?;
            self.take_nearest();
            middle = self.improved(&middle, self.nearest_share)?;
        }
        let logarithm = self.measure(&middle)?;
        let mean = self.take_nearest();
        Some((logarithm + mean / self.nearest_share, middle))
    }

    /// Steps until the nearest stays the same.
    fn followed(&mut self, mut middle: Middle) -> Option<Middle> {
        for _ in 0..LAST_STEPS {
            self.measure(&middle)?;
            self.take_nearest();
            let next = self.improved(&middle, self.nearest_share)?;
            let settled = next.spread_settled(&middle);
            middle = next;
            if settled {
                break;
            }
        }
        Some(middle)
    }
}

/// Solves the three equations of the spread.
fn solve([aa, ab, bb, ac, bc, cc]: [f64; 6], right: Symmetric) -> Option<Symmetric> {
    let rows = [[aa, 2.0 * ab, bb], [ab, ac + bb, bc], [bb, 2.0 * bc, cc]];
    let determinant = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = determinant(rows);
    if !whole.is_normal() {
        return None;
    }
    let with_right = |column: usize| {
        let mut changed = rows;
        for (row, value) in changed
            .iter_mut()
            .zip([right.first, right.both, right.second])
        {
            row[column] = value;
        }
        determinant(changed) / whole
    };
    Some(Symmetric {
        first: with_right(0),
        both: with_right(1),
        second: with_right(2),
    })
}
