//! Spot checks over time: how far each lies from the calibration, what is allowed, and
//! where the checks put the offset.

use super::axis::Axis;
use super::fonts::{self, Weight};
use super::pen::{BODY, Drawn, Letters, Pen, Point};
use super::sheet::{LABEL_INDENT, Outline, RING, Sheet, Swatch, draw_core};
use super::{Chart, Level, palette};
use calib_core::calibration::{COVERAGE, Domain};
use plotters::prelude::DrawingBackend;
use plotters::style::text_anchor::HPos;

/// From the plot's edge to an alarm's name, and from there to its line, logical pixels.
const GAP: f64 = 6.0;
/// What the check that raised the alarm is called.
const NAME: &str = "alarm";

/// One check.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlPoint {
    /// Days since the calibration.
    pub day: f64,
    /// Probe less oven, m3/m3: above zero the probe reads too wet.
    pub probe_less_oven: f64,
    /// Half the width of the range in which 95 of 100 differences lie while the
    /// calibration holds, m3/m3.
    pub bar: f64,
}

/// The offset on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlOffset {
    /// Days since the calibration.
    pub day: f64,
    /// Best estimate, m3/m3.
    pub value: f64,
    /// Lower and upper end of its interval.
    pub ends: (f64, f64),
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ControlRecord {
    /// The probe's identifier.
    pub probe: String,
    /// The soil's identifier.
    pub soil: String,
    /// What the checks say, in a sentence.
    pub says: String,
    /// The checks, in order of time.
    pub points: Vec<ControlPoint>,
    /// The check that raised the alarm, counted from 0.
    pub alarm: Option<usize>,
    /// The offset from the calibration on, in order of time.
    pub offsets: Vec<ControlOffset>,
    /// Largest error allowed, m3/m3.
    pub allow: f64,
    /// Days since the calibration that are named, with their dates.
    pub dates: Vec<(f64, String)>,
}

/// The control chart of one calibration.
pub struct ControlChart {
    title: String,
    description: String,
    record: ControlRecord,
    sheet: Sheet,
}

impl ControlChart {
    /// The chart of `record`.
    pub fn new(record: ControlRecord) -> Self {
        let title = format!("Probe {} in {}: spot checks", record.probe, record.soil);
        let reach = record
            .points
            .iter()
            .map(|point| point.probe_less_oven.abs() + point.bar)
            .chain(
                record
                    .offsets
                    .iter()
                    .map(|offset| offset.ends.0.abs().max(offset.ends.1.abs())),
            )
            .fold(record.allow, f64::max);
        let last = record
            .points
            .iter()
            .map(|point| point.day)
            .chain(record.dates.iter().map(|(day, _)| *day))
            .fold(1.0, f64::max);
        let percent = 100.0 * COVERAGE;
        let core = format!("check, {percent:.0} % bar");
        let offset = format!("offset in the middle of the range, {percent:.0} %");
        let mut legend = vec![
            (Swatch::UprightCore, core.as_str()),
            (Swatch::CurveInBand, offset.as_str()),
        ];
        if record.alarm.is_some() {
            legend.push((Swatch::Ringed, NAME));
        }
        let widest = fonts::room("allowed", BODY, Weight::Regular);
        let x = Axis::named(-0.02 * last, 1.03 * last, &record.dates);
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: &record.says,
            x_caption: "Date of the check",
            y_caption: "Probe less oven, m\u{b3}/m\u{b3} (above zero: the probe reads too wet)",
            domain: Domain {
                low: x.low,
                high: x.low,
            },
            x,
            y: Axis::covering(-1.1 * reach, 1.1 * reach, 0.01, 7),
            right: LABEL_INDENT + widest,
            legend: &legend,
            note: "",
        });
        let alarm = match record.alarm {
            Some(check) => format!("Check {} raised the alarm.", check + 1),
            None => "No alarm was raised.".to_owned(),
        };
        Self {
            description: format!(
                "{title}. {} Probe less oven in m3/m3 of {} checks over time; an error of {} is allowed. {alarm}",
                record.says,
                record.points.len(),
                record.allow
            ),
            title,
            record,
            sheet,
        }
    }

    fn centre(&self, point: &ControlPoint) -> Point {
        self.sheet.at(point.day, point.probe_less_oven)
    }

    fn band(&self) -> Vec<Point> {
        let offsets = &self.record.offsets;
        let upper = offsets.iter().map(|o| self.sheet.at(o.day, o.ends.1));
        let lower = offsets.iter().rev().map(|o| self.sheet.at(o.day, o.ends.0));
        upper.chain(lower).collect()
    }

    /// A line from the alarm's ring to its name, which stands at the edge of the plot that
    /// its check is farther from.
    fn draw_alarm<B: DrawingBackend>(&self, pen: &Pen<'_, B>, point: &ControlPoint) -> Drawn<B> {
        let (x, y) = self.centre(point);
        let plot = self.sheet.plot;
        let (from, to, baseline) = if point.probe_less_oven > 0.0 {
            let baseline = plot.bottom - GAP;
            (y + RING, baseline - BODY, baseline)
        } else {
            let baseline = plot.top + BODY;
            (y - RING, baseline + GAP, baseline)
        };
        pen.line(&[(x, from), (x, to)], palette::LEVEL, 2.0)?;
        let half = 0.5 * fonts::room(NAME, BODY, Weight::Regular);
        let middle = x.clamp(plot.left + half, plot.right - half);
        let letters = Letters::body(palette::LEVEL).anchored(HPos::Center);
        pen.text(NAME, (middle, baseline), letters)?;
        pen.ring((x, y), RING, palette::LEVEL, 3.0)
    }
}

impl Chart for ControlChart {
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
        let record = &self.record;
        self.sheet.draw(pen, |pen| {
            let (left, right) = (self.sheet.plot.left, self.sheet.plot.right);
            if record.offsets.len() > 1 {
                pen.area(&self.band(), palette::BAND)?;
                let middle: Vec<Point> = record
                    .offsets
                    .iter()
                    .map(|offset| self.sheet.at(offset.day, offset.value))
                    .collect();
                pen.line(&middle, palette::CURVE, 3.5)?;
            }
            let (_, zero) = self.sheet.at(0.0, 0.0);
            pen.line(&[(left, zero), (right, zero)], palette::EDGE, 2.0)?;
            let allowed = [record.allow, -record.allow].map(|theta_v| Level {
                name: "allowed".to_owned(),
                theta_v,
            });
            self.sheet.draw_levels(pen, &allowed)?;
            for point in &record.points {
                let centre = self.centre(point);
                let (_, end) = self.sheet.at(point.day, point.probe_less_oven + point.bar);
                draw_core(pen, centre, 0.0, centre.1 - end)?;
            }
            match record.alarm.and_then(|i| record.points.get(i)) {
                Some(point) => self.draw_alarm(pen, point),
                None => Ok(()),
            }
        })
    }
}
