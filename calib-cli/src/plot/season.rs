//! A few simulated days under two rules: what the root zone holds, and when the pump
//! runs.

use super::axis::Axis;
use super::fonts::{self, Weight};
use super::pen::{BODY, Drawn, Letters, Pen, Point};
use super::sheet::{LABEL_INDENT, Outline, Sheet, Swatch};
use super::{Chart, Level, palette};
use calib_core::calibration::Domain;
use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;
use plotters::style::text_anchor::HPos;

/// Share of the plot's height kept for the strips that show when the pump runs.
const STRIPS: f64 = 0.26;
/// Height of one strip, logical pixels.
const STRIP: f64 = 20.0;
/// A run is drawn at least this wide, logical pixels, or short ones would vanish.
const THINNEST_RUN: f64 = 1.0;

/// The course of one rule.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Course {
    /// Day and water content, m3/m3.
    pub theta_v: Vec<(f64, f64)>,
    /// Days at which the pump goes on and off again.
    pub runs: Vec<(f64, f64)>,
}

impl Course {
    /// The same course, so many days later.
    fn later_by(mut self, days: f64) -> Self {
        for (day, _) in &mut self.theta_v {
            *day += days;
        }
        for (on, off) in &mut self.runs {
            *on += days;
            *off += days;
        }
        self
    }
}

/// The days shown, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShownDays {
    /// The first.
    pub first: usize,
    /// The last.
    pub last: usize,
    /// What they are days of.
    pub of: &'static str,
}

/// What the chart shows.
pub struct SeasonChart {
    title: String,
    description: String,
    single: Course,
    band: Course,
    levels: Vec<Level>,
    sheet: Sheet,
}

impl SeasonChart {
    /// The chart of these `days` of `probe` in `soil`; a course begins with the first.
    pub fn new(
        probe: &str,
        soil: &str,
        days: ShownDays,
        single: Course,
        band: Course,
        levels: &[Level],
    ) -> Self {
        let title = format!("Probe {probe} in {soil}: a simulation");
        let heights = [&single, &band]
            .into_iter()
            .flat_map(|course| course.theta_v.iter().map(|(_, theta_v)| *theta_v))
            .chain(levels.iter().map(|level| level.theta_v));
        let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        let span = (high - low).max(0.01);
        let widest = levels
            .iter()
            .map(|level| fonts::room(&level.name, BODY, Weight::Regular))
            .fold(0.0, f64::max);
        let named: Vec<String> = levels
            .iter()
            .map(|level| format!("{} {:.3}", level.name, level.theta_v))
            .collect();
        let note = format!("Levels in m\u{b3}/m\u{b3}: {}", named.join(", "));
        let before = days.first.saturating_sub(1) as f64;
        let shift = |course: Course| course.later_by(before);
        let (single, band) = (shift(single), shift(band));
        let shown = format!("{} to {} of {}", days.first, days.last, days.of);
        let (chatter, seldom) = (single.runs.len(), band.runs.len());
        let x = Axis::covering(before, days.last as f64, 1.0, 8);
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: &format!(
                "Day {shown}. Pump starts: one threshold {chatter}, refill and stop {seldom}"
            ),
            x_caption: "Days gone",
            y_caption: "Water content of the root zone, m\u{b3}/m\u{b3}",
            domain: Domain {
                low: x.low,
                high: x.low,
            },
            x,
            y: Axis::covering(low - STRIPS * span, high + 0.05 * span, 0.02, 7),
            right: LABEL_INDENT + widest,
            legend: &[
                (Swatch::CoreLine, "one threshold"),
                (Swatch::CurveLine, "refill and stop"),
            ],
            note: &note,
        });
        let description = format!(
            "{title}. Water content of the root zone on day {shown}, under two rules. One \
             threshold starts the pump {chatter} times, refill and stop {seldom} times. {note}."
        );
        Self {
            title,
            description,
            single,
            band,
            levels: levels.to_vec(),
            sheet,
        }
    }

    fn line(&self, course: &Course) -> Vec<Point> {
        let points = course.theta_v.iter();
        points
            .map(|(day, theta)| self.sheet.at(*day, *theta))
            .collect()
    }

    /// One strip: a mark for each run.
    fn draw_strip<B: DrawingBackend>(
        &self,
        pen: &Pen<'_, B>,
        runs: &[(f64, f64)],
        top: f64,
        colour: RGBColor,
    ) -> Drawn<B> {
        let plot = self.sheet.plot;
        for (from, to) in runs {
            let (left, right) = (self.sheet.at(*from, 0.0).0, self.sheet.at(*to, 0.0).0);
            let right = right.max(left + THINNEST_RUN).min(plot.right);
            pen.rectangle((left, top), (right, top + STRIP), colour)?;
        }
        Ok(())
    }
}

impl Chart for SeasonChart {
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
            self.sheet.draw_levels(pen, &self.levels)?;
            pen.line(&self.line(&self.single), palette::CORE, 3.0)?;
            pen.line(&self.line(&self.band), palette::CURVE, 4.0)?;
            let plot = self.sheet.plot;
            let lower = plot.bottom - STRIP - 8.0;
            let upper = lower - STRIP - 8.0;
            // No grid behind what has no height.
            pen.rectangle(
                (plot.left, upper - 8.0),
                (plot.right, plot.bottom),
                palette::PAPER,
            )?;
            self.draw_strip(pen, &self.single.runs, upper, palette::CORE)?;
            self.draw_strip(pen, &self.band.runs, lower, palette::CURVE)?;
            let middle = (upper + lower + STRIP) / 2.0;
            pen.text(
                "pump on",
                (plot.right + LABEL_INDENT, middle + 0.34 * BODY),
                Letters::body(palette::MUTED).anchored(HPos::Left),
            )
        })
    }
}
