//! Retention curves of one soil: theta_v against suction from every source, with
//! the recommended field capacity, wilting point and saturation.

use super::Chart;
use super::axis::Axis;
use super::fonts::{self, Weight};
use super::palette;
use super::pen::{BODY, Drawn, Letters, Pen, Point};
use super::sheet::{Outline, Sheet, Stroke, Swatch, draw_core};
use calib_core::calibration::Domain;
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::soil::{FIELD_CAPACITY_KPA, Retention, SoilEvidence, WILTING_POINT_KPA};
use plotters::prelude::DrawingBackend;
use plotters::style::text_anchor::HPos;

/// Suctions shown, kPa.
const SHOWN_KPA: (f64, f64) = (1.0, 3000.0);
const TICKS_KPA: [f64; 5] = [1.0, 10.0, 33.0, 100.0, 1500.0];
/// Suctions at which a curve is evaluated, evenly over the logarithm.
const SAMPLES: usize = 120;

/// A recommended value at its suction.
struct Mark {
    name: &'static str,
    kpa: f64,
    value: Estimate<Vwc>,
}

/// The chart of one soil.
pub struct RetentionChart {
    title: String,
    description: String,
    /// Each source's curve as points of logarithm of suction and theta_v.
    curves: Vec<Vec<Point>>,
    recommended: Vec<Point>,
    marks: Vec<Mark>,
    sheet: Sheet,
}

impl RetentionChart {
    /// The chart of the soil called `name`.
    pub fn new(name: &str, found: &SoilEvidence) -> Self {
        let curves: Vec<Vec<Point>> = found
            .sources
            .iter()
            .map(|source| points(&source.retention))
            .collect();
        let recommended = points(&found.retention());
        let marks = marks(found);
        let title = format!("Retention in {name}");
        let values: Vec<String> = marks
            .iter()
            .map(|mark| {
                let Estimate { value, u } = mark.value;
                format!("{} {:.3} \u{b1} {u:.3}", mark.name, value.value())
            })
            .collect();
        let note = format!("Recommended, m\u{b3}/m\u{b3}: {}", values.join(", "));
        let names: Vec<String> = found
            .sources
            .iter()
            .map(|source| source.publication.to_string())
            .collect();
        let mut legend: Vec<(Swatch, &str)> = vec![
            (
                Swatch::Recommended,
                "recommended, bars one standard uncertainty",
            ),
            (Swatch::Domain, "available water"),
        ];
        for (number, name) in names.iter().enumerate() {
            legend.push((Swatch::Curve(number), name));
        }
        let heights = curves
            .iter()
            .chain([&recommended])
            .flatten()
            .map(|point| point.1)
            .chain(
                marks
                    .iter()
                    .map(|mark| mark.value.value.value() + mark.value.u),
            );
        let highest = heights.fold(0.3, f64::max);
        let subtitle = match found.class {
            Some(class) => format!("{class}, from every source"),
            None => "from what was measured".to_owned(),
        };
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: &subtitle,
            x_caption: "Suction, kPa (drier to the right)",
            y_caption: "Volumetric water content, m\u{b3}/m\u{b3}",
            x: Axis::logarithmic(SHOWN_KPA.0, SHOWN_KPA.1, &TICKS_KPA),
            // Room for two names above every curve.
            y: Axis::covering(0.0, 1.14 * highest, 0.1, 7),
            domain: Domain {
                low: FIELD_CAPACITY_KPA.log10(),
                high: WILTING_POINT_KPA.log10(),
            },
            right: 6.0,
            legend: &legend,
            note: &note,
        });
        Self {
            description: format!(
                "Volumetric water content in m3/m3 against suction in kPa for {name}: {} curves{}. {}.",
                curves.len(),
                if names.is_empty() {
                    String::new()
                } else {
                    format!(" ({})", names.join(", "))
                },
                note.replace('\u{b3}', "3").replace('\u{b1}', "+-")
            ),
            title,
            curves,
            recommended,
            marks,
            sheet,
        }
    }

    fn path(&self, points: &[Point]) -> Vec<Point> {
        points.iter().map(|(x, y)| self.sheet.at(*x, *y)).collect()
    }
}

fn points(curve: &Retention) -> Vec<Point> {
    let (low, high) = (SHOWN_KPA.0.log10(), SHOWN_KPA.1.log10());
    let evenly = (0..=SAMPLES).map(|i| low + (high - low) * i as f64 / SAMPLES as f64);
    // The corner at field capacity is a point of its own.
    let mut at: Vec<f64> = evenly.chain([FIELD_CAPACITY_KPA.log10()]).collect();
    at.sort_by(f64::total_cmp);
    at.into_iter()
        .filter_map(|x| Some((x, curve.theta_v(10_f64.powf(x))?)))
        .collect()
}

fn marks(found: &SoilEvidence) -> Vec<Mark> {
    let mut marks = vec![
        Mark {
            name: "field capacity",
            kpa: FIELD_CAPACITY_KPA,
            value: found.water.field_capacity,
        },
        Mark {
            name: "wilting point",
            kpa: WILTING_POINT_KPA,
            value: found.water.wilting_point,
        },
    ];
    if let Some(value) = found.saturation {
        marks.push(Mark {
            name: "saturation",
            kpa: SHOWN_KPA.0,
            value,
        });
    }
    marks
}

impl Chart for RetentionChart {
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
            pen.line(&self.path(&self.recommended), palette::BAND, 13.0)?;
            for (number, curve) in self.curves.iter().enumerate() {
                let Stroke { colour, dash } = Stroke::of(number);
                pen.dashes(&self.path(curve), dash, colour, 3.0)?;
            }
            for mark in &self.marks {
                let theta_v = mark.value.value.value();
                let centre = self.sheet.at(mark.kpa.log10(), theta_v);
                let upper = self.sheet.at(mark.kpa.log10(), theta_v + mark.value.u);
                draw_core(pen, centre, 0.0, centre.1 - upper.1)?;
            }
            let baseline = self.sheet.plot.top + 8.0 + 0.8 * BODY;
            let letters = Letters::body(palette::LEVEL);
            for (name, kpa, side, anchor) in [
                ("field capacity", FIELD_CAPACITY_KPA, 1.0, HPos::Left),
                ("wilting point", WILTING_POINT_KPA, -1.0, HPos::Right),
            ] {
                let x = self.sheet.at(kpa.log10(), 0.0).0 + 7.0 * side;
                let end = x + side * fonts::width(name, BODY, Weight::Regular);
                // No line of the grid runs through the name.
                let corners = [(x, baseline - BODY), (end, baseline + 0.3 * BODY)];
                pen.rectangle(corners[0], corners[1], palette::DOMAIN)?;
                pen.text(name, (x, baseline), letters.anchored(anchor))?;
            }
            Ok(())
        })
    }
}
