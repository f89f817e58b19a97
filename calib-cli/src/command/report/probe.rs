//! One probe in its soil: when to water, and how sure that is. The evidence follows.

use super::Teller;
use super::bench::Probe;
use super::story::{Standing, anchor, is_cut_short};
use super::words::Given;
use crate::command::setpoints::{SetPointReport, duration, how_to, likely_percent};
use crate::fit_report::sentence_case;
use crate::fitted::Refused;
use crate::plot::{self, ReserveChart};
use calib_core::calibration::Direction;
use calib_core::irrigation::Help;
use calib_core::quantity::Quantity;
use calib_core::soil::Basis;
use calib_core::uncertainty::{Budget, Contribution};
use maud::{Markup, PreEscaped, html};

/// Share of the squared uncertainty from which a source gets a bar of its own.
const LEAST_BAR: f64 = 0.005;

impl Teller<'_> {
    /// Everything about one probe.
    pub fn probe(&self, probe: &Probe) -> Markup {
        html! {
            article id=(anchor(probe.id())) class={ "probe " (self.soil_class(probe.soil())) } tabindex="-1" {
                header {
                    h2 { (probe.soil()) }
                    p { (self.words.tell("probe-name", [("probe", probe.id().into())])) " " (self.mark(self.standing(probe))) }
                }
                @if let Some(points) = &probe.points { (self.when_to_water(probe, points)) }
                (self.certainty(probe))
                (self.evidence(probe))
                @if let Some(soil) = self.bench.soils.get(probe.soil()) { (self.soil(soil)) }
                @if let Some((report, chart)) = &probe.seasons { (self.seasons(report, chart)) }
            }
        }
    }

    /// A probe without a calibration: why, and what to do.
    pub fn refused(&self, refused: &Refused) -> Markup {
        html! {
            article id=(anchor(&refused.probe)) class={ "probe " (self.soil_class(&refused.soil)) } tabindex="-1" {
                header {
                    h2 { (refused.soil) }
                    p { (self.words.tell("probe-name", [("probe", refused.probe.as_str().into())])) " " (self.mark(Standing::NotReady)) }
                }
                section {
                    h3 { (self.words.say("refused-title")) }
                    p.lead { (self.words.quoted(&sentence_case(&refused.reason))) }
                    p { (self.words.tell("to-do", [("advice", self.words.quoted(refused.mend).into())])) }
                    table {
                        caption { (self.words.say("refused-cores")) }
                        thead { tr {
                            th scope="col" { (self.words.say("column-core")) }
                            th.number scope="col" { (self.words.say("column-count")) }
                            th.number scope="col" { (self.words.say("column-water")) br; (self.show.water_unit()) }
                        } }
                        tbody {
                            @for seen in &refused.observations {
                                tr {
                                    th scope="row" { (seen.sample) }
                                    td.number { (self.words.number(seen.count.value, 1)) }
                                    td.number { (self.show.water_number(seen.theta_v.value.value())) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }

    /// Where the pump starts and stops, and what that means in water.
    fn when_to_water(&self, probe: &Probe, points: &SetPointReport) -> Markup {
        let set = &points.evidence.set_points;
        let count = |count: f64| html! { b.count { (self.words.number(count, 0)) } };
        let (start, stop) = (count(set.refill_count), count(set.stop_count));
        let (start, stop) = match points.direction {
            Direction::FallsWhenWetter => (
                self.words.tell("point-start", [("count", start.into())]),
                self.words.tell("point-stop", [("count", stop.into())]),
            ),
            Direction::RisesWhenWetter => (
                self.words
                    .tell("point-start-falling", [("count", start.into())]),
                self.words
                    .tell("point-stop-rising", [("count", stop.into())]),
            ),
        };
        html! {
            section.when {
                h3 { (self.words.say("when-title")) }
                div.points {
                    p.point { (start) span.meaning { (self.show.water(set.refill.value())) } }
                    p.point { (stop) span.meaning { (self.show.water(set.stop.value())) } }
                }
                @if let Some(reference) = points.evidence.reference_temperature {
                    p { (self.words.tell("point-temperature", [("temperature", self.show.temperature(reference.value()).into())])) }
                }
                (self.reserve(probe, points))
                (self.facts(probe, points))
            }
        }
    }

    /// What the soil holds, as a picture.
    fn reserve(&self, probe: &Probe, points: &SetPointReport) -> Markup {
        let soil = self.bench.soils.get(probe.soil());
        let full = soil.and_then(|soil| soil.report.saturation.as_ref());
        let set = &points.evidence.set_points;
        let chart = ReserveChart::new(
            probe.soil(),
            points.soil_water.wilting_point.value.value(),
            points.soil_water.field_capacity.value.value(),
            full.map(|full| full.estimate.value.value()),
            (set.refill.value(), points.refill_expanded_uncertainty),
            (set.stop.value(), points.stop_expanded_uncertainty),
        );
        match plot::on_page(&chart) {
            Ok(drawn) => html! {
                figure.reserve {
                    (PreEscaped(&drawn.svg))
                    figcaption { (self.words.say("reserve-caption")) span.unseen { " " (self.words.quoted(&drawn.description)) } }
                }
            },
            Err(_) => html! {},
        }
    }

    fn facts(&self, probe: &Probe, points: &SetPointReport) -> Markup {
        let set = &points.evidence.set_points;
        let water = &points.application;
        let irrigation = [
            (
                "volume",
                html! { b { (self.show.volume(water.volume_l)) } }.into(),
            ),
            (
                "time",
                self.words.quoted(&duration(water.run_time_s)).into(),
            ),
            ("depth", self.show.depth(set.net_depth.value()).into()),
            ("roots", self.show.soil_depth(set.root_depth.value()).into()),
        ];
        let (least, most) = likely_percent(points.refill_water.left.share);
        let spread = if points.field_capacity_basis == Basis::Measured {
            html! {}
        } else {
            self.words.say("fact-left-tables")
        };
        let percent = |value: f64| html! { (self.words.number(value, 0)) "\u{a0}%" };
        let fact = |name: Markup, value: Markup| html! { div { dt { (name) } dd { (value) } } };
        html! {
            dl.facts {
                (fact(self.words.say("fact-water"), if is_cut_short(points) { self.words.tell("fact-water-cut", irrigation) } else { self.words.tell("fact-water-value", irrigation) }))
                (fact(self.words.say("fact-left"), self.words.tell("fact-left-value", [
                    ("left", html! { b { (self.show.share(points.refill_water.left.share.value.clamp(0.0, 1.0))) } }.into()),
                    ("least", percent(least).into()),
                    ("most", percent(most).into()),
                    ("spread", spread.into()),
                ])))
                (fact(self.words.say("fact-sure"), self.words.tell("fact-sure-value", [
                    ("sure", html! { b { (self.show.water_within(points.reading_expanded)) } }.into()),
                    ("refill", self.show.water_within(points.refill_expanded_uncertainty).into()),
                ])))
                (fact(self.words.say("fact-risk"), self.words.tell("fact-risk-value", [
                    ("risk", html! { b { (self.show.share(points.risk.risk.now.in_band)) } }.into()),
                    ("at", self.show.share(points.risk.risk.now.at_refill).into()),
                ])))
                (fact(self.words.say("fact-no-answer"), self.words.tell("fact-no-answer-value", [
                    ("driest", html! { b { (self.show.water(points.driest)) } }.into()),
                ])))
                (fact(self.words.say("fact-recheck"), self.words.tell("fact-recheck-value", [
                    ("day", html! { b { time { (probe.fit.file.recheck_by) } } }.into()),
                    ("made", html! { time { (probe.fit.file.calibrated_on) } }.into()),
                ])))
            }
        }
    }

    /// What makes it no surer, and what would.
    fn certainty(&self, probe: &Probe) -> Markup {
        let reading = probe
            .fit
            .report
            .predictions
            .get(probe.fit.report.predictions.len() / 2);
        html! {
            section {
                h3 { (self.words.say("sure-title")) }
                @if let Some(help) = probe.points.as_ref().and_then(|points| points.risk.helps_most.as_ref()) {
                    @let now = probe.points.as_ref().map_or(0.0, |points| points.risk.risk.now.in_band);
                    p.lead { (self.words.tell("help", [
                        ("help", self.help(help.help).into()),
                        ("now", self.show.share(now).into()),
                        ("left", self.show.share(help.left.in_band).into()),
                    ])) }
                    p { (self.words.quoted(how_to(help.help))) }
                }
                div.columns {
                    @if let Some(points) = &probe.points {
                        (self.budget(
                            self.words.say("budget-start"),
                            &points.evidence.refill_budget,
                            points.refill_expanded_uncertainty,
                        ))
                    }
                    @if let Some(reading) = reading {
                        (self.budget(
                            self.words.tell("budget-reading", [("count", self.words.number(reading.first_order.count, 0).into())]),
                            &reading.first_order.budget,
                            reading.first_order.expanded.expanded,
                        ))
                    }
                }
                p.small { (self.words.say("budget-note")) }
            }
        }
    }

    fn help(&self, help: Help) -> Markup {
        match help {
            Help::FieldCapacity => self.words.say("help-field-capacity"),
            Help::WiltingPoint => self.words.say("help-wilting-point"),
            Help::Calibration => self.words.say("help-calibration"),
            Help::CropFigure => self.words.say("help-crop"),
        }
    }

    /// A budget as bars: the share of each source in the squared uncertainty.
    fn budget(&self, title: Markup, budget: &Budget, expanded: f64) -> Markup {
        let whole = budget.standard().powi(2);
        let share = |u: f64| if whole > 0.0 { u * u / whole } else { 0.0 };
        let mut lines: Vec<&Contribution> =
            budget.lines.iter().filter(|line| line.u > 0.0).collect();
        lines.sort_by(|a, b| b.u.total_cmp(&a.u));
        let (lines, small): (Vec<&Contribution>, Vec<&Contribution>) = lines
            .into_iter()
            .partition(|line| share(line.u) >= LEAST_BAR);
        let small: Vec<String> = small.iter().map(|line| line.source.to_string()).collect();
        html! { div { table.budget {
                caption { (title) " " span.within { (self.show.water_within(expanded)) } }
                thead { tr {
                    th scope="col" { (self.words.say("column-source")) }
                    th.number scope="col" { (self.words.say("column-u")) br; (self.show.water_unit()) }
                    th.number scope="col" { (self.words.say("column-share")) }
                } }
                tbody {
                    @for line in &lines {
                        tr {
                            th scope="row" {
                                (self.words.quoted(&line.source.to_string()))
                                span.bar aria-hidden="true" { span style={ "width:" (format!("{:.1}", 100.0 * share(line.u))) "%" } {} }
                            }
                            td.number { (self.show.water_fine(line.u)) }
                            td.number { (self.show.share(share(line.u))) }
                        }
                    }
                }
            }
            @if !small.is_empty() {
                p.small { (self.words.tell("budget-small", [("sources", self.words.quoted(&small.join(", ")).into())])) }
            } }
        }
    }

    /// Root zones with several probes, as `setpoints` tells them.
    pub fn beds(&self) -> Markup {
        let given = |count: usize| Given::Count(count);
        html! {
            @if !self.bench.beds.is_empty() {
                section.beds {
                    h2 { (self.words.tell("beds-title", [("count", given(self.bench.beds.len()))])) }
                    @for bed in &self.bench.beds { div.scroll tabindex="0" { pre lang="en" { (bed) } } }
                }
            }
        }
    }
}
