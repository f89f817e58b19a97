//! What the page says first: may these probes steer a pump, where does it start and
//! stop, and what limits how sure that is.

use super::Teller;
use super::bench::Probe;
use super::words::Given;
use crate::command::setpoints::SetPointReport;
use calib_core::fit::TemperatureDecision;
use calib_core::irrigation::{Origin, RunTime};
use calib_core::quantity::Quantity;
use calib_core::soil::Basis;
use maud::{Markup, html};

/// How a probe stands, as a mark that needs no colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// May steer a pump.
    Ready,
    /// Calibrated, but nothing is known of the pump.
    Calibrated,
    /// Must not steer one.
    NotReady,
}

impl Standing {
    fn class(self) -> &'static str {
        match self {
            Standing::Ready => "ready",
            Standing::Calibrated => "calibrated",
            Standing::NotReady => "not-ready",
        }
    }
}

impl Teller<'_> {
    /// How a probe stands.
    pub fn standing(&self, probe: &Probe) -> Standing {
        match (self.bench.has_pump, self.bench.is_ready(probe)) {
            (_, true) => Standing::Ready,
            (false, false) => Standing::Calibrated,
            (true, false) => Standing::NotReady,
        }
    }

    /// A mark with its word.
    pub fn mark(&self, standing: Standing) -> Markup {
        html! {
            span class={ "mark " (standing.class()) } {
                svg viewBox="0 0 20 20" width="20" height="20" aria-hidden="true" {
                    @match standing {
                        Standing::Ready => {
                            circle cx="10" cy="10" r="10" {}
                            path d="M5.2 10.4l3.2 3.2 6.4-7" {}
                        }
                        Standing::Calibrated => {
                            circle cx="10" cy="10" r="10" {}
                            path d="M5.5 10h9" {}
                        }
                        Standing::NotReady => {
                            path.ground d="M6 0h8l6 6v8l-6 6H6l-6-6V6z" {}
                            path d="M6 6l8 8M14 6l-8 8" {}
                        }
                    }
                }
                " "
                (match standing {
                    Standing::Ready => self.words.say("mark-ready"),
                    Standing::Calibrated => self.words.say("mark-calibrated"),
                    Standing::NotReady => self.words.say("mark-not-ready"),
                })
            }
        }
    }

    /// What the data are of, under the title.
    pub fn made(&self) -> Markup {
        let days = self.bench.probes.iter();
        let last = days
            .map(|probe| probe.fit.file.calibrated_on.as_str())
            .max();
        let cores: usize = self
            .bench
            .probes
            .iter()
            .map(|probe| probe.fit.report.residuals.len())
            .sum();
        match last {
            Some(last) => self.words.tell(
                "made",
                [
                    ("readings", self.bench.readings.into()),
                    ("cores", cores.into()),
                    ("last", last.into()),
                ],
            ),
            None => html! {},
        }
    }

    /// The verdict, and the probes at a glance.
    pub fn story(&self) -> Markup {
        html! {
            section #story.story tabindex="-1" {
                h2.verdict { (self.verdict()) }
                @for sentence in self.how_far() { p.lead { (sentence) } }
                (self.show.beside_inches(&self.words.say("inch-spelled")))
                @if !self.bench.warnings.is_empty() {
                    p { (self.words.tell("story-warnings", [
                        ("count", self.bench.warnings.len().into()),
                        ("link", html! { a href="#advice" { (self.words.say("advice-link")) } }.into()),
                    ])) }
                }
                ul.cards {
                    @for probe in &self.bench.probes { li { (self.card(probe)) } }
                    @for refused in &self.bench.refused {
                        li {
                            a.card href={ "#" (anchor(&refused.probe)) } {
                                span.name { (refused.soil) }
                                span.small { (self.words.tell("probe-name", [("probe", refused.probe.as_str().into())])) }
                                (self.mark(Standing::NotReady))
                                span { (self.words.say("card-refused")) }
                            }
                        }
                    }
                }
            }
        }
    }

    fn verdict(&self) -> Markup {
        let ready = self
            .bench
            .probes
            .iter()
            .filter(|probe| self.bench.is_ready(probe))
            .count();
        let all = self.bench.probes.len() + self.bench.refused.len();
        let calibrated = self.bench.probes.len();
        let counted = |count: usize| Given::Count(count);
        match (self.bench.has_pump, ready) {
            (true, 0) => self.words.tell("verdict-none", [("all", counted(all))]),
            (true, ready) if ready == all => {
                self.words.tell("verdict-all", [("all", counted(all))])
            }
            (true, ready) => self.words.tell(
                "verdict-some",
                [("ready", counted(ready)), ("all", counted(all))],
            ),
            (false, _) if calibrated == all => self
                .words
                .tell("verdict-calibrated", [("all", counted(all))]),
            (false, _) => self.words.tell(
                "verdict-some-calibrated",
                [("calibrated", counted(calibrated)), ("all", counted(all))],
            ),
        }
    }

    /// How far to trust it, in a few sentences.
    fn how_far(&self) -> Vec<Markup> {
        let points: Vec<&SetPointReport> = self
            .bench
            .probes
            .iter()
            .filter_map(|probe| probe.points.as_ref())
            .collect();
        let mut sentences = Vec::new();
        let sure = points.iter().map(|one| one.reading_expanded);
        let (low, high) = sure.fold((f64::INFINITY, 0.0), |(low, high), sure| {
            (f64::min(low, sure), f64::max(high, sure))
        });
        match points.len() {
            0 if !self.bench.has_pump => sentences.push(self.words.say("story-no-pump")),
            0 => {}
            1 => sentences.push(self.words.tell(
                "story-sure-one",
                [("sure", self.show.water_within(high).into())],
            )),
            _ if self.show.water_number(low).0 == self.show.water_number(high).0 => {
                sentences.push(self.words.tell(
                    "story-sure-one",
                    [("sure", self.show.water_within(high).into())],
                ));
            }
            _ => sentences.push(self.words.tell(
                "story-sure",
                [
                    ("low", self.show.water_number(low).into()),
                    ("high", self.show.water(high).into()),
                ],
            )),
        }
        let cold: Vec<&str> = self
            .bench
            .probes
            .iter()
            .filter(|probe| probe.points.is_some() && lacks_temperature(probe))
            .map(Probe::soil)
            .collect();
        if !cold.is_empty() {
            sentences.push(
                self.words
                    .tell("story-temperature", [("soils", cold.join(", ").into())]),
            );
        }
        // What most of the risk comes from, for most of the probes.
        let first: Vec<Origin> = points
            .iter()
            .filter_map(|one| {
                one.risk
                    .risk
                    .contributors
                    .first()
                    .map(|largest| largest.origin)
            })
            .collect();
        let most =
            |origin: Origin| 2 * first.iter().filter(|one| **one == origin).count() > first.len();
        let from_tables = points
            .iter()
            .any(|one| one.field_capacity_basis != Basis::Measured);
        if most(Origin::SoilWater) && from_tables {
            sentences.push(self.words.say("story-limit-tables"));
        } else if most(Origin::SoilWater) {
            sentences.push(self.words.say("story-limit-soil"));
        } else if most(Origin::Calibration) {
            sentences.push(self.words.say("story-limit-calibration"));
        } else if most(Origin::Crop) {
            sentences.push(self.words.say("story-limit-crop"));
        }
        if let Some(stage) = &self.bench.stage {
            sentences.push(
                self.words
                    .tell("story-stage", [("stage", self.words.quoted(stage).into())]),
            );
        }
        for complaint in &self.bench.no_points {
            sentences.push(self.words.tell(
                "story-no-points",
                [
                    ("what", self.words.quoted(&complaint.what).into()),
                    ("mend", self.words.quoted(&complaint.mend).into()),
                ],
            ));
        }
        sentences
    }

    fn card_water(&self, points: &SetPointReport) -> Markup {
        let depth = points.evidence.set_points.net_depth.value();
        let brought = [
            (
                "volume",
                self.show.volume(points.application.volume_l).into(),
            ),
            ("depth", self.show.depth(depth).into()),
        ];
        if is_cut_short(points) {
            self.words.tell("card-water-cut", brought)
        } else {
            self.words.tell("card-water", brought)
        }
    }

    fn card(&self, probe: &Probe) -> Markup {
        html! {
                    a.card href={ "#" (anchor(probe.id())) } {
                        span.name { (probe.soil()) }
                        span.small { (self.words.tell("probe-name", [("probe", probe.id().into())])) }
                        (self.mark(self.standing(probe)))
                        @if let Some(points) = &probe.points {
                            @let set = &points.evidence.set_points;
                            span.pair {
                                span { span.label { (self.words.say("card-start")) } " " b { (self.words.number(set.refill_count, 0)) } }
                                span { span.label { (self.words.say("card-stop")) } " " b { (self.words.number(set.stop_count, 0)) } }
                            }
                            @if probe.drifted.is_some() {
                                span.small { b { (self.words.say("card-drifted")) } }
                            }
                            span.small {
        (self.card_water(points))
                            }
                            @if lacks_temperature(probe) { span.small { (self.words.say("card-temperature")) } }
                        } @else {
                            span { (self.words.say("card-calibrated")) }
                        }
                    }
                }
    }
}

/// Whether nothing is known of what the soil's temperature does to a probe, so that its
/// counts hold only near the temperature of its cores.
fn lacks_temperature(probe: &Probe) -> bool {
    !matches!(
        probe.fit.report.temperature,
        TemperatureDecision::Carried { .. } | TemperatureDecision::NoEffectSeen { .. }
    )
}

/// Whether the longest run stops the pump before the soil is full.
pub fn is_cut_short(points: &SetPointReport) -> bool {
    matches!(
        points.application.run_time,
        RunTime::LongerThanMaximum { .. }
    )
}

/// Where a probe's part of the page begins. An identifier holds letters, digits, hyphens
/// and underscores only, so that it can stand in a link as it is.
pub fn anchor(probe: &str) -> String {
    format!("probe-{probe}")
}
