//! What a soil holds, as one bar from dry to full: the part the crop cannot reach, the
//! part it draws on, what drains; and where the pump starts and stops in it.

use super::fonts::{self, Weight};
use super::pen::{BODY, Drawn, Letters, Pen, Point, WIDTH};
use super::{Chart, palette};
use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;
use plotters::style::text_anchor::HPos;

/// Space kept clear on both sides, logical pixels.
const SIDE: f64 = 4.0;
/// Upper and lower edge of the bar.
const BAR: (f64, f64) = (62.0, 122.0);
/// How far a mark reaches out of the bar.
const OUT: f64 = 14.0;
/// Baseline of the names of start and stop.
const NAME: f64 = 36.0;
/// Where the reach of start and of stop is drawn.
const REACHES: [f64; 2] = [146.0, 160.0];
/// Baseline of the names of the soil's limits.
const LIMIT: f64 = 200.0;
const HEIGHT: f64 = 216.0;
/// Between two names.
const GAP: f64 = 18.0;
/// How much more than field capacity is shown where saturation is not known.
const BEYOND: f64 = 1.3;

/// A set point with how far the right place for it may lie to either side, m3/m3.
type Placed = (f64, f64);

/// The chart.
pub struct ReserveChart {
    title: String,
    wilting_point: f64,
    field_capacity: f64,
    /// Water content at the right end.
    full: f64,
    refill: Placed,
    stop: Placed,
}

impl ReserveChart {
    /// The reserve of a soil with its wilting point, field capacity and, if known,
    /// saturation, all in m3/m3; refill and stop each with its expanded uncertainty.
    pub fn new(
        soil: &str,
        wilting_point: f64,
        field_capacity: f64,
        saturation: Option<f64>,
        refill: Placed,
        stop: Placed,
    ) -> Self {
        let least = 1.05 * field_capacity.max(stop.0);
        Self {
            title: format!("What {soil} holds"),
            wilting_point,
            field_capacity,
            full: saturation.unwrap_or(BEYOND * field_capacity).max(least),
            refill,
            stop,
        }
    }

    fn x(&self, theta_v: f64) -> f64 {
        SIDE + (theta_v / self.full).clamp(0.0, 1.0) * (WIDTH - 2.0 * SIDE)
    }

    fn zone<B: DrawingBackend>(
        &self,
        pen: &Pen<'_, B>,
        from: f64,
        to: f64,
        colour: RGBColor,
    ) -> Drawn<B> {
        pen.rectangle((self.x(from), BAR.0), (self.x(to), BAR.1), colour)
    }
}

/// A name beside its mark.
struct Beside {
    /// Where the mark is.
    mark: f64,
    /// Where the name begins.
    left: f64,
    /// Where it ends.
    right: f64,
}

/// The names of two marks, the first left of its mark and the second right of its own
/// where there is room; never outside the picture and never on one another.
fn beside(names: [&str; 2], marks: [f64; 2], weight: Weight) -> [Beside; 2] {
    let [first, second] = names.map(|name| fonts::room(name, BODY, weight));
    let left = (marks[0] - first).max(0.0);
    let wanted = marks[1].min(WIDTH - second);
    let next = wanted.max(left + first + GAP);
    // What the right edge pushes back, the first makes room for.
    let back = (next + second - WIDTH).max(0.0);
    let place = |mark: f64, left: f64, width: f64| Beside {
        mark,
        left,
        right: left + width,
    };
    [
        place(marks[0], left - back, first),
        place(marks[1], next - back, second),
    ]
}

/// Writes a name on its baseline.
fn write<B: DrawingBackend>(
    pen: &Pen<'_, B>,
    name: &str,
    place: &Beside,
    baseline: f64,
    letters: Letters,
) -> Drawn<B> {
    // Anchored at the end nearer to the mark, so that a browser's letters meet it.
    let to_the_left = place.right <= place.mark + 0.5;
    let (at, anchor) = if to_the_left {
        (place.right, HPos::Right)
    } else {
        (place.left, HPos::Left)
    };
    pen.text(name, (at, baseline), letters.anchored(anchor))
}

impl Chart for ReserveChart {
    fn title(&self) -> &str {
        &self.title
    }

    fn description(&self) -> String {
        format!(
            "{}, m3/m3: wilting point {:.3}, start {:.3} (+- {:.3}), stop {:.3} (+- {:.3}), field capacity {:.3}, full {:.3}.",
            self.title,
            self.wilting_point,
            self.refill.0,
            self.refill.1,
            self.stop.0,
            self.stop.1,
            self.field_capacity,
            self.full
        )
    }

    fn height(&self) -> f64 {
        HEIGHT
    }

    fn draw<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        pen.rectangle((0.0, 0.0), (WIDTH, HEIGHT), palette::PAPER)?;
        self.zone(pen, 0.0, self.wilting_point, palette::GRID)?;
        self.zone(pen, self.wilting_point, self.field_capacity, palette::BAND)?;
        self.zone(pen, self.field_capacity, self.full, palette::DOMAIN)?;
        self.zone(pen, self.refill.0, self.stop.0, palette::CURVE)?;
        let corners: [Point; 5] = [
            (SIDE, BAR.0),
            (WIDTH - SIDE, BAR.0),
            (WIDTH - SIDE, BAR.1),
            (SIDE, BAR.1),
            (SIDE, BAR.0),
        ];
        pen.line(&corners, palette::EDGE, 1.5)?;
        let zones = [
            ("out of reach", 0.0, self.wilting_point),
            ("reserve", self.wilting_point, self.refill.0),
            (
                "drains away",
                self.field_capacity.max(self.stop.0),
                self.full,
            ),
        ];
        for (name, from, to) in zones {
            let (left, right) = (self.x(from), self.x(to));
            if right - left > fonts::room(name, BODY, Weight::Regular) + 16.0 {
                let middle = ((left + right) / 2.0, (BAR.0 + BAR.1) / 2.0 + 0.34 * BODY);
                let letters = Letters::body(palette::INK).anchored(HPos::Center);
                pen.text(name, middle, letters)?;
            }
        }
        let bold = Letters {
            weight: Weight::Medium,
            ..Letters::body(palette::INK)
        };
        let points = [self.refill, self.stop];
        let marks = points.map(|(theta_v, _)| self.x(theta_v));
        let names = ["start", "stop"];
        let places = beside(names, marks, Weight::Medium);
        for (i, (theta_v, reach)) in points.into_iter().enumerate() {
            let (x, y) = (marks[i], REACHES[i]);
            pen.line(&[(x, BAR.0 - OUT), (x, BAR.1)], palette::INK, 3.0)?;
            write(pen, names[i], &places[i], NAME, bold)?;
            let ends = (self.x(theta_v - reach), self.x(theta_v + reach));
            pen.line(&[(ends.0, y), (ends.1, y)], palette::INK, 2.0)?;
            pen.dot((x, y), 5.0, palette::CORE)?;
        }
        let names = ["wilting point", "field capacity"];
        let marks = [self.wilting_point, self.field_capacity].map(|theta_v| self.x(theta_v));
        let places = beside(names, marks, Weight::Regular);
        for (name, place) in names.into_iter().zip(&places) {
            let x = place.mark;
            let elbow = REACHES[1] + 6.0;
            let end = (x.clamp(place.left, place.right), LIMIT - 0.85 * BODY);
            pen.dashes(
                &[(x, BAR.1), (x, elbow), end],
                &[5.0, 5.0],
                palette::LEVEL,
                2.0,
            )?;
            write(pen, name, place, LIMIT, Letters::body(palette::LEVEL))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_never_lie_on_one_another_nor_outside() {
        for first in 0..=72 {
            for second in first..=72 {
                let marks = [10.0 * f64::from(first), 10.0 * f64::from(second)];
                let [a, b] = beside(["wilting point", "field capacity"], marks, Weight::Regular);
                assert!(a.left >= 0.0 && a.right < b.left, "{marks:?}");
                assert!(b.right <= WIDTH + 1e-9, "{marks:?}");
            }
        }
    }
}
