//! Quantities in every unit a reader may choose. All of them stand in the page, one is
//! shown: the choice is made by the page's style, without a script.

use super::words::Words;
use maud::{Markup, html};

/// Millimetres of an inch, exactly.
const MM_PER_INCH: f64 = 25.4;
/// Litres of a US gallon, exactly: 231 cubic inches.
const L_PER_GALLON: f64 = 3.785_411_784;

/// Units to begin with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Units {
    /// m3/m3, degrees Celsius, litres, millimetres
    Metric,
    /// Inches of water per foot of soil, degrees Fahrenheit, US gallons, inches
    Us,
}

/// A unit of volumetric water content.
pub struct WaterUnit {
    /// Its class in the page.
    pub class: &'static str,
    /// How many of it make 1 m3/m3.
    factor: f64,
    /// Digits that tell a thousandth of m3/m3.
    digits: usize,
}

/// Every unit of volumetric water content, in the order they are offered.
pub const WATER: [WaterUnit; 4] = [
    WaterUnit {
        class: "cubic",
        factor: 1.0,
        digits: 3,
    },
    WaterUnit {
        class: "percent",
        factor: 100.0,
        digits: 1,
    },
    WaterUnit {
        class: "millimetre",
        factor: 100.0,
        digits: 1,
    },
    WaterUnit {
        class: "inch",
        factor: 12.0,
        digits: 2,
    },
];

impl Units {
    /// The class of the unit of water content to begin with.
    pub fn water(self) -> &'static str {
        match self {
            Units::Metric => "cubic",
            Units::Us => "inch",
        }
    }
}

/// Shows quantities in a language.
pub struct Measures<'a> {
    words: &'a Words,
}

impl<'a> Measures<'a> {
    /// Quantities in the language of `words`.
    pub fn new(words: &'a Words) -> Self {
        Self { words }
    }

    fn water_name(&self, unit: &WaterUnit) -> Markup {
        match unit.class {
            "cubic" => self.words.say("unit-cubic"),
            "percent" => self.words.say("unit-percent"),
            "millimetre" => self.words.say("unit-millimetre"),
            _ => self.words.say("unit-inch"),
        }
    }

    /// The name of the chosen unit of water content.
    pub fn water_unit(&self) -> Markup {
        html! { span.w { @for unit in &WATER { span class=(unit.class) { (self.water_name(unit)) } } } }
    }

    /// A water content, or a difference of two, without its unit.
    pub fn water_number(&self, theta_v: f64) -> Markup {
        html! {
            span.w {
                @for unit in &WATER {
                    span class=(unit.class) { (self.words.number(unit.factor * theta_v, unit.digits)) }
                }
            }
        }
    }

    /// The same with one digit more, for parts of an uncertainty.
    pub fn water_fine(&self, theta_v: f64) -> Markup {
        html! {
            span.w {
                @for unit in &WATER {
                    span class=(unit.class) { (self.words.number(unit.factor * theta_v, unit.digits + 1)) }
                }
            }
        }
    }

    /// The same with the sign always before it.
    pub fn water_change(&self, theta_v: f64) -> Markup {
        html! { @if theta_v > 0.0 { "+" } (self.water_number(theta_v)) }
    }

    /// A water content, or a difference of two, with its unit.
    pub fn water(&self, theta_v: f64) -> Markup {
        html! {
            span.w {
                @for unit in &WATER {
                    span class=(unit.class) {
                        (self.words.number(unit.factor * theta_v, unit.digits)) "\u{a0}" (self.water_name(unit))
                    }
                }
            }
        }
    }

    /// An uncertainty of a water content, with its sign.
    pub fn water_within(&self, expanded: f64) -> Markup {
        html! { "\u{b1}\u{a0}" (self.water(expanded)) }
    }

    fn either(&self, metric: Markup, us: Markup) -> Markup {
        html! { span.m { span.metric { (metric) } span.us { (us) } } }
    }

    fn with_unit(&self, value: f64, digits: usize, unit: Markup) -> Markup {
        html! { (self.words.number(value, digits)) "\u{a0}" (unit) }
    }

    /// A temperature, C.
    pub fn temperature(&self, celsius: f64) -> Markup {
        self.either(
            self.with_unit(celsius, 0, html! { "\u{b0}C" }),
            self.with_unit(1.8 * celsius + 32.0, 0, html! { "\u{b0}F" }),
        )
    }

    /// A volume of water, L.
    pub fn volume(&self, litres: f64) -> Markup {
        self.either(
            self.with_unit(litres, 0, self.words.say("unit-litre")),
            self.with_unit(litres / L_PER_GALLON, 0, self.words.say("unit-gallon")),
        )
    }

    /// A depth of water, mm.
    pub fn depth(&self, mm: f64) -> Markup {
        self.either(
            self.with_unit(mm, 1, html! { "mm" }),
            self.with_unit(mm / MM_PER_INCH, 2, self.words.say("unit-inches")),
        )
    }

    /// A depth of soil, mm.
    pub fn soil_depth(&self, mm: f64) -> Markup {
        self.either(
            self.with_unit(mm / 10.0, 0, html! { "cm" }),
            self.with_unit(mm / MM_PER_INCH, 0, self.words.say("unit-inches")),
        )
    }

    /// What is said only where something other than metric units is chosen.
    pub fn beside_us(&self, said: &Markup) -> Markup {
        html! {
            p.small.m { span.us lang=(self.words.language()) { (said) } }
        }
    }

    /// What is said only where inches of water per foot of soil are chosen.
    pub fn beside_inches(&self, said: &Markup) -> Markup {
        html! { p.small.w { span.inch { (said) } } }
    }

    /// A share of 1 in whole percents.
    pub fn share(&self, share: f64) -> Markup {
        if share > 0.0 && share < 0.005 {
            return html! { "<\u{a0}1\u{a0}%" };
        }
        html! { (self.words.number(100.0 * share, 0)) "\u{a0}%" }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_stands_there_in_every_unit() {
        let words = Words::new("en").unwrap();
        let show = Measures::new(&words);
        let water = show.water(0.2512).into_string();
        for text in [
            "0.251\u{a0}m\u{b3}/m\u{b3}",
            "25.1\u{a0}vol %",
            "25.1\u{a0}mm",
            "3.01\u{a0}in",
        ] {
            assert!(water.contains(text), "{text} not in {water}");
        }
        assert!(
            show.temperature(19.0)
                .into_string()
                .contains("66\u{a0}\u{b0}F")
        );
        assert!(show.volume(2967.0).into_string().contains("784\u{a0}gal"));
        assert!(show.depth(22.3).into_string().contains("0.88\u{a0}in"));
        assert!(show.soil_depth(400.0).into_string().contains("16\u{a0}in"));
    }
}
