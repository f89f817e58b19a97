//! Names beside the marks that stand out, where there is room for them.

use super::fonts::{self, Weight};
use super::pen::{BODY, Point};
use super::place::Space;
use plotters::style::text_anchor::HPos;

/// From a mark to its name, logical pixels.
const GAP: f64 = 8.0;

/// A mark and what it is called.
pub struct Named<'a> {
    /// Its name.
    pub name: &'a str,
    /// The space it takes.
    pub mark: Space,
}

/// A name, where it goes, and which end of it sits there.
pub type Placed<'a> = (&'a str, Point, HPos);

/// Names the first `most` of `marks` beside them, where the name covers no mark, none
/// of the spaces in `taken` and no other name; a name without room is left out.
pub fn placed<'a>(
    marks: &[Named<'a>],
    most: usize,
    mut taken: Vec<Space>,
    plot: &Space,
) -> Vec<Placed<'a>> {
    taken.extend(marks.iter().map(|named| named.mark));
    let mut placed = Vec::new();
    for Named { name, mark } in marks.iter().take(most) {
        let width = fonts::room(name, BODY, Weight::Regular);
        let (x, y) = (
            (mark.left + mark.right) / 2.0,
            (mark.top + mark.bottom) / 2.0,
        );
        let (left, right) = (mark.left - GAP, mark.right + GAP);
        let beside = y + 0.34 * BODY;
        let (higher, lower) = (beside - BODY, beside + BODY);
        let places = [
            (right, beside, HPos::Left),
            (left, beside, HPos::Right),
            (right, higher, HPos::Left),
            (left, higher, HPos::Right),
            (right, lower, HPos::Left),
            (left, lower, HPos::Right),
            (x, mark.top - GAP - 0.25 * BODY, HPos::Center),
            (x, mark.bottom + GAP + 0.85 * BODY, HPos::Center),
        ];
        let free = places.into_iter().find_map(|(x, baseline, anchor)| {
            let left = match anchor {
                HPos::Left => x,
                HPos::Center => x - width / 2.0,
                HPos::Right => x - width,
            };
            let space = Space {
                left,
                top: baseline - 0.85 * BODY,
                right: left + width,
                bottom: baseline + 0.25 * BODY,
            };
            let clear = plot.holds(&space) && !taken.iter().any(|other| other.touches(&space));
            clear.then_some((space, (x, baseline), anchor))
        });
        if let Some((space, at, anchor)) = free {
            taken.push(space);
            placed.push((*name, at, anchor));
        }
    }
    placed
}
