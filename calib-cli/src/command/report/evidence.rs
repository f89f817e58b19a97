//! What a calibration rests on: its cores, the curve through them and what it leaves
//! over, the curves it was chosen from, and what to watch.

use super::Teller;
use super::bench::Probe;
use crate::fit_report::{sentence_case, verdict};
use crate::new_reading::ByDraws;
use crate::plot::OnPage;
use calib_core::fit::Standing;
use maud::{Markup, PreEscaped, html};

impl Teller<'_> {
    /// The evidence for one probe's calibration.
    pub fn evidence(&self, probe: &Probe) -> Markup {
        let report = &probe.fit.report;
        html! {
            section {
                h3 { (self.words.say("evidence-title")) }
                (self.show.beside_us(&self.words.say("quoted-metric")))
                div.columns.charts {
                    (self.chart(&probe.fit.curve, html! { span.screen { (self.words.say("curve-caption")) } }))
                    (self.chart(&probe.fit.residuals, self.words.say("residuals-caption")))
                }
                @for sentence in &report.explanation { p { (self.words.quoted(sentence)) } }
                @if let Some(remark) = &report.loss_remark { p { (self.words.quoted(remark)) } }
                p { (self.words.quoted(&sentence_case(&report.temperature.to_string()))) " " (self.words.quoted(&report.diagnosis.temperature_remark)) }
                @if !report.diagnosis.remarks.is_empty() {
                    h4 { (self.words.say("watch-title")) }
                    ul { @for remark in &report.diagnosis.remarks { li { (self.words.quoted(remark)) } } }
                }
                @if let Some(physical) = &report.physical { p { (self.words.quoted(&physical.remark)) } }
                div.columns.folds {
                    div { (self.readings(probe)) (self.candidates(probe)) }
                    (self.cores(probe))
                }
            }
        }
    }

    /// A chart with what it shows in words, for who cannot see it.
    pub fn chart(&self, chart: &OnPage, caption: Markup) -> Markup {
        html! {
            figure {
                (PreEscaped(&chart.svg))
                figcaption { (caption) span.unseen { " " (self.words.quoted(&chart.description)) } }
            }
        }
    }

    /// What one new reading says at several counts.
    fn readings(&self, probe: &Probe) -> Markup {
        html! {
            details open {
                summary { (self.words.say("readings-title")) }
                table {
                    thead { tr {
                        th.number scope="col" { (self.words.say("column-count")) }
                        th.number scope="col" { (self.words.say("column-water")) br; (self.show.water_unit()) }
                        th.number scope="col" { "\u{b1}\u{a0}U" br; "95\u{a0}%" }
                        th.number scope="col" { (self.words.say("column-draws")) }
                    } }
                    tbody {
                        @for reading in &probe.fit.report.predictions {
                            tr {
                                th.number scope="row" { (self.words.number(reading.first_order.count, 0)) }
                                td.number { (self.show.water_number(reading.first_order.theta_v.into())) }
                                td.number { (self.show.water_number(reading.first_order.expanded.expanded)) }
                                td.number {
                                    @match &reading.by_draws {
                                        ByDraws::Drawn { propagated, .. } => {
                                            (self.show.water_number(propagated.low)) "\u{a0}\u{2013}\u{a0}" (self.show.water_number(propagated.high))
                                        }
                                        ByDraws::Refused { .. } => { "\u{2013}" }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }

    /// Every core, which is also what the charts say without pointing at them.
    fn cores(&self, probe: &Probe) -> Markup {
        html! {
            details open {
                summary { (self.words.say("cores-title")) }
                table.cores {
                    thead { tr {
                        th scope="col" { (self.words.say("column-core")) }
                        th.number scope="col" { (self.words.say("column-count")) }
                        th.number scope="col" { (self.words.say("column-oven")) br; (self.show.water_unit()) }
                        th.number scope="col" { (self.words.say("column-off")) br; (self.show.water_unit()) }
                    } }
                    tbody {
                        @for core in &probe.fit.report.residuals {
                            tr data-name=(core.sample) {
                                th scope="row" { (core.sample) }
                                td.number { (self.words.number(core.count, 1)) }
                                td.number { (self.show.water_number(core.theta_v)) }
                                td.number { (self.show.water_change(core.residual)) }
                            }
                        }
                    }
                }
            }
        }
    }

    /// The curves that were compared.
    fn candidates(&self, probe: &Probe) -> Markup {
        let report = &probe.fit.report;
        let tried = report
            .candidates
            .iter()
            .filter(|candidate| candidate.standing != Standing::NotAskedFor);
        html! {
            details open {
                summary { (self.words.say("curves-title")) }
                table {
                    thead { tr {
                        th scope="col" { (self.words.say("column-curve")) }
                        th.number scope="col" { (self.words.say("column-unseen")) br; (self.show.water_unit()) }
                        th scope="col" { (self.words.say("column-verdict")) }
                    } }
                    tbody {
                        @for candidate in tried {
                            tr {
                                th scope="row" { (self.words.quoted(&candidate.kind.to_string())) }
                                td.number {
                                    @match candidate.left_out_rmse {
                                        Some(error) => { (self.show.water_number(error)) }
                                        None => { "\u{2013}" }
                                    }
                                }
                                td {
                                    @if report.asked_for && candidate.standing == Standing::Chosen {
                                        (self.words.say("curve-asked"))
                                    } @else {
                                        (self.words.quoted(&verdict(&candidate.standing)))
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
