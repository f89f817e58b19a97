//! Drawing in logical pixels of a picture [`WIDTH`] wide, whatever the backend
//! makes of a pixel.

use super::fonts::{self, Weight};
use plotters::coord::Shift;
use plotters::drawing::DrawingAreaErrorKind;
use plotters::prelude::{
    Circle, DrawingArea, DrawingBackend, PathElement, Polygon, Rectangle, ShapeStyle,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{RGBColor, TextStyle};

/// Width of every picture, logical pixels. Shown on a phone 360 wide, one
/// logical pixel is half a pixel there.
pub const WIDTH: f64 = 720.0;

/// What drawing on backend `B` gives.
pub type Drawn<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

/// How a backend turns a size and a position into letters.
#[derive(Debug, Clone, Copy)]
pub struct Lettering {
    /// Size to ask for, per em wanted.
    pub size_per_em: f64,
    /// Distance from the point asked for (anchored at the top) down to the
    /// baseline, per em.
    pub baseline_per_em: f64,
}

/// A point, logical pixels from the top left.
pub type Point = (f64, f64);

/// Draws in logical pixels.
pub struct Pen<'a, B: DrawingBackend> {
    pub(super) area: &'a DrawingArea<B, Shift>,
    pub(super) scale: f64,
    pub(super) lettering: Lettering,
}

impl<B: DrawingBackend> Pen<'_, B> {
    fn at(&self, (x, y): Point) -> (i32, i32) {
        (
            (x * self.scale).round() as i32,
            (y * self.scale).round() as i32,
        )
    }

    fn stroke(&self, colour: RGBColor, width: f64) -> ShapeStyle {
        ShapeStyle::from(colour).stroke_width((width * self.scale).round().max(1.0) as u32)
    }

    /// A line through `points`.
    pub fn line(&self, points: &[Point], colour: RGBColor, width: f64) -> Drawn<B> {
        let path: Vec<_> = points.iter().map(|p| self.at(*p)).collect();
        self.area
            .draw(&PathElement::new(path, self.stroke(colour, width)))
    }

    /// A level line from `from` to the abscissa `to`, in strokes and gaps of the
    /// lengths in `dash`, over and over.
    pub fn dashed(
        &self,
        from: Point,
        to: f64,
        dash: &[f64],
        colour: RGBColor,
        width: f64,
    ) -> Drawn<B> {
        let (mut x, y) = from;
        for (i, length) in dash.iter().cycle().enumerate() {
            if x >= to || *length <= 0.0 {
                break;
            }
            let end = (x + length).min(to);
            if i % 2 == 0 {
                self.line(&[(x, y), (end, y)], colour, width)?;
            }
            x = end;
        }
        Ok(())
    }

    /// A line through `points` in strokes and gaps of the lengths in `dash`, over
    /// and over; whole where `dash` is empty.
    pub fn dashes(&self, points: &[Point], dash: &[f64], colour: RGBColor, width: f64) -> Drawn<B> {
        if dash.iter().all(|length| *length <= 0.0) {
            return self.line(points, colour, width);
        }
        for stroke in strokes(points, dash) {
            self.line(&stroke, colour, width)?;
        }
        Ok(())
    }

    /// A filled area.
    pub fn area(&self, outline: &[Point], colour: RGBColor) -> Drawn<B> {
        let path: Vec<_> = outline.iter().map(|p| self.at(*p)).collect();
        self.area.draw(&Polygon::new(path, colour))
    }

    /// A filled rectangle.
    pub fn rectangle(&self, top_left: Point, bottom_right: Point, colour: RGBColor) -> Drawn<B> {
        let corners = [self.at(top_left), self.at(bottom_right)];
        self.area
            .draw(&Rectangle::new(corners, ShapeStyle::from(colour).filled()))
    }

    /// A filled dot.
    pub fn dot(&self, centre: Point, radius: f64, colour: RGBColor) -> Drawn<B> {
        let radius = (radius * self.scale).round() as i32;
        self.area.draw(&Circle::new(
            self.at(centre),
            radius,
            ShapeStyle::from(colour).filled(),
        ))
    }

    /// A circle.
    pub fn ring(&self, centre: Point, radius: f64, colour: RGBColor, width: f64) -> Drawn<B> {
        let radius = (radius * self.scale).round() as i32;
        self.area.draw(&Circle::new(
            self.at(centre),
            radius,
            self.stroke(colour, width),
        ))
    }

    /// One line of text whose baseline starts, is centred or ends at `at`.
    pub fn text(&self, text: &str, at: Point, letters: Letters) -> Drawn<B> {
        let size = letters.em * self.scale * self.lettering.size_per_em;
        let style = TextStyle::from(fonts::font(size, letters.weight))
            .color(&letters.colour)
            .pos(Pos::new(letters.anchor, VPos::Top));
        let top = (at.0, at.1 - letters.em * self.lettering.baseline_per_em);
        self.area.draw_text(text, &style, self.at(top))
    }
}

/// The strokes of a dashed line through `points`; `dash` holds a positive length.
fn strokes(points: &[Point], dash: &[f64]) -> Vec<Vec<Point>> {
    let mut lengths = dash.iter().copied().cycle();
    let mut left = lengths.next().unwrap_or(f64::INFINITY);
    let mut drawing = true;
    let mut strokes: Vec<Vec<Point>> = points.first().map(|p| vec![*p]).into_iter().collect();
    for pair in points.windows(2) {
        let [from, to] = [pair[0], pair[1]];
        let whole = (to.0 - from.0).hypot(to.1 - from.1);
        let mut gone = 0.0;
        while whole - gone > left {
            gone += left;
            let share = gone / whole;
            let at = (
                from.0 + share * (to.0 - from.0),
                from.1 + share * (to.1 - from.1),
            );
            match strokes.last_mut() {
                Some(stroke) if drawing => stroke.push(at),
                _ => strokes.push(vec![at]),
            }
            drawing = !drawing;
            left = lengths.next().unwrap_or(f64::INFINITY);
        }
        left -= whole - gone;
        if let Some(stroke) = strokes.last_mut().filter(|_| drawing) {
            stroke.push(to);
        }
    }
    strokes.retain(|stroke| stroke.len() > 1);
    strokes
}

/// How a text is set.
#[derive(Clone, Copy)]
pub struct Letters {
    /// Size: one em in logical pixels.
    pub em: f64,
    /// Weight.
    pub weight: Weight,
    /// Colour.
    pub colour: RGBColor,
    /// Which end of the text sits at the point.
    pub anchor: HPos,
}

impl Letters {
    /// Regular letters that start at their point.
    pub const fn body(colour: RGBColor) -> Self {
        Self {
            em: BODY,
            weight: Weight::Regular,
            colour,
            anchor: HPos::Left,
        }
    }

    /// The same letters, anchored otherwise.
    pub const fn anchored(self, anchor: HPos) -> Self {
        Self { anchor, ..self }
    }
}

/// Size of all text but the title, one em in logical pixels: 11.5 pixels on a
/// phone 360 wide.
pub const BODY: f64 = 23.0;
/// Size of the title.
pub const TITLE: f64 = 31.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dashed_line_keeps_its_lengths_round_a_corner() {
        let corner = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)];
        let found = strokes(&corner, &[6.0, 2.0]);
        assert_eq!(
            found,
            [
                vec![(0.0, 0.0), (6.0, 0.0)],
                vec![(8.0, 0.0), (10.0, 0.0), (10.0, 4.0)],
                vec![(10.0, 6.0), (10.0, 10.0)],
            ]
        );
    }
}
