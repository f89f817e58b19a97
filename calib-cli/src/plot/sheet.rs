//! What every chart shares: title, axes with few ticks, legend, and the room
//! left between them for the plot itself.

use super::axis::Axis;
use super::calibration::Level;
use super::fonts::{self, Weight};
use super::palette;
use super::pen::{BODY, Drawn, Letters, Pen, Point, TITLE, WIDTH};
use super::place;
use super::place::Space;
use calib_core::calibration::Domain;
use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;
use plotters::style::text_anchor::HPos;

/// Space kept clear at the picture's edges.
pub const MARGIN: f64 = 24.0;
/// Height of the plot itself.
const PLOT_HEIGHT: f64 = 430.0;
/// From one line of text to the next.
pub const LINE: f64 = 32.0;
/// Width of a legend's swatch.
const SWATCH: f64 = 46.0;

/// From the plot's right edge to a level's name.
pub const LABEL_INDENT: f64 = 26.0;
/// Least distance between the names of two levels.
pub const LABEL_GAP: f64 = 30.0;

/// What a legend shows before its words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Swatch {
    /// A core with both its bars.
    Core,
    /// A core without bars.
    Dot,
    /// A core with its upright bar alone.
    UprightCore,
    /// The curve in its band.
    CurveInBand,
    /// A line in the colour of the curve.
    CurveLine,
    /// A line in the colour of the cores.
    CoreLine,
    /// A dashed level.
    Dashed,
    /// A dashed level in its band.
    DashedInBand,
    /// The shaded range: calibrated counts, or available water.
    Domain,
    /// A value with its upright bar on a pale line.
    Recommended,
    /// A dot in a ring.
    Ringed,
    /// A shaded range of the vertical quantity.
    Band,
    /// A diamond with its upright bar, in the colour of what stands out.
    StandsOut,
    /// A thin line in the colour of the cores.
    ThinLine,
    /// A line in the colour of what stands out.
    StandsOutLine,
    /// One of several curves, told apart by number: see [`Stroke::of`].
    Curve(usize),
}

/// How one of several curves is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Stroke {
    /// Its colour.
    pub colour: RGBColor,
    /// Strokes and gaps, over and over; whole where empty.
    pub dash: &'static [f64],
}

impl Stroke {
    /// The stroke of curve `number`; neighbours differ in colour, lightness and
    /// dash, so that none of the three is needed.
    pub fn of(number: usize) -> Self {
        let dashes: [&[f64]; 4] = [&[], &[16.0, 7.0], &[4.0, 6.0], &[16.0, 6.0, 4.0, 6.0]];
        Self {
            colour: palette::CURVES[number % palette::CURVES.len()],
            dash: dashes[number % dashes.len()],
        }
    }
}

/// The words and ranges of a chart.
pub struct Outline<'a> {
    /// First line, larger.
    pub title: &'a str,
    /// What the chart shows, in a sentence.
    pub subtitle: &'a str,
    /// The horizontal quantity with its unit.
    pub x_caption: &'a str,
    /// The vertical quantity with its unit.
    pub y_caption: &'a str,
    /// Horizontal axis.
    pub x: Axis,
    /// Vertical axis.
    pub y: Axis,
    /// What is shaded on the horizontal axis: calibrated counts, or available water.
    pub domain: Domain,
    /// Room right of the plot for labels.
    pub right: f64,
    /// What the marks mean.
    pub legend: &'a [(Swatch, &'a str)],
    /// A last line of small facts; may be empty.
    pub note: &'a str,
}

struct Entry {
    swatch: Swatch,
    words: String,
    at: Point,
}

/// Title and subtitle, broken into lines.
pub struct Header {
    title: Vec<String>,
    subtitle: Vec<String>,
}

impl Header {
    /// A header across the picture.
    pub fn new(title: &str, subtitle: &str) -> Self {
        let room = WIDTH - 2.0 * MARGIN;
        Self {
            title: fonts::wrap(title, TITLE, Weight::Medium, room),
            subtitle: fonts::wrap(subtitle, BODY, Weight::Regular, room),
        }
    }

    /// Where what lies below it may begin.
    pub fn bottom(&self) -> f64 {
        MARGIN + self.title.len() as f64 * (TITLE + 9.0) + self.subtitle.len() as f64 * LINE
    }

    /// Draws it.
    pub fn draw<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        let mut y = MARGIN - 4.0;
        for line in &self.title {
            y += TITLE + 1.0;
            let letters = Letters {
                em: TITLE,
                weight: Weight::Medium,
                ..Letters::body(palette::INK)
            };
            pen.text(line, (MARGIN, y), letters)?;
            y += 8.0;
        }
        for line in &self.subtitle {
            y += LINE;
            pen.text(line, (MARGIN, y - 4.0), Letters::body(palette::MUTED))?;
        }
        Ok(())
    }
}

/// A chart laid out: the plot's box and the picture's height are fixed.
pub struct Sheet {
    heading: Header,
    x_caption: String,
    y_caption: String,
    legend: Vec<Entry>,
    note: Vec<String>,
    note_top: f64,
    x: Axis,
    y: Axis,
    domain: Domain,
    /// Where the plot is.
    pub plot: Space,
    /// Height of the picture.
    pub height: f64,
}

impl Sheet {
    /// Lays out a chart.
    pub fn new(outline: Outline<'_>) -> Self {
        let room = WIDTH - 2.0 * MARGIN;
        let heading = Header::new(outline.title, outline.subtitle);
        let widest = outline
            .y
            .ticks
            .iter()
            .map(|tick| fonts::room(&outline.y.label(*tick), BODY, Weight::Regular))
            .fold(0.0, f64::max);
        let header = heading.bottom() + LINE + 24.0;
        let plot = Space {
            left: MARGIN + widest + 14.0,
            top: header,
            right: WIDTH - MARGIN - outline.right,
            bottom: header + PLOT_HEIGHT,
        };

        let first_row = plot.bottom + 2.0 * LINE + 56.0;
        let (mut x, mut row) = (MARGIN, first_row);
        let mut legend = Vec::new();
        for (swatch, words) in outline.legend {
            let width = SWATCH + 12.0 + fonts::room(words, BODY, Weight::Regular);
            if x > MARGIN && x + width > WIDTH - MARGIN {
                (x, row) = (MARGIN, row + LINE + 6.0);
            }
            legend.push(Entry {
                swatch: *swatch,
                words: (*words).to_owned(),
                at: (x, row),
            });
            x += width + 34.0;
        }
        let note = fonts::wrap(outline.note, BODY, Weight::Regular, room);
        let note_top = if legend.is_empty() {
            first_row - LINE
        } else {
            row
        } + LINE
            + 10.0;
        let height = if note.is_empty() {
            row + MARGIN
        } else {
            note_top + (note.len() as f64 - 1.0) * LINE + MARGIN
        };
        Self {
            heading,
            x_caption: outline.x_caption.to_owned(),
            y_caption: outline.y_caption.to_owned(),
            legend,
            note,
            note_top,
            x: outline.x,
            y: outline.y,
            domain: outline.domain,
            plot,
            // Even, so that every backend's scale makes whole pixels of it.
            height: 2.0 * (height / 2.0).ceil(),
        }
    }

    /// Where a pair of values lies in the picture.
    pub fn at(&self, x: f64, y: f64) -> Point {
        (
            self.plot.left + self.x.share(x) * (self.plot.right - self.plot.left),
            self.plot.bottom - self.y.share(y) * (self.plot.bottom - self.plot.top),
        )
    }

    /// Draws everything around the plot, and `contents` in it.
    pub fn draw<B: DrawingBackend>(
        &self,
        pen: &Pen<'_, B>,
        contents: impl FnOnce(&Pen<'_, B>) -> Drawn<B>,
    ) -> Drawn<B> {
        pen.rectangle((0.0, 0.0), (WIDTH, self.height), palette::PAPER)?;
        self.draw_header(pen)?;
        let low = self.at(self.domain.low.max(self.x.low), self.y.high);
        let high = self.at(self.domain.high.min(self.x.high), self.y.low);
        pen.rectangle(low, high, palette::DOMAIN)?;
        self.draw_axes(pen)?;
        contents(pen)?;
        let base = self.plot.bottom;
        pen.line(
            &[(self.plot.left, base), (self.plot.right, base)],
            palette::EDGE,
            2.0,
        )?;
        self.draw_legend(pen)
    }

    /// Draws levels of the vertical quantity, named right of the plot.
    pub fn draw_levels<B: DrawingBackend>(&self, pen: &Pen<'_, B>, levels: &[Level]) -> Drawn<B> {
        let (left, right) = (self.plot.left, self.plot.right);
        let heights: Vec<f64> = levels
            .iter()
            .map(|level| self.at(0.0, level.theta_v).1)
            .collect();
        let labels = place::spread(&heights, LABEL_GAP, self.plot.top, self.plot.bottom);
        for ((level, height), label) in levels.iter().zip(heights).zip(labels) {
            pen.dashed((left, height), right, &[12.0, 6.0], palette::LEVEL, 2.5)?;
            let elbow = [
                (right, height),
                (right + 8.0, height),
                (right + 20.0, label),
            ];
            pen.line(&elbow, palette::LEVEL, 2.0)?;
            pen.text(
                &level.name,
                (right + LABEL_INDENT, label + 0.34 * BODY),
                Letters::body(palette::LEVEL),
            )?;
        }
        Ok(())
    }

    fn draw_header<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        self.heading.draw(pen)?;
        pen.text(
            &self.y_caption,
            (MARGIN, self.plot.top - 20.0),
            Letters::body(palette::INK),
        )
    }

    fn draw_axes<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        let letters = Letters::body(palette::MUTED);
        let (left, right) = (self.plot.left, self.plot.right);
        for tick in &self.y.ticks {
            let (_, y) = self.at(self.x.low, *tick);
            pen.line(&[(left, y), (right, y)], palette::GRID, 1.5)?;
            pen.text(
                &self.y.label(*tick),
                (left - 12.0, y + 0.36 * BODY),
                letters.anchored(HPos::Right),
            )?;
        }
        let base = self.plot.bottom;
        for tick in &self.x.ticks {
            let (x, _) = self.at(*tick, self.y.low);
            pen.line(&[(x, base), (x, base + 8.0)], palette::EDGE, 2.0)?;
            pen.text(
                &self.x.label(*tick),
                (x, base + 14.0 + 0.8 * BODY),
                letters.anchored(HPos::Center),
            )?;
        }
        pen.text(
            &self.x_caption,
            ((left + right) / 2.0, base + 20.0 + 0.8 * BODY + LINE),
            Letters::body(palette::INK).anchored(HPos::Center),
        )
    }

    fn draw_legend<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        for Entry { swatch, words, at } in &self.legend {
            let (left, middle) = (at.0, at.1 - 0.34 * BODY);
            let (right, centre) = (left + SWATCH, left + SWATCH / 2.0);
            match swatch {
                Swatch::Core => draw_core(pen, (centre, middle), 13.0, 13.0)?,
                Swatch::Dot => pen.dot((centre, middle), CORE_RADIUS, palette::CORE)?,
                Swatch::UprightCore => draw_core(pen, (centre, middle), 0.0, 13.0)?,
                Swatch::CurveInBand => {
                    pen.rectangle((left, middle - 11.0), (right, middle + 11.0), palette::BAND)?;
                    pen.line(&[(left, middle), (right, middle)], palette::CURVE, 4.0)?;
                }
                Swatch::CurveLine => {
                    pen.line(&[(left, middle), (right, middle)], palette::CURVE, 4.0)?;
                }
                Swatch::CoreLine => {
                    pen.line(&[(left, middle), (right, middle)], palette::CORE, 4.0)?;
                }
                Swatch::Dashed => {
                    pen.dashed((left, middle), right, &[12.0, 6.0], palette::LEVEL, 2.5)?;
                }
                Swatch::DashedInBand => {
                    pen.rectangle((left, middle - 11.0), (right, middle + 11.0), palette::BAND)?;
                    pen.dashed((left, middle), right, &[12.0, 6.0], palette::LEVEL, 2.5)?;
                }
                Swatch::Band => {
                    pen.rectangle((left, middle - 11.0), (right, middle + 11.0), palette::BAND)?;
                }
                Swatch::StandsOut => {
                    draw_standing_out(pen, (centre, middle), (13.0, 13.0), CORE_RADIUS)?;
                }
                Swatch::ThinLine => {
                    pen.line(&[(left, middle), (right, middle)], palette::CORE, 1.6)?;
                }
                Swatch::StandsOutLine => {
                    pen.line(&[(left, middle), (right, middle)], palette::LEVEL, 3.0)?;
                }
                Swatch::Recommended => {
                    pen.rectangle((left, middle - 6.0), (right, middle + 6.0), palette::BAND)?;
                    draw_core(pen, (centre, middle), 0.0, 13.0)?;
                }
                Swatch::Ringed => {
                    pen.ring((centre, middle), RING, palette::LEVEL, 3.0)?;
                    pen.dot((centre, middle), CORE_RADIUS, palette::CORE)?;
                }
                Swatch::Curve(number) => {
                    let Stroke { colour, dash } = Stroke::of(*number);
                    pen.dashes(&[(left, middle), (right, middle)], dash, colour, 3.0)?;
                }
                Swatch::Domain => {
                    let corners = ((left, middle - 11.0), (right, middle + 11.0));
                    pen.rectangle(corners.0, corners.1, palette::EDGE)?;
                    let inset = |(x, y): Point, by: f64| (x + by, y + by);
                    pen.rectangle(
                        inset(corners.0, 1.5),
                        inset(corners.1, -1.5),
                        palette::DOMAIN,
                    )?;
                }
            }
            pen.text(words, (right + 12.0, at.1), Letters::body(palette::INK))?;
        }
        for (i, line) in self.note.iter().enumerate() {
            let y = self.note_top + LINE * i as f64;
            pen.text(line, (MARGIN, y), Letters::body(palette::MUTED))?;
        }
        Ok(())
    }
}

/// A core: a dot with a bar either way over it, so that a bar shorter than the
/// dot still shows.
pub fn draw_core<B: DrawingBackend>(
    pen: &Pen<'_, B>,
    (x, y): Point,
    half_width: f64,
    half_height: f64,
) -> Drawn<B> {
    let half = BAR / 2.0;
    pen.dot((x, y), CORE_RADIUS, palette::CORE)?;
    if half_width > 0.0 {
        let (from, to) = ((x - half_width, y - half), (x + half_width, y + half));
        pen.rectangle(from, to, palette::INK)?;
    }
    let (from, to) = ((x - half, y - half_height), (x + half, y + half_height));
    pen.rectangle(from, to, palette::INK)
}

/// A dot of its own size and colour with a bar that reaches so far up and down.
pub fn draw_upright<B: DrawingBackend>(
    pen: &Pen<'_, B>,
    (x, y): Point,
    (up, down): (f64, f64),
    radius: f64,
    colour: RGBColor,
) -> Drawn<B> {
    let half = BAR / 2.0;
    pen.dot((x, y), radius, colour)?;
    pen.rectangle((x - half, y - up), (x + half, y + down), palette::INK)
}

/// A value that stands out, told by its shape as well as by its colour: a diamond of
/// `radius`, somewhat larger than a dot of it, with the upright bar.
pub fn draw_standing_out<B: DrawingBackend>(
    pen: &Pen<'_, B>,
    (x, y): Point,
    (up, down): (f64, f64),
    radius: f64,
) -> Drawn<B> {
    let (half, reach) = (BAR / 2.0, 1.5 * radius);
    let diamond = [
        (x, y - reach),
        (x + reach, y),
        (x, y + reach),
        (x - reach, y),
    ];
    pen.area(&diamond, palette::LEVEL)?;
    pen.rectangle((x - half, y - up), (x + half, y + down), palette::INK)
}

/// Thickness of an error bar.
const BAR: f64 = 1.6;
/// Radius of a core's dot.
pub const CORE_RADIUS: f64 = 6.0;
/// Radius of a ring round one.
pub const RING: f64 = CORE_RADIUS + 7.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_few_round_and_told_apart_by_their_labels() {
        let axis = Axis::covering(0.028, 0.31, 0.01, 7);
        let labels: Vec<_> = axis.ticks.iter().map(|t| axis.label(*t)).collect();
        assert_eq!(labels, ["0.05", "0.10", "0.15", "0.20", "0.25", "0.30"]);
        let axis = Axis::covering(290.0, 800.0, 10.0, 6);
        let labels: Vec<_> = axis.ticks.iter().map(|t| axis.label(*t)).collect();
        assert_eq!(labels, ["300", "400", "500", "600", "700", "800"]);
    }

    #[test]
    fn below_zero_has_a_minus_and_zero_has_none() {
        let axis = Axis::covering(-0.021, 0.021, 0.01, 5);
        let labels: Vec<_> = axis.ticks.iter().map(|t| axis.label(*t)).collect();
        assert_eq!(
            labels,
            ["\u{2212}0.02", "\u{2212}0.01", "0.00", "0.01", "0.02"]
        );
    }

    #[test]
    fn one_value_or_none_still_gives_an_axis() {
        let axis = Axis::covering(5.0, 5.0, 2.0, 5);
        assert!(axis.low < 5.0 && axis.high > 5.0);
        let axis = Axis::covering(f64::NAN, 1.0, 2.0, 5);
        assert_eq!((axis.low, axis.high), (0.0, 2.0));
    }
}
