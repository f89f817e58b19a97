//! Readings held against cores: the difference against the mean of the two, with
//! limits of agreement, and the reading against the core with the line where both
//! say the same.

use super::axis::Axis;
use super::calibration::Level;
use super::fonts::{self, Weight};
use super::names::{self, Named, Placed};
use super::pen::{BODY, Drawn, Letters, Pen, Point};
use super::place::Space;
use super::sheet::{CORE_RADIUS, LABEL_INDENT, Outline, Sheet, Swatch, draw_core};
use super::{Chart, palette};
use calib_core::accuracy::{Interval, Limits, Sample};
use calib_core::calibration::Domain;
use calib_core::quantity::Quantity;
use plotters::prelude::DrawingBackend;

/// How many differences are named.
const NAMED: usize = 3;
/// More cores than this are drawn as small dots without bars or names.
const MANY: usize = 80;
/// Radius of a small dot.
const SMALL: f64 = 3.5;
/// Standard uncertainties that a bar reaches to either side, for some 95 %.
const BAR: f64 = 2.0;

/// What both charts show.
#[derive(Debug, Clone, Copy)]
pub struct Against<'a> {
    /// Whose readings, in a few words.
    pub of: &'a str,
    /// The readings beside their cores.
    pub samples: &'a [Sample],
    /// Limits of agreement, where there are any.
    pub limits: Option<&'a Limits>,
    /// Interval of the mean difference, where there is one.
    pub mean: Option<Interval>,
    /// The target, m3/m3.
    pub target: f64,
}

/// A reading beside its core, in the picture.
struct Mark {
    name: String,
    at: Point,
    half_width: f64,
    half_height: f64,
}

impl Mark {
    fn space(&self, radius: f64) -> Space {
        let (x, y) = self.at;
        let (across, up) = (self.half_width.max(radius), self.half_height.max(radius));
        Space {
            left: x - across,
            top: y - up,
            right: x + across,
            bottom: y + up,
        }
    }
}

/// The marks of a chart, largest difference first, drawn alike in both.
struct Marks(Vec<Mark>);

impl Marks {
    fn of(samples: &[Sample], place: impl Fn(&Sample) -> (Point, f64, f64)) -> Self {
        let mut order: Vec<&Sample> = samples.iter().collect();
        order.sort_by(|a, b| b.difference().abs().total_cmp(&a.difference().abs()));
        Self(
            order
                .into_iter()
                .map(|sample| {
                    let (at, half_width, half_height) = place(sample);
                    Mark {
                        name: sample.core.clone(),
                        at,
                        half_width,
                        half_height,
                    }
                })
                .collect(),
        )
    }

    fn are_many(&self) -> bool {
        self.0.len() > MANY
    }

    fn draw<B: DrawingBackend>(
        &self,
        pen: &Pen<'_, B>,
        lines: Vec<Space>,
        plot: &Space,
    ) -> Drawn<B> {
        for mark in &self.0 {
            if self.are_many() {
                pen.dot(mark.at, SMALL, palette::CORE)?;
            } else if mark.half_height > 0.0 {
                draw_core(pen, mark.at, mark.half_width, mark.half_height)?;
            } else {
                pen.dot(mark.at, CORE_RADIUS, palette::CORE)?;
            }
        }
        for (name, at, anchor) in self.names(lines, plot) {
            pen.text(name, at, Letters::body(palette::INK).anchored(anchor))?;
        }
        Ok(())
    }

    fn names(&self, lines: Vec<Space>, plot: &Space) -> Vec<Placed<'_>> {
        if self.are_many() {
            return Vec::new();
        }
        let named: Vec<Named<'_>> = self
            .0
            .iter()
            .map(|mark| Named {
                name: &mark.name,
                mark: mark.space(CORE_RADIUS),
            })
            .collect();
        names::placed(&named, NAMED, lines, plot)
    }
}

/// A number with its sign, as on an axis.
fn signed(value: f64) -> String {
    let text = format!("{value:+.3}");
    match text.strip_prefix('-') {
        Some("0.000") => "0.000".to_owned(),
        Some(digits) => format!("\u{2212}{digits}"),
        None if text == "+0.000" => "0.000".to_owned(),
        None => text,
    }
}

/// The core's water content, m3/m3.
fn core(sample: &Sample) -> f64 {
    sample.reference.value.value()
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    })
}

/// The difference of reading and core against the mean of the two, with the limits of
/// agreement (Bland and Altman 1986).
pub struct AgreementChart {
    title: String,
    description: String,
    sheet: Sheet,
    marks: Marks,
    target: f64,
    limits: Option<Limits>,
    mean: Option<Interval>,
}

impl AgreementChart {
    /// The chart of these readings.
    pub fn new(against: Against<'_>) -> Self {
        let Against {
            of,
            samples,
            limits,
            mean: of_mean,
            target,
        } = against;
        let mean = |sample: &Sample| (sample.reading + core(sample)) / 2.0;
        let (low, high) = ends(samples.iter().map(mean));
        let pad = 0.06 * (high - low);
        let seen = samples.iter().map(|sample| sample.difference().abs());
        let limited = limits.into_iter().flat_map(|limits| {
            [
                limits.lower.interval.low.abs(),
                limits.upper.interval.high.abs(),
            ]
        });
        let reach = seen.chain(limited).fold(0.0, f64::max);
        // A target far off would press everything else together.
        let reach = if target < 3.0 * reach {
            reach.max(target)
        } else {
            reach
        };
        let x = Axis::covering(low - pad, high + pad, 0.02, 6);
        let within = format!("within the target, {target}");
        let mut legend = vec![
            (Swatch::Dot, "reading beside a core"),
            (Swatch::Domain, within.as_str()),
        ];
        let levels = levels(limits);
        if limits.is_some() {
            legend.extend([
                (Swatch::CurveInBand, "mean difference"),
                (Swatch::DashedInBand, "95 % of readings lie between"),
            ]);
        }
        let room = levels
            .iter()
            .map(|level| fonts::room(&level.name, BODY, Weight::Regular))
            .fold(0.0, f64::max);
        let title = format!("{of}: difference from the cores");
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: "How far each reading lies above or below its core",
            x_caption: "Mean of reading and core, m\u{b3}/m\u{b3}",
            y_caption: "Reading minus core, m\u{b3}/m\u{b3}",
            y: Axis::covering(-1.12 * reach, 1.12 * reach, 0.002, 7),
            domain: Domain {
                low: x.low,
                high: x.low,
            },
            x,
            right: if levels.is_empty() {
                6.0
            } else {
                LABEL_INDENT + room
            },
            legend: &legend,
            note: if limits.is_some() {
                "Bands about the lines: 95 % intervals of each."
            } else {
                ""
            },
        });
        Self {
            description: describe(&title, samples, limits),
            marks: Marks::of(samples, |sample| {
                (sheet.at(mean(sample), sample.difference()), 0.0, 0.0)
            }),
            title,
            sheet,
            target,
            limits: limits.cloned(),
            mean: of_mean,
        }
    }

    /// The band between two heights, as far as the plot goes.
    fn band(&self, low: f64, high: f64) -> (Point, Point) {
        let plot = &self.sheet.plot;
        let height = |value| self.sheet.at(0.0, value).1.clamp(plot.top, plot.bottom);
        ((plot.left, height(high)), (plot.right, height(low)))
    }
}

/// The lines named right of the plot.
fn levels(limits: Option<&Limits>) -> Vec<Level> {
    let named = |theta_v: f64| Level {
        name: signed(theta_v),
        theta_v,
    };
    limits.map_or_else(Vec::new, |limits| {
        [limits.upper.value, limits.mean, limits.lower.value]
            .map(named)
            .to_vec()
    })
}

fn describe(title: &str, samples: &[Sample], limits: Option<&Limits>) -> String {
    let mut text = format!(
        "{title}: reading minus core in m3/m3 against the mean of both, for readings beside {} cores.",
        samples.len()
    );
    if let Some(limits) = limits {
        text.push_str(&format!(
            " Mean difference {:+.3}; 95 % of readings lie between {:+.3} and {:+.3}.",
            limits.mean, limits.lower.value, limits.upper.value
        ));
    }
    text
}

impl Chart for AgreementChart {
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
            let (top, bottom) = self.band(-self.target, self.target);
            pen.rectangle(top, bottom, palette::DOMAIN)?;
            let plot = self.sheet.plot;
            let mut lines = Vec::new();
            let mut line = |y: f64| {
                lines.push(Space {
                    top: y - 2.0,
                    bottom: y + 2.0,
                    ..plot
                });
            };
            if let Some(limits) = &self.limits {
                for limit in [&limits.lower, &limits.upper] {
                    let (top, bottom) = self.band(limit.interval.low, limit.interval.high);
                    pen.rectangle(top, bottom, palette::BAND)?;
                }
                if let Some(mean) = &self.mean {
                    let (top, bottom) = self.band(mean.low, mean.high);
                    pen.rectangle(top, bottom, palette::BAND)?;
                }
            }
            for edge in [top.1, bottom.1] {
                if edge > plot.top && edge < plot.bottom {
                    pen.line(&[(plot.left, edge), (plot.right, edge)], palette::EDGE, 1.5)?;
                }
            }
            let (_, zero) = self.sheet.at(0.0, 0.0);
            pen.line(&[(plot.left, zero), (plot.right, zero)], palette::EDGE, 2.0)?;
            line(zero);
            if let Some(limits) = &self.limits {
                self.sheet.draw_levels(pen, &levels(Some(limits)))?;
                let (_, mean) = self.sheet.at(0.0, limits.mean);
                pen.line(
                    &[(plot.left, mean), (plot.right, mean)],
                    palette::CURVE,
                    3.5,
                )?;
                for level in [limits.lower.value, limits.mean, limits.upper.value] {
                    line(self.sheet.at(0.0, level).1);
                }
            }
            self.marks.draw(pen, lines, &plot)
        })
    }
}

/// The reading against the core, with the line where both say the same.
pub struct OneToOneChart {
    title: String,
    description: String,
    sheet: Sheet,
    marks: Marks,
    ends: (f64, f64),
    target: f64,
}

impl OneToOneChart {
    /// The chart of these readings.
    pub fn new(against: Against<'_>) -> Self {
        let Against {
            of,
            samples,
            target,
            ..
        } = against;
        let bars = |sample: &Sample| {
            (
                BAR * sample.reference.u,
                BAR * sample.reading_u.unwrap_or(0.0),
            )
        };
        let (low, high) = ends(samples.iter().flat_map(|sample| {
            let (_, up) = bars(sample);
            [core(sample), sample.reading - up, sample.reading + up]
        }));
        let pad = 0.04 * (high - low);
        let (low, high) = (low - pad, high + pad);
        let within = format!("within the target, {target}");
        let legend = [
            if samples.len() > MANY {
                (Swatch::Dot, "reading beside a core")
            } else {
                (Swatch::Core, "reading beside a core, 95 % bars")
            },
            (Swatch::CurveLine, "both say the same"),
            (Swatch::Domain, within.as_str()),
        ];
        let title = format!("{of}: reading against core");
        let axis = |most| Axis::covering(low, high, 0.02, most);
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: "On the line a reading says what the oven says",
            x_caption: "Core, oven-dry, m\u{b3}/m\u{b3}",
            y_caption: "Reading, m\u{b3}/m\u{b3}",
            x: axis(6),
            y: axis(7),
            domain: Domain { low, high: low },
            right: 6.0,
            legend: &legend,
            note: "",
        });
        let scale = |length: (f64, f64)| {
            let (from, to) = (sheet.at(low, low), sheet.at(low + length.0, low + length.1));
            (to.0 - from.0, from.1 - to.1)
        };
        Self {
            description: format!(
                "{title}, both in m3/m3, for readings beside {} cores, with the line where both say the same.",
                samples.len()
            ),
            marks: Marks::of(samples, |sample| {
                let (half_width, half_height) = scale(bars(sample));
                (
                    sheet.at(core(sample), sample.reading),
                    half_width,
                    half_height,
                )
            }),
            title,
            sheet,
            ends: (low, high),
            target,
        }
    }

    /// The diagonal as small spaces, so that no name is written over it.
    fn diagonal(&self) -> Vec<Space> {
        let (low, high) = self.ends;
        (0..=60)
            .map(|i| {
                let value = low + (high - low) * f64::from(i) / 60.0;
                let (x, y) = self.sheet.at(value, value);
                Space {
                    left: x - 5.0,
                    top: y - 5.0,
                    right: x + 5.0,
                    bottom: y + 5.0,
                }
            })
            .collect()
    }
}

impl Chart for OneToOneChart {
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
            let (low, high) = self.ends;
            let target = self.target.min(high - low);
            let corners = [
                (low, low),
                (low, low + target),
                (high - target, high),
                (high, high),
                (high, high - target),
                (low + target, low),
            ];
            let outline = corners.map(|(x, y)| self.sheet.at(x, y));
            pen.area(&outline, palette::DOMAIN)?;
            let line = [self.sheet.at(low, low), self.sheet.at(high, high)];
            pen.line(&line, palette::CURVE, 3.5)?;
            self.marks.draw(pen, self.diagonal(), &self.sheet.plot)
        })
    }
}
