//! Placing the fewest knots that hold a table to a stated error.
//!
//! Knots stand at whole counts and carry the curve's value rounded to a whole
//! unit. A line leads from one knot to another if it passes within the tolerance
//! of every point on the way and the two are at most [`MAX_KNOT_DISTANCE`] counts
//! apart ([`reach`](mod@reach)). The search keeps, for every count, the fewest
//! lines that lead there: first all counts one line leads to, then all that one
//! more leads to, and so on until the last count is among them. Every count is
//! kept, not only the farthest, because past an inflection a nearer knot can see
//! farther. So no table of this kind has fewer knots. (Tested against every
//! choice of counts on small tables.)
//!
//! With that number of knots, the tolerance is then halved toward the smallest
//! that still does with it, so that no byte is wasted.
//!
//! Where a table has more than [`MOST_PLACES`] counts, knots stand at every
//! second, fourth, eighth or sixteenth of them, as near to each other as the
//! counts of a 12-bit converter, and the number is the fewest among those. The
//! tolerance holds at every point all the same. If they cannot hold it, they may
//! stand closer.
//!
//! [`MAX_KNOT_DISTANCE`]: super::record::MAX_KNOT_DISTANCE

mod reach;

use super::record::{Knot, MAX_KNOTS};
use reach::Ground;
pub(super) use reach::Target;

/// Halvings of the tolerance in search of the smallest that needs no more knots.
const HALVINGS: u32 = 12;
/// Rounding of a knot to a whole unit; no tolerance is smaller.
const ROUNDING: f64 = 0.5;
/// Most steps between places for knots: all the counts of a 12-bit converter.
const MOST_PLACES: usize = 4096;

/// The places of the fewest knots within `tolerance`, by breadth: all places `n`
/// lines lead to are known before any that takes `n + 1`.
///
/// # Errors
/// The farthest place found, if the last needs more than `most` knots or cannot
/// be reached at all.
fn place(ground: &Ground, tolerance: f64, most: usize) -> Result<Vec<usize>, usize> {
    let last = ground.last();
    if last == 0 {
        return Ok(vec![0]);
    }
    let mut previous: Vec<Option<usize>> = vec![None; last + 1];
    let mut edge = vec![0];
    let mut farthest = 0;
    for _ in 1..most {
        let mut found = Vec::new();
        // The farthest first: it finds most of what there is to find.
        for from in edge.into_iter().rev() {
            ground.reach(from, tolerance, &mut previous, &mut found);
        }
        found.sort_unstable();
        match found.last() {
            Some(to) if *to == last => return Ok(chain(&previous, last)),
            Some(to) => farthest = farthest.max(*to),
            None => break,
        }
        edge = found;
    }
    Err(farthest)
}

/// The places on the way to `last`, first to last.
fn chain(previous: &[Option<usize>], last: usize) -> Vec<usize> {
    let mut places = vec![last];
    let mut at = last;
    while let Some(before) = previous.get(at).copied().flatten() {
        places.push(before);
        at = before;
    }
    places.reverse();
    places
}

/// The fewest knots within `tolerance` (theta_v x 10 000, before rounding) of
/// the target and, among placements of that many, one whose tolerance is the
/// smallest. `knots` holds a knot for every whole count of the table, in order.
///
/// # Errors
/// The count from which not even the next is within reach.
pub(super) fn fewest(target: &Target, knots: &[Knot], tolerance: f64) -> Result<Vec<Knot>, u16> {
    let mut step = 1;
    while knots.len().saturating_sub(1).div_ceil(step) > MOST_PLACES {
        step *= 2;
    }
    loop {
        let ground = Ground::new(target, knots, step);
        match place(&ground, tolerance, knots.len()) {
            Ok(places) if step == 1 || places.len() <= MAX_KNOTS => {
                return Ok(ground.knots(&closest(&ground, places, tolerance)));
            }
            Err(place) if step == 1 => return Err(ground.count(place)),
            _ => step /= 2,
        }
    }
}

/// As many places as `best`, found within `tolerance`, within the smallest
/// tolerance that does with that many.
fn closest(ground: &Ground, mut best: Vec<usize>, tolerance: f64) -> Vec<usize> {
    let (mut too_tight, mut enough) = (ROUNDING, tolerance);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (too_tight + enough);
        match place(ground, middle, best.len()) {
            Ok(places) => {
                best = places;
                enough = middle;
            }
            Err(_) => too_tight = middle,
        }
    }
    best
}

#[cfg(test)]
mod tests;
