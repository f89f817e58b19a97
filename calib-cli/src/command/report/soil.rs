//! What sources say of a soil, side by side.

use super::Teller;
use super::bench::Soil;
use crate::command::soil::Recommended;
use crate::fit_report::sentence_case;
use calib_core::quantity::Quantity;
use calib_core::uncertainty::coverage_factor;
use maud::{Markup, html};

impl Teller<'_> {
    /// The soil of a probe.
    pub fn soil(&self, soil: &Soil) -> Markup {
        let report = &soil.report;
        let cell = |theta_v: Option<f64>| {
            html! {
                td.number { @match theta_v { Some(theta_v) => { (self.show.water_number(theta_v)) } None => { "\u{2013}" } } }
            }
        };
        let value = |of: &Recommended| of.estimate.value.value();
        let within = |u: f64| coverage_factor(calib_core::calibration::COVERAGE, None) * u;
        html! {
            section.whole {
                h3 { (self.words.say("soil-title")) }
                @if let Some(class) = report.class {
                    p { (self.words.tell("soil-class", [("class", self.words.quoted(&class.to_string()).into())])) }
                }
                div.columns {
                    div {
                        table {
                            caption { (self.words.say("soil-caption")) " " span.plain { "(" (self.show.water_unit()) ")" } }
                            thead { tr {
                                th scope="col" { (self.words.say("column-source")) }
                                th.number scope="col" { (self.words.say("column-capacity")) }
                                th.number scope="col" { (self.words.say("column-wilting")) }
                                th.number scope="col" { (self.words.say("column-available")) }
                            } }
                            tbody {
                                @for source in &report.sources {
                                    tr {
                                        th scope="row" { (self.words.quoted(&source.water.publication.to_string())) }
                                        (cell(Some(source.water.field_capacity.value())))
                                        (cell(Some(source.water.wilting_point.value())))
                                        (cell(Some(source.available_water)))
                                    }
                                }
                                tr.sum {
                                    th scope="row" { (self.words.say("row-taken")) }
                                    (cell(Some(value(&report.field_capacity))))
                                    (cell(Some(value(&report.wilting_point))))
                                    (cell(Some(report.available_water.value)))
                                }
                                tr {
                                    th scope="row" { (self.words.say("row-within")) }
                                    (cell(Some(within(report.field_capacity.estimate.u))))
                                    (cell(Some(within(report.wilting_point.estimate.u))))
                                    (cell(Some(within(report.available_water.u))))
                                }
                            }
                        }
                        p.small { (self.words.tell("soil-reason", [("reason", self.words.quoted(&report.field_capacity.reason).into())])) }
                        @for note in &report.notes { p.small { (self.words.quoted(&sentence_case(note))) } }
                    }
                    (self.chart(&soil.retention, self.words.say("retention-caption")))
                }
            }
        }
    }
}
