//! What one threshold does to a pump over simulated seasons, and what refill and stop
//! do instead.

use super::Teller;
use super::words::Given;
use crate::command::replay::{ProbeReport, round, years};
use crate::plot::OnPage;
use calib_core::quantity::Quantity;
use maud::{Markup, html};

impl Teller<'_> {
    /// What refill and stop do to the water bill, and what to do where more drains.
    fn water_bill(&self, report: &ProbeReport) -> Markup {
        let change = report.season.change();
        let more = |difference: f64| {
            let word = if difference > 0.0 {
                self.words.say("more")
            } else {
                self.words.say("less")
            };
            Given::from(word)
        };
        let wetter = if change.wetter > 0.0 {
            self.words.say("wetter")
        } else {
            self.words.say("drier")
        };
        html! {
            (self.words.tell("season-water", [
                ("pumped", self.show.depth(change.pumped_mm.abs()).into()),
                ("more", more(change.pumped_mm)),
                ("drained", self.show.depth(change.drained_mm.abs()).into()),
                ("drains", more(change.drained_mm)),
                ("water", self.show.water(change.wetter.abs()).into()),
                ("wetter", wetter.into()),
            ]))
            @if change.drained_mm > 0.0 { " " (self.words.say("season-drains")) }
        }
    }

    /// The seasons of one probe.
    pub fn seasons(&self, report: &ProbeReport, chart: &OnPage) -> Markup {
        let season = &report.season;
        html! {
            section.whole {
                h3 { (self.words.say("seasons-title")) }
                p.lead { (self.words.quoted(&report.verdict)) }
                p { (self.water_bill(report)) }
                @if let Some(doubt) = &report.doubt { p { (self.words.quoted(doubt)) } }
                div.columns {
                    (self.chart(chart, self.words.say("season-caption")))
                    div {
                        table {
                            caption { (self.words.tell("seasons-caption", [
                                ("seasons", (season.seasons as usize).into()),
                                ("days", season.days.into()),
                            ])) }
                            thead { tr {
                                th scope="col" { (self.words.say("column-rule")) }
                                th.number scope="col" { (self.words.say("column-starts")) }
                                th.number scope="col" { (self.words.say("column-dry")) }
                                th.number scope="col" { (self.words.say("column-drained")) }
                                th.number scope="col" { (self.words.say("column-relay")) }
                            } }
                            tbody {
                                @for rule in &season.rules {
                                    tr {
                                        th scope="row" { (self.words.quoted(rule.rule.words())) }
                                        td.number { (round(rule.seasons.starts_per_day.mean)) }
                                        td.number { (round(rule.seasons.hours_below_refill.mean)) }
                                        td.number { (self.show.depth(rule.seasons.drained_mm.mean)) }
                                        td.number { (self.words.quoted(&years(rule.relay.years))) }
                                    }
                                }
                            }
                        }
                        p.small { (self.words.tell("seasons-note", [
                            ("threshold", self.words.number(report.threshold.count, 0).into()),
                            ("water", self.show.water(report.threshold.theta_v.value()).into()),
                            ("from", self.words.quoted(report.threshold.from).into()),
                            ("weather", self.words.quoted(&season.weather).into()),
                        ])) }
                        @for caveat in &self.bench.caveats { p.small { (self.words.quoted(caveat)) } }
                    }
                }
            }
        }
    }
}
