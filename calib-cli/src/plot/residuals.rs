//! What the curve leaves over: each core's distance from it against the count,
//! those farthest out named.

use super::axis::Axis;
use super::calibration::{CorePoint, count_axis, count_caption, title};
use super::names::{self, Named, Placed};
use super::pen::{Drawn, Letters, Pen, Point};
use super::place::Space;
use super::sheet::{CORE_RADIUS, Outline, Sheet, Swatch, draw_core};
use super::{Chart, NamedPoint, palette};
use calib_core::calibration::{COVERAGE, Calibration, ConvertError};
use calib_core::fit::Observation;
use calib_core::uncertainty::coverage_factor;
use plotters::prelude::DrawingBackend;

/// How many cores are named.
const NAMED: usize = 3;

/// The chart of the residuals of one calibration.
pub struct ResidualChart {
    title: String,
    description: String,
    /// Farthest out first; `theta_v` holds the residual.
    points: Vec<CorePoint>,
    /// Expanded core-to-core scatter, m3/m3.
    scatter: f64,
    sheet: Sheet,
}

impl ResidualChart {
    /// The residuals of `observations` about the curve of `calibration`, those farthest
    /// out by `deviations` named: each core's residual in standard deviations, as the
    /// warnings have it. Among cores without one the larger residual goes first.
    ///
    /// # Errors
    /// [`ConvertError::TemperatureMissing`] if the calibration has a temperature
    /// term and an observation no temperature.
    pub fn new(
        calibration: &Calibration,
        observations: &[Observation],
        deviations: &[f64],
    ) -> Result<Self, ConvertError> {
        let out = deviations.iter().map(|deviation| deviation.abs());
        let mut points = observations
            .iter()
            .zip(out.chain(std::iter::repeat(0.0)))
            .map(|(seen, out)| {
                let core = CorePoint::new(calibration, seen)?;
                let slope = calibration.curve.slope(core.count);
                let point = CorePoint {
                    theta_v: core.theta_v - calibration.curve.value(core.count),
                    theta_v_bar: core.theta_v_bar.hypot(slope * core.count_bar),
                    ..core
                };
                Ok((out, point))
            })
            .collect::<Result<Vec<_>, ConvertError>>()?;
        points.sort_by(|(out, a), (other, b)| {
            let larger = b.theta_v.abs().total_cmp(&a.theta_v.abs());
            other.total_cmp(out).then(larger)
        });
        let points: Vec<CorePoint> = points.into_iter().map(|(_, point)| point).collect();
        let scatter = calibration.core_scatter
            * coverage_factor(COVERAGE, Some(calibration.degrees_of_freedom));

        let reach = points
            .iter()
            .map(|p| p.theta_v.abs() + p.theta_v_bar)
            .fold(scatter, f64::max);
        let title = title(calibration);
        let percent = 100.0 * COVERAGE;
        let core = format!("core, {percent:.0} % bar");
        let spread = format!("{percent:.0} % of core-to-core scatter");
        let mut legend = vec![
            (Swatch::UprightCore, core.as_str()),
            (Swatch::Domain, "calibrated counts"),
        ];
        if scatter > 0.0 {
            legend.push((Swatch::Dashed, spread.as_str()));
        }
        let sheet = Sheet::new(Outline {
            title: &format!("{title}: residuals"),
            subtitle: "How far each core lies above or below the curve",
            x_caption: &count_caption(calibration),
            y_caption: "Core minus curve, m\u{b3}/m\u{b3}",
            x: count_axis(calibration.domain, &points),
            y: Axis::covering(-1.15 * reach, 1.15 * reach, 0.002, 7),
            domain: calibration.domain,
            right: 6.0,
            legend: &legend,
            note: "",
        });
        Ok(Self {
            description: describe(&title, &points, scatter),
            title: format!("{title}: residuals"),
            points,
            scatter,
            sheet,
        })
    }

    fn centre(&self, point: &CorePoint) -> Point {
        self.sheet.at(point.count, point.theta_v)
    }

    /// Heights of the two lines that hold the scatter, if there is any.
    fn scatter_lines(&self) -> impl Iterator<Item = f64> {
        [self.scatter, -self.scatter]
            .into_iter()
            .filter(|bound| *bound != 0.0)
            .map(|bound| self.sheet.at(0.0, bound).1)
    }

    /// The space a core takes with its bar.
    fn mark(&self, point: &CorePoint) -> Space {
        let (x, y) = self.centre(point);
        let (_, end) = self
            .sheet
            .at(point.count, point.theta_v + point.theta_v_bar);
        let half = (y - end).max(CORE_RADIUS);
        Space {
            left: x - CORE_RADIUS,
            top: y - half,
            right: x + CORE_RADIUS,
            bottom: y + half,
        }
    }

    /// The cores farthest out named beside their points.
    fn names(&self) -> Vec<Placed<'_>> {
        let (_, zero) = self.sheet.at(0.0, 0.0);
        let line = |y| Space {
            top: y - 2.0,
            bottom: y + 2.0,
            ..self.sheet.plot
        };
        let marks: Vec<Named<'_>> = self
            .points
            .iter()
            .map(|point| Named {
                name: &point.sample,
                mark: self.mark(point),
            })
            .collect();
        let lines = self.scatter_lines().chain([zero]).map(line).collect();
        names::placed(&marks, NAMED, lines, &self.sheet.plot)
    }
}

fn describe(title: &str, points: &[CorePoint], scatter: f64) -> String {
    let largest: Vec<_> = points
        .iter()
        .take(NAMED)
        .map(|p| format!("{} {:+.3}", p.sample, p.theta_v))
        .collect();
    format!(
        "{title}: distance of {} cores from the curve in m3/m3, against raw count. Farthest out: {}. \
         {:.0} % of core-to-core scatter lies within +-{scatter:.3}.",
        points.len(),
        largest.join(", "),
        100.0 * COVERAGE,
    )
}

impl Chart for ResidualChart {
    fn title(&self) -> &str {
        &self.title
    }

    fn points(&self) -> Vec<NamedPoint> {
        let named = |point: &CorePoint| NamedPoint {
            at: self.centre(point),
            name: point.sample.clone(),
            words: format!(
                "Core {}: {:.3} m\u{b3}/m\u{b3} {} than the curve says",
                point.sample,
                point.theta_v.abs(),
                if point.theta_v < 0.0 {
                    "drier"
                } else {
                    "wetter"
                }
            ),
        };
        self.points.iter().map(named).collect()
    }

    fn description(&self) -> String {
        self.description.clone()
    }

    fn height(&self) -> f64 {
        self.sheet.height
    }

    fn draw<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        self.sheet.draw(pen, |pen| {
            let (left, right) = (self.sheet.plot.left, self.sheet.plot.right);
            for y in self.scatter_lines() {
                pen.dashed((left, y), right, &[12.0, 6.0], palette::LEVEL, 2.5)?;
            }
            let (_, zero) = self.sheet.at(0.0, 0.0);
            pen.line(&[(left, zero), (right, zero)], palette::CURVE, 3.5)?;
            for point in &self.points {
                let corner = self
                    .sheet
                    .at(point.count, point.theta_v + point.theta_v_bar);
                let centre = self.centre(point);
                draw_core(pen, centre, 0.0, centre.1 - corner.1)?;
            }
            for (name, at, anchor) in self.names() {
                pen.text(name, at, Letters::body(palette::INK).anchored(anchor))?;
            }
            Ok(())
        })
    }
}
