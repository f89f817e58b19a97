//! The shell of every HTML page the program writes: one file that needs no network
//! and no script to be read, in the colours of the charts, and that prints.
//!
//! What stands on a page is [`Markup`], which escapes by itself. A page's own style
//! and script come after the shell's. The browser is told to fetch nothing.

use crate::plot;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The shell's style: colours by name, letters, tables, print.
const STYLE: &str = include_str!("page.css");

/// What a browser may do with a page: apply the styles and run the script that stand
/// in it, and load nothing.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
                      img-src data:; font-src data:; base-uri 'none'; form-action 'none'";

/// A whole page.
#[derive(Debug)]
pub struct Page<'a> {
    /// Language of its text, as a BCP 47 tag: `en`.
    pub language: &'a str,
    /// What the browser's tab and a printed head say.
    pub title: &'a str,
    /// What the page is, in a sentence.
    pub description: &'a str,
    /// Style of its own, after the shell's; CSS.
    pub style: &'a str,
    /// Script of its own, at the end; the page must be whole without it.
    pub script: Option<&'a str>,
    /// Everything between `<body>` and its end.
    pub body: Markup,
}

impl Page<'_> {
    /// The page as the text of one file.
    pub fn render(&self) -> String {
        let page = html! {
            (DOCTYPE)
            html lang=(self.language) {
                head {
                    meta charset="utf-8";
                    meta http-equiv="Content-Security-Policy" content=(POLICY);
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light";
                    meta name="description" content=(self.description);
                    meta name="generator" content=(concat!("ovendry ", env!("CARGO_PKG_VERSION")));
                    title { (self.title) }
                    link rel="icon" href="data:,";
                    style {
                        (PreEscaped(plot::palette::style_sheet()))
                        (PreEscaped(plot::WEB_FONT))
                        (PreEscaped(STYLE))
                        (PreEscaped(self.style))
                    }
                }
                body {
                    (self.body)
                    @if let Some(script) = self.script {
                        script { (PreEscaped(script)) }
                    }
                }
            }
        };
        let mut text = page.into_string();
        text.push('\n');
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(title: &str) -> String {
        Page {
            language: "en",
            title,
            description: "A page.",
            style: "",
            script: None,
            body: html! { h1 { (title) } },
        }
        .render()
    }

    #[test]
    fn a_page_names_nothing_outside_itself() {
        let text = page("Garden");
        let text = text.replace("url(data:", "");
        for way_out in ["http:", "https:", "@import", "src=", "url("] {
            assert!(!text.contains(way_out), "{way_out}");
        }
        assert!(text.contains("default-src 'none'"));
    }

    #[test]
    fn what_a_person_wrote_cannot_become_markup() {
        let text = page("<script>alert(1)</script> & co");
        assert!(!text.contains("<script"), "{text}");
        assert!(text.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; co"));
    }
}
