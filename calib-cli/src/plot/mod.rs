//! Charts, as SVG and PNG from one drawing.
//!
//! A chart draws itself with a [`Pen`] in logical pixels; [`svg`] and [`png()`]
//! give it a backend. Colours are in `palette`, the font in `fonts`, what all
//! charts share in `sheet`. To look at the pictures the tests make, set
//! `OVENDRY_PLOT_DIR` to a folder and run `cargo test -p calib-cli plot`.

mod agreement;
mod axis;
mod batch;
mod calibration;
mod control;
mod cores_and_uncertainty;
mod fonts;
mod names;
mod on_page;
pub mod palette;
mod pen;
mod place;
mod reserve;
mod residuals;
mod retention;
mod season;
mod sheet;
mod texture;

#[cfg(test)]
pub(crate) mod example;
#[cfg(test)]
mod tests;

pub use agreement::{Against, AgreementChart, OneToOneChart};
pub use batch::{DeviationChart, DeviationLinesChart, ProbeLine, ProbePoint, Shown};
pub use calibration::{CalibrationChart, Level};
pub use control::{ControlChart, ControlOffset, ControlPoint, ControlRecord};
pub use cores_and_uncertainty::CoresAndUncertaintyChart;
pub use fonts::WEB_FONT;
pub use on_page::{OnPage, on_page};
pub use reserve::ReserveChart;
pub use residuals::ResidualChart;
pub use retention::RetentionChart;
pub use season::{Course, SeasonChart, ShownDays};
pub use texture::{TextureChart, TexturePoint};

use crate::failure::Failure;
use fonts::LINE_PER_EM;
use pen::{Drawn, Lettering, Pen, WIDTH};
use plotters::prelude::{BitMapBackend, DrawingBackend, IntoDrawingArea, SVGBackend};
use std::fmt::Display;

/// A point of a chart with what it stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedPoint {
    /// Where it lies, logical pixels from the top left.
    pub at: pen::Point,
    /// What it is called: the same name in every chart that shows it.
    pub name: String,
    /// What it shows, in a sentence.
    pub words: String,
}

/// A picture that can be drawn on any backend.
pub trait Chart {
    /// What it is, in a few words.
    fn title(&self) -> &str;

    /// What it shows, in sentences, for a person who cannot see it.
    fn description(&self) -> String;

    /// Height in logical pixels, where the width is [`WIDTH`].
    fn height(&self) -> f64;

    /// Its points that stand for something a person may ask about, each named; none
    /// unless the chart says so. On a page they can be pointed at.
    fn points(&self) -> Vec<NamedPoint> {
        Vec::new()
    }

    /// Draws it.
    fn draw<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B>;
}

/// Why a chart could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum PlotError {
    /// The drawing library failed.
    #[error("cannot draw \"{chart}\": {why}")]
    Drawing {
        /// The chart's title.
        chart: String,
        /// What the library said.
        why: String,
    },
    /// The pixels could not be compressed.
    #[error("cannot write \"{chart}\" as PNG: {source}")]
    Encoding {
        /// The chart's title.
        chart: String,
        /// What the encoder said.
        source: png::EncodingError,
    },
}

impl From<PlotError> for Failure {
    fn from(error: PlotError) -> Self {
        Failure::Internal(error.to_string())
    }
}

/// Units of the SVG's view box per logical pixel: its coordinates are whole
/// numbers, so this is how finely they are rounded.
const SVG_SCALE: u32 = 10;
/// The PNG is drawn at this many pixels per logical pixel ...
const PNG_SCALE: u32 = 3;
/// ... and then averaged over blocks this wide and high: the rasteriser works in
/// whole pixels, which leaves curves and the spacing of letters uneven.
const PNG_BLOCK: u32 = 2;

/// What sets the words of an SVG file in the font it carries.
const LETTERS: &str = "text{font-family:\"Ovendry Roboto\",Roboto,Helvetica,Arial,sans-serif}";

/// The chart as an SVG document of its own, with the letters of its font in it, so that
/// it looks the same on a machine that lacks them.
///
/// # Errors
/// [`PlotError::Drawing`] if the drawing library fails.
pub fn svg(chart: &impl Chart) -> Result<String, PlotError> {
    let (opening, body) = drawing(chart)?;
    Ok(format!(
        "{opening}<style>{}{LETTERS}</style>{body}",
        WEB_FONT.trim_end()
    ))
}

/// The chart as SVG without the letters: what says what it is, and the drawing up to and
/// with the closing tag.
fn drawing(chart: &impl Chart) -> Result<(String, String), PlotError> {
    let size = size(chart, SVG_SCALE);
    let mut text = String::new();
    let lettering = Lettering {
        // As plotters' SVG backend converts a size, and drops a text by 0.76 em.
        size_per_em: 1.24,
        baseline_per_em: 0.76,
    };
    draw(
        chart,
        SVGBackend::with_string(&mut text, size),
        SVG_SCALE,
        lettering,
    )?;
    let body = text.split_once('>').map_or("", |(_, rest)| rest);
    Ok((opening(chart, size), body.to_owned()))
}

/// The chart as the bytes of a PNG file.
///
/// # Errors
/// [`PlotError`] if drawing or compressing fails.
pub fn png(chart: &impl Chart) -> Result<Vec<u8>, PlotError> {
    let (width, height) = size(chart, PNG_SCALE);
    let mut fine = vec![255_u8; 3 * width as usize * height as usize];
    let lettering = Lettering {
        // The rasteriser's baseline lies half a size below the point asked for.
        size_per_em: LINE_PER_EM,
        baseline_per_em: LINE_PER_EM / 2.0,
    };
    draw(
        chart,
        BitMapBackend::with_buffer(&mut fine, (width, height)),
        PNG_SCALE,
        lettering,
    )?;
    let pixels = averaged(&fine, width as usize);
    encode(&pixels, width / PNG_BLOCK, height / PNG_BLOCK).map_err(|source| PlotError::Encoding {
        chart: chart.title().to_owned(),
        source,
    })
}

/// Averages blocks of [`PNG_BLOCK`] by [`PNG_BLOCK`] RGB pixels of a picture
/// `width` wide.
fn averaged(fine: &[u8], width: usize) -> Vec<u8> {
    let block = PNG_BLOCK as usize;
    let weight = (block * block) as u16;
    let mut pixels = Vec::with_capacity(fine.len() / (block * block));
    let mut sums = vec![0_u16; 3 * width / block];
    for rows in fine.chunks_exact(3 * width * block) {
        sums.fill(weight / 2);
        for row in rows.chunks_exact(3 * width) {
            for (sum, group) in sums.chunks_exact_mut(3).zip(row.chunks_exact(3 * block)) {
                for pixel in group.chunks_exact(3) {
                    for (channel, value) in sum.iter_mut().zip(pixel) {
                        *channel += u16::from(*value);
                    }
                }
            }
        }
        pixels.extend(sums.iter().map(|sum| (sum / weight) as u8));
    }
    pixels
}

fn encode(pixels: &[u8], width: u32, height: u32) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::FilterType::Paeth);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(pixels)?;
    writer.finish()?;
    Ok(bytes)
}

fn size(chart: &impl Chart, scale: u32) -> (u32, u32) {
    let pixels = |logical: f64| (logical * f64::from(scale)).round() as u32;
    (pixels(WIDTH), pixels(chart.height()))
}

fn draw<B: DrawingBackend>(
    chart: &impl Chart,
    backend: B,
    scale: u32,
    lettering: Lettering,
) -> Result<(), PlotError> {
    let failed = |why: &dyn Display| PlotError::Drawing {
        chart: chart.title().to_owned(),
        why: why.to_string(),
    };
    let area = backend.into_drawing_area();
    let pen = Pen {
        area: &area,
        scale: f64::from(scale),
        lettering,
    };
    chart.draw(&pen).map_err(|e| failed(&e))?;
    area.present().map_err(|e| failed(&e))
}

/// The opening tag: shown [`WIDTH`] wide unless its surroundings say otherwise, never
/// wider than they are, and with words for a screen reader.
fn opening(chart: &impl Chart, (width, height): (u32, u32)) -> String {
    let title = escaped(chart.title());
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{}\" \
         viewBox=\"0 0 {width} {height}\" style=\"max-width:100%;height:auto\" role=\"img\" \
         aria-label=\"{title}\">\n<title>{title}</title>\n<desc>{}</desc>",
        chart.height(),
        escaped(&chart.description())
    )
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
