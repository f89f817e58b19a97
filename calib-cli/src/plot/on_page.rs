//! A chart as it stands in a page: its named points can be pointed at and reached by
//! keyboard, and a screen reader meets those instead of ticks and lines.

use super::pen::WIDTH;
use super::sheet::CORE_RADIUS;
use super::{Chart, NamedPoint, PlotError, SVG_SCALE, drawing, escaped};
use std::fmt::Write;

/// How far around a point it can be pointed at, logical pixels.
const REACH: f64 = 2.0 * CORE_RADIUS;

/// A chart for a page.
#[derive(Debug, Clone, PartialEq)]
pub struct OnPage {
    /// The drawing, to stand in HTML.
    pub svg: String,
    /// What it shows, for a person who cannot see it; to stand beside the drawing.
    pub description: String,
}

/// The chart as part of a page. A named point is an element of class `point` with a
/// `<title>`, its name in `data-name`; it takes focus, though it is no stop of its own
/// on the way of the tabulator key. Nothing in it has an identifier, so that a page can
/// hold any number of charts.
///
/// # Errors
/// [`PlotError::Drawing`] if the drawing library fails.
pub fn on_page(chart: &impl Chart) -> Result<OnPage, PlotError> {
    // What the drawing says of itself is said by the page, which has its letters too.
    let (_, body) = drawing(chart)?;
    let body = body.trim_end().trim_end_matches("</svg>");
    let title = escaped(chart.title());
    let points = chart.points();
    let scaled = |length: f64| length * f64::from(SVG_SCALE);
    // Writing to a String cannot fail.
    let mut svg = String::new();
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart\" \
         viewBox=\"0 0 {} {}\" role=\"{}\" aria-label=\"{title}\">\n<g aria-hidden=\"true\">{body}</g>\n",
        scaled(WIDTH),
        scaled(chart.height()),
        if points.is_empty() { "img" } else { "group" },
    );
    for NamedPoint { at, name, words } in points {
        let (name, words) = (escaped(&name), escaped(&words));
        let _ = writeln!(
            svg,
            "<circle class=\"point\" cx=\"{:.0}\" cy=\"{:.0}\" r=\"{}\" fill=\"transparent\" \
             role=\"img\" tabindex=\"-1\" data-name=\"{name}\" aria-label=\"{words}\">\
             <title>{words}</title></circle>",
            scaled(at.0),
            scaled(at.1),
            scaled(REACH),
        );
    }
    svg.push_str("</svg>");
    Ok(OnPage {
        svg,
        description: chart.description(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::{CalibrationChart, ResidualChart, example};

    #[test]
    fn every_core_can_be_pointed_at_by_its_name_and_nothing_has_an_identifier() {
        let (calibration, observations) = example::falling();
        let curve = CalibrationChart::new(&calibration, &observations, &[]).unwrap();
        let residuals = ResidualChart::new(&calibration, &observations, &[]).unwrap();
        for drawn in [on_page(&curve).unwrap(), on_page(&residuals).unwrap()] {
            let document = roxmltree::Document::parse(&drawn.svg).unwrap();
            let points: Vec<_> = document
                .descendants()
                .filter(|node| node.attribute("class") == Some("point"))
                .collect();
            assert_eq!(points.len(), observations.len());
            for seen in &observations {
                let point = points
                    .iter()
                    .find(|point| point.attribute("data-name") == Some(&seen.sample))
                    .unwrap();
                let words = point.attribute("aria-label").unwrap();
                assert!(
                    words.starts_with(&format!("Core {}: ", seen.sample)),
                    "{words}"
                );
                assert_eq!(point.first_element_child().unwrap().text(), Some(words));
                assert_eq!(point.attribute("tabindex"), Some("-1"));
            }
            let named = document.descendants().any(|node| node.has_attribute("id"));
            assert!(!named, "a page may hold this chart twice");
            assert!(!drawn.svg.contains("<desc>"));
            assert!(!drawn.svg.contains("@font-face"), "the page has it once");
            assert!(drawn.description.len() > 40);
        }
    }

    #[test]
    fn a_point_lies_where_its_core_is_drawn() {
        let (calibration, observations) = example::falling();
        let chart = CalibrationChart::new(&calibration, &observations, &[]).unwrap();
        let plot = chart.plot();
        let points = chart.points();
        // The wettest core has the lowest count of a probe whose counts fall.
        let wettest = points
            .iter()
            .min_by(|a, b| a.at.1.total_cmp(&b.at.1))
            .unwrap();
        let leftmost = points
            .iter()
            .map(|point| point.at.0)
            .fold(f64::INFINITY, f64::min);
        assert!(wettest.at.0 - leftmost < 0.1 * (plot.right - plot.left));
        for NamedPoint { at, .. } in &points {
            assert!(plot.left <= at.0 && at.0 <= plot.right, "{at:?}");
            assert!(plot.top <= at.1 && at.1 <= plot.bottom, "{at:?}");
        }
    }
}
