//! A chart as it stands in a page: its named points can be pointed at and reached by
//! keyboard, and a screen reader meets those instead of ticks and lines.

use super::pen::WIDTH;
use super::sheet::CORE_RADIUS;
use super::{Chart, NamedPoint, PlotError, SVG_SCALE, escaped, svg};
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
    let drawn = svg(chart)?;
    // What the drawing says of itself is said by the page.
    let body = drawn.split_once("</desc>").map_or("", |(_, body)| body);
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
