//! Cores against uncertainty: what more levels, and more cores at each, would buy.

use super::axis::Axis;
use super::fonts::{self, Weight};
use super::pen::{BODY, Drawn, Pen, Point};
use super::sheet::{CORE_RADIUS, LABEL_INDENT, Outline, RING, Sheet, Stroke, Swatch};
use super::{Chart, Level, palette};
use calib_core::calibration::Domain;
use calib_core::plan::foretold::{CoresPoint, CurveOfCores};
use plotters::prelude::DrawingBackend;

/// The name of the level that no number of cores goes below.
const FLOOR: &str = "soil, probe";

/// Uncertainties beyond so many times the floor are not drawn: they would press all
/// others into one line.
const TALLEST: f64 = 4.0;

/// One number of levels.
struct Row {
    points: Vec<(CoresPoint, f64)>,
}

/// The chart.
pub struct CoresAndUncertaintyChart {
    title: String,
    description: String,
    rows: Vec<Row>,
    floor: Level,
    sheet: Sheet,
}

impl CoresAndUncertaintyChart {
    /// The chart of one place in `soil`.
    pub fn new(soil: &str, curve: &CurveOfCores) -> Self {
        let title = format!("Soil {soil}: cores and uncertainty");
        let mut levels: Vec<usize> = curve.points.iter().map(|p| p.levels).collect();
        levels.dedup();
        let rows: Vec<Row> = levels
            .iter()
            .map(|levels| Row {
                points: curve
                    .points
                    .iter()
                    .filter(|p| p.levels == *levels)
                    .filter_map(|p| Some((p.clone(), p.expanded?.median)))
                    .filter(|(_, u)| *u <= TALLEST * curve.floor)
                    .collect(),
            })
            .collect();
        let all = || rows.iter().flat_map(|row| &row.points);
        let most = all().map(|(p, _)| p.cores).max().unwrap_or(1);
        let highest = all().map(|(_, u)| *u).fold(curve.floor, f64::max);
        let names: Vec<String> = levels.iter().map(|n| format!("{n} levels")).collect();
        let mut legend: Vec<(Swatch, &str)> = names
            .iter()
            .enumerate()
            .map(|(i, name)| (Swatch::Curve(i), name.as_str()))
            .collect();
        let planned = all().find(|(p, _)| p.planned);
        let planned = planned.map(|(_, u)| format!("as planned: {u:.3}"));
        if let Some(words) = &planned {
            legend.push((Swatch::Ringed, words));
        }
        let room = 0.08 * highest;
        let drawn = all().count();
        let left_out = match curve.points.len() - drawn {
            0 => String::new(),
            n => format!(
                ". {n} of {} plans are too unsure to be drawn",
                curve.points.len()
            ),
        };
        let note = format!(
            "Along a line: one, two, three ... cores at each level. Dashed: what soil and probe \
             leave however many cores there are, {:.3}{left_out}",
            curve.floor
        );
        let right = LABEL_INDENT + fonts::room(FLOOR, BODY, Weight::Regular);
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: &format!(
                "How sure one reading will be at {} ({:.3} m\u{b3}/m\u{b3}), by simulation",
                curve.place, curve.theta_v
            ),
            x_caption: "Cores in all",
            y_caption: "Expanded uncertainty (95 %), m\u{b3}/m\u{b3}",
            x: Axis::covering(0.0, most as f64 + 1.0, 5.0, 8).of_whole_numbers(),
            y: Axis::covering(0.0, highest + room, 0.01, 7),
            domain: Domain {
                low: 0.0,
                high: 0.0,
            },
            right,
            legend: &legend,
            note: &note,
        });
        let mut description = format!(
            "{title}. Expanded uncertainty of one reading at {} ({:.3} m3/m3) against the number \
             of cores, m3/m3.",
            curve.place, curve.theta_v
        );
        for (row, levels) in rows.iter().zip(&levels) {
            let values: Vec<String> = row
                .points
                .iter()
                .map(|(p, u)| format!("{} cores {u:.4}", p.cores))
                .collect();
            description += &format!(" {levels} levels: {}.", values.join(", "));
        }
        description += &format!(" No number of cores goes below {:.4}.", curve.floor);
        Self {
            title,
            description,
            rows,
            floor: Level {
                name: FLOOR.to_owned(),
                theta_v: curve.floor,
            },
            sheet,
        }
    }

    fn place(&self, point: &CoresPoint, u: f64) -> Point {
        self.sheet.at(point.cores as f64, u)
    }
}

impl Chart for CoresAndUncertaintyChart {
    fn title(&self) -> &str {
        &self.title
    }

    fn description(&self) -> String {
        self.description.clone()
    }

    fn height(&self) -> f64 {
        self.sheet.height
    }

    fn draw<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        self.sheet.draw(pen, |pen| {
            self.sheet
                .draw_levels(pen, std::slice::from_ref(&self.floor))?;
            for (number, row) in self.rows.iter().enumerate() {
                let stroke = Stroke::of(number);
                let line: Vec<Point> = row.points.iter().map(|(p, u)| self.place(p, *u)).collect();
                pen.dashes(&line, stroke.dash, stroke.colour, 3.0)?;
                for (point, u) in &row.points {
                    let centre = self.place(point, *u);
                    pen.dot(centre, CORE_RADIUS, stroke.colour)?;
                    if point.planned {
                        pen.ring(centre, RING, palette::LEVEL, 3.0)?;
                    }
                }
            }
            Ok(())
        })
    }
}
