//! How far each probe lies from the shared curve, from dry to wet.

use super::{Shown, named_of, short};
use crate::plot::axis::Axis;
use crate::plot::fonts::{self, Weight};
use crate::plot::pen::{BODY, Drawn, Letters, Pen, Point};
use crate::plot::sheet::{LABEL_GAP, LABEL_INDENT, Outline, Sheet, Swatch};
use crate::plot::{Chart, palette, place};
use calib_core::calibration::Domain;
use plotters::prelude::DrawingBackend;

/// At most this many are drawn; of more, so many evenly from driest to wettest.
const MOST_DRAWN: usize = 120;
/// More than this are drawn thinner.
const MANY: usize = 60;

/// One probe's course.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeLine {
    /// Its identifier.
    pub name: String,
    /// How much wetter it reads at each theta_v of the chart, m3/m3.
    pub deviations: Vec<f64>,
    /// Whether it was found to stand out from the others.
    pub stands_out: bool,
}

/// The chart.
pub struct DeviationLinesChart {
    title: String,
    description: String,
    theta_v: Vec<f64>,
    /// Those drawn.
    lines: Vec<ProbeLine>,
    /// Between which 95 % of further probes lie, at each theta_v.
    tolerance: Vec<(f64, f64)>,
    sheet: Sheet,
}

impl DeviationLinesChart {
    /// The chart of `lines` over `theta_v`; `tolerance` is shaded, and may be empty.
    pub fn new(
        shown: &Shown,
        theta_v: &[f64],
        lines: &[ProbeLine],
        tolerance: &[(f64, f64)],
    ) -> Self {
        let of = lines.len();
        let title = format!("Soil {}: {of} probes from dry to wet", shown.soil);
        let mut drawn = lines.to_vec();
        drawn.sort_by(|a, b| end(a).total_cmp(&end(b)));
        let every = of.div_ceil(MOST_DRAWN).max(1);
        if every > 1 {
            let mut index = 0;
            drawn.retain(|line| {
                index += 1;
                index == 1 || index == of || index % every == 0 || line.stands_out
            });
        }
        let ends = drawn
            .iter()
            .flat_map(|line| line.deviations.iter().copied())
            .chain(tolerance.iter().flat_map(|(low, high)| [*low, *high]))
            .filter(|value| value.is_finite());
        let (low, high) = ends.fold((0.0_f64, 0.0_f64), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        let room = 0.05 * (high - low);
        let (first, last) = (
            theta_v.first().copied().unwrap_or(0.0),
            theta_v.last().copied().unwrap_or(0.5),
        );
        let widest = named(&drawn)
            .into_iter()
            .map(|i| fonts::room(&short(&drawn[i].name), BODY, Weight::Regular))
            .fold(0.0, f64::max);
        let mut legend = vec![(Swatch::ThinLine, "probe")];
        if drawn.iter().any(|line| line.stands_out) {
            legend.push((Swatch::StandsOutLine, "stands out"));
        }
        if !tolerance.is_empty() {
            legend.push((Swatch::Band, "95 % of further probes"));
        }
        let note = if every > 1 {
            format!(
                "{} of {of} probes are drawn, evenly from driest to wettest, with all that stand out",
                drawn.len()
            )
        } else {
            String::new()
        };
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: &format!(
                "How much wetter or drier each reads by the shared {}",
                shown.curve
            ),
            x_caption: "Volumetric water content of the core, m\u{b3}/m\u{b3}",
            y_caption: "Reads wetter (+) or drier (\u{2212}), m\u{b3}/m\u{b3}",
            x: Axis::covering(first, last, 0.02, 6),
            y: Axis::covering(low - room, high + room, 0.004, 7),
            domain: Domain {
                low: first,
                high: first,
            },
            right: LABEL_INDENT + widest,
            legend: &legend,
            note: &note,
        });
        let mut description = format!(
            "{title}. How much wetter or drier each reads by the shared {} from {first:.3} to \
             {last:.3} m3/m3.",
            shown.curve
        );
        if let (Some(dry), Some(wet)) = (tolerance.first(), tolerance.last()) {
            description += &format!(
                " 95 % of further probes lie within {:+.3} and {:+.3} at the dry end, {:+.3} and \
                 {:+.3} at the wet end.",
                dry.0, dry.1, wet.0, wet.1
            );
        }
        Self {
            title,
            description,
            theta_v: theta_v.to_vec(),
            lines: drawn,
            tolerance: tolerance.to_vec(),
            sheet,
        }
    }

    fn path(&self, deviations: impl Iterator<Item = f64>) -> Vec<Point> {
        self.theta_v
            .iter()
            .zip(deviations)
            .map(|(theta, deviation)| self.sheet.at(*theta, deviation))
            .collect()
    }
}

fn end(line: &ProbeLine) -> f64 {
    line.deviations.last().copied().unwrap_or(0.0)
}

fn named(lines: &[ProbeLine]) -> Vec<usize> {
    let values: Vec<(f64, bool)> = lines
        .iter()
        .map(|line| (end(line), line.stands_out))
        .collect();
    named_of(&values)
}

impl Chart for DeviationLinesChart {
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
            let plot = self.sheet.plot;
            if self.tolerance.len() > 1 {
                let mut outline = self.path(self.tolerance.iter().map(|(_, high)| *high));
                let lower = self.path(self.tolerance.iter().map(|(low, _)| *low));
                outline.extend(lower.into_iter().rev());
                pen.area(&outline, palette::BAND)?;
            }
            for standing_out in [false, true] {
                let (colour, width) = if standing_out {
                    (palette::LEVEL, 3.0)
                } else if self.lines.len() > MANY {
                    (palette::CORE, 0.8)
                } else {
                    (palette::CORE, 1.6)
                };
                let kind = |line: &&ProbeLine| line.stands_out == standing_out;
                for line in self.lines.iter().filter(kind) {
                    pen.line(&self.path(line.deviations.iter().copied()), colour, width)?;
                }
            }
            let (_, zero) = self.sheet.at(0.0, 0.0);
            pen.line(
                &[(plot.left, zero), (plot.right, zero)],
                palette::CURVE,
                3.5,
            )?;
            let named = named(&self.lines);
            let heights: Vec<f64> = named
                .iter()
                .map(|i| self.sheet.at(0.0, end(&self.lines[*i])).1)
                .collect();
            let labels = place::spread(&heights, LABEL_GAP, plot.top, plot.bottom);
            for ((index, height), label) in named.iter().zip(heights).zip(labels) {
                let elbow = [
                    (plot.right, height),
                    (plot.right + 8.0, height),
                    (plot.right + 20.0, label),
                ];
                pen.line(&elbow, palette::EDGE, 2.0)?;
                pen.text(
                    &short(&self.lines[*index].name),
                    (plot.right + LABEL_INDENT, label + 0.34 * BODY),
                    Letters::body(palette::INK),
                )?;
            }
            Ok(())
        })
    }
}
