//! Many probes: can one curve serve them?

use super::Teller;
use crate::command::batch::on_page::ShownSoil;
use calib_core::batch::Judged;
use maud::{Markup, html};

impl Teller<'_> {
    /// The probes of each soil that has many.
    pub fn batch(&self) -> Markup {
        html! {
            @if !self.bench.batch.is_empty() {
                section.batch {
                    h2 { (self.words.say("batch-title")) }
                    @for soil in &self.bench.batch { (self.of_soil(soil)) }
                }
            }
        }
    }

    fn of_soil(&self, soil: &ShownSoil) -> Markup {
        html! {
            h3 { (self.words.tell("batch-soil", [("soil", soil.soil.as_str().into()), ("probes", soil.probes.into())])) }
            p.lead { (self.words.quoted(&soil.headline)) }
            p { (self.words.quoted(&soil.firmness)) }
            @if !soil.standing_out.is_empty() {
                p { (self.words.tell("batch-standing-out", [("probes", soil.standing_out.join(", ").into())])) }
            }
            div.columns {
                (self.chart(&soil.chart, self.words.say("batch-caption")))
                table {
                    caption { (self.words.say("batch-ways")) }
                    thead { tr {
                        th scope="col" { (self.words.say("column-way")) }
                        th.number scope="col" { "\u{b1}\u{a0}U" br; (self.show.water_unit()) }
                        th scope="col" { (self.words.tell("column-target", [("target", self.show.water(soil.target).into())])) }
                        th scope="col" { (self.words.say("column-work")) }
                    } }
                    tbody {
                        @for way in &soil.ways {
                            tr {
                                th scope="row" { (self.words.quoted(way.name)) }
                                td.number {
                                    (self.show.water_number(way.expanded.value))
                                    br;
                                    span.plain { (self.show.water_number(way.expanded.low)) "\u{2013}" (self.show.water_number(way.expanded.high)) }
                                }
                                td {
                                    (match way.judged {
                                        Judged::Within => self.words.say("judged-within"),
                                        Judged::Beyond => self.words.say("judged-beyond"),
                                        Judged::Open => self.words.say("judged-open"),
                                    })
                                }
                                td { (self.words.quoted(&way.work)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
