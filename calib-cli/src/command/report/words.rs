//! What the page says, by key, from a catalogue of messages in Project Fluent's syntax:
//! one file a language. Numbers get their decimal sign and their groups here too.
//!
//! What the other commands say in words of their own (warnings, remarks, reasons)
//! stands on the page as they say it, in English, and is marked so.

use crate::failure::Failure;
use fluent_bundle::{FluentArgs, FluentBundle, FluentResource, FluentValue};
use maud::{Markup, PreEscaped, Render, html};
use unic_langid::LanguageIdentifier;

/// The languages there are, each with its messages.
const CATALOGUES: [(&str, &str); 1] = [("en", include_str!("messages/en.ftl"))];

/// The languages to choose from, as BCP 47 tags.
pub fn languages() -> [&'static str; CATALOGUES.len()] {
    CATALOGUES.map(|(tag, _)| tag)
}

/// What a message is given to work in.
pub enum Given {
    /// Text or markup, which goes in as it is.
    Shown(Markup),
    /// How many there are: the message may choose its words by it.
    Count(usize),
}

impl From<Markup> for Given {
    fn from(markup: Markup) -> Self {
        Given::Shown(markup)
    }
}

impl From<&str> for Given {
    fn from(text: &str) -> Self {
        Given::Shown(text.render())
    }
}

impl From<String> for Given {
    fn from(text: String) -> Self {
        Given::from(text.as_str())
    }
}

impl From<usize> for Given {
    fn from(count: usize) -> Self {
        Given::Count(count)
    }
}

/// A language with its messages.
pub struct Words {
    language: &'static str,
    bundle: FluentBundle<FluentResource>,
    decimal: String,
    group: String,
}

/// Around the number of what is put in, while a message is formatted: private-use
/// characters, which no message holds.
const OPEN: char = '\u{e000}';
const CLOSE: char = '\u{e001}';

impl Words {
    /// The messages of a language of [`languages`].
    ///
    /// # Errors
    /// [`Failure::Internal`] if there is no such language, or its catalogue is damaged.
    pub fn new(language: &str) -> Result<Self, Failure> {
        let broken = |why: String| Failure::Internal(format!("messages of {language}: {why}"));
        let (language, catalogue) = CATALOGUES
            .into_iter()
            .find(|(tag, _)| *tag == language)
            .ok_or_else(|| broken("there are none".to_owned()))?;
        let resource = FluentResource::try_new(catalogue.to_owned())
            .map_err(|(_, errors)| broken(format!("{errors:?}")))?;
        let tag: LanguageIdentifier = language.parse().map_err(|e| broken(format!("{e}")))?;
        let mut bundle = FluentBundle::new(vec![tag]);
        bundle.set_use_isolating(false);
        bundle
            .add_resource(resource)
            .map_err(|errors| broken(format!("{errors:?}")))?;
        let mut words = Self {
            language,
            bundle,
            decimal: String::new(),
            group: String::new(),
        };
        words.decimal = words.plain("number-decimal");
        words.group = words.plain("number-group");
        Ok(words)
    }

    /// The language's tag.
    pub fn language(&self) -> &'static str {
        self.language
    }

    /// A message that takes nothing.
    pub fn say(&self, key: &'static str) -> Markup {
        self.tell(key, [])
    }

    /// A message as plain text.
    pub fn plain(&self, key: &'static str) -> String {
        self.format(key, &FluentArgs::new())
    }

    /// A message with what it is given put in.
    pub fn tell<const N: usize>(
        &self,
        key: &'static str,
        given: [(&'static str, Given); N],
    ) -> Markup {
        let mut args = FluentArgs::new();
        let mut shown = Vec::new();
        for (name, given) in given {
            match given {
                Given::Count(count) => args.set(name, FluentValue::from(count)),
                Given::Shown(markup) => {
                    args.set(name, format!("{OPEN}{}{CLOSE}", shown.len()));
                    shown.push(markup);
                }
            }
        }
        let text = self.format(key, &args);
        let mut parts = text.split(OPEN);
        html! {
            (parts.next().unwrap_or_default())
            @for part in parts {
                @let (number, rest) = part.split_once(CLOSE).unwrap_or(("", part));
                @if let Some(markup) = number.parse().ok().and_then(|n: usize| shown.get(n)) { (markup) }
                (rest)
            }
        }
    }

    /// The message in full; its key where there is none, which a test rules out.
    fn format(&self, key: &str, args: &FluentArgs<'_>) -> String {
        let mut errors = Vec::new();
        self.bundle
            .get_message(key)
            .and_then(|message| message.value())
            .map_or_else(
                || key.to_owned(),
                |pattern| {
                    self.bundle
                        .format_pattern(pattern, Some(args), &mut errors)
                        .into_owned()
                },
            )
    }

    /// A number with so many digits behind the decimal sign, and a true minus.
    pub fn number(&self, value: f64, digits: usize) -> String {
        let text = format!("{:.digits$}", value.abs());
        let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
        let negative = value < 0.0 && text.bytes().any(|b| b.is_ascii_digit() && b != b'0');
        let mut shown = String::from(if negative { "\u{2212}" } else { "" });
        for (place, digit) in whole.chars().enumerate() {
            let left = whole.len() - place;
            if place > 0 && left.is_multiple_of(3) && whole.len() > 4 {
                shown.push_str(&self.group);
            }
            shown.push(digit);
        }
        if !fraction.is_empty() {
            shown.push_str(&self.decimal);
            shown.push_str(fraction);
        }
        shown
    }

    /// Words of another command, which are English whatever the page's language.
    pub fn quoted(&self, text: &str) -> Markup {
        let typeset = typeset(text);
        if self.language == "en" {
            return html! { (typeset) };
        }
        html! { span lang="en" { (typeset) } }
    }
}

/// Terminal text with the signs that ASCII lacks; commands between backticks as code.
fn typeset(text: &str) -> Markup {
    let signs = [
        ("m3/m3", "m\u{b3}/m\u{b3}"),
        ("g/cm3", "g/cm\u{b3}"),
        ("theta_v", "\u{3b8}\u{1d65}"),
        (" +- ", " \u{b1}\u{a0}"),
        ("+-", "\u{b1}"),
        (" m2", " m\u{b2}"),
        (" %", "\u{a0}%"),
    ];
    let mut text = degrees(text);
    for (ascii, sign) in signs {
        text = text.replace(ascii, sign);
    }
    let parts: Vec<&str> = text.split('`').collect();
    // An odd backtick has no partner: leave the text alone.
    if parts.len().is_multiple_of(2) {
        return PreEscaped(text.render().into_string());
    }
    html! {
        @for (place, part) in parts.iter().enumerate() {
            @if place % 2 == 1 { code { (part) } } @else { (part) }
        }
    }
}

/// A lone C after a number or after "per" is a degree.
fn degrees(text: &str) -> String {
    let words: Vec<&str> = text.split(' ').collect();
    let mut shown = String::with_capacity(text.len());
    for (place, word) in words.iter().enumerate() {
        let before = place.checked_sub(1).map_or("", |place| words[place]);
        let degree = before == "per" || before.ends_with(|c: char| c.is_ascii_digit());
        let (first, rest) = word.split_at(word.len().min(1));
        if degree && first == "C" && !rest.starts_with(|c: char| c.is_alphanumeric()) {
            shown.push_str("\u{a0}\u{b0}");
        } else if place > 0 {
            shown.push(' ');
        }
        shown.push_str(word);
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::path::Path;

    /// Every key that the sources of the report ask for.
    fn asked_for() -> BTreeSet<String> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/command");
        let mut files = vec![folder.join("report.rs")];
        let inside = std::fs::read_dir(folder.join("report")).unwrap();
        files.extend(inside.map(|entry| entry.unwrap().path()));
        let mut keys = BTreeSet::new();
        for file in files {
            if file.extension().is_none_or(|ending| ending != "rs") {
                continue;
            }
            let text = std::fs::read_to_string(file).unwrap();
            let text = text.split("#[cfg(test)]").next().unwrap_or_default();
            for ask in [".say(", ".plain(", ".tell("] {
                for call in text.split(ask).skip(1) {
                    let Some(key) = call.trim_start().strip_prefix('"') else {
                        continue;
                    };
                    keys.insert(key.split('"').next().unwrap().to_owned());
                }
            }
        }
        keys
    }

    fn in_catalogue(catalogue: &str) -> BTreeSet<String> {
        let named = catalogue.lines().filter_map(|line| line.split_once(" ="));
        named
            .map(|(key, _)| key)
            .filter(|key| {
                key.bytes()
                    .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
            })
            .map(str::to_owned)
            .collect()
    }

    #[test]
    fn every_message_used_is_in_every_catalogue_and_none_is_unused() {
        let asked = asked_for();
        assert!(asked.len() > 40, "{asked:?}");
        for (language, catalogue) in CATALOGUES {
            assert_eq!(asked, in_catalogue(catalogue), "{language}");
            Words::new(language).unwrap();
        }
    }

    #[test]
    fn numbers_are_grouped_and_have_a_true_minus() {
        let words = Words::new("en").unwrap();
        assert_eq!(words.number(2967.4, 0), "2967");
        assert_eq!(words.number(12967.4, 0), "12,967");
        assert_eq!(words.number(1234567.0, 1), "1,234,567.0");
        assert_eq!(words.number(-0.0131, 3), "\u{2212}0.013");
        assert_eq!(words.number(-0.0001, 3), "0.000");
    }

    #[test]
    fn what_is_put_into_a_message_is_escaped_unless_it_is_markup() {
        let words = Words::new("en").unwrap();
        let told = words.tell("point-start", [("count", Given::from("<b>"))]);
        assert!(told.into_string().contains("&lt;b&gt;"));
    }

    #[test]
    fn degrees_get_their_sign_and_other_letters_are_left_alone() {
        assert_eq!(
            degrees("1.26 counts per C, seen over 19 C; C 4 and 3 Cores (9 C)"),
            "1.26 counts per\u{a0}\u{b0}C, seen over 19\u{a0}\u{b0}C; C 4 and 3 Cores (9\u{a0}\u{b0}C)"
        );
    }

    #[test]
    fn commands_are_set_as_code_and_signs_as_they_should_be() {
        assert_eq!(
            typeset("run `ovendry fit` for theta_v +- 0.1 m3/m3 & more").into_string(),
            "run <code>ovendry fit</code> for \u{3b8}\u{1d65} \u{b1}\u{a0}0.1 m\u{b3}/m\u{b3} &amp; more"
        );
    }
}
