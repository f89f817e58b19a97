//! What a reader may choose: units, and which soils are shown. The page's style follows
//! the buttons, so that it works without a script.

use super::Teller;
use super::measure::{Units, WATER};
use maud::{Markup, PreEscaped, html};

impl Teller<'_> {
    /// The switches.
    pub fn switches(&self, units: Units) -> Markup {
        let soils = self.soils_shown();
        html! {
            section.switches.screen aria-label=(self.words.plain("switches")) {
                fieldset {
                    legend { (self.words.say("switch-water")) }
                    @for unit in &WATER {
                        (button("water", unit.class, unit.class == units.water(), match unit.class {
                            "cubic" => self.words.say("unit-cubic"),
                            "percent" => self.words.say("unit-percent"),
                            "millimetre" => self.words.say("unit-millimetre"),
                            _ => self.words.say("unit-inch"),
                        }))
                    }
                }
                fieldset {
                    legend { (self.words.say("switch-measures")) }
                    (button("measures", "metric", units == Units::Metric, self.words.say("measures-metric")))
                    (button("measures", "us", units == Units::Us, self.words.say("measures-us")))
                }
                @if soils.len() > 1 {
                    fieldset {
                        legend { (self.words.say("switch-soils")) }
                        (button("soil", "all", true, self.words.say("soils-all")))
                        @for (place, soil) in soils.iter().enumerate() {
                            (button("soil", &place.to_string(), false, html! { (soil) }))
                        }
                    }
                }
            }
            (soil_style(soils.len()))
            @if soils.len() > 1 {
                @for (place, soil) in soils.iter().enumerate() {
                    p.paper.only.{ "only-" (place) } { (self.words.tell("only-soil", [("soil", (*soil).into())])) }
                }
            }
        }
    }

    /// The soils that have a part of the page, in the order of the page.
    fn soils_shown(&self) -> Vec<&str> {
        let fitted = self.bench.probes.iter().map(|probe| probe.soil());
        let refused = self
            .bench
            .refused
            .iter()
            .map(|refused| refused.soil.as_str());
        let mut soils: Vec<&str> = Vec::new();
        for soil in fitted.chain(refused) {
            if !soils.contains(&soil) {
                soils.push(soil);
            }
        }
        soils
    }

    /// The class of a soil's parts of the page.
    pub fn soil_class(&self, soil: &str) -> String {
        let place = self.soils_shown().iter().position(|shown| *shown == soil);
        format!("soil soil-{}", place.unwrap_or_default())
    }
}

fn button(group: &str, value: &str, chosen: bool, name: Markup) -> Markup {
    let id = format!("{group}-{value}");
    html! {
        span.choice {
            input type="radio" name=(group) id=(id) value=(value) checked[chosen];
            label for=(id) { (name) }
        }
    }
}

/// Hides the parts of every soil but the one chosen, on paper too; on a screen a part
/// that a link leads to is shown all the same.
fn soil_style(soils: usize) -> Markup {
    if soils < 2 {
        return html! {};
    }
    let others = |but: &str| -> String {
        let rule =
            |n| format!("body:has(#soil-{n}:checked) .soil:not(.soil-{n}){but}{{display:none}}");
        (0..soils).map(rule).collect()
    };
    let said: String = (0..soils)
        .map(|n| format!("body:has(#soil-{n}:checked) .only-{n}{{display:block}}"))
        .collect();
    let (screen, paper) = (others(":not(:target)"), others(""));
    html! {
        style { (PreEscaped(format!(
            ".only{{display:none}}@media screen{{{screen}}}@media print{{{paper}{said}}}"
        ))) }
    }
}
