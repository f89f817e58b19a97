//! One calibration: cores with both error bars, the curve, its prediction band
//! and the calibrated counts; refill, stop and the soil's limits if asked for.

use super::axis::Axis;
use super::fonts::{self, Weight};
use super::palette;
use super::pen::{BODY, Drawn, Pen, Point};
#[cfg(test)]
use super::place;
use super::sheet::{LABEL_INDENT, Outline, Sheet, Swatch, draw_core};
use super::{Chart, NamedPoint};
use calib_core::calibration::{COVERAGE, Calibration, ConvertError, Domain};
use calib_core::fit::Observation;
use calib_core::quantity::Quantity;
use calib_core::uncertainty::coverage_factor;
use plotters::prelude::DrawingBackend;

/// Counts at which curve and band are evaluated.
const SAMPLES: usize = 33;

/// A core as a point: centre and half lengths of its 95 % bars.
#[derive(Debug, Clone, PartialEq)]
pub struct CorePoint {
    /// The core's identifier.
    pub sample: String,
    /// Count, at the reference temperature where there is a term.
    pub count: f64,
    /// Expanded uncertainty of the count.
    pub count_bar: f64,
    /// Reference theta_v, m3/m3.
    pub theta_v: f64,
    /// Expanded uncertainty of theta_v, m3/m3.
    pub theta_v_bar: f64,
}

impl CorePoint {
    /// The point an observation makes under a calibration. Bars are expanded
    /// with the normal distribution's factor; the bar of theta_v holds the ring
    /// volume, the bar of the count the thermometer.
    ///
    /// # Errors
    /// [`ConvertError::TemperatureMissing`] if the calibration has a temperature
    /// term and the observation no temperature.
    pub fn new(calibration: &Calibration, seen: &Observation) -> Result<Self, ConvertError> {
        let k = coverage_factor(COVERAGE, None);
        let theta_v = seen.theta_v.value.value();
        let per_degree = calibration.temperature.map_or(0.0, |term| term.coefficient);
        Ok(Self {
            sample: seen.sample.clone(),
            count: calibration.count_at_reference(seen.count.value, seen.temperature)?,
            count_bar: k * seen.count.u.hypot(per_degree * calibration.temperature_u),
            theta_v,
            theta_v_bar: k * seen.theta_v.u.hypot(seen.relative_volume_u * theta_v),
        })
    }
}

/// The curve at one count.
#[derive(Debug, Clone, Copy, PartialEq)]
struct CurvePoint {
    count: f64,
    theta_v: f64,
    /// Expanded uncertainty of one new reading.
    band: f64,
}

/// A water content that means something, drawn as a level line.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// Its name, e.g. `field capacity`.
    pub name: String,
    /// m3/m3.
    pub theta_v: f64,
}

/// The chart of one calibration.
pub struct CalibrationChart {
    title: String,
    description: String,
    points: Vec<CorePoint>,
    curve: Vec<CurvePoint>,
    levels: Vec<Level>,
    sheet: Sheet,
}

impl CalibrationChart {
    /// The chart of `calibration` with the cores it was fitted to; `levels` may
    /// be empty.
    ///
    /// # Errors
    /// [`ConvertError`] if a core lacks a temperature the calibration needs, or
    /// the curve gives an implausible water content.
    pub fn new(
        calibration: &Calibration,
        observations: &[Observation],
        levels: &[Level],
    ) -> Result<Self, ConvertError> {
        let points = observations
            .iter()
            .map(|seen| CorePoint::new(calibration, seen))
            .collect::<Result<Vec<_>, _>>()?;
        let curve = sample(calibration)?;
        let title = title(calibration);
        let sheet = sheet(calibration, &title, &points, &curve, levels);
        Ok(Self {
            description: describe(calibration, &points, &curve, levels),
            title,
            points,
            curve,
            levels: levels.to_vec(),
            sheet,
        })
    }

    /// Where the plot lies in the picture.
    #[cfg(test)]
    pub(super) fn plot(&self) -> place::Space {
        self.sheet.plot
    }
}

/// What a chart about `calibration` is called.
pub fn title(calibration: &Calibration) -> String {
    format!("Probe {} in {}", calibration.probe, calibration.soil)
}

/// The horizontal caption of a chart about `calibration`.
pub fn count_caption(calibration: &Calibration) -> String {
    match calibration.temperature {
        Some(term) => format!(
            "Raw count, brought to {:.0} \u{b0}C",
            term.reference.value()
        ),
        None => "Raw count".to_owned(),
    }
}

/// The horizontal axis: the domain with a little of what lies outside.
pub fn count_axis(domain: Domain, points: &[CorePoint]) -> Axis {
    let reach = |point: &CorePoint| (point.count - point.count_bar, point.count + point.count_bar);
    let (low, high) = points
        .iter()
        .map(reach)
        .fold((domain.low, domain.high), |(low, high), (from, to)| {
            (low.min(from), high.max(to))
        });
    let pad = 0.09 * (high - low);
    Axis::covering(low - pad, high + pad, 10.0, 6)
}

fn sample(calibration: &Calibration) -> Result<Vec<CurvePoint>, ConvertError> {
    let Domain { low, high } = calibration.domain;
    let reference = calibration.temperature.map(|term| term.reference);
    (0..SAMPLES)
        .map(|i| {
            let count = low + (high - low) * i as f64 / (SAMPLES - 1) as f64;
            let count = count.clamp(low, high);
            let prediction = calibration.predict(count, reference)?;
            Ok(CurvePoint {
                count,
                theta_v: prediction.theta_v.value(),
                band: prediction.expanded.expanded,
            })
        })
        .collect()
}

fn sheet(
    calibration: &Calibration,
    title: &str,
    points: &[CorePoint],
    curve: &[CurvePoint],
    levels: &[Level],
) -> Sheet {
    let heights = points
        .iter()
        .flat_map(|p| [p.theta_v - p.theta_v_bar, p.theta_v + p.theta_v_bar])
        .chain(
            curve
                .iter()
                .flat_map(|p| [p.theta_v - p.band, p.theta_v + p.band]),
        )
        .chain(levels.iter().map(|level| level.theta_v));
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let pad = 0.05 * (high - low);
    // Nothing holds less than no water, so an axis does not go below zero for
    // the sake of looks alone.
    let floor = if low >= 0.0 {
        (low - pad).max(0.0)
    } else {
        low - pad
    };
    let widest = levels
        .iter()
        .map(|level| fonts::room(&level.name, BODY, Weight::Regular))
        .fold(0.0, f64::max);
    let note = match levels {
        [] => String::new(),
        _ => format!("Levels in m\u{b3}/m\u{b3}: {}", level_list(levels)),
    };
    let percent = 100.0 * COVERAGE;
    Sheet::new(Outline {
        title,
        subtitle: &format!(
            "{} through {} cores",
            capitalised(&calibration.curve.kind.to_string()),
            points.len()
        ),
        x_caption: &count_caption(calibration),
        y_caption: "Volumetric water content, m\u{b3}/m\u{b3}",
        x: count_axis(calibration.domain, points),
        y: Axis::covering(floor, high + pad, 0.02, 7),
        domain: calibration.domain,
        right: if levels.is_empty() {
            6.0
        } else {
            LABEL_INDENT + widest
        },
        legend: &[
            (Swatch::Core, &format!("core, {percent:.0} % bars")),
            (Swatch::Domain, "calibrated counts"),
            (
                Swatch::CurveInBand,
                &format!("curve, {percent:.0} % band of one new reading"),
            ),
        ],
        note: &note,
    })
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

fn level_list(levels: &[Level]) -> String {
    let named: Vec<_> = levels
        .iter()
        .map(|level| format!("{} {:.3}", level.name, level.theta_v))
        .collect();
    named.join(", ")
}

fn describe(
    calibration: &Calibration,
    points: &[CorePoint],
    curve: &[CurvePoint],
    levels: &[Level],
) -> String {
    let mut text = format!(
        "Volumetric water content in m3/m3 against raw count for probe {} in {}: {} cores and \
         the fitted {}.",
        calibration.probe,
        calibration.soil,
        points.len(),
        calibration.curve.kind,
    );
    if let (Some(first), Some(last)) = (curve.first(), curve.last()) {
        text.push_str(&format!(
            " The curve runs from {:.3} at count {:.0} to {:.3} at count {:.0}; a new reading \
             is uncertain by {:.3} and {:.3} there, at {:.0} % coverage.",
            first.theta_v,
            first.count,
            last.theta_v,
            last.count,
            first.band,
            last.band,
            100.0 * COVERAGE,
        ));
    }
    if !levels.is_empty() {
        text.push_str(&format!(" Levels in m3/m3: {}.", level_list(levels)));
    }
    text
}

impl Chart for CalibrationChart {
    fn title(&self) -> &str {
        &self.title
    }

    fn points(&self) -> Vec<NamedPoint> {
        let named = |point: &CorePoint| NamedPoint {
            at: self.sheet.at(point.count, point.theta_v),
            name: point.sample.clone(),
            words: format!(
                "Core {}: {:.3} m\u{b3}/m\u{b3} by the oven, count {:.1}",
                point.sample, point.theta_v, point.count
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
            let edge =
                |sign: f64| move |p: &CurvePoint| self.sheet.at(p.count, p.theta_v + sign * p.band);
            let upper = self.curve.iter().map(edge(1.0));
            let lower = self.curve.iter().rev().map(edge(-1.0));
            let outline: Vec<Point> = upper.chain(lower).collect();
            pen.area(&outline, palette::BAND)?;
            self.sheet.draw_levels(pen, &self.levels)?;
            let line: Vec<Point> = self.curve.iter().map(edge(0.0)).collect();
            pen.line(&line, palette::CURVE, 4.0)?;
            for point in &self.points {
                let centre = self.sheet.at(point.count, point.theta_v);
                let corner = self.sheet.at(
                    point.count + point.count_bar,
                    point.theta_v + point.theta_v_bar,
                );
                draw_core(pen, centre, corner.0 - centre.0, centre.1 - corner.1)?;
            }
            Ok(())
        })
    }
}
