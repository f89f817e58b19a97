//! Many probes: can one curve serve them?

use super::Teller;
use super::words::Given;
use crate::command::batch::on_page::{AsTheyAre, Bought, Conclusion, ShownPair, ShownSoil};
use calib_core::batch::equivalence::Verdict;
use calib_core::batch::{Judged, Way};
use maud::{Markup, html};

/// Pairs of batches told.
const MOST_PAIRS: usize = 10;

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
            p.lead { (self.conclusion(soil)) }
            p { (self.words.quoted(&soil.firmness)) }
            @for way in &soil.ways {
                @if let Some(bought) = &way.bought { p { (self.bought(bought, soil.root_depth_mm)) } }
            }
            @if !soil.standing_out.is_empty() {
                p {
                    (self.words.tell("batch-standing-out", [("probes", soil.standing_out.join(", ").into())]))
                    @if let Some((expanded, judged)) = soil.without {
                        " " (self.words.tell("batch-without", [
                            ("sure", self.show.water_within(expanded.value).into()),
                            ("range", self.range(expanded.low, expanded.high).into()),
                            ("judged", self.judged(judged).into()),
                        ]))
                    }
                }
            }
            (self.batches(soil))
            div.columns {
                (self.chart(&soil.chart, self.words.say("batch-caption")))
                div {
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
                                    (self.judged(way.judged))
                                }
                                td { (self.words.quoted(&way.work)) }
                            }
                        }
                    }
                }
                (self.next_probe(soil))
                }
            }
        }
    }

    /// Whether one curve will do, in a sentence or two.
    fn conclusion(&self, soil: &ShownSoil) -> Markup {
        let target = || ("target", Given::from(self.show.water(soil.target)));
        let probes = || ("probes", Given::from(soil.probes));
        let surely = |why| {
            let why = match why {
                AsTheyAre::No => self.words.say("batch-not"),
                AsTheyAre::NotSurely => self.words.say("batch-not-surely"),
            };
            ("why", Given::from(why))
        };
        match soil.conclusion {
            Conclusion::OneCurve => self.words.tell("batch-one-curve", [probes(), target()]),
            Conclusion::TwoMedia(why) => self
                .words
                .tell("batch-two-media", [surely(why), probes(), target()]),
            Conclusion::OwnCores(why) => {
                self.words.tell("batch-own-cores", [surely(why), target()])
            }
            Conclusion::CoresScatter => self.words.tell("batch-scatter", [target()]),
            Conclusion::TooUnsure => self.words.tell("batch-unsure", [target()]),
            Conclusion::NotSettled => self.words.tell("batch-open", [target()]),
        }
    }

    /// What a way of calibrating buys and costs.
    fn bought(&self, bought: &Bought, root_depth_mm: f64) -> Markup {
        let (gain, depth) = (bought.gain, bought.gain_mm);
        let way = match bought.way {
            Way::TwoMedia => self.words.say("batch-by-two-media"),
            _ => self.words.say("batch-by-own-cores"),
        };
        let said = if gain.value > 0.0 {
            self.words.tell(
                "batch-buys",
                [
                    ("way", way.into()),
                    ("gain", self.show.water(gain.value).into()),
                    ("range", self.range(gain.low, gain.high).into()),
                    ("depth", self.show.depth(depth.value).into()),
                    ("least", self.show.depth(depth.low).into()),
                    ("most", self.show.depth(depth.high).into()),
                    ("roots", self.show.soil_depth(root_depth_mm).into()),
                ],
            )
        } else {
            self.words.tell("batch-buys-nothing", [("way", way.into())])
        };
        html! { (said) " " (self.words.quoted(&bought.costs)) }
    }

    /// Is one batch like another?
    fn batches(&self, soil: &ShownSoil) -> Markup {
        let more = soil.batches.len().saturating_sub(MOST_PAIRS);
        html! {
            @if !soil.batches.is_empty() {
                h4 { (self.words.say("batches-title")) }
                ul.batches {
                    @for pair in soil.batches.iter().take(MOST_PAIRS) { li { (self.pair(pair, soil.margin)) } }
                }
                @if more > 0 { p.small { (self.words.tell("batches-more", [("more", more.into())])) } }
                @if !soil.standing_out.is_empty() { p.small { (self.words.say("batches-without")) } }
            }
        }
    }

    fn pair(&self, pair: &ShownPair, margin: f64) -> Markup {
        let name = |name: &str| Given::from(html! { b { (name) } });
        let both = || [("a", name(&pair.a)), ("b", name(&pair.b))];
        let found = match &pair.found {
            Ok(found) => found,
            Err(reason) => {
                let [a, b] = both();
                let reason = self.words.quoted(reason).into();
                return self.words.tell("pair-refused", [a, b, ("reason", reason)]);
            }
        };
        let margin = || ("margin", Given::from(self.show.water(margin)));
        let difference = found.difference.value;
        let reads = || {
            let (wetter, drier) = if difference > 0.0 {
                (&pair.a, &pair.b)
            } else {
                (&pair.b, &pair.a)
            };
            let (one, other) = (found.equivalence_low, found.equivalence_high);
            let (low, high) = if difference > 0.0 {
                (one, other)
            } else {
                (-other, -one)
            };
            self.words.tell(
                "pair-reads",
                [
                    ("wetter", name(wetter)),
                    ("drier", name(drier)),
                    ("difference", self.show.water(difference.abs()).into()),
                    ("range", self.range(low, high).into()),
                ],
            )
        };
        match found.verdict {
            Verdict::Equivalent => {
                let [a, b] = both();
                self.words.tell("pair-alike", [a, b, margin()])
            }
            Verdict::DifferentWithinMargin => html! {
                (reads()) " " (self.words.tell("pair-within", [margin()]))
            },
            Verdict::Different {
                beyond_margin: true,
            } => html! { (reads()) " " (self.words.tell("pair-beyond", [margin()])) },
            Verdict::Different {
                beyond_margin: false,
            } => html! { (reads()) " " (self.words.tell("pair-open", [margin()])) },
            Verdict::NotSettled { probes_in_each } => {
                let [a, b] = both();
                html! {
                    (self.words.tell("pair-not-settled", [a, b, margin()]))
                    @if let Some(probes) = probes_in_each {
                        " " (self.words.tell("pair-probes", [("probes", probes.into())]))
                    }
                }
            }
        }
    }

    /// The next probe out of the box, read by the shared curve.
    fn next_probe(&self, soil: &ShownSoil) -> Markup {
        let end = |end: f64| html! { td.number { (self.show.water_change(end)) } };
        let without = soil.next_probe.iter().any(|at| at.without.is_some());
        html! {
            @if let Some(reason) = &soil.no_next_probe {
                p { (self.words.tell("next-refused", [("reason", self.words.quoted(reason).into())])) }
            } @else if soil.next_probe.is_empty() {
                p { (self.words.say("next-alike")) }
            } @else {
                table.next {
                    caption { (self.words.say("next-title")) " " span.plain { "(" (self.show.water_unit()) ")" } }
                    thead { tr {
                        th scope="col" { (self.words.say("column-where")) }
                        th.number scope="col" { (self.words.say("column-from")) }
                        th.number scope="col" { (self.words.say("column-to")) }
                        @if without { th.number scope="col" colspan="2" { (self.words.say("column-without")) } }
                    } }
                    tbody {
                        @for at in &soil.next_probe {
                            tr {
                                th scope="row" { (self.words.quoted(&at.wetness)) }
                                (end(at.all.0)) (end(at.all.1))
                                @if let Some((low, high)) = at.without { (end(low)) (end(high)) }
                            }
                        }
                    }
                }
                p.small { (self.words.say("next-note")) }
            }
        }
    }

    fn judged(&self, judged: Judged) -> Markup {
        match judged {
            Judged::Within => self.words.say("judged-within"),
            Judged::Beyond => self.words.say("judged-beyond"),
            Judged::Open => self.words.say("judged-open"),
        }
    }

    fn range(&self, low: f64, high: f64) -> Markup {
        self.words.tell(
            "range",
            [
                ("low", self.show.water_number(low).into()),
                ("high", self.show.water_number(high).into()),
            ],
        )
    }
}
