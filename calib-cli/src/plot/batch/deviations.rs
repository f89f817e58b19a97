//! Each probe's distance from the shared curve with its interval, sorted.

use super::{Shown, named_of, short};
use crate::plot::axis::Axis;
use crate::plot::fonts::{self, Weight};
use crate::plot::names::space_of;
use crate::plot::pen::{BODY, Drawn, Letters, Pen, Point};
use crate::plot::place::Space;
use crate::plot::sheet::{CORE_RADIUS, Outline, Sheet, Swatch, draw_standing_out, draw_upright};
use crate::plot::{Chart, NamedPoint, palette};
use calib_core::calibration::Domain;
use plotters::prelude::DrawingBackend;
use plotters::style::text_anchor::HPos;

/// More probes than this are drawn as a band, or bars would hide one another.
const CROWD: usize = 150;
/// Columns a crowd is averaged into.
const COLUMNS: usize = 300;
/// From a mark to its name, logical pixels.
const GAP: f64 = 8.0;
/// Most batches shown side by side; more are sorted as one.
const MOST_BATCHES: usize = 6;
/// Most probes named below the axis.
const MOST_BELOW: usize = 12;
/// Somewhat less than the plot is wide, logical pixels.
const LEAST_WIDE: f64 = 560.0;
/// Most probes of a crowd that stand out which are drawn.
const MOST_STANDING_OUT: usize = 60;

/// One probe's deviation from the shared curve, m3/m3.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbePoint {
    /// Its identifier.
    pub name: String,
    /// Its batch, where stated.
    pub batch: Option<String>,
    /// How much wetter it reads than the cores are.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Whether it was found to stand out from the others.
    pub stands_out: bool,
}

/// The chart.
pub struct DeviationChart {
    title: String,
    description: String,
    /// In the order drawn, from the left.
    probes: Vec<ProbePoint>,
    /// Where each stands on the horizontal axis.
    places: Vec<f64>,
    /// Whether batches stand side by side.
    grouped: bool,
    /// Whether the axis names each probe already.
    all_named: bool,
    tolerance: Option<(f64, f64)>,
    sheet: Sheet,
}

impl DeviationChart {
    /// The chart of `probes`; `tolerance` is shaded.
    pub fn new(shown: &Shown, probes: &[ProbePoint], tolerance: Option<(f64, f64)>) -> Self {
        let batches = batches(probes);
        let grouped = (2..=MOST_BATCHES).contains(&batches.len());
        let mut probes = probes.to_vec();
        probes.sort_by(|a, b| {
            let by_batch = a.batch.cmp(&b.batch);
            let by_value = a
                .value
                .total_cmp(&b.value)
                .then_with(|| a.name.cmp(&b.name));
            if grouped {
                by_batch.then(by_value)
            } else {
                by_value
            }
        });
        let places = places(&probes, grouped);
        let (low, high) = reach(&probes, tolerance);
        let title = format!(
            "Soil {}: {} probes beside one curve",
            shown.soil,
            probes.len()
        );
        let all_named = all_fit(&probes, &places);
        let (x, x_caption) = horizontal(&probes, &places, grouped, all_named);
        let crowd = probes.len() > CROWD;
        let mut legend = vec![if crowd {
            (
                Swatch::CoreLine,
                "probes, with the ends of their 95 % intervals",
            )
        } else {
            (Swatch::UprightCore, "probe, 95 % interval")
        }];
        if probes.iter().any(|probe| probe.stands_out) {
            legend.push((Swatch::StandsOut, "stands out"));
        }
        if tolerance.is_some() {
            legend.push((Swatch::Band, "95 % of further probes"));
        }
        let sheet = Sheet::new(Outline {
            title: &title,
            subtitle: &format!(
                "How much wetter or drier each reads by the shared {} at {:.2} m\u{b3}/m\u{b3}",
                shown.curve, shown.theta_v
            ),
            x_caption: &x_caption,
            y_caption: "Reads wetter (+) or drier (\u{2212}), m\u{b3}/m\u{b3}",
            domain: Domain {
                low: x.low,
                high: x.low,
            },
            x,
            y: Axis::covering(low, high, 0.004, 7),
            right: 6.0,
            legend: &legend,
            note: "",
        });
        Self {
            description: describe(&title, shown, &probes, tolerance),
            title,
            probes,
            places,
            grouped,
            all_named,
            tolerance,
            sheet,
        }
    }

    fn crowd(&self) -> bool {
        self.probes.len() > CROWD
    }

    /// Radius of a dot: as large as its neighbours allow.
    fn radius(&self) -> f64 {
        let width = self.sheet.plot.right - self.sheet.plot.left;
        (0.42 * width / self.probes.len().max(1) as f64).clamp(2.0, CORE_RADIUS)
    }

    fn mark(&self, index: usize) -> Space {
        let (probe, place) = (&self.probes[index], self.places[index]);
        let (x, y) = self.sheet.at(place, probe.value);
        let top = self.sheet.at(place, probe.high).1;
        let bottom = self.sheet.at(place, probe.low).1;
        let radius = self.radius();
        Space {
            left: x - radius,
            top: top.min(y - radius),
            right: x + radius,
            bottom: bottom.max(y + radius),
        }
    }

    /// Those to be named, the likeliest to be looked for first.
    fn named(&self) -> Vec<usize> {
        let values: Vec<(f64, bool)> = self
            .probes
            .iter()
            .map(|probe| (probe.value, probe.stands_out))
            .collect();
        named_of(&values)
    }

    /// Names beside their marks, where they cover no mark and no other name.
    fn names(&self) -> Vec<(String, Point, HPos)> {
        if self.all_named {
            return Vec::new();
        }
        let named = self.named();
        let every = self.probes.len().div_ceil(COLUMNS);
        let mut taken: Vec<Space> = (0..self.probes.len())
            .filter(|i| i % every == 0 || self.probes[*i].stands_out || named.contains(i))
            .map(|i| self.mark(i))
            .collect();
        let (_, zero) = self.sheet.at(0.0, 0.0);
        taken.push(Space {
            top: zero - 2.0,
            bottom: zero + 2.0,
            ..self.sheet.plot
        });
        let mut placed = Vec::new();
        for index in named {
            let name = short(&self.probes[index].name);
            let width = fonts::room(&name, BODY, Weight::Regular);
            let mark = self.mark(index);
            let (x, y) = self.sheet.at(self.places[index], self.probes[index].value);
            let beside = y + 0.34 * BODY;
            let mut candidates = vec![
                (x, mark.top - GAP - 0.25 * BODY, HPos::Center),
                (x, mark.bottom + GAP + 0.85 * BODY, HPos::Center),
            ];
            for shift in [0.0, -1.0, 1.0] {
                candidates.push((mark.right + GAP, beside + shift * BODY, HPos::Left));
                candidates.push((mark.left - GAP, beside + shift * BODY, HPos::Right));
            }
            for (at, baseline) in [
                (mark.left, mark.top - GAP - 0.25 * BODY),
                (mark.left, mark.bottom + GAP + 0.85 * BODY),
            ] {
                candidates.push((at, baseline, HPos::Left));
                candidates.push((at + 2.0 * self.radius(), baseline, HPos::Right));
            }
            let free = candidates.into_iter().find_map(|(x, baseline, anchor)| {
                let space = space_of(width, (x, baseline), anchor);
                let clear =
                    self.sheet.plot.holds(&space) && !taken.iter().any(|b| b.touches(&space));
                clear.then_some((space, (x, baseline), anchor))
            });
            if let Some((space, at, anchor)) = free {
                taken.push(space);
                placed.push((name, at, anchor));
            }
        }
        placed
    }

    /// A run of probes of one batch as a line between the ends of their intervals,
    /// averaged over neighbours.
    fn draw_run<B: DrawingBackend>(&self, pen: &Pen<'_, B>, run: &[usize]) -> Drawn<B> {
        let every = self.probes.len().div_ceil(COLUMNS).max(1);
        let (mut line, mut upper, mut lower) = (Vec::new(), Vec::new(), Vec::new());
        for column in run.chunks(every) {
            let mean = |of: &dyn Fn(usize) -> f64| {
                column.iter().map(|i| of(*i)).sum::<f64>() / column.len() as f64
            };
            let place = mean(&|i| self.places[i]);
            line.push(self.sheet.at(place, mean(&|i| self.probes[i].value)));
            upper.push(self.sheet.at(place, mean(&|i| self.probes[i].high)));
            lower.push(self.sheet.at(place, mean(&|i| self.probes[i].low)));
        }
        for edge in [&upper, &lower] {
            pen.line(edge, palette::INK, 1.6)?;
        }
        pen.line(&line, palette::CORE, 4.0)
    }

    fn draw_crowd<B: DrawingBackend>(&self, pen: &Pen<'_, B>) -> Drawn<B> {
        let (standing_out, crowd): (Vec<usize>, Vec<usize>) =
            (0..self.probes.len()).partition(|i| self.probes[*i].stands_out);
        let same_batch =
            |a: &usize, b: &usize| !self.grouped || self.probes[*a].batch == self.probes[*b].batch;
        for run in crowd.chunk_by(same_batch) {
            self.draw_run(pen, run)?;
        }
        let every = standing_out.len().div_ceil(MOST_STANDING_OUT).max(1);
        for index in standing_out.into_iter().step_by(every).chain(self.named()) {
            self.draw_probe(pen, index, 4.0)?;
        }
        Ok(())
    }

    fn draw_probe<B: DrawingBackend>(
        &self,
        pen: &Pen<'_, B>,
        index: usize,
        radius: f64,
    ) -> Drawn<B> {
        let (probe, place) = (&self.probes[index], self.places[index]);
        let centre = self.sheet.at(place, probe.value);
        let up = centre.1 - self.sheet.at(place, probe.high).1;
        let down = self.sheet.at(place, probe.low).1 - centre.1;
        if probe.stands_out {
            draw_standing_out(pen, centre, (up, down), radius)
        } else {
            draw_upright(pen, centre, (up, down), radius, palette::CORE)
        }
    }
}

/// The batches in order, none where a probe has none.
fn batches(probes: &[ProbePoint]) -> Vec<&str> {
    let mut found: Vec<&str> = Vec::new();
    for probe in probes {
        let Some(batch) = probe.batch.as_deref() else {
            return Vec::new();
        };
        if !found.contains(&batch) {
            found.push(batch);
            if found.len() > MOST_BATCHES {
                return Vec::new();
            }
        }
    }
    found
}

/// One place a probe, a gap between batches.
fn places(probes: &[ProbePoint], grouped: bool) -> Vec<f64> {
    let gap = (0.04 * probes.len() as f64).max(1.0);
    let mut next = 1.0;
    let mut places = Vec::with_capacity(probes.len());
    for (i, probe) in probes.iter().enumerate() {
        if grouped && i > 0 && probes[i - 1].batch != probe.batch {
            next += gap;
        }
        places.push(next);
        next += 1.0;
    }
    places
}

fn reach(probes: &[ProbePoint], tolerance: Option<(f64, f64)>) -> (f64, f64) {
    let ends = probes
        .iter()
        .flat_map(|probe| [probe.low, probe.high])
        .chain(tolerance.into_iter().flat_map(|(low, high)| [low, high]))
        .filter(|end| end.is_finite());
    let (low, high) = ends.fold((0.0_f64, 0.0_f64), |(low, high), end| {
        (low.min(end), high.max(end))
    });
    let room = 0.13 * (high - low);
    (low - room, high + room)
}

/// What the axis below covers.
fn span(places: &[f64]) -> (f64, f64) {
    let last = places.last().copied().unwrap_or(1.0);
    let margin = (0.02 * last).max(0.6);
    (1.0 - margin, last + margin)
}

/// Whether every probe's name fits below its mark.
fn all_fit(probes: &[ProbePoint], places: &[f64]) -> bool {
    let (low, high) = span(places);
    let per_place = LEAST_WIDE / (high - low);
    let fits = |name: &str| fonts::room(name, BODY, Weight::Regular) + 10.0 <= per_place;
    probes.len() <= MOST_BELOW && probes.iter().all(|probe| fits(&probe.name))
}

/// The axis below: probes by name where there is room, batches by name, or how
/// many.
fn horizontal(
    probes: &[ProbePoint],
    places: &[f64],
    grouped: bool,
    all_named: bool,
) -> (Axis, String) {
    let (low, high) = span(places);
    let per_place = LEAST_WIDE / (high - low);
    let width = |name: &str| fonts::room(name, BODY, Weight::Regular);
    if all_named {
        let named = probes.iter().map(|probe| probe.name.clone());
        let axis = Axis::named(
            low,
            high,
            &places.iter().copied().zip(named).collect::<Vec<_>>(),
        );
        let caption = if grouped {
            "Probes, by batch, then driest reading first"
        } else {
            "Probes, driest reading first"
        };
        return (axis, caption.to_owned());
    }
    if grouped {
        let mut blocks: Vec<(String, f64, f64)> = Vec::new();
        for (probe, place) in probes.iter().zip(places) {
            let name = probe.batch.clone().unwrap_or_default();
            match blocks.last_mut() {
                Some((last, _, end)) if *last == name => *end = *place,
                _ => blocks.push((name, *place, *place)),
            }
        }
        let fit = blocks
            .iter()
            .all(|(name, from, to)| width(name) + 10.0 <= (to - from + 1.0) * per_place);
        let words = blocks
            .iter()
            .filter(|_| fit)
            .map(|(name, from, to)| ((from + to) / 2.0, name.clone()));
        let names: Vec<String> = blocks.iter().map(|(name, ..)| short(name)).collect();
        let caption = if fit {
            "Probes by batch, driest reading first".to_owned()
        } else if names.len() <= 2 {
            format!("Probes of {}", names.join(", then of "))
        } else {
            format!(
                "Probes of {} batches, each driest reading first",
                names.len()
            )
        };
        return (Axis::named(low, high, &words.collect::<Vec<_>>()), caption);
    }
    (
        Axis::covering(low, high, 1.0, 6).of_whole_numbers(),
        "Probes, driest reading first".to_owned(),
    )
}

fn describe(
    title: &str,
    shown: &Shown,
    probes: &[ProbePoint],
    tolerance: Option<(f64, f64)>,
) -> String {
    let ends = |sign: f64| {
        probes
            .iter()
            .max_by(|a, b| (sign * a.value).total_cmp(&(sign * b.value)))
            .map_or_else(String::new, |probe| {
                format!("{} by {:+.3}", probe.name, probe.value)
            })
    };
    let mut text = format!(
        "{title}. Deviation of each of {} probes from the shared {} at {:.3} m3/m3, with 95 % \
         intervals, sorted. Wettest reading: {}; driest: {}.",
        probes.len(),
        shown.curve,
        shown.theta_v,
        ends(1.0),
        ends(-1.0)
    );
    if let Some((low, high)) = tolerance {
        text += &format!(" 95 % of further probes lie within {low:+.3} and {high:+.3} m3/m3.");
    }
    let out = probes.iter().filter(|probe| probe.stands_out).count();
    if out > 0 {
        text += &format!(" {out} stand out.");
    }
    text
}

impl Chart for DeviationChart {
    fn title(&self) -> &str {
        &self.title
    }

    fn points(&self) -> Vec<NamedPoint> {
        if self.crowd() {
            return Vec::new();
        }
        let named = |(probe, place): (&ProbePoint, &f64)| NamedPoint {
            at: self.sheet.at(*place, probe.value),
            name: probe.name.clone(),
            words: format!(
                "Probe {} reads {:.3} m\u{b3}/m\u{b3} {}{}",
                probe.name,
                probe.value.abs(),
                if probe.value < 0.0 { "drier" } else { "wetter" },
                if probe.stands_out {
                    ": it stands out"
                } else {
                    ""
                }
            ),
        };
        self.probes.iter().zip(&self.places).map(named).collect()
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
            if let Some((low, high)) = self.tolerance {
                let (_, top) = self.sheet.at(0.0, high);
                let (_, bottom) = self.sheet.at(0.0, low);
                pen.rectangle((plot.left, top), (plot.right, bottom), palette::BAND)?;
            }
            let (_, zero) = self.sheet.at(0.0, 0.0);
            pen.line(
                &[(plot.left, zero), (plot.right, zero)],
                palette::CURVE,
                3.5,
            )?;
            if self.crowd() {
                self.draw_crowd(pen)?;
            } else {
                for index in 0..self.probes.len() {
                    self.draw_probe(pen, index, self.radius())?;
                }
            }
            for (name, at, anchor) in self.names() {
                pen.text(&name, at, Letters::body(palette::INK).anchored(anchor))?;
            }
            Ok(())
        })
    }
}
