//! Names beside the marks that stand out, where there is room for them.

use super::fonts::{self, Weight};
use super::pen::{BODY, Point};
use super::place::Space;
use plotters::style::text_anchor::HPos;

/// From a mark to its name, logical pixels.
const GAP: f64 = 8.0;
/// From a name to any other mark, so that it is plain whose it is.
const APART: f64 = 12.0;

/// A mark and what it is called.
pub struct Named<'a> {
    /// Its name.
    pub name: &'a str,
    /// The space it takes.
    pub mark: Space,
}

/// A name, where it goes, and which end of it sits there.
pub type Placed<'a> = (&'a str, Point, HPos);

/// Names the first `most` of `marks` beside them, where the name comes near no other mark
/// and covers none of the spaces in `taken` and no other name. The first mark is named
/// even where there is no such room, where the name covers the fewest other marks. Any other name without room is left out, and none of a later mark put in its
/// stead.
pub fn placed<'a>(
    marks: &[Named<'a>],
    most: usize,
    mut taken: Vec<Space>,
    plot: &Space,
) -> Vec<Placed<'a>> {
    taken.extend(marks.iter().map(|named| named.mark));
    let mut placed = Vec::new();
    for (own, Named { name, mark }) in marks.iter().enumerate().take(most) {
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
        let others = || marks.iter().enumerate().filter(|(other, _)| *other != own);
        let spaces = places
            .map(|(x, baseline, anchor)| {
                let at = (x, baseline);
                (space_of(width, at, anchor), at, anchor)
            })
            .into_iter()
            .filter(|(space, ..)| plot.holds(space));
        let clear = |space: &Space| {
            let about = space.grown(APART);
            !taken.iter().any(|other| other.touches(space))
                && !others().any(|(_, other)| other.mark.touches(&about))
        };
        let covered = |space: &Space| {
            others()
                .filter(|(_, other)| other.mark.touches(space))
                .count()
        };
        let free = spaces.clone().find(|(space, ..)| clear(space));
        let free = free.or_else(|| {
            spaces
                .filter(|_| own == 0)
                .min_by_key(|(space, ..)| covered(space))
        });
        if let Some((space, at, anchor)) = free {
            taken.push(space);
            placed.push((*name, at, anchor));
        }
    }
    placed
}

/// The space that a name of this width takes whose `anchor` end sits at `at`, on its
/// baseline.
pub fn space_of(width: f64, (x, baseline): Point, anchor: HPos) -> Space {
    let left = match anchor {
        HPos::Left => x,
        HPos::Center => x - width / 2.0,
        HPos::Right => x - width,
    };
    Space {
        left,
        top: baseline - 0.85 * BODY,
        right: left + width,
        bottom: baseline + 0.25 * BODY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dot(x: f64, y: f64) -> Space {
        Space {
            left: x,
            top: y,
            right: x,
            bottom: y,
        }
        .grown(5.0)
    }

    #[test]
    fn a_name_is_nearer_to_its_own_mark_than_to_any_other_or_left_out() {
        let plot = dot(500.0, 500.0).grown(495.0);
        let named = |name, x, y| Named {
            name,
            mark: dot(x, y),
        };
        // The second is hemmed in by others on every side.
        let mut marks = vec![named("free", 200.0, 200.0), named("hemmed", 700.0, 700.0)];
        for (dx, dy) in [
            (-1, -1),
            (-1, 0),
            (-1, 1),
            (0, -1),
            (0, 1),
            (1, -1),
            (1, 0),
            (1, 1),
        ] {
            marks.push(named(
                "later",
                700.0 + 30.0 * f64::from(dx),
                700.0 + 30.0 * f64::from(dy),
            ));
        }
        let placed = placed(&marks, 2, Vec::new(), &plot);
        let names: Vec<&str> = placed.iter().map(|(name, ..)| *name).collect();
        assert_eq!(names, ["free"], "no smaller one is named in its stead");
        // Were the one hemmed in the first, it would be named, and the other still.
        marks.swap(0, 1);
        let placed = super::placed(&marks, 2, Vec::new(), &plot);
        let names: Vec<&str> = placed.iter().map(|(name, ..)| *name).collect();
        assert_eq!(names, ["hemmed", "free"]);
        // Another right of it, just beyond where the name would end: it goes elsewhere.
        let width = fonts::room("free", BODY, Weight::Regular);
        let beside = [
            named("free", 200.0, 200.0),
            named(
                "other",
                200.0 + 5.0 + GAP + width + 5.0 + APART / 2.0,
                200.0,
            ),
        ];
        let (_, (x, _), anchor) = super::placed(&beside, 1, Vec::new(), &plot)[0];
        assert!(x < 200.0 && matches!(anchor, HPos::Right));
    }
}
