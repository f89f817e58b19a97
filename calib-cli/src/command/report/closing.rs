//! What stands at the end: warnings with what to do, hazards, and where the page comes
//! from.

use super::Teller;
use crate::caution;
use crate::command::fit::SEED;
use calib_core::reference::Publication;
use maud::{Markup, html};

impl Teller<'_> {
    /// Every warning with what to do about it.
    pub fn advice(&self) -> Markup {
        html! {
            section #advice.advice tabindex="-1" {
                h2 { (self.words.say("advice-title")) }
                (self.show.beside_us(&self.words.say("quoted-metric")))
                @if self.bench.warnings.is_empty() { p { (self.words.say("advice-none")) } }
                ol.warnings {
                    @for warning in &self.bench.warnings {
                        li.whole {
                            p.what { b { (warning.place) } ": " (self.words.quoted(&warning.what)) "." }
                            p { (self.words.tell("why", [("why", self.words.quoted(&warning.why).into())])) }
                            p { (self.words.tell("to-do", [("advice", self.words.quoted(&warning.advice).into())])) }
                        }
                    }
                }
            }
        }
    }

    /// Hazards.
    pub fn cautions(&self) -> Markup {
        html! {
            section.cautions {
                h2 { (self.words.say("care-title")) }
                p.lead { (self.words.quoted(caution::LOCAL_RULES)) }
                div.columns {
                    @for (title, group) in [
                        (self.words.say("care-pump"), caution::PUMP),
                        (self.words.say("care-oven"), caution::OVEN),
                    ] {
                        div {
                            h3 { (title) }
                            ul { @for one in group { li { (self.words.quoted(one)) } } }
                        }
                    }
                }
            }
        }
    }

    /// Every source of soil and crop figures, each once.
    fn publications(&self) -> Vec<&'static Publication> {
        let of_soils = self.bench.soils.values();
        let all = of_soils.flat_map(|soil| soil.report.publications.iter().copied());
        let mut each: Vec<&Publication> = Vec::new();
        for publication in all.chain(self.bench.crop) {
            if !each.contains(&publication) {
                each.push(publication);
            }
        }
        each
    }

    /// Where everything comes from, so that it can be made again.
    pub fn provenance(&self) -> Markup {
        html! {
            section.provenance {
                h2 { (self.words.say("provenance-title")) }
                p { (self.words.tell("provenance", [
                    ("program", concat!("ovendry ", env!("CARGO_PKG_VERSION")).into()),
                    ("seed", SEED.to_string().into()),
                    ("command", html! { code { (self.command) } }.into()),
                ])) }
                table.hashes {
                    caption { (self.words.say("provenance-files")) }
                    thead { tr {
                        th scope="col" { (self.words.say("column-file")) }
                        th scope="col" { "SHA-256" }
                    } }
                    tbody {
                        @for source in &self.bench.sources {
                            tr { th scope="row" { (source.name) } td { code { (source.sha256) } } }
                        }
                    }
                }
                h3 { (self.words.say("sources-title")) }
                p { (self.words.say("sources-note")) }
                ul.sources {
                    @for source in self.publications() {
                        li { (self.words.quoted(&source.citation)) ". "
                            (self.words.tell("source-checked", [
                                ("checked", self.words.quoted(&source.checked).into()),
                                ("memory", self.words.quoted(&source.from_memory).into()),
                            ]))
                        }
                    }
                }
                p.small { (self.words.say("about-charts")) }
            }
        }
    }
}
