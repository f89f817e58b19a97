//! The texture triangle: the twelve classes, where soils fall in it and how near
//! the border of another class they lie.

use super::Chart;
use super::fonts::{self, Weight};
use super::palette;
use super::pen::{BODY, Drawn, Letters, Pen, Point, WIDTH};
use super::place::Space;
use super::sheet::{CORE_RADIUS, Header, LINE, MARGIN};
use calib_core::soil::{BorderShift, Particles, Separate, TextureClass};
use plotters::prelude::DrawingBackend;
use plotters::style::text_anchor::HPos;

/// Room left of the triangle for the clay scale and right of it for the silt
/// scale.
const SIDE: f64 = 54.0;
/// Room below it for the sand scale and its name.
const BELOW: f64 = 84.0;
/// Height of an equilateral triangle over its side.
const HEIGHT: f64 = 0.866_025_403_784_438_6;
/// From one dashed scale line to the next, percent.
const SCALE_STEP: u32 = 20;
/// Size of a class's name, one em: 11 pixels on a phone 360 wide.
const SMALL: f64 = 22.0;

/// A soil of the chart.
#[derive(Debug, Clone)]
pub struct TexturePoint {
    /// Its name.
    pub name: String,
    /// Where it lies.
    pub particles: Particles,
    /// The nearest border.
    pub border: Option<BorderShift>,
}

/// Sand, silt and clay of soils in the triangle of the twelve classes.
pub struct TextureChart {
    title: String,
    header: Header,
    points: Vec<TexturePoint>,
    key: Vec<Vec<String>>,
}

impl TextureChart {
    /// The chart of `points`.
    pub fn new(points: &[TexturePoint]) -> Self {
        let title = "Texture by sand, silt and clay".to_owned();
        let room = WIDTH - 2.0 * MARGIN - KEY_INDENT;
        Self {
            header: Header::new(
                &title,
                "USDA classes. The numbers on each side rise towards its corner; a line leads to the nearest border.",
            ),
            title,
            key: points
                .iter()
                .map(|point| fonts::wrap(&told(point), BODY, Weight::Regular, room))
                .collect(),
            points: points.to_vec(),
        }
    }

    /// Left and right end of the triangle's base and its top.
    fn corners(&self) -> [Point; 3] {
        let side = WIDTH - 2.0 * (MARGIN + SIDE);
        let (left, right) = (MARGIN + SIDE, WIDTH - MARGIN - SIDE);
        let top = self.header.bottom() + 2.0 * LINE;
        let base = top + HEIGHT * side;
        [(left, base), (right, base), ((left + right) / 2.0, top)]
    }

    /// Where so much sand and clay lie: pure sand at the left, pure silt at the
    /// right, pure clay on top.
    fn at(&self, sand: f64, clay: f64) -> Point {
        let [left, right, top] = self.corners();
        let (sand, clay) = (sand / 100.0, clay / 100.0);
        let silt = 1.0 - sand - clay;
        (
            sand * left.0 + silt * right.0 + clay * top.0,
            sand * left.1 + silt * right.1 + clay * top.1,
        )
    }

    fn key_top(&self) -> f64 {
        self.corners()[0].1 + BELOW + 2.0 * LINE
    }

    fn draw_ground<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        let triangle = self.corners();
        pen.area(&triangle, palette::GROUND)?;
        for percent in (SCALE_STEP..100).step_by(SCALE_STEP as usize) {
            let p = f64::from(percent);
            let lines = [
                [self.at(100.0 - p, p), self.at(0.0, p)],
                [self.at(p, 0.0), self.at(p, 100.0 - p)],
                [self.at(0.0, 100.0 - p), self.at(100.0 - p, 0.0)],
            ];
            for line in lines {
                pen.dashes(&line, &[3.0, 7.0], palette::BORDER, 1.2)?;
            }
        }
        for class in TextureClass::ALL {
            let corners = class.outline();
            let around = corners.iter().chain(corners.first());
            let path: Vec<Point> = around.map(|(sand, clay)| self.at(*sand, *clay)).collect();
            pen.line(&path, palette::BORDER, 2.5)?;
        }
        let closed = [triangle[0], triangle[1], triangle[2], triangle[0]];
        pen.line(&closed, palette::MUTED, 3.0)
    }

    fn draw_scales<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        let letters = Letters::body(palette::MUTED);
        for percent in (SCALE_STEP..100).step_by(SCALE_STEP as usize) {
            let p = f64::from(percent);
            let text = percent.to_string();
            let (x, y) = self.at(100.0 - p, p);
            pen.text(
                &text,
                (x - 10.0, y + 0.36 * BODY),
                letters.anchored(HPos::Right),
            )?;
            let (x, y) = self.at(0.0, 100.0 - p);
            pen.text(&text, (x + 10.0, y + 0.36 * BODY), letters)?;
            let (x, y) = self.at(p, 0.0);
            pen.text(
                &text,
                (x, y + 10.0 + 0.8 * BODY),
                letters.anchored(HPos::Center),
            )?;
        }
        let [left, right, top] = self.corners();
        let ink = Letters::body(palette::INK);
        pen.text(
            "100 % clay",
            (top.0, top.1 - 14.0),
            ink.anchored(HPos::Center),
        )?;
        let base = left.1 + 18.0 + 0.8 * BODY + LINE;
        pen.text("100 % sand", (MARGIN, base), ink)?;
        pen.text(
            "100 % silt",
            (right.0 + SIDE, base),
            ink.anchored(HPos::Right),
        )
    }

    fn draw_names<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        let letters = Letters {
            em: SMALL,
            ..Letters::body(palette::MUTED)
        }
        .anchored(HPos::Center);
        for class in TextureClass::ALL {
            let lines = self.name_lines(class);
            for (line, at) in &lines {
                let room = name_space(line, *at);
                pen.rectangle(
                    (room.left, room.top),
                    (room.right, room.bottom),
                    palette::GROUND,
                )?;
            }
            for (line, at) in lines {
                pen.text(line, at, letters)?;
            }
        }
        Ok(())
    }

    /// The lines of a class's name with the middle of each one's baseline, at the
    /// first of its places that no soil's mark lies on; none where there is no such
    /// place, as the key then tells the class.
    fn name_lines(&self, class: TextureClass) -> Vec<(&'static str, Point)> {
        let marks: Vec<Space> = self
            .points
            .iter()
            .map(|point| {
                let (x, y) = self.at(point.particles.sand(), point.particles.clay());
                Space {
                    left: x - MARK - 4.0,
                    top: y - MARK - 4.0,
                    right: x + MARK + 4.0,
                    bottom: y + MARK + 4.0,
                }
            })
            .collect();
        let (lines, places) = name_places(class);
        let mut at_places = places.iter().map(|place| {
            let set: Vec<(&'static str, Point)> = lines
                .iter()
                .zip(*place)
                .map(|(line, (sand, clay))| {
                    let (x, y) = self.at(*sand, *clay);
                    (*line, (x, y + 0.34 * SMALL))
                })
                .collect();
            set
        });
        let free = |set: &Vec<(&'static str, Point)>| {
            set.iter().all(|(line, at)| {
                let room = name_space(line, *at);
                marks.iter().all(|mark| !mark.touches(&room))
            })
        };
        at_places.find(free).unwrap_or_default()
    }

    fn draw_soils<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        for point in &self.points {
            let here = self.at(point.particles.sand(), point.particles.clay());
            if let Some(shift) = &point.border {
                let there = across(point, shift);
                pen.line(&[here, self.at(there.0, there.1)], palette::INK, 3.0)?;
            }
        }
        for (number, point) in self.points.iter().enumerate() {
            let here = self.at(point.particles.sand(), point.particles.clay());
            mark(pen, here, number)?;
        }
        Ok(())
    }

    fn draw_key<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        let mut y = self.key_top();
        let above = (WIDTH / 2.0, y - LINE - 14.0);
        let muted = Letters::body(palette::MUTED).anchored(HPos::Center);
        pen.text(ABBREVIATIONS, above, muted)?;
        for (number, lines) in self.key.iter().enumerate() {
            mark(pen, (MARGIN + MARK, y - 0.34 * BODY), number)?;
            for line in lines {
                pen.text(line, (MARGIN + KEY_INDENT, y), Letters::body(palette::INK))?;
                y += LINE;
            }
            y += 8.0;
        }
        Ok(())
    }
}

/// (sand, clay), percent.
type Spot = (f64, f64);

/// A name's lines, and places for it: the middle of each line.
type NamePlaces = (&'static [&'static str], &'static [&'static [Spot]]);

/// The lines of a class's name, and places for them. Where an area has no room for
/// its name it has its abbreviation, as
/// the USDA Soil Survey Manual has it, told below the triangle.
fn name_places(class: TextureClass) -> NamePlaces {
    match class {
        TextureClass::Sand => (&["S"], &[&[(92.2, 3.2)]]),
        TextureClass::LoamySand => (&["LS"], &[&[(82.0, 5.5)], &[(77.5, 3.2)], &[(86.0, 9.5)]]),
        TextureClass::SandyLoam => (
            &["sandy loam"],
            &[
                &[(65.5, 12.5)],
                &[(66.0, 16.5)],
                &[(57.5, 3.6)],
                &[(60.5, 8.5)],
            ],
        ),
        TextureClass::Loam => (
            &["loam"],
            &[&[(40.5, 16.0)], &[(37.0, 23.5)], &[(44.5, 10.5)]],
        ),
        TextureClass::SiltLoam => (
            &["silt loam"],
            &[&[(21.0, 14.5)], &[(12.0, 23.0)], &[(31.0, 5.0)]],
        ),
        TextureClass::Silt => (&["silt"], &[&[(7.5, 5.2)], &[(4.5, 9.2)]]),
        TextureClass::SandyClayLoam => (&["sandy", "clay loam"], &[&[(56.5, 30.0), (58.5, 25.0)]]),
        TextureClass::ClayLoam => (
            &["clay loam"],
            &[&[(32.5, 33.5)], &[(32.5, 37.0)], &[(32.5, 30.0)]],
        ),
        TextureClass::SiltyClayLoam => (&["silty", "clay loam"], &[&[(10.0, 36.0), (10.0, 31.0)]]),
        TextureClass::SandyClay => (&["sandy", "clay"], &[&[(51.6, 42.7), (53.4, 38.3)]]),
        TextureClass::SiltyClay => (&["silty", "clay"], &[&[(6.0, 48.0), (8.0, 43.3)]]),
        TextureClass::Clay => (
            &["clay"],
            &[&[(22.0, 54.0)], &[(16.0, 68.0)], &[(32.0, 46.0)]],
        ),
    }
}

/// The room a line of a name takes.
fn name_space(line: &str, (x, baseline): Point) -> Space {
    let half = fonts::width(line, SMALL, Weight::Regular) / 2.0 + 2.0;
    Space {
        left: x - half,
        top: baseline - 0.74 * SMALL,
        right: x + half,
        bottom: baseline + 0.2 * SMALL,
    }
}

/// What the abbreviations in the triangle stand for.
const ABBREVIATIONS: &str = "S sand, LS loamy sand";

/// Radius of a soil's mark.
const MARK: f64 = 2.4 * CORE_RADIUS;
/// From the margin to the words of the key.
const KEY_INDENT: f64 = 46.0;

/// A soil's mark: a dot with its number.
fn mark<B: DrawingBackend>(pen: &Pen<'_, B>, at: Point, number: usize) -> Drawn<B> {
    pen.dot(at, MARK + 2.5, palette::PAPER)?;
    pen.dot(at, MARK, palette::CURVE)?;
    let letters = Letters {
        weight: Weight::Medium,
        em: SMALL,
        ..Letters::body(palette::PAPER)
    };
    pen.text(
        &(number + 1).to_string(),
        (at.0, at.1 + 0.36 * SMALL),
        letters.anchored(HPos::Center),
    )
}

/// Sand and clay after the shift to the nearest border.
fn across(point: &TexturePoint, shift: &BorderShift) -> (f64, f64) {
    let gain = |of: Separate| {
        if of == shift.to {
            shift.points
        } else if of == shift.from {
            -shift.points
        } else {
            0.0
        }
    };
    (
        point.particles.sand() + gain(Separate::Sand),
        point.particles.clay() + gain(Separate::Clay),
    )
}

/// A soil in words.
fn told(point: &TexturePoint) -> String {
    let particles = &point.particles;
    let mut text = format!(
        "{}: {} ({:.0} % sand, {:.0} % silt, {:.0} % clay)",
        point.name,
        particles.class(),
        particles.sand(),
        particles.silt(),
        particles.clay()
    );
    if let Some(shift) = &point.border {
        text.push_str(&format!(
            "; {:.1} points more {} make it {}",
            shift.points, shift.to, shift.class
        ));
    }
    text
}

impl Chart for TextureChart {
    fn title(&self) -> &str {
        &self.title
    }

    fn description(&self) -> String {
        let soils: Vec<String> = self.points.iter().map(told).collect();
        format!(
            "The triangle of the twelve USDA texture classes with {}. {}.",
            if soils.len() == 1 {
                "one soil"
            } else {
                "the soils of the site"
            },
            soils.join(". ")
        )
    }

    fn height(&self) -> f64 {
        let lines: usize = self.key.iter().map(Vec::len).sum();
        let key = lines as f64 * LINE + self.key.len() as f64 * 8.0;
        2.0 * ((self.key_top() + key - LINE + MARGIN) / 2.0).ceil()
    }

    fn draw<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        pen.rectangle((0.0, 0.0), (WIDTH, self.height()), palette::PAPER)?;
        self.header.draw(pen)?;
        self.draw_ground(pen)?;
        self.draw_scales(pen)?;
        self.draw_names(pen)?;
        self.draw_soils(pen)?;
        self.draw_key(pen)
    }
}
